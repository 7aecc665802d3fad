"""Lists: a row for each run, or run and cylinder, under one or two rows of headings; or the same turned on its side."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from engine_rules.logbook import LogbookError
from workbook_template.found import Frame, Heading, Line, Record, Sheetful, Value, View, put
from workbook_template.headings import (
    READINGS,
    REMEMBERED,
    RUNS,
    UNUSED,
    Meaning,
    cylinder_named,
    is_group,
    is_ours,
    meanings,
    nearest,
)
from workbook_template.hosts.protocol import CellValue
from workbook_template.layout import layout, unit_key
from workbook_template.read_values import parse_measure
from workbook_template.tables import as_text, is_ditto, shortened

HEADINGS_WITHIN = 30
LEAST_HEADINGS = 3
PROSE_WORDS = 3
WHICH_CYLINDER = "of which cylinder is this?"
_SUMMARY = re.compile(
    r"\s*(avg|average|mean|best|totals?|max|min|median|sum|std|stdev|count|range|mittelwert|durchschnitt|ø|summe|moyenne|"
    r"promedio|media|gemiddelde)\b",
    re.IGNORECASE,
)
_RUN_NAMED = re.compile(r"\s*(?:run|pass|test|pull)\s*(?:no\.?|#|number)?\s*[:#]?\s*(\S{1,20})\s*", re.IGNORECASE)

Corrected = Callable[[str], Meaning | None]


@dataclass(frozen=True, slots=True)
class Headings:
    """A row of headings found in a view: the text over each column, and how many different ones were understood.

    first_row: the upper row where headings of two rows belong together.
    """

    row: int
    texts: Mapping[int, str]
    score: int
    first_row: int = 0


def find_list(upright: View, corrected: Corrected) -> tuple[View, Headings] | None:
    """The list of a sheet, upright or turned, or None where the headings stand in no line."""
    found = [(view, _best_row(view, corrected)) for view in (upright, upright.turned_over())]
    view, best = max(found, key=lambda one: one[1].score)
    return (view, best) if best.score >= LEAST_HEADINGS else None


def is_list(view: View, heads: Headings, corrected: Corrected) -> bool:
    """False for a form: there labels stand twice, or where a list has its values, or cylinders stand side by side."""
    unnumbered = [text for text in heads.texts.values() if _is_of_some_cylinder(text, corrected)]
    if len(set(unnumbered)) < len(unnumbered):
        return False
    numbered = [text for text in heads.texts.values() if any(one.key == "cylinder" for one in meant(text, corrected))]
    words = {like for words in layout().lists.values() for like in words.likes}
    labels = {text.strip().casefold() for row, _, text in view.texts if row > heads.row and meant(text, corrected)}
    return len(numbered) < 2 and len(labels - words) < LEAST_HEADINGS


def _is_of_some_cylinder(text: str, corrected: Corrected) -> bool:
    """True for a heading such as 'Ring' that does not say of which cylinder."""
    found = meant(text, corrected)
    return bool(found) and found[0].sheet == READINGS and found[0].cylinder is None and found[0].key != "plug"


def read_list(view: View, heads: Headings, corrected: Corrected, only: int | None = None) -> Sheetful:
    """The records of a list. Lines without a value are passed over, and so are averages below it.

    only: the cylinder of an engine that has no other; what names none is of that one.
    """
    headings = {column: _understood(view, heads, column, corrected) for column in heads.texts}
    by_cylinder = any(one.meaning is not None and one.meaning.key == "cylinder" for one in headings.values())
    settled = {column: _settled(one, by_cylinder, only) for column, one in headings.items()}
    first = heads.row + 1
    unit_row = _units_in(view, first, settled)
    if unit_row is not None:
        settled, first = unit_row, first + 1
    settled = {column: _contents(view, first, column, one) for column, one in settled.items()}
    if any(one.meaning is not None and one.meaning.key == "jets.front" for one in settled.values()):
        settled = {column: _rear(one) for column, one in settled.items()}
    settled |= _named_runs(view, heads.row, first, settled)
    frame = _frame(view, heads)
    records = list(_records(view, first, settled, frame))
    across = " with runs across" if view.turned else ""
    shape = f"a line for each {'cylinder of a run' if by_cylinder else 'run'}{across}"
    return Sheetful(view.block.name, shape, tuple(settled.values()), records)


def _rear(heading: Heading) -> Heading:
    """Beside jets of the front, 'Mains R' are those of the rear."""
    near = heading.proposal
    if heading.meaning is None and near is not None and near.key == "jets.rear":
        return Heading(heading.cell, heading.written, near)
    return heading


def _named_runs(view: View, row: int, first: int, headings: Mapping[int, Heading]) -> dict[int, Heading]:
    """The column of names such as 'Run 17' that stands without a heading; none where the names have one."""
    if any(one.meaning is not None and one.meaning.key == "name" for one in headings.values()):
        return {}
    for column in range(1, view.last_column + 1):
        values = [view.at(line, column) for line in range(first, view.last_row + 1)]
        filled = [value for value in values if value is not None]
        if filled and column not in headings and all(run_named(value) is not None for value in filled):
            return {column: Heading(view.cell(row, column), "(no heading)", Meaning(RUNS, "name", sure="likely"))}
    return {}


def _best_row(view: View, corrected: Corrected) -> Headings:
    best = Headings(0, {}, 0)
    rows: dict[int, dict[int, str]] = {}
    for row, column, text in view.texts:
        if row >= view.first_row + HEADINGS_WITHIN:
            break
        rows.setdefault(row, {})[column] = text.strip()
    scores = {row: _score(single, corrected) for row, single in rows.items()}
    for row in range(view.first_row, min(view.last_row, view.first_row + HEADINGS_WITHIN - 1) + 1):
        single, above = rows.get(row, {}), rows.get(row - 1, {})
        tried = [(row, single, scores.get(row, 0))]
        if above and max(scores.get(row, 0), scores[row - 1]) > 1:
            # Two rows of which neither says much that is known by itself are no headings together.
            both = _with_row_above(view, row, single, above)
            tried.append((row - 1, both, _score(both, corrected)))
        for first_row, texts, score in tried:
            if score > best.score:
                best = Headings(row, texts, score, first_row)
    return best


def _score(texts: Mapping[int, str], corrected: Corrected) -> int:
    known = set()
    for text in texts.values():
        for one in meant(text, corrected)[:1]:
            known.add((one.sheet, one.key or text, one.cylinder))
    return len(known)


def meant(text: str, corrected: Corrected) -> tuple[Meaning, ...]:
    """What a heading may mean: the racer's own correction, or all that its words allow."""
    own = corrected(text) if text else None
    return (own,) if own is not None else meanings(text) if text else ()


