"""Today's jets: the published laws, the rich side, the choice of the reference, and what is said of it."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine_rules.air import PA_PER_INHG, AirState, vapour_pressure_from_relative_humidity_pa
from engine_rules.air_today import AirDensity
from engine_rules.day_table import Axis, day_table
from engine_rules.fuel import Jet, Ladder, station_area_in2
from engine_rules.logbook import Logbook, LogbookError, Run
from engine_rules.retune import Retune, retune
from engine_rules.retune_basis import Exponent, basis, learned_exponent
from tests.engine_rules.logbooks import GOOD_RUN, engine, good_set, logbook, run, v8
from tests.engine_rules.simulated_logs import drawn, engine_to_learn, simulated, tunes

V8 = v8(enrichment_area_in2={"front": 0.0012})
EFI = v8(carburetion="EFI", metering="throttle map")
# The base of the published table: 20 °C, 101325 Pa, 50 %.
BASE = {"temp_c": 20.0, "pressure_pa": 101_325.0, "pressure_kind": "station", "humidity_pct": 50.0}
AIRS = st.builds(
    lambda temp_c, pressure_pa, share: air(temp_c, pressure_pa, share),
    st.floats(-10, 42), st.floats(78_000, 104_500), st.floats(0, 1),
)  # fmt: skip
FINE = Ladder(tuple(Jet(str(n), n / 10_000) for n in range(500, 1000)))


def air(temp_c: float, pressure_pa: float, share: float) -> AirState:
    return AirState(temp_c, pressure_pa, vapour_pressure_from_relative_humidity_pa(temp_c, share))


def reference(name: str = "7", of=V8, jets="80", **said) -> Run:
    return run(name, of, {**GOOD_RUN, **BASE, "reference": True, **said}, good_set(of), jets)


def book(*runs: Run, of=V8, **changes) -> Logbook:
    return logbook(of, *(runs or (reference(of=of),)), **changes)


def said(made: Retune, level: str | None = None) -> str:
    return " ".join(one.text for one in made.cautions if level in (None, one.level))


# -- the law


@pytest.mark.parametrize(
    ("temp_c", "pressure_pa", "humidity", "area", "bore_of_080"),
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
def test_jets_by_the_humidity_table(temp_c, pressure_pa, humidity, area, bore_of_080) -> None:
    """Scaling with humidity: area (dry2/dry1)/sqrt(moist2/moist1), worked out with CoolProp; jets of 0.0001 in."""
    made = retune(book(reference(of=v8(), jets="800"), of=v8(), jets=FINE), air(temp_c, pressure_pa, humidity))
    assert 1.0 + made.asked_pct / 100.0 == pytest.approx(area, abs=2e-4)
    for jet in made.jets:
        assert int(jet.new) / 10_000 == pytest.approx(bore_of_080 + 0.00005, abs=0.000075)
        assert 0.0 <= jet.left_pct <= 0.27
        assert jet.kept_pct == pytest.approx(100.0 * (1.0 / area - 1.0), abs=0.025)


@pytest.mark.parametrize(
    ("sigma", "area"), [(0.80, 0.89443), (0.85, 0.92195), (0.90, 0.94868), (0.95, 0.97468), (1.05, 1.02470)]
)
def test_dry_air_goes_by_its_root(sigma: float, area: float) -> None:
    """Density scaling table (root of density): dry air of the base's temperature, its pressure times sigma."""
    dry = reference(of=v8(), jets="800", humidity_pct=0.0, pressure_pa=100_000.0)
    made = retune(book(dry, of=v8(), jets=FINE), AirState(20.0, 100_000.0 * sigma))
    assert 1.0 + made.asked_pct / 100.0 == pytest.approx(area, abs=6e-6)
    assert made.density_pct == pytest.approx(100.0 * (sigma - 1.0), abs=0.01)


