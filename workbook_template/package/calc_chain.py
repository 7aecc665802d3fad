"""The calculation chain: dropped whole when it may no longer be true; the reader builds a new one."""

from __future__ import annotations

from workbook_template.package import content_types, relationships
from workbook_template.package.workbook_part import WorkbookPart


def drop(book: WorkbookPart) -> None:
    """Take out the chain with its relationship and content type."""
    for found in relationships.of_kind(book.draft, book.part, "calcChain"):
        relationships.remove(book.draft, book.part, found.id)
        content_types.remove(book.draft, found.part)
        book.draft.delete(found.part)
