"""What a racer's own workbook leaves open: asked, not guessed; corrected once, and kept."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from engine_rules import advise
from engine_rules.logbook import LogbookError
from tests.workbook_template.racers_books import LAYOUTS
from tests.workbook_template.racers_season import advice_of, ordinary, ordinary_advice, season
from workbook_template.command_line import run_command
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.hosts.protocol import SheetBlock
from workbook_template.how_read import HEADS, HOW_READ, NotRecognised
from workbook_template.log_file import ask_first, fill_cars, fill_in, open_log
from workbook_template.read import ReadBook, read_logbook, read_logbooks

BLOCKS = "a row for each run, a block for each cylinder"


def book_with(change: Callable[[Worksheet], None], without: tuple[str, ...] = ()) -> Workbook:
    """The season in blocks, its log changed, without those sheets."""
    book = LAYOUTS[BLOCKS]()
    change(book["Runs 2026"])
    for name in without:
        del book[name]
    return book


def head(page: Worksheet, old: str, new: str | None, values: list[object] | None = None) -> None:
    """Rename a column, and put other values under it."""
    cell = next(cell for cell in page[1] if cell.value == old)
    cell.value = new
    for at, value in enumerate(values or [], start=1):
        cell.offset(at, 0).value = value


def read(book: Workbook) -> ReadBook:
    return read_logbook(blocks_from_workbook(book))


def asked(book: ReadBook) -> dict[str, str]:
    """Heading -> its question."""
    assert book.how_read is not None
    return {line.written: line.question for line in book.how_read.headings if line.question}


@pytest.mark.parametrize(
    ("heading", "values", "question"),
    [
        ("Elevation", [850, 850, 850, 850], "in ft or m?"),
        ("Temp", [50, 60, 55, 58], "in °F or °C?"),
        ("Weight", [3150, 3150, 3150, 3150], "in lb or kg?"),
        ("Baro", [760, 755, 752, 760], "in hPa or mmHg?"),
        ("Baro", [29.4, 1013, 29.4, 29.4], "No unit fits all"),
    ],
)
def test_a_unit_that_could_be_two_is_asked_and_not_used(heading: str, values: list[object], question: str) -> None:
    old = {"Elevation": "Elevation (ft)", "Temp": "Temp F", "Weight": "Weight lbs"}.get(heading, heading)
    book = read(book_with(lambda page: head(page, old, heading, values)))
    assert question in asked(book)[heading]
    run = book.logbook.runs[0]
    value = {
        "Elevation": run.air.altitude_m, "Temp": run.air.temp_c, "Weight": run.result.weight_kg,
        "Baro": run.air.pressure_pa,
    }[heading]  # fmt: skip
    assert value is None


@pytest.mark.parametrize(
    ("values", "pascal"),
    [([29.92] * 4, 101_320.8), ([1013] * 4, 101_300.0), ([101.3] * 4, 101_300.0), (['29.92"'] * 4, 101_320.8)],
)
def test_a_unit_that_can_only_be_one_is_taken(values: list[object], pascal: float) -> None:
    pressure = read(book_with(lambda page: head(page, "Baro", "Baro", values))).logbook.runs[0].air.pressure_pa
    assert pressure is not None and pressure.value == pytest.approx(pascal, rel=1e-4)


def test_a_cell_that_names_its_unit_is_read_under_a_heading_that_is_asked() -> None:
    book = read(book_with(lambda page: head(page, "Temp F", "Temp", ["60 F", 60, 55, 58])))
    first, second = (run.air.temp_c for run in book.logbook.runs[:2])
    assert first is not None and first.value == pytest.approx(15.56, abs=0.01)
    assert second is None and "Temp" in asked(book)


def test_a_heading_that_only_resembles_one_is_asked_and_not_used() -> None:
    book = read(book_with(lambda page: head(page, "Timing", "Timming")))
    assert "Total timing" in asked(book)["Timming"]
    assert all(run.tuneup.total_timing_deg is None for run in book.logbook.runs)


def test_a_resemblance_that_its_words_confirm_is_used_and_said() -> None:
    book = read(book_with(lambda page: head(page, "Cyl 4 Porcelain", "Cyl 4 Porcelan")))
    assert advice_of(book.logbook) == ordinary_advice()
    assert book.how_read is not None
    assert [one.sure for one in book.how_read.headings if one.written == "Cyl n Porcelan"] == ["likely"]


def test_a_column_that_nothing_resembles_is_listed() -> None:
    book = read(book_with(lambda page: head(page, "Comments", "Moon phase")))
    assert asked(book) == {"Moon phase": "what is this?"}


@pytest.mark.parametrize("written", ["72", "72-80", "front 72", "+2 rear"])
def test_jets_that_are_not_clear_are_asked_and_unknown(written: str) -> None:
    def change(page: Worksheet) -> None:
        head(page, "LF jet", "Jets", [written, "72/80", "same", "+1 all"])
        for corner in ("RF", "LR", "RR"):
            head(page, f"{corner} jet", None)

    book = read(book_with(change))
    assert book.how_read is not None
    assert [one.text.startswith("which jets does") for one in book.how_read.questions] == [True]
    found = [{corner: jet.value for corner, jet in run.tuneup.jets.items()} for run in book.logbook.runs]
    same = {"LF": "72", "RF": "72", "LR": "80", "RR": "80"}
    assert found == [{}, same, same, {corner: str(int(jet) + 1) for corner, jet in same.items()}]


def test_timing_that_is_not_clear_is_asked_and_unknown() -> None:
    book = read(book_with(lambda page: head(page, "Timing", "Timing", ["34/32", "34", "-2 #7", "35 -1 on 3 & 5"])))
    totals = [run.tuneup.total_timing_deg for run in book.logbook.runs]
    assert [None if one is None else one.value for one in totals] == [None, 34.0, 34.0, 35.0]
    assert book.how_read is not None and "what timing does '34/32' mean" in book.how_read.questions[0].text
    trims = [reading.timing_trim_deg for reading in book.logbook.runs[2].readings]
    assert trims[6] is not None and trims[6].value == -2.0


def test_blanks_are_unchanged_where_the_log_writes_only_what_changes() -> None:
    assert [run["jets"][2] for run in season()] == [80, 82, 82, 84]
    book = read(book_with(lambda page: head(page, "LR jet", "LR jet", [80, 82, None, 84])))
    assert advice_of(book.logbook) == ordinary_advice()
    assert any("was taken as unchanged" in finding.text for finding in book.logbook.findings)


def test_blanks_are_asked_where_the_log_shows_no_such_habit() -> None:
    book = read(book_with(lambda page: head(page, "LR jet", "LR jet", [80, None, 80, 84])))
    assert book.how_read is not None
    assert "does a blank mean unchanged" in book.how_read.questions[0].text
    assert "LR" not in book.logbook.runs[1].tuneup.jets


def test_without_engine_jets_and_plugs_nothing_of_them_is_guessed() -> None:
    book = read(book_with(lambda page: None, without=("Engine", "Jets", "Plugs")))
    engine = book.logbook.engine
    assert engine.numbers == tuple(range(1, 9))
    assert engine.firing_order == () and {one.bank for one in engine.cylinders} == {""}
    assert all(set(one.shares.values()) == {0.25} for one in engine.cylinders)
    advices = [advise(book.logbook, run.name) for run in book.logbook.runs]
    assert not any(advice.jets for advice in advices)
    assert all(any(one.mixture_pct is not None for one in advice.cylinders) for advice in advices)
    assert not any(one.plug for advice in advices for one in advice.cylinders)
    texts = " ".join(finding.text for finding in book.logbook.findings)
    assert all(f"no sheet {name}" in texts for name in ("Engine", "Jets", "Plugs"))


def answer(path: Path, heading: str, meaning: str | None = None, unit: str | None = None) -> None:
    """Write a correction on the sheet, as the racer does."""
    book = openpyxl.load_workbook(path)
    page = book[HOW_READ]
    row = next(cell.row for cell in page["A"] if cell.value == heading)
    page.cell(row, 8, meaning)
    page.cell(row, 9, unit)
    book.save(path)


def fill_newest(path: Path) -> ReadBook:
    log = open_log(path)
    fill_in(log, [advise(log.book.logbook)])
    return open_log(path).book


def test_corrections_count_from_the_next_reading_on_and_stay(tmp_path: Path) -> None:
    def change(page: Worksheet) -> None:
        head(page, "Elevation (ft)", "Elevation")
        head(page, "Timing", "Timming")
        head(page, "Cyl 4 Pepper", "Cyl 4 dirt")
        for number in (1, 2, 3, 5, 6, 7, 8):
            head(page, f"Cyl {number} Pepper", f"Cyl {number} dirt")

    path = tmp_path / "LOG.xlsx"
    book_with(change).save(path)
    assert advice_of(fill_newest(path).logbook) != ordinary_advice()
    answer(path, "Elevation", unit="ft")
    answer(path, "Timming", "Run: Total timing")
    answer(path, "Cyl n dirt", "Each cylinder: Specks")
    corrected = fill_newest(path)
    assert advice_of(corrected.logbook) == ordinary_advice()
    assert not asked(corrected)
    once = path.read_bytes()
    assert advice_of(fill_newest(path).logbook) == ordinary_advice()
    assert path.read_bytes() == once


def test_one_number_stands_for_all_jets_where_the_racer_says_so(tmp_path: Path) -> None:
    def change(page: Worksheet) -> None:
        head(page, "LF jet", "Jets", [72, 72, 74, 74])
        for corner in ("RF", "LR", "RR"):
            head(page, f"{corner} jet", None, [None] * 4)

    path = tmp_path / "LOG.xlsx"
    book_with(change).save(path)
    first = fill_newest(path)
    assert first.how_read is not None and "all alike" in first.how_read.questions[0].text
    assert not first.logbook.runs[-1].tuneup.jets
    answer(path, "Jets", "Run: Jets, all alike")
    jets = fill_newest(path).logbook.runs[-1].tuneup.jets
    assert {corner: label.value for corner, label in jets.items()} == dict.fromkeys(("LF", "RF", "LR", "RR"), "74")


def test_what_the_engine_is_can_be_answered_on_the_sheet(tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    book_with(lambda page: None, without=("Engine",)).save(path)
    fill_newest(path)
    for heading, said in {
        "Fuel": "leaded gasoline", "Manifold": "single plane", "Arrangement": "V", "Timing hardware": "tabs",
        "Firing order": "1-8-4-3-6-5-7-2", "Left bank, front to rear": "1, 3, 5, 7",
    }.items():  # fmt: skip
        answer(path, heading, said)
    fill_newest(path)
    answered = open_log(path).book.logbook
    wanted = read(ordinary()).logbook.engine
    places = [(one.number, one.bank, one.place) for one in wanted.cylinders]
    assert [(one.number, one.bank, one.place) for one in answered.engine.cylinders] == places
    assert answered.engine.firing_order == wanted.firing_order
    for one, other in zip(answered.engine.cylinders, wanted.cylinders, strict=True):
        # The sheet Engine rounds shares to four places.
        assert one.shares == pytest.approx(other.shares, abs=1e-4)
    advice = advice_of(answered)
    assert all(advice[run]["headline"] == other["headline"] for run, other in ordinary_advice().items())


def test_a_wrong_answer_is_refused_in_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    book_with(lambda page: None, without=("Engine",)).save(path)
    fill_newest(path)
    answer(path, "Firing order", "1-8-4-3")
    with pytest.raises(LogbookError, match="must name each cylinder once"):
        open_log(path)


def test_a_book_without_readings_gets_the_sheet_to_correct(tmp_path: Path) -> None:
    def change(page: Worksheet) -> None:
        for cell in page[1]:
            if str(cell.value).startswith("Cyl"):
                cell.value = f"Hole{str(cell.value).split()[1]} qq{cell.column}"

    path = tmp_path / "LOG.xlsx"
    book_with(change).save(path)
    with pytest.raises(NotRecognised, match="no plug reading of any cylinder") as not_read:
        open_log(path)
    error = ask_first(path, None, not_read.value)
    assert HOW_READ in str(error)
    page = openpyxl.load_workbook(path)[HOW_READ]
    assert any(str(cell.value).startswith("Hole") for cell in page["A"])


def test_each_car_of_a_book_is_read_and_filled_by_itself(tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    LAYOUTS["two cars in one list"]().save(path)
    log = open_log(path)
    blue, red = log.books
    assert (blue.car, red.car) == ("Blue", "Red")
    assert advice_of(blue.logbook) == ordinary_advice()
    assert advice_of(red.logbook) == advice_of(read(ordinary(season()[:2])).logbook)
    fill_cars(log, [(book, [advise(book.logbook)]) for book in log.books])
    once = path.read_bytes()
    names = openpyxl.load_workbook(path).sheetnames
    assert {"Next run Blue", "Why Blue", "Next run Red", "Why Red", HOW_READ} <= set(names)
    again = open_log(path)
    fill_cars(again, [(book, [advise(book.logbook)]) for book in again.books])
    assert path.read_bytes() == once
    with pytest.raises(LogbookError, match="it has Blue, Red"):
        log.cars("Green")
    assert len(read_logbooks(log.blocks)) == 2


def test_the_commands_show_what_was_read_and_fill_each_car(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "LOG.xlsx"
    LAYOUTS["two cars in one list"]().save(path)
    before = path.read_bytes()
    assert run_command(["check", str(path)]) == 0
    shown = capsys.readouterr().out
    assert "Log: read as a line for each cylinder of a run" in shown and "Run: Shell ring" not in shown
    assert "Each cylinder: Shell ring" in shown and path.read_bytes() == before
    assert run_command(["fill", str(path), "--car", "red", "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["run"] == "12"
    assert run_command(["fill", str(path), "--json", str(tmp_path / "advice.json")]) == 0
    assert json.loads((tmp_path / "advice.json").read_text("utf-8")).keys() == {"Blue", "Red"}
    assert run_command(["fill", str(path), "--car", "green"]) == 2
    assert "it has Blue, Red" in capsys.readouterr().err


def test_the_command_says_how_much_is_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "LOG.xlsx"
    book_with(lambda page: head(page, "Elevation (ft)", "Elevation")).save(path)
    assert run_command(["check", str(path)]) == 0
    assert "Elevation: in ft or m?" in capsys.readouterr().out
    assert run_command(["fill", str(path)]) == 0
    assert f"1 question about how the workbook was read: answer on its sheet {HOW_READ}" in capsys.readouterr().out


@pytest.mark.parametrize("layout", ["runs across", "a form for each run, a box for each cylinder"])
def test_what_is_not_used_on_the_racers_word_stays_listed(layout: str) -> None:
    blocks = list(blocks_from_workbook(LAYOUTS[layout]()))
    (first,) = read_logbooks(blocks)
    assert first.how_read is not None
    line = next(one for one in first.how_read.headings if "EGT" in one.written)
    yours = SheetBlock(HOW_READ, 1, 1, (HEADS, (line.written, *[None] * 6, "not used", None)))
    (second,) = read_logbooks([*blocks, yours])
    assert second.how_read is not None
    again = next(one for one in second.how_read.headings if one.written == line.written)
    assert (again.read_as, again.sure) == ("not used", "yours")
    assert all(reading.egt_c is None for run in second.logbook.runs for reading in run.readings)
