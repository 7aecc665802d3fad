"""One workbook file from reading to filled: what the command line and the batch do alike."""

from __future__ import annotations

import io
import json
import os
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from openpyxl.workbook import Workbook

from engine_rules.advice import Advice
from engine_rules.logbook import LogbookError
from workbook_template.build import BlankOptions, build_blank
from workbook_template.fill import NEXT_RUN, WHY, plan_cars, sheet_for
from workbook_template.hosts.blocks import block_of_rows
from workbook_template.hosts.file import FileHost
from workbook_template.hosts.protocol import Changes, NotInPlace, SheetBlock, SheetOut
from workbook_template.hosts.scratch import scratch_workbook
from workbook_template.hosts.stray_cells import rows_near
from workbook_template.how_read import HOW_READ, NotRecognised
from workbook_template.how_read_sheet import draw_how_read
from workbook_template.package import PackageRefused, open_package, save
from workbook_template.read import ReadBook, read_logbooks
from workbook_template.recognise import is_ordinary
from workbook_template.result_book import result_path, result_sheets

ROOM_BYTES = 2**20


@dataclass(frozen=True, slots=True)
class LogFile:
    """A workbook that was read: its host, its sheets as they stand, and the log of each car in them."""

    host: FileHost
    blocks: tuple[SheetBlock, ...]
    books: tuple[ReadBook, ...]

    @property
    def book(self) -> ReadBook:
        """The log of the first car, or of the only one."""
        return self.books[0]

    def cars(self, car: str | None = None) -> tuple[LogFile, ...]:
        """The same for each car by itself, or for the car of that name. Raises LogbookError for no such car."""
        wanted = [book for book in self.books if car is None or book.car.casefold() == car.strip().casefold()]
        if not wanted:
            known = ", ".join(book.car for book in self.books if book.car) or "one car only, without a name"
            raise LogbookError(f"there is no car {car} in the workbook; it has {known}")
        return tuple(replace(self, books=(book,)) for book in wanted)


@dataclass(frozen=True, slots=True)
class Filled:
    """Where the advice was put: the file, the backup of what it replaced, and the names of the written sheets.

    locked: why it is a workbook of its own and not the racer's; '' where it is the racer's.
    """

    path: Path
    backup: Path | None
    card: str
    why: str
    locked: str = ""


def open_log(path: Path, out: Path | None = None) -> LogFile:
    """Read a workbook. Raises LogbookError for what cannot be used."""
    host = FileHost(path, out)
    blocks = host.read()
    return LogFile(host, blocks, read_logbooks((*blocks, *_answered_elsewhere(host, blocks))))


def _answered_elsewhere(host: FileHost, blocks: Sequence[SheetBlock]) -> Iterator[SheetBlock]:
    """The sheet 'How it was read' of the result made before, where a workbook of the racer's own has none itself.

    So what the racer corrected there is heard, though the workbook itself could not be written to.
    """
    if is_ordinary(blocks) or any(block.name == HOW_READ for block in blocks):
        return
    for path in dict.fromkeys((host.out, result_path(host.out, host.path))):
        if path != host.path and path.is_file():
            with suppress(PackageRefused):  # whatever lies there, it holds no answers
                package = open_package(path)
                if HOW_READ in package.worksheet_names:
                    yield block_of_rows(HOW_READ, rows_near(package, HOW_READ) or ())
                    return


def runs_to_read(log: LogFile) -> Sequence[str]:
    """The names of all runs with readings that could be read, oldest first. Raises LogbookError where there is none."""
    names = [run.name for run in log.book.logbook.runs if run.readings and not log.book.unread.get(run.name)]
    if not names:
        raise LogbookError("there is no reading in the log yet; fill in a row of it for each plug", _readings(log))
    return names


def advise_each(log: LogFile, names: Iterable[str]) -> Iterator[Advice]:
    """The advice for each of these runs, in turn."""
    from engine_rules.session import advise_each as reason_each

    return reason_each(log.book.logbook, names)


def fill_in(log: LogFile, advices: Sequence[Advice]) -> Filled:
    """Write the first car's advice into the workbook, as `fill_cars` does."""
    return fill_cars(log, [(log.book, advices)])


