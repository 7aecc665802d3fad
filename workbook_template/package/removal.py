"""Taking sheets out of a book, with the parts that only they lead to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from workbook_template.package import content_types, formulas, markup, relationships
from workbook_template.package.container import part_key
from workbook_template.package.draft import Draft
from workbook_template.package.workbook_part import WorkbookPart


def empty_sheet(book: WorkbookPart, name: str) -> None:
    """Take out all that a sheet is made of; it stays listed, released, for another to take its place."""
    sheet = book.sheet(name)
    assert sheet is not None
    book.release_sheet(name)
    _delete_unreferenced(book.draft, sheet.part)


def has_formulas(book: WorkbookPart, name: str) -> bool:
    """Whether a sheet holds any formula."""
    sheet = book.sheet(name)
    assert sheet is not None
    root = book.draft.root(sheet.part)
    return next(root.iter(markup.own(root, "f")), None) is not None


def break_references(book: WorkbookPart, name: str) -> None:
    """Let formulas and names that read a sheet that is gone say #REF!, as the spreadsheet program would."""
    gone = {name.lower(): "#REF"}
    for defined in book.defined_names():
        text = defined.text or ""
        if _broken(text, gone) != text:
            book.remove_name(defined)
    for sheet in book.sheets():
        if sheet.kind != "worksheet" or not mentions(plain_text(book.draft, sheet.part), [name]):
            continue
        root = book.draft.root(sheet.part)
        for element in root.iter(markup.own(root, "f")):
            if element.text:
                element.text = _broken(element.text, gone)


def mentions(text: str, words: Iterable[str]) -> bool:
    """Whether the text of a part may hold one of the words, without parsing it."""
    lowered = text.lower()
    escaped = [word.lower().replace("&", "&amp;").replace("<", "&lt;") for word in words]
    return any(word in lowered for word in dict.fromkeys([*escaped, *(one.replace("'", "''") for one in escaped)]))


def plain_text(draft: Draft, part: str) -> str:
    """A part as text, not parsed."""
    content = draft.content(part)
    encoding = "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8"
    return content.decode(encoding, "replace")


def _broken(text: str, gone: Mapping[str, str]) -> str:
    return formulas.rename_sheets(text, gone).replace("'#REF'!", "#REF!")


def _delete_unreferenced(draft: Draft, part: str) -> None:
    """Delete the part, then every part that nothing leads to any more because of it."""
    below = [found.part for found in relationships.read(draft, part) if not found.external]
    draft.delete(relationships.rels_part(part))
    draft.delete(part)
    content_types.remove(draft, part)
    for child in below:
        if draft.has(child) and part_key(child) not in _referenced(draft):
            _delete_unreferenced(draft, child)


def _referenced(draft: Draft) -> set[str]:
    targets = set()
    for name in draft.names():
        key = name.replace("\\", "/")
        folder, _, file = key.rpartition("/")
        if file.lower().endswith(".rels") and folder.lower().endswith("_rels"):
            source = f"{folder[: -len('_rels')]}{file[: -len('.rels')]}"
            targets |= {part_key(found.part) for found in relationships.read(draft, source)}
    return targets
