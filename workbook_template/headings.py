"""One heading as racers write it: which column it means, of which cylinder, in which unit."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from rapidfuzz import fuzz, process

from workbook_template.layout import Column, Unit, layout, unit_key

RUNS, READINGS, UNUSED = "runs", "readings", "not used"
OURS = "(strapline)"
MOST_CYLINDERS = 16
LONGEST_HEADING = 80
REMEMBERED = 20_000  # texts of a book whose meaning is kept: most stand in many cells
NEAR_ENOUGH = 80.0  # of 100: below that a likeness is chance
LEAST_LETTERS = 3  # fewer resemble too much
_CORNERS = {"lf": "LF", "fl": "LF", "rf": "RF", "fr": "RF", "lr": "LR", "rl": "LR", "rr": "RR"}
_SIDES = {
    ("left", "front"): "lf", ("front", "left"): "lf", ("right", "front"): "rf", ("front", "right"): "rf",
    ("left", "rear"): "lr", ("rear", "left"): "lr", ("right", "rear"): "rr", ("rear", "right"): "rr",
}  # fmt: skip
_ENDS = {
    "f": "front", "front": "front", "fronts": "front", "primary": "front", "pri": "front", "prim": "front",
    "rear": "rear", "rears": "rear", "back": "rear", "secondary": "rear", "sec": "rear",
}  # fmt: skip
_JET_WORDS = frozenset({"jet", "jets", "main", "mains", "jetting"})
_CYLINDER_WORDS = frozenset({"cyl", "cylinder", "cyls", "cylinders", "#", "no", "plug", "hole", "pot"})
_ANSWERS = re.compile(r"\b(?:y\s*/\s*n|yes\s*/\s*no|yes or no)\b", re.IGNORECASE)  # 'New plugs Y/N'
_FILLERS = frozenset({"the", "of", "in", "at", "a", "per"})


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a heading stands for. sheet: RUNS, READINGS or UNUSED; key: of the column, '' where unused.

    unit: named by the heading, None where it names none. sure: 'sure' by its words, 'likely' where the words only
    resemble those known, 'yours' where the racer said so.
    """

    sheet: str
    key: str
    cylinder: int | None = None
    unit: Unit | None = None
    sure: str = "sure"

    @property
    def column(self) -> Column | None:
        """The column of the layout; None for an unused heading or a column that the layout lacks."""
        return column_of(self.sheet, self.key)


@cache
def column_of(sheet: str, key: str) -> Column | None:
    """The column of that key, those of single stations included."""
    if sheet not in (RUNS, READINGS):
        return None
    columns = layout().sheets[sheet].columns
    key = "notes" if key.startswith("notes.") else key
    station = key.removeprefix("jets.") if key.startswith("jets.") else ""
    pattern = next((column for column in columns if column.per == "station"), None)
    if sheet == RUNS and station and pattern is not None:
        return pattern.for_station(station)
    return next((column for column in columns if column.key == key and not column.filled), None)


def is_ours(heading: object) -> bool:
    """True for a heading that strapline wrote into a racer's own sheet."""
    return isinstance(heading, str) and heading.rstrip().endswith(OURS)


@lru_cache(maxsize=REMEMBERED)
def tokens(written: str) -> tuple[str, ...]:
    """A heading's words and numbers, lower case: 'EGT1' is 'egt', '1'; 'E.T.' is 'et'."""
    text = re.sub(r"\b([a-z])\.(?=[a-z]\b)", r"\1", written.casefold().replace("º", "°"))
    return tuple(re.findall(r"[^\W\d_]+|\d+(?:/\d+)?|[#%°\"]", text))


@lru_cache(maxsize=REMEMBERED)
def generalised(written: str) -> str:
    """A heading with its cylinder left open, so that those of one kind are one: 'Cyl n ring' for each 'Cyl 3 ring'."""
    cylinder = cylinder_in(written)
    if cylinder is None:
        return " ".join(written.split())
    return " ".join(re.sub(rf"(?<!\d){cylinder}(?!\d)", "n", written, count=1).split())


@lru_cache(maxsize=REMEMBERED)
def side_named(written: object) -> str | None:
    """'L' or 'R' where a cell names a bank and nothing else: 'Left bank', 'Driver side'."""
    words = [word for word in tokens(written) if word not in ("bank", "side", "s")] if isinstance(written, str) else []
    return layout().lists["bank"].find(" ".join(words)) if words else None


def cylinder_in(written: str) -> int | None:
    """The cylinder that a heading names, beside whatever else it says."""
    return _split_cylinder(tokens(_brackets(written)[0]))[0]


