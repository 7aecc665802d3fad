"""The log of a blank workbook in the form style: a printed page for each run, to write on at the track with a pen.

Labels stand small above their cells. The cylinders are drawn as seen from above, the front of the engine on top.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.page import PageMargins
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from workbook_template.build_engine import StarterEngine
from workbook_template.build_sheet import HOUSE_FONT, number_format, offer_words
from workbook_template.build_wide import cylinder_columns
from workbook_template.layout import Column, layout

COPIES = 6
UNITS = 48  # the page is that many columns wide
PER_PLANNED = 2  # of them to a unit of the layout's lines
MM_PT = 72 / 25.4
# What A4 and Letter both print between margins of 10 mm: 190 x 259 mm. A program may draw rows a little higher.
PAGE_MM = 253.0
TITLE_MM, LABEL_MM, BANK_MM, GAP_MM, WORDS_MM = 8.5, 3.2, 4.5, 0.8, 4.2
LEAST_MM, MOST_MM = 8.2, 11.5  # of a row to write in
LEAST_WIDE_MM = 6.7  # where the fields are as wide as a single row of cylinders leaves them: a narrow ruled line
COLUMN_CHARACTERS = 2.025
NUMBER_UNITS = 4  # of the box with a cylinder's number
TICK_UNITS = 4
NUMBER_FIELD_UNITS, NOTES_UNITS = 3, 6
SHORT_LABEL = 8  # letters that a label over a number has room for

_LINE = Side("thin", color="404040")
_HEAVY = Side("medium", color="000000")
_BOX = Border(left=_LINE, right=_LINE, bottom=_LINE)
_OVER = Border(left=_LINE, right=_LINE, top=_LINE)
_TICK = Border(left=_HEAVY, right=_HEAVY, top=_HEAVY, bottom=_HEAVY)
_FRONT_FILL = PatternFill("solid", fgColor="404040")
_LABEL_FILL = PatternFill("solid", fgColor="ECEAE5")
_TITLE = Font(name=HOUSE_FONT, bold=True, size=16)
_LABEL = Font(name=HOUSE_FONT, size=7)
_VALUE = Font(name=HOUSE_FONT, bold=True, size=11)
_NUMBER = Font(name=HOUSE_FONT, bold=True, size=13)
_BANK = Font(name=HOUSE_FONT, bold=True, size=9)
_FRONT = Font(name=HOUSE_FONT, bold=True, size=9, color="FFFFFF")
_SMALL = Font(name=HOUSE_FONT, size=7)
_SMALL_BOLD = InlineFont(rFont=HOUSE_FONT, b=True, sz=7)
_SMALL_PLAIN = InlineFont(rFont=HOUSE_FONT, sz=7)
_WORDS_IN_LABEL = ("pull", "pressure_kind")
_WORDS_AT_FOOT = (("ring", "shell_ring"), ("specks", "strap_mark"), ("porcelain",))

Line = Sequence[tuple[Column, int]]  # each field with its width


def write_forms(book: Workbook, engine: StarterEngine, name: str) -> None:
    """The sheets 'Run 1', 'Run 2' ...; name: of the engine."""
    for number in range(1, COPIES + 1):
        page: Worksheet = book.create_sheet(f"{layout().sheets['form'].name} {number}")
        _Form(page, engine).draw(number, name)


@dataclass(slots=True)
class _Form:
    """One page while it is drawn from top to bottom; row: the next free one."""

    page: Worksheet
    engine: StarterEngine
    row: int = 1
    write_pt: float = 0.0

    def draw(self, number: int, name: str) -> None:
        for column in range(1, UNITS + 1):
            self.page.column_dimensions[get_column_letter(column)].width = COLUMN_CHARACTERS
        lines = list(_run_lines(self.engine))
        banks = _banks(self.engine)
        count = max(map(len, banks))
        deep = _rows_each(len(banks), count, len(lines))
        self.write_pt = _write_mm(len(banks), count, deep, len(lines)) * MM_PT
        self._title(name)
        for line in lines:
            self._line(line, 1, {"name": number})
        self._gap()
        self._cylinders(banks, deep)
        self._foot()
        _set_up(self.page, self.row - 1)

    def _height(self, mm: float) -> None:
        self.page.row_dimensions[self.row].height = round(mm * MM_PT * 4) / 4

    def _text(self, value: str | CellRichText, first: int, units: int, font: Font, align: str = "left") -> None:
        cell = self.page.cell(self.row, first, value)
        cell.font, cell.alignment = font, Alignment(align, "center", wrap_text=True)
        self._merge(self.row, first, units)

    def _merge(self, row: int, first: int, units: int, rows: int = 1) -> None:
        if units > 1 or rows > 1:
            self.page.merge_cells(
                start_row=row, end_row=row + rows - 1, start_column=first, end_column=first + units - 1
            )

    def _gap(self) -> None:
        self._height(GAP_MM)
        self.row += 1

    def _title(self, name: str) -> None:
        sheet = layout().sheets["form"]
        self._text(f"{sheet.title}{': ' if name else ''}{name}", 1, UNITS // 2, _TITLE)
        self._text(sheet.hint, UNITS // 2 + 1, UNITS // 2, _SMALL, "right")
        self._height(TITLE_MM)
        self.row += 1

    def _line(self, line: Line, first: int, values: Mapping[str, str | int]) -> None:
        """A row of labels with the row of their cells below."""
        for column, units in line:
            self._field(column, first, units, values.get(column.key))
            first += units
        self._height(LABEL_MM)
        self.row += 1
        self.page.row_dimensions[self.row].height = round(self.write_pt * 4) / 4
        self.row += 1

    def _field(self, column: Column, first: int, units: int, value: str | int | None) -> None:
        label = self.page.cell(self.row, first, _label(column, self.engine.units))
        label.font, label.alignment = _LABEL, Alignment("left", "center", shrink_to_fit=True)
        self._merge(self.row, first, units)
        tick = column.kind == "yes_no"
        wide = min(TICK_UNITS, units) if tick else units
        cell = self.page.cell(self.row + 1, first, value)
        cell.font = _VALUE
        cell.number_format = number_format(column, column.house_unit(self.engine.units))
        cell.alignment = Alignment("left" if column.kind == "text" else "center", "center", wrap_text=True)
        self._merge(self.row + 1, first, wide)
        offer_words(self.page, column, cell.coordinate)
        for at in range(first, first + units):
            self.page.cell(self.row, at).fill = _LABEL_FILL
            self.page.cell(self.row, at).border = _edges(_OVER, at == first, at == first + units - 1)
        for at in range(first, first + units):
            self.page.cell(self.row + 1, at).border = _edges(_BOX, at == first, at == first + units - 1)
        for at in range(first, first + wide if tick else first):
            self.page.cell(self.row + 1, at).border = _edges(_TICK, at == first, at == first + wide - 1)

    def _cylinders(self, banks: Sequence[Sequence[int]], deep: int) -> None:
        across = UNITS // len(banks)
        self._text("▲   FRONT OF THE ENGINE, SEEN FROM ABOVE   ▲", 1, UNITS, _FRONT, "center")
        self.page.cell(self.row, 1).fill = _FRONT_FILL
        self._height(BANK_MM)
        self.row += 1
        if len(banks) == 2:
            self._text("LEFT BANK", 1, across, _BANK)
            self._text("RIGHT BANK", across + 1, across, _BANK)
            self._height(BANK_MM)
            self.row += 1
        lines = list(_cylinder_lines(self.engine, across - NUMBER_UNITS, deep))
        for at in range(max(map(len, banks))):
            top = self.row
            for side, bank in enumerate(banks):
                if at < len(bank):
                    self.row = top
                    self._cylinder(bank[at], 1 + side * across, lines)
            self.row = top + 2 * deep
            self._gap()

    def _cylinder(self, number: int, first: int, lines: Sequence[Line]) -> None:
        self._text(f"Cyl {number}", first, 1, _NUMBER, "center")
        rows = 2 * len(lines)
        self._merge(self.row, first, NUMBER_UNITS, rows)
        for row in range(self.row, self.row + rows):
            for at in range(first, first + NUMBER_UNITS):
                top, bottom = row == self.row, row == self.row + rows - 1
                self.page.cell(row, at).border = Border(
                    left=_HEAVY if at == first else None,
                    right=_LINE if at > first else None,
                    top=_HEAVY if top else None,
                    bottom=_LINE if bottom else None,
                )
        for line in lines:
            self._line(line, first + NUMBER_UNITS, {})

    def _foot(self) -> None:
        """The words of the drop-downs in small print."""
        columns = {column.key: column for column in cylinder_columns(self.engine)}
        for keys in _WORDS_AT_FOOT:
            across = UNITS // len(keys)
            for side, key in enumerate(keys):
                listed = ", ".join(layout().lists[columns[key].list].words)
                title = TextBlock(_SMALL_BOLD, f"{columns[key].heading}: ")
                self._text(CellRichText(title, TextBlock(_SMALL_PLAIN, listed)), 1 + side * across, across, _SMALL)
            self._height(WORDS_MM)
            self.row += 1


def _label(column: Column, units: str) -> str:
    if column.key not in _WORDS_IN_LABEL:
        return column.headed(units)
    return f"{column.headed(units)} ({' / '.join(layout().lists[column.list].words)})"


def _edges(border: Border, first: bool, last: bool) -> Border:
    return Border(
        left=border.left if first else None, right=border.right if last else None, top=border.top, bottom=border.bottom
    )


def _run_lines(engine: StarterEngine) -> Iterator[Line]:
    """The fields of the run, line by line, each line as wide as the page."""
    known = {column.key: column for column in engine.columns(layout().sheets["runs"])}
    jets = [key for key in known if key.startswith("jets.")]
    for planned in layout().styles.form_lines:
        line: list[tuple[Column, int]] = []
        for key, units in ((key, PER_PLANNED * units) for key, units in planned.items()):
            for one in jets if key.startswith("jets.") else [key] if key in known else []:
                if sum(wide for _, wide in line) + units > UNITS:
                    yield _stretched(line)
                    line = []
                line.append((known[one], units))
        if line:
            yield _stretched(line)


def _stretched(line: Line) -> Line:
    """The line with what is left of the page's width shared among its fields, the last ones first."""
    left = UNITS - sum(units for _, units in line)
    each, more = divmod(left, len(line))
    plain = len(line) - more
    return [(column, units + each + (at >= plain)) for at, (column, units) in enumerate(line)]


