"""XML of one part: parsed without entities or network, written back with its own mark, encoding and prefixes."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from typing import cast

from lxml import etree

from workbook_template.package.errors import PackageRefused

MAX_XML_BYTES = 32 * 2**20

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
STRICT_MAIN = "http://purl.oclc.org/ooxml/spreadsheetml/main"
RELATED = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
STRICT_RELATED = "http://purl.oclc.org/ooxml/officeDocument/relationships"
COMPATIBILITY = "http://schemas.openxmlformats.org/markup-compatibility/2006"

_STRICT_OF = {
    MAIN: STRICT_MAIN,
    RELATED: STRICT_RELATED,
    "http://schemas.openxmlformats.org/drawingml/2006/main": "http://purl.oclc.org/ooxml/drawingml/main",
    "http://schemas.openxmlformats.org/drawingml/2006/chart": "http://purl.oclc.org/ooxml/drawingml/chart",
    "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing": (
        "http://purl.oclc.org/ooxml/drawingml/spreadsheetDrawing"
    ),
    "http://schemas.openxmlformats.org/officeDocument/2006/customXml": (
        "http://purl.oclc.org/ooxml/officeDocument/customXml"
    ),
}
_MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_BE, "utf-16-be"), (codecs.BOM_UTF16_LE, "utf-16-le"))
_DECLARATION = re.compile(r"^<\?xml\s[^>]*\?>\s*")
_VACANT = "vacant"
_DEFAULT_DECLARATION = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'


@dataclass(frozen=True, slots=True)
class Markup:
    """A parsed part and how its bytes began: byte-order mark, encoding, XML declaration."""

    root: etree._Element
    mark: bytes
    encoding: str
    declaration: str

    def to_bytes(self) -> bytes:
        """The part as bytes, opening as the original did."""
        text = etree.tostring(self.root.getroottree(), encoding="unicode")
        return self.mark + (self.declaration + text).encode(self.encoding, "xmlcharrefreplace")


def parse(content: bytes, name: str) -> Markup:
    """Parse a part; raises PackageRefused where it is not XML, has a DTD or is too large to hold."""
    if len(content) > MAX_XML_BYTES:
        raise PackageRefused(f"part '{name}' is larger than {MAX_XML_BYTES // 2**20} MB; split the workbook")
    try:
        root = etree.fromstring(content, _parser())
    except (etree.XMLSyntaxError, ValueError) as error:
        raise not_xml(name) from error
    info = root.getroottree().docinfo
    if getattr(info, "doctype", ""):
        raise PackageRefused(f"part '{name}' declares a document type, which no workbook may; it was not opened")
    mark, encoding = _opening(content, info.encoding)
    declared = _DECLARATION.match(content[len(mark) :][:1024].decode(encoding, "replace"))
    return Markup(root, mark, encoding, declared.group() if declared else "")


def new(root: etree._Element) -> Markup:
    """A part that did not exist before, in UTF-8."""
    return Markup(root, b"", "utf-8", _DEFAULT_DECLARATION)


def not_xml(name: str) -> PackageRefused:
    return PackageRefused(f"part '{name}' of the workbook is not readable XML; open the file in the program "
                          "that made it and save it again")  # fmt: skip


def namespace(element: etree._Element) -> str:
    tag = str(element.tag)
    return tag[1 : tag.index("}")] if tag.startswith("{") else ""


def local(element: etree._Element) -> str:
    """The element's name without namespace; empty for comments and processing instructions."""
    tag = element.tag
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def number(element: etree._Element, attribute: str, default: int = 0) -> int:
    """A whole number from an attribute; raises PackageRefused where it is none."""
    text = element.get(attribute)
    if text is None:
        return default
    if not text.strip().isascii() or not text.strip().isdecimal():
        raise PackageRefused(
            f"the workbook says {attribute}='{text[:20]}' where a number belongs (in "
            f"<{local(element)}>); open it in the program that made it and save it again"
        )
    return int(text)


def own(parent: etree._Element, name: str) -> str:
    """The tag `name` in the parent's own namespace."""
    return f"{{{namespace(parent)}}}{name}"


