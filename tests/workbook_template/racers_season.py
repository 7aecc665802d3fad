"""One season, as the cells of an ordinary workbook and as plain data from which racers' own layouts are made."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, time
from functools import cache
from typing import Any

from openpyxl.workbook import Workbook

from engine_rules import advise
from tests.workbook_template.logged_books import column_of
from workbook_template.build import BlankOptions, build_blank
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.read import read_logbook

CYLINDERS = tuple(range(1, 9))
Run = Mapping[str, Any]

# Keys of a run, in US units as written; `jets` LF RF LR RR.
_COMMON = {
    "place": "home strip", "pull": "pass", "pressure_kind": "station", "altitude_m": 850, "timing_known_safe": "yes",
    "new_plugs": "yes", "clean_cut": "yes", "idled_after": "no", "lifted_or_spun": "no", "full_load_s": 9.5,
    "weight_kg": 3150,
}  # fmt: skip
_RUNS = (
    ("11", date(2026, 4, 4), time(10, 30), 68, 29.42, 40, (72, 72, 80, 80), 34, {}, 10.52, 126.1, "cool and dry"),
    ("12", date(2026, 4, 4), time(13, 15), 74, 29.38, 42, (72, 72, 82, 82), 34, {}, 10.47, 126.8, "went straight"),
    ("13", date(2026, 4, 18), time(11, 0), 70, 29.51, 45, (74, 74, 82, 82), 35, {5: -2, 7: -2}, 10.44, 127.2, "good"),
    ("14", date(2026, 4, 18), time(15, 45), 77, 29.47, 48, (74, 74, 84, 84), 35, {}, 10.42, 127.4, "last one"),
)
_RINGS = ("thin line", "thin line", "trace", "thin line", "wide", "thin line", "trace", "thin line")
_STRAPS = ("at bend", "at bend", "past bend", "at bend", "at bend", "short of bend", "past bend", "at bend")
RUN_COLUMNS = {
    "name": "Run", "date": "Date", "time": "Time", "place": "Place", "pull": "Pull", "temp_c": "Air temp (°F)",
    "pressure_pa": "Pressure (inHg)", "pressure_kind": "Pressure kind", "altitude_m": "Altitude (ft)",
    "humidity_pct": "Humidity (%)", "total_timing_deg": "Total timing (°)", "timing_known_safe": "Timing known safe",
    "new_plugs": "New plugs", "clean_cut": "Clean cut", "idled_after": "Idled after",
    "lifted_or_spun": "Lifted or spun", "full_load_s": "Full load (s)", "et_s": "ET (s)", "speed_m_s": "Speed (mph)",
    "weight_kg": "Weight (lb)", "reference": "Reference", "notes": "Notes",
}  # fmt: skip
PLUG_COLUMNS = {
    "plug": "Plug", "ring": "Ring", "shell_ring": "Shell ring", "strap_mark": "Strap mark", "specks": "Specks",
    "porcelain": "Porcelain", "egt_c": "EGT (°F)", "lambda_ratio": "Lambda", "timing_trim_deg": "Timing trim (°)",
}  # fmt: skip
CORNERS = ("LF", "RF", "LR", "RR")


def season() -> tuple[Run, ...]:
    """The runs, each with its `jets`, and under `plugs` the cells of each cylinder."""
    return tuple(_run(at, *fields) for at, fields in enumerate(_RUNS))


def _run(
    at: int, name: str, day: date, hour: time, temp: int, baro: float, humid: int, jets: tuple[int, ...],
    timing: int, trims: Mapping[int, int], et: float, mph: float, notes: str,
) -> Run:  # fmt: skip
    plugs = {
        number: {
            "plug": "B",
            "ring": _RINGS[(number + at) % 8],
            "shell_ring": "3/4 turn" if number % 3 else "full",
            "strap_mark": _STRAPS[(number + 2 * at) % 8],
            "specks": "none",
            "porcelain": "tan" if number != 4 else "white",
            "egt_c": 1320 + 7 * ((3 * number + at) % 8),
            "lambda_ratio": round(0.86 + 0.005 * ((number + at) % 5), 3),
            "timing_trim_deg": trims.get(number),
        }
        for number in CYLINDERS
    }
    return {
        **_COMMON, "name": name, "date": day, "time": hour, "temp_c": temp, "pressure_pa": baro,
        "humidity_pct": humid, "jets": jets, "total_timing_deg": timing, "et_s": et, "speed_m_s": mph,
        "reference": "yes" if name == "13" else None, "notes": notes, "plugs": plugs,
    }  # fmt: skip


def blank_parts(options: BlankOptions | None = None) -> Workbook:
    """A workbook with the sheets Engine, Jets and Plugs alone."""
    book = build_blank(options or BlankOptions(timing_hardware="tabs"))
    for name in ("Start here", "Runs", "Readings", "Targets"):
        del book[name]
    return book


def ordinary(runs: Iterable[Run] | None = None) -> Workbook:
    """The season in the blank workbook's own layout."""
    book = build_blank(BlankOptions(timing_hardware="tabs"))
    log, plugs = book["Runs"], book["Readings"]
    row = 4
    for at, run in enumerate(season() if runs is None else runs):
        for key, heading in RUN_COLUMNS.items():
            log.cell(4 + at, column_of(log, heading), run[key])
        for corner, jet in zip(CORNERS, run["jets"], strict=True):
            log.cell(4 + at, column_of(log, f"Jet {corner}"), jet)
        for number, cells in run["plugs"].items():
            plugs.cell(row, 1, run["name"])
            plugs.cell(row, 2, number)
            for key, heading in PLUG_COLUMNS.items():
                plugs.cell(row, column_of(plugs, heading), cells[key])
            row += 1
    return book


def advice_of(logbook: Any) -> dict[str, dict[str, Any]]:
    """Run -> advice as plain data, the cells taken out of it."""
    return {run.name: without_cells(advise(logbook, run.name).as_json()) for run in logbook.runs}


@cache
def ordinary_advice() -> Mapping[str, Mapping[str, Any]]:
    """The advice for the season in the ordinary layout."""
    return advice_of(read_logbook(blocks_from_workbook(ordinary())).logbook)


def without_cells(data: Any) -> Any:
    """Plain data with every 'cell' taken out; lists that stand in the order of cells are put in that of their texts."""
    if isinstance(data, Mapping):
        plain = {key: without_cells(value) for key, value in data.items() if key != "cell"}
        return {key: sorted(value, key=str) if key in ("facts", "one_short") else value for key, value in plain.items()}
    return [without_cells(one) for one in data] if isinstance(data, list | tuple) else data