def _with_row_above(view: View, row: int, single: Mapping[int, str], uppers: Mapping[int, str]) -> dict[int, str]:
    """Headings of two rows: the upper one reaches over the blank cells right of it, as far as its like did."""
    starts = list(uppers)
    texts = dict(single)
    for start, end in zip(starts, [*starts[1:], view.last_column + 1], strict=True):
        reach = end - start
        if end > view.last_column and len(starts) > 1 and _alike(uppers[start], uppers[starts[-2]]):
            reach = min(reach, start - starts[-2])
        for column in range(start, start + reach):
            texts[column] = _joined(view, row, column, uppers[start], at_start=column == start)
    return {column: texts[column] for column in sorted(texts) if texts[column]}


def _alike(one: str, other: str) -> bool:
    return re.sub(r"\d+", "", one) == re.sub(r"\d+", "", other)


def _joined(view: View, row: int, column: int, upper: str, *, at_start: bool) -> str:
    value = view.at(row, column)
    if isinstance(value, float) and value.is_integer():
        value = f"{value:.0f}"
    if value is None:
        return upper if at_start else ""
    if not isinstance(value, str) or is_ours(value):
        return ""
    return value.strip() if is_group(upper) else f"{upper} {value.strip()}"


def _understood(view: View, heads: Headings, column: int, corrected: Corrected) -> Heading:
    text = heads.texts[column]
    row = heads.row if view.at(heads.row, column) is not None else heads.row - 1
    return heading_at(view, row, column, text, corrected)


def heading_at(view: View, row: int, column: int, text: str, corrected: Corrected) -> Heading:
    """A heading with what it means, or else what to ask."""
    found = meant(text, corrected)
    cell = view.cell(row, column)
    if found:
        taken = _measured_or_worded(found)
        other = next((one for one in found if taken.sheet == RUNS and one.sheet == READINGS), None)
        return Heading(cell, text, taken, other)
    return Heading(cell, text, None, nearest(text), "what is this?")


