"""What a change did: verdicts against the log's own noise, reasons where nothing can be compared, the way back."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from statsmodels.stats.power import tt_ind_solve_power

from engine_rules import advise
from engine_rules.ledger import LedgerLine, change_before, is_repeat, ledger
from engine_rules.logbook import Entry, Logbook, Run
from engine_rules.targets import default_targets
from tests.engine_rules.logbooks import GOOD_RUN, good_set, logbook, run, v8

OF = v8()
TARGETS = default_targets()
AIR = {"temp_c": 20.0, "pressure_pa": 100_000.0, "humidity_pct": 40.0, "weight_kg": 1400.0}


def passed(name: str, speed: float | None, jets: str = "76", plugs: Any = None, **said: Any) -> Run:
    """A pass with that speed, at 34 degrees and in the same air unless said otherwise."""
    return run(
        name, OF, {**GOOD_RUN, **AIR, "speed_m_s": speed, **said}, good_set(OF) if plugs is None else plugs, jets
    )


def quiet_log(*last: Run, speeds: tuple[float, ...] = (58.0, 58.02, 57.99, 58.01)) -> Logbook:
    """Repeats with little noise, then these runs."""
    return logbook(OF, *(passed(str(at), speed) for at, speed in enumerate(speeds)), *last)


def only(log: Logbook) -> LedgerLine:
    lines = ledger(log)
    assert len(lines) == 1
    return lines[0]


def test_a_change_that_helped() -> None:
    line = only(quiet_log(passed("a", 58.5, "78")))
    assert (line.verdict, line.before, line.run, line.changed) == ("helped", "3", "a", "all jets 76 to 78")
    assert line.gained_pct == pytest.approx(300 * np.log(58.5 / 58.005), abs=0.01)
    assert "at equal weight +2.5 % of power" in line.result and "beyond the noise of 4 repeats" in line.text


def test_a_change_that_hurt() -> None:
    line = only(quiet_log(passed("a", 57.5, "78")))
    assert line.verdict == "hurt" and line.gained_pct is not None and line.gained_pct < -2


def test_the_spread_is_that_of_two_means() -> None:
    log = quiet_log(passed("a", 58.3, "78"), passed("b", 58.34, "78"))
    scores = 300 * np.log(np.array([58.0, 58.02, 57.99, 58.01, 58.3, 58.34]))
    old, new = scores[:4], scores[4:]
    pooled = np.sqrt((((old - old.mean()) ** 2).sum() + ((new - new.mean()) ** 2).sum()) / 4)
    line = only(log)
    assert line.gained_sd_pct == pytest.approx(pooled * np.sqrt(1 / 4 + 1 / 2))
    assert "(means of 4 and 2)" in line.result


def test_noise_and_how_many_repeats_would_tell() -> None:
    """The count against the power of a two-sample t test (statsmodels), four times out of five."""
    log = quiet_log(passed("a", 58.35, "78"), speeds=(58.0, 58.4, 57.8, 58.2))
    line = only(log)
    assert line.verdict == "cannot be told from noise"
    noise = np.std(300 * np.log(np.array([58.0, 58.4, 57.8, 58.2])), ddof=1)
    needed = tt_ind_solve_power(effect_size=line.gained_pct / noise, alpha=0.05, power=0.8)
    told = int(line.text.split("about ")[1].split()[0])
    assert needed - 2 <= told <= needed + 1
    assert "a gain of" in line.text and "within this log's noise" in line.text


def test_a_claim_smaller_than_the_noise_is_said_plainly() -> None:
    line = only(quiet_log(passed("a", 58.11, "78"), speeds=(58.0, 58.4, 57.8, 58.2)))
    assert line.text.startswith("a gain of 0.1 % is within this log's noise of 1.3 % from run to run; ")
    assert "more than 100 runs of each tune-up would tell" in line.text


def test_without_a_repeat_the_noise_is_not_known() -> None:
    line = only(logbook(OF, passed("1", 58.0), passed("2", 60.0, "78")))
    assert line.verdict == "cannot be told from noise"
    assert "repeat run 2 unchanged" in line.text


def test_what_a_step_is_worth_is_a_bound_and_no_promise() -> None:
    line = only(quiet_log(passed("a", 58.0, total_timing_deg=36.0)))
    most = 2.5 * TARGETS["loss.timing_pct_per_deg2"] * 4
    assert f"near best worth no more than ±{most:.2g} % of torque" in line.expected
    assert "timing +2.0°" in line.expected


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"weight_kg": None}, "weight was logged for one of the two runs only"),
        ({"temp_c": None}, "the air of run a was not logged in full"),
        ({"pressure_pa": 85_000.0}, "the air differs by -16 %"),
        ({"lifted_or_spun": True}, "run a was lifted or spun"),
        ({"pull": "dyno pull"}, "one was a pass, the other a dyno pull"),
        ({"speed_m_s": None}, "no result of one kind was logged for both tune-ups"),
    ],
)
def test_not_comparable_and_why(changed: dict[str, Any], why: str) -> None:
    line = only(quiet_log(passed("a", **{"speed": 59.0, "jets": "78"} | changed_speed(changed))))
    assert line.verdict == "not comparable" and why in line.text


def changed_speed(changed: dict[str, Any]) -> dict[str, Any]:
    return {"speed": None} if "speed_m_s" in changed else changed


def test_weight_missing_everywhere_is_said() -> None:
    runs = [passed(str(at), 58.0 + 0.01 * at, weight_kg=None) for at in range(3)]
    line = only(logbook(OF, *runs, passed("a", 59.0, "78", weight_kg=None)))
    assert line.verdict == "helped"
    assert "the weight was not logged and is taken as kept" in line.result


def test_a_lap_of_another_place_is_another_lap() -> None:
    def lap(name: str, seconds: float, place: str, jets: str) -> Run:
        one = run(name, OF, {**GOOD_RUN, "lap_time_s": seconds}, good_set(OF), jets)
        return replace(one, place=Entry(place))

    repeats = [lap(str(at), 15.2 + 0.01 * at, "home", "76") for at in range(4)]
    assert only(logbook(OF, *repeats, lap("a", 15.0, "away", "78"))).text == "a lap of another place is another lap"
    quicker = only(logbook(OF, *repeats, lap("a", 15.0, "home", "78")))
    assert quicker.verdict == "helped" and "1.4 % quicker" in quicker.result


def test_the_correction_that_the_racer_names_is_used() -> None:
    runs = [run(str(at), OF, {**GOOD_RUN, **AIR, "power_kw": 400.0 + at % 2}, good_set(OF)) for at in range(4)]
    warm = run("a", OF, {**GOOD_RUN, **AIR, "temp_c": 34.0, "power_kw": 396.0}, good_set(OF), "78")
    gained = []
    for standard in ("J1349", "J607"):
        log = logbook(replace(OF, power_standard=standard), *runs, warm)
        gained.append(only(log).gained_pct)
    assert gained[0] != pytest.approx(gained[1], abs=0.05)


def test_expected_and_seen_in_the_readings() -> None:
    lean, rich = good_set(OF, ring=0.6, egt_c=720.0), good_set(OF, ring=1.5, egt_c=690.0)
    line = only(quiet_log(passed("a", 58.0, "76", lean, total_timing_deg=34.0), passed("b", 58.0, "78", rich)))
    flow = 200 * np.log(78 / 76)
    assert f"mixture {flow:+.1f} % fuel" in line.expected
    assert f"rings {TARGETS['ring.mm_per_pct'] * flow:+.2g} mm" in line.expected
    assert f"pipes {TARGETS['egt.k_per_pct'] * flow:+.2g} K" in line.expected
    assert "rings +0.9 ± 0.1 mm" in line.seen and "pipes -30 ±" in line.seen


def test_marks_on_other_plugs_and_unfit_sets_are_not_compared() -> None:
    other = only(quiet_log(passed("a", 58.0, "76", good_set(OF, plug="Cp"))))
    assert other.changed == "plugs C to Cp" and "marks on other plugs are not compared" in other.seen
    unfit = only(quiet_log(passed("a", 58.0, "78", clean_cut=False)))
    assert unfit.seen == "not compared: no set fit to read on run a"


def test_jets_that_were_not_logged() -> None:
    gap = passed("a", 58.0, total_timing_deg=33.0)
    line = only(quiet_log(replace(gap, tuneup=replace(gap.tuneup, jets={}))))
    assert line.expected == "not known: of run a, the jets at LF, RF, LR, RR were not logged"


@pytest.mark.parametrize(
    ("said", "jets", "back"),
    [
        ({"total_timing_deg": 36.0}, "76", "safe"),
        ({}, "74", "safe"),
        ({}, "78", "proven"),
        ({"total_timing_deg": 32.0}, "76", "proven"),
    ],
)
def test_the_way_back(said: dict[str, Any], jets: str, back: str) -> None:
    assert only(quiet_log(passed("a", 57.0, jets, **said))).back == back


def test_a_way_back_that_was_never_proven() -> None:
    runs = [passed(str(at), 58.0 + 0.01 * (at % 2), timing_known_safe=None) for at in range(4)]
    assert only(logbook(OF, *runs, passed("a", 57.0, "78", timing_known_safe=None))).back == "unproven"
    boiling = good_set(OF) | {3: {"specks": "few black", "plug": "C"}}
    hot = [passed(str(at), 58.0 + 0.01 * (at % 2), "76", boiling) for at in range(4)]
    assert only(logbook(OF, *hot, passed("a", 57.0, "78"))).back == "unproven"


def test_the_advised_run_is_judged_by_the_log_up_to_it() -> None:
    log = quiet_log(passed("a", 58.5, "78"), passed("b", 57.0, "78"), passed("c", 60.0, "78"))
    early = change_before(log, log.runs[4])
    assert early is not None and early == change_before(replace(log, runs=log.runs[:5]), log.runs[4])
    assert early != only(log)
    assert change_before(log, log.runs[3]) is None and is_repeat(log, log.runs[5]) and not is_repeat(log, log.runs[4])


def test_a_hurt_change_is_advised_back_on_the_card_and_the_rest_is_told() -> None:
    hurt = advise(quiet_log(passed("a", 57.0, total_timing_deg=36.0, timing_known_safe=True)), "a")
    assert any("going back to the setting of run 3 is advised" in caution.text for caution in hurt.cautions)
    noise = advise(logbook(OF, passed("1", 58.0), passed("2", 58.1, "78")), "2")
    assert any("a repeat with nothing changed" in text for text in noise.log_next)
    assert not any("going back" in caution.text for caution in noise.cautions)


def test_no_way_back_past_an_alarm() -> None:
    knocking = good_set(OF) | {3: {"specks": "bright", "plug": "C"}}
    advice = advise(quiet_log(passed("a", 57.0, "78", knocking)), "a")
    assert not any("going back" in caution.text for caution in advice.cautions)


def test_chance_alone_is_called_a_change_no_more_often_than_it_says() -> None:
    rng = np.random.default_rng(8)
    called = 0
    for _ in range(400):
        speeds = 58.0 + 0.1 * rng.standard_normal(7)
        log = quiet_log(passed("a", float(speeds[6]), "78", {}), speeds=tuple(map(float, speeds[:6])))
        called += only(log).verdict in ("helped", "hurt")
    assert 0.02 <= called / 400 <= 0.08


def test_a_true_gain_beyond_the_noise_is_found() -> None:
    rng = np.random.default_rng(9)
    helped = 0
    for _ in range(200):
        speeds = 58.0 + 0.1 * rng.standard_normal(8) + np.repeat([0.0, 0.4], [6, 2])
        last = [passed(name, float(speed), "78", {}) for name, speed in zip("ab", speeds[6:], strict=True)]
        helped += only(quiet_log(*last, speeds=tuple(map(float, speeds[:6])))).verdict == "helped"
    assert helped / 200 > 0.9


def test_the_worth_of_the_advice_in_the_racers_own_result() -> None:
    """Cube root law: one percent of power is a third of a percent of trap speed."""
    rich = good_set(OF, ring="heavy")
    advice = advise(quiet_log(passed("a", 58.0, "76", rich)), "a")
    assert advice.worth is not None and advice.worth.result == "speed"
    assert advice.worth.change == pytest.approx(58.0 * advice.worth.torque_pct / 300)
    assert advice.worth.noise_pct is not None and 0 < advice.worth.noise_pct < 0.2
    assert advice.as_json()["worth"]["own"]["result"] == "speed"
    lap = advise(logbook(OF, run("1", OF, {**GOOD_RUN, "lap_time_s": 15.0}, rich)), "1")
    assert lap.worth is not None and lap.worth.result == "" and lap.worth.noise_pct is None
