"""Single cells as racers write them: numbers with units, words, labels, yes and no, dates and times."""

from __future__ import annotations

import difflib
import math
import re
from datetime import date, datetime, time, timedelta

from engine_rules.labels import label_key
from engine_rules.logbook import Entry, Finding, Sign
from engine_rules.words import WordList, plain
from workbook_template.layout import Quantity, Unit, layout, unit_key
from workbook_template.tables import Spot, as_text, shortened

LONGEST_LABEL = 60
_NUMBER = r"[+\-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+\-]?\d{1,3})?"
_MEASURE = re.compile(
    rf"\s*(?:(?P<whole>[+\-]?\d{{1,3}})\s+(?=\d+\s*/))?(?:(?P<top>[+\-]?\d{{1,3}})\s*/\s*(?P<bottom>\d{{1,3}})|(?P<number>{_NUMBER}))"
    r"\s*(?P<unit>.*?)\s*",
    re.IGNORECASE | re.DOTALL,
)
_CLOCK = re.compile(r"\s*(?:(\d{1,2}):)?(\d{1,2}):(\d{1,2}(?:[.,]\d+)?)\s*")
_DASHES = str.maketrans("−–—", "---")
_WEEKDAY = re.compile(r"\b(mon|tues?|wed(nes)?|thu(rs)?|fri|sat(ur)?|sun)(day)?\b[.,]?", re.IGNORECASE)
_DATE_FORMATS = (
    "%Y-%m-%d",
    "%Y/%m/%d",
    "%Y.%m.%d",
    "%Y%m%d",
    "%d %b %Y",
    "%d %B %Y",
    "%b %d %Y",
    "%B %d %Y",
    "%d-%b-%Y",
    "%d-%b-%y",
)
_TIME_FORMATS = ("%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M:%S %p", "%I %p", "%Hh%M")
_DAY_ZERO = datetime(1899, 12, 30)


def parse_measure(written: str) -> tuple[float, str] | None:
    """A number and the unit behind it: '7/8 turn', '29.92"', '1 013 hPa' is not one; None where no number leads.

    A comma is a decimal comma, unless exactly three digits follow a whole part other than zero.
    """
    match = _MEASURE.fullmatch(written.translate(_DASHES))
    if match is None:
        return None
    unit = match["unit"].rstrip(".")
    if match["top"] is not None:
        bottom = float(match["bottom"])
        if bottom == 0.0:
            return None
        whole = float(match["whole"] or 0.0)
        part = float(match["top"]) / bottom
        return (whole - part if whole < 0 else whole + part), unit
    number = match["number"]
    thousands = re.fullmatch(r"([+\-]?0*[1-9]\d{0,2}),(\d{3})", number)
    return float(number.replace(",", "" if thousands else ".")), unit


def read_number(spot: Spot, findings: list[Finding]) -> Entry[float]:
    """A quantity in the inside unit. Raises LogbookError where it is no number, or not possible."""
    quantity, unit = _quantity(spot), spot.placed.unit
    assert unit is not None
    amount, named = _amount_of(spot, quantity)
    if named is not None:
        return Entry(_held(spot, quantity, named, amount), spot.cell, spot.written)
    others = [one for one in quantity.units.values() if one is not unit and quantity.holds(one.inside(amount))]
    if spot.placed.assumed and not quantity.holds(unit.inside(amount)) and len(others) == 1:
        unit = others[0]
        findings.append(
            Finding(
                f"{spot.column.heading} has no unit in its heading; {spot.shown} was read as {unit.name}", spot.cell
            )
        )
    return Entry(_held(spot, quantity, unit, amount), spot.cell, spot.written)


def _quantity(spot: Spot) -> Quantity:
    assert spot.column.quantity is not None
    return spot.column.quantity


