"""The command `strapline`. What a command needs is imported inside it, so that help is there at once."""

from __future__ import annotations

import os
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from workbook_template.live_commands import addin, live

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rich.console import Console

    from engine_rules.advice import Advice
    from workbook_template.log_file import LogFile

T = TypeVar("T")
UNUSABLE, OUR_FAULT, INTERRUPTED = 2, 1, 130
PIPED_WIDTH = 120
LONG_LOG = 20  # runs from which waiting is worth a bar

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    help="Reads the log of an engine in a workbook and advises jets, timing and plugs for each cylinder, and says why.",
)


def main() -> None:
    """The installed command."""
    sys.exit(run_command(sys.argv[1:]))


def run_command(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit status; whatever goes wrong ends as one sentence on stderr."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a sign shows a question mark in its place.
        stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        status = app(list(arguments) or ["--help"], prog_name="strapline", standalone_mode=False)
        sys.stdout.flush()
        return status if isinstance(status, int) else 0
    except (KeyboardInterrupt, typer.Abort):
        return INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # else the exit itself complains again
        return 0
    except Exception as error:
        if os.environ.get("STRAPLINE_DEBUG") == "1":
            traceback.print_exc()
        sentence, status = explained(error)
        print(f"strapline: {sentence.rstrip('.')}.", file=sys.stderr)
        return status


def explained(error: Exception) -> tuple[str, int]:
    """What went wrong in one sentence, and the exit status."""
    from engine_rules.logbook import LogbookError

    usage_error = typer.BadParameter.__mro__[1]  # typer gives its base no name of its own
    if isinstance(error, usage_error):
        return f"{error.format_message().rstrip('.')}; see strapline --help", UNUSABLE  # type: ignore[attr-defined]
    if isinstance(error, LogbookError):
        return str(error), UNUSABLE
    if isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        return f"{where}{error.strerror or error}; make room on the disk, or choose another place", UNUSABLE
    kind = " ".join(f"{type(error).__name__}: {error}".split())
    return (
        f"this is a fault of strapline's own ({kind}), and nothing was left half written; please report it, with the "
        "workbook and what the same command shows with STRAPLINE_DEBUG=1 set",
        OUR_FAULT,
    )


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        print(f"strapline {version('strapline')}")
        raise typer.Exit


@app.callback()
def strapline(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Say the version and stop.")
    ] = False,
) -> None:
    pass


def _given(metavar: str, meaning: str) -> object:
    return typer.Option(metavar=metavar, help=meaning)


Log = Annotated[Path, typer.Argument(metavar="LOG.xlsx", help="The workbook with the log.", show_default=False)]
_OUT_HELP = "Where to put the result; else LOG.xlsx is replaced, after a backup beside it."
Out = Annotated[Path | None, typer.Option("--out", "-o", metavar="OUT.xlsx", help=_OUT_HELP)]


@app.command()
def new(
    log: Annotated[Path, typer.Argument(metavar="LOG.xlsx", help="The workbook to make.", show_default=False)],
    cylinders: Annotated[int, typer.Option(help="How many cylinders, 1 to 12.")] = 8,
    arrangement: Annotated[str, typer.Option(help="v, inline or flat.")] = "v",
    units: Annotated[str, typer.Option(help="us or si.")] = "us",
    style: Annotated[
        str,
        typer.Option(
            help="rows: a row a run and a row a plug. wide: a row a run. form: a printed page a run, for a pen."
        ),
    ] = "rows",
    carburetion: Annotated[
        str, typer.Option(help="one four-barrel, two four-barrels, individual runners, side-draughts, single, EFI ...")
    ] = "one four-barrel",
    manifold: Annotated[
        str | None, typer.Option(help="single plane, dual plane, individual runner or other; else what is usual.")
    ] = None,
    fuel: Annotated[str, typer.Option(help="leaded gasoline, unleaded gasoline, E85 or methanol.")] = "leaded gasoline",
    run_length: Annotated[str, typer.Option(help="short, long or endurance.")] = "short",
    firing_order: Annotated[str | None, typer.Option(help="Such as 1-3-4-2; else a common one.")] = None,
    timing_hardware: Annotated[str, typer.Option(help="none, tabs, paired or per-cylinder.")] = "none",
) -> None:
    """Make a blank workbook for one engine. A file that is there is never overwritten."""
    from workbook_template.build import BlankOptions
    from workbook_template.log_file import make_blank

    options = BlankOptions(
        cylinders=cylinders,
        arrangement=arrangement,
        units=units,
        carburetion=carburetion,
        manifold=manifold,
        fuel=fuel,
        run_length=run_length,
        firing_order=_order(firing_order),
        timing_hardware=timing_hardware,
        style=style,
    )
    make_blank(log, options)
    print(f"Made {log}. Begin with its sheet Start here.")


def _order(written: str | None) -> tuple[int, ...] | None:
    from engine_rules.logbook import LogbookError

    if written is None:
        return None
    parts = written.replace(",", "-").replace(" ", "-").split("-")
    if not all(part.isdecimal() for part in parts):
        raise LogbookError(f"'{written}' is not a firing order; write it such as 1-3-4-2")
    return tuple(int(part) for part in parts)