def fill_cars(log: LogFile, advised: Sequence[tuple[ReadBook, Sequence[Advice]]]) -> Filled:
    """Write the advice of these cars into the workbook; names are those of the first car's sheets.

    A workbook that cannot take it stays as it is, and the advice goes into one of its own. Raises LogbookError where
    nothing can be saved.
    """
    card, why = (sheet_for(name, advised[0][0].car) for name in (NEXT_RUN, WHY))
    try:
        log.host.apply(plan_cars(advised))
    except NotInPlace as locked:
        path, backup = write_result(log, result_sheets(advised))
        return Filled(path, backup, card, why, str(locked))
    names = log.host.sheet_names
    return Filled(log.host.out, log.host.backup, names.get(card, card), names.get(why, why))


def write_result(log: LogFile, sheets: Sequence[SheetOut]) -> tuple[Path, Path | None]:
    """Write sheets as a workbook of their own, in place of one that cannot be changed; where, and the backup.

    Raises LogbookError where it cannot be saved.
    """
    path = result_path(log.host.out, log.host.path)
    try:
        content = packed(scratch_workbook(sheets))
        if path.exists() and _but_for_time(path.read_bytes()) == _but_for_time(content):
            return path, None
        return path, save(path, content)
    except PackageRefused as refused:
        raise LogbookError(refused.reason) from refused
    except OSError as error:
        raise LogbookError(f"{path} cannot be read ({error.strerror}); choose another place with -o") from error


def _but_for_time(content: bytes) -> Mapping[str, int] | None:
    """Each member's check sum but that of the properties, which tell when the workbook was made; None for no zip."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return {one.filename: one.CRC for one in archive.infolist() if one.filename != "docProps/core.xml"}
    except zipfile.BadZipFile:
        return None


def ask_first(path: Path, out: Path | None, not_read: NotRecognised) -> LogbookError:
    """Add the sheet 'How it was read' alone, so that the racer can say what the headings mean; the error to raise.

    Where nothing in the workbook looked like a heading of a log there is nothing to say, and it is left as it is.
    """
    if not not_read.how_read.headings:
        return not_read
    host = FileHost(path, out)
    host.read()
    try:
        host.apply(Changes(sheets=(draw_how_read([not_read.how_read]),)))
    except NotInPlace:
        return not_read
    return LogbookError(
        f"{not_read}; the sheet {HOW_READ} of {host.out.name} now lists what was found: correct it there"
    )


def make_blank(path: Path, options: BlankOptions) -> None:
    """Write a blank workbook. Raises LogbookError where a file of that name is there already."""
    if path.suffix.lower() != ".xlsx":
        raise LogbookError(f"{path} would not end in .xlsx; give the new workbook such a name")
    if os.path.lexists(path):
        raise LogbookError(f"{path} is there already and is not overwritten; choose another name, or move it away")
    if not path.parent.is_dir():
        raise LogbookError(f"there is no folder {path.parent}; make it first, or choose another")
    write_whole(path, packed(build_blank(options)))


def packed(book: Workbook) -> bytes:
    """A workbook made here as the bytes of its file. Raises LogbookError where the disk has no room for the work."""
    content = io.BytesIO()
    try:
        # The sheets are first written to temporary files, and a full disk in the midst of that ends in noise.
        with tempfile.TemporaryFile() as trial:
            trial.write(bytes(ROOM_BYTES))
        book.save(content)
    except OSError as error:
        raise LogbookError(f"there is no room for temporary files ({error.strerror}); make room on the disk") from error
    return content.getvalue()


def json_bytes(data: Any) -> bytes:
    """Plain data as JSON text in UTF-8."""
    return (json.dumps(data, ensure_ascii=False, allow_nan=False, indent=2) + "\n").encode()


def write_json(path: Path, data: Any) -> None:
    """Write plain data to a file as JSON, whole or not at all."""
    write_whole(path, json_bytes(data))


def write_whole(path: Path, content: bytes) -> None:
    """Write a file of our own, whole or not at all. Raises LogbookError where the disk does not take it."""
    fresh = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        try:
            fresh.write_bytes(content)
            os.replace(fresh, path)
        finally:
            fresh.unlink(missing_ok=True)
    except OSError as error:
        raise LogbookError(
            f"{path} could not be written ({error.strerror}); make room on the disk, or choose another place"
        ) from error


def _readings(log: LogFile) -> str:
    return log.book.sheet_names["readings"]
