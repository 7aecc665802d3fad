"""What was taken for what, what is asked, and what the racer corrected: kept on the sheet 'How it was read'."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from engine_rules.logbook import Cell, LogbookError
from workbook_template.found import Heading
from workbook_template.headings import (
    READINGS,
    UNUSED,
    Meaning,
    column_of,
    cylinder_in,
    generalised,
    in_plain_words,
    meanings,
    plain_choices,
)
from workbook_template.hosts.protocol import SheetBlock
from workbook_template.layout import Unit
from workbook_template.tables import as_text
from workbook_template.units_found import Units, heading_key

HOW_READ = "How it was read"
HEADS = ("Heading", "First at", "Read as", "Unit", "How sure", "An entry", "Question", "Yours: read as", "Yours: unit")
ENGINE_HEADS = ("Engine", "", "Taken as", "", "How sure", "", "Question", "Yours")
FIRST, SURE, QUESTION, YOUR_MEANING, YOUR_UNIT = 1, 4, 6, 7, 8


@dataclass(frozen=True, slots=True)
class Question:
    """Something that only the racer knows, where it came up. setting: of the engine, '' for others."""

    text: str
    cell: Cell | None = None
    setting: str = ""


@dataclass(frozen=True, slots=True)
class HeadingLine:
    """One heading of the racer's, those that differ by the cylinder alone taken together."""

    written: str
    first: Cell | None
    count: int
    read_as: str
    unit: str
    sure: str
    example: str
    question: str


@dataclass(frozen=True, slots=True)
class EngineLine:
    """One setting of the engine that no sheet Engine gives: what was taken, and what is asked.

    sure: 'yours' where the racer answered, else 'taken'.
    """

    setting: str
    heading: str
    taken: str
    question: str
    sure: str = "taken"
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Corrections:
    """What the racer wrote on the sheet: heading -> meaning and unit, setting -> answer."""

    meanings: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)

    def meaning(self, written: str) -> Meaning | None:
        """The racer's own meaning of a heading, None where nothing was corrected."""
        if not self.meanings and not self.units:
            return None
        key = heading_key_of(written)
        named, unit = self.meanings.get(key), self.units.get(key, "")
        if named is None and not unit:
            return None
        if named is None:
            known = [one for one in meanings(written) if _unit(one.sheet, one.key, unit) is not None]
            return (
                Meaning(
                    known[0].sheet, known[0].key, known[0].cylinder, _unit(known[0].sheet, known[0].key, unit), "yours"
                )
                if known
                else None
            )
        sheet, column = named
        if sheet == UNUSED:
            return Meaning(UNUSED, "", None, None, "yours")
        heard = next((one.unit for one in meanings(written) if one.key == column), None)
        number = cylinder_in(written) if sheet == READINGS else None
        return Meaning(sheet, column, number, _unit(sheet, column, unit) or heard, "yours")


@dataclass(frozen=True, slots=True)
class HowRead:
    """All that is shown before it is used. shapes: sheet -> how it is laid out; aside: sheets that were left alone."""

    headings: tuple[HeadingLine, ...]
    engine: tuple[EngineLine, ...]
    questions: tuple[Question, ...]
    shapes: Mapping[str, str]
    aside: tuple[str, ...]
    corrections: Corrections


class NotRecognised(LogbookError):
    """No log was found in the headings as they were understood; how_read: what was, for the racer to correct."""

    def __init__(self, text: str, how_read: HowRead) -> None:
        super().__init__(text)
        self.how_read = how_read


def heading_key_of(written: str) -> str:
    """The key under which a heading's corrections are kept."""
    return generalised(written).casefold()


def _unit(sheet: str, key: str, written: str) -> Unit | None:
    column = column_of(sheet, key)
    return column.quantity.unit(written) if column is not None and column.quantity is not None and written else None


def read_corrections(blocks: Sequence[SheetBlock]) -> Corrections:
    """What stands under the racer's own headings of the sheet; nothing where the book has no such sheet yet."""
    block = next((one for one in blocks if one.name.strip().casefold() == HOW_READ.casefold()), None)
    if block is None:
        return Corrections()
    found: dict[str, tuple[str, str]] = {}
    units: dict[str, str] = {}
    answers: dict[str, str] = {}
    part = ""
    for row in range(1, block.last_row + 1):
        texts = [as_text(block.at(row, column + 1)) for column in range(len(HEADS))]
        if texts[0] in (HEADS[0], ENGINE_HEADS[0]):
            part = texts[0]
            continue
        if part == HEADS[0] and texts[0]:
            choice = next(
                (one for word, one in plain_choices().items() if word.casefold() == texts[YOUR_MEANING].casefold()),
                None,
            )
            if choice is not None:
                found[heading_key_of(texts[0])] = choice
            if texts[YOUR_UNIT]:
                units[heading_key_of(texts[0])] = texts[YOUR_UNIT]
        elif part == ENGINE_HEADS[0] and texts[0] and texts[YOUR_MEANING]:
            answers[texts[0].casefold()] = texts[YOUR_MEANING]
    return Corrections(found, units, answers)


def heading_lines(
    headings: Iterable[Heading], units: Units, examples: Mapping[Cell, str], corrections: Corrections
) -> tuple[HeadingLine, ...]:
    """A line for each different heading, in the order met."""
    members: dict[str, list[Heading]] = {}
    for heading in headings:
        members.setdefault(heading_key_of(heading.written), []).append(heading)
    return tuple(_line(group, units, examples) for group in members.values())


def _line(group: Sequence[Heading], units: Units, examples: Mapping[Cell, str]) -> HeadingLine:
    first = next((one for one in group if one.meaning is not None), group[0])
    meaning = first.meaning
    example = next((examples[one.cell] for one in group if examples.get(one.cell)), "")
    read_as, unit, sure, question = "", "", "not known", first.question
    if meaning is not None:
        read_as, sure, question = in_plain_words(meaning.sheet, meaning.key), meaning.sure, ""
        named = meaning.unit
        if named is None and heading_key(first) in units.settled:
            named = units.settled[heading_key(first)]
            sure = "likely" if sure == "sure" and _has_two_units(first) else sure
        unit = named.name if named is not None else ""
        if heading_key(first) in units.open:
            fitting = " or ".join(one.name for one in units.open[heading_key(first)])
            question, sure = _unit_question(fitting), "asked"
    elif first.proposal is not None:
        question = (
            f"is this {in_plain_words(first.proposal.sheet, first.proposal.key)}? It is not used until you say so"
        )
        sure = "asked"
    return HeadingLine(generalised(first.written), first.cell, len(group), read_as, unit, sure, example, question)


def _unit_question(fitting: str) -> str:
    if not fitting:
        return "in which unit? No unit fits all of these numbers, so they are not used"
    return f"in {fitting}? The numbers fit either, so they are not used until you say"


def _has_two_units(heading: Heading) -> bool:
    column = heading.meaning.column if heading.meaning is not None else None
    quantity = column.quantity if column is not None else None
    return quantity is not None and quantity.us != quantity.si
