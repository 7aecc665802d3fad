"""How this run stands to the reference set and to the run before it."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import fmean

from engine_rules.decide import current_jets
from engine_rules.evidence import cell_text, set_plug
from engine_rules.facts import Changed, Compared, Outcome, Said, Worded
from engine_rules.ledger import change_before
from engine_rules.logbook import Logbook, Run
from engine_rules.reference import Found
from engine_rules.weather import air_state


def facts_of_history(logbook: Logbook, run: Run, found: Found) -> list[Worded]:
    """Comparison with the reference set, and what was changed since the run before."""
    return [*_reference(logbook, run, found), *_since_before(logbook, run)]


def _reference(logbook: Logbook, run: Run, found: Found) -> Iterator[Worded]:
    for one in found.refused:
        yield Said(what="reference", value=one.what, text=one.text, cell=cell_text(one.run.places.get("reference")))
    if found.reference is None:
        if not run.reference and not found.marked:
            yield Said(what="reference", value="none", text="no earlier run is marked Reference", cell="")
        return
    best = found.reference.run
    value = "proposed" if found.reference.proposed else "used"
    text = f"the reference is run {best.name}" + (
        ", the best settled run; none is marked" if value == "proposed" else ""
    )
    yield Said(what="reference", value=value, text=text, cell=cell_text(best.places.get("reference")))
    then, now = air_state(best.air), air_state(run.air)
    if then is not None and now is not None:
        change = 100 * (now.moist_density_kg_m3 / then.moist_density_kg_m3 - 1)
        grade = "far" if abs(change) > logbook.targets["air.density_far_pct"] else "near"
        yield Said(
            what="reference_air",
            value=grade,
            cell=cell_text(run.places.get("temp_c")),
            text=f"air density {change:+.1f} % against reference run {best.name}",
        )
    yield from _signs(logbook, run, best)
    yield from _pipes(logbook, run, best)


def _signs(logbook: Logbook, run: Run, best: Run) -> Iterator[Worded]:
    for kind, key in (("ring", "reference.ring_mm"), ("strap_mark", "reference.strap")):
        for reading in run.readings:
            then = best.reading(reading.cylinder)
            now_sign, then_sign = reading.sign(kind), then.sign(kind) if then else None
            if now_sign is None or then_sign is None or now_sign.amount is None or then_sign.amount is None:
                continue
            yield from _compared(
                kind,
                reading.cylinder,
                now_sign.amount - then_sign.amount,
                logbook.targets[key],
                cell_text(now_sign.cell),
                best.name,
            )


def _pipes(logbook: Logbook, run: Run, best: Run) -> Iterator[Worded]:
    pairs = []
    for reading in run.readings:
        then = best.reading(reading.cylinder)
        if reading.egt_c is not None and then is not None and then.egt_c is not None:
            pairs.append((reading, reading.egt_c.value - then.egt_c.value))
    if len(pairs) < 3:
        return
    common = fmean(off for _, off in pairs)
    for reading, off in pairs:
        entry = reading.egt_c
        cell = cell_text(entry.cell) if entry is not None else ""
        yield from _compared("egt", reading.cylinder, off - common, logbook.targets["reference.egt_k"], cell, best.name)


def _compared(kind: str, cylinder: int, off: float, limit: float, cell: str, name: str) -> Iterator[Worded]:
    if abs(off) >= limit:
        side = "more" if off > 0 else "less"
        text = f"cylinder {cylinder}: {kind.replace('_', ' ')} {side} than on reference run {name}"
        yield Compared(what=kind, cylinder=cylinder, side=side, text=text, cell=cell)


def _since_before(logbook: Logbook, run: Run) -> Iterator[Worded]:
    earlier = logbook.before(run)
    if not earlier:
        return
    last = earlier[-1]
    line = change_before(logbook, run)
    if line is not None:
        text = f"{line.changed} since run {line.before}: {line.result + ': ' if line.result else ''}{line.text}"
        cell = cell_text(line.cells[-1]) if line.cells else ""
        yield Outcome(
            verdict=line.verdict, back=line.back, changed=line.changed, before=line.before, text=text, cell=cell
        )
    yield Said(what="run_before", value=last.name, text=f"the run before is {last.name}", cell="")
    jets, jets_then = current_jets(run), current_jets(last)
    if jets and jets_then and jets != jets_then:
        cell = cell_text(next(iter(run.tuneup.jets.values())).cell)
        yield Changed(what="jets", text=f"jets differ from run {last.name}", cell=cell)
    now, then = run.tuneup.total_timing_deg, last.tuneup.total_timing_deg
    if now is not None and then is not None and now.value != then.value:
        yield Changed(
            what="timing",
            text=f"total timing {then.value:g} to {now.value:g} since run {last.name}",
            cell=cell_text(now.cell),
        )
    plug, plug_then = set_plug(logbook, run), set_plug(logbook, last)
    if plug and plug_then and plug != plug_then:
        yield Changed(what="plugs", text=f"plugs {plug_then} to {plug} since run {last.name}", cell="")
