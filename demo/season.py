"""Builds the workbook of the invented season in season.toml, as its racer would have filled it in."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from workbook_template.build import BlankOptions, append_run, build_blank

WEIGHT_KG = 1270.0


def build_season(path: Path) -> None:
    """Write the season's workbook, not yet filled. Raises OSError where it cannot be written."""
    season = tomllib.loads(resources.files(__package__).joinpath("season.toml").read_text("utf-8"))
    engine = dict(season["engine"])
    settings = engine.pop("settings")
    engine["firing_order"] = tuple(engine["firing_order"])
    book = build_blank(BlankOptions(**engine))
    for row in book["Engine"].iter_rows(max_col=2):
        heading = str(row[0].value or "").split(" (")[0]
        if heading in settings:
            row[1].value = settings[heading]
    for run in season["run"]:
        append_run(book, _run(run), _plugs(run["plugs"]))
    book.save(path)


def _run(run: Mapping[str, Any]) -> dict[str, Any]:
    values = {key: value for key, value in run.items() if key not in ("jets", "plugs")}
    jets = {f"jets.{station}": label for station, label in run["jets"].items()}
    said = {"pull": "pass", "pressure_kind": "station", "new_plugs": True, "lifted_or_spun": False}
    return said | {"weight_kg": WEIGHT_KG} | values | jets


def _plugs(plugs: Mapping[str, Any]) -> dict[int, dict[str, Any]]:
    cylinders = range(1, len(plugs["ring"]) + 1)
    return {
        number: {key: value[number - 1] if isinstance(value, list) else value for key, value in plugs.items()}
        for number in cylinders
    }
