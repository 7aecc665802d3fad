"""The worksheet functions in the real Calc: numbers, help, errors with a reason, saved and opened again."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.engine_rules.logbooks import ladder
from tests.workbook_template.hosts.office import Office, office_environment
from workbook_template.functions import FUNCTIONS, call

pytestmark = [pytest.mark.libreoffice, pytest.mark.live_calc]

JETS = [(float(size.label), size.bore_in) for size in ladder().sizes]
LAST = len(JETS)
HOT, COOL = (88.0, 29.42, 45.0), ("66 F", 29.92, 40.0)
LABELS, BORES = [[label] for label, _ in JETS], [[bore] for _, bore in JETS]
# Cells A1:C1 hold the hot air, A2:C2 the cool, A3 24, A4 nothing, F and G the jets.
CELLS: dict[str, Any] = {
    "A1": 88, "B1": 29.42, "C1": 45, "A2": "66 F", "B2": 29.92, "C2": 40, "A3": 24,
    **{f"F{row}": label for row, (label, _) in enumerate(JETS, 1)},
    **{f"G{row}": bore for row, (_, bore) in enumerate(JETS, 1)},
}  # fmt: skip
ANSWERED: dict[str, tuple[str, list[Any]]] = {
    "=STRAPLINE_AIR(A1;B1;C1)": ("AIR", [*HOT]),
    "=STRAPLINE_AIR(88;29.42;45%)": ("AIR", [*HOT]),
    '=STRAPLINE_AIR(A3&"C";996.3;C1)': ("AIR", ["24C", 996.3, 45.0]),
    "=STRAPLINE_DRY_AIR(A1;B1;C1)": ("DRY_AIR", [*HOT]),
    '=STRAPLINE_DENSITY_ALTITUDE(A2;B2;C2;"ft")': ("DENSITY_ALTITUDE", [*COOL, "ft"]),
    '=STRAPLINE_STATION_PRESSURE(30.02;850&" ft")': ("STATION_PRESSURE", [30.02, "850 ft"]),
    f"=STRAPLINE_JET(72;A1;B1;C1;A2;B2;C2;F1:F{LAST};G1:G{LAST})": ("JET", [72.0, *HOT, *COOL, LABELS, BORES]),
    f'=STRAPLINE_JET("72";A1;B1;C1;A2;B2;C2;F1:F{LAST + 5};G1:G{LAST + 5};"0.0012 in2")': (
        "JET", [72.0, *HOT, *COOL, LABELS, BORES, "0.0012 in2"]
    ),
    "=STRAPLINE_TAB_BEND_MM(-2;41)": ("TAB_BEND_MM", [-2.0, 41.0]),
    '=STRAPLINE_TAB_BEND_MM(-2;41;"crank")': ("TAB_BEND_MM", [-2.0, 41.0, "crank"]),
    '=STRAPLINE_WHY_NOT("AIR";A1;B1;C1)': ("WHY_NOT", ["AIR", *HOT]),
}  # fmt: skip
# What is given -> a part of the reason.
REFUSED = {
    "A3;B1;C1": "the temperature of 24 may be °F or °C",
    "A4;B1;C1": "the temperature is empty or 0",
    "A1;B1;A4": "the humidity is empty or 0",
    "A1;300;C1": "the pressure of 300 is not possible",
    "A1;B1:B2;C1": "the pressure takes one cell and got 2",
    'A1;"high";C1': "the pressure 'high' is not a number",
}


@pytest.fixture
def sheet(office: Office) -> Iterator[Office]:
    office.new(kind="scalc")
    office.write(formulas={cell: str(value) for cell, value in CELLS.items()})
    yield office
    office.close()


def put(sheet: Office, formulas: list[str]) -> list[str]:
    """The cells of column D that now hold these formulas."""
    cells = [f"D{row}" for row in range(1, len(formulas) + 1)]
    sheet.write(formulas=dict(zip(cells, formulas, strict=True)))
    return cells


def same(shown: list[Any]) -> bool:
    wanted = [call(name, given) for name, given in ANSWERED.values()]
    return shown == [pytest.approx(one, rel=1e-12) if isinstance(one, float) else one for one in wanted]


def test_the_numbers_are_the_librarys_also_when_saved_and_opened_again(sheet: Office, tmp_path: Path) -> None:
    cells = put(sheet, list(ANSWERED))
    assert same(sheet.shown(cells=cells))
    sheet.calculate()
    assert same(sheet.shown(cells=cells))
    for ending in ("ods", "xlsx"):
        path = tmp_path / f"saved.{ending}"
        sheet.save(path=str(path))
        sheet.open_beside(path=str(path))
        assert same(sheet.shown(cells=cells))
        sheet.calculate()
        assert same(sheet.shown(cells=cells))
        sheet.close_beside()
    # Calc writes its own name for a function into a file, whatever the cell shows; the values stand beside it.
    assert openpyxl.load_workbook(tmp_path / "saved.xlsx").worksheets[0]["D1"].value == "=STRAPLINE.AIR(A1,B1,C1)"
    cached = openpyxl.load_workbook(tmp_path / "saved.xlsx", data_only=True).worksheets[0]
    assert same([cached[cell].value or "" for cell in cells])


def test_a_refusal_is_an_error_and_the_companion_says_why(sheet: Office) -> None:
    cells = put(sheet, [f"=STRAPLINE_AIR({given})" for given in REFUSED])
    assert sheet.shown(cells=cells) == ["#VALUE!"] * len(REFUSED)
    cells = put(sheet, [f'=STRAPLINE_WHY_NOT("AIR";{given})' for given in REFUSED])
    for said, reason in zip(sheet.shown(cells=cells), REFUSED.values(), strict=True):
        assert reason in said
    both = put(sheet, ['=IFERROR(STRAPLINE_AIR(A3;B1;C1);STRAPLINE_WHY_NOT("AIR";A3;B1;C1))'])
    assert "may be °F or °C" in sheet.shown(cells=both)[0]


def test_the_function_wizard_has_the_help(sheet: Office) -> None:
    assert sheet.functions() == {
        function.name: [
            function.help,
            [[one.name.replace("_", " "), one.help, one.optional or one.several] for one in function.arguments],
        ]
        for function in FUNCTIONS.values()
    }


def test_no_interpreter_then_there_again(sheet: Office, tmp_path: Path) -> None:
    cells = put(sheet, ["=STRAPLINE_AIR(A1;B1;C1)", '=STRAPLINE_WHY_NOT("AIR";A1;B1;C1)'])
    first = sheet.helpers()
    assert len(first) == 1
    with sheet.asking(python=str(tmp_path / "gone"), function_rest_s=0.0):
        os.kill(first[0], signal.SIGKILL)
        sheet.calculate()
        number, reason = sheet.shown(cells=cells)
        assert number == "#VALUE!" and "cannot be started" in reason and "strapline addin calc" in reason
    sheet.calculate()
    assert sheet.shown(cells=cells) == [pytest.approx(call("AIR", HOT), rel=1e-12), ""]
    again = sheet.helpers()
    assert len(again) == 1 and again != first


def test_a_thousand_cells_with_one_process(sheet: Office) -> None:
    sheet.run(
        code="""
