"""What the terminal says: advice in a few lines, the report of a check, the rule book, the result of a batch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from openpyxl.utils import get_column_letter
from rich.console import Console
from rich.table import Table as RichTable
from rich.text import Text

from engine_rules.advice import Advice, CylinderAdvice
from engine_rules.logbook import Engine, Finding, LogbookError, Run
from engine_rules.look_up import targets_named
from engine_rules.rulebook import RuleEntry
from engine_rules.targets import default_targets
from workbook_template.batch import ORDER, REST, SUMMARY_XLSX, Car
from workbook_template.fill import CHARTS, LEDGER, NEXT_RUN, SEASON, WHY
from workbook_template.hosts.scratch import area_ref
from workbook_template.layout import layout, split_heading
from workbook_template.log_file import Filled, LogFile
from workbook_template.say_read import print_how_read
from workbook_template.tables import Table, as_text
from workbook_template.today_sheet import TODAY
from workbook_template.wording import (
    caution_lines,
    jet_move,
    plain,
    signed,
    swap_words,
    tab_bend,
    trim_move,
    worth_words,
)

LEVELS = {"stop": "STOP", "back off": "BACK OFF", "mind": "MIND"}


def advice_lines(advice: Advice, bend_unit: str) -> Iterator[str]:
    """One run's advice: headline, changes, cautions, worth, and what stays unknown. bend_unit: 'mm' or 'in'."""
    yield f"Run {advice.run} ({advice.stage}): {advice.headline}"
    yield from (f"  {line}" for line in change_lines(advice, bend_unit))
    for level, word in LEVELS.items():
        yield from (f"  {word}: {text}" for text, _ in caution_lines(advice.cautions, level))
    if advice.worth is not None:
        yield f"  {worth_words(advice.worth)}"


def change_lines(advice: Advice, bend_unit: str) -> Iterator[str]:
    """Every change, one a line, in the order of the work."""
    for jet in advice.jets:
        yield f"Jet {jet.corner}: {jet_move(jet)} ({signed(jet.flow_pct)} % fuel)"
    if advice.timing is not None:
        yield f"Total timing: {plain(advice.timing.old)}° → {plain(advice.timing.new)}°"
    for one in advice.cylinders:
        words = ", ".join(_cylinder_words(one, bend_unit))
        if words:
            yield f"Cylinder {one.cylinder}: {words}"


def _cylinder_words(one: CylinderAdvice, bend_unit: str) -> Iterator[str]:
    if one.fuel_trim is not None:
        yield f"fuel {signed(one.fuel_trim.old)} → {signed(one.fuel_trim.new)} %"
    if one.trim is not None:
        bend = "" if one.tab_mm is None else f" (bend the tab {tab_bend(one.tab_mm, bend_unit)})"
        yield f"timing trim {trim_move(one.trim)}{bend}"
    if one.plug is not None:
        yield f"plug {swap_words(one.plug)}"
    if one.tip is not None:
        yield f"tip {swap_words(one.tip)}"


def filled_lines(filled: Filled, source: Path, runs: int) -> Iterator[str]:
    """What was written, where to look, and where the old file is. source: the workbook that was read."""
    many = f" for {runs} runs" if runs > 1 else ""
    if filled.locked:
        yield f"{source.name} cannot be filled in place: {filled.locked}. It is as it was."
        yield f"The advice is in a workbook of its own, {filled.path}{many}."
        yield f"Look at its sheet {filled.card} first, and at {filled.why} for the reasons."
    else:
        yield f"Filled {filled.path}{many}. Look at its sheet {filled.card} first, and at {filled.why} for the reasons."
    if filled.backup is not None:
        yield f"The file as it was is kept as {filled.backup.name}."


def print_checks(console: Console, log: LogFile) -> None:
    """The report of every car of a log, each with the advice of its newest run or why there is none."""
    from engine_rules import advise

    for one in log.cars():
        try:
            one.book.run()
        except LogbookError as error:
            print_check(console, one, None, str(error))
        else:
            print_check(console, one, advise(one.book.logbook), "")


def print_check(console: Console, log: LogFile, advice: Advice | None, reason: str) -> None:
    """What was read and from where, what was not understood, and what the newest run lacks.

    advice: that of the newest run, or None with the reason why there is none.
    """
    for line in _engine_lines(log):
        console.print(line)
    left = [block.name for block in log.blocks if block.name not in _known_sheets(log)]
    if log.book.how_read is not None:
        print_how_read(console, log.book.how_read)
        left = []
    else:
        console.print(_sheet_table(log))
    if left:
        console.print(f"Other sheets, left alone: {', '.join(left)}")
    _print_list(console, "Met while reading", [_finding(finding) for finding in log.book.logbook.findings])
    _print_list(console, "Targets of your own", list(_own_targets(log)))
    if advice is None:
        console.print(f"No advice yet: {reason}")
        return
    console.print(f"\nNewest run {advice.run} ({advice.stage}): {advice.headline}")
    _print_list(console, "Missing", advice.missing)
    aside = [f"{one.cell or 'no cell'}: {one.reason}" for one in advice.set_aside]
    _print_list(console, "Set aside", aside)
    _print_list(console, "Fill in one more entry, and these rules can speak", _short_lines(advice))


