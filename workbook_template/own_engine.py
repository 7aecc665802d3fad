"""Engine, jets and plugs of a racer's own book: from sheets laid out like the blank workbook's, or safe defaults."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from engine_rules.feeds import ONE_TO_ONE, Places, barrels, feed_shares
from engine_rules.fuel import Ladder
from engine_rules.labels import label_key
from engine_rules.logbook import Cell, CylinderPlace, Engine, Finding, LogbookError, Station
from engine_rules.plugs import Plug, PlugShelf
from workbook_template.headings import MOST_CYLINDERS
from workbook_template.hosts.protocol import SheetBlock
from workbook_template.how_read import EngineLine
from workbook_template.jets_as_written import FOUR
from workbook_template.joined import LoggedCar, spot_of, values_of
from workbook_template.layout import layout, split_heading
from workbook_template.read_engine import read_engine
from workbook_template.read_shelves import NO_JETS, read_jets, read_plugs
from workbook_template.read_values import read_label
from workbook_template.tables import Table, find_sheet, find_table, is_ditto

LEAST_SETTINGS = 3
CYLINDERS = "Cylinders"


@dataclass(frozen=True, slots=True)
class OwnParts:
    """What the engine is and what lies on the shelf. ladder: None where the book gives no bores.

    lines: what was taken for an engine that no sheet describes.
    """

    engine: Engine
    ladder: Ladder | None
    shelf: PlugShelf
    tables: Mapping[str, Table]
    cells: Mapping[str, Cell]
    lines: tuple[EngineLine, ...]


def own_sheet(blocks: Sequence[SheetBlock], key: str, car: str) -> SheetBlock | None:
    """A sheet laid out like the blank workbook's: 'Engine', or 'Engine Blue' for one car of several."""
    sheet = layout().sheets[key]
    names = [f"{sheet.name} {car}", f"{car} {sheet.name}", sheet.name] if car else [sheet.name]
    found = (find_sheet(blocks, replace(sheet, name=name)) for name in names)
    block = next((one for one in found if one is not None), None)
    return block if block is not None and _is_like_ours(block, key) else None


def _is_like_ours(block: SheetBlock, key: str) -> bool:
    sheet = layout().sheets[key]
    if key != "engine":
        try:
            find_table(block, sheet, sheet.columns)
        except LogbookError:
            return False
        return True
    named = {split_heading(value)[0] for row in block.rows for value in row if isinstance(value, str)}
    return sum(bool(setting.names & named) for setting in sheet.settings) >= LEAST_SETTINGS


def own_parts(
    blocks: Sequence[SheetBlock],
    car: LoggedCar,
    house: str,
    answers: Mapping[str, str],
    drawn: Places,
    findings: list[Finding],
) -> OwnParts:
    """The parts that the rules need. answers: of the racer to what was asked; drawn: the banks as a form draws them.

    Raises LogbookError for a sheet of them that cannot be used.
    """
    block = own_sheet(blocks, "engine", car.name)
    tables: dict[str, Table] = {}
    cells: Mapping[str, Cell] = {}
    lines: list[EngineLine] = []
    if block is not None:
        read = read_engine(block, house, findings)
        engine, tables["engine"], cells = read.engine, read.table, read.cells
    else:
        engine = _assumed_engine(car, answers, drawn, lines, findings)
    for key in ("jets", "plugs"):
        shelf_block = own_sheet(blocks, key, car.name)
        if shelf_block is not None:
            sheet = layout().sheets[key]
            tables[key] = find_table(shelf_block, sheet, sheet.columns).with_house_units(house)
    ladder = _ladder(tables, engine, findings)
    shelf = read_plugs(tables["plugs"], findings) if "plugs" in tables else _assumed_shelf(car, findings)
    return OwnParts(engine, ladder, shelf, tables, cells, tuple(lines))


def _ladder(tables: Mapping[str, Table], engine: Engine, findings: list[Finding]) -> Ladder | None:
    if "jets" in tables:
        return read_jets(tables["jets"], findings)
    if not engine.stations:
        return NO_JETS
    findings.append(
        Finding(
            "there is no sheet Jets with the bore of each size, and a number is not a bore: the jets of the log are "
            "not used and no jet is advised, mixture is; copy the sheet Jets of a new blank workbook into this one"
        )
    )
    return None


def cylinders_read(car: LoggedCar) -> list[int]:
    """The numbers of the cylinders that any run has cells for."""
    return sorted({number for run in car.runs for number in run.cylinders})


