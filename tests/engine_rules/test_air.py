"""Air against published tables and independent libraries. Mixed real-gas and ideal-gas families agree to 1e-3."""

import CoolProp.CoolProp as coolprop
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine_rules import air
from engine_rules.air import AirState

FOOT = 0.3048
INHG = 3386.389
MPH = 0.44704
HP = 745.699872
LB = 0.45359237


def humid(temp_c, pressure_pa, relative_humidity):
    return AirState(temp_c, pressure_pa, air.vapour_pressure_from_relative_humidity_pa(temp_c, relative_humidity))


@pytest.mark.parametrize("temp_c", [0.02, 5, 10, 15, 20, 25, 30, 35, 40])
def test_saturation_pressure_against_coolprop_water(temp_c):
    """CoolProp, IAPWS water: within 0.03 %, the distance of the ASHRAE form from it."""
    expected = coolprop.PropsSI("P", "T", temp_c + 273.15, "Q", 0, "Water")
    assert air.saturation_vapour_pressure_pa(temp_c) == pytest.approx(expected, rel=3e-4)


CIPM_2007 = [  # Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149-155, coded independently; 400 ppm CO2
    (0, 101325, 0.0, 1.29305),
    (15, 101325, 0.0, 1.22552),
    (15, 101325, 0.5, 1.22163),
    (20, 101325, 0.5, 1.19931),
    (25, 99000, 0.0, 1.15712),
    (25, 99000, 0.4, 1.15153),
    (30, 101325, 0.8, 1.15001),
    (35, 100000, 0.6, 1.11639),
    (10, 98000, 0.3, 1.20457),
    (40, 95000, 0.2, 1.05084),
    (5, 103000, 0.9, 1.28702),
    (28, 84000, 0.25, 0.96782),
]


@pytest.mark.parametrize(("temp_c", "pressure_pa", "rh", "density"), CIPM_2007)
def test_moist_density(temp_c, pressure_pa, rh, density):
    """CIPM-2007 and CoolProp humid air, both real-gas: within 1e-3."""
    state = humid(temp_c, pressure_pa, rh)
    assert state.moist_density_kg_m3 == pytest.approx(density, rel=1e-3)
    vha = coolprop.HAPropsSI("Vha", "T", temp_c + 273.15, "P", pressure_pa, "R", rh)
    assert state.moist_density_kg_m3 == pytest.approx(1 / vha, rel=1e-3)
    vda = coolprop.HAPropsSI("Vda", "T", temp_c + 273.15, "P", pressure_pa, "R", rh)
    assert state.dry_density_kg_m3 == pytest.approx(1 / vda, rel=1e-3)


def test_moist_density_of_the_same_library_family():
    """psychrolib 2.5.0 as tabulated: 30 °C, 101325 Pa, 80 %."""
    assert humid(30, 101325, 0.8).moist_density_kg_m3 == pytest.approx(1.14967, abs=1e-5)


def test_another_user_of_psychrolib_cannot_switch_our_units():
    before = humid(30, 101325, 0.8).moist_density_kg_m3
    units = psychrolib.GetUnitSystem()
    try:
        psychrolib.SetUnitSystem(psychrolib.IP)
        assert humid(30, 101325, 0.8).moist_density_kg_m3 == before
    finally:
        psychrolib.SetUnitSystem(units or psychrolib.SI)


@pytest.mark.parametrize(
    ("dry_c", "wet_c", "pressure_pa", "vapour_pa"), [(30, 20, 101325, 1684.9), (25, 18, 99000, 1616.9)]
)
def test_wet_bulb(dry_c, wet_c, pressure_pa, vapour_pa):
    """psychrolib table to its rounding; relative humidity of CoolProp humid air live within 0.1 %."""
    found = air.vapour_pressure_from_wet_bulb_pa(dry_c, wet_c, pressure_pa)
    assert found == pytest.approx(vapour_pa, abs=0.1)
    live = coolprop.HAPropsSI("R", "T", dry_c + 273.15, "P", pressure_pa, "B", wet_c + 273.15)
    assert AirState(dry_c, pressure_pa, found).relative_humidity_fraction == pytest.approx(live, rel=1e-3)


