"""The styles part: looks are only ever appended, and one that is there already is used again."""

from __future__ import annotations

import copy

from lxml import etree
from openpyxl.styles.numbers import BUILTIN_FORMATS, BUILTIN_FORMATS_REVERSE, is_date_format

from workbook_template.package import content_types, markup, relationships
from workbook_template.package.edits import CellStyle
from workbook_template.package.errors import PackageRefused
from workbook_template.package.workbook_part import WorkbookPart

ORDER = (
    "numFmts", "fonts", "fills", "borders", "cellStyleXfs", "cellXfs", "cellStyles", "dxfs", "tableStyles",
    "colors", "extLst",
)  # fmt: skip
_FONT_ORDER = (
    "b", "i", "strike", "condense", "extend", "outline", "shadow", "u", "vertAlign", "sz", "color", "name",
    "family", "charset", "scheme",
)  # fmt: skip
_XF_ORDER = ("alignment", "protection", "extLst")
_FIRST_OWN_FORMAT = 164
MAX_LOOKS = 64_000
_BARE = (
    '<styleSheet xmlns="{ns}"><fonts count="1"><font><sz val="11"/><name val="Calibri"/><family val="2"/></font>'
    '</fonts><fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill '
    'patternType="gray125"/></fill></fills><borders count="1"><border><left/><right/><top/><bottom/><diagonal/>'
    '</border></borders><cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>'
    '</cellStyleXfs><cellXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
)
_SECTIONS_WITH_FIRST = ("fonts", "fills", "borders", "cellXfs")
_Key = tuple[object, ...]