def _short_lines(advice: Advice) -> list[str]:
    """The blank entries, each with the rules that wait for it alone."""
    waiting: dict[str, list[str]] = {}
    for one in advice.one_short:
        waiting.setdefault(f"{one.cell or 'no cell'}: {one.lacks}", []).append(one.rule)
    return [f"{entry} ({', '.join(rules)})" for entry, rules in waiting.items()]


def _engine_lines(log: LogFile) -> Iterator[str]:
    logbook = log.book.logbook
    engine = logbook.engine
    stations = ", ".join(station.name for station in engine.stations) or "none"
    yield f"{log.host.path.name}: {_engine_words(engine)}"
    yield f"Cylinders {', '.join(map(str, engine.numbers))}; jets at {stations}"
    read = [run for run in logbook.runs if run.readings]
    if logbook.runs:
        first, last = logbook.runs[0], logbook.runs[-1]
        span = _run_words(last) if first is last else f"from {_run_words(first)} to {_run_words(last)}"
        yield f"{counted(len(logbook.runs), 'run')}, {len(read)} with readings: {span}"
    else:
        yield "No run yet"
    on_hand = sum(jet.on_hand for jet in logbook.jets.sizes)
    jets = f"{counted(on_hand, 'size')} of jet and " if engine.stations else ""
    plugs = sum(plug.on_hand for plug in logbook.plugs.plugs)
    yield f"On the shelf: {jets}{counted(plugs, 'kind')} of plug"


def counted(count: int, noun: str) -> str:
    """'1 run', '2 runs'."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _engine_words(engine: Engine) -> str:
    count = len(engine.cylinders)
    words = (engine.name, f"{engine.arrangement} {count}", engine.fuel, engine.carburetion, engine.manifold)
    return ", ".join(word for word in words if word)


def _run_words(run: Run) -> str:
    return f"run {run.name}" + (f" ({run.when:%Y-%m-%d})" if run.when else "")


def _sheet_table(log: LogFile) -> RichTable:
    shown = RichTable("Sheet", "Where", "Rows", "Headings understood", "Headings not understood", title="What was read")
    for key, found in log.book.tables.items():
        place = area_ref((found.heading_row, found.block.first_column, found.block.last_row, found.block.last_column))
        rows = str(sum(1 for _ in found.rows()))
        shown.add_row(
            log.book.sheet_names[key], place, rows, ", ".join(_understood(found)), ", ".join(_strange(found)) or "none"
        )
    return shown


def _understood(found: Table) -> Iterator[str]:
    """The racer's headings, with ours where the words differ."""
    for placed in found.placed.values():
        written = as_text(found.block.at(found.heading_row, placed.index))
        alike = split_heading(written)[0] == split_heading(placed.column.heading)[0]
        if not placed.column.filled:
            yield written if alike else f"{written} (as {placed.column.heading})"


def _strange(found: Table) -> Iterator[str]:
    known = {placed.index for placed in found.placed.values()}
    for column in range(found.block.first_column, found.block.last_column + 1):
        value = found.block.at(found.heading_row, column)
        if column not in known and isinstance(value, str) and value.strip():
            yield f"{get_column_letter(column)}{found.heading_row} {value.strip()}"


def _known_sheets(log: LogFile) -> set[str]:
    written = {NEXT_RUN, WHY, LEDGER, CHARTS, SEASON, TODAY, layout().sheets["start"].name}
    return written | set(log.book.sheet_names.values())


def _own_targets(log: LogFile) -> Iterator[str]:
    """The thresholds that this workbook sets otherwise than shipped."""
    for key, value in log.book.logbook.targets.items():
        target = default_targets().entry(key)
        if value != target.value:
            yield f"{key}: {plain(value, 3)} {target.unit}, not {plain(target.value, 3)}"


def _finding(finding: Finding) -> str:
    return f"{finding.cell}: {finding.text}" if finding.cell else finding.text


def _print_list(console: Console, title: str, lines: Sequence[str]) -> None:
    if lines:
        console.print(f"\n{title}:")
        for line in lines:
            console.print(f"  - {line}")


def batch_lines(cars: Sequence[Car], out: Path) -> Iterator[str]:
    """What became of a folder of workbooks: those that need somebody first, one a line, then the count of the rest."""
    for group in ORDER:
        members = [car for car in cars if car.group == group]
        if members and group == REST:
            yield f"{group.upper()}: {len(members)}"
        else:
            yield from (f"{group.upper()}: {car.workbook}: {car.headline or car.sentence}" for car in members)
    filled = sum(1 for car in cars if car.filled)
    yield f"Filled {filled} of {len(cars)} workbooks. Look at {out / SUMMARY_XLSX} first."


def print_rules(console: Console, entries: Sequence[RuleEntry]) -> None:
    """The rules, each with its sentence, its source and the thresholds that its conclusion names."""
    for entry in entries:
        console.print(Text(entry.id, style="bold"))
        console.print(f"  {entry.says}")
        console.print(f"  Source: {entry.source}")
        for target in targets_named(entry):
            console.print(f"  Target {target.key}: {plain(target.value, 3)} {target.unit}, {target.about}")
    console.print(f"\n{counted(len(entries), 'rule')}. Every target can be changed on the sheet Targets of a workbook.")
