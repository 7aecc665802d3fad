"""What a log teaches of its engine: against known truths, an independent regression, and logs with faults in them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import HealthCheck, given, settings

from engine_rules.fit import in_doubt, readable, spoiled
from engine_rules.logbook import Logbook
from engine_rules.response import Learned, Responses, learned_words, responses, responses_before
from engine_rules.session import Session
from tests.engine_rules.logbooks import GOOD_RUN, engine, good_set, logbook, run, v8
from tests.engine_rules.simulated_logs import TARGETS, Tune, drawn, engine_to_learn, logged, simulated, tunes
from tests.test_never_happens import conducts, wild

OF = engine_to_learn()
STATIONS = [one.name for one in OF.stations]
ENGINES = 500


def season(seed: int, count: int = 25) -> Logbook:
    rng = np.random.default_rng(seed)
    return simulated(rng, OF, drawn(rng, OF), tunes(rng, OF, count))


def of_key(taught: Responses, key: str) -> Learned:
    one = taught.value(key)
    assert one is not None, key
    return one


def test_the_90_percent_interval_holds_the_truth_as_often_as_it_says() -> None:
    inside: Counter[str] = Counter()
    told: Counter[str] = Counter()
    width: Counter[str] = Counter()
    for seed in range(ENGINES):
        rng = np.random.default_rng(seed)
        known = drawn(rng, OF)
        taught = responses(simulated(rng, OF, known, tunes(rng, OF, 25)))
        for one in taught.values:
            told[one.key] += 1
            inside[one.key] += abs(one.value - known.gains[one.key]) <= 1.645 * one.sd
            width[one.key] += one.sd / abs(one.usual)
        for share in taught.shares:
            truth = known.shares[OF.numbers.index(share.cylinder), STATIONS.index(share.station)]
            told["share"] += 1
            inside["share"] += abs(share.value - truth) <= 1.645 * share.sd
    assert len(told) == 8  # all but the shell ring, which these logs do not read
    for key, count in told.items():
        assert 0.85 <= inside[key] / count <= 0.95, (key, inside[key] / count)
    usual = TARGETS["learn.gain_spread"]
    for key in ("ring.mm_per_pct", "strap.share_per_deg", "egt.k_per_pct"):
        assert width[key] / told[key] < usual / 3, "a season must teach something"


def test_an_independent_regression_agrees() -> None:
    """Rings alone on individual runners: generalised least squares (statsmodels), the target added as a row."""
    of = engine({n: ("", n) for n in range(1, 5)}, (1, 3, 4, 2), arrangement="inline", carburetion="individual runners")
    rng = np.random.default_rng(3)
    targets = TARGETS.overridden({"learn.drift": 0.0, "learn.doubt_sd": 6.0, "learn.tail": 50.0})
    sizes = [int(rng.choice([70, 72, 76, 80, 82])) for _ in range(30)]
    gain, wander, own, read = 0.17, targets["carry.mixture_common_pct"], targets["carry.mixture_own_pct"], 0.2
    runs, values, rows = [], [], []
    for place, size in enumerate(sizes):
        fuel = 200 * np.log(size / sizes[0])
        mixture = fuel + wander * rng.standard_normal() + own * rng.standard_normal(4)
        rings = 3.0 + gain * mixture + read * rng.standard_normal(4)
        values.extend(rings)
        rows.extend([[fuel, *np.eye(4)[at]] for at in range(4)])
        plugs = {number: {"ring": float(ring)} for number, ring in zip(of.numbers, rings, strict=True)}
        runs.append(logged(of, str(place), Tune({one.name: str(size) for one in of.stations}), plugs))
    one = of_key(responses(logbook(of, *runs, targets=targets)), "ring.mm_per_pct")
    block = (gain * wander) ** 2 * np.ones((4, 4)) + ((gain * own) ** 2 + read**2) * np.eye(4)
    size = len(values)
    noise = np.zeros((size + 1, size + 1))
    noise[:size, :size] = np.kron(np.eye(len(runs)), block)
    noise[size, size] = (targets["ring.mm_per_pct"] * targets["learn.gain_spread"]) ** 2
    answer = sm.GLS([*values, targets["ring.mm_per_pct"]], [*rows, [1, 0, 0, 0, 0]], noise).fit()
    sd = float(np.sqrt(answer.normalized_cov_params[0, 0]))
    assert one.value == pytest.approx(answer.params[0], abs=0.2 * sd)
    assert one.sd == pytest.approx(sd, rel=0.1)


def test_runs_that_changed_two_things_inform_both_with_less_weight() -> None:
    def taught(pairs: list[tuple[int, float]]) -> Responses:
        plugs = good_set(OF, ring=1.0, strap_mark=0.5, egt_c=700.0)
        jets = [{name: str(size) for name in STATIONS} for size, _ in pairs]
        runs = [logged(OF, str(at), Tune(jets[at], total), plugs, when=None) for at, (_, total) in enumerate(pairs)]
        return responses(logbook(OF, *runs))

    alone = taught([(76, 34.0), (80, 34.0), (80, 37.0), (76, 37.0), (76, 34.0)])
    together = taught([(76, 34.0), (80, 37.0), (80, 37.0), (76, 34.0), (76, 34.0)])
    for key in ("strap.share_per_deg", "strap.share_per_pct"):
        prior = TARGETS["learn.gain_spread"] * abs(TARGETS[key])
        assert of_key(alone, key).sd < of_key(together, key).sd < prior, key


def test_one_wild_run_is_named_and_does_not_drag_the_answer() -> None:
    plain = season(11)
    at = 12
    slipped = plain.runs[at]
    jets = {name: replace(entry, value="60") for name, entry in slipped.tuneup.jets.items()}
    wild_runs = list(plain.runs)
    wild_runs[at] = replace(slipped, tuneup=replace(slipped.tuneup, jets=jets))
    wild_log = replace(plain, runs=tuple(wild_runs))
    before, after = responses(plain), responses(wild_log)
    assert [name for name, _ in after.set_aside] == [slipped.name]
    for one in before.values:
        other = of_key(after, one.key)
        assert other.value == pytest.approx(one.value, abs=1.0 * one.sd), one.key


def test_one_wild_plug_does_not_drag_the_answer() -> None:
    plain = season(12)
    wild_run = plain.runs[10]
    odd = replace(wild_run.readings[2], egt_c=replace(wild_run.readings[2].egt_c, value=150.0))  # type: ignore[type-var]
    readings = (*wild_run.readings[:2], odd, *wild_run.readings[3:])
    runs = (*plain.runs[:10], replace(wild_run, readings=readings), *plain.runs[11:])
    before, after = responses(plain), responses(replace(plain, runs=runs))
    for one in before.values:
        assert of_key(after, one.key).value == pytest.approx(one.value, abs=0.5 * one.sd), one.key


def test_an_unfit_run_teaches_nothing() -> None:
    plain = season(13)
    for spoiler in ({"new_plugs": False}, {"clean_cut": False}, {"idled_after": True}, {"lifted_or_spun": True}):
        conduct = replace(plain.runs[5].conduct, **{k: replace(plain.runs[5].conduct.new_plugs, value=v) for k, v in spoiler.items()})  # fmt: skip  # noqa: E501
        unfit = replace(plain, runs=(*plain.runs[:5], replace(plain.runs[5], conduct=conduct), *plain.runs[6:]))
        without = replace(plain, runs=(*plain.runs[:5], *plain.runs[6:]))
        assert responses(unfit).values == responses(without).values


def test_only_runs_before_the_advised_one_teach() -> None:
    plain = season(14)
    for at in (0, 1, 7, 24):
        cut = replace(plain, runs=plain.runs[:at])
        assert responses_before(plain, plain.runs[at]) == responses(cut)
    assert responses_before(plain, plain.runs[0]) == Responses()


def test_learned_gains_keep_to_the_range_of_their_target() -> None:
    """Readings that answer the wrong way round never turn a sign."""
    runs = []
    for at, size in enumerate([70, 82] * 10):
        plugs = good_set(OF, ring=1.0 - 0.3 * (size - 76), strap_mark=0.5 + 0.05 * (size - 76))
        runs.append(logged(OF, str(at), Tune({name: str(size) for name in STATIONS}, 34.0 + at % 3), plugs))
    for one in responses(logbook(OF, *runs)).values:
        entry = TARGETS.entry(one.key)
        assert entry.lowest <= one.value <= entry.highest, one.key
    gains = responses(logbook(OF, *runs)).gains(TARGETS)
    assert gains.ring_mm_per_pct > 0 and gains.strap_share_per_deg > 0 and gains.strap_share_per_pct <= 0


def test_shares_stay_shares() -> None:
    taught = responses(season(15, 60))
    by_cylinder: dict[int, list[float]] = {}
    for one in taught.shares:
        by_cylinder.setdefault(one.cylinder, []).append(one.value)
    assert set(by_cylinder) == set(OF.numbers)
    assert all(sum(row) == pytest.approx(1.0) and min(row) >= 0 for row in by_cylinder.values())
    shares = taught.engine(OF).cylinders[0].shares
    assert set(shares) == set(STATIONS)


def test_gaps_are_named_and_the_rest_is_used() -> None:
    plain = season(16)
    gap = replace(plain.runs[4], tuneup=replace(plain.runs[4].tuneup, jets={}))
    no_timing = replace(plain.runs[9], tuneup=replace(plain.runs[9].tuneup, total_timing_deg=None))
    runs = list(plain.runs)
    runs[4], runs[9] = gap, no_timing
    taught = responses(replace(plain, runs=tuple(runs)))
    notes = " ".join(note.text for note in taught.notes)
    assert f"run {gap.name}: the jets at LF, RF, LR, RR were not logged" in notes
    assert f"run {no_timing.name}: its total timing was not logged" in notes
    assert of_key(taught, "ring.mm_per_pct").changes > 5


def test_plugs_of_another_kind_are_not_compared() -> None:
    """Marks jump when plugs with another tip go in: nothing may be learned from the jump."""
    plugs = good_set(OF, ring=1.0, strap_mark=0.5, plug="C")
    other = good_set(OF, ring=2.0, strap_mark=0.8, plug="Cp")
    tune = Tune(dict.fromkeys(STATIONS, "76"))
    runs = [logged(OF, str(at), replace(tune, total_deg=34.0 + at), plugs) for at in range(3)]
    before = responses(logbook(OF, *runs))
    after = responses(logbook(OF, *runs, logged(OF, "3", replace(tune, total_deg=38.0), other)))
    then, now = of_key(before, "strap.share_per_deg"), of_key(after, "strap.share_per_deg")
    assert now.value == pytest.approx(then.value, abs=0.02 * then.sd)
    assert any("run 3 has plugs of another kind" in note.text for note in after.notes)


def test_a_second_engine_in_the_log_is_noticed_and_learning_goes_on() -> None:
    first, second = season(17), season(18)
    moved = tuple(
        replace(one, name=f"b{one.name}", readings=tuple(
            replace(r, egt_c=replace(r.egt_c, value=r.egt_c.value + 150.0)) if r.egt_c else r for r in one.readings))
        for one in second.runs
    )  # fmt: skip
    taught = responses(replace(first, runs=first.runs + moved))
    assert [name for name, _ in taught.set_aside][:2] == ["b1", "b2"]
    assert not any(name in ("b3", "b4", "b5", "b6") for name, _ in taught.set_aside)


def test_an_order_of_dates_that_goes_back_changes_nothing_by_itself() -> None:
    plain = season(19)
    day = datetime(2026, 5, 1)
    back = tuple(replace(one, when=day - timedelta(days=at)) for at, one in enumerate(plain.runs))
    assert responses(replace(plain, runs=back)).values == responses(plain).values


def test_nothing_is_learned_where_nothing_changed() -> None:
    runs = [run(str(at), OF, GOOD_RUN, good_set(OF)) for at in range(6)]
    taught = responses(logbook(OF, *runs))
    assert taught.values == () and taught.shares == ()
    assert taught.gains(TARGETS) == Responses().gains(TARGETS)


def test_what_was_learned_in_words() -> None:
    one = Learned("strap.share_per_deg", 0.0712, 0.0119, 14, 0.07)
    assert learned_words(one, TARGETS) == "learned from 14 changes: 0.0712 ± 0.012 share per degree, usual 0.07"


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(wild, conducts)
def test_fitness_in_plain_code_is_what_the_rules_say(case: tuple[Any, dict[int, Any]], said: dict[str, Any]) -> None:
    of, plugs = case
    log = logbook(of, run("1", of, said, plugs))
    one, fitness = log.runs[0], Session(log).fitness(log.runs[0])
    assert readable(log, one) == fitness.fit
    assert in_doubt(log, one) == (fitness.noise_factor > 1.0)
    left_out = {at for at, kind in fitness.left_out if kind in ("strap_mark", "egt", "lambda")}
    assert left_out <= {reading.cylinder for reading in one.readings if spoiled(reading)}


@pytest.mark.parametrize("also", ["anti-seize", "loose", "dead", "wet one side"])
def test_spoiled_plugs(also: str) -> None:
    log = logbook(v8(), run("1", v8(), GOOD_RUN, {3: {"ring": "wide", "specks": "bright", "also_seen": also}}))
    assert spoiled(log.runs[0].readings[0])
    assert readable(log, log.runs[0]) == Session(log).fitness(log.runs[0]).fit == (also != "anti-seize")
