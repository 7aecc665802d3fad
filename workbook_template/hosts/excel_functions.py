"""The worksheet functions for Excel on Windows, as xlwings makes them known there; elsewhere they are plain functions.

Excel takes no error from such a function, only values. What cannot be worked out is therefore a text that begins with
#VALUE! and goes on with the reason; sums with + and - on it give #VALUE!.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

import xlwings

from engine_rules.logbook import LogbookError
from workbook_template.function_values import CellValue, Given
from workbook_template.functions import CATEGORY, FUNCTIONS, REFUSED, Argument, WorksheetFunction, call


def _made(function: WorksheetFunction) -> Callable[..., Any]:
    """The function under its name, with help, as xlwings' decorators want it."""

    def worked_out(*given):  # type: ignore[no-untyped-def]  # xlwings would convert by the types
        try:
            return call(function.key, [_given(one) for one in given])
        except LogbookError as error:
            return f"{REFUSED}{error}"

    worked_out.__name__ = worked_out.__qualname__ = function.name
    worked_out.__doc__ = function.help
    worked_out.__signature__ = inspect.Signature([_parameter(one) for one in function.arguments])  # type: ignore[attr-defined]
    made: Callable[..., Any] = worked_out
    for argument in function.arguments:
        # Two-dimensional whatever is given: else a column and a row would look alike.
        made = xlwings.arg(argument.name, ndim=2, doc=argument.help)(made)
    return xlwings.func(category=CATEGORY)(made)


def _given(cells: Any) -> Given:
    """What stands in the cells; a date as its text, which no function takes for a number."""
    return [[_plain(cell) for cell in row] for row in cells] if isinstance(cells, list) else _plain(cells)


def _plain(cell: Any) -> CellValue:
    if cell is None or isinstance(cell, (bool, str)):
        return cell
    return float(cell) if isinstance(cell, (int, float)) else str(cell)


def _parameter(argument: Argument) -> inspect.Parameter:
    kinds = inspect.Parameter
    if argument.several:
        return kinds(argument.name, kinds.VAR_POSITIONAL)
    default = None if argument.optional else kinds.empty
    return kinds(argument.name, kinds.POSITIONAL_OR_KEYWORD, default=default)


for _function in FUNCTIONS.values():
    globals()[_function.name] = _made(_function)
