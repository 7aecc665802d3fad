"""Lets strapline tune virtual engines from rough starts, beside three baselines. Run by hand:

    python -m tests.benchmarks.converge --engines 60 --logged egt --hardware tabs [--model other] [--in-memory]

Ends with 1 where a bar is missed. After run n means: the tune-up made from the first n runs, run in the next run's air,
against an oracle that knows the truth and is bound by the same hardware.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from tests.benchmarks.by_hand import by_hand
from tests.benchmarks.strapline_tuner import InMemory, ThroughFile, applied
from tests.virtual_engine import Air, Options, State, Tuneup, VirtualEngine, weather
from tests.virtual_looks import LOGGED, Observations, Racer
from tests.virtual_oracle import Best, best
from tests.virtual_others import OtherEngine, OtherRacer, other_best, other_weather

RUNS = 8
WITHIN_PCT = (1.0, 0.5, 0.25)
BAR_AFTER_3_PCT, BAR_AFTER_5_PCT = 90.0, 98.0  # of engines within 0.5 %
Tuner = Callable[[VirtualEngine, Observations], Tuneup]


@dataclass(frozen=True, slots=True)
class Model:
    """How engines are drawn, logged, aired and tuned by one who knows the truth."""

    engine: Callable[[int, Options], VirtualEngine]
    racer: type[Racer]
    weather: Callable[[int, VirtualEngine, int], tuple[Air, ...]]
    best: Callable[[VirtualEngine, Air], Best]


MODELS = {
    "usual": Model(VirtualEngine.random, Racer, weather, best),
    "other": Model(OtherEngine.other, OtherRacer, other_weather, other_best),
}


@dataclass(frozen=True, slots=True)
class Setting:
    """What is logged, on which hardware (None: drawn for each engine), by which route, of which of MODELS."""

    logged: str
    hardware: str | None
    in_memory: bool
    model: str = "usual"


@dataclass(frozen=True, slots=True)
class Past:
    """A run past a limit. led: the tune-up before it would not have been past that limit in the same air."""

    seed: int
    run: int
    limit: str
    led: bool
    worst: float
    stage: str


@dataclass(frozen=True, slots=True)
class Tuned:
    """One engine under one tuner. lost_pct: torque below the oracle's at the start and after each run."""

    seed: int
    lost_pct: tuple[float, ...]
    past: tuple[Past, ...]
    faults: tuple[str, ...]
    stages: tuple[str, ...]
    fit: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Pass:
    """All tuners on one engine."""

    nothing: Tuned
    hand: Tuned
    strapline: Tuned


def tune(seed: int, setting: Setting) -> Pass:
    """One engine, tuned by each in the same weather."""
    model = MODELS[setting.model]
    engine = model.engine(seed, Options(hardware=setting.hardware))
    airs = model.weather(seed, engine, RUNS + 1)
    possible = tuple(model.best(engine, air).torque_pct for air in airs)
    with tempfile.TemporaryDirectory() as folder:
        adviser = InMemory.begin(engine) if setting.in_memory else ThroughFile.begin(engine, Path(folder))
        stages: list[str] = []

        def strapline(engine: VirtualEngine, seen: Observations) -> Tuneup:
            advice = adviser(seen)
            stages.append(advice.stage)
            return applied(engine, seen.tuneup, advice)

        def run(tuner: Tuner, stages: list[str]) -> Tuned:
            return _tuned(engine, airs, possible, model.racer(engine, setting.logged), tuner, stages)

        return Pass(run(lambda _, seen: seen.tuneup, []), run(by_hand, []), run(strapline, stages))


def _tuned(
    engine: VirtualEngine, airs: Sequence[Air], possible: Sequence[float], racer: Racer, tuner: Tuner, stages: list[str]
) -> Tuned:
    tuneup = former = engine.start
    lost, past, faults, fit = [], [], [], []
    for run, air in enumerate(airs):
        state = engine.state(tuneup, air)
        lost.append(100.0 * (1.0 - state.torque_pct / possible[run]))
        past += _past(engine.seed, run + 1, state, engine.state(former, air), run == 0, stages[-1:] or [""])
        if run == RUNS:
            break
        former = tuneup
        seen = racer.run(tuneup, air)
        fit.append(seen.fit)
        try:
            tuneup = tuner(engine, seen)
        except Exception:
            faults.append(f"engine {engine.seed}, run {run + 1}: {traceback.format_exc(limit=-3)}")
    return Tuned(engine.seed, tuple(lost), tuple(past), tuple(faults), tuple(stages), tuple(fit))


def _past(seed: int, run: int, state: State, before: State, first: bool, stage: Sequence[str]) -> Iterable[Past]:
    if state.knocks:
        led = not first and not before.knocks
        yield Past(seed, run, "knock", led, float(state.knock_margin_deg.min()), stage[-1])
    if state.overheats:
        led = not first and not before.overheats
        yield Past(seed, run, "plug heat", led, float(state.tip_c.max()), stage[-1])


