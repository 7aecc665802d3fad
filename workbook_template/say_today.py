"""What `strapline retune` says on the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table as RichTable

from workbook_template.today import Today
from workbook_template.today_words import (
    day_grid,
    drift,
    figures,
    jet_lines,
    law_words,
    reckoned_from,
)
from workbook_template.wording import ARROW, signed


def print_today(console: Console, today: Today) -> None:
    """Today's air beside the reference's, the jets, what to mind, and the table of the day."""
    made = today.made
    airs = RichTable("Air", reckoned_from(made), "Today")
    for figure in figures(made, today.house):
        airs.add_row(figure.name, figure.then, figure.now)
    console.print(airs)
    console.print(law_words(made), soft_wrap=True)
    for line in jet_lines(made):
        move = f"{line.old} {ARROW} {line.new}" if line.changes else f"keep {line.old}"
        console.print(f"Jets {line.stations}: {move} (mixture if kept: {line.kept}; after: {line.left})")
    if made.fuel is not None:
        fuel = made.fuel
        console.print(
            f"Fuel, all cylinders: {signed(fuel.change_pct, 2)} % "
            f"(mixture if kept: {drift(fuel.kept_pct)}; after: {drift(fuel.left_pct)})"
        )
    for one in made.cautions:
        console.print(f"{one.level.upper()}: {one.text}", soft_wrap=True)
    _print_table(console, today)


def _print_table(console: Console, today: Today) -> None:
    grid = day_grid(today.basis, today.table, today.house)
    shown = RichTable(grid.corner, *grid.across, title="The rest of the day", show_lines=True)
    for row, (name, cells) in enumerate(zip(grid.down, grid.cells, strict=True)):
        shown.add_row(
            name, *(f"[{words}]" if (row, column) in grid.today else words for column, words in enumerate(cells))
        )
    console.print(shown)
    console.print(f"{grid.legend} Today's own stands in brackets.", soft_wrap=True)
