"""The log as pandas tables, for those who want to look at it in their own way. Units stand in the names."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pandas as pd

from engine_rules.logbook import Entry, Logbook, Reading, Run


def runs_frame(logbook: Logbook) -> pd.DataFrame:
    """A row for each run, by its name, oldest first; what was not logged is missing, never zero."""
    rows = [_run_row(run) for run in logbook.runs]
    return pd.DataFrame(rows).set_index("run") if rows else pd.DataFrame(index=pd.Index([], name="run"))


def readings_frame(logbook: Logbook) -> pd.DataFrame:
    """A row for each cylinder of each run, by both; a sign has its word, and on a scale its amount beside it."""
    rows = [_reading_row(run, reading) for run in logbook.runs for reading in run.readings]
    empty = pd.MultiIndex.from_arrays([[], []], names=["run", "cylinder"])
    return pd.DataFrame(rows).set_index(["run", "cylinder"]) if rows else pd.DataFrame(index=empty)


def _run_row(run: Run) -> dict[str, Any]:
    row: dict[str, Any] = {"run": run.name, "when": run.when, "place": _value(run.place), "reference": run.reference}
    for part in (run.air, run.conduct, run.result):
        row |= {one.name: _value(getattr(part, one.name)) for one in fields(part)}
    row |= {f"jet_{station}": entry.value for station, entry in run.tuneup.jets.items()}
    row |= {f"lambda_{bank}": entry.value for bank, entry in run.bank_lambda.items()}
    row["total_timing_deg"] = _value(run.tuneup.total_timing_deg)
    row["timing_known_safe"] = _value(run.tuneup.timing_known_safe)
    return row


def _reading_row(run: Run, reading: Reading) -> dict[str, Any]:
    row: dict[str, Any] = {"run": run.name, "cylinder": reading.cylinder, "plug": _value(reading.plug)}
    for sign in reading.signs:
        row.setdefault(sign.kind, sign.word)
        if sign.amount is not None:
            row.setdefault(f"{sign.kind}_amount", sign.amount)
    for key in ("egt_c", "lambda_ratio", "timing_trim_deg", "fuel_trim_pct"):
        row[key] = _value(getattr(reading, key))
    return row


def _value(entry: Entry[Any] | None) -> Any:
    return None if entry is None else entry.value
