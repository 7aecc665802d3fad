"""The log as pandas tables."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from engine_rules.logbook import Logbook
from strapline_demo.season import build_season
from tests.engine_rules.logbooks import GOOD_RUN, logbook, run, v8
from workbook_template.frames import readings_frame, runs_frame
from workbook_template.hosts.blocks import blocks_from_file
from workbook_template.read import read_logbook


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Logbook:
    path: Path = tmp_path_factory.mktemp("frames") / "season.xlsx"
    build_season(path)
    return read_logbook(blocks_from_file(path)).logbook


def test_runs_are_rows_in_units_that_their_names_say(season: Logbook) -> None:
    frame = runs_frame(season)
    first = season.runs[0]
    assert list(frame.index) == [one.name for one in season.runs]
    assert first.air.temp_c is not None
    assert frame.loc[first.name, "temp_c"] == pytest.approx(first.air.temp_c.value)
    assert frame["jet_LF"].tolist() == [one.tuneup.jets["LF"].value for one in season.runs]
    assert frame["when"].is_monotonic_increasing


def test_readings_are_rows_by_run_and_cylinder(season: Logbook) -> None:
    frame = readings_frame(season)
    assert len(frame) == 8 * len(season.runs)
    middle = frame.groupby("run")["ring_amount"].mean()
    assert middle.notna().all()
    assert frame.loc[("2", 5), "egt_c"] == pytest.approx(season.run("2").reading(5).egt_c.value)  # type: ignore[union-attr]


def test_what_was_not_logged_is_missing_and_never_zero() -> None:
    of = v8()
    log = logbook(of, run("1", of, {**GOOD_RUN, "full_load_s": None}, {3: {"ring": "wide"}}))
    assert pd.isna(runs_frame(log).loc["1", "full_load_s"])
    assert pd.isna(readings_frame(log).loc[("1", 3), "lambda_ratio"])


def test_an_empty_log_gives_empty_tables() -> None:
    empty = logbook(v8())
    assert runs_frame(empty).empty and readings_frame(empty).empty