def _measured_or_worded(found: Sequence[Meaning]) -> Meaning:
    """The ring's measure and its word share a name: the one with a unit is the measure."""
    rings = {one.key: one for one in found}
    if "ring_mm" in rings and "ring" in rings:
        return rings["ring_mm"] if rings["ring_mm"].unit is not None else rings["ring"]
    return found[0]


def _settled(heading: Heading, by_cylinder: bool, only: int | None) -> Heading:
    """In a list with a row for each cylinder what may be of the cylinder is; elsewhere it must name one, but a plug."""
    meaning, other = heading.meaning, heading.proposal
    if meaning is None or meaning.sheet == UNUSED:
        return heading
    if by_cylinder:
        if other is not None and other.sheet == READINGS:
            return Heading(heading.cell, heading.written, other)
        return Heading(heading.cell, heading.written, meaning)
    if meaning.sheet == READINGS and meaning.cylinder is None and meaning.key == "notes":
        return replace(heading, meaning=replace(meaning, sheet=RUNS), proposal=None)
    if meaning.sheet == READINGS and meaning.cylinder is None and meaning.key != "plug":
        if only is not None:
            return Heading(heading.cell, heading.written, replace(meaning, cylinder=only))
        return Heading(heading.cell, heading.written, None, None, WHICH_CYLINDER)
    return Heading(heading.cell, heading.written, meaning)


def _units_in(view: View, row: int, headings: Mapping[int, Heading]) -> dict[int, Heading] | None:
    """The headings with the units of a row that holds nothing else, or None."""
    cells = {column: view.at(row, column) for column in headings}
    filled = {column: value for column, value in cells.items() if value is not None}
    if not filled or not all(
        isinstance(value, str) and unit_key(value.strip("()[]")) in all_units() for value in filled.values()
    ):
        return None
    settled = dict(headings)
    for column, value in filled.items():
        settled[column] = with_unit(headings[column], as_text(value))
    return settled


def with_unit(heading: Heading, written: str) -> Heading:
    """The heading with a unit that stands in a cell of its own."""
    meaning = heading.meaning
    column = meaning.column if meaning is not None else None
    if meaning is None or column is None or column.quantity is None:
        return heading
    unit = column.quantity.unit(written.strip("()[] "))
    if unit is None or meaning.unit is not None:
        return heading
    key = "ring_mm" if meaning.key == "ring" else meaning.key
    return Heading(heading.cell, heading.written, Meaning(meaning.sheet, key, meaning.cylinder, unit, meaning.sure))


@cache
def all_units() -> frozenset[str]:
    """Every way to write a unit."""
    return frozenset(
        like for quantity in layout().quantities.values() for unit in quantity.units.values() for like in unit.likes
    ) - {""}


def _contents(view: View, first: int, column: int, heading: Heading) -> Heading:
    """A heading that only resembles a known one is taken for it where every cell under it is a word of its list.

    Sentences under 'Plugs' are no names of plugs but notes on them, and numbers under 'Pull' number the runs.
    """
    near, meaning = heading.proposal, heading.meaning
    if meaning is not None and meaning.key == "pull" and _is_numbered(_written(view, first, column)):
        return replace(heading, meaning=Meaning(RUNS, "name", sure="likely"), proposal=None)
    if meaning is not None and meaning.key == "plug" and _is_prose(_written(view, first, column)):
        sheet = RUNS if meaning.cylinder is None and meaning.sheet == READINGS else meaning.sheet
        return replace(heading, meaning=Meaning(sheet, "notes", meaning.cylinder, sure="likely"), proposal=None)
    known = near.column if near is not None else None
    if heading.meaning is not None or near is None or known is None or known.kind != "word":
        return heading
    values = [view.at(row, column) for row in range(first, view.last_row + 1)]
    written = [value for value in values if value is not None and not is_ditto(value)]
    words = layout().lists[known.list]
    if not written or not all(isinstance(value, str) and words.find(value) for value in written):
        return heading
    return Heading(heading.cell, heading.written, near)


def _written(view: View, first: int, column: int) -> list[CellValue]:
    return [value for row in range(first, view.last_row + 1) if (value := view.at(row, column)) is not None]


def _is_numbered(written: Sequence[CellValue]) -> bool:
    return bool(written) and all(isinstance(value, float) for value in written)


def _is_prose(written: Sequence[CellValue]) -> bool:
    """True where most cells hold several words."""
    wordy = [value for value in written if isinstance(value, str) and len(value.split()) >= PROSE_WORDS]
    return len(wordy) * 2 > len(written)


