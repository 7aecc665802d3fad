"""A workbook file as a host: read in bulk, edited part by part, replaced in one step."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from lxml.etree import SerialisationError

from engine_rules.logbook import LogbookError
from workbook_template.hosts.blocks import blocks_from_file
from workbook_template.hosts.protocol import CellOut, Changes, NotInPlace, SheetBlock, SheetOut, Style
from workbook_template.hosts.scratch import scratch_workbook
from workbook_template.package import (
    CellEdit,
    CellStyle,
    EditRefused,
    Edits,
    Package,
    PackageRefused,
    markup,
    open_package,
    save,
    strip,
)
from workbook_template.package.draft import Draft
from workbook_template.package.grid import parse_area
from workbook_template.package.workbook_part import WorkbookPart

# A cell as XML, its text aside.
BYTES_PER_CELL = 60


class FileHost:
    """An .xlsx or .xlsm file. With `out` the result goes there, and the file itself stays as it is.

    What is replaced is first kept beside it as NAME.backup-1.EXT, NAME.backup-2.EXT and so on: no backup is ever
    overwritten, none is made where an equal one is there or nothing changes. A failed save leaves the file as it was.
    `sheet_names`: the name asked for, of each sheet that was brought in -> the name that it got.
    """

    def __init__(self, path: Path | str, out: Path | str | None = None) -> None:
        self.path = Path(path)
        self.out = self.path if out is None else Path(out)
        self.backup: Path | None = None
        self._read_state: str | None = None
        self._opened_last: tuple[str, Package] | None = None
        self.sheet_names: Mapping[str, str] = {}

    def read(self) -> tuple[SheetBlock, ...]:
        """Every sheet's used range, in the order of the book. Raises LogbookError for a file that cannot be used."""
        data = self._content()
        self._opened(data)
        self._read_state = _state(data)
        return blocks_from_file(self.path)

    def apply(self, changes: Changes) -> None:
        """Make the changes and save, all or nothing; `backup` then names the backup made, if any.

        Raises NotInPlace where the workbook cannot take the changes, LogbookError where it was saved by someone else
        since it was read, or cannot be replaced.
        """

        def changed(data: bytes) -> bytes:
            _try_room(changes.sheets)
            package = self._opened(data)
            self.sheet_names = {sheet.name: package.final_name(sheet.name) for sheet in changes.sheets}
            return package.apply(edits_of(changes, package))

        self._replace(changed)

    def clear(self) -> Package:
        """Take out all that `apply` ever put in, and save; returns the package as it was. Raises as `apply` does."""
        package = self._opened(self._content())
        self._replace(lambda data: strip(package) if package.owned else data)
        return package

    def _replace(self, made: Callable[[bytes], bytes]) -> None:
        data = self._content()
        if self._read_state not in (None, _state(data)):
            raise LogbookError(f"{self.path.name} was changed while it was being worked on; run this again")
        try:
            result = made(data)
        except EditRefused as refused:
            raise NotInPlace(refused.reason, refused.sheet, refused.cell) from refused
        except PackageRefused as refused:
            raise NotInPlace(refused.reason) from refused
        except (OSError, SerialisationError) as error:
            raise self._not_saved(error) from error
        try:
            self.backup = save(self.out, result)
        except PackageRefused as refused:
            raise LogbookError(refused.reason) from refused
        except OSError as error:
            raise self._not_saved(error) from error
        if self.out == self.path:
            self._read_state = _state(result)

    def _not_saved(self, error: Exception) -> LogbookError:
        return LogbookError(f"{self.out.name} could not be saved ({error}); it is as it was: make room on the disk")

    def _content(self) -> bytes:
        try:
            return self.path.read_bytes()
        except OSError as error:
            raise LogbookError(
                f"{self.path.name} cannot be read ({error.strerror}); check the name and the folder"
            ) from error

    def _opened(self, data: bytes) -> Package:
        state = _state(data)
        if self._opened_last is None or self._opened_last[0] != state:
            try:
                self._opened_last = state, open_package(data)
            except PackageRefused as refused:
                raise LogbookError(f"{self.path.name}: {refused.reason}") from refused
        return self._opened_last[1]


def edits_of(changes: Changes, package: Package) -> Edits:
    """The changes as the package editor takes them."""
    wanted = {sheet: dict(places) for sheet, places in changes.cells.items()}
    for sheet, places in changes.if_linked.items():
        linked = linked_cells(package, sheet) - wanted.get(sheet, {}).keys()
        wanted.setdefault(sheet, {}).update({place: places[place] for place in linked & places.keys()})
    cells = tuple(
        _edit(sheet, row, column, cell)
        for sheet, places in sorted(wanted.items())
        for (row, column), cell in sorted(places.items())
    )
    return Edits(
        cells=cells,
        scratch=scratch_workbook(changes.sheets) if changes.sheets else None,
        sheets=tuple(sheet.name for sheet in changes.sheets),
        remove_sheets=changes.removed,
    )


def linked_cells(package: Package, name: str) -> set[tuple[int, int]]:
    """(row, column) of each single cell of a sheet that holds a link, be it a formula's, as Excel's button writes."""
    draft = Draft(package.members)
    sheet = WorkbookPart(draft).sheet(name)
    if sheet is None:
        return set()
    root = draft.root(sheet.part)
    links = root.iterfind(f"{markup.own(root, 'hyperlinks')}/{markup.own(root, 'hyperlink')}")
    formulas = (one for one in root.iter(markup.own(root, "f")) if (one.text or "").startswith('HYPERLINK("#'))
    cells = (one.getparent() for one in formulas)
    refs = [*(link.get("ref", "") for link in links), *(cell.get("r", "") for cell in cells if cell is not None)]
    areas = [parse_area(ref) for ref in refs]
    return {(area.first_row, area.first_column) for area in areas if area is not None and area.one_cell}


def _try_room(sheets: Iterable[SheetOut]) -> None:
    """Raise OSError unless the folder of temporary files has room for the sheets, which are first written there.

    Found out beforehand, since the library that writes them cannot stop half way without noise.
    """
    room = 0
    for sheet in sheets:
        places = [*sheet.cells, *((bottom, right) for _, _, bottom, right in sheet.merges)]
        area = max(row for row, _ in places) * max(column for _, column in places) if places else 0
        room += area * BYTES_PER_CELL + sum(len(str(cell.value)) for cell in sheet.cells.values())
    with tempfile.TemporaryFile() as trial:
        trial.write(bytes(room))


def _edit(sheet: str, row: int, column: int, cell: CellOut) -> CellEdit:
    style = cell.style
    return CellEdit(
        sheet=sheet,
        row=row,
        column=column,
        value=cell.value,
        style=_look(style),
        link=None if cell.link is None else f"#{cell.link}",
        note=cell.note,
        number_format=(style.number_format or None) if style is not None else None,
        like=cell.like,
    )


def _look(style: Style | None) -> CellStyle | None:
    """The part of a style that the editor sets; None where it asks for no more than a number format."""
    if style is None:
        return None
    look = CellStyle(
        bold=style.bold,
        italic=style.italic,
        underline=style.underline,
        color=style.color,
        fill=style.fill,
        wrap=style.wrap,
        horizontal=style.align or None,
    )
    return None if look == CellStyle() else look


def _state(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