@given(st.floats(1, 45), st.floats(0.05, 1.0), st.floats(70_000, 105_000))
def test_every_way_to_write_moisture_gives_one_vapour_pressure(temp_c, rh, pressure_pa):
    state = humid(temp_c, pressure_pa, rh)
    water_g_per_kg = 1000 * state.humidity_ratio
    by_content = air.vapour_pressure_from_water_content_pa(water_g_per_kg, pressure_pa)
    assert by_content == pytest.approx(state.vapour_pressure_pa, rel=1e-9)
    grains = water_g_per_kg * 7
    assert air.water_content_from_grains_g_per_kg(grains) == pytest.approx(water_g_per_kg)
    assert state.relative_humidity_fraction == pytest.approx(rh)
    assert state.dry_density_kg_m3 * (1 + state.humidity_ratio) == pytest.approx(state.moist_density_kg_m3)


def test_dew_point_against_coolprop():
    """CoolProp humid air: the vapour pressure of air with a dew point of 10 °C, within 0.5 % (enhancement factor)."""
    live = coolprop.HAPropsSI("P_w", "T", 308.15, "P", 100_000, "D", 283.15)
    assert air.vapour_pressure_from_dew_point_pa(10.0) == pytest.approx(live, rel=5e-3)


@pytest.mark.parametrize(
    ("setting_inhg", "altitude_m", "station_inhg"),
    [
        (29.92, 0, 29.920),
        (29.92, 304.8, 28.854),
        (30.10, 500, 28.357),
        (29.80, 1609.344, 24.534),
        (30.05, 1524, 25.000),
    ],
)
def test_altimeter_setting(setting_inhg, altitude_m, station_inhg):
    """National Weather Service form; the Smithsonian form of MetPy lies within 0.015 inHg."""
    found = air.station_pressure_pa(setting_inhg * INHG, altitude_m) / INHG
    assert found == pytest.approx(station_inhg, abs=6e-4)


def test_altimeter_setting_in_standard_air_gives_the_standard_pressure():
    """US Standard Atmosphere 1976, 1000 m: 89874.6 Pa."""
    assert air.station_pressure_pa(101325, 1000) == pytest.approx(89874.6, rel=2e-4)


def test_sea_level_pressure_on_a_standard_day():
    """US Standard Atmosphere 1976, 1500 m geopotential, 278.4 K: 84556 Pa."""
    found = air.station_pressure_from_sea_level_pa(101325, 1500, 278.4 - 273.15)
    assert found == pytest.approx(84556.0, rel=5e-4)


@pytest.mark.parametrize(
    ("altitude_m", "temp_k", "pressure_pa", "density"),
    [
        (0, 288.150, 101325.0, 1.22500),
        (500, 284.900, 95461.3, 1.16727),
        (1000, 281.651, 89876.3, 1.11166),
        (1500, 278.402, 84559.7, 1.05810),
        (2000, 275.154, 79501.4, 1.00655),
        (3000, 268.659, 70121.2, 0.90925),
    ],
)
def test_standard_air(altitude_m, temp_k, pressure_pa, density):
    """US Standard Atmosphere 1976, table by geometric altitude."""
    geopotential_m = 6356766.0 * altitude_m / (6356766.0 + altitude_m)
    found = air.standard_air(geopotential_m)
    assert found.temp_k == pytest.approx(temp_k, abs=1e-3)
    assert found.pressure_pa == pytest.approx(pressure_pa, rel=3e-6)
    assert found.density_kg_m3 == pytest.approx(density, abs=1.1e-5)
    assert air.density_altitude_m(found.density_kg_m3) == pytest.approx(geopotential_m, abs=0.1)
    assert air.pressure_altitude_m(found.pressure_pa) == pytest.approx(geopotential_m, abs=0.1)


