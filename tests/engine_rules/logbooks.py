"""Small logbooks for tests: an engine, a shelf and runs from plain words and numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from engine_rules.feeds import barrels, feed_shares
from engine_rules.fuel import Jet, Ladder
from engine_rules.logbook import (
    Air,
    Cell,
    Conduct,
    CylinderPlace,
    Engine,
    Entry,
    Logbook,
    Reading,
    Result,
    Run,
    Sign,
    Station,
    Tuneup,
)
from engine_rules.plugs import Plug, PlugShelf
from engine_rules.targets import default_targets
from engine_rules.words import word_lists

V8_ORDER = (1, 8, 4, 3, 6, 5, 7, 2)
GOOD_RUN = {
    "new_plugs": True,
    "clean_cut": True,
    "idled_after": False,
    "lifted_or_spun": False,
    "full_load_s": 9.0,
    "pull": "pass",
    "timing_known_safe": True,
    "total_timing_deg": 34.0,
}
GOOD_PLUG = {"ring": "thin line", "strap_mark": "at bend", "specks": "none", "porcelain": "tan"}
COLUMNS = tuple(kind for kind in word_lists() if kind != "said_mixture")
NUMBERS = ("egt_c", "lambda_ratio", "timing_trim_deg", "fuel_trim_pct")


def v8(**settings: Any) -> Engine:
    """A V8 with a four-barrel on a single plane, odd numbers on the left; settings replace its fields."""
    places = {n: ("L" if n % 2 else "R", (n + 1) // 2) for n in range(1, 9)}
    return engine(places, V8_ORDER, **settings)


def engine(places: Mapping[int, tuple[str, int]], order: Sequence[int], **settings: Any) -> Engine:
    """An engine with cylinders at these banks and places."""
    carburetion = settings.get("carburetion", "one four-barrel")
    manifold = settings.get("manifold", "single plane")
    shares = feed_shares(
        carburetion, manifold, places, tuple(order), left_side_feeds=settings.pop("left_side_feeds", None)
    )
    plain = {
        "name": "test engine",
        "fuel": "leaded gasoline",
        "arrangement": "V",
        "run_length": "short",
        "carburetion": carburetion,
        "manifold": manifold,
        "firing_order": tuple(order),
        "tab_radius_mm": 25.0,
        "trim_step_deg": 0.5,
        "fuel_trim_step_pct": 1.0,
    }
    near = settings.pop("near_intake_valve", ())
    cylinders = tuple(
        CylinderPlace(number, bank, place, shares[number], number in near) for number, (bank, place) in places.items()
    )
    stations = (
        ()
        if carburetion == "EFI"
        else tuple(Station(one.name, one.end, one.side) for one in barrels(carburetion, places))
    )
    return Engine(cylinders=cylinders, stations=stations, **{**plain, **settings})


def ladder(missing: Sequence[str] = ()) -> Ladder:
    """Sizes 60 to 96 by twos, a thousandth of an inch a number; `missing` are not on hand."""
    return Ladder(tuple(Jet(str(n), n / 1000, str(n) not in missing) for n in range(60, 98, 2)))


def shelf(missing: Sequence[str] = ()) -> PlugShelf:
    """Plugs A (hot) to E (cold); C and D with projected tips beside regular ones (Cp, Dp)."""
    rows = [
        ("A", 1, "regular"),
        ("B", 2, "regular"),
        ("C", 3, "regular"),
        ("D", 4, "regular"),
        ("E", 5, "regular"),
        ("Cp", 3, "projected"),
        ("Dp", 4, "projected"),
    ]
    return PlugShelf(tuple(Plug(label, heat, tip, label not in missing) for label, heat, tip in rows))


def sign(kind: str, seen: str | float, cell: Cell | None = None, certainty: float = 1.0) -> Sign:
    """A sign from its word, or from a measure in the scale's unit."""
    if isinstance(seen, str):
        amount = word_lists()[kind].amounts.get(seen)
        assert seen in word_lists()[kind].words, f"{seen} is no word of {kind}"
        return Sign(kind, seen, amount, cell, seen, certainty)
    return Sign(kind, None, float(seen), cell, str(seen), certainty)


def reading(cylinder: int, row: int, seen: Mapping[str, Any]) -> Reading:
    """One cylinder's row: words and numbers by their column's key; 'also_seen' may hold several words."""
    places = {
        kind: Cell("Readings", f"{letter}{row}")
        for kind, letter in zip(("plug", *COLUMNS, *NUMBERS, "said_mixture"), "CDEFGHIJKLMNOP", strict=True)
    }
    signs: list[Sign] = []
    for kind, value in seen.items():
        if kind in word_lists():
            words = value.split(", ") if kind == "also_seen" else [value]
            signs.extend(sign(kind, word, places[kind]) for word in words)
    numbers = {key: Entry(float(seen[key]), places[key]) for key in NUMBERS if key in seen}
    plug = Entry(str(seen.get("plug", "C")), places["plug"])
    return Reading(cylinder, plug=plug, signs=tuple(signs), places=places, **numbers)


def run(
    name: str,
    of: Engine,
    said: Mapping[str, Any],
    plugs: Mapping[int, Mapping[str, Any]],
    jets: str | Mapping[str, str] = "76",
) -> Run:
    """A run: what was said of it by key, and what each cylinder's plug shows."""
    row = 2 + sum(ord(letter) for letter in name) % 50
    places = {
        key: Cell("Runs", f"{letter}{row}")
        for key, letter in zip(
            (
                "pull",
                "new_plugs",
                "clean_cut",
                "idled_after",
                "lifted_or_spun",
                "full_load_s",
                "laps",
                "timing_known_safe",
                "total_timing_deg",
                "temp_c",
                "pressure_pa",
                "humidity_pct",
            ),
            "CDEFGHIJKLMN",
            strict=True,
        )
    }

    def entry(key: str) -> Entry[Any] | None:
        return None if said.get(key) is None else Entry(said[key], places.get(key, Cell("Runs", f"Z{row}")))

    fitted = {station.name: jets if isinstance(jets, str) else jets[station.name] for station in of.stations}
    return Run(
        name=name,
        air=Air(
            **{key: entry(key) for key in ("temp_c", "pressure_pa", "pressure_kind", "altitude_m", "humidity_pct")}
        ),
        tuneup=Tuneup(
            {s: Entry(label, Cell("Runs", f"P{row}")) for s, label in fitted.items()},
            entry("total_timing_deg"),
            entry("timing_known_safe"),
        ),
        conduct=Conduct(
            **{
                key: entry(key)
                for key in ("pull", "new_plugs", "clean_cut", "idled_after", "lifted_or_spun", "full_load_s", "laps")
            }
        ),
        result=Result(**{key: entry(key) for key in ("et_s", "speed_m_s", "lap_time_s", "power_kw", "weight_kg")}),
        bank_lambda={bank: Entry(value) for bank, value in said.get("bank_lambda", {}).items()},
        reference=bool(said.get("reference", False)),
        readings=tuple(reading(number, 2 + place, seen) for place, (number, seen) in enumerate(plugs.items())),
        places=places,
    )


def logbook(of: Engine, *runs: Run, **changes: Any) -> Logbook:
    """A logbook of this engine with the test shelf and the default targets."""
    return replace(Logbook(of, ladder(), shelf(), tuple(runs), default_targets()), **changes)


def good_set(of: Engine, **seen: Any) -> dict[int, dict[str, Any]]:
    """The same plug in every cylinder: all as it should be, apart from what is given."""
    return {number: {**GOOD_PLUG, **seen} for number in of.numbers}
