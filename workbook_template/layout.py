"""The layout of the workbook, read from layout.toml: sheets, headings, units, lists, plausible ranges."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from typing import Any

from engine_rules.words import WordList, plain, word_lists


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as headings write it: inside value = scale * written + offset."""

    name: str
    scale: float
    offset: float
    number_format: str
    likes: frozenset[str]
    named_only: bool = False

    def inside(self, written: float) -> float:
        """A value in this unit, brought to the unit of the records."""
        return self.scale * written + self.offset

    def written(self, inside: float) -> float:
        """A value of the records, brought to this unit."""
        return (inside - self.offset) / self.scale


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something measured: the units it may come in and the range, in the inside unit, that can be believed."""

    key: str
    units: Mapping[str, Unit]
    us: str
    si: str
    inside: str
    lowest: float
    highest: float
    number_format: str = ""

    def unit(self, written: str) -> Unit | None:
        """The unit meant by what stands in a heading's bracket or behind a number, or None."""
        wanted = unit_key(written)
        return next((unit for unit in self.units.values() if wanted in unit.likes), None)

    def house_unit(self, house: str) -> Unit:
        """The unit of a 'us' or an 'si' workbook."""
        return self.units[self.si if house == "si" else self.us]

    def format_in(self, unit: Unit) -> str:
        """The spreadsheet's number format for a value in that unit."""
        return self.number_format or unit.number_format

    def holds(self, inside: float) -> bool:
        """True where the value can be believed."""
        slack = 1e-9 * max(1.0, abs(self.lowest), abs(self.highest))
        return self.lowest - slack <= inside <= self.highest + slack


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a list, or a setting. Kinds and fields are described at the top of layout.toml."""

    key: str
    heading: str
    kind: str
    note: str
    likes: tuple[str, ...] = ()
    quantity: Quantity | None = None
    list: str = ""
    width: float = 12.0
    needed: bool = False
    filled: bool = False
    several: bool = False
    per: str = ""
    only: str = ""

    def headed(self, house: str) -> str:
        """The heading with its unit, as the blank workbook writes it."""
        unit = self.house_unit(house)
        return f"{self.heading} ({unit.name})" if unit and unit.name not in ("", "λ") else self.heading

    def house_unit(self, house: str) -> Unit | None:
        """The unit of a 'us' or an 'si' workbook, None where nothing is measured."""
        return None if self.quantity is None else self.quantity.house_unit(house)

    def noted(self, house: str) -> str:
        """The note, its {us|si} examples settled."""
        return re.sub(r"\{([^|{}]*)\|([^|{}]*)\}", r"\2" if house == "si" else r"\1", self.note)

    def for_station(self, station: str) -> Column:
        """This column for one station of the carburetion."""
        filled_in = {name: getattr(self, name).replace("{station}", station) for name in ("key", "heading", "note")}
        return replace(self, per="", **filled_in)

    @property
    def names(self) -> frozenset[str]:
        """Every heading that means this column, plain and without a bracket."""
        return frozenset(plain(name) for name in (self.heading, *self.likes))


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """One sheet: its name, its list of columns, and settings that stand above the list."""

    key: str
    name: str
    table: str = ""
    title: str = ""
    hint: str = ""
    filled_hint: str = ""
    freeze: int = 0
    columns: tuple[Column, ...] = ()
    settings: tuple[Column, ...] = ()

    def columns_for(self, stations: Iterable[str]) -> tuple[Column, ...]:
        """The columns with those of each station in place of their pattern."""
        names = tuple(stations)
        return tuple(
            one
            for column in self.columns
            for one in ([column.for_station(name) for name in names] if column.per == "station" else [column])
        )


@dataclass(frozen=True, slots=True)
class Scale:
    """What a number on a plug may be: its range, and factors of the units that may stand behind it."""

    lowest: float
    highest: float
    units: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Styles:
    """Blank workbooks in other styles: the column keys of a cylinder; key -> width for each line of the form."""

    of_cylinder: tuple[str, ...]
    form_lines: tuple[Mapping[str, int], ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """All of layout.toml."""

    sheets: Mapping[str, SheetLayout]
    quantities: Mapping[str, Quantity]
    lists: Mapping[str, WordList]
    scales: Mapping[str, Scale]
    styles: Styles
    firing_orders: Mapping[str, Mapping[int, tuple[int, ...]]] = field(default_factory=dict)
    heard: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)


def split_heading(heading: str) -> tuple[str, str | None]:
    """The plain name of a heading and what stands in its bracket at the end (None without one).

    >>> split_heading("Air temp (°F)")
    ('air temp', '°F')
    """
    match = re.fullmatch(r"\s*(.*?)\s*[(\[]([^()\[\]]*)[)\]]\s*", heading, re.DOTALL)
    name, bracket = (match[1], match[2].strip()) if match else (heading, None)
    return plain(name).rstrip(":* ").rstrip("."), bracket


def unit_key(written: str) -> str:
    """A unit as it is compared: lower case, single spaces, no dots."""
    return re.sub(r"\s+", " ", written.replace(".", "")).strip().lower()


@cache
def layout() -> Layout:
    """The layout as shipped."""
    table, heard = _knowledge("layout.toml"), _knowledge("headings.toml")
    dimensions = {key: _units(units) for key, units in table["dimensions"].items()}
    quantities = {key: _quantity(key, fields, dimensions) for key, fields in table["quantities"].items()}
    own_lists = {key: _word_list(key, words) for key, words in table["lists"].items()}
    return Layout(
        sheets={key: _sheet(key, fields, quantities) for key, fields in table["sheets"].items()},
        quantities=quantities,
        lists={**word_lists(), **own_lists},
        scales={key: Scale(**fields) for key, fields in table["scales"].items()},
        styles=Styles(*(tuple(table["styles"][key]) for key in ("of_cylinder", "form_lines"))),
        firing_orders={
            arrangement: {int(count): tuple(order) for count, order in orders.items()}
            for arrangement, orders in table["firing_orders"].items()
        },
        heard={sheet: {key: tuple(names) for key, names in columns.items()} for sheet, columns in heard.items()},
    )


def _knowledge(name: str) -> dict[str, Any]:
    return tomllib.loads(resources.files("workbook_template").joinpath(name).read_text("utf-8"))


def _units(table: Mapping[str, Mapping[str, Any]]) -> Mapping[str, Unit]:
    return {
        name: Unit(
            name=name,
            scale=float(fields["scale"]),
            offset=float(fields.get("offset", 0.0)),
            number_format=str(fields["format"]),
            likes=frozenset(unit_key(like) for like in (name, *fields["likes"])),
            named_only=bool(fields.get("named_only", False)),
        )
        for name, fields in table.items()
    }


def _quantity(key: str, table: Mapping[str, Any], dimensions: Mapping[str, Mapping[str, Unit]]) -> Quantity:
    fields = dict(table)
    units = dimensions[fields.pop("dimension")]
    return Quantity(key=key, units=units, number_format=fields.pop("format", ""), **fields)


def _word_list(key: str, words: Mapping[str, Sequence[str]]) -> WordList:
    likes = {plain(word): word for word in words}
    for word, others in words.items():
        for other in others:
            likes.setdefault(plain(other), word)
    title = key.replace("_", " ").capitalize()
    return WordList(kind=key, title=title, about="", unit="", words=tuple(words), amounts={}, likes=likes)


def _sheet(key: str, table: Mapping[str, Any], quantities: Mapping[str, Quantity]) -> SheetLayout:
    fields = dict(table)
    columns = tuple(_column(column, quantities) for column in fields.pop("columns", ()))
    settings = tuple(_column(column, quantities) for column in fields.pop("settings", ()))
    return SheetLayout(key=key, columns=columns, settings=settings, **fields)


def _column(table: Mapping[str, Any], quantities: Mapping[str, Quantity]) -> Column:
    fields = dict(table)
    quantity = fields.pop("quantity", None)
    likes = tuple(fields.pop("likes", ()))
    return Column(quantity=quantities[quantity] if quantity else None, likes=likes, **fields)
