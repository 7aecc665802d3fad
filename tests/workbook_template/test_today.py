"""`strapline retune`: what may be written on the command line, what it says, and the sheet Today on real files."""

from __future__ import annotations

import json
import subprocess
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from openpyxl.styles import Font
from openpyxl.workbook import Workbook

from engine_rules.air import PA_PER_INHG, AirState
from engine_rules.retune import retune
from engine_rules.targets import default_targets
from tests.logs_on_disk import COMMAND, GOOD_PLUG, GOOD_RUN, contents, strapline, texts, write_log
from tests.workbook_template.racers_books import LAYOUTS
from tests.workbook_template.test_card import A4, LETTER, printed_pages
from workbook_template.build import BlankOptions, append_run, build_blank
from workbook_template.command_line import run_command
from workbook_template.hosts.blocks import blocks_from_file, blocks_from_workbook
from workbook_template.hosts.protocol import SheetOut
from workbook_template.hosts.scratch import scratch_workbook
from workbook_template.read import read_logbook
from workbook_template.today import Today, draw, today_of
from workbook_template.today_given import air_given
from workbook_template.today_sheet import TODAY

HOT = {"--temp": "95 F", "--pressure": "28.4", "--humidity": "60"}
TARGETS = default_targets()


def as_reference(book: Workbook) -> None:
    """Run 2 is the reference, which had other jets than the later ones."""
    page = book["Runs"]
    columns = {str(cell.value): cell.column for cell in page[3]}
    page.cell(5, columns["Reference"]).value = "yes"
    page.cell(5, columns["Jet LR"]).value = page.cell(5, columns["Jet RR"]).value = 82


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return write_log(tmp_path / "LOG.xlsx", runs=3, edit=as_reference)


def arguments(given: dict[str, str]) -> list[str]:
    return [part for pair in given.items() for part in pair]


def engine_book(options: BlankOptions, jets: dict[str, str] | None = None, metering: str | None = None) -> Workbook:
    """A blank workbook with one reference run, and Metering set."""
    book = build_blank(options)
    values = {key: value for key, value in GOOD_RUN.items() if not key.startswith("jets.")}
    append_run(
        book,
        {**values, **(jets or {}), "name": "7", "reference": "yes"},
        dict.fromkeys(range(1, options.cylinders + 1), GOOD_PLUG),
    )
    if metering is not None:
        cell = next(row[0] for row in book["Engine"].iter_rows(max_col=1) if row[0].value == "Metering")
        cell.offset(0, 1).value = metering
    return book


def today(book: Workbook, given: dict[str, str]) -> Today:
    return today_of(read_logbook(blocks_from_workbook(book)), given, None)


# -- what is written on the command line