@app.command()
def check(log: Log) -> None:
    """Say what was read and from where, and what is missing. Nothing is written."""
    from workbook_template.log_file import open_log
    from workbook_template.say import print_checks

    print_checks(_terminal(), open_log(log))


@app.command()
def fill(
    log: Log,
    out: Out = None,
    run: Annotated[str | None, typer.Option(metavar="RUN", help="The run to advise; else the newest.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Advise every run with readings.")] = False,
    car: Annotated[
        str | None, typer.Option(metavar="NAME", help="Of a workbook with several cars, this one; else each.")
    ] = None,
    to_json: Annotated[
        str | None, typer.Option("--json", metavar="FILE", help="Write the advice as JSON too; - is the terminal.")
    ] = None,
) -> None:
    """Fill in the advice, the card for the next run and the reasons."""
    from engine_rules.logbook import LogbookError
    from workbook_template.fill import tab_unit
    from workbook_template.how_read import NotRecognised
    from workbook_template.log_file import ask_first, fill_cars, json_bytes, open_log, runs_to_read, write_json
    from workbook_template.say import advice_lines, filled_lines
    from workbook_template.say_read import asked_lines

    if every and run is not None:
        raise LogbookError("--run and --all do not go together; give one of them")
    json_file = _json_target(to_json)
    try:
        opened = open_log(log, out)
    except NotRecognised as error:
        raise ask_first(log, out, error) from None
    advised: list[tuple[LogFile, list[Advice]]] = []
    for one in opened.cars(car):
        names = runs_to_read(one) if every else [one.book.run(run).name]
        advised.append((one, _advised(one, names)))
    filled = fill_cars(opened, [(one.book, advices) for one, advices in advised])
    data = _as_data(advised, every)
    if json_file is not None:
        write_json(json_file, data)
    elif to_json is not None:
        sys.stdout.buffer.write(json_bytes(data))
    terminal = _terminal(error=to_json == "-")
    for one, advices in advised:
        car_named = [f"{one.book.car}:"] if len(advised) > 1 else []
        for line in (*car_named, *advice_lines(advices[-1], tab_unit(one.book))):
            terminal.print(line, soft_wrap=True)
    read = [one.book.how_read for one, _ in advised if one.book.how_read is not None]
    for line in (*filled_lines(filled, log, sum(len(advices) for _, advices in advised)), *asked_lines(read)):
        terminal.print(line, soft_wrap=True)


def _as_data(advised: Sequence[tuple[LogFile, list[Advice]]], every: bool) -> object:
    """The advice as plain data: of one run, of every run as a list; of several cars by their names."""
    of_cars = [[advice.as_json() for advice in advices] for _, advices in advised]
    data = [of_car if every else of_car[0] for of_car in of_cars]
    return data[0] if len(data) == 1 else {one.book.car: of_car for (one, _), of_car in zip(advised, data, strict=True)}


def _advised(log: LogFile, names: Sequence[str]) -> list[Advice]:
    from workbook_template.log_file import advise_each

    advices = advise_each(log, names)
    return list(advices if len(names) < LONG_LOG else _bar(advices, "Reasoning", len(names)))


def _bar(steps: Iterable[T], what: str, count: int) -> Iterable[T]:
    """The same steps, with a bar on stderr while they go by, if that is a terminal."""
    from rich.progress import track

    console = _terminal(error=True)
    return track(steps, what, count, console=console, transient=True, disable=not console.is_terminal)


def _json_target(written: str | None) -> Path | None:
    """The file for the JSON, None for the terminal or no JSON; refused here, before any work, where it will not do."""
    from engine_rules.logbook import LogbookError

    if written is None or written == "-":
        return None
    target = Path(written)
    if target.suffix.lower() != ".json":
        raise LogbookError(f"--json {written} would not end in .json; name it so, or write - for the terminal")
    if not target.parent.is_dir():
        raise LogbookError(f"--json {written}: there is no folder {target.parent}; make it first")
    return target


@app.command()
def clear(
    log: Log,
    out: Out = None,
) -> None:
    """Take everything that strapline wrote out of the workbook again; what you wrote stays."""
    from workbook_template.clear import clear_log, cleared_lines

    terminal = _terminal()
    for line in cleared_lines(clear_log(log, out)):
        terminal.print(line, soft_wrap=True)


