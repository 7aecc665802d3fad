"""Today's air against the log of one workbook: reckoned, as data, and written as the sheet Today."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from engine_rules.advice import Caution
from engine_rules.day_table import DayTable, day_table
from engine_rules.logbook import LogbookError
from engine_rules.retune import Retune, retuned
from engine_rules.retune_basis import Basis, basis, learned_exponent
from workbook_template.book import ReadBook
from workbook_template.fill import sheet_for
from workbook_template.hosts.protocol import Changes, NotInPlace, SheetOut
from workbook_template.log_file import LogFile, write_result
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


def today_of_cars(
    log: LogFile, written: Mapping[str, str | None], run: str | None, car: str | None
) -> tuple[dict[str, Today], list[str]]:
    """Today for each car of a workbook by its name, or for the car given; and why there is none for the others.

    Raises LogbookError where there is none for any.
    """
    found: dict[str, Today] = {}
    refused: list[LogbookError] = []
    for one in log.cars(car):
        try:
            found[one.book.car] = today_of(one.book, written, run)
        except LogbookError as error:
            if len(log.books) == 1:
                raise
            refused.append(LogbookError(f"{one.book.car}: {error}"))
    if not found:
        raise refused[0]
    return found, [str(error) for error in refused]


def draw(today: Today, car: str = "") -> SheetOut:
    """The sheet Today, for any host; car: its name in a workbook of several."""
    return replace(draw_today(today.basis, today.made, today.table, today.house), name=sheet_for(TODAY, car))


def write_today(log: LogFile, of_cars: Mapping[str, Today]) -> str:
    """Write the sheets Today into the result, and say where. Raises LogbookError where nothing can be written."""
    sheets = tuple(draw(today, car) for car, today in of_cars.items())
    try:
        log.host.apply(Changes(sheets=sheets))
    except NotInPlace as locked:
        path, backup = write_result(log, self_contained(sheets))
        wrote, names = f"{log.host.path.name} cannot be changed: {locked}. Wrote {path} in its place", {}
    else:
        backup, wrote, names = log.host.backup, f"Wrote {log.host.out}", dict(log.host.sheet_names)
    kept = "" if backup is None else f" The file as it was is kept as {backup.name}."
    listed = ", ".join(names.get(sheet.name, sheet.name) for sheet in sheets)
    return f"{wrote}. Print its sheet{'s' if len(sheets) > 1 else ''} {listed}.{kept}"