def _frame(view: View, heads: Headings) -> Frame:
    taken, own, last = [], set(), 0
    for column in range(1, view.last_column + 1):
        value = view.at(heads.row, column)
        if is_ours(value):
            taken.append((as_text(value), column))
            continue
        if isinstance(value, str):
            own.add(value.strip().casefold())
        if column in heads.texts:
            last = column
    used = max((column for column in range(1, view.last_column + 1) if _holds(view, column)), default=last)
    return Frame(view.block.name, heads.row, tuple(taken), max(used, last) + 1, last, view.turned, frozenset(own))


def _holds(view: View, column: int) -> bool:
    return any(view.at(row, column) is not None for row in range(1, view.last_row + 1))


def _records(view: View, first: int, headings: Mapping[int, Heading], frame: Frame) -> Iterator[Record]:
    known = {column: one for column, one in headings.items() if one.meaning and one.meaning.sheet in (RUNS, READINGS)}
    number = next((column for column, one in known.items() if one.meaning and one.meaning.key == "cylinder"), None)
    name = next((column for column, one in known.items() if one.meaning and one.meaning.key == "name"), None)
    label = next(iter(sorted(headings)), 1)
    for row in range(first, view.last_row + 1):
        filled = {column: view.at(row, column) for column in known}
        if all(value is None for value in filled.values()) or _is_summary(view, row, label, name):
            continue
        record = Record()
        cylinder = _cylinder(filled.get(number)) if number is not None else None
        for column, heading in known.items():
            _put(record, heading, Value(filled[column], view.cell(row, column), heading), cylinder)
        if number is not None and cylinder is None:
            _note_unnumbered(record, view, row, number, filled, known)
        record.line = Line(frame, row, cylinder)
        yield record


def _note_unnumbered(
    record: Record,
    view: View,
    row: int,
    number: int,
    filled: Mapping[int, CellValue],
    known: Mapping[int, Heading],
) -> None:
    """Note in the record that its line says something of a cylinder but not of which."""
    of_cylinders = (column for column, one in known.items() if one.meaning and one.meaning.sheet == READINGS)
    if any(filled[column] is not None for column in of_cylinders):
        cell = view.cell(row, number)
        shown = as_text(filled[number])
        what = f"'{shortened(shown)}' is not a number of a cylinder" if shown else "this row has no cylinder"
        record.unread.append(LogbookError(f"{what}; write a whole number such as 3", cell.sheet, cell.ref))
    record.run.pop("cylinder", None)


def _put(record: Record, heading: Heading, value: Value, cylinder: int | None) -> None:
    meaning = heading.meaning
    assert meaning is not None
    number = meaning.cylinder if meaning.cylinder is not None else cylinder
    if meaning.sheet == READINGS and meaning.key not in ("plug", "cylinder") and number is None:
        return
    if meaning.sheet == READINGS and number is not None:
        put(record.cylinders.setdefault(number, {}), meaning.key, value)
    elif meaning.sheet == READINGS and meaning.key == "cylinder":
        record.run.setdefault("cylinder", value)
    else:
        put(record.run, meaning.key, value)


def _cylinder(value: CellValue) -> int | None:
    if isinstance(value, float) and value.is_integer() and value >= 1:
        return int(value)
    named = cylinder_named(value)
    measure = parse_measure(value) if isinstance(value, str) else None
    return named or (int(measure[0]) if measure is not None and not measure[1] and measure[0] >= 1 else None)


def _is_summary(view: View, row: int, label: int, name: int | None) -> bool:
    """True where the row begins with such a word, and no run is named in it."""
    held = (view.at(row, column) for column in range(1, view.last_column + 1))
    firsts = (view.at(row, label), next((value for value in held if value is not None), None))
    named = None if name is None else view.at(row, name)
    return any(map(_says_summary, firsts)) and (named is None or _says_summary(named))


def _says_summary(value: CellValue) -> bool:
    return isinstance(value, str) and _SUMMARY.match(value) is not None


@lru_cache(maxsize=REMEMBERED)
def run_named(value: CellValue) -> str | None:
    """The name in 'Run 17' or 'Pass #3'."""
    match = _RUN_NAMED.fullmatch(value) if isinstance(value, str) else None
    return match[1] if match and re.search(r"\d", match[1]) else None
