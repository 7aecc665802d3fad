"""What a worksheet function is given, read as the log's cells are: numbers with or without a unit, words, ranges."""

from __future__ import annotations

import math
from collections.abc import Sequence

from engine_rules.logbook import LogbookError
from workbook_template.layout import Quantity, Unit, layout
from workbook_template.read_values import parse_measure

CellValue = float | str | bool | None
Given = CellValue | Sequence[Sequence[CellValue]]


def one_cell(given: Given, what: str) -> CellValue:
    """The value of a single cell; blank text is None. Raises LogbookError for several cells."""
    if given is not None and not isinstance(given, (str, bool, int, float)):
        cells = column_of(given)
        if len(cells) != 1:
            raise LogbookError(f"{what} takes one cell and got {len(cells)}; give one")
        return cells[0]
    if isinstance(given, str):
        return given.strip() or None
    return given if given is None or isinstance(given, bool) else float(given)


def column_of(given: Given) -> list[CellValue]:
    """The cells of a range, row by row; a single cell is a range of one."""
    if given is None or isinstance(given, (str, bool, int, float)):
        return [one_cell(given, "")]
    return [one_cell(cell, "") for row in given for cell in row]


def inside(given: Given, quantity: str, what: str) -> float:
    """A quantity of the layout in its inside unit.

    Raises LogbookError where it is missing, no number, not possible, or fits two units and names none; also for a bare
    zero, since that is what an empty cell comes as from some programs.
    """
    cell = one_cell(given, what)
    if is_zero_or_empty(cell):
        unit = next(iter(layout().quantities[quantity].units))
        raise LogbookError(f'{what} is empty or 0; give a number, or where it is 0 indeed a text such as "0 {unit}"')
    return inside_alike([cell], quantity, what)[0]


def is_zero_or_empty(cell: CellValue) -> bool:
    """True for what an empty cell may come as."""
    return cell is None or cell == 0.0


def inside_alike(cells: Sequence[CellValue], quantity: str, what: str) -> list[float]:
    """The same of several cells that are in one unit where they name none."""
    measured = layout().quantities[quantity]
    amounts = [_amount(cell, measured, what) for cell in cells]
    bare = [amount for amount, unit in amounts if unit is None]
    usual = _only_unit(bare, measured, what) if bare else None
    return [_held(amount, unit or usual, measured, what) for amount, unit in amounts]


def unit_of(given: Given, quantity: str, what: str) -> Unit:
    """The unit that stands alone or behind a number, or in which alone the number is possible."""
    measured, written = layout().quantities[quantity], one_cell(given, what)
    if isinstance(written, str) and parse_measure(written) is None:
        return _named(written, measured, what)
    if is_zero_or_empty(written):
        raise LogbookError(f"{what} is missing; write one of {_units(measured)}")
    amount, unit = _amount(written, measured, what)
    return unit or _only_unit([amount], measured, what)


def word(given: Given, words: Sequence[str], what: str) -> str:
    """One of a few words, the first where none is given. Raises LogbookError for another."""
    written = one_cell(given, what)
    if is_zero_or_empty(written):
        return words[0]
    key = str(written).casefold()
    if key not in words:
        raise LogbookError(f"{what} '{written}' is not known; write {' or '.join(words)}")
    return key


def _amount(cell: CellValue, quantity: Quantity, what: str) -> tuple[float, Unit | None]:
    """The number, and the unit behind it where one stands there."""
    if is_zero_or_empty(cell):
        raise LogbookError(f"{what} is empty or 0; give a number")
    if isinstance(cell, float):
        measure: tuple[float, str] | None = (cell, "")
    else:
        measure = parse_measure(cell) if isinstance(cell, str) else None
    if measure is None or not math.isfinite(measure[0]):
        raise LogbookError(f"{what} '{cell}' is not a number; give one, or a text with its unit ({_units(quantity)})")
    return measure[0], _named(measure[1], quantity, what) if measure[1] else None


def _named(written: str, quantity: Quantity, what: str) -> Unit:
    unit = quantity.unit(written)
    if unit is None:
        raise LogbookError(f"{what} has a unit '{written}' that is not known here; write one of {_units(quantity)}")
    return unit


def _only_unit(amounts: Sequence[float], quantity: Quantity, what: str) -> Unit:
    """The unit in which alone these can be."""
    if quantity.us == quantity.si:
        return quantity.house_unit("us")
    usual = [unit for unit in quantity.units.values() if not unit.named_only]
    fitting = [unit for unit in usual if all(quantity.holds(unit.inside(amount)) for amount in amounts)]
    shown = f"{amounts[0]:g}"
    if len(fitting) > 1:
        names = " or ".join(unit.name for unit in fitting)
        raise LogbookError(f'{what} of {shown} may be {names}; give its unit too, such as "{shown} {fitting[0].name}"')
    if not fitting:
        shown = shown if len(amounts) == 1 else f"{min(amounts):g} to {max(amounts):g}"
        raise LogbookError(f"{what} of {shown} is not possible in any of {_units(quantity)}; correct it")
    return fitting[0]


def _held(amount: float, unit: Unit | None, quantity: Quantity, what: str) -> float:
    assert unit is not None
    if not quantity.holds(unit.inside(amount)):
        low, high = unit.written(quantity.lowest), unit.written(quantity.highest)
        raise LogbookError(
            f"{what} of {amount:g} {unit.name} is not possible; it lies between {low:.4g} and {high:.4g} {unit.name}"
        )
    return unit.inside(amount)


def _units(quantity: Quantity) -> str:
    return ", ".join(unit for unit in quantity.units if unit)
