"""The commands that put buttons into a spreadsheet program, and those that do a button's work from a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

addin = typer.Typer(help="Put buttons into a spreadsheet program: they work on the workbook that is open.")
live = typer.Typer(help="Do what the buttons do on the workbook that is open in Excel, from a terminal.")


@addin.callback()
def _addin() -> None:
    pass


@addin.command("calc")
def addin_calc(
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE.oxt", help="Only write the extension there.")
    ] = None,
) -> None:
    """Install the buttons in LibreOffice Calc; they call this very installation of strapline."""
    from workbook_template.hosts.calc import add_to_calc

    print(add_to_calc(out))


@addin.command("excel")
def addin_excel(
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="strapline_excel.xlam", help="Only write the add-in there."),
    ] = None,
    one_button: Annotated[
        bool, typer.Option("--one-button", help="One button that asks what to do, with xlwings' own macros untouched.")
    ] = False,
) -> None:
    """Install the buttons in Excel; they call this very installation of strapline."""
    from workbook_template.hosts.excel.addin import add_to_excel

    print(add_to_excel(out, one_button))


@live.command()
def check() -> None:
    """Say what was read and what is missing. Nothing is written."""
    _press("check")


@live.command()
def fill() -> None:
    """Advise the newest run: columns, card and reasons appear in the open workbook. Nothing is saved."""
    _press("fill")


@live.command()
def air(
    temp: Annotated[str | None, typer.Option(metavar="TEMP", help="Such as 75 or '24 C'.")] = None,
    pressure: Annotated[str | None, typer.Option(metavar="PRESSURE", help="Such as 29.42 or '996 hPa'.")] = None,
    pressure_kind: Annotated[str | None, typer.Option(metavar="KIND", help="station or sea-level.")] = None,
    altitude: Annotated[str | None, typer.Option(metavar="ALTITUDE", help="For sea-level pressure.")] = None,
    humidity: Annotated[str | None, typer.Option(metavar="PERCENT", help="Relative humidity.")] = None,
) -> None:
    """Add the sheet Today: the jets that keep the mixture of the reference run in this air."""
    from engine_rules.logbook import LogbookError

    given = {
        "--temp": temp, "--pressure": pressure, "--pressure-kind": pressure_kind, "--altitude": altitude,
        "--humidity": humidity,
    }  # fmt: skip
    told = {key: value for key, value in given.items() if value is not None}
    if not told:
        raise LogbookError("say the air, such as: strapline live air --temp 75 --pressure 29.42 --humidity 45")
    _press("air", told)


@live.command()
def why() -> None:
    """Go to the reason for the selected cell."""
    _press("why")


@live.command()
def clear() -> None:
    """Take all of strapline's out of the open workbook; what you wrote stays."""
    _press("clear")


@live.command()
def undo() -> None:
    """Put back what the last fill, air or clear overwrote, which Excel's own Undo cannot."""
    _press("undo")


def _press(command: str, air: Mapping[str, str] | None = None) -> None:
    from workbook_template.hosts.excel.press import press, workbook_in_front

    made = press(workbook_in_front(), command, air)
    for line in made.lines:
        print(line)
    if made.go_to:
        print(f"Selected in Excel: {made.go_to}")
