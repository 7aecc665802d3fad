"""The sheet 'How it was read': every heading with its meaning, every question, cells for the racer's corrections."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from workbook_template.headings import READINGS, RUNS, column_of, in_plain_words, plain_choices
from workbook_template.hosts.protocol import CellOut, SheetOut, Style
from workbook_template.how_read import (
    ENGINE_HEADS,
    HEADS,
    HOW_READ,
    QUESTION,
    YOUR_MEANING,
    YOUR_UNIT,
    Corrections,
    EngineLine,
    HeadingLine,
    HowRead,
    heading_key_of,
)
from workbook_template.wording import LINK_COLOR

_TITLE = Style(bold=True, size_pt=14)
_HINT = Style(italic=True, color="555555", wrap=False)
_PART = Style(bold=True, size_pt=12)
_HEAD = Style(bold=True, border="bottom", wrap=True, vertical="bottom")
_TEXT = Style(wrap=True, vertical="top")
_ASKED = Style(wrap=True, vertical="top", bold=True)
_LINK = Style(color=LINK_COLOR, underline=True, vertical="top")
_YOURS = Style(fill="F6F4EE", wrap=True, vertical="top", border="bottom")
_WORDS_AT = 12  # the column of the drop-downs' words, right of what is read
_WIDTHS = {1: 27.0, 2: 27.0, 3: 28.0, 4: 8.0, 5: 11.0, 6: 18.0, 7: 56.0, 8: 28.0, 9: 12.0}
_LETTERS_A_LINE, _LINE_PT = 48, 14.0  # of a question, bold
_HINT_TEXT = (
    "Look this over once. Where something is wrong or asked, choose or write it under Yours, save, and fill again; "
    "what you write there stays."
)
Cells = dict[tuple[int, int], CellOut]


def draw_how_read(all_read: Sequence[HowRead]) -> SheetOut:
    """The sheet for a book; of several cars the headings once, and what was taken for each engine."""
    read = all_read[0]
    cells: Cells = {(1, 1): CellOut(HOW_READ, _TITLE), (2, 1): CellOut(_HINT_TEXT, _HINT)}
    choices: dict[tuple[int, int, int, int], tuple[int, int, int, int]] = {}
    words = _Words(cells)
    row = _draw_shapes(cells, read, 4)
    row = _draw_headings(cells, choices, words, read, row + 1)
    row = _draw_questions(cells, all_read, row + 1)
    lines = [line for one in all_read for line in one.engine]
    row = _draw_engine(cells, choices, words, lines, read.corrections, row + 1) if lines else row
    return SheetOut(
        name=HOW_READ,
        cells=cells,
        column_widths={**_WIDTHS, _WORDS_AT: 28.0},
        row_heights_pt=_heights(cells),
        freeze=(4, 2),
        landscape=True,
        fit_to_pages=(1, 0),
        print_area=(1, 1, row, len(HEADS)),
        choices=choices,
        show_gridlines=True,
    )


def _heights(cells: Cells) -> dict[int, float]:
    """Rows whose question takes more than one line."""
    asked = {row: str(cell.value) for (row, column), cell in cells.items() if column == QUESTION + 1 and cell.value}
    lines = {row: -(-len(text) // _LETTERS_A_LINE) for row, text in asked.items()}
    return {row: 1.0 + _LINE_PT * count for row, count in lines.items() if count > 1}


class _Words:
    """The lists behind the drop-downs, each written once, in columns right of what is read."""

    def __init__(self, cells: Cells) -> None:
        self._cells = cells
        self._areas: dict[tuple[str, ...], tuple[int, int, int, int]] = {}
        cells[3, _WORDS_AT] = CellOut("Words of the drop-downs", _HINT)

    def area(self, words: Sequence[str]) -> tuple[int, int, int, int]:
        """Where these words stand."""
        key = tuple(words)
        if key not in self._areas:
            column = _WORDS_AT + len(self._areas)
            for row, word in enumerate(key, start=4):
                self._cells[row, column] = CellOut(word, _HINT)
            self._areas[key] = (4, column, 3 + len(key), column)
        return self._areas[key]


def _draw_shapes(cells: Cells, read: HowRead, row: int) -> int:
    for name, shape in read.shapes.items():
        cells[row, 1] = CellOut(name, _TEXT)
        cells[row, 2] = CellOut(f"read as {shape}")
        row += 1
    if read.aside:
        cells[row, 1] = CellOut("Left alone", _TEXT)
        cells[row, 2] = CellOut(", ".join(read.aside))
        row += 1
    return row


def _draw_headings(
    cells: Cells,
    choices: dict[tuple[int, int, int, int], tuple[int, int, int, int]],
    words: _Words,
    read: HowRead,
    row: int,
) -> int:
    cells |= {(row, column): CellOut(head, _HEAD) for column, head in enumerate(HEADS, start=1)}
    meanings = words.area(list(plain_choices()))
    for line in [*read.headings, *_lost(read)]:
        row += 1
        key = heading_key_of(line.written)
        chosen = read.corrections.meanings.get(key)
        shown = (line.written, "", line.read_as, line.unit, line.sure, line.example, line.question)
        style = _ASKED if line.question else _TEXT
        cells |= {(row, column): CellOut(text or None, style) for column, text in enumerate(shown, start=1)}
        if line.first is not None:
            more = f" and {line.count - 1} more" if line.count > 1 else ""
            cells[row, 2] = CellOut(f"{line.first}{more}", _LINK, link=f"{line.first.sheet}!{line.first.ref}")
        cells[row, YOUR_MEANING + 1] = CellOut(in_plain_words(*chosen) if chosen else None, _YOURS)
        cells[row, YOUR_UNIT + 1] = CellOut(read.corrections.units.get(key), _YOURS)
        choices[row, YOUR_MEANING + 1, row, YOUR_MEANING + 1] = meanings
        units = _units(line)
        if units:
            choices[row, YOUR_UNIT + 1, row, YOUR_UNIT + 1] = words.area(units)
    return row + 1


def _lost(read: HowRead) -> Iterator[HeadingLine]:
    """What was corrected under headings that the book has no more: kept, in case they come back."""
    there = {heading_key_of(line.written) for line in read.headings}
    for key in dict.fromkeys([*read.corrections.meanings, *read.corrections.units]):
        if key not in there:
            yield HeadingLine(key, None, 0, "", "", "", "", "this heading is not in the book now")


def _units(line: HeadingLine) -> list[str]:
    sheet, key = plain_choices().get(line.read_as, ("", ""))
    column = column_of(sheet, key) if sheet in (RUNS, READINGS) else None
    if column is None or column.quantity is None or column.quantity.us == column.quantity.si:
        return []
    return [unit for unit in column.quantity.units if unit]


def _draw_questions(cells: Cells, all_read: Sequence[HowRead], row: int) -> int:
    questions = {(one.text, one.cell): one for read in all_read for one in read.questions}
    if not questions:
        return row
    cells[row, 1] = CellOut("Asked, and not used until it is clear in the cell itself", _PART)
    for one in questions.values():
        row += 1
        cells[row, 1] = CellOut(one.text)
        if one.cell is not None:
            cells[row, 1] = CellOut(f"{one.cell}: {one.text}", Style(color=LINK_COLOR), link=str(one.cell))
    return row + 1


def _draw_engine(
    cells: Cells,
    choices: dict[tuple[int, int, int, int], tuple[int, int, int, int]],
    words: _Words,
    lines: Sequence[EngineLine],
    corrections: Corrections,
    row: int,
) -> int:
    cells |= {(row, column): CellOut(head or None, _HEAD) for column, head in enumerate(ENGINE_HEADS, start=1)}
    for line in lines:
        row += 1
        answer = corrections.answers.get(line.heading.casefold())
        shown = (line.heading, "", line.taken, "", line.sure, "", "" if answer else line.question)
        style = _TEXT if answer else _ASKED
        cells |= {(row, column): CellOut(text, style) for column, text in enumerate(shown, start=1) if text}
        cells[row, YOUR_MEANING + 1] = CellOut(answer, _YOURS)
        if line.choices:
            choices[row, YOUR_MEANING + 1, row, YOUR_MEANING + 1] = words.area(line.choices)
    return row
