"""What a blank workbook fills in beforehand: banks, firing order, feeds, a ladder of jets, a shelf of plugs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from engine_rules.feeds import ONE_TO_ONE, Places, barrels, feed_shares
from engine_rules.logbook import LogbookError
from engine_rules.spark import check_firing_order
from workbook_template.layout import Column, SheetLayout, layout

MOST_CYLINDERS = 12
STYLES = ("rows", "wide", "form")


@dataclass(frozen=True, slots=True)
class BlankOptions:
    """What a blank workbook is made for. Words are those of the lists of layout.toml, or what racers write for them.

    units: 'us' or 'si'. style: 'rows', a row for each run and each reading; 'wide', a row for each run; 'form', a page
    for each run, to write on by hand. manifold and firing_order: None for what is usual.
    """

    cylinders: int = 8
    arrangement: str = "V"
    units: str = "us"
    carburetion: str = "one four-barrel"
    manifold: str | None = None
    fuel: str = "leaded gasoline"
    run_length: str = "short"
    firing_order: Sequence[int] | None = None
    timing_hardware: str = "none"
    name: str = ""
    style: str = "rows"


@dataclass(frozen=True, slots=True)
class StarterEngine:
    """The engine of a blank workbook: settings as words, places, stations by name, shares where they are not 1 to 1."""

    words: Mapping[str, str]
    units: str
    firing_order: tuple[int, ...]
    places: Places
    stations: tuple[str, ...]
    ends: frozenset[str]
    shares: Mapping[int, Mapping[str, float]]

    def wants(self, only: str) -> bool:
        """True where a column marked `only` belongs into this workbook."""
        match only:
            case "carburetor":
                return bool(self.stations)
            case "EFI":
                return not self.stations
            case "banks":
                return any(bank for bank, _ in self.places.values())
            case "single row":
                return not any(bank for bank, _ in self.places.values())
            case "shared":
                return bool(self.shares)
        return True

    def columns(self, sheet: SheetLayout) -> list[Column]:
        """The columns of a sheet that belong into this workbook."""
        return [column for column in sheet.columns_for(self.stations) if self.wants(column.only)]


def starter_engine(options: BlankOptions) -> StarterEngine:
    """The engine that the options ask for. Raises LogbookError for what cannot be."""
    words = {key: _word(key, str(getattr(options, key))) for key in _LISTED}
    if options.style not in STYLES:
        raise LogbookError(f"style '{options.style}' is not known; use one of {', '.join(STYLES)}")
    if options.units not in ("us", "si"):
        raise LogbookError(f"units '{options.units}' are not known; use us or si")
    if not 1 <= options.cylinders <= MOST_CYLINDERS:
        raise LogbookError(f"{options.cylinders} cylinders are not possible; use 1 to {MOST_CYLINDERS}")
    one_to_one = words["carburetion"] in ONE_TO_ONE
    usual = "individual runner" if one_to_one else "single plane" if "four" in words["carburetion"] else "other"
    words["manifold"] = _word("manifold", options.manifold or usual)
    # What an injection's computer goes by cannot be guessed; the racer is asked.
    words |= {} if words["carburetion"] == "EFI" else {"metering": "venturi"}
    places = _places(options.cylinders, words["arrangement"])
    order = tuple(options.firing_order or _usual_order(options.cylinders, words["arrangement"]))
    try:
        check_firing_order(order)
        if set(order) != set(places):
            raise ValueError(f"the firing order must name each cylinder from 1 to {options.cylinders} once")
        stations = () if words["carburetion"] == "EFI" else barrels(words["carburetion"], places)
        shares = feed_shares(words["carburetion"], words["manifold"], places, order)
    except ValueError as error:
        raise LogbookError(str(error)) from None
    return StarterEngine(
        words=words,
        units=options.units,
        firing_order=order,
        places=places,
        stations=tuple(station.name for station in stations),
        ends=frozenset(station.end for station in stations),
        shares={} if one_to_one or len(stations) < 2 else shares,
    )


_LISTED = ("arrangement", "carburetion", "fuel", "run_length", "timing_hardware")


def _word(key: str, written: str) -> str:
    words = layout().lists[key]
    word = words.find(written)
    if word is None:
        raise LogbookError(f"{key.replace('_', ' ')} '{written}' is not known; use one of {', '.join(words.words)}")
    return word


def _places(cylinders: int, arrangement: str) -> Places:
    """Odd numbers stand on the left bank and even ones on the right, front to rear; a single row has no bank."""
    if arrangement == "inline" or cylinders == 1:
        return {number: ("", number) for number in range(1, cylinders + 1)}
    return {number: ("L" if number % 2 else "R", (number + 1) // 2) for number in range(1, cylinders + 1)}


def _usual_order(cylinders: int, arrangement: str) -> tuple[int, ...]:
    return layout().firing_orders[arrangement].get(cylinders, tuple(range(1, cylinders + 1)))


def starter_jets(fuel: str, units: str) -> tuple[tuple[int, float], ...]:
    """Labels and bores of a neutral ladder, (label, bore in the unit of the heading); they only repeat the number.

    Alcohol needs about twice the fuel, so its ladder starts larger.
    """
    if units == "si":
        numbers = range(250, 485, 5) if fuel == "methanol" else range(120, 255, 5)
        return tuple((number, number / 100.0) for number in numbers)
    numbers = range(100, 192, 2) if fuel == "methanol" else range(60, 100)
    return tuple((number, number / 1000.0) for number in numbers)


STARTER_PLUGS = (
    ("A", 1, "projected"),
    ("B", 2, "projected"),
    ("C", 3, "regular"),
    ("D", 4, "regular"),
    ("E", 5, "retracted"),
)
