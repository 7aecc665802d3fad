"""The worksheet functions: the library's own numbers, units as in the log, and a reason for what they refuse."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from engine_rules.air import METRES_PER_FOOT, PA_PER_INHG, STANDARD_DENSITY_KG_M3, AirState, station_pressure_pa
from engine_rules.air import vapour_pressure_from_relative_humidity_pa as vapour_pa
from engine_rules.logbook import LogbookError
from engine_rules.retune import retune
from engine_rules.spark import tab_bend_mm
from tests.engine_rules.logbooks import GOOD_RUN, good_set, ladder, logbook, run, v8
from workbook_template.functions import FUNCTIONS, call

JETS = [[float(size.label)] for size in ladder().sizes]
BORES = [[size.bore_in] for size in ladder().sizes]
HOT, COOL = (88.0, 29.42, 45.0), ("66 F", 29.92, 40.0)


def air_of(temp_f: float, pressure_inhg: float, humidity_pct: float) -> AirState:
    temp_c = (temp_f - 32.0) / 1.8
    return AirState(temp_c, pressure_inhg * PA_PER_INHG, vapour_pa(temp_c, humidity_pct / 100.0))


def reason(name: str, *values: Any) -> str:
    with pytest.raises(LogbookError) as caught:
        call(name, values)
    return str(caught.value)


def test_air_is_the_librarys() -> None:
    air = air_of(*HOT)
    assert call("AIR", HOT) == pytest.approx(100.0 * air.moist_density_kg_m3 / STANDARD_DENSITY_KG_M3, rel=1e-12)
    assert call("DRY_AIR", HOT) == pytest.approx(100.0 * air.dry_density_kg_m3 / STANDARD_DENSITY_KG_M3, rel=1e-12)
    assert call("DENSITY_ALTITUDE", (*HOT, "m")) == pytest.approx(air.density_altitude_m, rel=1e-12)
    assert call("STRAPLINE_DENSITY_ALTITUDE", (*HOT, "ft")) == pytest.approx(air.density_altitude_m / METRES_PER_FOOT)
    at_sea_level = call("STATION_PRESSURE", (30.02, "850 ft"))
    assert at_sea_level == pytest.approx(station_pressure_pa(30.02 * PA_PER_INHG, 259.08) / PA_PER_INHG, rel=1e-9)


def test_units_change_nothing() -> None:
    same = call("AIR", (95.0, 29.5, 40.0))
    assert call("AIR", ("35 °C", 29.5, 0.4)) == pytest.approx(same, rel=1e-12)
    assert call("AIR", ("35C", f"{29.5 * 33.86389} hPa", "40 %")) == pytest.approx(same, rel=1e-9)
    assert call("AIR", ([[95.0]], ((29.5,),), "40")) == same


AIRS = st.tuples(st.floats(68, 110), st.floats(27, 31), st.floats(2, 100))


@settings(max_examples=40)
@given(AIRS, AIRS, st.sampled_from([one.label for one in ladder().sizes[3:-3]]), st.sampled_from([0.0, 0.0012]))
def test_jet_is_what_retune_says(then: Any, now: Any, jet: str, area_in2: float) -> None:
    of = v8(enrichment_area_in2={"front": area_in2, "rear": area_in2})
    air = air_of(*then)
    said = {"temp_c": air.temp_c, "pressure_pa": air.pressure_pa, "humidity_pct": then[2], "reference": True}
    made = retune(logbook(of, run("7", of, {**GOOD_RUN, **said}, good_set(of), jet)), air_of(*now))
    assume(abs(made.density_pct) < 9.9)
    given_area = [f"{area_in2} in2"] if area_in2 else []
    assert call("JET", [float(jet), *then, *now, JETS, BORES, *given_area]) == float(made.jets[0].new)


def test_jet_gives_the_label_as_the_cell_holds_it() -> None:
    jets, bores = [["72"], ["74"], [None], ["76 R"]], [["1.83"], ["1.88"], [None], ["1.93"]]
    assert call("JET", ["74", *HOT, *COOL, jets, bores]) == "76 R"
    assert call("JET", ["74", *HOT, *HOT, jets, bores]) == "74"
    assert call("JET", ["74", *HOT, *HOT, jets, bores, 0.0]) == "74"


def test_a_jet_is_never_given_where_it_would_be_lean() -> None:
    assert "too lean for this air" in reason("JET", 96.0, *HOT, *COOL, JETS, BORES)
    assert "% thicker than then" in reason("JET", 76.0, *HOT, "20 F", 30.1, 45.0, JETS, BORES)
    assert "% thinner than then" in reason("JET", 76.0, *HOT, "88 F", 25.1, 45.0, JETS, BORES)


def test_tab_bend_is_the_librarys() -> None:
    assert call("TAB_BEND_MM", (-2.0, 41.0)) == pytest.approx(tab_bend_mm(-2.0, 41.0))
    assert call("TAB_BEND_MM", (1.5, "1.6 in", "crank")) == pytest.approx(tab_bend_mm(1.5, 40.64, 1.0))
    assert call("TAB_BEND_MM", (0.0, 41.0)) == 0.0
    assert "distributor or crank" in reason("TAB_BEND_MM", 1.0, 41.0, "cam")


@pytest.mark.parametrize(
    ("name", "values", "sentence"),
    [
        ("AIR", (24.0, 29.4, 45.0), 'the temperature of 24 may be °F or °C; give its unit too, such as "24 °F"'),
        ("AIR", (88.0, 500.0, 45.0), "the pressure of 500 may be hPa or mmHg"),
        ("AIR", (88.0, 300.0, 45.0), "the pressure of 300 is not possible in any of inHg, hPa"),
        ("AIR", (88.0, "300 hPa", 45.0), "it lies between 500 and 1100 hPa"),
        ("AIR", (88.0, "29.4 bar", 45.0), "has a unit 'bar' that is not known here"),
        ("AIR", (88.0, "high", 45.0), "the pressure 'high' is not a number"),
        ("AIR", (88.0, 29.4, 120.0), "it lies between 0 and 100 %"),
        ("AIR", (88.0, 29.4, True), "is not a number"),
        ("AIR", (88.0, 29.4, 0.0), "the humidity is empty or 0"),
        ("AIR", (88.0, None, 45.0), "the pressure is empty or 0"),
        ("AIR", (88.0, 29.4), "the humidity is empty or 0"),
        ("AIR", (88.0, 29.4, 45.0, 1.0), "takes 3 values and got 4"),
        ("AIR", ([[88.0], [89.0]], 29.4, 45.0), "the temperature takes one cell and got 2"),
        ("DENSITY_ALTITUDE", HOT, "the unit of the answer is missing; write one of ft, m"),
        ("DENSITY_ALTITUDE", (*HOT, "miles"), "write one of ft, m"),
        ("STATION_PRESSURE", (29.92, 850.0), "the altitude of 850 may be ft or m"),
        ("STATION_PRESSURE", (29.92, 0.0), 'such as "0 ft"'),
        ("JET", (99.0, *HOT, *HOT, JETS, BORES), "jet 99 is not on the ladder"),
        ("JET", (None, *HOT, *HOT, JETS, BORES), "the jet is empty"),
        ("JET", (76.0, *HOT, *HOT, JETS, BORES[:-1]), "two ranges of one length"),
        ("JET", (76.0, *HOT, *HOT, [[72.0], [None]], [[0.072], [0.074]]), "a jet of the list is empty"),
        ("JET", (72.0, *HOT, *HOT, [[72.0], [74.0]], [[0.072], [0.0]]), "the bore is empty or 0"),
        ("JET", (72.0, *HOT, *HOT, [[72.0], [74.0]], [[0.072], [74.0]]), "the bore of 0.072 to 74 is not possible"),
        ("JET", (76.0, *HOT, *HOT, JETS, BORES, 0.002), "the enrichment area of 0.002 may be in² or mm²"),
        ("JET", (76.0, 24.0, *HOT[1:], *HOT, JETS, BORES), "the temperature then of 24 may be"),
        ("TAB_BEND_MM", (2.0, None), "the radius of the tabs is empty or 0"),
        ("NOTHING", (1.0,), "there is no function NOTHING; use one of AIR"),
    ],
)
def test_what_is_refused_says_why(name: str, values: tuple[Any, ...], sentence: str) -> None:
    assert sentence in reason(name, *values)
    if name in FUNCTIONS:
        assert call("WHY_NOT", (f"strapline_{name}".lower(), *values)) == reason(name, *values)


def test_no_reason_where_there_is_an_answer() -> None:
    assert call("WHY_NOT", ("AIR", *HOT)) == ""
    assert "name the function first" in reason("WHY_NOT", 88.0)


def test_help_and_names_fit_what_spreadsheet_programs_take() -> None:
    for function in FUNCTIONS.values():
        assert function.help.endswith(".") and len(function.help) <= 255
        for argument in function.arguments:
            assert argument.help.endswith(".") and len(argument.help) <= 255
            assert argument.name.isidentifier() and argument.name.islower()


def test_a_process_answers_line_by_line_and_ends_with_its_input() -> None:
    hot = {"name": "AIR", "given": HOT}
    lines = "".join(json.dumps(one) + "\n" for one in (hot, hot | {"given": [1.0]}, {"name": "AIR"}, hot)) + "no json\n"
    command = [sys.executable, "-m", "workbook_template.function_protocol"]
    ended = subprocess.run(command, input=lines, capture_output=True, text=True, timeout=60)
    said = [json.loads(line) for line in ended.stdout.splitlines()]
    assert ended.returncode == 0 and ended.stderr == ""
    assert said[0] == said[3] == {"value": call("AIR", HOT)}
    assert said[1]["error"].startswith("the temperature of 1 may be")
    assert all("fault of strapline's own" in one["error"] for one in (said[2], said[4]))
