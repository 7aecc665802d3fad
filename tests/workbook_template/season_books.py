"""A logged season on disk, whose numbers are plain to work out: what each run changed, read and gave."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from workbook_template.build import BlankOptions, append_run, build_blank

V8 = BlankOptions(timing_hardware="tabs", name="Blue car")
# Runs whose set is not fit to tune from, and that were not read at all.
USED_PLUGS, UNREAD = "3", "6"
# Every second run changes one thing, the fifth of them several at once.
CHANGES: Mapping[int, Mapping[str, Any]] = {
    2: {"jets.LF": "76"},
    4: {"total_timing_deg": 33.0},
    7: {"jets.LF": "78", "jets.RF": "78", "jets.LR": "82", "jets.RR": "80"},
}


def season_log(
    path: Path, runs: int = 9, options: BlankOptions = V8, more: Mapping[int, Mapping[str, Any]] | None = None
) -> Path:
    """Runs 1, 2 ...: ring 0.5 mm and 0.05 more each run, 0.1 more each cylinder; EGT 700 °C and 2 more each cylinder.

    more: run -> what else was logged of it, by column key.
    """
    book = build_blank(options)
    set_up: dict[str, Any] = {"total_timing_deg": 34.0}
    if options.carburetion == "one four-barrel":
        set_up |= {"jets.LF": "74", "jets.RF": "76", "jets.LR": "80", "jets.RR": "80"}
    for number in range(1, runs + 1):
        set_up |= {key: value for key, value in CHANGES.get(number, {}).items() if key in set_up}
        said = {
            "name": str(number),
            "when": datetime(2026, 3, 1, 10) + timedelta(days=number),
            "place": "Home strip",
            "pull": "pass",
            "new_plugs": str(number) != USED_PLUGS,
            "clean_cut": True,
            "full_load_s": 9.0,
            "temp_c": 20.0,
            "pressure_pa": 100_000.0,
            "pressure_kind": "station",
            "humidity_pct": 40.0,
            "et_s": 10.0 + number / 100.0,
            "weight_kg": 1400.0,
        }
        append_run(book, said | set_up | dict((more or {}).get(number, {})), _plugs(number, options.cylinders))
    book.save(path)
    return path


def _plugs(number: int, cylinders: int) -> dict[int, dict[str, Any]]:
    if str(number) == UNREAD:
        return {}
    return {
        cylinder: {
            "plug": "B",
            "ring_mm": ring_mm(number, cylinder),
            "strap_mark": "at bend",
            "egt_c": 700.0 + 2.0 * cylinder,
        }
        for cylinder in range(1, cylinders + 1)
    }


def ring_mm(number: int, cylinder: int) -> float:
    """The ring of a cylinder on a run."""
    return round(0.5 + 0.05 * number + 0.1 * cylinder, 3)