class Styles:
    """The styles of a draft's workbook; the part is made where the book has none."""

    def __init__(self, book: WorkbookPart) -> None:
        part = book.related_part("styles") or _made_part(book)
        self.root = book.draft.root(part)
        self._keys: dict[str, dict[_Key, int]] = {}
        self._derived: dict[tuple[int, CellStyle | None, str | None], int] = {}

    def derived(self, base: int, style: CellStyle | None, number_format: str | None) -> int:
        """The look `base` with another style and number format; the index of the one made or found."""
        key = (base, style, number_format)
        if key not in self._derived:
            self._derived[key] = self._derive(*key)
        return self._derived[key]

    def _derive(self, base: int, style: CellStyle | None, number_format: str | None) -> int:
        looks = self._section("cellXfs")
        if not len(looks):
            self._append("cellXfs", self._bare_first("cellXfs"))
        look = copy.deepcopy(looks[base if base < len(looks) else 0])
        if number_format is not None:
            look.set("numFmtId", str(self._format_id(number_format)))
            look.set("applyNumberFormat", "1")
        if style is not None:
            look.set("fontId", str(self._font(markup.number(look, "fontId"), style)))
            look.set("applyFont", "1")
            look.set("fillId", str(self._fill(style.fill)))
            look.set("applyFill", "1")
            self._align(look, style)
        return self._append("cellXfs", look)

    def unlocked(self, index: int) -> bool:
        """Whether cells of this look may be written while their sheet is protected."""
        looks = self.root.findall(f"{markup.own(self.root, 'cellXfs')}/*")
        look = looks[index] if index < len(looks) else None
        if look is None:
            return False
        protection = look.find(markup.own(look, "protection"))
        if protection is None:
            named = self.root.findall(f"{markup.own(self.root, 'cellStyleXfs')}/*")
            parent = markup.number(look, "xfId")
            protection = named[parent].find(markup.own(look, "protection")) if parent < len(named) else None
        return protection is not None and protection.get("locked", "1").lower() in ("0", "false")

    def date_looks(self) -> frozenset[int]:
        """The looks whose number format shows a date or a time."""
        codes = dict(BUILTIN_FORMATS)
        for element in self.root.iterfind(f"{markup.own(self.root, 'numFmts')}/*"):
            codes[markup.number(element, "numFmtId")] = element.get("formatCode", "")
        looks = self.root.findall(f"{markup.own(self.root, 'cellXfs')}/*")
        return frozenset(
            index for index, look in enumerate(looks) if is_date_format(codes.get(markup.number(look, "numFmtId"), ""))
        )

    def bring_look(self, source: etree._Element, index: int) -> int:
        """The look `index` of another styles part (its root), brought over; the index here."""
        if index == 0:
            return 0
        foreign = source.findall(f"{markup.own(source, 'cellXfs')}/*")[index]
        look = markup.made(self.root, "xf")
        look.set("numFmtId", str(self._brought_format(source, int(foreign.get("numFmtId", "0")))))
        for name, section in (("fontId", "fonts"), ("fillId", "fills"), ("borderId", "borders")):
            look.set(name, str(self._brought(source, section, int(foreign.get(name, "0")))))
            look.set(f"apply{section[:-1].capitalize()}", "1")
        look.set("applyNumberFormat", "1")
        if self.root.find(f"{markup.own(self.root, 'cellStyleXfs')}/{markup.own(self.root, 'xf')}") is not None:
            look.set("xfId", "0")
        if foreign.get("quotePrefix") == "1":
            look.set("quotePrefix", "1")
        for child in foreign:
            if markup.local(child) in ("alignment", "protection"):
                look.append(transplanted(child, self.root))
                look.set(f"apply{markup.local(child).capitalize()}", "1")
        return self._append("cellXfs", look)

    def bring_differential(self, source: etree._Element, index: int) -> int:
        """The differential look (dxf) `index` of another styles part, brought over; the index here."""
        foreign = source.findall(f"{markup.own(source, 'dxfs')}/*")[index]
        element = transplanted(foreign, self.root)
        for font in element.findall(markup.own(element, "font")):
            _sort_font(font)
        return self._append("dxfs", element)

    def _brought(self, source: etree._Element, section: str, index: int) -> int:
        if section == "fills" and index < 2 and len(self._section("fills")) > index:
            return index
        element = transplanted(source.findall(f"{markup.own(source, section)}/*")[index], self.root)
        if section == "fonts":
            _sort_font(element)
        return self._append(section, element)

    def _brought_format(self, source: etree._Element, identifier: int) -> int:
        for element in source.iterfind(f"{markup.own(source, 'numFmts')}/*"):
            if element.get("numFmtId") == str(identifier):
                return self._format_id(element.get("formatCode", "General"))
        return identifier

    def _format_id(self, code: str) -> int:
        if code in BUILTIN_FORMATS_REVERSE:
            return int(BUILTIN_FORMATS_REVERSE[code])
        section = self._section("numFmts")
        taken = []
        for element in section:
            if element.get("formatCode") == code:
                return markup.number(element, "numFmtId")
            taken.append(markup.number(element, "numFmtId"))
        identifier = max([_FIRST_OWN_FORMAT - 1, *taken]) + 1
        made = markup.made(section, "numFmt")
        made.set("numFmtId", str(identifier))
        made.set("formatCode", code)
        self._append("numFmts", made)
        return identifier

    def _font(self, base: int, style: CellStyle) -> int:
        fonts = self._section("fonts")
        font = copy.deepcopy(fonts[base]) if base < len(fonts) else self._bare_first("fonts")
        for child in list(font):
            if markup.local(child) in ("b", "i", "u", "color"):
                font.remove(child)
        wanted = [("b", style.bold), ("i", style.italic), ("u", style.underline), ("color", bool(style.color))]
        for name, present in wanted:
            if present:
                child = markup.made(font, name)
                if name == "color":
                    child.set("rgb", f"FF{style.color}")
                font.append(child)
        _sort_font(font)
        return self._append("fonts", font)

    def _fill(self, color: str | None) -> int:
        if color is None:
            return 0
        section = self._section("fills")
        fill = markup.made(section, "fill")
        pattern = etree.SubElement(fill, markup.own(section, "patternFill"), {"patternType": "solid"})
        etree.SubElement(pattern, markup.own(section, "fgColor"), {"rgb": f"FF{color}"})
        etree.SubElement(pattern, markup.own(section, "bgColor"), {"indexed": "64"})
        return self._append("fills", fill)

    def _align(self, look: etree._Element, style: CellStyle) -> None:
        alignment = look.find(markup.own(look, "alignment"))
        if alignment is None:
            if not style.wrap and style.horizontal is None:
                return
            alignment = markup.made(look, "alignment")
            markup.insert_in_order(look, alignment, _XF_ORDER)
        for name, value in (("horizontal", style.horizontal), ("wrapText", "1" if style.wrap else None)):
            markup.drop_attributes(alignment, name)
            if value is not None:
                alignment.set(name, value)
        look.set("applyAlignment", "1")

    def _section(self, name: str) -> etree._Element:
        section = self.root.find(markup.own(self.root, name))
        if section is None:
            section = markup.child_in_order(self.root, name, ORDER)
            if name in _SECTIONS_WITH_FIRST:
                section.append(self._bare_first(name))
            section.set("count", str(len(section)))
        return section

    def _bare_first(self, section: str) -> etree._Element:
        bare = etree.fromstring(_BARE.format(ns=markup.namespace(self.root)))
        first = transplanted(bare.findall(f"{markup.own(bare, section)}/*")[0], self.root)
        if section == "cellXfs" and self.root.find(markup.own(self.root, "cellStyleXfs")) is None:
            del first.attrib["xfId"]
        return first

    def _append(self, name: str, element: etree._Element) -> int:
        """The index of an element that is the same to the letter, added at the end if there is none."""
        section = self._section(name)
        if name not in self._keys:
            self._keys[name] = {}
            for index, known in enumerate(section):
                self._keys[name].setdefault(_key(known), index)
        keys = self._keys[name]
        key = _key(element)
        if key not in keys:
            if len(section) >= MAX_LOOKS:
                raise PackageRefused("the workbook holds as many cell formats as one can; delete unused ones")
            keys[key] = len(section)
            section.append(element)
            section.set("count", str(len(section)))
        return keys[key]


