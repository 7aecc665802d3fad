"""The reference set as the measure for today's readings: which one, how far, and what it must never do."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from engine_rules import advise
from engine_rules.advice import Advice
from engine_rules.estimate import against, estimate
from engine_rules.logbook import Run
from engine_rules.reference import own_target
from engine_rules.targets import default_targets
from tests.engine_rules.logbooks import GOOD_RUN, good_set, logbook, run, v8
from tests.test_never_happens import KNOCK, SCALES, goes_no_harder, timing_given

OF = v8(timing_hardware="per-cylinder")
TARGETS = default_targets()
AIR = {"temp_c": 20.0, "pressure_pa": 100_000.0, "humidity_pct": 40.0}


def best_run(name: str = "best", said: dict[str, Any] | None = None, **seen: Any) -> Run:
    return run(name, OF, {**GOOD_RUN, "reference": True, **(said or {})}, good_set(OF, **seen))


def today(*before: Run, said: dict[str, Any] | None = None, **seen: Any) -> Advice:
    return advise(logbook(OF, *before, run("today", OF, {**GOOD_RUN, **(said or {})}, good_set(OF, **seen))), "today")


def rules(advice: Advice) -> set[str]:
    return {firing.rule for firing in advice.firings}


def texts(advice: Advice) -> str:
    return " | ".join(fact.text for firing in advice.firings for fact in firing.facts)


def quiet(**changes: float) -> dict[str, float]:
    """Targets that leave the earlier runs out of the estimate, so that the reference alone is seen."""
    return {"carry.runs": 0.0, **changes}


def alone(reference: Run, **seen: Any) -> Advice:
    log = logbook(OF, reference, run("today", OF, GOOD_RUN, good_set(OF, **seen)), targets=TARGETS.overridden(quiet()))
    return advise(log, "today")


def test_readings_like_the_reference_are_nearer_to_target_than_without_it() -> None:
    with_it, without = alone(best_run(ring=1.4), ring=1.4), alone(best_run(ring=1.4, plug="D"), ring=1.4)
    for one, other in zip(with_it.cylinders, without.cylinders, strict=True):
        assert one.mixture_pct is not None and other.mixture_pct is not None
        assert 0 <= one.mixture_pct < other.mixture_pct - 0.5
    assert "reference.used" in rules(with_it) and "reference.other_plugs" in rules(without)
    assert "the engine's own target, as read on reference run best" in texts(with_it)


def test_each_cylinder_has_its_own_target() -> None:
    seen = good_set(OF)
    seen[3]["ring"] = 1.6
    reference = run("best", OF, {**GOOD_RUN, "reference": True}, seen)
    log = logbook(OF, reference, run("today", OF, GOOD_RUN, seen), targets=TARGETS.overridden(quiet()))
    judged = advise(log, "today").cylinder(3).mixture_pct
    plain = advise(replace(log, runs=log.runs[1:]), "today").cylinder(3).mixture_pct
    assert judged is not None and plain is not None and judged < plain - 0.1


def test_the_noise_of_the_reference_widens_the_spread() -> None:
    with_it, without = alone(best_run()), alone(best_run(plug="D"))
    for one, other in zip(with_it.cylinders, without.cylinders, strict=True):
        assert one.mixture_sd is not None and other.mixture_sd is not None
        assert other.mixture_sd < one.mixture_sd < 2 * other.mixture_sd


def test_the_target_is_the_textbook_answer() -> None:
    """Two normal sources, the engine's own target and its reading, weighed by their inverse variances."""
    log = logbook(OF, best_run(ring=1.2, strap_mark=0.55))
    solved = estimate(log, log.runs[0])
    target, doubt = own_target(solved, TARGETS)
    before = np.kron(np.diag([1.0, 0.0]), np.full((8, 8), TARGETS["reference.mixture_common_pct"] ** 2))
    before += np.kron(np.diag([0.0, 1.0]), np.full((8, 8), TARGETS["reference.timing_common_deg"] ** 2))
    before += np.diag([TARGETS["reference.mixture_own_pct"] ** 2] * 8 + [TARGETS["reference.timing_own_deg"] ** 2] * 8)
    precision = np.linalg.inv(before) + np.linalg.inv(solved.covariance)
    assert doubt == pytest.approx(np.linalg.inv(precision), abs=1e-9)
    expected = np.linalg.inv(precision) @ np.linalg.inv(solved.covariance) @ solved.mean
    assert target == pytest.approx(np.clip(expected, [-2.0] * 8 + [-3.0] * 8, [6.0] * 8 + [1.0] * 8), abs=1e-9)
    judged = against(solved, target, doubt, "")
    assert judged.mean == pytest.approx(solved.mean - target)
    for state in judged.cylinders:
        assert sum(one.mixture_pct for one in state.contributions) == pytest.approx(state.mixture_pct)
        assert sum(one.timing_deg for one in state.contributions) == pytest.approx(state.timing_deg)