@lru_cache(maxsize=REMEMBERED)
def meanings(written: str) -> tuple[Meaning, ...]:
    """All that a heading may mean by its exact words, a unit and a cylinder aside; the run's columns first."""
    if len(written) > LONGEST_HEADING:
        return ()
    name, units = _brackets(written)
    words = tuple(word for word in tokens(name) if word != "#")
    cylinder, rest = _split_cylinder(tokens(name))
    if cylinder is not None and rest:
        found = [one for one in _named(rest, units) if one.sheet == READINGS and one.key != "cylinder"]
        if not found and rest and set(rest) <= _JET_WORDS:
            return (Meaning(RUNS, f"jets.{cylinder}"),)
        if found:
            return tuple(replace(one, cylinder=cylinder) for one in found)
    return tuple(_named(words, units))


@lru_cache(maxsize=REMEMBERED)
def cylinder_named(written: object) -> int | None:
    """The cylinder where a cell names one and nothing else: 'Cyl 3', '#3', 'No. 3'."""
    if not isinstance(written, str):
        return None
    cylinder, rest = _split_cylinder(tokens(written))
    return cylinder if cylinder is not None and not rest and not written.strip().isdecimal() else None


def nearest(written: str) -> Meaning | None:
    """What a heading resembles: a proposal, never a decision."""
    name, units = _brackets(written)
    cylinder, rest = _split_cylinder(tokens(name))
    asked = " ".join(rest or tokens(name))
    if _beside_jets(tokens(name)) == ("r",):
        return Meaning(RUNS, "jets.rear", sure="likely")  # or right
    found = _proposed().get(asked) or _resembling(asked)
    if not found:
        return None
    sheet, key = next((one for one in found if one[0] == READINGS), found[0]) if cylinder is not None else found[0]
    if sheet == UNUSED or (cylinder is not None and sheet != READINGS):
        return None
    return Meaning(sheet, key, cylinder, _unit_of(sheet, key, units), "likely")


def _resembling(asked: str) -> tuple[tuple[str, str], ...]:
    if len(asked) < LEAST_LETTERS:
        return ()
    hit = process.extractOne(asked, list(_names()), scorer=fuzz.ratio, score_cutoff=NEAR_ENOUGH)
    return () if hit is None else _names()[hit[0]]


def in_plain_words(sheet: str, key: str) -> str:
    """A meaning as the racer reads it in the drop-down, such as 'Readings: Ring (mm)'."""
    if sheet == UNUSED:
        return UNUSED
    if key in _EXTRA_WORDS:
        return _EXTRA_WORDS[key]
    column = column_of(sheet, key)
    heading = column.heading if column is not None else key
    if column is not None and column.key == "ring_mm":
        heading = "Ring, measured"
    return f"{'Each cylinder' if sheet == READINGS else 'Run'}: {heading}"


_EXTRA_WORDS = {
    "car": "Run: Car",
    "jets": "Run: Jets of all corners",
    "jets.alike": "Run: Jets, all alike",
    "jets.front": "Run: Jets at the front",
    "jets.rear": "Run: Jets at the rear",
}


@cache
def plain_choices() -> Mapping[str, tuple[str, str]]:
    """Every meaning of the drop-down -> sheet and key."""
    choices = {UNUSED: (UNUSED, "")}
    for sheet in (RUNS, READINGS):
        keys = [column.key for column in layout().sheets[sheet].columns if not column.filled and not column.per]
        keys = [key for key in keys if key != "run"]
        if sheet == RUNS:
            keys += [
                "car",
                "jets",
                "jets.alike",
                "jets.front",
                "jets.rear",
                *(f"jets.{corner}" for corner in ("LF", "RF", "LR", "RR")),
            ]
        choices |= {in_plain_words(sheet, key): (sheet, key) for key in keys}
    return choices


def _brackets(written: str) -> tuple[str, tuple[str, ...]]:
    """A heading without its brackets, and what stands in them; a bracket that names a cylinder or corner stays."""
    inside = re.findall(r"[(\[]([^()\[\]]*)[)\]]", written)
    name = re.sub(r"[(\[][^()\[\]]*[)\]]", " ", written)
    kept = [one for one in inside if _names_cylinder(one) or one.strip().lower() in _CORNERS]
    return _ANSWERS.sub(" ", " ".join([name, *kept])), tuple(one.strip() for one in inside if one not in kept)


def _names_cylinder(bracket: str) -> bool:
    bare = bracket.strip()
    return cylinder_named(bracket) is not None or (bare.isdecimal() and 1 <= int(bare) <= MOST_CYLINDERS)


