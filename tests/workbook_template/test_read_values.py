"""Single cells, as racers write them."""

from __future__ import annotations

from datetime import date, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine_rules.logbook import Cell, Finding, LogbookError
from engine_rules.words import word_lists
from workbook_template.layout import layout
from workbook_template.read_values import (
    parse_measure,
    read_count,
    read_date,
    read_label,
    read_number,
    read_share,
    read_signs,
    read_time,
    read_word,
    read_yes_no,
)
from workbook_template.tables import PlacedColumn, Spot, as_text


def spot(sheet: str, key: str, value: object, unit: str = "", assumed: bool = False) -> Spot:
    columns = {column.key: column for column in layout().sheets[sheet].columns}
    column = columns[key]
    placed = None
    if column.quantity is not None:
        placed = column.quantity.units[unit] if unit else column.quantity.house_unit("us")
    return Spot(value, as_text(value), Cell("S", "D14"), PlacedColumn(column, 4, placed, assumed))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("written", "amount", "unit"),
    [
        ("72", 72.0, ""),
        ("72 F", 72.0, "F"),
        ('29.92"', 29.92, '"'),
        ("1013 hPa", 1013.0, "hPa"),
        ("1,013 hPa", 1013.0, "hPa"),
        ("29,92", 29.92, ""),
        ("0,072", 0.072, ""),
        (".100 in.", 0.1, "in"),
        ("7/8 turn", 0.875, "turn"),
        ("1 1/2 turns", 1.5, "turns"),
        ("-2", -2.0, ""),
        ("−2 °", -2.0, "°"),
        ("+1.5deg", 1.5, "deg"),
        ("40%", 40.0, "%"),
        ("1e3", 1000.0, ""),
    ],
)
def test_a_number_and_its_unit_are_parted(written: str, amount: float, unit: str) -> None:
    assert parse_measure(written) == (pytest.approx(amount), unit)


@pytest.mark.parametrize("written", ["", "abc", "about 5", "1/0", "--3", "°"])
def test_what_is_no_measure_is_none(written: str) -> None:
    assert parse_measure(written) is None


