"""The columns Notes of a workbook: what they add, contradict, ask; and that columns stay in charge."""

from __future__ import annotations

import pytest
from openpyxl.workbook import Workbook

from engine_rules.logbook import Finding, Logbook, Reading
from engine_rules.session import advise
from tests.workbook_template.logged_books import logged_book, put, read


def book_with(*cells: tuple[str, str, int, object]) -> Workbook:
    """The logged book with cells written over: sheet, heading, row, value. Row 9 of Readings is run 18, cylinder 1."""
    book = logged_book()
    for cell in cells:
        put(book, *cell)
    return book


def of_notes(log: Logbook) -> list[Finding]:
    """The findings that came from a note."""
    return [finding for finding in log.findings if "note" in finding.text or finding.text.startswith('"')]


def newest(book: Workbook) -> dict[int, Reading]:
    return {reading.cylinder: reading for reading in read(book).logbook.runs[-1].readings}


def test_a_plugs_note_fills_the_kinds_that_no_column_holds() -> None:
    book = book_with(("Readings", "Notes", 9, "tan, wide ring, edges soft"))
    found = newest(book)[1]
    assert found.sign("ring") and found.sign("ring").word == "trace" and found.sign("ring").certainty == 1.0
    tan, soft = found.sign("porcelain"), found.sign("centre_wire")
    assert tan and tan.word == "tan" and 0.0 < tan.certainty < 1.0 and tan.cell and tan.cell.ref.endswith("12")
    assert soft and soft.word == "softening"


def test_a_runs_note_reaches_cylinders_without_a_row() -> None:
    book = book_with(("Runs", "Notes", 2, "pepper on 7, all tan. used plugs, lifted"))
    found = newest(book)
    assert [sign.word for sign in found[7].signs] == ["few black", "tan"]
    assert set(found) == set(range(1, 9))
    conduct = read(book).logbook.runs[-1].conduct
    assert conduct.new_plugs and conduct.new_plugs.value is False and conduct.new_plugs.cell
    assert conduct.new_plugs.cell.sheet == "Runs" and conduct.lifted_or_spun and conduct.lifted_or_spun.value


def test_columns_count_before_notes_and_contradictions_are_found() -> None:
    book = book_with(("Readings", "Notes", 3, "blue to the weld, white"), ("Runs", "Notes", 1, "used plugs"))
    log = read(book).logbook
    first = log.runs[0]
    assert first.reading(3).sign("strap_mark").word == "at bend"
    assert first.conduct.new_plugs.value is True
    texts = [finding.text for finding in of_notes(log)]
    assert any(
        "'blue to the weld' of cylinder 3, the column Strap mark 'at bend'; the column counts" in t for t in texts
    )
    assert any("New plugs: no, the column yes; the column counts" in text for text in texts)


def test_danger_in_a_note_counts_beside_a_column_that_says_otherwise() -> None:
    book = book_with(("Readings", "Notes", 3, "maybe blistered"))
    log = read(book).logbook
    assert [sign.word for sign in log.runs[0].reading(3).signs if sign.kind == "porcelain"] == ["tan", "blistered"]
    assert any("both count until you correct one" in finding.text for finding in log.findings)
    assert any(
        finding.text.startswith('"maybe blistered"') and str(finding.cell).startswith("Readings!")
        for finding in log.findings
    )
    advice = advise(log, "17")
    assert advice.stage == "safety" and any(caution.cylinder == 3 for caution in advice.cautions)
    said = [fact.text for firing in advice.firings for fact in firing.facts if "'blistered'" in fact.text]
    assert said and all("from a note" in text for text in said)


@pytest.mark.parametrize(
    ("note", "says"),
    [
        ("pulled 2", '"pulled 2" may be jets or degrees'),
        ("sandy", '"sandy" may be oil ash or knock'),
        ("zorched porcelain", 'nothing was made of these words in notes: "zorched porcelain" (Readings!'),
    ],
)
def test_what_is_open_is_a_finding_with_its_cell(note: str, says: str) -> None:
    log = read(book_with(("Readings", "Notes", 9, note))).logbook
    assert [finding.text for finding in of_notes(log) if says in finding.text]


def test_words_of_mixture_are_read_where_no_ring_is() -> None:
    book = book_with(("Readings", "Ring", 9, None), ("Readings", "Notes", 9, "fat"))
    assert newest(book)[1].sign("said_mixture").word == "rich"
    assert newest(book_with(("Readings", "Notes", 9, "fat")))[1].sign("said_mixture") is None
