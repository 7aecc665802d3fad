"""The running Excel: its settings while work goes on, when it cannot answer, and what xlwings has no word for.

Where xlwings has none, the native names are asked: those of Windows, or those of a Mac, which differ.
"""

from __future__ import annotations

import sys
from collections.abc import Collection, Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import Any

from engine_rules.logbook import LogbookError

MAC = sys.platform == "darwin"
# Rejected by the callee; in the middle of editing a cell; try again later; a Mac's Excel did not answer in time.
BUSY_CODES = frozenset((-2147418111, -2146777998, -2147417846, -1712))
BUSY = "Excel is in the middle of something, such as a cell being edited; press Enter or Esc there, and try again"
TRIES = 2000  # xlwings tries for ever without a limit, so that nothing would be said while a cell is edited
_NO_LINE, _SINGLE_LINE = -4142, 2  # xlUnderlineStyleNone, xlUnderlineStyleSingle
_ON_A_CELL = 0  # msoHyperlinkRange; others are on shapes
_MEANWHILE = (
    ("screen_updating", False),
    ("enable_events", False),
    ("display_alerts", False),
    ("calculation", "manual"),
)
_NO_OWN_IDEAS = ("AutoFillFormulasInLists", "AutoExpandListRange")


def is_busy(error: Exception) -> bool:
    """Whether Excel did not answer because it is in the middle of something."""
    codes = {getattr(error, name, None) for name in ("hresult", "errornumber")}
    codes |= set((getattr(error, "excepinfo", None) or (None,))[-1:])
    return type(error).__name__ == "ExcelBusyError" or bool(codes & BUSY_CODES)


def in_a_sentence(error: Exception, doing: str, sheet: str = "", ref: str = "") -> LogbookError:
    """What went wrong between us and Excel. doing: what it did not do, such as 'take what was to be written'."""
    if isinstance(error, LogbookError):
        return error
    if is_busy(error):
        return LogbookError(BUSY)
    excepinfo: Any = getattr(error, "excepinfo", None) or ()
    told = str(excepinfo[2] or error) if len(excepinfo) > 2 else str(error)
    told = " ".join(told.split()).rstrip(".")[:160] or type(error).__name__
    return LogbookError(f"Excel did not {doing} ({told})", sheet, ref)


def limit_tries() -> None:
    """Let a call that Excel rejects fail in the end; on Windows alone it would be tried for ever."""
    if sys.platform == "win32":
        from xlwings import _xlwindows

        _xlwindows.N_COM_ATTEMPTS = TRIES


@contextmanager
def saying(app: Any, text: str) -> Iterator[None]:
    """Meanwhile the text stands in the status bar."""
    with ExitStack() as stack:
        _set_for_now(stack, app, "status_bar", text)
        yield


@contextmanager
def held(app: Any) -> Iterator[None]:
    """Excel neither draws, nor recalculates, nor runs macros meanwhile; all is put back, whatever happens."""
    with ExitStack() as stack:
        for name, value in _MEANWHILE:
            _set_for_now(stack, app, name, value)
        for name in () if MAC else _NO_OWN_IDEAS:
            with suppress(Exception):  # an Excel without it has no such ideas
                _set_for_now(stack, app.api.AutoCorrect, name, False)
        yield


def _set_for_now(stack: ExitStack, holder: Any, name: str, value: object) -> None:
    before = getattr(holder, name)
    if before != value:
        stack.callback(_put_back, holder, name, before)
        setattr(holder, name, value)


def _put_back(holder: Any, name: str, value: object) -> None:
    for _ in range(3):
        with suppress(Exception):  # one that stays wrong must not keep the others from being put back
            setattr(holder, name, value)
            return


def _told(native: Any, windows: str, mac: str, otherwise: object) -> Any:
    """A native property; what stands for it where this Excel has none. Raises what says that Excel is busy."""
    try:
        return getattr(native, mac).get() if MAC else getattr(native, windows)
    except Exception as error:
        if is_busy(error):
            raise
        return otherwise


def _tell(native: Any, windows: str, mac: str, value: object) -> None:
    if MAC:
        getattr(native, mac).set(value)
    else:
        setattr(native, windows, value)


def structure_is_protected(book: Any) -> bool:
    """Whether no sheet can be added to the workbook or taken out."""
    return bool(_told(book.api, "ProtectStructure", "protect_structure", False))


def is_protected(sheet: Any) -> bool:
    """Whether the sheet's cells are protected."""
    return bool(_told(sheet.api, "ProtectContents", "protect_contents", False))


def is_spilled(cells: Any) -> bool:
    """Whether a formula elsewhere spills into a cell of the range, or is one that spills."""
    return _told(cells.api, "HasSpill", "has_spill", False) is not False


def locked(cell: Any) -> Any:
    """Whether the cell is locked once its sheet is protected."""
    return bool(_told(cell.api, "Locked", "locked", True))


def set_locked(cells: Any, value: Any) -> None:
    """Say whether the cells are locked once their sheet is protected."""
    _tell(cells.api, "Locked", "locked", value)


def underlined(cell: Any) -> Any:
    """Whether the cell's text is underlined; on a Mac never, for its word for that is not known here."""
    return not MAC and _told(cell.api.Font, "Underline", "", _NO_LINE) != _NO_LINE


def set_underlined(cells: Any, value: Any) -> None:
    """Underline the text of cells, or not."""
    if not MAC:
        cells.api.Font.Underline = _SINGLE_LINE if value else _NO_LINE


def hide_name(name: Any) -> None:
    """Keep a defined name out of the user's lists, where this Excel lets us."""
    with suppress(Exception):
        _tell(name.api, "Visible", "visible", False)


def links_of(sheet: Any) -> dict[tuple[int, int], str]:
    """(row, column) -> the place in the workbook that a cell is linked to, as "'Next run'!A5"; formulas aside."""
    if MAC:
        return {}  # its words for them are not known here
    links = sheet.api.Hyperlinks
    found = {}
    for at in range(1, int(links.Count) + 1):
        link = links.Item(at)
        if int(link.Type) == _ON_A_CELL:
            found[int(link.Range.Row), int(link.Range.Column)] = str(link.SubAddress or "")
    return {place: target for place, target in found.items() if target}


def take_off_links(cells: Any, known: Collection[object]) -> None:
    """Take links off cells, formulas aside; their looks stay. known: such links as `links_of` found there."""
    if MAC:
        with suppress(Exception):  # not known beforehand, so perhaps there is none
            cells.api.clear_hyperlinks()
    elif known:
        cells.api.ClearHyperlinks()


def link_again(cell: Any, target: str) -> None:
    """Link a cell to a place in the workbook as it was linked before."""
    if not MAC:
        cell.sheet.api.Hyperlinks.Add(Anchor=cell.api, Address="", SubAddress=target)