@app.command("retune")
def retune_today(
    log: Log,
    temp: Annotated[str | None, _given("TEMP", "Temperature of the air, such as 75 or '24 C'.")] = None,
    pressure: Annotated[str | None, _given("PRESSURE", "Pressure of the air, such as 29.42 or '996 hPa'.")] = None,
    pressure_kind: Annotated[str | None, _given("KIND", "station, as a gauge shows; or sea-level.")] = None,
    altitude: Annotated[str | None, _given("ALTITUDE", "Of the track, such as 800; for sea-level pressure.")] = None,
    humidity: Annotated[str | None, _given("PERCENT", "Relative humidity; or one of the next four.")] = None,
    grains: Annotated[str | None, _given("GRAINS", "Water in a pound of dry air, such as 60.")] = None,
    vapour_pressure: Annotated[str | None, _given("PRESSURE", "Of the water in the air, such as 0.4.")] = None,
    dew_point: Annotated[str | None, _given("TEMP", "Such as 60.")] = None,
    dry_density: Annotated[str | None, _given("DENSITY", "Of the dry air: 0.0721, '1.155 kg/m3' or '94 %'.")] = None,
    density_altitude: Annotated[str | None, _given("ALTITUDE", "In place of pressure, such as 2300.")] = None,
    run: Annotated[str | None, _given("RUN", "What to reckon from; else the newest Reference.")] = None,
    car: Annotated[str | None, _given("NAME", "Of a workbook with several cars, this one; else each.")] = None,
    to_json: Annotated[
        str | None, typer.Option("--json", metavar="FILE", help="Write it as JSON too; - is the terminal.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="OUT.xlsx", help="Put the sheet Today there; else nothing is written."),
    ] = None,
) -> None:
    """Say which jets keep the mixture of the reference run in today's air, with a table for the day.

    Numbers without a unit are in the units of the log, US units in a blank workbook.
    """
    from workbook_template.log_file import json_bytes, open_log, write_json
    from workbook_template.say_today import print_today
    from workbook_template.today import today_of_cars, write_today

    json_file = _json_target(to_json)
    opened = open_log(log, out)
    given = {
        "--temp": temp, "--pressure": pressure, "--pressure-kind": pressure_kind, "--altitude": altitude,
        "--humidity": humidity, "--grains": grains, "--vapour-pressure": vapour_pressure, "--dew-point": dew_point,
        "--dry-density": dry_density, "--density-altitude": density_altitude,
    }  # fmt: skip
    todays, refused = today_of_cars(opened, given, run, car)
    written = None if out is None else write_today(opened, todays)
    data = {name: today.as_json() for name, today in todays.items()}
    plain = data if len(opened.books) > 1 and car is None else next(iter(data.values()))
    if json_file is not None:
        write_json(json_file, plain)
    elif to_json is not None:
        sys.stdout.buffer.write(json_bytes(plain))
    terminal = _terminal(error=to_json == "-")
    for name, today in todays.items():
        if len(opened.books) > 1:
            terminal.print(f"{name}:")
        print_today(terminal, today)
    for line in (*refused, *([] if written is None else [written])):
        terminal.print(line, soft_wrap=True)


@app.command()
def batch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the workbooks lie.", show_default=False)],
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Where the filled ones go.", show_default=False)],
    workers: Annotated[int | None, typer.Option(min=1, help="How many at a time; else one for each processor.")] = None,
) -> None:
    """Fill every workbook of a folder, and sum up which car needs you first."""
    from workbook_template.batch import fill_folder, find_workbooks, in_order
    from workbook_template.batch_summary import write_summary
    from workbook_template.say import batch_lines

    found = find_workbooks(folder, out)
    steps = fill_folder(found, workers or os.cpu_count() or 1)
    cars = in_order(_bar(steps, "Filling", len(found)))
    write_summary(out, cars)
    terminal = _terminal()
    for line in batch_lines(cars, out):
        terminal.print(line, soft_wrap=True)


@app.command()
def rules(
    rule: Annotated[str | None, typer.Argument(metavar="RULE", help="An id, or a decision such as fuel.")] = None,
) -> None:
    """Print the rule book, or a part of it."""
    from engine_rules.logbook import LogbookError
    from engine_rules.look_up import find_rules
    from workbook_template.say import print_rules

    try:
        found = find_rules(rule)
    except LookupError as error:
        raise LogbookError(str(error.args[0])) from None
    print_rules(_terminal(), found)


app.add_typer(addin, name="addin")
app.add_typer(live, name="live")


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="[FOLDER]", help="Where to put it.")] = Path("strapline-demo"),
) -> None:
    """Make the log of an invented car's season and fill it, to look at."""
    from strapline_demo.season import build_season
    from workbook_template.log_file import fill_in, open_log, runs_to_read
    from workbook_template.say import filled_lines

    folder.mkdir(parents=True, exist_ok=True)
    log = folder / "season.xlsx"
    build_season(log)
    opened = open_log(log)
    advices = _advised(opened, runs_to_read(opened))
    filled = fill_in(opened, advices)
    for advice in advices:
        _terminal().print(f"Run {advice.run} ({advice.stage}): {advice.headline}", soft_wrap=True)
    for line in filled_lines(filled, log, len(advices)):
        _terminal().print(line, soft_wrap=True)


def _terminal(error: bool = False) -> Console:
    from rich.console import Console

    console = Console(stderr=error, markup=False, highlight=False, emoji=False)
    if not console.is_terminal:
        console.width = PIPED_WIDTH
    return console