def _split_cylinder(words: Sequence[str]) -> tuple[int | None, tuple[str, ...]]:
    """The cylinder that the words name, and the other words: 'cyl 3 ring', '#3 egt', 'egt 3', '3 ring'."""
    for at, word in enumerate(words):
        if not word.isdecimal() or not 1 <= int(word) <= MOST_CYLINDERS:
            continue
        start = at
        while start > 0 and (words[start - 1] in _CYLINDER_WORDS or words[:start] in (("c",), ("p",))):
            start -= 1
        after = tuple(words[at + 1 :])
        if words[start:at] == ("plug",) and not after:
            start = at  # 'plug 3' is the plug of cylinder 3
        if start < at or at in (0, len(words) - 1):
            return int(word), (*words[:start], *after)
    return None, tuple(words)


@cache
def _names() -> Mapping[str, tuple[tuple[str, str], ...]]:
    """Every known heading, as its tokens -> the (sheet, key) that it may mean."""
    found: dict[str, dict[tuple[str, str], None]] = {}

    def know(name: str, sheet: str, key: str) -> None:
        found.setdefault(" ".join(tokens(_brackets(name)[0])), {}).setdefault((sheet, key))

    for sheet in (RUNS, READINGS):
        for column in layout().sheets[sheet].columns:
            if not column.per and not column.filled and column.key != "run":
                for name in (column.heading, *column.likes):
                    know(name, sheet, column.key)
        for key, names in layout().heard[sheet].items():
            for name in names:
                know(name, sheet, key)
    for name in layout().heard["aside"]["unused"]:
        know(name, UNUSED, "")
    found.pop("", None)
    return {name: tuple(keys) for name, keys in found.items()}


@cache
def _proposed() -> Mapping[str, tuple[tuple[str, str], ...]]:
    """Words of a run's heading that may mean something, but are too short or too open to be taken for it."""
    return {name: ((RUNS, key),) for key, names in layout().heard["proposed"].items() for name in names}


@cache
def _groups() -> frozenset[str]:
    return frozenset(layout().heard["aside"]["groups"])


def is_group(written: str) -> bool:
    """True for a heading that only groups those below it, such as 'Weather'."""
    return " ".join(tokens(written)) in _groups()


def _named(words: Sequence[str], units: Sequence[str]) -> Iterator[Meaning]:
    corner = _corner(words)
    if corner is not None:
        yield Meaning(RUNS, f"jets.{corner}")
        return
    for start, end, written_unit in _splits(words):
        known = _names().get(" ".join(words[start:end]))
        if known is None:
            continue
        for sheet, key in known:
            unit = _unit_of(sheet, key, (written_unit,) if written_unit else units)
            if written_unit and unit is None:
                continue
            if unit is None and not written_unit:
                # A heading may be a unit itself, such as 'mph', or end with one, such as 'peak hp'.
                unit = _unit_of(sheet, key, (" ".join(words), *words[-1:]))
            yield Meaning(sheet, key, None, unit)
        return


def _splits(words: Sequence[str]) -> Iterator[tuple[int, int, str]]:
    """The whole; then the whole without fillers is tried by its ends: a unit may stand last or first."""
    count = len(words)
    yield 0, count, ""
    for size in (1, 2):
        if count > size:
            yield 0, count - size, " ".join(words[count - size :])
    if count > 1:
        yield 1, count, words[0]


def _unit_of(sheet: str, key: str, written: Sequence[str]) -> Unit | None:
    column = column_of(sheet, key)
    if column is None or column.quantity is None:
        return None
    found = (column.quantity.unit(one.replace("° ", "°")) for one in written if unit_key(one))
    return next((unit for unit in found if unit is not None), None)


def _corner(words: Sequence[str]) -> str | None:
    """The station or end of a jet's heading: 'jet lf', 'front mains', 'jet rear lf' of two carburetors."""
    rest = _beside_jets(words)
    if not rest:
        return None
    if len(rest) == 2 and rest[0] in ("front", "rear") and rest[1] in _CORNERS:
        return f"{rest[0]} {_CORNERS[rest[1]]}"
    if words[0] == "jet" and len(rest) == 1 and rest[0] in ("left", "right", "single"):
        return rest[0]
    single = rest[0] if len(rest) == 1 else _SIDES.get((rest[0], rest[1])) if len(rest) == 2 else None
    return _CORNERS.get(single or "") or (_ENDS.get(rest[0]) if len(rest) == 1 else None)


def _beside_jets(words: Sequence[str]) -> tuple[str, ...]:
    """What stands beside a word for the jets; nothing where there is none."""
    if _JET_WORDS.isdisjoint(words):
        return ()
    return tuple(word for word in words if word not in _JET_WORDS and word not in _FILLERS)
