"""Today's air against the log of one workbook: reckoned, as data, and written as the sheet Today."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from engine_rules.advice import Caution
from engine_rules.day_table import DayTable, day_table
from engine_rules.retune import Retune, retuned
from engine_rules.retune_basis import Basis, basis, learned_exponent
from workbook_template.book import ReadBook
from workbook_template.hosts.protocol import Changes, NotInPlace, SheetOut
from workbook_template.log_file import LogFile, write_result
from workbook_template.package import open_package
from workbook_template.result_book import self_contained
from workbook_template.tables import house_of
from workbook_template.today_given import air_given
from workbook_template.today_sheet import TODAY, draw_today
from workbook_template.today_words import House


@dataclass(frozen=True, slots=True)
class Today:
    """What today is reckoned from, what came out, the table of the day, and the units in which to say it."""

    basis: Basis
    made: Retune
    table: DayTable
    house: House

    def as_json(self) -> dict[str, Any]:
        """All of it as plain JSON data."""
        return {**self.made.as_json(), "table": self.table.as_json()}


def today_of(book: ReadBook, written: Mapping[str, str | None], run: str | None) -> Today:
    """Today's jets. written: option of `today_given` -> what stands behind it. run: the reference's name, or None.

    Raises LogbookError for air that cannot be used, or a log with nothing to reckon from.
    """
    logbook = book.logbook
    house = House(house_of(tuple(book.tables.values())))
    air = air_given(written, house.name, logbook.targets)
    of = basis(logbook, None if run is None else book.run(run), learned_exponent(logbook))
    made = retuned(of, air.air)
    remarks = tuple(Caution(f"{text[0].upper()}{text[1:]}.", "mind") for text in air.remarks)
    made = replace(made, cautions=(*remarks, *made.cautions))
    return Today(of, made, day_table(of, air.air, *house.axes), house)


def draw(today: Today) -> SheetOut:
    """The sheet Today, for any host."""
    return draw_today(today.basis, today.made, today.table, today.house)


def write_today(log: LogFile, today: Today) -> str:
    """Write the sheet Today into the result, and say where. Raises LogbookError where the workbook cannot take it."""
    sheets = (draw(today),)
    try:
        log.host.apply(Changes(sheets=sheets))
    except NotInPlace as locked:
        path, backup = write_result(log, self_contained(sheets))
        wrote, sheet = f"{log.host.path.name} cannot be changed: {locked}. Wrote {path} in its place", TODAY
    else:
        backup, wrote = log.host.backup, f"Wrote {log.host.out}"
        sheet = open_package(log.host.out).owned.sheets.get(TODAY, TODAY)
    kept = "" if backup is None else f" The file as it was is kept as {backup.name}."
    return f"{wrote}. Print its sheet {sheet}.{kept}"