rows = tuple((f"=STRAPLINE_AIR({70 + row / 50};29.42;45)",) for row in range(1000))
doc.Sheets.getByIndex(0).getCellRangeByName("D1:D1000").setFormulaArray(rows)
"""
    )
    wanted = [[call("AIR", [70 + row / 50, 29.42, 45.0])] for row in range(1000)]
    for _ in range(2):
        assert sheet.values(area="D1:D1000") == [[pytest.approx(one, rel=1e-12)] for [one] in wanted]
        sheet.calculate()
    assert len(sheet.helpers()) == 1


@pytest.mark.parametrize("ending", ["ods", "xlsx"])
def test_where_strapline_is_missing_the_formulas_wait(sheet: Office, tmp_path: Path, ending: str) -> None:
    """Without it Calc shows the numbers of an .xlsx and #NAME? in an .ods; what it saves works again with strapline."""
    cells = put(sheet, list(ANSWERED))
    numbers = [one for one in sheet.shown(cells=cells) if isinstance(one, float)]
    log = tmp_path / f"log.{ending}"
    sheet.save(path=str(log))
    profile = f"-env:UserInstallation={(tmp_path / 'other').as_uri()}"
    command = ["soffice", profile, "--headless", "--convert-to"]
    for kind, folder in (("csv", tmp_path), (ending, tmp_path / "again")):
        convert = [*command, kind, "--outdir", str(folder), str(log)]
        subprocess.run(convert, check=True, capture_output=True, env=office_environment())
    shown = [line.split(",")[3] for line in (tmp_path / "log.csv").read_text().splitlines()]
    if ending == "xlsx":
        assert [float(one) for one in shown[: len(numbers)]] == pytest.approx(numbers, rel=1e-9)
    else:
        assert shown[: len(numbers)] == ["#NAME?"] * len(numbers)
    sheet.open_beside(path=str(tmp_path / "again" / log.name))
    sheet.calculate()
    assert same(sheet.shown(cells=cells))
    sheet.close_beside()
