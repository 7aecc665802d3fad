"""Relationships: which part belongs to which, whatever the names, slashes and letter case."""

from __future__ import annotations

import posixpath
from dataclasses import dataclass
from itertools import count
from urllib.parse import unquote

from lxml import etree

from workbook_template.package import markup
from workbook_template.package.draft import Draft

_NAMESPACE = "http://schemas.openxmlformats.org/package/2006/relationships"
ROOT = ""


@dataclass(frozen=True, slots=True)
class Relationship:
    """One relationship; `kind` is the last word of its type, `part` the part it leads to ("" if outside)."""

    id: str
    kind: str
    part: str
    target: str
    external: bool


def rels_part(source: str) -> str:
    """The name of the part that holds the relationships of `source` (of the package where it is ROOT)."""
    folder, name = posixpath.split(source.replace("\\", "/"))
    return posixpath.join(folder, "_rels", f"{name}.rels")


def read(draft: Draft, source: str) -> list[Relationship]:
    """All relationships of a part, in the file's order; none where it has no such part."""
    if not draft.has(rels_part(source)):
        return []
    return [_relationship(element, source) for element in _elements(draft, source)]


def of_kind(draft: Draft, source: str, kind: str) -> list[Relationship]:
    return [found for found in read(draft, source) if found.kind == kind and not found.external]


def by_id(draft: Draft, source: str, wanted: str | None) -> Relationship | None:
    elements = _elements(draft, source) if draft.has(rels_part(source)) else []
    return next((_relationship(element, source) for element in elements if element.get("Id", "") == wanted), None)


def add(draft: Draft, source: str, kind: str, target: str, *, strict: bool, former: str | None = None) -> str:
    """Add a relationship to another part in the dialect of the workbook; its id is `former`, or the first free."""
    base = posixpath.dirname(source.replace("\\", "/")) or "."
    prefix = markup.STRICT_RELATED if strict else markup.RELATED
    attributes = {"Type": f"{prefix}/{kind}", "Target": posixpath.relpath(target, base)}
    part = rels_part(source)
    if not draft.has(part):
        draft.put_root(part, markup.new_root(_NAMESPACE, "Relationships"))
    root = draft.root(part)
    taken = {element.get("Id") for element in _elements(draft, source)} | markup.vacancies(root)
    identifier = former or next(name for number in count(1) if (name := f"rId{number}") not in taken)
    markup.settle(root, markup.made(root, "Relationship", Id=identifier, **attributes), identifier)
    return identifier


def remove(draft: Draft, source: str, wanted: str) -> None:
    for element in _elements(draft, source):
        if element.get("Id") == wanted:
            markup.vacate(element, wanted)


def _elements(draft: Draft, source: str) -> list[etree._Element]:
    return [element for element in draft.root(rels_part(source)) if markup.local(element) == "Relationship"]


def _relationship(element: etree._Element, source: str) -> Relationship:
    target = element.get("Target", "")
    external = element.get("TargetMode", "").lower() == "external"
    kind = element.get("Type", "").rstrip("/").rsplit("/", 1)[-1]
    part = "" if external else _resolved(target, source)
    return Relationship(element.get("Id", ""), kind, part, target, external)


def _resolved(target: str, source: str) -> str:
    path = unquote(target.replace("\\", "/").split("#", 1)[0])
    base = posixpath.dirname(source.replace("\\", "/"))
    joined = path if path.startswith("/") else posixpath.join("/", base, path)
    return posixpath.normpath(joined).lstrip("/")
