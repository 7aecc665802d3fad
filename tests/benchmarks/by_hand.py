"""The trade's sequence by hand: usual gains, steps of one or two sizes and degrees, one kind of change a run.

Order and steps are common practice, no source: safety, jets all round and by corner, total timing, single trims, plugs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from statistics import fmean

from tests.virtual_engine import JET_SIZES, PLUG_LABELS, Tuneup, VirtualEngine
from tests.virtual_looks import RING, STRAP, THREADS, Observations
from tests.virtual_oracle import MOST_TRIM_DEG

_THIN_LINE, _AT_BEND = RING.index("thin line"), STRAP.index("at bend")
_USUAL_LAMBDA = 0.87
_PCT_A_SIZE = 2.6


def by_hand(engine: VirtualEngine, seen: Observations) -> Tuneup:
    """The tune-up that a racer would make of that log; the same one where the set is not fit or all looks well."""
    if not seen.fit:
        return seen.tuneup
    for step in (_safety, _jets, _total_timing, _trims, _plugs):
        changed = step(engine, seen)
        if changed != seen.tuneup:
            return changed
    return seen.tuneup


def _safety(engine: VirtualEngine, seen: Observations) -> Tuneup:
    tuneup = seen.tuneup
    if seen.shows_specks:
        tuneup = replace(tuneup, total_deg=tuneup.total_deg - 2.0, jets=_moved(tuneup.jets, lambda _: 2))
    hot = any(look.porcelain in ("glazed", "blistered") or look.centre_wire == "melted" for look in seen.looks.values())
    return _other_plug(tuneup, 1) if hot else tuneup


def _jets(engine: VirtualEngine, seen: Observations) -> Tuneup:
    rich = _sizes_rich(engine, seen)
    if not rich:
        return seen.tuneup
    everywhere = _step(fmean(rich.values()), 0.6, 2.5)

    def down(station: str) -> int:
        fed = [rich[number] for number in rich if engine.layout.own_station[number] == station]
        apart = fmean(fed) - fmean(rich.values()) if fed else 0.0
        return -(everywhere + _step(apart, 1.2, 9.0))

    return replace(seen.tuneup, jets=_moved(seen.tuneup.jets, down))


def _sizes_rich(engine: VirtualEngine, seen: Observations) -> dict[int, float]:
    """How many sizes each cylinder looks rich: by lambda where there is one, else two sizes a word of the ring."""
    rich = {}
    for number, look in seen.looks.items():
        ratio = look.lambda_ratio or seen.bank_lambda.get(engine.layout.bank(number))
        if ratio is not None:
            rich[number] = 100.0 * (_USUAL_LAMBDA / ratio - 1.0) / _PCT_A_SIZE
        elif look.ring is not None:
            rich[number] = 2.0 * (RING.index(look.ring) - _THIN_LINE)
    return rich


def _total_timing(engine: VirtualEngine, seen: Observations) -> Tuneup:
    late = _words_late(seen)
    if not late:
        return seen.tuneup
    step = _step(fmean(late.values()), 0.4, 1.2)
    if step > 0 and not seen.timing_known_safe:
        return seen.tuneup
    return replace(seen.tuneup, total_deg=seen.tuneup.total_deg + step)


def _trims(engine: VirtualEngine, seen: Observations) -> Tuneup:
    late = _words_late(seen)
    if engine.hardware == "none" or len(late) < len(seen.looks):
        return seen.tuneup
    trims = dict(seen.tuneup.trims)
    groups = engine.layout.companions() if engine.hardware == "paired" else [(number,) for number in late]
    for group in groups:
        apart = fmean(late[number] for number in group) - fmean(late.values())
        for number in group:
            wanted = trims[number] + _step(apart, 0.8, 9.0) * engine.trim_step_deg
            trims[number] = max(-MOST_TRIM_DEG, min(MOST_TRIM_DEG, wanted))
    return replace(seen.tuneup, trims=trims)


def _words_late(seen: Observations) -> dict[int, float]:
    """How many words each strap mark lies short of the bend."""
    return {
        number: float(_AT_BEND - STRAP.index(look.strap_mark))
        for number, look in seen.looks.items()
        if look.strap_mark is not None
    }


def _plugs(engine: VirtualEngine, seen: Observations) -> Tuneup:
    turns = [THREADS.index(look.threads) for look in seen.looks.values() if look.threads is not None]
    if not turns or 0.5 < fmean(turns) < 2.7:
        return seen.tuneup
    return _other_plug(seen.tuneup, 1 if fmean(turns) >= 2.7 else -1)


def _step(off: float, small: float, large: float) -> int:
    """No step, one or two towards mending `off`."""
    size = (abs(off) >= small) + (abs(off) >= large)
    return size if off > 0.0 else -size


def _moved(jets: Mapping[str, int], up: Callable[[str], int]) -> dict[str, int]:
    return {name: min(max(size + up(name), JET_SIZES[0]), JET_SIZES[-1]) for name, size in jets.items()}


def _other_plug(tuneup: Tuneup, colder: int) -> Tuneup:
    def other(label: str) -> str:
        return PLUG_LABELS[min(max(PLUG_LABELS.index(label) + colder, 0), len(PLUG_LABELS) - 1)]

    return replace(tuneup, plugs={number: other(label) for number, label in tuneup.plugs.items()})
