"""The originals of every changed member, kept inside the package so that taking everything out is exact.

They stand in one custom XML part, which the user's programs ignore and most keep. With them stands a digest of
the whole package as it was saved: if any member differs from it, somebody has edited the file since, the
originals no longer fit, and they are never used.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from lxml import etree

from workbook_template.package import content_types, markup, relationships
from workbook_template.package.container import Member, part_key
from workbook_template.package.draft import Draft
from workbook_template.package.errors import PackageRefused
from workbook_template.package.workbook_part import WorkbookPart

_NAMESPACE = "urn:workbook-template:originals:1"
_PROPERTIES = "http://schemas.openxmlformats.org/officeDocument/2006/customXml"
_PROPERTIES_XML = (
    f'<ds:datastoreItem xmlns:ds="{_PROPERTIES}" ds:itemID="{{5D0A9B1E-6C0F-4B6E-9C1B-0B6D1B6E7A51}}">'
    f'<ds:schemaRefs><ds:schemaRef ds:uri="{_NAMESPACE}"/></ds:schemaRefs></ds:datastoreItem>'
)
_LINE = 2**20


@dataclass(frozen=True, slots=True)
class Originals:
    """The members of the untouched package in order: kept in full where changed, else by name alone."""

    names: tuple[str, ...]
    kept: dict[str, Member]


def find(book: WorkbookPart) -> str | None:
    """The part that holds the originals, or None."""
    for found in relationships.of_kind(book.draft, book.part, "customXml"):
        if book.draft.has(found.part) and _NAMESPACE.encode() in book.draft.content(found.part):
            return found.part
    return None


def read(book: WorkbookPart) -> Originals | None:
    """The originals, if the package is still as it was saved with them; None otherwise."""
    part = find(book)
    try:
        root = book.draft.root(part) if part else None
    except PackageRefused:
        return None
    if root is None or part is None or root.get("digest") != _digest(book.draft.members(), part):
        return None
    kept = {}
    names = []
    for element in root:
        names.append(element.get("name", ""))
        if element.get("crc") is not None:
            kept[part_key(names[-1])] = _member(element)
    return Originals(tuple(names), kept)


def of(members: Iterable[Member]) -> Originals:
    """The originals of a package that holds nothing of ours."""
    return Originals(tuple(member.name for member in members), {})


def restored(originals: Originals, draft: Draft) -> tuple[Member, ...]:
    """The members of the untouched package."""
    return tuple(originals.kept.get(part_key(name)) or draft.member(name) for name in originals.names)


def seal(book: WorkbookPart, originals: Originals, before: Draft) -> None:
    """Write the originals into the package; nothing may be changed after it. `before` is the package so far."""
    part = find(book) or _made_part(book)
    current = {part_key(member.name): member for member in book.draft.members()}
    root = markup.new_root(_NAMESPACE, "originals")
    root.set("digest", _digest(current.values(), part))
    for member in restored(originals, before):
        element = etree.SubElement(root, f"{{{_NAMESPACE}}}member", {"name": member.name})
        if current.get(part_key(member.name)) != member:
            _describe(element, member)
    book.draft.put_root(part, root)


def drop(book: WorkbookPart) -> set[str]:
    """Take the originals out of the package; the parts that went (lower case)."""
    part = find(book)
    if part is None:
        return set()
    for found in relationships.of_kind(book.draft, book.part, "customXml"):
        if found.part == part:
            relationships.remove(book.draft, book.part, found.id)
    gone = [part, *(found.part for found in relationships.of_kind(book.draft, part, "customXmlProps"))]
    gone.append(relationships.rels_part(part))
    for name in gone:
        content_types.remove(book.draft, name)
        book.draft.delete(name)
    return {part_key(name) for name in gone}


def _made_part(book: WorkbookPart) -> str:
    part = book.draft.free_name("customXml/item", "xml")
    properties = part.replace("/item", "/itemProps")
    content = markup.new(etree.fromstring(_PROPERTIES_XML)).to_bytes()
    book.draft.put_root(part, markup.new_root(_NAMESPACE, "originals"))
    book.draft.put(properties, markup.to_strict(content) if book.strict else content)
    relationships.add(book.draft, part, "customXmlProps", properties, strict=book.strict)
    relationships.add(book.draft, book.part, "customXml", part, strict=book.strict)
    content_types.set_default(book.draft, "xml", "application/xml")
    content_types.set_type(book.draft, part, "application/xml")
    content_types.set_type(book.draft, properties, content_types.CUSTOM_PROPERTIES)
    return part


def _digest(members: Iterable[Member], without: str) -> str:
    lines = [
        f"{member.name}\t{member.crc}\t{member.size}"
        for member in members
        if part_key(member.name) != part_key(without)
    ]
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def _describe(element: etree._Element, member: Member) -> None:
    numbers = {
        "method": member.method, "crc": member.crc, "size": member.size,
        "external": member.external_attr, "system": member.create_system,
    }  # fmt: skip
    for name, number in numbers.items():
        element.set(name, str(number))
    element.set("time", " ".join(map(str, member.date_time)))
    element.set("extra", member.extra.hex())
    element.set("comment", member.comment.hex())
    for start in range(0, len(member.packed), _LINE):
        line = etree.SubElement(element, f"{{{_NAMESPACE}}}packed")
        line.text = base64.b64encode(member.packed[start : start + _LINE]).decode()


def _member(element: etree._Element) -> Member:
    year, month, day, hour, minute, second = map(int, element.get("time", "").split())
    return Member(
        name=element.get("name", ""),
        packed=b"".join(base64.b64decode(line.text or "") for line in element),
        method=int(element.get("method", "8")),
        crc=int(element.get("crc", "0")),
        size=int(element.get("size", "0")),
        date_time=(year, month, day, hour, minute, second),
        external_attr=int(element.get("external", "0")),
        create_system=int(element.get("system", "0")),
        extra=bytes.fromhex(element.get("extra", "")),
        comment=bytes.fromhex(element.get("comment", "")),
    )
