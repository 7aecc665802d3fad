"""The session as a whole: what the trace holds, what was one fact short, what a reader of the JSON relies on."""

import json

import pytest

from engine_rules import advise
from engine_rules.logbook import LogbookError
from tests.engine_rules.logbooks import GOOD_RUN, good_set, logbook, run, v8


def test_every_change_names_the_firing_that_stands_for_it() -> None:
    of = v8()
    plugs = good_set(of, ring="none")
    advice = advise(logbook(of, run("1", of, GOOD_RUN, plugs)))
    rules = {firing.number: firing.rule for firing in advice.firings}
    assert advice.jets
    for jet in advice.jets:
        assert "fuel.bigger_jet" in {rules[number] for number in jet.because}


def test_a_conclusion_leads_back_to_the_cells_it_stands_on() -> None:
    of = v8()
    advice = advise(logbook(of, run("1", of, GOOD_RUN, good_set(of, ring="none"))))
    by_number = {firing.number: firing for firing in advice.firings}

    def cells(number: int) -> set[str]:
        firing = by_number[number]
        own = {fact.cell for fact in firing.facts if fact.cell}
        return own.union(*(cells(source) for source in firing.from_firings))

    reached = set().union(*(cells(number) for number in advice.cylinder(3).because))
    ring_of_3 = str(logbook(of, run("1", of, GOOD_RUN, good_set(of))).run().reading(3).places["ring"])  # type: ignore[union-attr]
    assert ring_of_3 in reached


def test_an_estimate_says_what_each_reading_contributed() -> None:
    of = v8()
    advice = advise(logbook(of, run("1", of, GOOD_RUN, good_set(of, ring="heavy", lambda_ratio=0.8))))
    firing = next(one for one in advice.firings if one.rule == "evidence.mixture" and "cylinder 3" in one.concluded[0])
    texts = [fact.text for fact in firing.facts]
    assert any(text.startswith("Ring heavy") and "% fuel" in text for text in texts)
    assert any("ambda" in text for text in texts)
    assert any("rest of the set" in text for text in texts)


def test_one_short_names_the_blank_and_its_cell() -> None:
    of = v8()
    plugs = good_set(of)
    for number in (2, 5):
        del plugs[number]["specks"]
    log = logbook(of, run("1", of, GOOD_RUN, plugs))
    short = {one.rule: one for one in advise(log).one_short}
    assert short["safety.bright_specks"].lacks == "specks of cylinder 2, 5"
    assert short["safety.bright_specks"].cell == str(log.run().reading(2).places["specks"])  # type: ignore[union-attr]
    assert "reading.used_plugs" not in short


def test_a_rule_two_facts_short_is_not_one_short() -> None:
    of = v8()
    plugs = good_set(of)
    for seen in plugs.values():
        del seen["specks"]
        del seen["porcelain"]
    short = {one.rule for one in advise(logbook(of, run("1", of, GOOD_RUN, plugs))).one_short}
    assert "safety.boiling_specks" not in short


def test_a_blank_yes_or_no_is_one_short() -> None:
    of = v8()
    said = {key: value for key, value in GOOD_RUN.items() if key != "idled_after"}
    short = {one.rule: one for one in advise(logbook(of, run("1", of, said, good_set(of)))).one_short}
    assert short["reading.idled_back"].lacks == "the column 'Idled after' of this run"
    assert short["reading.idled_back"].cell is not None


def test_the_json_is_plain_and_says_null_where_nothing_changes() -> None:
    of = v8()
    data = advise(logbook(of, run("1", of, GOOD_RUN, good_set(of)))).as_json()
    again = json.loads(json.dumps(data))
    assert again["jets"] is None and again["timing"] is None and again["worth"] is None
    assert all(one["trim"] is None and one["plug"] is None and one["tip"] is None for one in again["cylinders"])
    assert set(again) >= {
        "run",
        "stage",
        "readable",
        "headline",
        "cautions",
        "missing",
        "set_aside",
        "firings",
        "one_short",
    }


def test_worth_comes_with_its_spread_and_only_for_what_changes() -> None:
    of = v8()
    advice = advise(logbook(of, run("1", of, GOOD_RUN, good_set(of, ring="heavy"))))
    assert advice.worth is not None and advice.worth.sd > 0 and 0 < advice.worth.torque_pct < 2


def test_after_specks_timing_grows_by_the_smallest_step() -> None:
    of = v8()
    late = run("2", of, GOOD_RUN, good_set(of, strap_mark="tip"))
    before = {specks: run("1", of, GOOD_RUN | {"total_timing_deg": 40.0}, good_set(of, specks=specks))
              for specks in ("none", "few black")}  # fmt: skip
    grown = {specks: advise(logbook(of, one, late)).timing for specks, one in before.items()}
    assert {specks: one.new - one.old for specks, one in grown.items() if one} == {"none": 2.0, "few black": 1.0}


def test_past_where_edges_softened_timing_grows_by_the_smallest_step() -> None:
    of = v8()
    late = run("2", of, GOOD_RUN, good_set(of, strap_mark="tip", centre_wire="sharp"), jets="78")
    grown = {}
    for softened_deg in (35.0, 36.0, 37.0):
        before = run("1", of, GOOD_RUN | {"total_timing_deg": softened_deg}, good_set(of, centre_wire="softening"))
        timing = advise(logbook(of, before, late)).timing
        assert timing is not None
        grown[softened_deg] = timing.new - timing.old
    assert grown == {35.0: 1.0, 36.0: 2.0, 37.0: 2.0}


def test_the_newest_run_with_readings_is_advised_unless_named() -> None:
    of = v8()
    log = logbook(
        of, run("a", of, GOOD_RUN, good_set(of)), run("b", of, GOOD_RUN, good_set(of)), run("c", of, GOOD_RUN, {})
    )
    assert advise(log).run == "b"
    assert advise(log, "a").run == "a"
    with pytest.raises(LogbookError, match="there is no run z"):
        advise(log, "z")
    with pytest.raises(LogbookError, match="no run in the log"):
        advise(logbook(of))
