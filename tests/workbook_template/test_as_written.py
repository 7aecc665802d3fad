"""Headings, jets, timing and slips as racers write them; what could mean two things means nothing yet."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from workbook_template.headings import cylinder_named, generalised, meanings, nearest, plain_choices
from workbook_template.jets_as_written import JetsWritten, jets_written, stepped_label
from workbook_template.layout import layout
from workbook_template.timing_as_written import SlipWritten, TimingWritten, slip_written, timing_written

SQUARE_72 = dict.fromkeys(("LF", "RF", "LR", "RR"), "72")


@pytest.mark.parametrize(
    ("heading", "sheet", "key", "cylinder", "unit"),
    [
        ("Cyl 1 ring", "readings", "ring", 1, None),
        ("#1 EGT", "readings", "egt_c", 1, None),
        ("EGT1", "readings", "egt_c", 1, None),
        ("EGT 3 (°C)", "readings", "egt_c", 3, "°C"),
        ("Plug 3", "readings", "plug", 3, None),
        ("Plug 3 ring", "readings", "ring", 3, None),
        ("Plug notes #3", "readings", "notes", 3, None),
        ("Strap mark cyl. 12", "readings", "strap_mark", 12, None),
        ("Air Temp °F", "runs", "temp_c", None, "°F"),
        ("Temp C", "runs", "temp_c", None, "°C"),
        ("BARO [hPa]", "runs", "pressure_pa", None, "hPa"),
        ("mph", "runs", "speed_m_s", None, "mph"),
        ("E.T.", "runs", "et_s", None, None),
        ("Run #", "runs", "name", None, None),
        ("Left front jet", "runs", "jets.LF", None, None),
        ("RR main jet", "runs", "jets.RR", None, None),
        ("Jets", "runs", "jets", None, None),
        ("Secondary jets", "runs", "jets.rear", None, None),
        ("60 ft", "not used", "", None, None),
    ],
)
def test_headings_that_are_understood(
    heading: str, sheet: str, key: str, cylinder: int | None, unit: str | None
) -> None:
    found = meanings(heading)[0]
    assert (found.sheet, found.key, found.cylinder) == (sheet, key, cylinder)
    assert (found.unit.name if found.unit and unit else None) == unit


@pytest.mark.parametrize("heading", ["LF", "Cyl 3", "1/8 mph", "Ring, maybe", "#", "", "17", "Tire pressure LF", "()"])
def test_headings_that_are_not(heading: str) -> None:
    assert not meanings(heading)


def test_a_likeness_is_a_proposal_only() -> None:
    proposed = nearest("Porcelan")
    assert proposed is not None and (proposed.key, proposed.sure) == ("porcelain", "likely")
    assert nearest("zz") is None and nearest("Moon phase") is None


@pytest.mark.parametrize(
    ("heading", "one"), [("Cyl 3 ring", "Cyl n ring"), ("EGT12", "EGTn"), ("Air temp", "Air temp")]
)
def test_headings_of_one_kind_are_one(heading: str, one: str) -> None:
    assert generalised(heading) == one


@pytest.mark.parametrize(("cell", "number"), [("Cyl 3", 3), ("#12", 12), ("No. 4", 4), ("3", None), ("Run 3", None)])
def test_a_cylinders_own_cell(cell: str, number: int | None) -> None:
    assert cylinder_named(cell) == number


def test_every_heard_heading_names_a_column_and_every_choice_is_a_column() -> None:
    for sheet in ("runs", "readings"):
        keys = {key for one, key in plain_choices().values() if one == sheet}
        assert set(layout().heard[sheet]) <= keys


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("72/80", JetsWritten({"LF": "72", "RF": "72", "LR": "80", "RR": "80"})),
        ("76-76-84-86", JetsWritten({"LF": "76", "RF": "76", "LR": "84", "RR": "86"})),
        ("76 76 84 86", JetsWritten({"LF": "76", "RF": "76", "LR": "84", "RR": "86"})),
        ("72 sq", JetsWritten(SQUARE_72)),
        ("72sq.", JetsWritten(SQUARE_72)),
        ("+2 rear", JetsWritten(steps={"LR": 2, "RR": 2})),
        ("−1 LF, +2 rear", JetsWritten(steps={"LF": -1, "LR": 2, "RR": 2})),
        ("72", None),
        ("72-80", None),
        ("72/", None),
        ("+2", None),
        ("+2 sideways", None),
        ("72 front", None),
        ("72/80/90", None),
        ("", None),
    ],
)
def test_jets(written: str, said: JetsWritten | None) -> None:
    assert jets_written(written) == said


def test_jets_of_one_end() -> None:
    assert jets_written("72", ("LF", "RF")) == JetsWritten({"LF": "72", "RF": "72"})
    assert jets_written("72/74", ("LR", "RR")) == JetsWritten({"LR": "72", "RR": "74"})
    assert stepped_label("80", 2) == "82" and stepped_label("80A", 2) is None and stepped_label("1", -2) is None


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("34", TimingWritten(34.0)),
        ("34.5°", TimingWritten(34.5)),
        ("34/32 on 5,7", TimingWritten(34.0, {5: -2.0, 7: -2.0})),
        ("34/36 on 3", TimingWritten(34.0, {3: 2.0})),
        ("-2 #7", TimingWritten(None, {7: -2.0})),
        ("34 −2 #5 #7", TimingWritten(34.0, {5: -2.0, 7: -2.0})),
        ("34, -2 on 7, +1 on 3 & 5", TimingWritten(34.0, {7: -2.0, 3: 1.0, 5: 1.0})),
        ("34/32", None),
        ("-2", None),
        ("+1", None),
        ("34 or 35", None),
        ("34 2 #7", None),
        ("", None),
    ],
)
def test_timing(written: str, said: TimingWritten | None) -> None:
    assert timing_written(written) == said


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("10.42@127", SlipWritten(10.42, 127.0, "")),
        ("10.42 @ 127.35 mph", SlipWritten(10.42, 127.35, "mph")),
        ("10,42@204 km/h", SlipWritten(10.42, 204.0, "km/h")),
        ("10.42", None),
        ("10.42@", None),
        ("@127", None),
    ],
)
def test_slips(written: str, said: SlipWritten | None) -> None:
    assert slip_written(written) == said


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=30))
def test_any_text_is_understood_or_not_but_never_fails(written: str) -> None:
    meanings(written)
    nearest(written)
    generalised(written)
    jets_written(written)
    timing_written(written)
    slip_written(written)
