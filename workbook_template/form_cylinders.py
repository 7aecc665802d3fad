"""One form and the cylinders drawn in it: small tables, columns side by side, or a box for each cylinder."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from workbook_template.found import Heading, View
from workbook_template.headings import MOST_CYLINDERS, READINGS, cylinder_named
from workbook_template.hosts.protocol import CellValue
from workbook_template.read_values import parse_measure

LEAST_ABREAST = 2
REACH = 3  # cells between a label and its value: merged cells leave some blank
Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a sheet: its rows and columns, ends included."""

    top: int
    left: int
    bottom: int
    right: int

    def holds(self, row: int, column: int) -> bool:
        """True for a place inside."""
        return self.top <= row <= self.bottom and self.left <= column <= self.right


@dataclass(slots=True)
class Form:
    """One form: its stretch, the labels in it, where each cylinder is drawn; above: labels stand above their cells.

    only: the cylinder of an engine that has no other.
    """

    view: View
    stretch: Stretch
    labels: Mapping[Place, Heading]
    anchors: Mapping[Place, int]
    only: int | None = None
    headings: list[Heading] = field(default_factory=list)
    spoken_for: set[Place] = field(default_factory=set)
    above: bool = False

    def __post_init__(self) -> None:
        self.above = _stand_above(self)


def drawn(form: Form) -> Iterator[tuple[int, Place, Heading, Stretch]]:
    """Each cylinder's cells: in rows under small headings, in columns beside them, then in boxes."""
    for place, heading in sorted(form.labels.items()):
        if heading.meaning is not None and heading.meaning.key == "cylinder" and heading.meaning.sheet == READINGS:
            yield from _small_table(form, place)
    for place in sorted(form.labels):
        if place not in form.spoken_for:
            yield from _turned_table(form, place)
    for place, number in sorted(form.anchors.items()):
        if place not in form.spoken_for:
            yield from _box(form, place, number)
    if form.only is not None and not form.anchors:
        yield from _box(form, (form.stretch.top, form.stretch.left), form.only)


def _small_table(form: Form, at: Place) -> Iterator[tuple[int, Place, Heading, Stretch]]:
    row, first = at
    columns: dict[int, Heading] = {}
    for column in range(first + 1, form.stretch.right + 1):
        heading = _of_cylinder(form.labels.get((row, column)))
        if heading is None:
            break
        columns[column] = heading
    if not columns:
        return
    form.spoken_for |= {(row, column) for column in (first, *columns)}
    form.headings += columns.values()
    for below in range(row + 1, form.stretch.bottom + 1):
        number = number_in(form.view.at(below, first))
        if number is None:
            break
        form.spoken_for.add((below, first))
        for column, heading in columns.items():
            form.spoken_for.add((below, column))
            yield number, (below, column), heading, Stretch(below, column, below, column)


def _turned_table(form: Form, at: Place) -> Iterator[tuple[int, Place, Heading, Stretch]]:
    """Cylinders side by side, and below them a row for what was seen, its label at the left; at: the first label."""
    row, first = at
    numbers: dict[int, int] = {}
    for column in range(first + 1, form.stretch.right + 1):
        number = number_in(form.view.at(row - 1, column))
        if number is None or number > MOST_CYLINDERS or number in numbers.values():
            break
        numbers[column] = number
    if len(numbers) < LEAST_ABREAST or not form.stretch.holds(row - 1, first):
        return
    form.spoken_for |= {(row - 1, column) for column in (first, *numbers)}
    for below in range(row, form.stretch.bottom + 1):
        heading = _of_cylinder(form.labels.get((below, first)))
        if heading is None:
            break
        form.headings.append(heading)
        form.spoken_for.add((below, first))
        for column, number in numbers.items():
            form.spoken_for.add((below, column))
            yield number, (below, column), heading, Stretch(below, column, below, column)


def number_in(value: CellValue) -> int | None:
    if isinstance(value, float) and value.is_integer() and value >= 1:
        return int(value)
    measure = parse_measure(value) if isinstance(value, str) else None
    return cylinder_named(value) or (int(measure[0]) if measure is not None and not measure[1] else None)


def _box(form: Form, at: Place, number: int) -> Iterator[tuple[int, Place, Heading, Stretch]]:
    """The labels below or right of 'Cyl 3', as far as the next cylinder is drawn."""
    row, column = at
    right = min((other for r, other in form.anchors if r == row and other > column), default=form.stretch.right + 1) - 1
    below = min((r for r, _ in form.anchors if r > row), default=form.stretch.bottom + 1) - 1
    box = Stretch(row, column, below, right)
    for place, label in sorted(form.labels.items()):
        heading = _of_cylinder(label)
        if place in form.spoken_for or not box.holds(*place) or heading is None:
            continue
        if label.proposal is not None and _parted(form, row, place[0]):
            continue  # it may be of the run as well
        form.spoken_for.add(place)
        form.headings.append(heading)
        found = value_place(form, place, box)
        form.spoken_for.add(found)
        yield number, found, heading, box


def _parted(form: Form, above: int, below: int) -> bool:
    """True where a blank row lies between."""
    columns = range(form.stretch.left, form.stretch.right + 1)
    return any(all(form.view.at(row, column) is None for column in columns) for row in range(above + 1, below))


def _of_cylinder(heading: Heading | None) -> Heading | None:
    """The label as one of a cylinder's, None where it can only be of the run."""
    if heading is None or heading.meaning is None:
        return None
    for meaning in (heading.meaning, heading.proposal):
        if meaning is not None and meaning.sheet == READINGS and meaning.key != "cylinder":
            return Heading(heading.cell, heading.written, meaning)
    return None


def value_place(form: Form, at: Place, within: Stretch) -> Place:
    """Beside the label, or below it where another label stands beside it or the form writes below."""
    row, column = at
    if form.above and row < within.bottom and form.view.at(row + 1, column) is not None:
        return row + 1, column
    for beside in range(column + 1, min(column + REACH, within.right) + 1):
        if _is_label(form, (row, beside)):
            break
        if form.view.at(row, beside) is not None:
            return row, beside
    below = (row + 1, column)
    is_free = row < within.bottom and not _is_label(form, below)
    beside_is_free = column < within.right and not _is_label(form, (row, column + 1))
    return below if is_free and (form.above or not beside_is_free) else (row, column + 1)


def _stand_above(form: Form) -> bool:
    """True where more labels of the form have their value below than beside them."""
    beside = below = 0
    for row, column in form.labels:
        next_to, under = (row, column + 1), (row + 1, column)
        if not _is_label(form, next_to) and form.view.at(*next_to) is not None:
            beside += 1
        elif not _is_label(form, under) and form.view.at(*under) is not None:
            below += 1
    return below > beside


def _is_label(form: Form, place: Place) -> bool:
    return place in form.labels or place in form.anchors