@pytest.mark.parametrize(
    ("given", "house"),
    [
        ({"--temp": "75 F", "--pressure": "29.42 inHg", "--humidity": "45"}, "us"),
        ({"--temp": "75", "--pressure": "29.42", "--humidity": "45 %"}, "us"),
        ({"--temp": "23.889 °C", "--pressure": "996.28 mbar", "--humidity": "45 % RH"}, "us"),
        ({"--temp": "23,89", "--pressure": "996.28", "--humidity": "45"}, "si"),
        ({"--temp": "75 °F", "--pressure": '29.42"', "--vapour-pressure": "0.3941"}, "us"),
        ({"--temp": "75", "--pressure": "99.628 kPa", "--vapour-pressure": "13.345 hPa"}, "us"),
        ({"--temp": "75", "--pressure": "29.42", "--grains": "59.13"}, "us"),
        ({"--temp": "75 F", "--pressure": "29.42 inHg", "--grains": "59.13"}, "si"),
        ({"--temp": "75", "--pressure": "29.42", "--grains": "8.447 g/kg"}, "us"),
        ({"--temp": "75", "--pressure": "29.42", "--dew-point": "52.3"}, "us"),
        ({"--temp": "75", "--pressure": "29.42", "--dry-density": "0.07197"}, "us"),
        ({"--temp": "75", "--pressure": "29.42", "--dry-density": "94.11 %"}, "us"),
        ({"--temp": "75", "--pressure": "30.285", "--pressure-kind": "altimeter setting", "--altitude": "800",
          "--humidity": "45"}, "us"),
        ({"--density-altitude": "1777 ft", "--dry-density": "1.1528 kg/m3"}, "us"),
        ({"--density-altitude": "1,777", "--grains": "59.13"}, "us"),
        ({"--density-altitude": "541.6", "--temp": "23.889", "--humidity": "45"}, "si"),
    ],
)  # fmt: skip
def test_one_air_written_in_many_ways(given: dict[str, str], house: str) -> None:
    found = air_given(given, house, TARGETS)
    told = air_given({"--temp": "75", "--pressure": "29.42", "--humidity": "45"}, "us", TARGETS)
    assert isinstance(told.air, AirState) and told.air.pressure_pa == pytest.approx(29.42 * PA_PER_INHG)
    assert found.remarks == ()
    assert found.air.moist_density_kg_m3 == pytest.approx(told.air.moist_density_kg_m3, rel=2e-4)
    assert found.air.dry_density_kg_m3 == pytest.approx(told.air.dry_density_kg_m3, rel=2e-4)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "give temperature and pressure"),
        ({"--temp": "warm", "--pressure": "29.4"}, "--temp 'warm' is not a number; write one, with its unit"),
        ({"--temp": "75 inHg", "--pressure": "29.4"}, "--temp '75 inHg' has a unit that is not known here"),
        ({"--temp": "75", "--pressure": "996"}, "--pressure 996 inHg is not possible"),
        ({"--temp": "nan", "--pressure": "29.4"}, "--temp 'nan' is not a number"),
        ({"--temp": "75", "--pressure": "29.4", "--humidity": "45", "--grains": "60"}, "give one of them"),
        ({"--temp": "75", "--pressure": "29.4", "--dew-point": "80"}, "the dew point is above the temperature"),
        ({"--temp": "75", "--pressure": "29.4", "--pressure-kind": "sea"}, "write station or sea-level"),
        ({"--temp": "75", "--pressure": "29.9", "--pressure-kind": "sea-level"}, "altitude of the track"),
        ({"--density-altitude": "2300", "--pressure": "29.4"}, "tell the same; give one of them"),
        ({**HOT, "--run": "9"}, "there is no run 9"),
        ({**HOT, "--json": "today.txt"}, "would not end in .json"),
    ],
)
def test_what_cannot_be_used_gets_one_sentence(
    capsys: pytest.CaptureFixture[str], log: Path, given: dict[str, str], words: str
) -> None:
    before = contents(log.parent)
    assert run_command(["retune", str(log), *arguments(given)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("strapline: ") and err.count("\n") == 1
    assert words in err
    assert contents(log.parent) == before


def test_injection_is_asked_what_it_goes_by(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "efi.xlsx"
    engine_book(BlankOptions(cylinders=6, arrangement="inline", carburetion="EFI")).save(path)
    assert run_command(["retune", str(path), *arguments(HOT)]) == 2
    err = capsys.readouterr().err
    assert (
        err
        == "strapline: Engine: Metering is blank; for EFI write one of: throttle map, displacement, speed-density.\n"
    )


# -- what it says


def test_the_installed_command_says_it_and_writes_nothing(log: Path) -> None:
    before = contents(log.parent)
    done = strapline("retune", log, *arguments(HOT), cwd=log.parent)
    assert (done.returncode, done.stderr) == (0, "")
    for words in ("Run 2, marked Reference", "95 °F", "28.40 inHg", "158 grains/lb", "4462 ft", "LF RF: 74 → 72"):
        assert words in done.stdout
    assert "Run 3 had other jets than run 2: LR 80, RR 80." in done.stdout
    assert "Leave the timing." in done.stdout and "No power is promised." in done.stdout
    assert "[72 / 80]" in done.stdout
    assert contents(log.parent) == before


def test_data_alone_goes_to_the_terminal_where_it_is_asked_for(log: Path) -> None:
    done = strapline("retune", log, *arguments(HOT), "--run", "1", "--json", "-", cwd=log.parent)
    data = json.loads(done.stdout)
    assert data["reference"] == "1" and data["because"] == "as asked"
    assert {jet["corner"]: (jet["from"], jet["to"]) for jet in data["jets"]}["LR"] == ("80", "78")
    assert all(jet["left_pct"] >= 0.0 for jet in data["jets"])
    assert data["table"]["cells"][data["table"]["today"][0]][data["table"]["today"][1]]["jets"] == [
        jet["to"] for jet in data["jets"]
    ]
    assert "Leave the timing." in done.stderr


def test_a_learned_exponent_is_named(
    monkeypatch: pytest.MonkeyPatch, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from engine_rules.retune_basis import Exponent

    monkeypatch.setattr("workbook_template.today.learned_exponent", lambda _: Exponent(0.43, 0.04, 1))
    run_command(["retune", str(log), *arguments(HOT)])
    assert "air density to the power of 0.43 ± 0.04, learned from 1 change of this log" in capsys.readouterr().out


# -- the sheet


def test_the_sheet_goes_into_the_result_alone(log: Path) -> None:
    before = log.read_bytes()
    done = strapline("retune", log, *arguments(HOT), "-o", "OUT.xlsx", cwd=log.parent)
    assert done.returncode == 0 and "Print its sheet Today" in done.stdout
    assert log.read_bytes() == before
    out = log.with_name("OUT.xlsx")
    book, old = openpyxl.load_workbook(out), openpyxl.load_workbook(log)
    assert book.sheetnames == [*old.sheetnames, TODAY]
    said = texts(out, TODAY)
    made = retune(read_logbook(blocks_from_file(log)).logbook, air_given(HOT, "us", TARGETS).air)
    assert f"74 → {made.jets[0].new}" in said and f"82 → {made.jets[2].new}" in said
    framed = [
        cell.value
        for row in book[TODAY].iter_rows()
        for cell in row
        if cell.border.left and cell.border.left.style == "thick"
    ]
    assert f"{made.jets[0].new} / {made.jets[2].new}" in framed
    assert book[TODAY].page_setup.fitToHeight == book[TODAY].page_setup.fitToWidth == 1


def test_into_the_log_itself_and_again_and_filled_after(log: Path) -> None:
    def into_itself() -> bytes:
        done = strapline("retune", log, *arguments(HOT), "-o", log, cwd=log.parent)
        assert done.returncode == 0, done.stderr
        return log.read_bytes()

    assert into_itself() == into_itself()
    assert set(contents(log.parent)) == {"LOG.xlsx", "LOG.backup-1.xlsx"}
    read = read_logbook(blocks_from_file(log)).logbook
    assert read == read_logbook(blocks_from_file(log.with_name("LOG.backup-1.xlsx"))).logbook
    assert "Other sheets" not in strapline("check", log, cwd=log.parent).stdout
    assert strapline("fill", log, cwd=log.parent).returncode == 0
    assert {TODAY, "Next run"} <= set(openpyxl.load_workbook(log).sheetnames)


RUNNERS = {f"jets.{number}": str(70 + number) for number in range(1, 9)}
CASES = {
    "four corners": (BlankOptions(), {"jets.LF": "70", "jets.RF": "71", "jets.LR": "98", "jets.RR": "99"}, None, HOT),
    "lean": (BlankOptions(), dict.fromkeys(("jets.LF", "jets.RF", "jets.LR", "jets.RR"), "99"), None,
             {"--temp": "20", "--pressure": "30.4"}),
    "runners": (BlankOptions(carburetion="individual runners"), RUNNERS, None, HOT),
    "runners by altitude": (BlankOptions(carburetion="individual runners"), RUNNERS, None,
                            {"--density-altitude": "9000"}),
    "one": (BlankOptions(cylinders=1, arrangement="inline", carburetion="single", units="si"), {"jets.single": "150"},
            None, HOT),
    "injected": (BlankOptions(cylinders=6, arrangement="inline", carburetion="EFI", units="si"), {}, "alpha-N", HOT),
    "by altitude": (BlankOptions(carburetion="EFI"), {}, "speed density", {"--density-altitude": "3000"}),
}  # fmt: skip


def sheets() -> dict[str, SheetOut]:
    drawn = {}
    for name, (options, jets, metering, given) in CASES.items():
        one = today(
            engine_book(options, jets, metering), {**given, "--pressure": "28.4 inHg"} if given is HOT else given
        )
        drawn[name] = draw(one)
    return drawn


def test_no_block_lies_on_another() -> None:
    for sheet in sheets().values():
        covered: set[tuple[int, int]] = set()
        for top, left, bottom, right in sheet.merges:
            places = {(row, column) for row in range(top, bottom + 1) for column in range(left, right + 1)}
            assert not covered & places
            assert (places & sheet.cells.keys()) == {(top, left)}
            covered |= places


@pytest.mark.libreoffice
@pytest.mark.parametrize("paper", [A4, LETTER], ids=["A4", "Letter"])
def test_each_sheet_prints_on_one_page(paper: int, tmp_path: Path) -> None:
    drawn = sheets()
    book = scratch_workbook([replace(one, name=name) for name, one in drawn.items()])
    # The width of a column follows the book's own font; this one is at hand on every system.
    book._named_styles["Normal"].font = Font(name="Arial", size=10)  # type: ignore[attr-defined]
    for sheet in book.worksheets:
        sheet.page_setup.paperSize = str(paper)
    path = tmp_path / "today.xlsx"
    book.save(path)
    pages = printed_pages(path)
    assert len(pages) == len(drawn)
    for page in pages:
        assert "TODAY" in page and "THE REST OF THE DAY" in page and "No power is promised" in page


def test_each_car_of_a_workbook_has_a_day_of_its_own(tmp_path: Path) -> None:
    log, out, data = tmp_path / "two.xlsx", tmp_path / "out.xlsx", tmp_path / "two.json"
    LAYOUTS["two cars in one list"]().save(log)
    air = ["--temp", "90 F", "--pressure", "29.1 inHg", "--humidity", "30"]
    ask = [COMMAND, "retune", log, *air]
    done = subprocess.run([*ask, "-o", out, "--json", data], capture_output=True, text=True, check=True)
    cars = json.loads(data.read_text())
    assert len(cars) == 2 and all(f"{car}:" in done.stdout for car in cars)
    assert {f"Today {car}" for car in cars} <= set(openpyxl.load_workbook(out).sheetnames)
    first, second = cars
    one = subprocess.run([*ask, "--car", second, "--json", "-"], capture_output=True, text=True, check=True)
    assert json.loads(one.stdout) == cars[second] and f"{first}:" not in one.stderr
    none = subprocess.run([*ask, "--car", "green"], capture_output=True, text=True, check=False)
    assert none.returncode == 2 and "there is no car green" in none.stderr