def test_relative_density():
    """US Standard Atmosphere 1976: sigma 0.86167 at 5000 ft."""
    density = air.standard_air(5000 * FOOT).density_kg_m3
    assert air.relative_density_pct(density) == pytest.approx(86.167, abs=2e-3)


@pytest.mark.parametrize(
    ("temp_c", "station_inhg", "vapour_hpa", "nws_ft", "exact_ft"),
    [
        (35, 25.000, 12.269, 8385, 8371),
        (25, 29.234, 6.110, 2043, 2026),
        (15, 29.920, 0.186, 22, 4),
        (30, 29.920, 23.341, 2037, 2020),
    ],
)
def test_density_altitude(temp_c, station_inhg, vapour_hpa, nws_ft, exact_ft):
    """National Weather Service density altitude formula, and the exact altitude of the same density."""
    state = AirState(temp_c, station_inhg * INHG, vapour_hpa * 100)
    nws = air.weather_service_density_altitude_m(state.temp_c, state.pressure_pa, state.vapour_pressure_pa)
    assert nws / FOOT == pytest.approx(nws_ft, abs=1.5)
    assert state.density_altitude_m / FOOT == pytest.approx(exact_ft, abs=5)
    assert state.density_altitude_m / FOOT == pytest.approx(nws_ft, abs=25)
    assert state.dry_density_altitude_m > state.density_altitude_m


@pytest.mark.parametrize(
    ("field_ft", "setting_inhg", "temp_c", "pressure_altitude_ft", "rule_ft"),
    [(5000, 29.45, 35, 5470, 9070), (1000, 29.92, 30, 1000, 3040)],
)
def test_pilots_worked_example(field_ft, setting_inhg, temp_c, pressure_altitude_ft, rule_ft):
    """A published pilot's example, 5000 ft and 29.45 inHg at 35 °C, by the rule of 1000 ft an inch and 120 ft a degree
    over standard at field elevation; and the same rule at 1000 ft.

    The rule takes an inch for 1000 ft where it is 925, and stays straight where the exact curve falls off by 6 % of
    the correction at 30 degrees over standard: so within 50 ft for pressure, and up to 4 % below for density.
    """
    station_pa = air.station_pressure_pa(setting_inhg * INHG, field_ft * FOOT)
    assert air.pressure_altitude_m(station_pa) / FOOT == pytest.approx(pressure_altitude_ft, abs=50)
    exact_ft = AirState(temp_c, station_pa).density_altitude_m / FOOT
    assert 0.96 * rule_ft < exact_ft < rule_ft


@pytest.mark.parametrize("altitude_ft", [0, 2000, 6000])
def test_a_degree_is_120_feet_near_standard(altitude_ft):
    """The pilot's 120 ft a degree is the rounded slope of the exact curve: within 2 %."""
    standard = air.standard_air(altitude_ft * FOOT)
    plain, warmer = (AirState(standard.temp_k - 273.15 + rise, standard.pressure_pa) for rise in (0.0, 1.0))
    assert (warmer.density_altitude_m - plain.density_altitude_m) / FOOT == pytest.approx(120, rel=0.02)


CORRECTIONS = [  # formulas of the standards, worked out apart from this code
    (25, 99_000, 0.0, 1.00000, 1.04004, 1.00000, 1.03193),
    (20, 101_325, 0.0, 0.96321, 1.00762, 0.96270, 0.99975),
    (15, 101_325, 0.5, 0.96303, 1.00747, 0.96253, 0.99119),
    (35, 100_000, 0.6, 1.04914, 1.08333, 1.05018, 1.03861),
    (30, 95_000, 0.4, 1.08253, 1.11277, 1.08450, 1.08436),
    (10, 102_000, 0.3, 0.94014, 0.98731, 0.93944, 0.97604),
    (40, 84_000, 0.2, 1.27079, 1.27867, 1.28135, 1.24643),
]


