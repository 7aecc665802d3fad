"""What was changed on the engine between two runs, in words; air is no change, it is corrected for."""

from __future__ import annotations

from collections.abc import Iterator

from engine_rules.evidence import plug_labels
from engine_rules.labels import label_key
from engine_rules.logbook import Logbook, Run

TRIMS = (("timing_trim_deg", "timing trim", "°"), ("fuel_trim_pct", "fuel trim", " %"))


def changes(logbook: Logbook, then: Run, now: Run) -> tuple[str, ...]:
    """Each change in words, such as 'all jets 76 to 78'. What one of the runs did not log counts as kept."""
    return (*_jets(logbook, then, now), *_timing(then, now), *_trims(then, now), *_plugs(then, now))


def _jets(logbook: Logbook, then: Run, now: Run) -> Iterator[str]:
    moved = {}
    for station in logbook.engine.stations:
        before, after = then.tuneup.jets.get(station.name), now.tuneup.jets.get(station.name)
        if before is not None and after is not None and label_key(before.value) != label_key(after.value):
            moved[station.name] = f"{before.value} to {after.value}"
    if len(moved) == len(logbook.engine.stations) > 1 and len(set(moved.values())) == 1:
        yield f"all jets {next(iter(moved.values()))}"
    else:
        yield from (f"jet {name} {words}" for name, words in moved.items())


def _timing(then: Run, now: Run) -> Iterator[str]:
    before, after = then.tuneup.total_timing_deg, now.tuneup.total_timing_deg
    if before is not None and after is not None and before.value != after.value:
        yield f"total timing {before.value:g} to {after.value:g}°"


def _trims(then: Run, now: Run) -> Iterator[str]:
    for reading in now.readings:
        earlier = then.reading(reading.cylinder)
        for key, words, unit in TRIMS if earlier is not None else ():
            before, after = (getattr(one, key) for one in (earlier, reading))
            values = [one.value if one is not None else 0.0 for one in (before, after)]
            if values[0] != values[1]:
                yield f"cylinder {reading.cylinder} {words} {values[0]:+g} to {values[1]:+g}{unit}"


def _plugs(then: Run, now: Run) -> Iterator[str]:
    before, after = plug_labels(then), plug_labels(now)
    if not before or not after or set(map(label_key, before)) == set(map(label_key, after)):
        return
    yield f"plugs {', '.join(sorted(before))} to {', '.join(sorted(after))}"
