"""From conclusions and the chosen step to the advice that a person reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from engine_rules.advice import (
    Advice,
    Caution,
    CylinderAdvice,
    JetChange,
    Move,
    Swap,
    TimingChange,
    Worth,
)
from engine_rules.choose import worth
from engine_rules.decide import (
    Order,
    Step,
    current_fuel_trims,
    current_jets,
    current_trims,
    mixture_arrays,
    timing_arrays,
)
from engine_rules.estimate import CylinderState, Estimate
from engine_rules.evidence import set_plug
from engine_rules.explain import one_short
from engine_rules.facts import Alarm, Ask, Change, LogNext, Unfit, Warn, Worded
from engine_rules.facts import Estimate as Judged
from engine_rules.headline import headline
from engine_rules.judge import error_words, is_read, station_cylinders
from engine_rules.ledger import in_own_result
from engine_rules.logbook import Logbook, Run
from engine_rules.spark import tab_bend_mm
from engine_rules.trace import Reasoner, Trace

LEVELS = ("stop", "back off", "mind")


@dataclass(frozen=True, slots=True)
class Parts:
    """All that the advice is put together from."""

    logbook: Logbook
    run: Run
    estimate: Estimate
    order: Order
    step: Step
    reasoner: Reasoner
    trace: Trace

    def because(self, what: str, place: str | int) -> tuple[int, ...]:
        """The firings that concluded a change; empty when no rule stood for it."""
        changes = [c for c in self.reasoner.known(Change) if c["what"] == what and c["place"] == place]
        return tuple(sorted({self.trace.number(change) for change in changes}))


def assemble(
    logbook: Logbook, run: Run, estimate: Estimate, order: Order, step: Step, reasoner: Reasoner, trace: Trace
) -> Advice:
    """Put the advice together. A change that no rule concluded is not advised."""
    parts = Parts(logbook, run, estimate, order, step, reasoner, trace)
    jets, timing = _jets(parts), _timing(parts)
    cylinders = tuple(_cylinder(parts, state, jets) for state in estimate.cylinders)
    cautions = _cautions(parts)
    return Advice(
        run=run.name,
        stage=order.stage,
        readable=order.readable,
        headline=headline(
            order, (jets, timing, cylinders), cautions, _texts(parts, Unfit, "reason"), _not_on_hand(parts)
        ),
        jets=jets,
        timing=timing,
        cylinders=cylinders,
        cautions=cautions,
        worth=_worth(parts, jets, timing, cylinders),
        missing=_missing(parts),
        log_next=_texts(parts, LogNext, "text"),
        set_aside=estimate.set_aside,
        firings=trace.firings,
        one_short=one_short(logbook, run, reasoner),
    )


def _texts(parts: Parts, kind: type[Worded], key: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(str(fact[key]) for fact in parts.reasoner.known(kind)))


def _missing(parts: Parts) -> tuple[str, ...]:
    asked = list(_texts(parts, Ask, "text"))
    engine, tuneup = parts.logbook.engine, parts.run.tuneup
    lacking = [s.name for s in engine.stations if s.name not in tuneup.jets] if engine.carburetion != "EFI" else []
    if lacking and not any(jet.on_hand for jet in parts.logbook.jets.sizes):
        asked.append("the bore of each size of jet, on a sheet Jets: without it no jet can be advised")
    elif lacking:
        asked.append(f"the jet that ran at {', '.join(lacking)}: without it no jet can be advised")
    if tuneup.total_timing_deg is None:
        asked.append("the total timing of this run: without it no timing can be advised")
    if set_plug(parts.logbook, parts.run) is None:
        asked.append("which plug was in the cylinders: without it no plug can be advised")
    return tuple(asked) + _not_on_hand(parts)


def _not_on_hand(parts: Parts) -> tuple[str, ...]:
    wanted = [c for c in parts.reasoner.known(Change) if c["what"] in ("jet_wanted", "plug_wanted")]
    return tuple(dict.fromkeys(str(change["text"]) for change in wanted))


def _jets(parts: Parts) -> tuple[JetChange, ...]:
    choice = parts.step.jets
    if choice is None:
        return ()
    now = current_jets(parts.run)
    return tuple(
        JetChange(
            station,
            now[station],
            new,
            round(choice.flow_pct[station], 2),
            choice.wanted.get(station),
            parts.because("jet", station) + parts.because("jet_wanted", station),
        )
        for station, new in choice.jets.items()
        if parts.because("jet", station)
    )


def _timing(parts: Parts) -> TimingChange | None:
    now, because = parts.run.tuneup.total_timing_deg, parts.because("total", "all")
    if now is None or not parts.step.total_deg or not because:
        return None
    return TimingChange(now.value, now.value + parts.step.total_deg, because)


def _cylinder(parts: Parts, state: CylinderState, jets: tuple[JetChange, ...]) -> CylinderAdvice:
    number, readable = state.cylinder, parts.order.readable
    trims, fuel_trims = current_trims(parts.logbook, parts.run), current_fuel_trims(parts.logbook, parts.run)
    trim = _move(parts, "trim", number, trims, parts.step.trims_deg)
    radius = parts.logbook.engine.tab_radius_mm
    mixture = readable and is_read("mixture", parts.estimate)
    timing = readable and is_read("timing", parts.estimate)
    plug, tip = _plug(parts), _tip(parts, number)
    changed = bool(_feeds(parts, number, jets)) or trim is not None or plug is not None or tip is not None
    return CylinderAdvice(
        cylinder=number,
        mixture_pct=round(state.mixture_pct, 2) if mixture else None,
        mixture_sd=round(state.mixture_sd, 2) if mixture else None,
        timing_deg=round(state.timing_deg, 2) if timing else None,
        timing_sd=round(state.timing_sd, 2) if timing else None,
        trim=trim,
        tab_mm=round(tab_bend_mm(trim.new - trim.old, radius), 2)
        if trim and radius and parts.logbook.engine.timing_hardware == "tabs"
        else None,
        fuel_trim=_move(parts, "fuel_trim", number, fuel_trims, parts.step.fuel_trims_pct),
        plug=plug,
        tip=tip,
        sure=_sure(parts, state, changed) if readable else None,
        why=_why(parts, state, jets),
        because=_cylinder_because(parts, number, jets),
    )


def _move(parts: Parts, what: str, number: int, now: Mapping[int, float], new: Mapping[int, float]) -> Move | None:
    if number not in new or not parts.because(what, number):
        return None
    return Move(now[number], new[number])


def _plug(parts: Parts) -> Swap | None:
    own, step = set_plug(parts.logbook, parts.run), parts.step.plug
    if own is None or step is None or not parts.because("plug", "all"):
        return None
    chosen = step.at_hand or step.wanted
    return Swap(own, chosen.label, chosen.on_hand)


def _tip(parts: Parts, number: int) -> Swap | None:
    own = set_plug(parts.logbook, parts.run)
    if number not in parts.step.tips or own is None or not parts.because("tip", "all"):
        return None
    other = parts.logbook.plugs.with_tip(own, "regular")
    return Swap("projected", "regular", other is not None and other.on_hand)


def _feeds(parts: Parts, number: int, jets: tuple[JetChange, ...]) -> tuple[JetChange, ...]:
    fed = station_cylinders(parts.logbook.engine)
    return tuple(jet for jet in jets if number in fed.get(jet.corner, ()) or not any(fed.values()))


def _sure(parts: Parts, state: CylinderState, changed: bool) -> str:
    targets, stage = parts.logbook.targets, parts.order.stage
    if any(a["cylinder"] == state.cylinder and a["level"] != "mind" for a in parts.reasoner.known(Alarm)):
        return "sure"
    on_timing = stage in ("timing", "spread")
    error, sd = (state.timing_deg, state.timing_sd) if on_timing else (state.mixture_pct, state.mixture_sd)
    if not is_read("timing" if on_timing else "mixture", parts.estimate):
        return "guess"
    band = targets["settled.timing_deg" if on_timing else "settled.mixture_pct"]
    spreads = abs(error) / sd if changed else (2 * band - abs(error)) / sd
    return "sure" if spreads >= targets["sure.sure"] else "likely" if spreads >= targets["sure.likely"] else "guess"


def _why(parts: Parts, state: CylinderState, jets: tuple[JetChange, ...]) -> str:
    warned = [w for w in parts.reasoner.known(Warn) if w["cylinder"] == state.cylinder]
    if warned:
        return str(min(warned, key=lambda w: LEVELS.index(w["level"]))["text"])
    if not parts.order.readable:
        return "not fit to tune from: " + "; ".join(_texts(parts, Unfit, "reason"))
    said = []
    if is_read("mixture", parts.estimate):
        said.append(error_words("mixture", state.mixture_pct, state.mixture_sd))
    if is_read("timing", parts.estimate):
        said.append(error_words("timing", state.timing_deg, state.timing_sd))
    if parts.order.stage in ("timing", "spread"):
        said.reverse()
    seen = sorted(
        {
            *parts.estimate.mixture_witnesses.get(state.cylinder, ()),
            *parts.estimate.timing_witnesses.get(state.cylinder, ()),
        }
    )
    read = (
        f"read on {', '.join(kind.replace('_', ' ') for kind in seen)}"
        if seen
        else "not read: judged by the rest of the set"
    )
    return "; ".join([*said, read])


def _cylinder_because(parts: Parts, number: int, jets: tuple[JetChange, ...]) -> tuple[int, ...]:
    found = [n for jet in _feeds(parts, number, jets) for n in jet.because]
    for what, place in (("trim", number), ("fuel_trim", number), ("total", "all"), ("plug", "all"), ("tip", "all")):
        found.extend(parts.because(what, place))
    for kind in (Alarm, Judged):
        found.extend(parts.trace.number(fact) for fact in parts.reasoner.known(kind) if fact["cylinder"] == number)
    return tuple(dict.fromkeys(found))


def _cautions(parts: Parts) -> tuple[Caution, ...]:
    grouped: dict[tuple[str, str, int], set[int]] = {}
    for warn in parts.reasoner.known(Warn):
        key = (str(warn["level"]), str(warn["text"]), int(warn["cylinder"]))
        grouped.setdefault(key, set()).add(parts.trace.number(warn))
    ordered = sorted(grouped.items(), key=lambda item: (LEVELS.index(item[0][0]), item[0][2], item[0][1]))
    return tuple(
        Caution(text, level, cylinder or None, tuple(sorted(numbers))) for (level, text, cylinder), numbers in ordered
    )


def _worth(
    parts: Parts, jets: tuple[JetChange, ...], timing: TimingChange | None, cylinders: tuple[CylinderAdvice, ...]
) -> Worth | None:
    fuel = bool(jets) or any(one.fuel_trim for one in cylinders)
    spark = timing is not None or any(one.trim for one in cylinders)
    fuel_known = fuel and is_read("mixture", parts.estimate)
    spark_known = spark and is_read("timing", parts.estimate)
    if not parts.order.readable or not (fuel_known or spark_known):
        return None
    mean_m, sd_m = mixture_arrays(parts.estimate)
    mean_s, sd_s = timing_arrays(parts.estimate)
    shift_m = np.array(parts.step.jets.mixture_shift_pct) if jets and parts.step.jets else np.zeros_like(mean_m)
    shift_m = shift_m + np.array([one.fuel_trim.new - one.fuel_trim.old if one.fuel_trim else 0.0 for one in cylinders])
    shift_s = np.array([one.trim.new - one.trim.old if one.trim else 0.0 for one in cylinders])
    shift_s = shift_s + (timing.new - timing.old if timing else 0.0)
    gained = worth(mean_m, sd_m, mean_s, sd_s, shift_m * fuel_known, shift_s * spark_known, parts.logbook.targets)
    return in_own_result(parts.logbook, parts.run, gained)