@pytest.mark.parametrize(("temp_c", "pressure_pa", "rh", "j1349", "j607", "iso", "din"), CORRECTIONS)
def test_power_correction(temp_c, pressure_pa, rh, j1349, j607, iso, din):
    """SAE J1349, J607, ISO 1585, DIN 70020; e from psychrolib."""
    state = humid(temp_c, pressure_pa, rh)
    found = {name: air.power_correction(state, name).factor for name in air.POWER_STANDARDS}
    expected = {"J1349": j1349, "J607": j607, "ISO 1585": iso, "DIN 70020": din}
    assert found == pytest.approx(expected, abs=2e-5)
    assert air.power_correction(state).within_limits == (0.93 <= j1349 <= 1.07)


@pytest.mark.parametrize(
    ("temp_f", "rh", "inhg", "factor", "hp", "corrected_hp"),
    [(85, 0.85, 28.85, 1.1005, 400, 440), (55, 0.35, 30.10, 0.994, 442, 440)],
)
def test_j607_of_the_dynamometer_article(temp_f, rh, inhg, factor, hp, corrected_hp):
    """A published dynamometer article on corrected horsepower: within 1e-3, and its powers within 1 hp."""
    found = air.power_correction(humid((temp_f - 32) / 1.8, inhg * INHG, rh), "J607").factor
    assert found == pytest.approx(factor, abs=1e-3)
    assert hp * found == pytest.approx(corrected_hp, abs=1)


QUARTER_MILES = [  # lb, hp, then seconds and mph of Huntington, Fox, Hale, as three pages print the constants
    (3200, 500, (11.678, 120.65), (11.639, 123.88), (10.815, 126.03)),
    (3400, 450, (12.343, 114.15), (12.301, 117.21), (11.430, 119.25)),
    (2400, 700, (9.485, 148.55), (9.453, 152.53), (8.783, 155.18)),
]


@pytest.mark.parametrize(("lb", "hp", "huntington", "fox", "hale"), QUARTER_MILES)
def test_quarter_mile(lb, hp, huntington, fox, hale):
    """Huntington 1958, Fox 1973, Hale."""
    for law, (seconds, mph) in zip((air.HUNTINGTON, air.FOX, air.HALE), (huntington, fox, hale), strict=True):
        assert air.power_from_trap_speed_w(mph * MPH, lb * LB, law) / HP == pytest.approx(hp, rel=4e-4)
        assert air.power_from_elapsed_time_w(seconds, lb * LB, law) / HP == pytest.approx(hp, rel=4e-4)


def test_speed_and_time_follow_the_cube_root_of_power():
    """Hale: correcting the speed and correcting the power are the same thing."""
    corrected = air.corrected_trap_speed_m_s(56.0, 1.05)
    power = air.power_from_trap_speed_w(56.0, 1450)
    assert air.power_from_trap_speed_w(corrected, 1450) == pytest.approx(1.05 * power)
    assert air.corrected_elapsed_time_s(10.815, 1.05) == pytest.approx(10.815 * 56.0 / corrected)


@pytest.mark.parametrize(
    "impossible",
    [
        lambda: AirState(80, 101325),
        lambda: AirState(20, 29.92),
        lambda: AirState(20, 101325, 3000),
        lambda: AirState(20, 101325, -1),
        lambda: AirState(float("nan"), 101325),
        lambda: air.vapour_pressure_from_relative_humidity_pa(20, 50),
        lambda: air.vapour_pressure_from_wet_bulb_pa(20, 25, 101325),
        lambda: air.vapour_pressure_from_wet_bulb_pa(40, 5, 101325),
        lambda: air.vapour_pressure_from_water_content_pa(-1, 101325),
        lambda: air.station_pressure_pa(101325, 9000),
        lambda: air.standard_air(12_000),
        lambda: air.density_altitude_m(0.0),
        lambda: air.power_correction(AirState(20, 101325), "J1"),
        lambda: air.power_from_trap_speed_w(0, 1400),
        lambda: air.corrected_elapsed_time_s(10, 0),
    ],
)
def test_impossible_air_is_one_sentence(impossible):
    with pytest.raises(ValueError, match=r"^[^\n]{20,200}$"):
        impossible()
