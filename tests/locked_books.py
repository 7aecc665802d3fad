"""Workbooks with a log that may not be changed in place, each made so by a script."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

import openpyxl

CORPUS = Path(__file__).parents[2] / "shared" / "corpus" / "workbooks"
SIGNED, SHARED = CORPUS / "poi_hello-world-signed.xlsx", CORPUS / "sdk_SharedWorkbook.xlsx"
CONTENT_TYPES, ROOT_RELS, BOOK_RELS = "[Content_Types].xml", "_rels/.rels", "xl/_rels/workbook.xml.rels"


def lock_structure(log: Path) -> None:
    book = openpyxl.load_workbook(log)
    book.security.lockStructure = True
    book.save(log)


def protect_sheets(log: Path) -> None:
    book = openpyxl.load_workbook(log)
    for page in book:
        page.protection.sheet = True
    book.save(log)


def fill_to_the_last_columns(log: Path) -> None:
    """A note of the racer's far to the right, in the row of the headings, leaves no room beside the log."""
    book = openpyxl.load_workbook(log)
    page = book.worksheets[0]
    page.cell(1, 16_380, "Tyre bill")
    page.cell(2, 16_380, 410)
    book.save(log)


def sign(log: Path) -> None:
    """The signature parts of a signed workbook go in; the signature fits no more, but it is one all the same."""
    _graft(log, SIGNED, "_xmlsignatures/", {ROOT_RELS: 'digital-signature/origin"'}, ("_xmlsignatures", '"sigs"'))


def share(log: Path) -> None:
    """The record of revisions of a shared workbook goes in."""
    _graft(log, SHARED, "xl/revisions/", {BOOK_RELS: "/revisionHeaders"}, ("/xl/revisions/",))


def _graft(log: Path, source: Path, folder: str, links: Mapping[str, str], types: tuple[str, ...]) -> None:
    """Parts of that folder, with the relationships and the content types that name them, from another package."""
    with zipfile.ZipFile(source) as archive:
        theirs = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(log) as archive:
        ours = {name: archive.read(name) for name in archive.namelist()}
    ours |= {name: content for name, content in theirs.items() if name.startswith(folder)}
    for part, word in links.items():
        ours[part] = _with(ours[part], theirs[part], (word,), b"</Relationships>")
    ours[CONTENT_TYPES] = _with(ours[CONTENT_TYPES], theirs[CONTENT_TYPES], types, b"</Types>")
    with zipfile.ZipFile(log, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in ours.items():
            archive.writestr(name, content)


def _with(ours: bytes, theirs: bytes, words: tuple[str, ...], end: bytes) -> bytes:
    elements = [b"<" + one for one in theirs.split(b"<")]
    wanted = [one.strip() for one in elements if any(word.encode() in one for word in words)]
    assert wanted
    fresh = [one.replace(b'Id="rId', b'Id="rIdGrafted') for one in wanted]
    return ours.replace(end, b"".join(fresh) + end)


LOCKS: Mapping[str, tuple[Callable[[Path], None], str]] = {
    "locked structure": (lock_structure, "the workbook's structure is locked"),
    "protected sheets": (protect_sheets, "the sheet is protected and this cell is locked"),
    "signed": (sign, "the workbook is digitally signed"),
    "shared": (share, "the workbook is shared with tracked revisions"),
}
