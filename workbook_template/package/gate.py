"""The check before each save: nothing changed but what the edits asked for, or nothing is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, field

from lxml import etree

from workbook_template.package import comments, content_types, markup, relationships
from workbook_template.package.container import Member, part_key
from workbook_template.package.draft import Draft
from workbook_template.package.errors import GateFailed
from workbook_template.package.grid import cell_name
from workbook_template.package.ownership import CELLS_MARK, SHEET_MARK
from workbook_template.package.sheet_stream import SheetStream, cells_of
from workbook_template.package.workbook_part import WorkbookPart

_Shape = tuple[object, ...]
_FREE_ON_SHEETS = ("sheetData", "dimension", "hyperlinks", "legacyDrawing")
_FREE_IN_WORKBOOK = ("sheets", "definedNames", "calcPr", "bookViews")
_ONLY_GROW = ("numFmts", "fonts", "fills", "borders", "cellStyleXfs", "cellXfs", "dxfs")


@dataclass(slots=True)
class Intended:
    """What the edits asked for: cells by sheet name, sheets replaced or taken out, parts that may change."""

    cells: dict[str, set[tuple[int, int]]] = field(default_factory=dict)
    replaced: set[str] = field(default_factory=set)
    removed: set[str] = field(default_factory=set)
    tables: set[str] = field(default_factory=set)
    dropped: set[str] = field(default_factory=set)
    calc_chain: bool = False


def check(before: Draft, after: Draft, intended: Intended) -> None:
    """Raise GateFailed unless `after` is `before` with the intended edits and nothing else."""
    old, new = WorkbookPart(before), WorkbookPart(after)
    _check_workbook(old, new, intended)
    sheets = {part_key(sheet.part): sheet.name for sheet in old.sheets()}
    gone_sheets = {part for part, name in sheets.items() if name in intended.replaced | intended.removed}
    free = _reachable(before, gone_sheets | intended.dropped)
    now = {part_key(member.name): member for member in after.members()}
    for member in before.members():
        key = part_key(member.name)
        if now.get(key) == member or key in free or (_is_chain(old, key) and intended.calc_chain):
            continue
        if key not in now:
            raise GateFailed(f"part '{member.name}' would have been lost")
        if key in sheets:
            _check_sheet(before, after, sheets[key], intended.cells.get(sheets[key], set()), bool(intended.removed))
        elif key != part_key(old.part):
            _check_other(before, after, member, intended, now.keys() - free)
    _check_order(before, after)


def _check_workbook(old: WorkbookPart, new: WorkbookPart, intended: Intended) -> None:
    kept = [_children(root, _FREE_IN_WORKBOOK) for root in (old.root, new.root)]
    _same(kept[0], kept[1], "the workbook's own settings")
    gone = intended.replaced | intended.removed
    staying = [shape for name, shape in _listed(old) if name not in gone]
    listed = [shape for name, shape in _listed(new) if name in dict(_listed(old)) and name not in gone]
    _same(staying, listed, "the list of sheets")
    positions = {name: str(at) for at, (name, _) in enumerate(_listed(new))}
    had = Counter(_names(old, {str(at): name for at, (name, _) in enumerate(_listed(old))}, intended))
    has = Counter(_names(new, {at: name for name, at in positions.items()}, intended))
    if had - has:
        raise GateFailed("a defined name would have been lost or changed")


def _check_sheet(before: Draft, after: Draft, name: str, cells: set[tuple[int, int]], formulas_break: bool) -> None:
    place = f"sheet '{name}'"
    old, new = (_digested(draft, name, cells, formulas_break) for draft in (before, after))
    assert old.rest is not None and new.rest is not None
    for at in sorted(old.cells.keys() | new.cells.keys()):
        _same(old.cells.get(at), new.cells.get(at), f"{place}, cell {cell_name(*at)}")
    for row in sorted(old.rows.keys() | new.rows.keys()):
        _same(old.rows.get(row), new.rows.get(row), f"{place}, row {row}")
    for row, attributes in old.attributes.items():
        _same(attributes, new.attributes.get(row), f"{place}, row {row}")
    _same(sorted(old.rest.attrib.items()), sorted(new.rest.attrib.items()), place)
    _same(_children(old.rest, _FREE_ON_SHEETS), _children(new.rest, _FREE_ON_SHEETS), place)
    names = {cell_name(*at) for at in cells}
    _same(_links(old.rest, names), _links(new.rest, names), f"the links of {place}")


def _check_other(before: Draft, after: Draft, member: Member, intended: Intended, staying: Set[str]) -> None:
    key = part_key(member.name)
    if key == part_key(content_types.PART) or key.endswith(".rels"):
        _check_listing(before, after, member.name, staying)
        return
    if key.endswith(".vml"):
        _check_shapes(before, after, member.name, intended)
        return
    old, root = before.root(member.name), after.root(member.name)
    kind = markup.local(root)
    if kind == "styleSheet":
        _check_styles(old, root)
    elif kind == "table" and key in {part_key(part) for part in intended.tables}:
        free = ("autoFilter", "tableColumns", "sortState")
        _same(_children(old, free), _children(root, free), f"table '{old.get('displayName')}'")
        columns = [[_shape(column) for column in found.iter("{*}tableColumn")] for found in (old, root)]
        kept = min(map(len, columns))
        _same(columns[0][:kept], columns[1][:kept], f"the columns of table '{old.get('displayName')}'")
    elif kind == "comments":
        names = {cell_name(*at) for cells in intended.cells.values() for at in cells}
        _same(_comments(old, names), _comments(root, names), "the notes")
    elif kind != "originals":
        raise GateFailed(f"part '{member.name}' would have been changed")


def _check_shapes(before: Draft, after: Draft, name: str, intended: Intended) -> None:
    places = {at for cells in intended.cells.values() for at in cells}
    had, has = (Counter(comments.shapes(draft.content(name), places)) for draft in (before, after))
    if had - has:
        raise GateFailed(f"a shape of '{name}' would have been lost or changed")


def _check_styles(old: etree._Element, new: etree._Element) -> None:
    for section in old:
        name = markup.local(section)
        if not name:
            continue
        other = new.find(markup.own(new, name))
        had = [_shape(child) for child in section]
        has = [] if other is None else [_shape(child) for child in other]
        _same(had, has[: len(had)] if name in _ONLY_GROW else has, f"the styles ({name})")


def _check_listing(before: Draft, after: Draft, name: str, staying: Set[str]) -> None:
    """Entries of a list of parts or relationships may go only where their part went."""
    has = Counter(_shape(element) for element in after.root(name))
    source = name.replace("\\", "/").replace("_rels/", "", 1)[: -len(".rels")]
    targets = {found.id: found.part for found in relationships.read(before, source)} if ".rels" in name else {}
    for element in before.root(name):
        part = targets.get(element.get("Id", ""), element.get("PartName", ""))
        if (not part or part_key(part) in staying) and not has[_shape(element)]:
            raise GateFailed(f"an entry of '{name}' would have been lost")


def _check_order(before: Draft, after: Draft) -> None:
    names = after.names()
    kept = [name for name in before.names() if after.has(name)]
    _same(kept, [name for name in names if before.has(name)], "the order of the parts")


def _reachable(draft: Draft, sources: Iterable[str]) -> set[str]:
    """The parts of these sheets and everything below them, with their relationships."""
    found: set[str] = set()
    waiting = list(sources)
    while waiting:
        part = waiting.pop()
        if part in found or not draft.has(part):
            continue
        found |= {part, part_key(relationships.rels_part(part))}
        waiting += [part_key(below.part) for below in relationships.read(draft, part) if not below.external]
    return found


def _is_chain(book: WorkbookPart, key: str) -> bool:
    chain = book.related_part("calcChain")
    return chain is not None and part_key(chain) == key


def _listed(book: WorkbookPart) -> list[tuple[str, _Shape]]:
    return [(element.get("name", ""), _shape(element)) for element in book.sheet_elements()]


def _names(book: WorkbookPart, sheet_at: Mapping[str, str], intended: Intended) -> list[tuple[str, str, str]]:
    """The names that must stay: not our marks, not local to a sheet that goes, not leading to one."""
    gone = intended.replaced | intended.removed
    found = []
    for defined in book.defined_names():
        name, text = defined.get("name", ""), defined.text or ""
        scope = sheet_at.get(defined.get("localSheetId", ""), "")
        leads_away = any(sheet.replace("'", "''") in text for sheet in gone)
        if not name.startswith((SHEET_MARK, CELLS_MARK)) and scope not in gone and not leads_away:
            found.append((name, text, scope))
    return found


@dataclass(slots=True)
class _Digest:
    """A worksheet for comparison: untouched rows and the other cells of touched ones as hashes, and the rest."""

    cells: dict[tuple[int, int], int] = field(default_factory=dict)
    rows: dict[int, int] = field(default_factory=dict)
    attributes: dict[int, _Shape] = field(default_factory=dict)
    rest: etree._Element | None = None


def _digested(draft: Draft, name: str, without: set[tuple[int, int]], formulas_break: bool) -> _Digest:
    sheet = WorkbookPart(draft).sheet(name)
    if sheet is None:
        raise GateFailed(f"sheet '{name}' would have been lost")
    stream = SheetStream(draft.content(sheet.part), sheet.part)
    touched = {row for row, _ in without}
    digest = _Digest()
    for number, row in stream.rows():
        for formula in row.iter(markup.own(row, "f")) if formulas_break else ():
            formula.text = ""
        markup.drop_attributes(row, "r")
        if number not in touched:
            digest.rows[number] = hash(etree.tostring(row, with_tail=False))
            continue
        markup.drop_attributes(row, "spans")
        digest.attributes[number] = tuple(sorted(row.attrib.items()))
        for column, cell in cells_of(row):
            if (number, column) not in without:
                markup.drop_attributes(cell, "r")
                digest.cells[(number, column)] = hash(etree.tostring(cell, with_tail=False))
    digest.rest = stream.rest
    return digest


def _links(root: etree._Element, without: set[str]) -> list[_Shape]:
    holder = root.find(markup.own(root, "hyperlinks"))
    return [_shape(link) for link in (holder if holder is not None else ()) if link.get("ref") not in without]


def _comments(root: etree._Element, without: set[str]) -> list[_Shape]:
    listed = root.find(markup.own(root, "commentList"))
    return [_shape(note) for note in (listed if listed is not None else ()) if note.get("ref") not in without]


def _children(root: etree._Element, without: tuple[str, ...]) -> list[_Shape]:
    return [_shape(child) for child in root if markup.local(child) not in without]


def _shape(element: etree._Element) -> _Shape:
    """An element as nested tuples that are equal exactly where the elements say the same."""
    text = element.text or ""
    children = tuple(_shape(child) for child in element)
    return (str(element.tag), _attributes(element, ()), text if text.strip() else "", children)


def _attributes(element: etree._Element, without: tuple[str, ...]) -> _Shape:
    return tuple(sorted((str(k), str(v)) for k, v in element.attrib.items() if k not in without))


def _same(had: object, has: object, what: str) -> None:
    if had != has:
        raise GateFailed(f"{what} would have been changed")
