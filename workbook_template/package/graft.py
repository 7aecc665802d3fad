"""Bring sheets of a scratch workbook into a book, with their looks, charts, tables, notes, links and names."""

from __future__ import annotations

import copy
import io
import posixpath
import re
from collections.abc import Mapping

from lxml import etree
from openpyxl import Workbook

from workbook_template.package import chart_parts, content_types, formulas, markup, relationships
from workbook_template.package.container import read_members
from workbook_template.package.draft import Draft
from workbook_template.package.errors import EditRefused
from workbook_template.package.styles import Styles, transplanted
from workbook_template.package.workbook_part import WorkbookPart

_FORMULA_HOLDERS = ("f", "formula", "formula1", "formula2")
_DIFFERENTIALS = (
    "dxfId", "dataDxfId", "headerRowDxfId", "totalsRowDxfId", "headerRowBorderDxfId", "tableBorderDxfId",
    "totalsRowBorderDxfId",
)  # fmt: skip
_BAD_IN_NAMES = re.compile(r"[\[\]:*?/\\]")


class Scratch:
    """A scratch workbook as a package, its sheets ready to be brought over under their final names."""

    def __init__(self, workbook: Workbook, renamed: Mapping[str, str]) -> None:
        saved = io.BytesIO()
        workbook.save(saved)
        self.draft = Draft(read_members(saved.getvalue()))
        self.book = WorkbookPart(self.draft)
        self.renamed = {wanted.lower(): final for wanted, final in renamed.items()}
        styles = self.book.related_part("styles")
        assert styles is not None
        self.styles = self.draft.root(styles)
        strings = self.book.related_part("sharedStrings")
        self.strings = list(self.draft.root(strings)) if strings else []

    def check(self, wanted: str) -> None:
        """Raise EditRefused where the scratch workbook cannot give this sheet."""
        sheet = self.book.sheet(wanted)
        if sheet is None or sheet.kind != "worksheet":
            raise EditRefused(wanted, "", "the new sheet was not made; this is a fault of the program")
        if not wanted or _BAD_IN_NAMES.search(wanted) or wanted.startswith("'") or wanted.endswith("'"):
            raise EditRefused(wanted, "", "a sheet may not be called so; choose a name without [ ] : * ? / \\ '")


def bring(book: WorkbookPart, styles: Styles, scratch: Scratch, wanted: str) -> None:
    """Add one sheet last in the book, or in the place of the released one of its final name."""
    sheet = scratch.book.sheet(wanted)
    assert sheet is not None
    final = scratch.renamed[wanted.lower()]
    root = copy.deepcopy(scratch.draft.root(sheet.part))
    _fit_sheet(root, styles, scratch)
    inside = _locations(root, scratch, sheet.part)
    part = book.draft.free_name("xl/worksheets/sheet", "xml")
    book.draft.put(part, _in_dialect(root, book.strict))
    content_types.set_type(book.draft, part, content_types.WORKSHEET)
    _bring_relationships(book, styles, scratch, sheet.part, part, {}, inside)
    position = book.add_sheet(final, part)
    _bring_names(book, scratch, wanted, position)


_LOOKS = {"c": "s", "row": "s", "col": "style"}


def _fit_sheet(root: etree._Element, styles: Styles, scratch: Scratch) -> None:
    """Let the sheet's XML speak of the looks, strings and sheet names of the book it goes to."""
    brought: dict[str, str] = {}  # a few looks serve thousands of cells
    for element in root.iter():
        name = markup.local(element)
        looks = _LOOKS.get(name)
        given = element.get(looks) if looks else None
        if looks and given is not None:
            if given not in brought:
                brought[given] = str(styles.bring_look(scratch.styles, int(given)))
            element.set(looks, brought[given])
        if name == "cfRule":
            _fit_differentials(element, styles, scratch)
        if name in _FORMULA_HOLDERS and element.text:
            element.text = formulas.rename_sheets(element.text, scratch.renamed)
        if name == "sheetView":
            markup.drop_attributes(element, "tabSelected")
        if name == "sheetPr":
            markup.drop_attributes(element, "codeName")
    for cell in root.iter(markup.own(root, "c")):
        _inline(cell, scratch)


def _inline(cell: etree._Element, scratch: Scratch) -> None:
    value = cell.find(markup.own(cell, "v"))
    if value is not None and not value.text:
        cell.remove(value)
    elif value is not None and cell.get("t") == "s":
        string = transplanted(scratch.strings[int(value.text or "0")], cell)
        string.tag = markup.own(cell, "is")
        cell.replace(value, string)
        cell.set("t", "inlineStr")


def _fit_differentials(element: etree._Element, styles: Styles, scratch: Scratch) -> None:
    for name in _DIFFERENTIALS:
        given = element.get(name)
        if given is not None:
            element.set(name, str(styles.bring_differential(scratch.styles, int(given))))