def only_cylinder(blocks: Sequence[SheetBlock], answers: Mapping[str, str]) -> int | None:
    """The cylinder of an engine that has no other, by the sheet Engine or the racer's answer; else None."""
    block = own_sheet(blocks, "engine", "")
    if block is None:
        return 1 if asked_cylinders("", answers)[0] == 1 else None
    try:
        numbers = read_engine(block, "us", []).engine.numbers
    except LogbookError:
        return None  # said where the engine is read
    return numbers[0] if len(numbers) == 1 else None


def asked_cylinders(car: str, answers: Mapping[str, str]) -> tuple[int, EngineLine]:
    """How many cylinders the racer said that there are, 0 where nobody did; and the line on which it is asked.

    Raises LogbookError for an answer that is no such number.
    """
    heading = f"{car}: {CYLINDERS}" if car else CYLINDERS
    answer = answers.get(heading.casefold(), "")
    if answer and not (answer.isdecimal() and 1 <= int(answer) <= MOST_CYLINDERS):
        raise LogbookError(
            f"'{answer}' is not a number of cylinders; write one from 1 to {MOST_CYLINDERS}", "How it was read"
        )
    question = "how many cylinders are there? No column tells of one; of several, what the notes say stands for each"
    return int(answer or 0), EngineLine(CYLINDERS, heading, answer or "not known", question, _sure(answer))


def _assumed_engine(
    car: LoggedCar, answers: Mapping[str, str], drawn: Places, lines: list[EngineLine], findings: list[Finding]
) -> Engine:
    asks = _Asking(answers, lines, car.name)
    counted, line = asked_cylinders(car.name, answers)
    numbers = cylinders_read(car) or list(range(1, counted + 1))
    if counted or not cylinders_read(car):
        lines.append(line)
    fuel = asks.word("fuel", "unleaded gasoline", "which fuel does it burn? On alcohol the ring says nothing")
    length = _seen_length(car)
    run_length = asks.word("run_length", length or "long", "short: a pass or a pull; long: minutes at load")
    fed = _seen_carburetion(car, numbers)
    carburetion = asks.word("carburetion", fed or "one four-barrel", "what feeds it?")
    usual = "individual runner" if carburetion in ONE_TO_ONE else "other"
    manifold = usual
    if len(numbers) > 1:
        manifold = asks.word("manifold", usual, "which manifold? Until it is said no corner is blamed for one cylinder")
    places, arrangement = _places(numbers, drawn, asks)
    order = asks.order(numbers) if len(numbers) > 1 else tuple(numbers)
    hardware = asks.word("timing_hardware", "none", "can each cylinder's timing be set, and by what?")
    findings.append(
        Finding(
            f"there is no sheet Engine: cylinders were counted or told, {len(numbers)} of them, the rest was taken "
            "as said on 'How it was read'; answer there, or copy the sheet Engine of a new blank workbook into this one"
        )
    )
    known = () if carburetion == "EFI" else barrels(carburetion, places)
    plain = Engine(
        name=car.name,
        fuel=fuel,
        arrangement=arrangement,
        run_length=run_length,
        carburetion=carburetion,
        manifold=manifold,
        firing_order=order,
        cylinders=tuple(CylinderPlace(number, *places[number], {}) for number in places),
        stations=tuple(Station(one.name, one.end, one.side) for one in known),
        timing_hardware=hardware,
        trim_step_deg=1.0 if hardware != "none" else None,
    )
    return _fed(plain, places, findings) if known else plain


def _fed(engine: Engine, places: Places, findings: list[Finding]) -> Engine:
    """The engine with the share of each station in each cylinder's fuel."""
    try:
        shares = feed_shares(engine.carburetion, engine.manifold, places, engine.firing_order)
    except ValueError as error:
        findings.append(Finding(f"{error}; until then every jet counts as feeding every cylinder alike"))
        engine = replace(engine, manifold="other")
        shares = feed_shares(engine.carburetion, engine.manifold, places, engine.firing_order)
    return replace(engine, cylinders=tuple(replace(one, shares=shares[one.number]) for one in engine.cylinders))


