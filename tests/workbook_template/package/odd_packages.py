"""One small log packed, named, encoded and written in every way that is allowed, or in ways that are not."""

from __future__ import annotations

import io
import re
import struct
import zipfile
from collections.abc import Callable, Mapping

from xlsxwriter import Workbook
from xlsxwriter.worksheet import Worksheet

from .samples import log, made, parts, replaced, zipped

SHEET, BOOK, STRINGS, LIST = (
    "xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/sharedStrings.xml", "xl/_rels/workbook.xml.rels",
)  # fmt: skip
PLAIN = made(log)
_STRICT = {
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main": "http://purl.oclc.org/ooxml/spreadsheetml/main",
    "http://schemas.openxmlformats.org/officeDocument/2006/relationships": (
        "http://purl.oclc.org/ooxml/officeDocument/relationships"
    ),
}
_MC = "http://schemas.openxmlformats.org/markup-compatibility/2006"
_AC = "http://schemas.microsoft.com/office/spreadsheetml/2009/9/ac"
_BOMB = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'


def changed(part: str, change: Callable[[str], str | bytes], data: bytes = PLAIN) -> bytes:
    """The package with one part's text changed; bytes stand as they are given."""
    contents = parts(data)
    new = change(contents[part].decode())
    assert new != contents[part].decode()
    contents[part] = new if isinstance(new, bytes) else new.encode()
    return zipped(contents)


def _everywhere(change: Callable[[str], str]) -> bytes:
    return zipped({name: change(content.decode()).encode() for name, content in parts(PLAIN).items()})


def _strict(text: str) -> str:
    for old, new in _STRICT.items():
        text = text.replace(old, new)
    return text


def _prefixed(text: str) -> str:
    if "/spreadsheetml/2006/main" not in text:
        return text
    return re.sub(r"<(/?)([A-Za-z])", r"<\1x:\2", text).replace("xmlns=", "xmlns:x=", 1)


def _renamed(new: str, target: str = "") -> bytes:
    """The sheet's part under another name, led to as `target`."""
    led_to = (target or new).removeprefix("xl/")
    contents = {new if name == SHEET else name: content for name, content in parts(PLAIN).items()}
    contents[LIST] = contents[LIST].replace(b"worksheets/sheet1.xml", led_to.encode())
    listed = contents["[Content_Types].xml"]
    contents["[Content_Types].xml"] = listed.replace(SHEET.encode(), (target or new).encode())
    return zipped(contents)


class _Unseekable(io.RawIOBase):
    """A stream as a pipe is: the sizes of members then follow their data."""

    def __init__(self) -> None:
        self.held = io.BytesIO()

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        return self.held.write(data)  # type: ignore[arg-type]


def _streamed() -> bytes:
    stream = _Unseekable()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts(PLAIN).items():
            archive.writestr(name, content)
    return stream.held.getvalue()


def _packed(method: int, *, large: bool = False) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, content in parts(PLAIN).items():
            with archive.open(zipfile.ZipInfo(name), "w", force_zip64=large) as member:
                member.write(content)
    return stream.getvalue()


def _out_of_order(sheet: str) -> str:
    return re.sub(
        r"(<row [^>]*>)(.*?)</row>",
        lambda row: row[1] + "".join(reversed(re.findall(r"<c .*?(?:/>|</c>)", row[2]))) + "</row>",
        sheet,
    )


def _inline() -> bytes:
    contents = parts(PLAIN)
    texts = re.findall(r"<t>(.*?)</t>", contents[STRINGS].decode())
    return changed(
        SHEET,
        lambda sheet: re.sub(
            r'<c r="(\w+)" t="s"><v>(\d+)</v></c>',
            lambda cell: f'<c r="{cell[1]}" t="inlineStr"><is><t>{texts[int(cell[2])]}</t></is></c>',
            sheet,
        ),
    )


def _utf16(text: str) -> bytes:
    return text.replace('encoding="UTF-8"', 'encoding="UTF-16"').encode("utf-16")


def _compatible(sheet: str) -> str:
    sheet = sheet.replace("<worksheet ", f'<worksheet xmlns:mc="{_MC}" xmlns:x14ac="{_AC}" mc:Ignorable="x14ac" ', 1)
    choice = '<mc:AlternateContent><mc:Choice Requires="x14ac"><x14ac:x/></mc:Choice></mc:AlternateContent>'
    return sheet.replace("<row ", '<row x14ac:dyDescent="0.25" ').replace("</worksheet>", f"{choice}</worksheet>")


def _named(name: str) -> bytes:
    return replaced(PLAIN, BOOK, 'name="Log"', f'name="{name}"')


