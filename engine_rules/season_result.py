"""The season's results as one course, in standard air and at one weight; what cannot be compared is left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from engine_rules.ledger import scores
from engine_rules.logbook import Logbook, Run
from engine_rules.results import KINDS, Score

Scored = tuple[Run, Score]


@dataclass(frozen=True, slots=True)
class ResultCourse:
    """The result that tells power best, run by run, in standard air (a lap time as logged). Units: `results.UNITS`.

    weight_kg: at which all stand; None where no weight went in. left_out: why -> the runs whose result is not drawn.
    """

    kind: str
    values: tuple[float | None, ...]
    weight_kg: float | None
    left_out: Mapping[str, tuple[str, ...]]

    @property
    def runs_read(self) -> int:
        """How many runs have one that can be compared."""
        return sum(1 for one in self.values if one is not None)


def result_course(logbook: Logbook, first: int, enough: int) -> ResultCourse | None:
    """The results from that run on: of the kinds with enough runs the one that tells power best, else the fullest.

    None where none was logged.
    """
    found = list(zip(logbook.runs[first:], scores(logbook)[first:], strict=True))
    kinds = [kind for kind in KINDS if any(kind in by_kind for _, by_kind in found)]
    courses = [_course(logbook, kind, [(run, by_kind.get(kind)) for run, by_kind in found]) for kind in kinds]
    full = [one for one in courses if one.runs_read >= enough]
    return full[0] if full else max(courses, key=lambda one: one.runs_read, default=None)


def _course(logbook: Logbook, kind: str, found: Sequence[tuple[Run, Score | str | None]]) -> ResultCourse:
    left_out: dict[str, list[str]] = {}
    for run, one in found:
        if isinstance(one, str):
            left_out.setdefault(one.replace(f"run {run.name}", "the run"), []).append(run.name)
    kept = [(run, one) for run, one in found if isinstance(one, Score)]
    for hurdle in _hurdles(logbook, kind):
        why, stays = hurdle(kept)
        out = [run.name for run, one in kept if not stays((run, one))]
        kept = [pair for pair in kept if stays(pair)]
        if out:
            left_out.setdefault(why, []).extend(out)
    weights = [run.result.weight_kg.value for run, one in kept if one.weighed and run.result.weight_kg is not None]
    weight_kg = weights[-1] if weights else None
    values = {run.name: one.corrected(weight_kg) for run, one in kept}
    names = {why: tuple(out) for why, out in left_out.items()}
    return ResultCourse(kind, tuple(values.get(run.name) for run, _ in found), weight_kg, names)


# What all results that are left are judged by: why one may not stay, and which stay.
Hurdle = Callable[[Sequence[Scored]], tuple[str, Callable[[Scored], bool]]]


def _hurdles(logbook: Logbook, kind: str) -> Iterator[Hurdle]:
    """The grounds on which the Ledger compares two runs, against what most runs of the season are like."""
    far_pct = logbook.targets["air.density_far_pct"]

    def same_pull(kept: Sequence[Scored]) -> tuple[str, Callable[[Scored], bool]]:
        usual = _usual(map(_pull, kept))
        return f"it was no {usual} as most were", lambda pair: _pull(pair) in (None, usual)

    def same_place(kept: Sequence[Scored]) -> tuple[str, Callable[[Scored], bool]]:
        usual = _usual(map(_place, kept))
        return "a lap of another place is another lap", lambda pair: _place(pair) in (None, usual)

    def same_weighing(kept: Sequence[Scored]) -> tuple[str, Callable[[Scored], bool]]:
        usual = _usual(one.weighed for _, one in kept)
        why = "the weight was not logged" if usual else "the weight was logged, as it was not for most"
        return why, lambda pair: pair[1].weighed == usual

    def in_like_air(kept: Sequence[Scored]) -> tuple[str, Callable[[Scored], bool]]:
        known = [one.thickness_pct for _, one in kept if one.thickness_pct is not None]
        middle = median(known) if known else 0.0
        why = "the air was further from the season's middle than any correction can be trusted"
        return why, lambda pair: pair[1].thickness_pct is None or abs(pair[1].thickness_pct - middle) <= far_pct

    yield same_pull
    if kind == "lap time":
        yield same_place
    yield same_weighing
    yield in_like_air


def _usual(values: Iterable[object]) -> object:
    """The most common, of two equally common the newer; None is no value."""
    counts = Counter(reversed([value for value in values if value is not None]))
    return max(counts, key=lambda value: counts[value], default=None)


def _pull(pair: Scored) -> str | None:
    pull = pair[0].conduct.pull
    return None if pull is None else pull.value


def _place(pair: Scored) -> str | None:
    place = pair[0].place
    return None if place is None else place.value.casefold()