def _amount_of(spot: Spot, quantity: Quantity) -> tuple[float, Unit | None]:
    """The number as written and its unit, None where the heading's unit holds."""
    value = spot.value
    if isinstance(value, float | int) and not isinstance(value, bool) and math.isfinite(value):
        return float(value), None
    if "s" in quantity.units:
        seconds = _seconds(value)
        if seconds is not None:
            return seconds, quantity.units["s"]
    measure = parse_measure(value) if isinstance(value, str) else None
    if measure is None or not math.isfinite(measure[0]):
        raise spot.refusal(f"'{spot.shown}' is not a number; write {_wanted(spot)}, or clear the cell")
    amount, written_unit = measure
    if not written_unit:
        return amount, None
    unit = quantity.unit(written_unit)
    if unit is None:
        raise spot.refusal(f"'{spot.shown}' has a unit that is not known here; write {_wanted(spot)}")
    return amount, unit


def _seconds(value: object) -> float | None:
    """A time of the clock or a text such as 1:32.4, in seconds; None where hours may have been meant for minutes."""
    if isinstance(value, time):
        if value.hour and not value.second:
            return None
        return value.hour * 3600.0 + value.minute * 60.0 + value.second + value.microsecond / 1e6
    match = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return None
    hours, minutes, seconds = match.groups()
    return float(hours or 0) * 3600.0 + float(minutes) * 60.0 + float(seconds.replace(",", "."))


def _wanted(spot: Spot) -> str:
    unit = spot.placed.unit
    return f"{spot.column.heading} as a number" + (f" in {unit.name}" if unit and unit.name else "")


def _held(spot: Spot, quantity: Quantity, unit: Unit, amount: float) -> float:
    inside = unit.inside(amount)
    if quantity.holds(inside):
        return inside
    low, high = unit.written(quantity.lowest), unit.written(quantity.highest)
    fitting = [one.name for one in quantity.units.values() if one is not unit and quantity.holds(one.inside(amount))]
    advice = (
        f"; if it is in {fitting[0]}, write '{amount:g} {fitting[0]}'" if fitting else "; correct it or clear the cell"
    )
    raise spot.refusal(
        f"{spot.column.heading} of {amount:g}{' ' + unit.name if unit.name else ''} is not possible, "
        f"it lies between {low:.4g} and {high:.4g}{advice}"
    )


def read_plain_number(spot: Spot) -> float:
    """A number without a unit of its own."""
    value = spot.value
    measure = parse_measure(value) if isinstance(value, str) else None
    number = measure[0] if measure is not None and not measure[1] else value
    if isinstance(number, bool) or not isinstance(number, float | int) or not math.isfinite(number):
        raise spot.refusal(
            f"'{spot.shown}' is not a number; write {spot.column.heading} as a number, or clear the cell"
        )
    return float(number)


def read_share(spot: Spot) -> float:
    """A share as written: 0.5, or 50 where the racer writes percent; '50 %' is 0.5."""
    measure = parse_measure(spot.value) if isinstance(spot.value, str) else None
    share = measure[0] / 100.0 if measure is not None and unit_key(measure[1]) == "%" else read_plain_number(spot)
    if not 0.0 <= share <= 100.0:
        raise spot.refusal(f"a share of {spot.shown} is not possible; write one between 0 and 1")
    return share


def read_text(spot: Spot) -> Entry[str]:
    """Any text, as written."""
    return Entry(as_text(spot.value), spot.cell, spot.written)


def read_label(spot: Spot) -> Entry[str]:
    """The label of a run or a part: 17.0 and '17' are both '17'."""
    value = spot.value
    text = as_text(value)
    try:
        if isinstance(value, bool) or len(text) > LONGEST_LABEL:
            raise ValueError
        label_key(text)
    except (ValueError, ArithmeticError):
        raise spot.refusal(
            f"'{spot.shown}' cannot be the name for {spot.column.heading}; write a number or a short name"
        ) from None
    whole = re.fullmatch(r"([+\-]?\d{1,15})\.0*", text)
    return Entry(whole[1] if whole else re.sub(r"\s+", " ", text), spot.cell, spot.written)


