"""Today's air, however it is given: one air told in all ways gives the same densities."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine_rules.air import GRAINS_PER_LB, METRES_PER_FOOT, PA_PER_INHG, AirState, saturation_vapour_pressure_pa
from engine_rules.air_today import DRY, AirDensity, AirGiven, todays_air
from engine_rules.targets import default_targets

TARGETS = default_targets()


@settings(max_examples=60, deadline=None)
@given(st.floats(-5, 42), st.floats(80_000, 104_000), st.floats(0.0, 1.0))
def test_every_way_to_give_it_gives_the_same_air(temp_c: float, pressure_pa: float, share: float) -> None:
    true = AirState(temp_c, pressure_pa, share * saturation_vapour_pressure_pa(temp_c))
    at = {"temp_c": temp_c, "pressure_pa": pressure_pa}
    water = 1000.0 * true.humidity_ratio
    thin = {"density_altitude_m": true.density_altitude_m}
    for way in (
        AirGiven(**at, humidity_pct=100.0 * share),
        AirGiven(**at, water_g_per_kg=water),
        AirGiven(**at, vapour_pressure_pa=true.vapour_pressure_pa),
        AirGiven(**at, dry_density_kg_m3=true.dry_density_kg_m3),
        AirGiven(**thin, dry_density_kg_m3=true.dry_density_kg_m3),
        AirGiven(**thin, water_g_per_kg=water),
        AirGiven(**thin, temp_c=temp_c, humidity_pct=100.0 * share),
        AirGiven(**thin, temp_c=temp_c, vapour_pressure_pa=true.vapour_pressure_pa),
    ):
        found = todays_air(way, TARGETS)
        assert found.remarks == ()
        assert found.air.moist_density_kg_m3 == pytest.approx(true.moist_density_kg_m3, rel=1e-4)
        assert found.air.dry_density_kg_m3 == pytest.approx(true.dry_density_kg_m3, rel=1.5e-4)


@pytest.mark.parametrize(
    ("altitude_ft", "density_kg_m3"),
    [(0, 1.22500), (1000, 1.18955), (2000, 1.15490), (5000, 1.05555), (8000, 0.96287)],
)
def test_density_altitude_in_the_standard_atmosphere(altitude_ft: float, density_kg_m3: float) -> None:
    """US Standard Atmosphere 1976, geopotential feet."""
    air = todays_air(AirGiven(density_altitude_m=altitude_ft * METRES_PER_FOOT), TARGETS).air
    assert air.moist_density_kg_m3 == pytest.approx(density_kg_m3, abs=6e-6)
    assert air.density_altitude_m == pytest.approx(altitude_ft * METRES_PER_FOOT, abs=0.01)


@pytest.mark.parametrize(
    ("temp_c", "pressure_inhg", "dew_point_c", "altitude_ft"),
    [(35, 25.000, 10, 8385), (25, 29.234, 0, 2043), (30, 29.920, 20, 2037)],
)
def test_density_altitude_of_the_weather_service(temp_c, pressure_inhg, dew_point_c, altitude_ft) -> None:
    """National Weather Service density altitude formula, which reads some 15 ft above the exact one."""
    found = todays_air(
        AirGiven(temp_c=temp_c, pressure_pa=pressure_inhg * PA_PER_INHG, dew_point_c=dew_point_c), TARGETS
    )
    assert found.air.density_altitude_m / METRES_PER_FOOT == pytest.approx(altitude_ft, abs=25)


def test_an_altimeter_setting_is_brought_to_the_track() -> None:
    """National Weather Service station pressure: 29.92 inHg at 1000 ft is 28.854. As it is: 3.7 % too dense."""
    at = {"temp_c": 25.0, "pressure_pa": 29.92 * PA_PER_INHG, "altitude_m": 304.8, "humidity_pct": 40.0}
    told = todays_air(AirGiven(**at, pressure_kind="sea-level"), TARGETS)
    assert told.remarks == ()
    assert told.air.pressure_pa / PA_PER_INHG == pytest.approx(28.854, abs=0.001)
    trapped = todays_air(AirGiven(**at), TARGETS)
    assert any("sea-level" in remark for remark in trapped.remarks)
    assert trapped.air.moist_density_kg_m3 / told.air.moist_density_kg_m3 == pytest.approx(1.037, abs=0.001)


def test_without_moisture_it_is_dry_and_says_so() -> None:
    for way in (
        AirGiven(temp_c=25.0, pressure_pa=99_000.0),
        AirGiven(density_altitude_m=700.0),
        AirGiven(density_altitude_m=700.0, temp_c=25.0),
        AirGiven(dry_density_kg_m3=1.14),
    ):
        found = todays_air(way, TARGETS)
        assert found.remarks == (DRY,)
        assert found.air.dry_density_kg_m3 == pytest.approx(found.air.moist_density_kg_m3)


def test_grains_of_a_weather_slip() -> None:
    air = todays_air(AirGiven(density_altitude_m=700.0, water_g_per_kg=60.0 / 7.0), TARGETS).air
    assert air.humidity_ratio * GRAINS_PER_LB == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (AirGiven(), "give temperature and pressure"),
        (AirGiven(temp_c=20.0), "give temperature and pressure"),
        (AirGiven(pressure_pa=99_000.0, humidity_pct=40.0), "give temperature and pressure"),
        (AirGiven(temp_c=20.0, pressure_pa=99_000.0, humidity_pct=40.0, dew_point_c=5.0), "give one of them"),
        (AirGiven(temp_c=20.0, pressure_pa=99_000.0, density_altitude_m=500.0), "give one of them"),
        (AirGiven(temp_c=20.0, pressure_pa=99_000.0, dew_point_c=22.0), "dew point is above"),
        (AirGiven(temp_c=20.0, pressure_pa=99_000.0, dry_density_kg_m3=1.25), "more than dry air has"),
        (AirGiven(temp_c=20.0, pressure_pa=101_325.0, pressure_kind="sea-level"), "altitude of the track"),
        (AirGiven(density_altitude_m=500.0, humidity_pct=50.0), "also needs the temperature"),
        (AirGiven(density_altitude_m=500.0, dry_density_kg_m3=1.3), "does not go with"),
        (AirGiven(temp_c=20.0, pressure_pa=99_000.0, humidity_pct=140.0), "between 0 and 100 %"),
    ],
)
def test_what_cannot_be_is_refused(given: AirGiven, words: str) -> None:
    with pytest.raises(ValueError, match=words) as refused:
        todays_air(given, TARGETS)
    assert "\n" not in str(refused.value)


def test_densities_of_no_track_are_refused() -> None:
    with pytest.raises(ValueError, match="not possible"):
        AirDensity(3.0, 3.0)
