"""[Content_Types].xml: what kind of thing each part is."""

from __future__ import annotations

import posixpath

from lxml import etree

from workbook_template.package import markup
from workbook_template.package.container import part_key
from workbook_template.package.draft import Draft

PART = "[Content_Types].xml"

_SPREADSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml"
WORKSHEET = f"{_SPREADSHEET}.worksheet+xml"
STYLES = f"{_SPREADSHEET}.styles+xml"
COMMENTS = f"{_SPREADSHEET}.comments+xml"
VML = "application/vnd.openxmlformats-officedocument.vmlDrawing"
CUSTOM_PROPERTIES = "application/vnd.openxmlformats-officedocument.customXmlProperties+xml"


def type_of(draft: Draft, part: str) -> str:
    """The part's content type: its own, else that of its extension; empty if neither is declared."""
    own = declared(draft, part)
    return own if own else _default(draft, part)


def declared(draft: Draft, part: str) -> str:
    """The content type declared for this very part; empty if none."""
    element = _override(draft, part)
    return "" if element is None else element.get("ContentType", "")


def set_type(draft: Draft, part: str, content_type: str) -> None:
    """Declare the part's content type unless that of its extension says the same."""
    if type_of(draft, part) == content_type:
        return
    root = draft.root(PART)
    element = _override(draft, part)
    if element is None:
        element = markup.made(root, "Override", PartName=f"/{part}")
        markup.settle(root, element, part_key(part))
    element.set("ContentType", content_type)


def set_default(draft: Draft, extension: str, content_type: str) -> None:
    """Declare the content type of an extension where it has none."""
    root = draft.root(PART)
    if _default(draft, f"x.{extension}"):
        return
    element = markup.made(root, "Default", Extension=extension, ContentType=content_type)
    root.insert(sum(markup.local(child) == "Default" for child in root), element)


def remove(draft: Draft, part: str) -> None:
    element = _override(draft, part)
    if element is not None:
        markup.vacate(element, part_key(part))


def _override(draft: Draft, part: str) -> etree._Element | None:
    key = part_key(part)
    for element in draft.root(PART):
        if markup.local(element) == "Override" and part_key(element.get("PartName", "")) == key:
            return element
    return None


def _default(draft: Draft, part: str) -> str:
    extension = posixpath.splitext(part)[1].lstrip(".").lower()
    for element in draft.root(PART):
        if markup.local(element) == "Default" and element.get("Extension", "").lower() == extension:
            return element.get("ContentType", "")
    return ""