@given(AIRS)
@settings(max_examples=60, deadline=None)
def test_what_each_metering_asks_for(now: AirState) -> None:
    """Alpha-N and displacement take all of dry density; speed-density what moisture takes, nothing in dry air."""
    base = air(20.0, 101_325.0, 0.5)
    full = 100.0 * (now.dry_density_kg_m3 / base.dry_density_kg_m3 - 1.0)
    assert retune(book(of=EFI), now).asked_pct == pytest.approx(full)
    mechanical = replace(V8, metering="displacement")
    assert retune(book(of=mechanical), now).asked_pct == pytest.approx(full)
    # What the computer sees is pressure over temperature; oxygen is in the dry part of it.
    by_itself = (1 - now.vapour_pressure_pa / now.pressure_pa) / (1 - base.vapour_pressure_pa / base.pressure_pa)
    made = retune(book(of=replace(EFI, metering="speed-density")), now)
    assert made.asked_pct == pytest.approx(100.0 * (by_itself - 1.0), abs=0.02)


def test_the_learned_exponent_is_used_and_named() -> None:
    now = air(35.0, 95_000.0, 0.4)
    law, learned = retune(book(), now), retune(book(), now, exponent=Exponent(0.42, 0.03, 14))
    assert law.exponent == Exponent(0.5) and law.asked_sd_pct == 0.0
    assert learned.exponent.changes == 14
    thicker = now.moist_density_kg_m3 / law.then.moist_density_kg_m3
    assert (100 + learned.asked_pct) / (100 + law.asked_pct) == pytest.approx(thicker**0.08)
    assert learned.asked_sd_pct == pytest.approx(3.0 * abs(math.log(thicker)))
    yours = book(targets=book().targets.overridden({"air.fuel_exponent": 0.45}))
    assert retune(yours, now).exponent == Exponent(0.45)


def test_an_exponent_is_learned_where_the_weather_of_the_log_was_wide() -> None:
    rng, of = np.random.default_rng(5), engine_to_learn()
    known = drawn(rng, of)
    season = [replace(tune, pressure_pa=float(rng.uniform(82_000, 103_000))) for tune in tunes(rng, of, 60)]
    log = simulated(rng, of, known, season)
    learned = learned_exponent(log)
    assert learned is not None and learned.changes > 40
    assert learned.sd < 0.07 and learned.value == pytest.approx(known.gains["air.fuel_exponent"], abs=3 * learned.sd)
    assert learned_exponent(replace(log, runs=log.runs[:4])) is None
    assert learned_exponent(book()) is None


# -- rounding


@given(AIRS, st.integers(60, 96), st.sets(st.integers(60, 96), max_size=30))
@settings(max_examples=150, deadline=None)
def test_never_leaner_than_asked_while_a_jet_on_hand_allows(now: AirState, fitted: int, missing: set[int]) -> None:
    sizes = Ladder(tuple(Jet(str(n), n / 1000, n not in missing) for n in range(60, 97)))
    made = retune(book(reference(jets=str(fitted)), jets=sizes), now)
    have = {n for n in range(60, 97) if n not in missing or n == fitted}
    for jet, end in zip(made.jets, ("front", "front", "rear", "rear"), strict=True):
        extra = 0.0012 if end == "front" else 0.0
        asked = (1.0 + made.asked_pct / 100.0) * station_area_in2(fitted / 1000, extra)
        enough = [n for n in have if station_area_in2(n / 1000, extra) >= asked * (1 - 1e-9)]
        assert int(jet.new) == (min(enough) if enough else max(have))
        assert (jet.left_pct >= -1e-6) == bool(enough)
        assert bool(enough) or "lean; get" in said(made, "back off")
        if jet.wanted is not None:
            assert int(jet.wanted) in missing and jet.wanted in said(made)


@given(st.floats(15, 40), st.floats(80_000, 104_000), st.floats(0, 20), st.floats(0, 8_000), st.floats(0, 9))
@settings(max_examples=100, deadline=None)
def test_thinner_air_never_gets_a_bigger_jet(temp_c, pressure_pa, warmer, lower, water_g_per_kg) -> None:
    """At one water content, as a day warms up or the pressure falls."""

    def at(temp_c: float, pressure_pa: float) -> AirState:
        share = water_g_per_kg / 1000.0
        return AirState(temp_c, pressure_pa, share / (0.622 + share) * pressure_pa)

    of = basis(book())
    thick, thin = at(temp_c, pressure_pa), at(temp_c + warmer, pressure_pa - lower)
    for before, after in zip(of.jets(thick), of.jets(thin), strict=True):
        assert int(after.new) <= int(before.new)
    efi = basis(book(of=EFI))
    before, after = efi.fuel_change(thick), efi.fuel_change(thin)
    assert before and after and after.change_pct <= before.change_pct


