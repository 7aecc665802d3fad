"""The chosen step as facts, so that the rules can say why each part of it is right."""

from __future__ import annotations

from collections.abc import Iterator

from engine_rules.decide import Step, current_fuel_trims, current_trims
from engine_rules.evidence import cell_text, set_plug
from engine_rules.facts import Picked, Worded
from engine_rules.labels import label_key
from engine_rules.logbook import Logbook, Run


def facts_of_step(logbook: Logbook, run: Run, step: Step) -> list[Worded]:
    """One fact for each jet, trim, plug and tip that changes, in words."""
    return [
        *_jets(run, step),
        *_fuel_trims(logbook, run, step),
        *_timing(logbook, run, step),
        *_plugs(logbook, run, step),
    ]


def _picked(what: str, place: str | int, side: str, text: str, cell: str = "") -> Worded:
    return Picked(what=what, place=place, side=side, text=text, cell=cell)


def _jets(run: Run, step: Step) -> Iterator[Worded]:
    if step.jets is None:
        return
    for station, new in step.jets.jets.items():
        entry, flow_pct = run.tuneup.jets[station], step.jets.flow_pct[station]
        side = "richer" if flow_pct > 0 else "leaner"
        if label_key(new) != label_key(entry.value):
            more = "more" if flow_pct > 0 else "less"
            text = f"{station}: jet {entry.value} to {new}, {abs(flow_pct):.1f} % {more} flow"
            yield _picked("jet", station, side, text, cell_text(entry.cell))
        if station in step.jets.wanted:
            text = f"{station}: jet {step.jets.wanted[station]} would fit best and is not on hand"
            yield _picked("jet_wanted", station, side, text, cell_text(entry.cell))


def _fuel_trims(logbook: Logbook, run: Run, step: Step) -> Iterator[Worded]:
    now = current_fuel_trims(logbook, run)
    for number, new in sorted(step.fuel_trims_pct.items()):
        side = "richer" if new > now[number] else "leaner"
        yield _picked("fuel_trim", number, side, f"cylinder {number}: fuel trim {now[number]:+g} to {new:+g} %")


def _timing(logbook: Logbook, run: Run, step: Step) -> Iterator[Worded]:
    total = run.tuneup.total_timing_deg
    if step.total_deg and total is not None:
        side = "earlier" if step.total_deg > 0 else "later"
        text = f"total timing {total.value:g} to {total.value + step.total_deg:g} degrees"
        yield _picked("total", "all", side, text, cell_text(total.cell))
    now = current_trims(logbook, run)
    for number, new in sorted(step.trims_deg.items()):
        side = "earlier" if new > now[number] else "later"
        yield _picked("trim", number, side, f"cylinder {number}: timing trim {now[number]:+g} to {new:+g} degrees")


def _plugs(logbook: Logbook, run: Run, step: Step) -> Iterator[Worded]:
    own = set_plug(logbook, run)
    if step.plug is not None and own is not None:
        side = "colder" if step.plug.colder_steps > 0 else "hotter"
        chosen = step.plug.at_hand or step.plug.wanted
        yield _picked("plug", "all", side, f"plug {own} to {chosen.label}, {side}, all cylinders alike")
        if not step.plug.wanted_is_on_hand:
            yield _picked("plug_wanted", "all", side, f"plug {step.plug.wanted.label} is wanted and is not on hand")
    if step.tips:
        yield _picked("tip", "all", "regular", "a regular tip in place of a projected one")