def _cylinder_lines(engine: StarterEngine, units: int, deep: int) -> Iterator[Line]:
    """The fields of a cylinder on so many lines, the later lines with more of them; the last field is the widest."""
    columns = list(cylinder_columns(engine))
    if deep == 1:
        yield _by_need(columns, units)
        return
    start = 0
    for at in range(deep):
        count = (len(columns) - start) // (deep - at)
        each, more = divmod(units, count)
        widths = [each] * (count - 1) + [each + more]
        yield list(zip(columns[start : start + count], widths, strict=True))
        start += count


def _by_need(columns: Sequence[Column], units: int) -> Line:
    """All fields side by side: numbers narrow, so that there is room to write the words."""
    narrow = {
        column.key: NUMBER_FIELD_UNITS + (len(column.heading) > SHORT_LABEL)
        for column in columns
        if column.kind in ("number", "label")
    }
    each, more = divmod(units - sum(narrow.values()) - NOTES_UNITS, len(columns) - len(narrow) - 1)
    widths = [narrow.get(column.key, each) for column in columns[:-1]]
    return list(zip(columns, [*widths, NOTES_UNITS + more], strict=True))


def _banks(engine: StarterEngine) -> Sequence[Sequence[int]]:
    """The numbers of each bank from the front, the left one first; of a single row alone."""
    sides = sorted({bank for bank, _ in engine.places.values()})
    return [
        sorted((n for n, (bank, _) in engine.places.items() if bank == side), key=lambda n: engine.places[n][1])
        for side in sides
    ]


