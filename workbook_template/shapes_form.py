"""Forms: labels beside or above their cells, a box or a row for each cylinder, drawn in banks; one or more a sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TypeVar

from openpyxl.utils import coordinate_to_tuple

from workbook_template.form_cylinders import Form, Place, Stretch, drawn, number_in, value_place
from workbook_template.found import Frame, Heading, Line, Record, Sheetful, Value, View, put, view_of
from workbook_template.headings import (
    READINGS,
    RUNS,
    UNUSED,
    Meaning,
    cylinder_named,
    side_named,
    tokens,
)
from workbook_template.hosts.protocol import CellValue, SheetBlock
from workbook_template.layout import layout, unit_key
from workbook_template.shapes_list import Corrected, all_units, heading_at, meant, run_named, with_unit
from workbook_template.tables import as_text

T = TypeVar("T")


def read_forms(whole: View, corrected: Corrected, only: int | None = None) -> Sheetful | None:
    """The forms of a sheet, or None where no label of it was understood. only: as in a list."""
    view = _without_ours(whole)
    labels = dict(_labels(view, corrected))
    anchors = dict(_anchors(view))
    if not labels:
        return None
    stretches = list(_stretches(view, labels))
    records: list[Record] = []
    headings: list[Heading] = []
    for stretch in stretches:
        form = Form(view, stretch, _inside(labels, stretch), _inside(anchors, stretch), only)
        record = _read(form)
        _name_and_day(form, record, len(stretches) == 1)
        if record.cylinders:
            record.lines = _lines(whole, stretch, record, alone=len(stretches) == 1)
        records.append(record)
        headings += form.headings
        headings += [one for one in form.labels.values() if one.meaning == Meaning(UNUSED, "", sure="yours")]
    shape = "a form" if len(stretches) == 1 else f"{len(stretches)} forms, one below the other"
    return Sheetful(view.block.name, shape, tuple(headings), records, _banks(view, anchors, records))


def values_above(view: View, above_row: int, corrected: Corrected) -> Mapping[str, Value]:
    """What stands above a list for all of its runs: day, place and the like, labels beside or above their cells."""
    stretch = Stretch(1, 1, above_row - 1, view.last_column)
    labels = {place: one for place, one in _labels(view, corrected) if stretch.holds(*place)}
    form = Form(view, stretch, labels, {})
    values = dict(_run_values(form))
    return {key: value for key, value in values.items() if value.value is not None and key != "notes"}


def told(sheetful: Sheetful) -> int:
    """How many different things a form says: the most of one form."""
    return max((_told(record) for record in sheetful.records), default=0)


def _told(record: Record) -> int:
    sets = [record.run, *record.cylinders.values()]
    return sum(value.value is not None for one in sets for value in one.values())


def _without_ours(view: View) -> View:
    """The sheet without what an earlier fill wrote: our headings, and the rows below as far as they are numbered."""
    block = view.block
    heads = [(row - block.first_row, column - block.first_column) for row, column, _ in view.ours]
    if not heads:
        return view
    rows = [list(row) for row in block.rows]
    for r, c in heads:
        numbered = min(column for row, column in heads if row == r and column <= c and _unbroken(heads, row, column, c))
        below = r
        while below + 1 < len(rows) and isinstance(block.rows[below + 1][numbered], float):
            below += 1
        for row in range(r, below + 1):
            rows[row][c] = None
    return view_of(SheetBlock(block.name, block.first_row, block.first_column, tuple(map(tuple, rows))))


def _unbroken(heads: Sequence[Place], row: int, first: int, last: int) -> bool:
    return all((row, column) in heads for column in range(first, last + 1))


def _labels(view: View, corrected: Corrected) -> Iterator[tuple[Place, Heading]]:
    """The labels, but for words that answer the label beside or above them, such as 'pass' for the type of run."""
    found = dict(_understood(view, corrected))
    for (row, column), heading in found.items():
        askers = (found.get((row, column - 1)), found.get((row - 1, column)))
        if not any(asker is not None and _answers(asker, heading.written) for asker in askers):
            yield (row, column), heading


def _answers(asker: Heading, written: str) -> bool:
    column = asker.meaning.column if asker.meaning is not None else None
    words = layout().lists.get(column.list) if column is not None and column.list else None
    return words is not None and words.find(written) is not None


def _understood(view: View, corrected: Corrected) -> Iterator[tuple[Place, Heading]]:
    for row, column, text in view.texts:
        if meant(text, corrected):
            yield (row, column), heading_at(view, row, column, text.strip().rstrip(":"), corrected)


def _anchors(view: View) -> Iterator[tuple[Place, int]]:
    for row, column, text in view.texts:
        number = cylinder_named(text)
        if number is not None:
            yield (row, column), number


def _inside(places: Mapping[Place, T], stretch: Stretch) -> dict[Place, T]:
    return {place: one for place, one in places.items() if stretch.holds(*place)}


def _stretches(view: View, labels: Mapping[Place, Heading]) -> Iterator[Stretch]:
    """From one run's name to the next; the whole sheet where it names one run at most."""
    rows = {
        row
        for (row, _), one in labels.items()
        if one.meaning and (one.meaning.sheet, one.meaning.key) == (RUNS, "name")
    }
    rows |= {row for row, _, text in view.texts if run_named(text) is not None}
    starts = sorted(rows) or [1]
    starts[0] = 1
    for start, following in zip(starts, [*starts[1:], view.last_row + 1], strict=True):
        yield Stretch(start, 1, following - 1, view.last_column)


