"""Notes of cells: the comments part and the drawing that shows them.

The drawing (VML) is often no well-formed XML, so shapes are put in and taken out as text, the rest untouched.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from xml.sax.saxutils import quoteattr

from lxml import etree

from workbook_template.package import cell_values, content_types, markup, relationships
from workbook_template.package.draft import Draft
from workbook_template.package.errors import EditRefused
from workbook_template.package.grid import cell_name
from workbook_template.package.sheet_part import SheetPart

_ORDER = ("authors", "commentList", "extLst")
_SHAPE = re.compile(r"<(?P<prefix>\w+:)?shape\b[^>]*>.*?</(?P=prefix)shape>|<shape\b[^>]*>.*?</shape>", re.DOTALL)
_NUMBER = re.compile(r"_x0000_s(\d+)")
_BLOCK = re.compile(r"idmap\b[^>]*?\bdata=[\"'](\d+)")
_NAMESPACES = (
    'xmlns:v="urn:schemas-microsoft-com:vml" xmlns:o="urn:schemas-microsoft-com:office:office" '
    'xmlns:x="urn:schemas-microsoft-com:office:excel"'
)
_EMPTY_DRAWING = (
    f'<xml {_NAMESPACES}><o:shapelayout v:ext="edit"><o:idmap v:ext="edit" data="{{block}}"/></o:shapelayout></xml>'
)
_SHAPE_TYPE = (
    f'<v:shapetype {_NAMESPACES} id="_x0000_t202" coordsize="21600,21600" o:spt="202" '
    'path="m,l,21600r21600,l21600,xe"><v:stroke joinstyle="miter"/>'
    '<v:path gradientshapeok="t" o:connecttype="rect"/></v:shapetype>'
)
_NOTE_SHAPE = (
    f'<v:shape {_NAMESPACES} id="_x0000_s{{number}}" type="#_x0000_t202" '
    'style="position:absolute;margin-left:60pt;margin-top:1.5pt;width:160pt;height:80pt;z-index:1;'
    'visibility:hidden" fillcolor="#ffffe1" o:insetmode="auto"><v:fill color2="#ffffe1"/>'
    '<v:shadow on="t" color="black" obscured="t"/><v:path o:connecttype="none"/>'
    '<v:textbox style="mso-direction-alt:auto"><div style="text-align:left"></div></v:textbox>'
    '<x:ClientData ObjectType="Note"><x:MoveWithCells/><x:SizeWithCells/>'
    "<x:Anchor>{left}, 15, {top}, 2, {right}, 15, {bottom}, 4</x:Anchor><x:AutoFill>False</x:AutoFill>"
    "<x:Row>{row}</x:Row><x:Column>{column}</x:Column></x:ClientData></v:shape>"
)
_SHAPES_PER_BLOCK = 1024


class Notes:
    """The notes of one sheet; `flush` writes their drawing once all are set.

    Ours are those that we signed; some programs drop the signatures, so one without any is ours on a cell of ours.
    """

    def __init__(self, sheet: SheetPart, signed: str, owns: Callable[[int, int], bool]) -> None:
        self._sheet = sheet
        self._owns = owns
        self._signed = signed
        self._part = _comments_part(sheet)
        self._of_cell: dict[str, etree._Element] = {}
        if self._part is not None:
            root = sheet.draft.root(self._part)
            for element in root.iterfind(f"{markup.own(root, 'commentList')}/{markup.own(root, 'comment')}"):
                self._of_cell[element.get("ref", "").replace("$", "")] = element
        self._added: list[tuple[int, int]] = []

    def ours(self, row: int, column: int) -> bool:
        author = self._author(row, column)
        return author == self._signed or (author == "" and self._owns(row, column))

    def theirs(self, row: int, column: int) -> bool:
        return self._author(row, column) is not None and not self.ours(row, column)

    def unsigned(self, row: int, column: int) -> bool:
        return self._author(row, column) == ""

    def _author(self, row: int, column: int) -> str | None:
        element = self._of_cell.get(cell_name(row, column))
        if element is None or self._part is None:
            return None
        root = self._sheet.draft.root(self._part)
        names = root.findall(f"{markup.own(root, 'authors')}/*")
        index = markup.number(element, "authorId")
        return (names[index].text or "").strip() if index < len(names) else ""

    def set(self, row: int, column: int, text: str) -> None:
        """Give the cell a note, or the note another text."""
        if self._part is None:
            self._part = _made_comments_part(self._sheet)
        root = self._sheet.draft.root(self._part)
        name = cell_name(row, column)
        element = self._of_cell.get(name)
        if element is None:
            listed = markup.child_in_order(root, "commentList", _ORDER)
            element = etree.SubElement(listed, markup.own(listed, "comment"))
            element.set("ref", name)
            element.set("authorId", str(_author_index(root, self._signed)))
            self._of_cell[name] = element
            self._added.append((row, column))
        for child in list(element):
            element.remove(child)
        cell_values.put_text(etree.SubElement(element, markup.own(root, "text")), text)

    def remove(self, row: int, column: int) -> None:
        """Take the note of a cell away, with its shape, if it is ours."""
        element = self._of_cell.pop(cell_name(row, column)) if self.ours(row, column) else None
        parent = element.getparent() if element is not None else None
        if element is None or parent is None:
            return
        parent.remove(element)
        self.flush()
        drawing = _drawing_part(self._sheet)
        if drawing is not None:
            text = _drawing_text(self._sheet, drawing)
            kept = _SHAPE.sub(lambda shape: "" if _shows(shape.group(), row, column) else shape.group(), text)
            self._sheet.draft.put(drawing, kept.encode("utf-8", "surrogateescape"))

    def flush(self) -> None:
        """Put the shapes of new notes into the sheet's drawing."""
        if self._added:
            _add_shapes(self._sheet, self._added)
            self._added = []


