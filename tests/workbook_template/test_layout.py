"""layout.toml: complete, consistent, and in the words of the records."""

from __future__ import annotations

from typing import get_args

import pytest

from engine_rules.air import POWER_STANDARDS
from engine_rules.feeds import CARBURETIONS, MANIFOLDS
from engine_rules.fuel import Metering
from engine_rules.plugs import TIPS
from engine_rules.spark import check_firing_order
from engine_rules.words import plain, word_lists
from workbook_template.layout import Column, layout, split_heading, unit_key

ALL_COLUMNS = [
    pytest.param(sheet.key, column, id=f"{sheet.key}.{column.key}")
    for sheet in layout().sheets.values()
    for column in (*sheet.columns, *sheet.settings)
]


@pytest.mark.parametrize(("sheet", "column"), ALL_COLUMNS)
def test_each_column_is_complete(sheet: str, column: Column) -> None:
    assert column.note.endswith((".", "?")) or "Example:" in column.note
    assert (column.kind == "number") == (column.quantity is not None)
    assert column.kind in {"label", "text", "number", "plain_number", "word", "yes_no", "date", "time", "share"}
    if column.kind == "word":
        assert column.list in layout().lists
    if column.kind == "label" and column.list:
        assert column.list in layout().sheets


@pytest.mark.parametrize("sheet", layout().sheets.values(), ids=lambda sheet: sheet.key)
def test_no_two_columns_share_a_name_but_a_word_and_its_measure(sheet: object) -> None:
    columns = layout().sheets[sheet.key].columns  # type: ignore[attr-defined]
    for column in columns:
        for other in columns:
            if column is not other and column.names & other.names:
                assert (column.quantity is None) != (other.quantity is None) or column.heading != other.heading


def test_lists_agree_with_the_engine_rules() -> None:
    lists = layout().lists
    assert set(lists["carburetion"].words) == set(CARBURETIONS)
    assert set(lists["manifold"].words) == set(MANIFOLDS)
    assert set(lists["metering"].words) == set(get_args(Metering))
    assert set(lists["power_standard"].words) == set(POWER_STANDARDS)
    assert set(lists["tip"].words) == set(TIPS)
    assert word_lists().items() <= lists.items()


def test_every_drop_down_fits_into_a_cell_rule() -> None:
    for words in layout().lists.values():
        assert len(",".join(words.words)) <= 253
        assert not any("," in word for word in words.words)


def test_units_convert_there_and_back_and_name_one_unit_each() -> None:
    for quantity in layout().quantities.values():
        assert quantity.lowest < quantity.highest
        for name, unit in quantity.units.items():
            assert unit.written(unit.inside(12.5)) == pytest.approx(12.5)
            assert quantity.unit(name) is unit
        likes = [like for unit in quantity.units.values() for like in unit.likes]
        assert len(likes) == len(set(likes))
        assert quantity.units[quantity.inside].inside(3.25) == 3.25


@pytest.mark.parametrize(
    ("quantity", "unit", "written", "inside"),
    [
        # Definitions: NIST Special Publication 811, appendix B.
        ("air_temp", "°F", 212.0, 100.0),
        ("air_temp", "K", 273.15, 0.0),
        ("air_pressure", "inHg", 29.9212, 101_324.8),
        ("air_pressure", "mmHg", 760.0, 101_325.0),
        ("altitude", "ft", 1000.0, 304.8),
        ("speed", "mph", 100.0, 44.704),
        ("power", "hp", 100.0, 74.5699872),
        ("weight", "lb", 1000.0, 453.59237),
        ("jet_bore", "mm", 2.54, 0.1),
        ("enrichment_area", "mm²", 645.16, 1.0),
        ("ring_width", "in", 0.1, 2.54),
    ],
)
def test_units_are_what_the_standard_says(quantity: str, unit: str, written: float, inside: float) -> None:
    assert layout().quantities[quantity].units[unit].inside(written) == pytest.approx(inside, rel=1e-6, abs=1e-9)


def test_common_firing_orders_name_each_cylinder_once() -> None:
    for orders in layout().firing_orders.values():
        for count, order in orders.items():
            check_firing_order(order)
            assert sorted(order) == list(range(1, count + 1))


@pytest.mark.parametrize(
    ("heading", "name", "bracket"),
    [
        ("Air temp (°F)", "air temp", "°F"),
        ("  AIR  TEMP(F) ", "air temp", "F"),
        ("Ring [mm]", "ring", "mm"),
        ("Run:", "run", None),
        ("E.T.", "e.t", None),
    ],
)
def test_headings_are_split(heading: str, name: str, bracket: str | None) -> None:
    assert split_heading(heading) == (name, bracket)


def test_units_are_compared_without_dots_and_case() -> None:
    assert unit_key(" In.  Hg ") == "in hg"
    assert plain("Thin  Line.") == "thin line"