def _read(form: Form) -> Record:
    record = Record()
    for number, place, heading, stretch in drawn(form):
        value = form.view.at(*place)
        shown = Value(value, form.view.cell(*place), _with_unit_beside(form, heading, place, stretch))
        put(record.cylinders.setdefault(number, {}), _key(heading), shown)
    for key, said in _run_values(form):
        put(record.run, key, said)
    return record


def _key(heading: Heading) -> str:
    assert heading.meaning is not None
    return heading.meaning.key


def _run_values(form: Form) -> Iterator[tuple[str, Value]]:
    for place, heading in sorted(form.labels.items()):
        meaning = heading.meaning
        if place in form.spoken_for or meaning is None or meaning.sheet == UNUSED:
            continue
        if meaning.sheet == READINGS and meaning.key != "plug" and meaning.cylinder is None:
            continue
        found = value_place(form, place, form.stretch)
        if found in form.labels:
            continue
        form.spoken_for |= {place, found}
        plain = Heading(heading.cell, heading.written, meaning)
        form.headings.append(plain)
        value = Value(form.view.at(*found), form.view.cell(*found), _with_unit_beside(form, plain, found, form.stretch))
        if meaning.cylinder is None:
            yield meaning.key, value


def _with_unit_beside(form: Form, heading: Heading, place: Place, within: Stretch) -> Heading:
    row, column = place
    beside = form.view.at(row, column + 1) if column < within.right else None
    if isinstance(beside, str) and unit_key(beside) in all_units():
        return with_unit(heading, beside)
    return heading


def _name_and_day(form: Form, record: Record, alone: bool) -> None:
    """The run's name from a title such as 'Run 17', or from the sheet's name; the day too where no cell says it."""
    view, stretch = form.view, form.stretch
    if record.run.get("name") is None or record.run["name"].value is None:
        titles = [
            (row, column)
            for row, column, text in view.texts
            if stretch.holds(row, column) and run_named(text) is not None
        ]
        if titles:
            record.run["name"] = _said(view.at(*titles[0]), view, titles[0], "name")
        elif alone and run_named(view.block.name) is not None:
            record.run["name"] = _said(view.block.name, view, (1, 1), "name")


def _said(value: CellValue, view: View, place: Place, key: str) -> Value:
    cell = view.cell(*place)
    return Value(value, cell, Heading(cell, as_text(value), Meaning(RUNS, key)))


def _lines(view: View, stretch: Stretch, record: Record, *, alone: bool) -> dict[int, Line]:
    """A row for each cylinder, below the form, or right of it where another form follows below."""
    numbers = sorted(record.cylinders)
    heads = [(row, column) for row, column, _ in view.ours]
    ours = [head for head in heads if alone or stretch.top <= head[0] <= stretch.bottom]
    if ours:
        top = min(row for row, _ in ours)
        taken = tuple((as_text(view.at(row, column)), column) for row, column in ours if row == top)
        free = max(column for _, column in taken) + 1
    else:
        bare = _without_ours(view)
        top = _last_used(bare) + 2 if alone else stretch.top
        taken, free = (), 1 if alone else bare.last_column + 2
    like = next((value for one in record.cylinders.values() for value in one.values()), None)
    look = coordinate_to_tuple(like.cell.ref)[1] if like is not None else 1
    frame = Frame(view.block.name, top, taken, free, look, listed=True)
    return {number: Line(frame, top + 1 + place, number) for place, number in enumerate(numbers)}


def _last_used(view: View) -> int:
    rows = range(1, view.last_row + 1)
    columns = range(1, view.last_column + 1)
    return max((row for row in rows if any(view.at(row, column) is not None for column in columns)), default=0)


def _banks(view: View, anchors: Mapping[Place, int], records: Sequence[Record]) -> Mapping[int, tuple[str, int]]:
    """Cylinder -> bank and place, where each is drawn below a word for its bank; else nothing."""
    sides = {(row, column): side for row, column, text in view.texts if (side := side_named(text)) is not None}
    if set(sides.values()) != {"L", "R"} or not records:
        return {}
    drawn = dict(anchors) or _numbers_below(view, sides)
    found: dict[int, tuple[str, int]] = {}
    for (row, column), number in sorted(drawn.items()):
        above = [(column - c, row - r, side) for (r, c), side in sides.items() if r <= row and c <= column]
        if not above:
            return {}
        side = min(above)[2]
        found.setdefault(number, (side, 1 + sum(other == side for other, _ in found.values())))
    return found if found.keys() == {n for record in records for n in record.cylinders} else {}


def _numbers_below(view: View, sides: Mapping[Place, str]) -> dict[Place, int]:
    """The numbers of small tables: those under a heading for the cylinder, or beside a word for the bank."""
    found: dict[Place, int] = {}
    for row, column in sides:
        beside = column + 1
        while (number := number_in(view.at(row, beside))) is not None and beside <= view.last_column:
            found[row, beside] = number
            beside += 1
    for row, column, text in view.texts:
        if tokens(text) not in (("cyl",), ("cylinder",)):
            continue
        below = row + 1
        while (number := number_in(view.at(below, column))) is not None and below <= view.last_row:
            found[below, column] = number
            below += 1
    return found