def _locations(root: etree._Element, scratch: Scratch, part: str) -> set[str]:
    """Turn links into the book ("#Sheet!A1" as an outside target) into locations; their relationships."""
    inside = set()
    for element in root.iter(markup.own(root, "hyperlink")):
        found = relationships.by_id(scratch.draft, part, element.get(markup.related(root)))
        if found is not None and found.target.startswith("#"):
            inside.add(found.id)
            del element.attrib[markup.related(root)]
            element.set("location", found.target[1:])
        location = element.get("location")
        if location:
            element.set("location", formulas.rename_sheets(location, scratch.renamed))
    return inside


def _bring_relationships(
    book: WorkbookPart, styles: Styles, scratch: Scratch, source: str, target: str,
    brought: dict[str, str], without: set[str],
) -> None:  # fmt: skip
    """Copy the parts below `source`, and its relationships under the same ids."""
    if not scratch.draft.has(relationships.rels_part(source)):
        return
    root = copy.deepcopy(scratch.draft.root(relationships.rels_part(source)))
    for element, found in zip(list(root), relationships.read(scratch.draft, source), strict=True):
        if found.id in without:
            root.remove(element)
        elif not found.external:
            if found.part not in brought:
                brought[found.part] = _bring_part(book, styles, scratch, found.part, brought)
            element.set("Target", posixpath.relpath(brought[found.part], posixpath.dirname(target)))
        if book.strict:
            element.set("Type", element.get("Type", "").replace(markup.RELATED, markup.STRICT_RELATED))
    if len(root):
        book.draft.put_root(relationships.rels_part(target), root)


def _bring_part(book: WorkbookPart, styles: Styles, scratch: Scratch, source: str, brought: dict[str, str]) -> str:
    stem, extension = posixpath.splitext(source)
    target = book.draft.free_name(stem.rstrip("0123456789"), extension.lstrip("."))
    kind = content_types.type_of(scratch.draft, source)
    if kind.endswith("+xml"):
        root = copy.deepcopy(scratch.draft.root(source))
        if markup.local(root) == "table":
            _fit_table(book, root, styles, scratch)
        if markup.local(root) == "chartSpace":
            chart_parts.fit(root, scratch.renamed)
        book.draft.put(target, _in_dialect(root, book.strict))
    else:
        book.draft.put(target, scratch.draft.content(source))
    if not content_types.declared(scratch.draft, source):
        content_types.set_default(book.draft, extension.lstrip("."), kind)
    content_types.set_type(book.draft, target, kind)
    _bring_relationships(book, styles, scratch, source, target, brought, set())
    return target


def _fit_table(book: WorkbookPart, root: etree._Element, styles: Styles, scratch: Scratch) -> None:
    """Give the table an id and a name that no other table or defined name of the book has."""
    identifiers = {0}
    names = {defined.get("name", "").lower() for defined in book.defined_names()}
    for part in book.draft.names():
        if content_types.type_of(book.draft, part).endswith("spreadsheetml.table+xml"):
            other = book.draft.root(part)
            identifiers.add(markup.number(other, "id"))
            names |= {other.get("displayName", "").lower(), other.get("name", "").lower()}
    root.set("id", str(min(set(range(1, len(identifiers) + 2)) - identifiers)))
    wanted = name = root.get("displayName", "")
    number = 1
    while name.lower() in names:
        number += 1
        name = f"{wanted}_{number}"
    root.set("displayName", name)
    root.set("name", name)
    for element in root.iter():
        _fit_differentials(element, styles, scratch)


def _bring_names(book: WorkbookPart, scratch: Scratch, wanted: str, position: int) -> None:
    """Bring the names local to the sheet (print area, print titles), and the book's names that lead to it."""
    titles = [sheet.name for sheet in scratch.book.sheets()]
    for defined in scratch.book.defined_names():
        name, text, scope = defined.get("name", ""), defined.text or "", defined.get("localSheetId")
        renamed = formulas.rename_sheets(text, scratch.renamed)
        if scope is not None and titles[int(scope)] == wanted:
            hidden = defined.get("hidden") == "1"
            book.set_name(name, renamed, local_to=position, hidden=hidden)
        elif scope is None and formulas.rename_sheets(text, {wanted.lower(): "?"}) != text:
            existing = next((d for d in book.defined_names() if d.get("name", "").lower() == name.lower()), None)
            if existing is not None and existing.text != renamed:
                raise EditRefused(wanted, "", f"the book already uses the name '{name}' otherwise; rename it")
            book.set_name(name, renamed)


def _in_dialect(root: etree._Element, strict: bool) -> bytes:
    content = markup.new(root).to_bytes()
    return markup.to_strict(content) if strict else content
