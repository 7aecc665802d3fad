"""Every example workbook: Calc gives the advice and writes the cells that the file host does; one undo ends it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from strapline_demo.season import build_season
from tests.workbook_template.hosts.calc_documents import as_a_file_has_it, differences, file_filled
from tests.workbook_template.hosts.office import Office
from tests.workbook_template.racers_books import LAYOUTS
from tests.workbook_template.styled_books import styled
from workbook_template.build import BlankOptions

pytestmark = [pytest.mark.libreoffice, pytest.mark.live_calc]

STYLES = ("rows", "wide", "form")
EXAMPLES: Mapping[str, Callable[[Path], object]] = {
    "the season of the demo": build_season,
    **{f"a blank one, {style}": lambda path, style=style: styled(BlankOptions(), style).save(path) for style in STYLES},
    **{name: lambda path, make=make: make().save(path) for name, make in LAYOUTS.items()},
}


@pytest.mark.parametrize("example", EXAMPLES)
def test_filled_as_a_file_is_and_undone_at_once(office: Office, tmp_path: Path, example: str) -> None:
    log, out = tmp_path / "log.xlsx", tmp_path / "out.xlsx"
    EXAMPLES[example](log)
    data = file_filled(log, out)
    office.open(path=str(log))
    try:
        before, marks = office.snapshot(looks=True), office.marks()
        said = office.press(command="fill")
        assert said.get("data") == data, said
        filled = office.snapshot(looks=True)
        assert office.undo_titles() == ["strapline: Fill"] and office.marks()
        office.undo()
        assert differences(office.snapshot(looks=True), before) == [] and office.marks() == marks
        office.redo()
        assert differences(office.snapshot(looks=True), filled) == []
        for ending in ("ods", "xlsx"):
            office.save(path=str(tmp_path / f"saved.{ending}"))
            assert differences(filled, office.beside(path=str(tmp_path / f"saved.{ending}"))) == []
    finally:
        office.close()
    office.open(path=str(out))
    try:
        assert differences(as_a_file_has_it(filled), office.snapshot(looks=True)) == []
    finally:
        office.close()