@dataclass(frozen=True, slots=True)
class _Asking:
    """The racer's answers, and the lines of the sheet on which they stand."""

    answers: Mapping[str, str]
    lines: list[EngineLine]
    car: str

    def _named(self, heading: str) -> str:
        return f"{self.car}: {heading}" if self.car else heading

    def _answer(self, heading: str) -> str:
        return self.answers.get(self._named(heading).casefold(), "")

    def word(self, key: str, otherwise: str, question: str) -> str:
        """The word answered, or the default."""
        setting = next(one for one in layout().sheets["engine"].settings if one.key == key)
        words = layout().lists[setting.list]
        answer = self._answer(setting.heading)
        word = words.find(answer) if answer else None
        if answer and word is None:
            raise LogbookError(
                f"'{answer}' is not a word for {setting.heading}; use one of {', '.join(words.words)}",
                "How it was read",
            )
        heading = self._named(setting.heading)
        self.lines.append(EngineLine(key, heading, word or otherwise, question, _sure(answer), words.words))
        return word or otherwise

    def numbers(self, heading: str, taken: str, question: str) -> tuple[int, ...]:
        """The cylinders answered, in their order."""
        answer = self._answer(heading)
        self.lines.append(EngineLine(heading, self._named(heading), answer or taken, question, _sure(answer)))
        parts = re.findall(r"\d+", answer)
        return tuple(int(part) for part in (list(parts[0]) if len(parts) == 1 and len(parts[0]) > 2 else parts))

    def order(self, numbers: Sequence[int]) -> tuple[int, ...]:
        """The firing order answered; none where it was not, since none is guessed."""
        order = self.numbers("Firing order", "not known", "what is the firing order? None is guessed")
        if order and sorted(order) != sorted(numbers):
            raise LogbookError(
                f"the firing order must name each cylinder once ({', '.join(map(str, numbers))}); correct it",
                "How it was read",
            )
        return order


def _sure(answer: str) -> str:
    return "yours" if answer else "taken"


def _places(numbers: Sequence[int], drawn: Places, asks: _Asking) -> tuple[Places, str]:
    """Banks as answered, or as the forms draw them; one row where neither says it, since no bank is guessed."""
    if len(numbers) == 1:
        return {numbers[0]: ("", 1)}, "inline"
    in_drawing = drawn if drawn.keys() == set(numbers) else {}
    on_left = sorted((place, number) for number, (bank, place) in in_drawing.items() if bank == "L")
    shown = ", ".join(str(number) for _, number in on_left)
    arrangement = asks.word("arrangement", "V" if in_drawing else "inline", "how do the cylinders stand?")
    left = asks.numbers(
        "Left bank, front to rear",
        f"{shown}, as drawn" if in_drawing else "not known",
        "which cylinders stand on the left bank, seen from the driver's seat? None is guessed",
    )
    left = tuple(number for number in left if number in numbers)
    if arrangement == "inline" or (not left and not in_drawing) or len(left) == len(numbers):
        return {number: ("", place) for place, number in enumerate(numbers, start=1)}, "inline"
    if not left:
        return {number: in_drawing[number] for number in numbers}, arrangement
    right = [number for number in numbers if number not in left]
    banks = {
        number: (side, place) for side, bank in (("L", left), ("R", right)) for place, number in enumerate(bank, 1)
    }
    return {number: banks[number] for number in numbers}, arrangement


def _seen_length(car: LoggedCar) -> str:
    keys = {key for run in car.runs for key, value in run.values.items() if value.value is not None}
    return "short" if "et_s" in keys else "long" if keys & {"lap_time_s", "laps"} else ""


def _seen_carburetion(car: LoggedCar, numbers: Sequence[int]) -> str:
    stations = {key.removeprefix("jets.") for run in car.runs for key in run.values if key.startswith("jets.")}
    if stations & set(FOUR):
        return "one four-barrel"
    if len(numbers) == 1:
        return "single"
    if stations and stations <= {str(number) for number in numbers}:
        return "individual runners"
    trims = any("fuel_trim_pct" in values for values in values_of(car.runs))
    return "EFI" if trims else ""


def _assumed_shelf(car: LoggedCar, findings: list[Finding]) -> PlugShelf:
    """The plugs that the log names, all on one rung: which is the colder nobody can tell from a name."""
    labels: dict[str, str] = {}
    for values in values_of(car.runs):
        value = values.get("plug")
        if value is not None and value.value is not None and not is_ditto(value.value):
            with suppress(LogbookError):  # the reader of the cell says so
                label = read_label(spot_of(value)).value
                labels.setdefault(label_key(label), label)
    findings.append(
        Finding(
            "there is no sheet Plugs with the heat order of each plug: no other plug is advised, and each tip counts "
            "as regular; copy the sheet Plugs of a new blank workbook into this one"
        )
    )
    return PlugShelf(tuple(Plug(label, 1.0) for label in labels.values()) or (Plug("not named", 1.0, on_hand=False),))
