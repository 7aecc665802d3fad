"""How cells look: what a fill gives them, and how they looked before; only what differs is touched."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from workbook_template.hosts.excel import program
from workbook_template.hosts.protocol import CellOut, Style

# Property -> value. Colours are (red, green, blue) or None; a border is its line, weight and colour.
Look = dict[str, Any]

MOMENT_FORMAT, AS_TEXT, GENERAL = "yyyy-mm-dd hh:mm", "@", "General"
_NO_LINE = (None, "none")
_FORMAT_ONLY = Style()


def _of_font(name: str) -> tuple[Callable[[Any], Any], Callable[[Any, Any], None]]:
    return lambda cells: getattr(cells.font, name), lambda cells, value: setattr(cells.font, name, value)


def _of_cells(name: str) -> tuple[Callable[[Any], Any], Callable[[Any, Any], None]]:
    return lambda cells: getattr(cells, name), lambda cells, value: setattr(cells, name, value)


def _of_side(side: str) -> tuple[Callable[[Any], Any], Callable[[Any, Any], None]]:
    def line(cell: Any) -> Any:
        border = cell.borders[side]
        return None if border.line_style in _NO_LINE else [border.line_style, border.weight, border.color]

    def draw(cells: Any, value: Any) -> None:
        if value is None:
            cells.borders.set(side, line_style=None)
        else:
            cells.borders.set(side, line_style=value[0], weight=value[1], color=tuple(value[2] or (0, 0, 0)))

    return line, draw


_SIDES = ("edge_left", "edge_right", "edge_top", "edge_bottom")
_PROPERTIES = {
    "number_format": _of_cells("number_format"),
    "font": _of_font("name"),
    "size": _of_font("size"),
    "bold": _of_font("bold"),
    "italic": _of_font("italic"),
    "color": _of_font("color"),
    "underline": (program.underlined, program.set_underlined),
    "fill": _of_cells("color"),
    "wrap": _of_cells("wrap_text"),
    "horizontal": _of_cells("horizontal_alignment"),
    "vertical": _of_cells("vertical_alignment"),
    "locked": (program.locked, program.set_locked),
    **{side: _of_side(side) for side in _SIDES},
}
TAKEN = tuple(name for name in _PROPERTIES if name != "number_format")


def read(cell: Any, properties: Iterable[str]) -> Look:
    """Those properties of one cell."""
    look = {name: _PROPERTIES[name][0](cell) for name in properties}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in look.items()}


def put(cells: Any, look: Look) -> None:
    """Give the cells of a range these properties."""
    for name, value in look.items():
        single = name in _SIDES and cells.shape != (1, 1)
        for part in cells if single else (cells,):
            _PROPERTIES[name][1](part, tuple(value) if name in ("color", "fill") and value else value)


def wanted(cell: CellOut, model: Look | None, number_format: Callable[[], str]) -> Look:
    """The properties that a cell gets. model: of the cell whose look it takes; number_format: what it has now."""
    # A line that the model lacks is left: at the edge it may be the neighbour's.
    made = {name: value for name, value in (model or {}).items() if name not in _SIDES or value is not None}
    style = cell.style or _FORMAT_ONLY
    code = style.number_format or (MOMENT_FORMAT if hasattr(cell.value, "year") else "")
    if code:
        made["number_format"] = code
    elif (cell.link is not None or isinstance(cell.value, float | int)) and number_format() == AS_TEXT:
        made["number_format"] = GENERAL  # else Excel would keep a number, or the formula of a link, as text
    if cell.style is not None and not _says_format_only(cell.style):
        made |= {
            "bold": style.bold,
            "italic": style.italic,
            "underline": style.underline,
            "color": _rgb(style.color) or [0, 0, 0],
            "fill": _rgb(style.fill),
            "wrap": style.wrap,
            "horizontal": style.align or "general",
        }
    return made


def _says_format_only(style: Style) -> bool:
    return style == Style(number_format=style.number_format)


def _rgb(color: str | None) -> list[int] | None:
    return None if color is None else [int(color[at : at + 2], 16) for at in (0, 2, 4)]


def alike(looks: Mapping[tuple[int, int], Look]) -> list[tuple[Look, list[tuple[int, int]]]]:
    """The cells in groups of one look each, those without one left out."""
    groups: dict[str, tuple[Look, list[tuple[int, int]]]] = {}
    for place, look in looks.items():
        if look:
            groups.setdefault(json.dumps(look, sort_keys=True), (look, []))[1].append(place)
    return list(groups.values())