def read_count(spot: Spot) -> int:
    """A whole number from 1, such as a cylinder's."""
    text = as_text(spot.value).lstrip("#")
    match = re.fullmatch(r"(?:cyl(?:inder)?\.?\s*)?(\d{1,3})(?:\.0*)?", text, re.IGNORECASE)
    if match is None or isinstance(spot.value, bool) or int(match[1]) < 1:
        raise spot.refusal(
            f"'{spot.shown}' is not a number of a {spot.column.heading.lower()}; write a whole number such as 3"
        )
    return int(match[1])


def read_yes_no(spot: Spot) -> Entry[bool]:
    """Yes or no, in the usual spellings."""
    if isinstance(spot.value, bool):
        return Entry(spot.value, spot.cell, spot.written)
    word = layout().lists["yes_no"].find(as_text(spot.value))
    if word is None:
        raise spot.refusal(f"'{spot.shown}' is neither yes nor no; write one of them, or clear the cell")
    return Entry(word == "yes", spot.cell, spot.written)


def read_word(spot: Spot) -> Entry[str]:
    """A word of the column's list."""
    return Entry(_known_word(spot, _words(spot), as_text(spot.value)), spot.cell, spot.written)


def _words(spot: Spot) -> WordList:
    return layout().lists[spot.column.list]


def _known_word(spot: Spot, words: WordList, written: str) -> str:
    word = words.find(written)
    if word is None:
        raise spot.refusal(
            f"'{shortened(written)}' is not a word for {spot.column.heading}; {_suggestion(written, words)}"
        )
    return word


def _suggestion(written: str, words: WordList) -> str:
    near = difflib.get_close_matches(plain(written)[:60], list(words.likes), n=1, cutoff=0.6)
    meant = f"did you mean '{words.likes[near[0]]}'? " if near else ""
    return f"{meant}Use one of: {', '.join(words.words)}, or clear the cell"


def read_signs(spot: Spot) -> tuple[Sign, ...]:
    """What one column says of a plug: a word or measure on a scale, or one or more words of a list.

    A bare number is in the scale's own unit; on the strap one above 1.5 is percent.
    """
    words = _words(spot)
    if words.unit:
        return (_on_scale(spot, words),)
    if isinstance(spot.value, bool):
        written = "yes" if spot.value else "no"
        return (_sign(spot, _known_word(spot, words, written), None),)
    whole = words.find(as_text(spot.value))
    parts = [part for part in re.split(r"[,;+&]| and ", as_text(spot.value)) if part.strip()]
    found = [whole] if whole is not None else [_known_word(spot, words, part.strip()) for part in parts]
    if not found:
        _known_word(spot, words, as_text(spot.value))
    return tuple(_sign(spot, word, None) for word in dict.fromkeys(found))


def _sign(spot: Spot, word: str | None, amount: float | None) -> Sign:
    return Sign(kind=spot.column.list, word=word, amount=amount, cell=spot.cell, written=spot.written)


def _on_scale(spot: Spot, words: WordList) -> Sign:
    value = spot.value
    if isinstance(value, date | time):
        raise spot.refusal("the spreadsheet made a date of what was written; write a word, or such as '3/4 turn'")
    if isinstance(value, str):
        word = words.find(value)
        if word is not None:
            return _sign(spot, word, words.amounts[word])
    amount = _scale_amount(spot, words)
    scale = layout().scales[words.kind]
    if not scale.lowest <= amount <= scale.highest:
        low, high = f"{scale.lowest:g}", "1, or 100 %" if words.unit == "share" else f"{scale.highest:g} {words.unit}"
        raise spot.refusal(
            f"{spot.column.heading} of '{spot.shown}' is not possible, it lies between {low} and {high}; "
            "correct it or clear the cell"
        )
    return _sign(spot, None, amount)


