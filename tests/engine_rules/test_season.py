"""The season run by run: gaps, goals, results that can be compared, what was changed and believed."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import fmean
from typing import Any

import pytest

from engine_rules.air import power_correction
from engine_rules.ledger import scores
from engine_rules.logbook import Entry, LogbookError, Run
from engine_rules.response import responses
from engine_rules.results import Score
from engine_rules.season import Course, Season, season
from engine_rules.targets import default_targets
from engine_rules.weather import air_state
from tests.engine_rules.logbooks import GOOD_RUN, good_set, logbook, run, v8

TARGETS = default_targets()
AIR = {"temp_c": 20.0, "pressure_pa": 100_000.0, "pressure_kind": "station", "humidity_pct": 40.0}
THIN = AIR | {"temp_c": 30.0, "pressure_pa": 97_000.0}
ENGINE = v8(fuel="unleaded gasoline")


def made(name: str, jets: str = "76", seen: dict[str, Any] | None = None, **said: Any) -> Run:
    return run(name, ENGINE, GOOD_RUN | AIR | said, good_set(ENGINE, **({"ring": 0.8} | (seen or {}))), jets)


def of(*runs: Run) -> Season:
    return season(logbook(ENGINE, *runs))


def course(found: Season, kind: str) -> Course:
    return next(one for one in found.courses if one.kind == kind)


def test_readings_stand_by_run_and_cylinder_in_their_own_unit() -> None:
    found = of(made("1", seen={"egt_c": 712.5, "strap_mark": "past bend"}), made("2"))
    assert course(found, "egt").amounts == (dict.fromkeys(range(1, 9), 712.5), {})
    assert course(found, "ring").amounts[0][3] == 0.8
    assert course(found, "strap_mark").amounts[0][1] > course(found, "strap_mark").amounts[1][1]
    assert not course(found, "shell_ring").runs_read and course(found, "ring").runs_read == 2


def test_a_set_that_is_not_fit_leaves_a_gap_and_is_named() -> None:
    found = of(made("1"), made("2", new_plugs=False), made("3"))
    assert [bool(one) for one in course(found, "ring").amounts] == [True, False, True]
    assert found.unfit == ("2",)


def test_a_spoiled_plug_is_left_out_and_the_others_stay() -> None:
    plugs = good_set(ENGINE) | {4: {"ring": "heavy", "porcelain": "oily"}}
    found = season(logbook(ENGINE, run("1", ENGINE, GOOD_RUN, plugs)))
    assert sorted(course(found, "ring").amounts[0]) == [1, 2, 3, 5, 6, 7, 8]


def test_no_ring_is_read_on_alcohol() -> None:
    methanol = v8(fuel="methanol")
    found = season(logbook(methanol, run("1", methanol, GOOD_RUN, good_set(methanol))))
    assert course(found, "ring").amounts == ({},) and course(found, "strap_mark").amounts[0]


def test_without_a_reference_the_goal_is_the_target_as_near_as_counts_for_settled() -> None:
    found = of(made("1", seen={"egt_c": 700.0}))
    half = TARGETS["ring.mm_per_pct"] * TARGETS["settled.mixture_pct"]
    assert found.reference is None
    assert course(found, "ring").goal == pytest.approx((0.8 - half, 0.8 + half))
    half = TARGETS["strap.share_per_deg"] * TARGETS["settled.timing_deg"]
    assert course(found, "strap_mark").goal == pytest.approx((0.52 - half, 0.52 + half))
    assert course(found, "egt").goal is None


def test_the_reference_in_use_moves_the_goal_and_gives_exhaust_one() -> None:
    usual = of(made("1", seen={"ring": 1.3}), made("2", seen={"ring": 1.3, "egt_c": 650.0}))
    moved = of(made("1", seen={"ring": 1.3, "egt_c": 700.0}, reference=True), made("2", seen={"ring": 1.3}))
    assert moved.reference is not None and moved.reference.run.name == "1"
    goals = [course(one, "ring").goal for one in (usual, moved)]
    assert goals[0] is not None and goals[1] is not None
    assert goals[1][0] > goals[0][0] + 0.05  # that engine ran its best with a wider ring
    wide = TARGETS["reference.egt_k"]
    assert course(moved, "egt").goal == pytest.approx((700.0 - wide, 700.0 + wide))


def test_of_a_long_log_the_newest_runs_each_against_the_one_before() -> None:
    runs = [made(str(at), jets="76" if at % 2 else "78") for at in range(1, 8)]
    found = season(logbook(ENGINE, *runs), newest=3)
    assert [one.name for one in found.runs] == ["5", "6", "7"] and found.total == 7
    assert found.changed == (("all jets 78 to 76",), ("all jets 76 to 78",), ("all jets 78 to 76",))
    assert len(found.beliefs) == len(course(found, "ring").amounts) == 3


def test_what_is_believed_at_the_end_is_what_the_log_taught() -> None:
    runs = [made(str(at), jets=jets, seen={"ring": ring}) for at, jets, ring in ((1, "76", 0.8), (2, "80", 2.0))]
    book = logbook(ENGINE, *runs)
    first, last = season(book).beliefs
    taught = responses(book).values
    assert taught and tuple(one for one in last if one.changes) == taught
    assert not any(one.changes for one in first) and len(first) == len(last)


# -- results


def speed_of(power: float, said: dict[str, Any]) -> float:
    """The speed of a run with so much power in standard air, at its weight."""
    air = air_state(made("0", **said).air)
    assert air is not None
    return math.exp((math.log(power) - math.log(power_correction(air, "J1349").factor)) / 3.0)


def test_equal_power_in_other_air_and_at_other_weight_is_one_level_line() -> None:
    light, heavy = 1300.0, 1500.0
    runs = [
        made("1", **AIR, weight_kg=light, speed_m_s=speed_of(2e5 / light, AIR)),
        made("2", **THIN, weight_kg=heavy, speed_m_s=speed_of(2e5 / heavy, THIN)),
        made("3", **THIN, weight_kg=light, speed_m_s=speed_of(2e5 / light, THIN)),
    ]
    result = of(*runs).result
    assert result is not None and (result.kind, result.weight_kg, result.left_out) == ("speed", light, {})
    assert result.values == pytest.approx([(2e5 / light) ** (1 / 3)] * 3)
    assert runs[1].result.speed_m_s is not None and runs[1].result.speed_m_s.value < min(result.values) - 0.1


def test_results_are_the_ones_that_the_ledger_compares() -> None:
    book = logbook(ENGINE, *(made(str(at), et_s=10.0 + at / 50, weight_kg=1400.0 + at) for at in range(4)))
    result = season(book).result
    assert result is not None and result.weight_kg == 1403.0
    for by_kind, value in zip(scores(book), result.values, strict=True):
        one = by_kind["elapsed time"]
        assert isinstance(one, Score) and value is not None
        assert -300.0 * math.log(value) + 100.0 * math.log(1403.0) == pytest.approx(one.pct)


def test_a_run_without_the_weight_of_the_others_is_left_out_and_why_is_said() -> None:
    runs = [made(str(at), et_s=10.0, weight_kg=None if at == 2 else 1400.0) for at in range(1, 5)]
    result = of(*runs).result
    assert result is not None and result.values[1] is None and result.runs_read == 3
    assert result.left_out == {"the weight was not logged": ("2",)}
    only = [made(str(at), et_s=10.0, weight_kg=1400.0 if at == 2 else None) for at in range(1, 5)]
    other = of(*only).result
    assert other is not None and other.weight_kg is None and other.values[1] is None and other.runs_read == 3


def test_where_no_weight_was_logged_air_alone_is_corrected() -> None:
    result = of(*(made(str(at), et_s=10.0) for at in range(3))).result
    assert result is not None and result.weight_kg is None and result.runs_read == 3
    assert fmean(one or 0.0 for one in result.values) != pytest.approx(10.0, abs=1e-3)


@pytest.mark.parametrize(
    ("odd", "why"),
    [
        ({"lifted_or_spun": True}, "the run was lifted or spun"),
        ({"humidity_pct": None}, "the air of the run was not logged in full"),
        ({"pull": "dyno pull"}, "it was no pass as most were"),
        ({"pressure_pa": 80_000.0}, "the air was further from the season's middle than any correction can be trusted"),
    ],
)
def test_what_the_ledger_would_not_compare_is_left_out(odd: dict[str, Any], why: str) -> None:
    runs = [made(str(at), speed_m_s=57.0, **(odd if at == 2 else {})) for at in range(1, 6)]
    result = of(*runs).result
    assert result is not None and result.left_out == {why: ("2",)}
    assert [one is None for one in result.values] == [False, True, False, False, False]


def test_laps_stand_as_logged_those_of_another_place_aside() -> None:
    runs = [
        replace(made(str(at), lap_time_s=60.0 + at, pull="hot laps"), place=Entry("South" if at == 3 else "North"))
        for at in range(1, 5)
    ]
    result = of(*runs).result
    assert result is not None and result.values == pytest.approx((61.0, 62.0, None, 64.0))
    assert result.left_out == {"a lap of another place is another lap": ("3",)}


def test_the_result_that_tells_power_best_is_drawn_where_it_makes_a_course() -> None:
    few = [made(str(at), et_s=10.0, speed_m_s=57.0 if at < 2 else None) for at in range(4)]
    many = [made(str(at), et_s=10.0, speed_m_s=57.0 if at < 3 else None) for at in range(4)]
    found = [of(*runs).result for runs in (few, many)]
    assert [one.kind for one in found if one is not None] == ["elapsed time", "speed"]
    assert of(made("1")).result is None


def test_an_empty_log_has_no_season() -> None:
    with pytest.raises(LogbookError):
        season(logbook(ENGINE))
