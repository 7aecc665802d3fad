"""Jets and fuel against the orifice law, scaling tables, CoolProp and published stoichiometry."""

import math

import CoolProp.CoolProp as coolprop
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine_rules import air, fuel
from engine_rules.fuel import Jet, Ladder

MM2_PER_IN2 = 25.4**2
# A family of jets whose numbers are not bores, recalled from memory: a fixture for that alone.
FAMILY = Ladder(
    tuple(
        Jet(label, bore)
        for label, bore in [("72", 0.079), ("70", 0.073), ("74", 0.081), ("76", 0.084), ("78", 0.089), ("80", 0.093)]
    )
)


@pytest.mark.parametrize(
    ("bore_in", "mm2", "cc_min_at_1000", "cc_min_at_3000", "cc_min_at_5000"),
    [
        (0.060, 1.8241, 134.5, 233.0, 300.7),
        (0.070, 2.4829, 183.1, 317.1, 409.3),
        (0.080, 3.2429, 239.1, 414.1, 534.7),
        (0.094, 4.4773, 330.1, 571.8, 738.2),
    ],
)
def test_jet_area_and_flow(bore_in, mm2, cc_min_at_1000, cc_min_at_3000, cc_min_at_5000):
    """Jet area table and orifice law, fuel of 745 kg/m3 and Cd 0.75, worked out apart from this code."""
    area_in2 = fuel.jet_area_in2(bore_in)
    assert area_in2 * MM2_PER_IN2 == pytest.approx(mm2, abs=6e-5)
    for drop_pa, cc_min in ((1000, cc_min_at_1000), (3000, cc_min_at_3000), (5000, cc_min_at_5000)):
        flow_kg_s = fuel.orifice_mass_flow_kg_s(0.75, area_in2 * fuel.M2_PER_IN2, 745.0, drop_pa)
        assert flow_kg_s / 745.0 * 60e6 == pytest.approx(cc_min, abs=0.06)


@pytest.mark.parametrize(
    ("number", "pct"), [(60, 3.361), (70, 2.878), (72, 2.797), (80, 2.516), (100, 2.010), (185, 1.084)]
)
def test_one_number_more(number, pct):
    """Jet area table: area change of one number where the number is thousandths of an inch."""
    assert fuel.flow_change_pct(number / 1000, (number + 1) / 1000) == pytest.approx(pct, abs=6e-4)


def test_enrichment_dilutes_a_jet_change():
    """Area adds up: with an enrichment as big as the jet, a change of jet is worth half."""
    alone = fuel.flow_change_pct(0.072, 0.074)
    assert fuel.flow_change_pct(0.072, 0.074, fuel.jet_area_in2(0.072)) == pytest.approx(alone / 2)


def test_a_number_is_not_a_bore():
    """The fixture family: 72 to 80 is +38.6 % by bore, though +23.5 % by number."""
    by_bore = fuel.flow_change_pct(FAMILY.jet("72").bore_in, FAMILY.jet("80").bore_in)
    assert by_bore == pytest.approx(38.6, abs=0.05)
    assert fuel.flow_change_pct(0.072, 0.080) == pytest.approx(23.5, abs=0.05)


def test_ladder():
    assert [jet.label for jet in FAMILY.sizes] == ["70", "72", "74", "76", "78", "80"]
    assert FAMILY.jet("72") == FAMILY.jet(72.0) == FAMILY.jet(" 72 ") == FAMILY.jet("#72") == FAMILY.jet("072.0")
    assert "73" not in FAMILY
    assert 74 in FAMILY
    assert FAMILY.step("72", 2).label == "76"
    assert FAMILY.step("72", -5) == FAMILY.smallest
    assert FAMILY.step("72", 50) == FAMILY.largest
    assert FAMILY.steps_between("80", "74") == -3
    assert FAMILY.neighbours("72") == (FAMILY.jet("70"), FAMILY.jet("74"))
    assert FAMILY.neighbours("80") == (FAMILY.jet("78"), None)