def _rows_each(banks: int, count: int, run_lines: int) -> int:
    """How many lines each cylinder gets: as many as leave room for a pen, so that few fields stand side by side."""
    most, least_mm = (3, LEAST_MM) if banks == 2 else (2, LEAST_WIDE_MM)
    return next((deep for deep in range(most, 1, -1) if _write_mm(banks, count, deep, run_lines) >= least_mm), 1)


def _write_mm(banks: int, count: int, deep: int, run_lines: int) -> float:
    """The height of a row to write in that fills the page, within limits. count, deep: cylinders, lines of each."""
    fixed = TITLE_MM + banks * BANK_MM + GAP_MM * (count + 1) + WORDS_MM * len(_WORDS_AT_FOOT)
    return min((PAGE_MM - fixed) / (count * deep + run_lines) - LABEL_MM, MOST_MM)


def _set_up(page: Worksheet, last_row: int) -> None:
    page.sheet_view.showGridLines = False
    page.page_setup.orientation = "portrait"
    page.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    page.page_setup.fitToWidth = page.page_setup.fitToHeight = 1
    page.page_margins = PageMargins(left=0.4, right=0.4, top=0.4, bottom=0.4, header=0.15, footer=0.15)
    page.print_options.horizontalCentered = True
    page.print_area = f"A1:{get_column_letter(UNITS)}{last_row}"
    footer = page.oddFooter
    assert footer is not None
    footer.left.text, footer.right.text = "&8&F", "&8&A"
