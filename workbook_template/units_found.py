"""Units of headings that name none: from the other headings' values, or asked where two would fit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from workbook_template.found import Heading, Value
from workbook_template.joined import LoggedRun, values_of
from workbook_template.layout import Quantity, Unit
from workbook_template.read_values import parse_measure


@dataclass(frozen=True, slots=True)
class Units:
    """What was settled: heading's cell -> unit; heading's cell -> the units that would all fit."""

    settled: Mapping[str, Unit]
    open: Mapping[str, tuple[Unit, ...]]


def settle_units(runs: Sequence[LoggedRun]) -> Units:
    """The unit of each heading without one, by what can be believed of its values.

    A sheet's values of one column are judged together; where two units fit them, those of the whole book are.
    """
    by_heading: dict[str, tuple[Heading, list[float]]] = {}
    for value in _values(runs):
        meaning = value.heading.meaning
        column = meaning.column if meaning is not None else None
        if meaning is None or meaning.unit is not None or column is None or column.quantity is None:
            continue
        _, numbers = by_heading.setdefault(str(value.heading.cell) + meaning.key, (value.heading, []))
        number = _bare_number(value)
        if number is not None:
            numbers.append(number)
    return _settled(by_heading)


def heading_key(heading: Heading) -> str:
    """The key of a heading in Units."""
    return str(heading.cell) + (heading.meaning.key if heading.meaning else "")


def _settled(by_heading: Mapping[str, tuple[Heading, list[float]]]) -> Units:
    settled: dict[str, Unit] = {}
    open_: dict[str, tuple[Unit, ...]] = {}
    for key, (heading, own) in by_heading.items():
        quantity = _quantity(heading)
        alike = [(other, numbers) for other, numbers in by_heading.values() if _same(other, heading)]
        in_sheet = [number for other, numbers in alike if other.cell.sheet == heading.cell.sheet for number in numbers]
        house = quantity.house_unit("us")
        if quantity.us == quantity.si and (house in _fitting(quantity, in_sheet) or len(quantity.units) == 1):
            settled[key] = house
            continue
        if not own:
            continue  # blank, or every cell names its own unit
        fitting = _fitting(quantity, in_sheet)
        if len(fitting) > 1:
            fitting = _fitting(quantity, [number for _, numbers in alike for number in numbers]) or fitting
        if len(fitting) == 1:
            settled[key] = fitting[0]
        else:
            open_[key] = tuple(fitting)
    return Units(settled, open_)


def _same(one: Heading, other: Heading) -> bool:
    return one.meaning is not None and other.meaning is not None and one.meaning.key == other.meaning.key


def _quantity(heading: Heading) -> Quantity:
    column = heading.meaning.column if heading.meaning is not None else None
    assert column is not None and column.quantity is not None
    return column.quantity


def _fitting(quantity: Quantity, numbers: Sequence[float]) -> list[Unit]:
    units = [unit for unit in quantity.units.values() if not unit.named_only]
    return [unit for unit in units if all(quantity.holds(unit.inside(number)) for number in numbers)]


def _values(runs: Sequence[LoggedRun]) -> Iterable[Value]:
    for values in values_of(runs):
        yield from values.values()


def _bare_number(value: Value) -> float | None:
    if isinstance(value.value, float):
        return value.value
    measure = parse_measure(value.value) if isinstance(value.value, str) else None
    return measure[0] if measure is not None and not measure[1] else None
