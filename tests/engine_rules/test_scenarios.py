"""The scenario tables of tests/scenarios, which a tuner can read and add to without Python."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from engine_rules import advise
from engine_rules.advice import Advice
from engine_rules.logbook import Logbook
from tests.engine_rules.logbooks import GOOD_PLUG, GOOD_RUN, engine, good_set, ladder, logbook, run, shelf, v8

FOLDER = Path(__file__).parent.parent / "scenarios"
CASES = [
    case | {"file": path.stem}
    for path in sorted(FOLDER.glob("*.toml"))
    for case in tomllib.loads(path.read_text("utf-8"))["case"]
]


def case_logbook(case: dict[str, Any]) -> Logbook:
    """The log that a case describes: a good run on a V8, changed as the case says."""
    settings = dict(case.get("engine", {}))
    if settings.pop("layout", "V8") == "inline 4":
        of = engine({n: ("", n) for n in range(1, 5)}, (1, 3, 4, 2), arrangement="inline", **settings)
    else:
        of = v8(**settings)
    runs = [_run(of, one, str(place)) for place, one in enumerate(case.get("before", []), 1)]
    runs.append(_run(of, case, "today"))
    return logbook(of, *runs, jets=ladder(case.get("jets_missing", ())), plugs=shelf(case.get("plugs_missing", ())))


def _run(of: Any, case: dict[str, Any], name: str) -> Any:
    said = {**GOOD_RUN, **case.get("run", {})}
    said = {key: value for key, value in said.items() if value != "blank"}
    plugs = good_set(of, **case.get("all", {})) if not case.get("only") else {}
    for number in case.get("only", []):
        plugs[number] = {**GOOD_PLUG, **case.get("all", {})}
    for number, seen in case.get("cylinder", {}).items():
        plugs[int(number)] = {**plugs.get(int(number), {}), **seen}
    plugs = {n: {kind: word for kind, word in seen.items() if word != "blank"} for n, seen in plugs.items()}
    return run(name, of, said, {} if case.get("nothing_read") else plugs, case.get("jets", "76"))


def _direction(change: Any) -> str:
    return "keep" if change is None else "later" if change.new < change.old else "earlier"


def _jet_direction(advice: Advice, corner: str) -> str:
    jet = next((jet for jet in advice.jets if jet.corner == corner), None)
    return "keep" if jet is None else "richer" if jet.flow_pct > 0 else "leaner"


def _check(expect: dict[str, Any], advice: Advice) -> None:
    rules = {firing.rule for firing in advice.firings}
    plugs = {one.plug.new for one in advice.cylinders if one.plug}
    trims = {str(one.cylinder): one.trim for one in advice.cylinders}
    levels = {f"{c.level} {c.cylinder}" if c.cylinder else c.level for c in advice.cautions}
    simple = {
        "stage": advice.stage,
        "readable": advice.readable,
        "total": _direction(advice.timing),
        "must_not_run": advice.must_not_run,
        "plug": min(plugs, default="keep"),
        "aside": len(advice.set_aside),
    }
    for key, wanted in expect.items():
        if key in simple:
            assert simple[key] == wanted, (key, simple[key], advice.headline)
        elif key == "jets":
            got = {corner: _jet_direction(advice, corner) for corner in wanted}
            assert got == wanted, advice.headline
        elif key == "all_jets":
            got = {_jet_direction(advice, corner) for corner in ("LF", "RF", "LR", "RR")}
            assert got == {wanted}, advice.headline
        elif key == "trim":
            assert {number: _direction(trims[number]) for number in wanted} == wanted
        elif key == "rules":
            assert set(wanted) <= rules, sorted(set(wanted) - rules)
        elif key == "not_rules":
            assert not set(wanted) & rules, sorted(set(wanted) & rules)
        elif key == "caution":
            assert wanted in levels, levels
        elif key == "tip":
            assert any(one.tip and one.tip.new == wanted for one in advice.cylinders)
        elif key == "wanted":
            assert {jet.corner: jet.wanted for jet in advice.jets if jet.wanted} == wanted
        elif key == "asks":
            assert any(wanted in text for text in advice.missing), advice.missing
        elif key == "mixture_sd_over":
            assert all(one.mixture_sd is not None and one.mixture_sd > wanted for one in advice.cylinders)
        else:
            pytest.fail(f"the case expects {key!r}, which the checker does not know")


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['file']}: {case['title']}")
def test_scenario(case: dict[str, Any]) -> None:
    assert case["source"], "every case names its source or common practice"
    assert case["expect"], "a case that expects nothing cannot fail"
    _check(case["expect"], advise(case_logbook(case), "today"))


def test_there_are_enough_scenarios() -> None:
    assert len(CASES) >= 60