def test_ladder_rounds_rich_and_knows_the_shelf():
    shelf = Ladder((Jet("70", 0.070), Jet("71", 0.071, on_hand=False), Jet("72", 0.072)))
    assert shelf.rounded_rich(0.0701).label == "71"
    assert shelf.rounded_rich(0.071).label == "71"
    assert shelf.rounded_rich(0.0721) is None
    assert shelf.on_hand().rounded_rich(0.0701).label == "72"
    assert Ladder((Jet("70", 0.070, on_hand=False),)).on_hand() is None


class Densities:
    def __init__(self, moist, dry):
        self.moist_density_kg_m3, self.dry_density_kg_m3 = moist, dry


@pytest.mark.parametrize(
    ("sigma", "area", "bore", "afr_if_kept", "bore_of_080"),
    [
        (0.80, 0.89443, 0.94574, 11.449, 0.07566),
        (0.85, 0.92195, 0.96018, 11.801, 0.07681),
        (0.90, 0.94868, 0.97400, 12.143, 0.07792),
        (0.95, 0.97468, 0.98726, 12.476, 0.07898),
        (1.05, 1.02470, 1.01227, 13.116, 0.08098),
    ],
)
def test_density_scaling(sigma, area, bore, afr_if_kept, bore_of_080):
    """Density scaling table for dry air: area goes with the root of density, bore with its fourth root."""
    ratio = fuel.fuel_area_ratio("venturi", Densities(1.2, 1.2), Densities(1.2 * sigma, 1.2 * sigma))
    assert ratio == pytest.approx(area, abs=6e-6)
    new_bore = fuel.jet_bore_for_ratio_in(0.080, ratio)
    assert new_bore / 0.080 == pytest.approx(bore, abs=6e-6)
    assert new_bore == pytest.approx(bore_of_080, abs=6e-6)
    assert 12.8 / (1 + fuel.mixture_drift_pct(ratio) / 100) == pytest.approx(afr_if_kept, abs=6e-4)


def coolprop_air(temp_c, pressure_pa, rh):
    state = ("T", temp_c + 273.15, "P", pressure_pa, "R", rh)
    return Densities(1 / coolprop.HAPropsSI("Vha", *state), 1 / coolprop.HAPropsSI("Vda", *state))


@pytest.mark.parametrize(
    ("temp_c", "pressure_pa", "rh", "area", "bore_of_080"),
    [
        (35, 101_325, 0.5, 0.96220, 0.07847),
        (35, 101_325, 0.9, 0.94419, 0.07774),
        (10, 102_500, 0.3, 1.03014, 0.08120),
        (30, 95_000, 0.4, 0.94715, 0.07786),
        (28, 84_000, 0.2, 0.90015, 0.07590),
        (20, 101_325, 0.0, 1.00949, 0.08038),
        (20, 101_325, 1.0, 0.99048, 0.07962),
    ],
)
def test_scaling_with_humidity(temp_c, pressure_pa, rh, area, bore_of_080):
    """Scaling table with humidity, base 20 °C, 101325 Pa, 50 %: tabulated, live from CoolProp, and our own air."""

    def ours(temp_c, pressure_pa, rh):
        return air.AirState(temp_c, pressure_pa, air.vapour_pressure_from_relative_humidity_pa(temp_c, rh))

    live = fuel.fuel_area_ratio("venturi", coolprop_air(20, 101_325, 0.5), coolprop_air(temp_c, pressure_pa, rh))
    own = fuel.fuel_area_ratio("venturi", ours(20, 101_325, 0.5), ours(temp_c, pressure_pa, rh))
    assert live == pytest.approx(area, abs=3e-5)
    assert own == pytest.approx(live, abs=2e-4)
    assert fuel.jet_bore_for_ratio_in(0.080, own) == pytest.approx(bore_of_080, abs=1.5e-5)