def _with_chart_sheet(book: Workbook, sheet: Worksheet) -> None:
    log(book, sheet)
    chart = book.add_chart({"type": "line"})
    chart.add_series({"values": "=Log!$C$2:$C$5"})
    book.add_chartsheet("Picture").set_chart(chart)


# The same log in each: read as the plain one is, edited, and given back.
SOUND: Mapping[str, bytes] = {
    "strict": _everywhere(_strict),
    "prefixes": _everywhere(_prefixed),
    "absolute targets": changed(LIST, lambda text: text.replace('Target="', 'Target="/xl/')),
    "targets that go up and down": changed(LIST, lambda text: text.replace('"worksheets', '"../xl/worksheets')),
    "a name with an escaped space": _renamed("xl/worksheets/my%20log.xml"),
    "a space, escaped where it is led to": _renamed("xl/worksheets/my log.xml", "xl/worksheets/my%20log.xml"),
    "a name outside ASCII": _renamed("xl/worksheets/größe.xml"),
    "a folder of another name": _renamed("xl/blätter/1.xml"),
    "sizes behind the data": _streamed(),
    "zip64": _packed(zipfile.ZIP_DEFLATED, large=True),
    "stored": _packed(zipfile.ZIP_STORED),
    "a comment at the end": PLAIN[:-2] + struct.pack("<H", 5) + b"hello",
    "something before the zip": b"PK\x00 something" + PLAIN,
    "members named to climb out": zipped(parts(PLAIN) | {"../../climbed.txt": b"x", "/etc/climbed": b"x"}),
    "folders as members": zipped({"xl/": b"", **parts(PLAIN)}),
    "byte-order mark": changed(SHEET, lambda text: b"\xef\xbb\xbf" + text.encode()),
    "sheet in UTF-16": changed(SHEET, _utf16),
    "texts in UTF-16": changed(STRINGS, _utf16),
    "book in UTF-16": changed(BOOK, _utf16),
    "latin 1": changed(SHEET, lambda text: text.replace("UTF-8", "ISO-8859-1").encode("latin-1")),
    "no declaration": changed(SHEET, lambda text: text.split("?>", 1)[1].lstrip()),
    "comments and instructions": replaced(PLAIN, SHEET, "<sheetData>", "<!-- a --><?b c?><sheetData>"),
    "no places": changed(SHEET, lambda text: re.sub(r'(<(?:c|row)\b[^>]*?) r="[^"]*"', r"\1", text)),
    "cells out of order": changed(SHEET, _out_of_order),
    "inline texts": _inline(),
    "rich text": replaced(PLAIN, STRINGS, "<t>Run</t>", "<r><rPr><b/></rPr><t>Ru</t></r><r><t>n</t></r>"),
    "phonetic guides": replaced(PLAIN, STRINGS, "</t></si>", '</t><rPh sb="0" eb="1"><t>ラ</t></rPh></si>'),
    "compatibility": changed(SHEET, _compatible),
    "a bomb of entities among the texts": replaced(PLAIN, STRINGS, "<sst", f"{_BOMB}<sst"),
    "styles that are not there": replaced(PLAIN, SHEET, 'r="A2"', 'r="A2" s="77"'),
    "apostrophe in the name": _named("it's"),
    "brackets in the name": _named("a]b[c"),
    "markup in the name": _named("A&amp;B &lt;1&gt;"),
    "a formula for a name": _named("=1+1"),
    "a name of 31 letters": _named("x" * 31),
    "hidden": replaced(made(log), BOOK, 'name="Log"', 'name="Log" state="veryHidden"'),
    "a sheet that is a chart": made(_with_chart_sheet),
    "1904": made(log, date_1904=True),
}  # fmt: skip
# Not opened, or opened and not changed, each for the reason given.
UNSOUND: Mapping[str, tuple[bytes, str]] = {
    "cut off": (PLAIN[: len(PLAIN) * 2 // 3], "damaged or cut-off"),
    "a bomb": (zipped(parts(PLAIN) | {"xl/media/a.bin": b"\0" * (20 * 2**20)}), "swells more than 200 times"),
    "a bomb of entities": (replaced(PLAIN, SHEET, "<worksheet", f"{_BOMB}<worksheet"), "document type"),
    "nested too deep": (
        replaced(PLAIN, SHEET, "</worksheet>", "<a>" * 3000 + "</a>" * 3000 + "</worksheet>"),
        "not readable XML",
    ),
    "rows out of order": (replaced(PLAIN, SHEET, '<row r="2"', '<row r="9"'), "out of order"),
    "no worksheet": (replaced(PLAIN, LIST, "/worksheet", "/macrosheet"), "no (such )?worksheet|such sheet"),
}  # fmt: skip
