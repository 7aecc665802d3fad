"""How written cells look, and how they looked before."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, Tuple  # noqa: UP035  # Python 3.8

import uno

from .changes import Cell, Place, rectangles
from .reading import alike

AUTOMATIC = -1
JUSTIFY = {"": "STANDARD", "left": "LEFT", "center": "CENTER", "right": "RIGHT"}
BOLD, PLAIN = 150.0, 100.0
SINGLE, NONE = 1, 0
# Of a style, what says no more than how a number is written.
FORMAT_ONLY = frozenset(("number_format",))
# What a cell takes over from one beside it.
TAKEN = ("BottomBorder", "CellBackColor", "CellProtection", "CharColor", "CharFontName", "CharHeight", "CharPosture",
         "CharUnderline", "CharWeight", "HoriJustify", "IsTextWrapped", "LeftBorder", "RightBorder", "TopBorder",
         "VertJustify")  # fmt: skip
SET = tuple(sorted((*TAKEN, "NumberFormat")))
MOMENT_FORMAT = "yyyy-mm-dd hh:mm"


# A look: the properties that make it, sorted by name as the office wants them.
Look = Tuple[Tuple[str, Any], ...]  # noqa: UP006


def set_looks(doc: Any, sheet: Any, cells: Mapping[Place, Cell], unseen: Callable[..., None]) -> None:
    """Give the cells of a sheet their looks, in bulk for each look."""
    groups: dict[str, dict[Place, Cell]] = {}
    for place, cell in cells.items():
        look = [cell.get("style"), cell.get("like"), isinstance(cell["value"], dict)]
        groups.setdefault(json.dumps(look, sort_keys=True), {})[place] = cell
    for places in groups.values():
        properties = _properties(doc, sheet, next(iter(places.values())))
        areas = [sheet.getCellRangeByPosition(left, top, right, bottom).RangeAddress
                 for top, left, bottom, right in rectangles(places)]  # fmt: skip
        _set(doc, areas, tuple(sorted(properties.items(), key=lambda pair: pair[0])), unseen)


def looks_of(cells: Any) -> list[tuple[list[Any], Look]]:
    """The looks of a range's cells, as far as `set_looks` may change them: areas, and how they look."""
    return [
        (list(group.RangeAddresses), tuple((name, _one(group).getPropertyValue(name)) for name in SET))
        for group in alike(cells)
    ]


def put_back_looks(doc: Any, looks: list[tuple[list[Any], Look]], unseen: Callable[..., None]) -> None:
    """Give cells the looks that they had."""
    for areas, look in looks:
        _set(doc, areas, look, unseen)


def _one(group: Any) -> Any:
    return group.getByIndex(0).getCellByPosition(0, 0)


def _set(doc: Any, areas: list[Any], look: Look, unseen: Callable[..., None]) -> None:
    if look:
        ranges = doc.createInstance("com.sun.star.sheet.SheetCellRanges")
        ranges.addRangeAddresses(tuple(areas), False)
        unseen(ranges.setPropertyValues, tuple(name for name, _ in look), tuple(value for _, value in look))


def _properties(doc: Any, sheet: Any, cell: Cell) -> dict[str, Any]:
    style, like = cell.get("style"), cell.get("like")
    made: dict[str, Any] = {}
    if like is not None:
        model = sheet.getCellByPosition(like[1] - 1, like[0] - 1)
        made = {name: model.getPropertyValue(name) for name in TAKEN}
    code = (style or {}).get("number_format") or (MOMENT_FORMAT if isinstance(cell["value"], dict) else "")
    if code:
        made["NumberFormat"] = number_format(doc, code)
    if style is None or style.keys() <= FORMAT_ONLY:
        return made
    return {
        **made,
        "CharWeight": BOLD if style.get("bold") else PLAIN,
        "CharPosture": uno.Enum("com.sun.star.awt.FontSlant", "ITALIC" if style.get("italic") else "NONE"),
        "CharUnderline": SINGLE if style.get("underline") else NONE,
        "CharColor": _color(style.get("color")),
        "CellBackColor": _color(style.get("fill")),
        "IsTextWrapped": bool(style.get("wrap")),
        "HoriJustify": uno.Enum("com.sun.star.table.CellHoriJustify", JUSTIFY[style.get("align", "")]),
    }


def _color(code: str | None) -> int:
    return AUTOMATIC if code is None else int(code, 16)


def number_format(doc: Any, code: str) -> int:
    """The key of a number format that is written as Excel writes it."""
    english = uno.createUnoStruct("com.sun.star.lang.Locale", "en", "US", "")
    key = doc.NumberFormats.queryKey(code, english, False)
    return key if key != -1 else doc.NumberFormats.addNew(code, english)