def report(passes: Sequence[Pass], setting: Setting) -> None:
    """Prints the table of one setting."""
    first = passes[0].nothing.seed
    hardware = setting.hardware or "mixed"
    print(f"\n{len(passes)} engines of the {setting.model} model from seed {first}, ", end="")
    print(f"logged: {setting.logged}, hardware: {hardware}")
    tuners = {
        "nothing": [each.nothing for each in passes],
        "by hand": [each.hand for each in passes],
        "strapline": [each.strapline for each in passes],
    }
    print("after run".ljust(34) + "".join(f"{run:>7}" for run in ("start", *range(1, RUNS + 1))))
    for limit in WITHIN_PCT:
        shares = {name: _share(tuned, limit) for name, tuned in tuners.items()}
        for name, share in shares.items():
            _print_line(f"within {limit:g} % of the oracle, {name}", share, "%6.0f%%")
        short = 100.0 - shares["by hand"]
        gone = np.divide(shares["strapline"] - shares["by hand"], short, out=np.zeros_like(short), where=short > 0.0)
        _print_line("  of the by-hand shortfall gone", 100.0 * gone, "%6.0f%%")
    for name, tuned in tuners.items():
        _print_line(f"torque left, mean %, {name}", np.array([each.lost_pct for each in tuned]).mean(axis=0), "%7.2f")
    for name, tuned in tuners.items():
        _report_limits(name, tuned)
    _report_bad(tuners["strapline"])


def missed(passes: Sequence[Pass]) -> list[str]:
    """The bars that this setting misses, in words."""
    hand, own = (_share([getattr(each, name) for each in passes], 0.5) for name in ("hand", "strapline"))
    less = [run for run in range(1, RUNS + 1) if own[run] < (hand[run] + 100.0) / 2.0]
    led = sum(one.led for each in passes for one in each.strapline.past)
    bars = {
        f"half of the by-hand shortfall gone: not after run {', '.join(map(str, less))}": bool(less),
        f"{BAR_AFTER_3_PCT:g} % of engines after run 3: {own[3]:.0f} %": own[3] < BAR_AFTER_3_PCT,
        f"{BAR_AFTER_5_PCT:g} % of engines after run 5: {own[5]:.0f} %": own[5] < BAR_AFTER_5_PCT,
        f"no run led past a limit: {led} were": led > 0,
    }
    return [text for text, short in bars.items() if short]


def _share(tuned: Sequence[Tuned], limit_pct: float) -> np.ndarray:
    return 100.0 * (np.array([each.lost_pct for each in tuned]) <= limit_pct).mean(axis=0)


def _print_line(title: str, values: Iterable[float], form: str) -> None:
    print(title.ljust(42)[:42] + "".join(form % value for value in values))


def _report_limits(name: str, tuned: Sequence[Tuned]) -> None:
    past = [one for each in tuned for one in each.past]
    runs = len(tuned) * RUNS
    after = len({(one.seed, one.run) for one in past if one.run > 1})
    led = [one for one in past if one.led]
    print(f"{name}: {after} of {runs} runs past a limit after the start, {len(led)} led there ", end="")
    for limit in ("knock", "plug heat"):
        starts = [
            each for each in tuned if any(one.run == 1 and one.limit == limit for one in each.past) and each.fit[0]
        ]
        back = [each for each in starts if not any(one.run == 2 and one.limit == limit for one in each.past)]
        print(f"; started past {limit} {len(starts)}, back in one step {len(back)}", end="")
    print()
    if name == "strapline":
        for one in led:
            print(f"    led: engine {one.seed} run {one.run} {one.limit} {one.worst:.1f} after stage {one.stage}")
        kept = [one for one in past if one.run == 2 and not one.led]
        for one in kept:
            print(f"    not back: engine {one.seed} {one.limit} {one.worst:.1f} after stage {one.stage}")


def _report_bad(tuned: Sequence[Tuned]) -> None:
    for after in (3, 5, 8):
        bad = sorted((each for each in tuned if each.lost_pct[after] > 0.5), key=lambda each: -each.lost_pct[after])
        print(
            f"more than 0.5 % left after run {after}: " + ", ".join(f"{x.seed} ({x.lost_pct[after]:.2f})" for x in bad)
        )
    faults = [fault for each in tuned for fault in each.faults]
    print(f"faults: {len(faults)}", flush=True)
    for fault in faults[:5]:
        print(fault)


def main() -> None:
    """Reads the options and prints a table for each setting asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--engines", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1000, help="seed of the first engine; the others follow it")
    parser.add_argument("--logged", choices=LOGGED, nargs="+", default=["plugs"])
    parser.add_argument("--hardware", choices=["none", "tabs", "paired", "per-cylinder", "mixed"], nargs="+",
                        default=["mixed"])  # fmt: skip
    parser.add_argument("--in-memory", action="store_true", help="the same cells, without writing files")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--model", choices=list(MODELS), default="usual")
    asked = parser.parse_args()
    seeds, short = range(asked.seed, asked.seed + asked.engines), False
    with ProcessPoolExecutor(asked.workers) as pool:
        for logged in asked.logged:
            for hardware in asked.hardware:
                setting = Setting(logged, None if hardware == "mixed" else hardware, asked.in_memory, asked.model)
                passes = list(pool.map(partial(tune, setting=setting), seeds))
                report(passes, setting)
                bars = missed(passes)
                print("".join(f"missed: {bar}\n" for bar in bars) or "every bar is met")
                short = short or bool(bars)
    sys.exit(short)


if __name__ == "__main__":
    main()