@given(AIRS)
@settings(max_examples=60, deadline=None)
def test_injection_is_rounded_to_its_step_on_the_rich_side(now: AirState) -> None:
    made = retune(book(of=replace(EFI, fuel_trim_step_pct=0.5)), now)
    assert made.jets == () and made.fuel is not None
    assert made.fuel.change_pct % 0.5 == 0.0
    assert made.fuel.left_pct >= -1e-6
    assert made.fuel.change_pct - made.asked_pct < 0.5


def test_the_same_air_changes_nothing() -> None:
    made = retune(book(), air(20.0, 101_325.0, 0.5))
    assert [(jet.old, jet.new, jet.wanted) for jet in made.jets] == [("80", "80", None)] * 4
    assert all(abs(jet.left_pct) < 1e-9 and abs(jet.kept_pct) < 1e-9 for jet in made.jets)


# -- what it is reckoned from


def test_the_newest_reference_with_all_its_air_is_taken() -> None:
    older, newer = reference("7"), reference("9")
    blank = reference("11", humidity_pct=None)
    made = retune(book(older, newer, reference("10", reference=False), blank), air(25.0, 99_000.0, 0.4))
    assert (made.reference, made.because) == ("9", "marked Reference")
    assert "Run 11 is marked Reference" in said(made)


def test_without_a_reference_the_newest_fit_run_is_taken_and_named() -> None:
    fit = reference("7", reference=False)
    unfit = reference("8", reference=False, new_plugs=False)
    specked = run("9", V8, {**GOOD_RUN, **BASE}, good_set(V8, specks="few black"), "80")
    made = retune(book(fit, unfit, specked), air(25.0, 99_000.0, 0.4))
    assert made.reference == "7"
    assert "not marked Reference" in said(made)
    asked = retune(book(fit, unfit, specked), air(25.0, 99_000.0, 0.4), reference=specked)
    assert asked.reference == "9" and "specks" in said(asked, "back off")


def test_other_jets_on_the_newest_run_are_named() -> None:
    later = run("12", V8, {**GOOD_RUN}, good_set(V8), {"LF": "80", "RF": "80", "LR": "84", "RR": "84"})
    assert "Run 12 had other jets than run 7: LR 84, RR 84." in said(
        retune(book(reference(), later), air(25, 99_000, 0.4))
    )


@pytest.mark.parametrize(
    ("log", "which", "words"),
    [
        (book(reference(humidity_pct=None)), None, "nothing to reckon"),
        (book(reference(pressure_kind="sea-level")), None, "nothing to reckon"),
        (logbook(V8), None, "nothing to reckon"),
        (book(reference(humidity_pct=None)), "7", "humidity of run 7 must be logged"),
        (book(reference(pressure_kind="sea-level")), "7", "altitude, which a sea-level pressure needs"),
        (book(replace(reference(), tuneup=replace(reference().tuneup, jets={}))), None, "jets at LF, RF, LR, RR"),
        (book(of=replace(EFI, metering="")), None, "Metering is blank"),
        (book(of=replace(EFI, metering="venturi")), None, "Metering is venturi; for EFI"),
        (book(of=replace(V8, metering="speed-density")), None, "write one of: venturi, displacement"),
        (book(reference(jets="81")), None, "jet 81 is not on the ladder"),
    ],
)
def test_what_it_cannot_be_reckoned_from_is_refused(log: Logbook, which: str | None, words: str) -> None:
    with pytest.raises(LogbookError, match=words) as refused:
        retune(log, air(25.0, 99_000.0, 0.4), None if which is None else log.run(which))
    assert "\n" not in str(refused.value)


# -- what is said


