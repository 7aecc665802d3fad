"""Where strapline writes in a racer's own sheets: right of a list, below one with runs across, or below a form."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from workbook_template.found import Frame, Line, Place
from workbook_template.headings import OURS
from workbook_template.hosts.protocol import CellValue, SheetBlock
from workbook_template.layout import Column, layout

# What a racer may keep a column for too: it is left alone then, and ours is left out.
_SHARED = ("jet_change", "timing_change_deg", "fuel_trim_change_pct", "plug_change", "tip_change")
_CYLINDER = f"Cylinder {OURS}"


@dataclass(frozen=True, slots=True)
class OwnHeading:
    """A heading of ours in a racer's sheet, its note, and the cell whose look it takes over.

    A number is not a heading but the cylinder that a line of ours is about.
    """

    text: str | float
    note: str
    like: tuple[int, int]


@dataclass(frozen=True, slots=True)
class OwnPlaces:
    """keys: the columns filled here. lines: (run, cylinder) -> line. lanes: per frame, heading -> lane."""

    keys: tuple[str, ...]
    house: str
    lines: Mapping[tuple[str, int], Line]
    lanes: Mapping[Frame, Mapping[str, int]]
    blocks: Mapping[str, SheetBlock]

    def place(self, run: str, cylinder: int, key: str) -> Place | None:
        """The cell for that key of a cylinder, None where the racer has no place for it."""
        line = self.lines.get((run, cylinder))
        if line is None or key not in self.keys:
            return None
        lane = self.lanes[line.frame].get(_heading(key, self.house, None if line.cylinder else cylinder))
        return None if lane is None else line.frame.place(line.at, lane)

    def like(self, run: str, cylinder: int) -> tuple[int, int] | None:
        """The racer's cell in the line of that cylinder whose look ours takes over."""
        line = self.lines.get((run, cylinder))
        return None if line is None else line.frame.place(line.at, line.frame.like)[1:]

    def value_at(self, place: Place) -> CellValue:
        """What stands in a cell."""
        return self.blocks[place[0]].at(*place[1:])

    def headings(self, runs: Collection[str]) -> Mapping[Place, OwnHeading]:
        """Every heading over the cells of these runs."""
        found: dict[Place, OwnHeading] = {}
        for (run, cylinder), line in self.lines.items():
            if run not in runs:
                continue
            frame, lanes = line.frame, self.lanes[line.frame]
            like = frame.place(frame.headings_at, frame.like)[1:]
            for key in self.keys:
                text = _heading(key, self.house, None if line.cylinder else cylinder)
                if text in lanes:
                    note = _column(key).noted(self.house)
                    found[frame.place(frame.headings_at, lanes[text])] = OwnHeading(text, note, like)
            if frame.listed:
                note = "Written by strapline: the cylinder that this row is about."
                found[frame.place(frame.headings_at, lanes[_CYLINDER])] = OwnHeading(_CYLINDER, note, like)
                found[frame.place(line.at, lanes[_CYLINDER])] = OwnHeading(float(cylinder), "", like)
        return found


def own_places(
    keys: Sequence[str], house: str, lines: Mapping[tuple[str, int], Line], blocks: Sequence[SheetBlock]
) -> OwnPlaces:
    """The places of these columns: those that an earlier fill made are used again, others follow right of all."""
    wanted: dict[Frame, dict[str, None]] = {}
    for (_, cylinder), line in sorted(lines.items(), key=lambda one: one[0][1]):
        frame = line.frame
        names = wanted.setdefault(frame, {})
        if frame.listed:
            names.setdefault(_CYLINDER)
        for key in keys:
            if key not in _SHARED or _column(key).heading.casefold() not in frame.own:
                names.setdefault(_heading(key, house, None if line.cylinder else cylinder))
    lanes = {frame: dict(_lanes(frame, list(names))) for frame, names in wanted.items()}
    return OwnPlaces(tuple(keys), house, lines, lanes, {block.name: block for block in blocks})


def _lanes(frame: Frame, names: Sequence[str]) -> Iterator[tuple[str, int]]:
    taken = dict(frame.taken)
    free = frame.free
    for name in names:
        if name in taken:
            yield name, taken[name]
        else:
            yield name, free
            free += 1


def _heading(key: str, house: str, cylinder: int | None) -> str:
    column = _column(key)
    unit = column.house_unit(house)
    named = f"{column.heading}, {unit.name}" if unit is not None and unit.name else column.heading
    return f"{named} {OURS}" if cylinder is None else f"Cyl {cylinder} {named[0].lower()}{named[1:]} {OURS}"


def _column(key: str) -> Column:
    return next(column for column in layout().sheets["readings"].columns if column.filled and column.key == key)