@pytest.mark.parametrize(
    ("spoiler", "rule", "why"),
    [
        ({"plug": "D"}, "reference.other_plugs", "its plugs were D, today's are C"),
        ({"specks": "few black"}, "reference.refused", "its plugs were at their limit of heat"),
    ],
)
def test_refused_with_the_reason(spoiler: dict[str, str], rule: str, why: str) -> None:
    advice = today(best_run(**spoiler))
    assert rule in rules(advice) and "reference.used" not in rules(advice)
    assert why in texts(advice)


@pytest.mark.parametrize(
    ("said", "why"),
    [({"pull": "dyno pull"}, "it was a dyno pull, this is a pass"), ({"clean_cut": False}, "not fit to tune from")],
)
def test_refused_for_how_the_run_was_made(said: dict[str, Any], why: str) -> None:
    advice = today(best_run(said=said))
    assert "reference.refused" in rules(advice) and why in texts(advice)


def test_another_carburetion_is_refused() -> None:
    other = best_run()
    jets = {"front LF": next(iter(other.tuneup.jets.values()))}
    advice = today(replace(other, tuneup=replace(other.tuneup, jets=jets)))
    assert "another carburetion than today's" in texts(advice)


def test_of_several_the_nearest_is_used_and_named() -> None:
    cool, hot = best_run("cool", {**AIR, "temp_c": 10.0}), best_run("hot", {**AIR, "temp_c": 33.0})
    other_plugs = best_run("near", AIR | {"temp_c": 30.0}, plug="D")
    advice = today(hot, cool, other_plugs, said=AIR | {"temp_c": 31.0})
    assert "the reference is run hot" in texts(advice)
    assert "reference run near: its plugs were D" in texts(advice)
    assert "the reference is run cool" in texts(today(hot, cool, said=AIR | {"temp_c": 12.0}))


def test_the_best_settled_run_is_proposed() -> None:
    speeds = {"1": (57.0, {}), "2": (57.6, {"ring": "heavy"}), "3": (57.4, {}), "4": (57.2, {})}
    runs = [
        run(name, OF, {**GOOD_RUN, **AIR, "speed_m_s": speed}, good_set(OF, **seen))
        for name, (speed, seen) in speeds.items()
    ]
    advice = today(*runs, said=AIR)
    assert "reference.proposed" in rules(advice)
    assert "the reference is run 3, the best settled run" in texts(advice)
    assert "reference.proposed" not in rules(today(*runs[:2], said=AIR))


@pytest.mark.parametrize("seen", [{"ring": "none", "strap_mark": 0.9}, {"ring": "trace", "strap_mark": "near weld"}])
def test_a_lean_and_hot_reference_hardly_moves_the_target(seen: dict[str, Any]) -> None:
    judged, plain = alone(best_run(**seen), **seen), alone(best_run(**seen, plug="D"), **seen)
    for one, other in zip(judged.cylinders, plain.cylinders, strict=True):
        assert one.mixture_pct is not None and other.mixture_pct is not None
        assert one.timing_deg is not None and other.timing_deg is not None
        assert one.mixture_pct <= other.mixture_pct + TARGETS["reference.most_lean_pct"] + 0.02
        assert one.timing_deg >= other.timing_deg - TARGETS["reference.most_advanced_deg"] - 0.02
    assert {c.text for c in plain.cautions} <= {c.text for c in judged.cautions}
    assert judged.stage == plain.stage == "safety"


REFERENCES = [{}, {"ring": "heavy", "strap_mark": "short of bend"}, {"ring": "none", "strap_mark": "past bend"}]


@pytest.mark.parametrize("seen", REFERENCES)
@pytest.mark.parametrize("kind", ["ring", "shell_ring"])
def test_leaner_never_reads_richer(seen: dict[str, Any], kind: str) -> None:
    """The estimate is what a reference moves; what is made of it is held elsewhere."""
    before: list[float] | None = None
    for word in SCALES[kind]:
        plugs = good_set(OF)
        plugs[3][kind] = word
        advice = advise(logbook(OF, best_run(**seen), run("today", OF, GOOD_RUN, plugs)), "today")
        now = [one.mixture_pct or 0.0 for one in advice.cylinders]
        assert before is None or all(one >= other - 1e-9 for one, other in zip(now, before, strict=True)), word
        before = now


@pytest.mark.parametrize("seen", REFERENCES)
def test_longer_marks_never_mean_more_timing(seen: dict[str, Any]) -> None:
    before: dict[int, float] | None = None
    for word in SCALES["strap_mark"]:
        plugs = good_set(OF, strap_mark=word)
        advice = advise(logbook(OF, best_run(**seen), run("today", OF, GOOD_RUN, plugs)), "today")
        now = timing_given(advice)
        assert before is None or all(now[n] <= before[n] + 1e-9 for n in OF.numbers), word
        before = now


@pytest.mark.parametrize("sign", KNOCK, ids=lambda sign: sign[1])
def test_detonation_never_goes_harder(sign: tuple[str, str]) -> None:
    plugs = good_set(OF, ring="heavy", strap_mark="tip")
    plugs[5][sign[0]] = sign[1]
    log = logbook(OF, best_run(ring="none", strap_mark="past bend"), run("today", OF, GOOD_RUN, plugs))
    goes_no_harder(OF, advise(log, "today"))
