"""The season of the invented car: from a reading that may not be tuned from to a settled set."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from engine_rules.advice import Advice
from engine_rules.session import advise_each
from strapline_demo.season import build_season
from workbook_template.hosts.blocks import blocks_from_file
from workbook_template.read import read_logbook

DEMO = Path(__file__).parents[1] / "demo"


@pytest.fixture(scope="module")
def advices(tmp_path_factory: pytest.TempPathFactory) -> list[Advice]:
    log = tmp_path_factory.mktemp("demo") / "season.xlsx"
    build_season(log)
    book = read_logbook(blocks_from_file(log)).logbook
    return list(advise_each(book, [run.name for run in book.runs]))


def test_the_season_is_long_and_goes_from_unreadable_to_settled(advices: list[Advice]) -> None:
    assert len(advices) >= 12
    assert not advices[0].readable and advices[0].stage == "reading"
    assert [advice.stage for advice in advices[-2:]] == ["settled", "settled"]
    assert not any(advice.must_not_run for advice in advices[-3:])


def test_the_season_passes_through_the_work_in_its_order(advices: list[Advice]) -> None:
    stages = [advice.stage for advice in advices]
    assert {"safety", "fuel", "heat", "timing", "spread"} <= set(stages)
    assert stages.index("safety") < stages.index("fuel") < stages.index("spread")


def test_the_filled_workbook_beside_it_is_the_one_that_the_demo_makes(advices: list[Advice]) -> None:
    readings = openpyxl.load_workbook(DEMO / "season.xlsx")["Readings"]
    heading = next(row for row in readings.iter_rows(max_row=6, values_only=True) if "Mixture (%)" in row)
    column = heading.index("Mixture (%)")
    rows = [
        row for row in readings.iter_rows(values_only=True) if row[0] not in (None, "Run") and row[column] is not None
    ]
    newest = advices[-1]
    written = {int(str(row[1])): row[column] for row in rows if str(row[0]) == newest.run}
    assert written == {one.cylinder: pytest.approx(one.mixture_pct, abs=0.06) for one in newest.cylinders}