@pytest.mark.parametrize(
    ("key", "unit", "value", "inside"),
    [
        ("temp_c", "°F", 77.0, 25.0),
        ("temp_c", "°C", 25.0, 25.0),
        ("temp_c", "°C", "77 F", 25.0),
        ("temp_c", "°F", "25°C", 25.0),
        ("temp_c", "°F", "298.15 K", 25.0),
        ("pressure_pa", "inHg", 29.92, 101_320.8),
        ("pressure_pa", "inHg", '29.92"', 101_320.8),
        ("pressure_pa", "inHg", "1013 hPa", 101_300.0),
        ("pressure_pa", "hPa", "760 mmHg", 101_325.0),
        ("altitude_m", "m", "1000 ft", 304.8),
        ("et_s", "s", "10.42 s", 10.42),
        ("lap_time_s", "s", "1:32.4", 92.4),
        ("lap_time_s", "s", time(0, 1, 32, 400_000), 92.4),
        ("total_timing_deg", "°", "34 BTDC", 34.0),
        ("laps", "", "6 laps", 6.0),
        ("bank_lambda.L", "λ", "0.87 lambda", 0.87),
    ],
)
def test_numbers_come_in_the_unit_of_the_records(key: str, unit: str, value: object, inside: float) -> None:
    findings: list[Finding] = []
    entry = read_number(spot("runs", key, value, unit), findings)
    assert entry.value == pytest.approx(inside, rel=1e-6)
    assert entry.written == as_text(value)  # type: ignore[arg-type]
    assert str(entry.cell) == "S!D14"
    assert findings == []


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("temp_c", "warm", "'warm' is not a number"),
        ("temp_c", True, "'TRUE' is not a number"),
        ("temp_c", datetime(2025, 1, 2), "'2025-01-02' is not a number"),
        ("temp_c", "72 parsecs", "unit that is not known"),
        ("temp_c", "-5 K", "not possible"),
        ("pressure_pa", 1013.0, "if it is in hPa, write '1013 hPa'"),
        ("humidity_pct", 101.0, "between 0 and 100"),
        ("humidity_pct", -1.0, "between 0 and 100"),
        ("total_timing_deg", 71.0, "between -20 and 70"),
        ("bank_lambda.L", 12.9, "between 0.5 and 2"),
        ("lap_time_s", time(1, 32), "is not a number"),
        ("et_s", float("nan"), "is not a number"),
        ("et_s", float("inf"), "is not a number"),
        ("et_s", "1e300", "not possible"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(key: str, value: object, says: str) -> None:
    with pytest.raises(LogbookError) as refused:
        read_number(spot("runs", key, value), [])
    assert says in str(refused.value)
    assert str(refused.value).startswith("S!D14: ")
    assert "\n" not in str(refused.value)


def test_long_text_of_several_lines_is_shown_short_and_on_one() -> None:
    with pytest.raises(LogbookError) as refused:
        read_number(spot("runs", "temp_c", "hot\nand " + "very " * 500), [])
    assert str(refused.value).startswith("S!D14: 'hot and very")
    assert len(str(refused.value)) < 160 and "\n" not in str(refused.value)


def test_a_heading_without_a_unit_is_helped_by_what_is_possible() -> None:
    findings: list[Finding] = []
    assert read_number(spot("runs", "pressure_pa", 101.3, assumed=True), findings).value == pytest.approx(101_300.0)
    assert "read as kPa" in findings[0].text
    in_house_unit = read_number(spot("runs", "pressure_pa", 29.92, assumed=True), findings)
    assert in_house_unit.value == pytest.approx(101_320.8, rel=1e-5)
    assert len(findings) == 1


@pytest.mark.parametrize(
    ("key", "value", "word", "amount"),
    [
        ("ring", "Thin  Line.", "thin line", 0.8),
        ("ring", "ghost", "trace", 0.35),
        ("ring", "0.8 mm", None, 0.8),
        ("ring", "0.03 in", None, 0.762),
        ("ring", 1.2, None, 1.2),
        ("shell_ring", "7/8 turn", None, 0.875),
        ("shell_ring", "3/4", "three quarters", 0.75),
        ("shell_ring", 0.9, None, 0.9),
        ("shell_ring", "90 %", None, 0.9),
        ("strap_mark", "bend", "at bend", 0.5),
        ("strap_mark", "40 %", None, 0.4),
        ("strap_mark", 40.0, None, 0.4),
        ("strap_mark", 0.4, None, 0.4),
        ("strap_mark", 1.0, None, 1.0),
        ("threads", "2 threads", "two", 2.0),
        ("threads", 1.5, None, 1.5),
        ("threads", "1.5 thrds", None, 1.5),
        ("specks", "pepper", "few black", None),
        ("specks", False, "none", None),
        ("porcelain", "Cardboard", "tan", None),
    ],
)
def test_signs_are_words_or_measures(key: str, value: object, word: str | None, amount: float | None) -> None:
    (sign,) = read_signs(spot("readings", key, value))
    assert (sign.kind, sign.word) == (key, word)
    assert sign.amount == (None if amount is None else pytest.approx(amount))
    assert sign.written == as_text(value)  # type: ignore[arg-type]


def test_several_words_are_several_signs() -> None:
    signs = read_signs(spot("readings", "also_seen", "antiseize, gap opened; dead"))
    assert [sign.word for sign in signs] == ["anti-seize", "gap opened", "dead"]
    signs = read_signs(spot("readings", "porcelain", "tan and blistered"))
    assert [sign.word for sign in signs] == ["tan", "blistered"]


@pytest.mark.parametrize("kind", [kind for kind in word_lists() if kind != "said_mixture"])
def test_every_word_and_every_like_is_read(kind: str) -> None:
    for written, word in word_lists()[kind].likes.items():
        assert word in [sign.word for sign in read_signs(spot("readings", kind, written))]


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("ring", "thn line", "did you mean 'thin line'?"),
        ("ring", -0.1, "not possible"),
        ("ring", "0.8 parsec", "not a measure"),
        ("ring", True, "not a word"),
        ("strap_mark", 101.0, "not possible"),
        ("strap_mark", "101 %", "not possible"),
        ("strap_mark", 1.2, "not possible"),
        ("shell_ring", datetime(2025, 3, 4), "made a date"),
        ("specks", "brigth", "did you mean 'bright'?"),
        ("specks", 3.0, "'3' is not a word"),
        ("also_seen", "loose, xyz", "'xyz' is not a word"),
        ("also_seen", ",", "is not a word"),
    ],
)
def test_unknown_words_are_refused_with_the_nearest(key: str, value: object, says: str) -> None:
    with pytest.raises(LogbookError, match="S!D14") as refused:
        read_signs(spot("readings", key, value))
    assert says in str(refused.value)


@pytest.mark.parametrize("value", [True, "yes", "Y", " x ", "TRUE", 1.0])
def test_yes_in_the_usual_spellings(value: object) -> None:
    assert read_yes_no(spot("runs", "clean_cut", value)).value is True