@given(st.floats(0.6, 1.2), st.floats(0.6, 1.2))
def test_what_follows_the_air_by_itself(dry_base, dry_now):
    base, now = Densities(dry_base, dry_base), Densities(dry_now, dry_now)
    ratio = dry_now / dry_base
    assert fuel.fuel_area_ratio("throttle map", base, now) == pytest.approx(ratio)
    assert fuel.fuel_area_ratio("displacement", base, now) == pytest.approx(ratio)
    assert fuel.fuel_area_ratio("speed-density", base, now) == 1.0
    assert fuel.fuel_area_ratio("venturi", base, now) == pytest.approx(math.sqrt(ratio))


def test_warmer_fuel_wants_more_area():
    """Fuel density table: 15 to 35 °C is a ratio of 0.9810, its root 0.9904."""
    cold = fuel.gasoline_density_kg_m3(745, 15)
    ratio = fuel.gasoline_density_kg_m3(745, 35) / cold
    assert ratio == pytest.approx(0.9810, abs=1e-6)
    same = Densities(1.2, 1.19)
    assert 1 / fuel.fuel_area_ratio("venturi", same, same, ratio) == pytest.approx(0.9904, abs=6e-5)
    assert 1 / fuel.fuel_area_ratio("displacement", same, same, ratio) == pytest.approx(0.9810, abs=6e-5)


def test_enrichment_is_left_alone_when_the_station_is_scaled():
    enrichment = 0.6 * fuel.jet_area_in2(0.072)
    bore = fuel.jet_bore_for_ratio_in(0.072, 0.95, enrichment)
    assert fuel.flow_change_pct(0.072, bore, enrichment) == pytest.approx(-5.0)


@pytest.mark.parametrize(
    ("name", "cantera_afr"), [("iso-octane", 15.133), ("toluene", 13.508), ("ethanol", 9.005), ("methanol", 6.474)]
)
def test_stoichiometry(name, cantera_afr):
    """cantera 3.2.0 with dry air of 20.946 % oxygen, which differs from Heywood's air by less than 1e-3."""
    assert fuel.COMPOSITIONS[name].stoichiometric_afr == pytest.approx(cantera_afr, rel=1e-3)


@pytest.mark.parametrize(
    ("ethanol_share", "base_147", "base_146"),
    [
        (0.10, 14.100, 14.010),
        (0.51, 11.711, 11.664),
        (0.70, 10.642, 10.613),
        (0.83, 9.924, 9.908),
        (0.85, 9.814, 9.800),
        (1.0, 9.0, 9.0),
    ],
)
def test_blends(ethanol_share, base_147, base_146):
    """Blend table for gasoline of 14.7 and of 14.6; E85 of 9.8 is also what a tuner's page quotes."""
    assert fuel.blend_stoichiometric_afr(ethanol_share, 14.7) == pytest.approx(base_147, abs=5e-3)
    assert fuel.blend_stoichiometric_afr(ethanol_share) == pytest.approx(base_146, abs=5e-3)


@pytest.mark.parametrize(
    "impossible",
    [
        lambda: Jet("72", 72),
        lambda: Jet("", 0.072),
        lambda: Jet(True, 0.072),
        lambda: Ladder(()),
        lambda: Ladder((Jet("72", 0.072), Jet("72.0", 0.073))),
        lambda: FAMILY.jet("71"),
        lambda: fuel.station_area_in2(0.072, -0.001),
        lambda: fuel.orifice_mass_flow_kg_s(0.75, 1e-6, 745, -1),
        lambda: fuel.fuel_area_ratio("guess", Densities(1.2, 1.2), Densities(1.2, 1.2)),
        lambda: fuel.fuel_area_ratio("venturi", Densities(0, 0), Densities(1.2, 1.2)),
        lambda: fuel.jet_bore_for_ratio_in(0.072, 0.5, 0.01),
        lambda: fuel.mixture_drift_pct(0),
        lambda: fuel.blend_stoichiometric_afr(85),
        lambda: fuel.gasoline_density_kg_m3(0.745, 20),
    ],
)
def test_impossible_fuel_is_one_sentence(impossible):
    with pytest.raises(ValueError, match=r"^[^\n]{20,200}$"):
        impossible()