def transplanted(element: etree._Element, into: etree._Element) -> etree._Element:
    """A copy of the element whose names stand in the namespace of `into`."""
    made = markup.made(into, markup.local(element))
    for name, value in element.attrib.items():
        made.set(name, value)
    made.text = element.text
    for child in element:
        if isinstance(child.tag, str):
            made.append(transplanted(child, into))
    return made


def _made_part(book: WorkbookPart) -> str:
    missing = relationships.of_kind(book.draft, book.part, "styles")
    if missing:
        book.draft.member(missing[0].part)
    part = book.part.replace("\\", "/").rpartition("/")[0]
    name = f"{part}/styles.xml".lstrip("/")
    if book.draft.has(name):
        name = book.draft.free_name(f"{part}/styles".lstrip("/"), "xml")
    dialect = markup.STRICT_MAIN if book.strict else markup.MAIN
    book.draft.put_root(name, etree.fromstring(_BARE.format(ns=dialect)))
    relationships.add(book.draft, book.part, "styles", name, strict=book.strict)
    content_types.set_type(book.draft, name, content_types.STYLES)
    return name


def _sort_font(font: etree._Element) -> None:
    def rank(child: etree._Element) -> int:
        name = markup.local(child)
        return _FONT_ORDER.index(name) if name in _FONT_ORDER else len(_FONT_ORDER)

    font[:] = sorted(font, key=rank)


def _key(element: etree._Element) -> _Key:
    children = tuple(_key(child) for child in element if isinstance(child.tag, str))
    text = (element.text or "").strip()
    return (markup.local(element), text, tuple(sorted((str(k), str(v)) for k, v in element.attrib.items())), children)