@pytest.mark.parametrize("value", [False, "no", "N", "false", 0.0])
def test_no_in_the_usual_spellings(value: object) -> None:
    assert read_yes_no(spot("runs", "clean_cut", value)).value is False


def test_maybe_is_refused() -> None:
    with pytest.raises(LogbookError, match="neither yes nor no"):
        read_yes_no(spot("runs", "clean_cut", "maybe"))


@pytest.mark.parametrize(
    ("value", "label"), [(17.0, "17"), ("17", "17"), (" 17.0 ", "17"), ("T3", "T3"), (17.5, "17.5"), ("a  b", "a b")]
)
def test_labels(value: object, label: str) -> None:
    assert read_label(spot("runs", "name", value)).value == label


@pytest.mark.parametrize("value", [True, "#", "1e999999999", "long " * 20])
def test_what_is_no_label_is_refused(value: object) -> None:
    with pytest.raises(LogbookError, match="cannot be the name"):
        read_label(spot("runs", "name", value))


@pytest.mark.parametrize(("value", "count"), [(3.0, 3), ("3", 3), ("#3", 3), ("cyl 3", 3), ("Cylinder 12", 12)])
def test_cylinders(value: object, count: int) -> None:
    assert read_count(spot("readings", "cylinder", value)) == count


@pytest.mark.parametrize("value", [0.0, -1.0, 2.5, "three", True])
def test_what_is_no_cylinder_is_refused(value: object) -> None:
    with pytest.raises(LogbookError, match="whole number"):
        read_count(spot("readings", "cylinder", value))


def test_words_of_closed_lists() -> None:
    assert read_word(spot("runs", "pressure_kind", "Altimeter")).value == "sea-level"
    with pytest.raises(LogbookError, match="did you mean 'station'"):
        read_word(spot("runs", "pressure_kind", "sation"))


@pytest.mark.parametrize(
    "value",
    [
        datetime(2025, 6, 14),
        date(2025, 6, 14),
        45_822.0,
        "2025-06-14",
        "14 Jun 2025",
        "June 14, 2025",
        "6/14/2025",
        "14.6.2025",
    ],
)
def test_dates(value: object) -> None:
    findings: list[Finding] = []
    assert read_date(spot("runs", "date", value), findings) == datetime(2025, 6, 14)
    assert not findings


@pytest.mark.parametrize("value", ["6/5/2025", "yesterday", True, -1.0])
def test_a_date_that_may_be_two_is_unknown_and_said(value: object) -> None:
    findings: list[Finding] = []
    assert read_date(spot("runs", "date", value), findings) is None
    assert "was not understood as a date" in findings[0].text


@pytest.mark.parametrize(
    "value", [time(14, 30), "14:30", "2:30 pm", "2:30PM", 0.6041666667, datetime(2025, 6, 1, 14, 30)]
)
def test_times(value: object) -> None:
    assert read_time(spot("runs", "time", value), []) == time(14, 30)


def test_shares() -> None:
    assert read_share(spot("engine", "shares.{station}", 0.45)) == 0.45
    assert read_share(spot("engine", "shares.{station}", "45 %")) == pytest.approx(0.45)
    with pytest.raises(LogbookError, match="a share of -1"):
        read_share(spot("engine", "shares.{station}", -1.0))


VALUES = st.one_of(
    st.booleans(),
    st.floats(),
    st.text(max_size=30).filter(str.strip),
    st.datetimes(),
    st.dates(),
    st.times(),
    st.from_regex(r"[+-]?[0-9]{0,4}[.,/ ]?[0-9]{0,3} ?[a-zA-Z%°\"]{0,4}", fullmatch=True).filter(str.strip),
)
READERS = [
    ("runs", "temp_c", lambda one: read_number(one, [])),
    ("runs", "lap_time_s", lambda one: read_number(one, [])),
    ("runs", "date", lambda one: read_date(one, [])),
    ("runs", "time", lambda one: read_time(one, [])),
    ("runs", "name", read_label),
    ("runs", "clean_cut", read_yes_no),
    ("readings", "cylinder", read_count),
    ("readings", "strap_mark", read_signs),
    ("readings", "also_seen", read_signs),
    ("engine", "shares.{station}", read_share),
]


@pytest.mark.parametrize(("sheet", "key", "reader"), READERS, ids=[f"{sheet}.{key}" for sheet, key, _ in READERS])
@given(value=VALUES)
def test_no_value_leads_to_anything_but_a_sentence(sheet: str, key: str, reader: object, value: object) -> None:
    try:
        reader(spot(sheet, key, value))  # type: ignore[operator]
    except LogbookError as refused:
        assert "S!D14" in str(refused)