def made(parent: etree._Element, name: str, /, **attributes: str) -> etree._Element:
    """A new element in the parent's own namespace and prefixes, not yet in its place."""
    element = parent.makeelement(own(parent, name), nsmap=cast("dict[str, str]", parent.nsmap))
    for key, value in attributes.items():
        element.set(key, value)
    return element


def new_root(space: str, name: str) -> etree._Element:
    """The root of a new part, with `space` as its default namespace."""
    return etree.Element(f"{{{space}}}{name}", nsmap=cast("dict[str, str]", {None: space}))


def drop_attributes(element: etree._Element, *names: str) -> None:
    for name in names:
        if name in element.attrib:
            del element.attrib[name]


def related(root: etree._Element, name: str = "id") -> str:
    """The attribute r:`name` in the dialect (transitional or strict) of `root`."""
    return f"{{{STRICT_RELATED if is_strict(root) else RELATED}}}{name}"


def is_strict(root: etree._Element) -> bool:
    return "purl.oclc.org" in namespace(root)


def to_strict(content: bytes) -> bytes:
    """The same UTF-8 part in the strict dialect: whole attribute values that name a namespace are exchanged."""

    def exchange(tag: re.Match[str]) -> str:
        text = tag.group()
        for transitional, strict in _STRICT_OF.items():
            text = text.replace(f'"{transitional}"', f'"{strict}"')
        return text

    return re.sub(r"<[^<>]+>", exchange, content.decode("utf-8")).encode("utf-8")


def insert_in_order(parent: etree._Element, child: etree._Element, order: tuple[str, ...]) -> None:
    """Insert `child` where the schema's sequence `order` wants it; unknown elements keep their places."""
    rank = order.index(local(child))
    for position, sibling in enumerate(parent):
        name = local(sibling)
        if name == "AlternateContent":
            name = next((local(inner) for inner in sibling.iter() if local(inner) in order), "")
        if name in order and order.index(name) > rank:
            parent.insert(position, child)
            return
    parent.append(child)


def child_in_order(parent: etree._Element, name: str, order: tuple[str, ...]) -> etree._Element:
    """The child of that name, made and put in its place where it is missing."""
    found = parent.find(own(parent, name))
    if found is None:
        found = made(parent, name)
        insert_in_order(parent, found, order)
    return found


def vacate(element: etree._Element, key: str) -> None:
    """Take an element out of a list, keeping its place for one of the same key."""
    parent = element.getparent()
    assert parent is not None
    parent.replace(element, etree.ProcessingInstruction(_VACANT, key))


def settle(parent: etree._Element, element: etree._Element, key: str) -> None:
    """Add an element to a list: where one of the same key was taken out, else last."""
    for child in parent.iterchildren(etree.ProcessingInstruction):
        if _vacant(child) and child.text == key:
            parent.replace(child, element)
            return
    parent.append(element)


def vacancies(parent: etree._Element) -> set[str]:
    """The keys for which places are kept."""
    return {child.text or "" for child in parent.iterchildren(etree.ProcessingInstruction) if _vacant(child)}


def sweep(root: etree._Element) -> None:
    """Forget the places kept, and lists that have become empty."""
    for vacancy in list(root.iter(etree.ProcessingInstruction)):
        parent = vacancy.getparent()
        if not _vacant(vacancy) or parent is None:
            continue
        parent.remove(vacancy)
        above = parent.getparent()
        if not len(parent) and above is not None:
            above.remove(parent)


def _vacant(element: etree._Element) -> bool:
    return getattr(element, "target", "") == _VACANT


def _parser() -> etree.XMLParser:
    return etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=False, load_dtd=False, strip_cdata=False)


def _opening(content: bytes, declared: str | None) -> tuple[bytes, str]:
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return mark, encoding
    encoding = (declared or "utf-8").lower()
    if encoding.startswith("utf-16"):
        encoding = "utf-16-be" if content.startswith(b"\x00") else "utf-16-le"
    return b"", encoding
