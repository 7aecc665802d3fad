"""How a racer's own workbook was read, for the terminal: the sheet 'How it was read' in short."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.table import Table as RichTable

from workbook_template.how_read import HOW_READ, HowRead


def print_how_read(console: Console, read: HowRead) -> None:
    """Every sheet with its shape, every heading with its meaning, every question."""
    for sheet, shape in read.shapes.items():
        console.print(f"{sheet}: read as {shape}")
    if read.aside:
        console.print(f"Other sheets, left alone: {', '.join(read.aside)}")
    shown = RichTable("Heading", "First at", "Read as", "Unit", "How sure", "An entry", title="What was read")
    for line in read.headings:
        more = f" and {line.count - 1} more" if line.count > 1 else ""
        entry = line.example if len(line.example) <= 20 else f"{line.example[:19]}…"
        first = f"{line.first}{more}" if line.first is not None else ""
        shown.add_row(line.written, first, line.read_as or "not used", line.unit, line.sure, entry)
    console.print(shown)
    asked = _asked(read)
    if asked:
        console.print(f"\nAsked; answer on the sheet {HOW_READ}, which fill adds to the workbook:")
        for text in asked:
            console.print(f"  - {text}")


def asked_lines(all_read: Sequence[HowRead]) -> Iterator[str]:
    """Where the questions about a racer's own book are, and how many; nothing where none is open."""
    count = len({text for read in all_read for text in _asked(read)})
    if count:
        what = "1 question" if count == 1 else f"{count} questions"
        yield f"{what} about how the workbook was read: answer on its sheet {HOW_READ}, then fill again."


def _asked(read: HowRead) -> list[str]:
    asked = [f"{line.first}: {line.written}: {line.question}" for line in read.headings if line.question]
    asked += [f"{one.cell}: {one.text}" if one.cell else one.text for one in read.questions]
    return asked + [
        f"{line.heading} (taken as {line.taken}): {line.question}" for line in read.engine if line.sure != "yours"
    ]