def shapes(drawing: bytes, without: set[tuple[int, int]]) -> list[str]:
    """The shapes of a drawing, except the notes of those cells (row, column)."""
    found = (shape.group() for shape in _SHAPE.finditer(drawing.decode("utf-8", "surrogateescape")))
    return [shape for shape in found if not any(_shows(shape, *place) for place in without)]


def _comments_part(sheet: SheetPart) -> str | None:
    parts = relationships.of_kind(sheet.draft, sheet.part, "comments")
    return parts[0].part if parts and sheet.draft.has(parts[0].part) else None


def _made_comments_part(sheet: SheetPart) -> str:
    part = sheet.draft.free_name("xl/comments", "xml")
    dialect = markup.namespace(sheet.root)
    root = markup.new_root(dialect, "comments")
    etree.SubElement(root, markup.own(root, "authors"))
    etree.SubElement(root, markup.own(root, "commentList"))
    sheet.draft.put_root(part, root)
    strict = markup.is_strict(sheet.root)
    relationships.add(sheet.draft, sheet.part, "comments", part, strict=strict)
    content_types.set_type(sheet.draft, part, content_types.COMMENTS)
    return part


def _author_index(root: etree._Element, signed: str) -> int:
    authors = markup.child_in_order(root, "authors", _ORDER)
    for index, element in enumerate(authors):
        if element.text == signed:
            return index
    etree.SubElement(authors, markup.own(root, "author")).text = signed
    return len(authors) - 1


def _drawing_part(sheet: SheetPart) -> str | None:
    element = sheet.child("legacyDrawing")
    if element is None:
        return None
    found = relationships.by_id(sheet.draft, sheet.part, element.get(markup.related(sheet.root)))
    return found.part if found and sheet.draft.has(found.part) else None


def _made_drawing_part(sheet: SheetPart) -> str:
    part = sheet.draft.free_name("xl/drawings/vmlDrawing", "vml")
    block = _free_block(sheet.draft)
    sheet.draft.put(part, _EMPTY_DRAWING.format(block=block).encode())
    strict = markup.is_strict(sheet.root)
    identifier = relationships.add(sheet.draft, sheet.part, "vmlDrawing", part, strict=strict)
    content_types.set_default(sheet.draft, "vml", content_types.VML)
    content_types.set_type(sheet.draft, part, content_types.VML)
    sheet.child_made("legacyDrawing").set(markup.related(sheet.root), identifier)
    return part


def _drawing_text(sheet: SheetPart, part: str) -> str:
    content = sheet.draft.content(part)
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise EditRefused(sheet.name, "", "its notes are kept in a way that cannot be added to; leave notes out")
    return content.decode("utf-8", "surrogateescape")


def _add_shapes(sheet: SheetPart, places: list[tuple[int, int]]) -> None:
    part = _drawing_part(sheet) or _made_drawing_part(sheet)
    text = _drawing_text(sheet, part)
    end = text.rfind("</xml")
    if end < 0:
        raise EditRefused(sheet.name, "", "the drawing that holds its notes is damaged; leave notes out")
    block = _BLOCK.search(text)
    first = int(block[1]) * _SHAPES_PER_BLOCK if block else _SHAPES_PER_BLOCK
    last = max([first, *(int(found) for found in _NUMBER.findall(text))])
    pieces = [] if re.search(r"shapetype\b[^>]*\bid=[\"']_x0000_t202[\"']", text) else [_SHAPE_TYPE]
    for number, (row, column) in enumerate(places, start=last + 1):
        top = max(row - 2, 0)
        pieces.append(_NOTE_SHAPE.format(
            number=number, row=row - 1, column=column - 1, left=column, right=column + 3, top=top, bottom=top + 5
        ))  # fmt: skip
    sheet.draft.put(part, (text[:end] + "".join(pieces) + text[end:]).encode("utf-8", "surrogateescape"))


def _free_block(draft: Draft) -> int:
    taken = {0}
    for name in draft.names():
        if name.lower().endswith(".vml"):
            taken |= {int(block) for block in _BLOCK.findall(draft.content(name).decode("utf-8", "replace"))}
    return max(taken) + 1


def _shows(shape: str, row: int, column: int) -> bool:
    wanted = (("Row", row - 1), ("Column", column - 1))
    return f"ObjectType={quoteattr('Note')}" in shape and all(
        re.search(rf"<(\w+:)?{name}>\s*{number}\s*</", shape) for name, number in wanted
    )
