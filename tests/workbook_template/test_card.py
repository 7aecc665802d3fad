"""The card: what it says on each engine, that its blocks do not overlap, and that it prints on one page."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest
from openpyxl.styles import Font

from engine_rules.advice import Advice, CylinderAdvice, JetChange, Move, Swap
from engine_rules.feeds import barrels, feed_shares
from engine_rules.logbook import CylinderPlace, Engine, Station
from tests.workbook_template.advised_cases import (
    CASES,
    Case,
    four_settled,
    logbook,
    single_jet,
    six_efi,
    v8,
    v8_all_change,
    v8_stop,
    v8_unreadable,
    v12_own_runners,
)
from workbook_template.card import draw_card
from workbook_template.hosts.protocol import SheetOut
from workbook_template.hosts.scratch import scratch_workbook

A4, LETTER = 9, 1
LAYOUTS = [
    *((count, "V", "one four-barrel") for count in (2, 4, 6, 8, 10, 12)),
    (8, "V", "two four-barrels"),
    (8, "V", "individual runners"),
    (8, "V", "EFI"),
    (12, "V", "EFI"),
    (4, "flat", "one two-barrel"),
    (6, "flat", "individual runners"),
    *((count, "inline", "one two-barrel") for count in (3, 4, 5, 6, 8)),
    (4, "inline", "side-draughts"),
    (12, "inline", "EFI"),
    (1, "inline", "single"),
]


def case_of(count: int, arrangement: str, carburetion: str) -> Case:
    """An engine of that layout where everything changes."""
    places = (
        {n: ("", n) for n in range(1, count + 1)}
        if arrangement == "inline"
        else {n: ("L" if n % 2 else "R", (n + 1) // 2) for n in range(1, count + 1)}
    )
    order = tuple(places)
    stations = [] if carburetion == "EFI" else barrels(carburetion, places)
    shares = {} if carburetion == "EFI" else feed_shares(carburetion, "other", places, order)
    engine = Engine(
        "Any", "leaded gasoline", "V", "short", carburetion, "other", order,
        tuple(CylinderPlace(n, bank, place, shares.get(n, {})) for n, (bank, place) in places.items()),
        tuple(Station(one.name, one.end, one.side) for one in stations),
        timing_hardware="tabs",
    )  # fmt: skip
    advice = Advice(
        "17", "fuel", True, "Change everything at once, which no rule would ever advise.",
        jets=tuple(JetChange(one.name, "74", "76", 5.0) for one in stations),
        cylinders=tuple(
            CylinderAdvice(
                n, -12.4, 10.2, -11.5, 10.8, Move(0.0, -1.0), -0.44, Move(0.0, 8.0) if carburetion == "EFI" else None,
                Swap("B", "D", on_hand=False), Swap("projected", "regular"), "likely",
            )
            for n in engine.numbers
        ),
    )  # fmt: skip
    return Case(logbook(engine, {one.name: "74" for one in stations}), advice)


def card(case: Case, tab_unit: str = "mm") -> SheetOut:
    return draw_card("Next run", case.book, case.run, case.advice, tab_unit).sheet


def texts(sheet: SheetOut) -> list[str]:
    return [str(cell.value) for cell in sheet.cells.values() if cell.value is not None]


def overlaps(areas: Sequence[tuple[int, int, int, int]]) -> list[tuple[int, int]]:
    """The cells that more than one of the areas covers."""
    seen: set[tuple[int, int]] = set()
    twice = []
    for top, left, bottom, right in areas:
        for place in ((row, column) for row in range(top, bottom + 1) for column in range(left, right + 1)):
            if place in seen:
                twice.append(place)
            seen.add(place)
    return twice


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_cylinder_and_station_is_drawn_once_and_none_over_another(layout: tuple[int, str, str]) -> None:
    case = case_of(*layout)
    sheet = card(case)
    single = [(row, column, row, column) for row, column in sheet.cells]
    anchors = {(top, left) for top, left, _, _ in sheet.merges}
    assert not overlaps([*sheet.merges, *(area for area in single if area[:2] not in anchors)])
    big = [cell.value for cell in sheet.cells.values() if cell.style and (cell.style.size_pt or 0) >= 22]
    assert sorted(value for value in big if value in {str(n) for n in case.book.engine.numbers}) == sorted(
        str(n) for n in case.book.engine.numbers
    )
    said = "\n".join(texts(sheet))
    assert said.count("74 → 76") == len(case.book.engine.stations)
    assert sheet.print_area is not None
    assert max(bottom for _, _, bottom, _ in sheet.merges) == sheet.print_area[2]


def test_banks_stand_as_seen_from_above() -> None:
    sheet = card(v8_all_change())
    places = {
        cell.value: place
        for place, cell in sheet.cells.items()
        if cell.style and (cell.style.size_pt or 0) >= 22 and str(cell.value).isdigit()
    }
    assert len({places[n][1] for n in "1357"}) == len({places[n][1] for n in "2468"}) == 1
    assert places["1"][1] < places["2"][1]
    assert places["1"][0] < places["3"][0] < places["5"][0] < places["7"][0]
    assert places["1"][0] == places["2"][0]
    stations = {cell.value: place for place, cell in sheet.cells.items() if cell.value in ("LF", "RF", "LR", "RR")}
    assert places["1"][1] < stations["LF"][1] < stations["RF"][1] < places["2"][1]
    assert stations["LF"][0] == stations["RF"][0] < stations["LR"][0] == stations["RR"][0]
    front = next(row for (row, _), cell in sheet.cells.items() if "FRONT" in str(cell.value))
    assert front < places["1"][0]


def test_two_carburetors_stand_one_behind_the_other() -> None:
    sheet = card(case_of(8, "V", "two four-barrels"))
    rows = {cell.value: row for (row, _), cell in sheet.cells.items()}
    assert rows["front LF"] == rows["front RF"] < rows["front LR"] < rows["rear LF"] < rows["rear RR"]


def test_a_stop_stands_first_and_in_words() -> None:
    sheet = card(v8_stop())
    in_order = [str(sheet.cells[place].value) for place in sorted(sheet.cells)]
    assert in_order.index("DO NOT RUN") < in_order.index("STOP") < in_order.index(v8_stop().advice.headline)
    assert any(text.startswith("Cylinders 3, 6: Bright metal specks") for text in in_order)
    stop = next(cell.style for cell in sheet.cells.values() if cell.value == "DO NOT RUN")
    assert stop is not None and stop.border == "thick" and (stop.size_pt or 0) > 30
    assert sum(text == "STOP: see top" for text in in_order) == 2
    assert any("only once the cause is found and cured" in text for text in in_order)


def test_a_run_without_a_stop_has_no_stop_sign() -> None:
    assert not any("DO NOT RUN" in text or "STOP" in text for text in texts(card(v8_all_change())))


def test_boxes_say_what_to_change_or_to_leave() -> None:
    said = texts(card(v8_all_change()))
    assert "See caution\nTrim 0° → −1°\nTab 0.44 mm\nlater\nPlug B → C\nTip → regular" in said
    assert "Lean 3.1 ± 1.2 %\nAdvanced 1.7 ± 0.8°\nHow sure: likely" in said
    assert "TOTAL TIMING" in said and "34° → 33°" in said
    assert texts(card(four_settled())).count("leave") == 4
    assert "keep 120" in texts(card(four_settled()))
    assert "keep 34°" in texts(card(four_settled()))


def test_an_unreadable_set_says_so_and_changes_nothing() -> None:
    said = texts(card(v8_unreadable()))
    assert any("cannot be tuned from" in text for text in said)
    assert said.count("leave") == 8
    assert not any("→" in text for text in said)


def test_jets_stand_in_the_cylinders_own_box_where_each_has_one() -> None:
    said = texts(card(v12_own_runners()))
    assert "Jet 143 → 145\nTrim 0.5° → −0.5°\nPlug B → C" in said
    assert "JETS" not in said
    assert "Jet 120 → 122" in texts(card(single_jet()))
    assert "not logged" in texts(card(single_jet()))
    assert "Fuel trim 0 → +3 %" in texts(card(six_efi()))


def test_a_feature_that_moves_two_companions_is_bent_once() -> None:
    case = v8_all_change()
    paired = Case(logbook(v8(timing_hardware="paired"), {}), case.advice)
    assert any("Tab 0.44 mm\nlater, once with 6" in text for text in texts(card(paired)))


def test_alcohol_has_its_own_warning() -> None:
    assert any("flame of alcohol" in text for text in texts(card(six_efi())))
    assert not any("flame of alcohol" in text for text in texts(card(v8_all_change())))


def test_lettering_is_larger_where_there_is_less_to_say() -> None:
    def size(sheet: SheetOut) -> float:
        return next(c.style.size_pt or 0.0 for c in sheet.cells.values() if c.style and c.value == "NEXT RUN")

    assert size(card(four_settled())) > size(card(v8_all_change()))


@pytest.mark.libreoffice
@pytest.mark.parametrize("paper", [A4, LETTER], ids=["A4", "Letter"])
def test_each_card_prints_on_one_page(paper: int, tmp_path: Path) -> None:
    cases = {name: make() for name, make in CASES.items()}
    cases |= {"-".join(map(str, layout)): case_of(*layout) for layout in LAYOUTS}
    sheets = [draw_card(name[:31], one.book, one.run, one.advice, "mm").sheet for name, one in cases.items()]
    book = scratch_workbook(sheets)
    # The width of a column follows the book's own font; this one is at hand on every system.
    book._named_styles["Normal"].font = Font(name="Arial", size=10)  # type: ignore[attr-defined]
    for sheet in book.worksheets:
        sheet.page_setup.paperSize = str(paper)
    path = tmp_path / "cards.xlsx"
    book.save(path)
    pages = printed_pages(path)
    assert len(pages) == len(sheets)
    for page, one in zip(pages, cases.values(), strict=True):
        assert "NEXT RUN" in page
        assert one.advice.headline.split()[0] in page
        assert "the decision is yours" in " ".join(page.split())


def printed_pages(path: Path) -> list[str]:
    """The text of each page that LibreOffice prints."""
    profile = f"-env:UserInstallation=file://{path.parent}/profile"
    convert = ["soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", str(path.parent), str(path)]
    subprocess.run(convert, check=True, capture_output=True, timeout=180)
    pdf = path.with_suffix(".pdf")
    text = subprocess.run(["pdftotext", str(pdf), "-"], check=True, capture_output=True, text=True).stdout
    pages = text.split("\f")[:-1]
    info = subprocess.run(["pdfinfo", str(pdf)], check=True, capture_output=True, text=True).stdout
    assert f"Pages:           {len(pages)}" in info
    return pages