def _scale_amount(spot: Spot, words: WordList) -> float:
    value = spot.value
    measure = parse_measure(value) if isinstance(value, str) else None
    bare = isinstance(value, float | int) and not isinstance(value, bool)
    if not bare and measure is None:
        raise spot.refusal(
            f"'{spot.shown}' is not a word for {spot.column.heading}; {_suggestion(as_text(value), words)}"
        )
    amount, unit = (float(value), "") if bare else measure  # type: ignore[arg-type,misc]
    factors = {unit_key(name): factor for name, factor in layout().scales[words.kind].units.items()}
    if unit and unit_key(unit) not in factors:
        raise spot.refusal(
            f"'{spot.shown}' is not a measure for {spot.column.heading}; {_suggestion(as_text(value), words)}"
        )
    if not math.isfinite(amount):
        raise spot.refusal(f"'{spot.shown}' is not a number; correct it or clear the cell")
    if unit:
        return amount * factors[unit_key(unit)]
    return amount / 100.0 if words.kind == "strap_mark" and amount > 1.5 else amount


def read_date(spot: Spot, findings: list[Finding]) -> datetime | None:
    """A day, with its time where the cell holds one; None, and a finding, for text that could be two days."""
    value = spot.value
    if isinstance(value, datetime):
        return value.replace(tzinfo=None)
    if isinstance(value, date):
        return datetime(value.year, value.month, value.day)
    if isinstance(value, float | int) and not isinstance(value, bool) and 1.0 <= value < 200_000.0:
        return _DAY_ZERO + timedelta(seconds=round(float(value) * 86_400.0))
    if isinstance(value, str):
        text = re.sub(r"\s+", " ", _WEEKDAY.sub(" ", value).replace(",", " ")).strip()
        for pattern in _DATE_FORMATS:
            found = _strptime(text, pattern)
            if found is not None:
                return found
        dotted = re.fullmatch(r"(\d{1,2})\.(\d{1,2})\.(\d{2}|\d{4})", text)
        if dotted is not None:
            # Parted by dots the day stands first wherever dates are written so.
            day, month, year = (int(part) for part in dotted.groups())
            found = _day(year if year > 99 else 2000 + year, month, day)
            if found is not None:
                return found
        slashed = re.fullmatch(r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4}|\d{2})", text)
        if slashed is not None:
            one, two, year = (int(part) for part in slashed.groups())
            year += 2000 if year < 100 else 0
            days = {day for day in (_day(year, one, two), _day(year, two, one)) if day is not None}
            if len(days) == 1:
                return days.pop()
    findings.append(
        Finding(f"'{spot.shown}' was not understood as a date and counts as unknown; write it as 2025-06-14", spot.cell)
    )
    return None


def _day(year: int, month: int, day: int) -> datetime | None:
    try:
        return datetime(year, month, day)
    except ValueError:
        return None


def _strptime(text: str, pattern: str) -> datetime | None:
    try:
        return datetime.strptime(text, pattern)
    except ValueError:
        return None


def read_time(spot: Spot, findings: list[Finding]) -> time | None:
    """A time of day; None, and a finding, where it was not understood."""
    value = spot.value
    if isinstance(value, datetime):
        return value.time()
    if isinstance(value, time):
        return value.replace(tzinfo=None)
    if isinstance(value, float | int) and not isinstance(value, bool) and 0.0 <= value < 1.0:
        return (_DAY_ZERO + timedelta(seconds=round(float(value) * 86_400.0) % 86_400)).time()
    if isinstance(value, str):
        text = re.sub(r"\s+", " ", value).strip().upper().replace(".", "")
        text = re.sub(r"(\d)([AP]M)$", r"\1 \2", text)
        for pattern in _TIME_FORMATS:
            found = _strptime(text, pattern)
            if found is not None:
                return found.time()
    findings.append(
        Finding(f"'{spot.shown}' was not understood as a time and counts as unknown; write it as 14:30", spot.cell)
    )
    return None