@pytest.mark.parametrize(("pressure_pa", "far"), [(101_325 * 0.895, True), (101_325 * 0.92, False), (113_000, True)])
def test_beyond_ten_percent_it_asks_for_a_run_to_check(pressure_pa: float, far: bool) -> None:
    made = retune(book(), air(20.0, pressure_pa, 0.5))
    assert ("beyond the 10 %" in said(made, "back off")) is far


def test_timing_is_a_caution_alone_and_no_power_is_promised() -> None:
    thin, thick = retune(book(), air(35.0, 95_000.0, 0.4)), retune(book(), air(5.0, 102_500.0, 0.4))
    assert "Leave the timing. Thinner air usually bears a little more" in said(thin)
    assert "take some out" in said(thick)
    for made in (thin, thick):
        assert "Make a run to check" in said(made) and "No power is promised" in said(made)
        assert "timing" not in json.dumps({**made.as_json(), "cautions": []})


def test_a_reference_whose_pressure_looks_reduced_is_asked_about() -> None:
    """At 5000 ft the standard station pressure is 24.9 inHg; 29.92 there is an altimeter setting."""
    high = {"altitude_m": 1524.0, "pressure_kind": None}
    trapped = retune(book(reference(pressure_pa=29.92 * PA_PER_INHG, **high)), air(25.0, 84_000.0, 0.3))
    assert "too lean" in said(trapped, "back off")
    true = retune(book(reference(pressure_pa=24.9 * PA_PER_INHG, **high)), air(25.0, 84_000.0, 0.3))
    assert "too lean" not in said(true) and "which kind of pressure" in said(true)


def test_mechanical_injection_is_told_of_its_bypass() -> None:
    assert "bypass" in said(retune(book(of=replace(V8, metering="displacement")), air(25.0, 99_000.0, 0.4)))


def test_densities_alone_are_enough() -> None:
    full = air(30.0, 95_000.0, 0.4)
    by_density = retune(book(), AirDensity(full.moist_density_kg_m3, full.dry_density_kg_m3))
    assert by_density.jets == retune(book(), full).jets
    assert json.loads(json.dumps(by_density.as_json()))["air"]["today"]["temp_c"] is None


# -- the table of the day

AXES = (Axis(2.5), Axis(500.0), Axis(75.0))


@given(AIRS)
@settings(max_examples=40, deadline=None)
def test_the_table_holds_today_and_falls_toward_thin_air(now: AirState) -> None:
    of = basis(book())
    table = day_table(of, now, *AXES)
    row, column = table.today
    assert (table.temps_c[column], table.pressures_pa[row]) == (now.temp_c, now.pressure_pa)
    assert table.cells[row][column].jets == tuple(jet.new for jet in of.jets(now))
    assert list(table.temps_c) == sorted(set(table.temps_c))
    assert len(table.cells) == len(table.pressures_pa) == 7 and {len(one) for one in table.cells} == {7}
    sizes = [[tuple(map(int, cell.jets)) for cell in one] for one in table.cells]
    for lower, upper in pairwise(sizes):
        assert all(a <= b for one, other in zip(lower, upper, strict=True) for a, b in zip(one, other, strict=True))
    if now.relative_humidity_fraction < 0.5:
        # Colder air that gives off its water gains a hair of oxygen more; from dry air nothing turns.
        for one in sizes:
            assert all(a >= b for left, right in pairwise(one) for a, b in zip(left, right, strict=True))


def test_the_table_goes_by_density_altitude_where_no_temperature_is_known() -> None:
    now = AirDensity(1.15, 1.14)
    table = day_table(basis(book(of=EFI)), now, *AXES)
    assert table.temps_c == table.pressures_pa == ()
    assert len(table.altitudes_m) == 7 and table.altitudes_m[table.today[0]] == now.density_altitude_m
    change = [row[0].fuel_pct for row in table.cells]
    assert change == sorted(change, reverse=True) and change[0] > change[-1]


def test_single_engines_of_every_kind() -> None:
    four = engine({n: ("", n) for n in range(1, 5)}, (1, 3, 4, 2), carburetion="side-draughts", arrangement="inline")
    made = retune(book(of=four), air(35.0, 95_000.0, 0.4))
    assert len(made.jets) == 4 and all(jet.new < jet.old for jet in made.jets)
