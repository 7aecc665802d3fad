"""What each change did: what was expected of it, what was seen, and whether that is beyond this log's own noise.

Runs that follow each other with nothing changed are repeats: they show the log's noise, and the mean of them stands for
their tune-up. A result is compared in standard air and at equal weight (see `results`), and a difference counts only
where Student's t calls it less likely noise than `outcome.chance_of_noise`. What a step is worth is never promised:
near best, the published curves give a bound, and they differ by two or three times.

Limits: two runs apart by hours differ in more than their tune-up (track, driver, fuel), and of many changes some look
good or bad by chance, about one in twenty at the usual bound. One log cannot tell these apart; repeats can.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from statistics import fmean

from engine_rules.advice import Worth
from engine_rules.changes import changes
from engine_rules.evidence import is_boiling, known_safe
from engine_rules.kept import SameLog
from engine_rules.logbook import Cell, Logbook, Run
from engine_rules.moves import Logged, Moved, as_logged, moved_between
from engine_rules.response import responses
from engine_rules.results import KINDS, Score, chance_of_noise, logged, not_comparable, score
from engine_rules.settings import SettingReader

VERDICTS = ("helped", "hurt", "cannot be told from noise", "not comparable")
# More repeats than this nobody makes.
MOST_REPEATS = 100
# Both runs of a pair as often as it takes to show a difference four times out of five: 1.96 + 0.84 spreads.
TELLING_SPREADS = 2.8


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """One change: from a run to the next with another tune-up.

    verdict: one of VERDICTS, with its grounds in `text`. back: for a change that hurt, whether the way back is 'safe'
    (richer, later, colder), 'proven' (leaner, earlier or hotter, but known safe then) or 'unproven'; else empty.
    gained_pct: of power (of a lap, of its time), with its spread, None where it is not known.
    """

    before: str
    run: str
    changed: str
    expected: str
    seen: str
    result: str
    verdict: str
    text: str
    back: str = ""
    gained_pct: float | None = None
    gained_sd_pct: float | None = None
    cells: tuple[Cell, ...] = ()


def ledger(logbook: Logbook, newest: int | None = None) -> tuple[LedgerLine, ...]:
    """The changes of the log, oldest first, judged by all of it: every one, or so many of the newest."""
    books = _books(SameLog(logbook))
    first = 1 if newest is None else max(1, len(books.starts) - newest)
    return tuple(books.line(at, books.ends[at], len(logbook.runs) - 1) for at in range(first, len(books.starts)))


def scores(logbook: Logbook) -> Sequence[Mapping[str, Score | str]]:
    """The results of each run by kind, as the lines compare them; where one cannot be compared, why."""
    return _books(SameLog(logbook)).scores


def change_before(logbook: Logbook, run: Run) -> LedgerLine | None:
    """The change that led to the tune-up of this run, judged by the log up to it; None where nothing was changed."""
    books, index = _books(SameLog(logbook)), logbook.runs.index(run)
    at = books.group_of[index]
    return books.line(at, index, index) if at else None


def is_repeat(logbook: Logbook, run: Run) -> bool:
    """True where nothing was changed since the run before."""
    books, index = _books(SameLog(logbook)), logbook.runs.index(run)
    return index > books.starts[books.group_of[index]]


def in_own_result(logbook: Logbook, run: Run, worth: Worth) -> Worth:
    """What the advice is worth in the result that the run logged, and how far this log's results scatter by themselves.

    Torque is taken as power at the same speed of the engine.
    """
    books, index = _books(SameLog(logbook)), logbook.runs.index(run)
    kind = next((kind for kind in KINDS if kind in books.scores[index]), None)
    if kind is None or kind == "lap time":
        return worth
    noise = books.noise[index][kind]
    known = replace(worth, noise_pct=noise.sd_pct if noise.freedom else None)
    found = books.scores[index][kind]
    if isinstance(found, str):
        return known
    change, sd = found.in_its_unit(worth.torque_pct), abs(found.in_its_unit(worth.sd))
    return replace(known, result=kind, change=change, change_sd=sd)


@dataclass(slots=True)
class _Noise:
    """Squares about the mean of repeats, and how many comparisons they stand for."""

    squares: float = 0.0
    freedom: int = 0

    @property
    def sd_pct(self) -> float:
        return math.sqrt(self.squares / self.freedom) if self.freedom else math.nan

    def after(self, pct: float, repeated: list[float]) -> _Noise:
        """The noise with one more result of a tune-up that gave these before."""
        if not repeated:
            return self
        apart = (pct - fmean(repeated)) ** 2 * len(repeated) / (len(repeated) + 1)
        return _Noise(self.squares + apart, self.freedom + 1)


@lru_cache(maxsize=2)
def _books(of: SameLog) -> _Books:
    return _Books.of(of.logbook)


@dataclass(frozen=True, slots=True, eq=False)
class _Books:
    """The runs in groups of one tune-up, their scores, and the noise of the repeats up to each run, by kind."""

    logbook: Logbook
    _reader: SettingReader
    starts: list[int] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    group_of: list[int] = field(default_factory=list)
    scores: list[dict[str, Score | str]] = field(default_factory=list)
    noise: list[dict[str, _Noise]] = field(default_factory=list)
    _logged: dict[int, Logged] = field(default_factory=dict)

    @staticmethod
    def of(logbook: Logbook) -> _Books:
        books = _Books(logbook, SettingReader(logbook))
        noise: dict[str, _Noise] = {kind: _Noise() for kind in KINDS}
        repeats: dict[str, list[int]] = {}
        for at, run in enumerate(logbook.runs):
            if not at or changes(logbook, logbook.runs[at - 1], run):
                books.starts.append(at)
                books.ends.append(at)
                repeats = {}
            books.ends[-1] = at
            books.group_of.append(len(books.starts) - 1)
            books.scores.append({kind: books.scored(run, kind) for kind in logged(run)})
            for kind, found in books.scores[-1].items():
                if isinstance(found, Score):
                    noise[kind] = noise[kind].after(found.pct, books._repeated(repeats, at, kind))
                    repeats.setdefault(kind, []).append(at)
            books.noise.append(dict(noise))
        return books

    def _repeated(self, repeats: dict[str, list[int]], at: int, kind: str) -> list[float]:
        """The results that this one repeats; they end where one cannot be compared."""
        earlier = repeats.get(kind, [])
        if earlier and self._not_comparable(earlier[-1], at, kind):
            earlier.clear()
        found = (self.scores[other][kind] for other in earlier)
        return [one.pct for one in found if isinstance(one, Score)]

    def _as_logged(self, at: int) -> Logged:
        if at not in self._logged:
            self._logged[at] = as_logged(self.logbook, self._reader, self.logbook.runs[at])
        return self._logged[at]

    def scored(self, run: Run, kind: str) -> Score | str:
        lifted = run.conduct.lifted_or_spun
        if lifted is not None and lifted.value:
            return f"run {run.name} was lifted or spun"
        return score(self.logbook.engine, run, kind)

    def line(self, group: int, last: int, judged_at: int) -> LedgerLine:
        """The change into a group, its repeats up to `last` taken together, judged by the noise known at a run."""
        runs = self.logbook.runs
        before, after = self.ends[group - 1], self.starts[group]
        then, now = runs[before], runs[after]
        taught = responses(self.logbook, after)
        gains = taught.gains(self.logbook.targets)
        moved = moved_between(taught.taught(self.logbook), self._as_logged(before), self._as_logged(after), gains)
        found = self._judged(group, last, judged_at, moved)
        back = self._back(then, now, moved) if found.verdict == "hurt" else ""
        cells = [run.places.get("name") for run in (then, now)]
        return LedgerLine(
            before=then.name,
            run=now.name,
            changed="; ".join(changes(self.logbook, then, now)),
            expected=moved.expected,
            seen=moved.seen,
            result=found.result,
            verdict=found.verdict,
            text=found.text,
            back=back,
            gained_pct=found.gained_pct,
            gained_sd_pct=found.sd_pct,
            cells=tuple(cell for cell in (*cells, found.cell) if cell is not None),
        )

    def _judged(self, group: int, last: int, judged_at: int, moved: Moved) -> _Verdict:
        earlier, later = range(self.starts[group - 1], self.starts[group]), range(self.starts[group], last + 1)
        kind = next((kind for kind in KINDS if self._having(kind, earlier) and self._having(kind, later)), None)
        if kind is None:
            return _Verdict("not comparable", "no result of one kind was logged for both tune-ups")
        before, after = self._having(kind, earlier)[-1], self._having(kind, later)[0]
        why = self._not_comparable(before, after, kind)
        if why:
            return _Verdict("not comparable", why)
        old, new = list(self._alike(earlier, before, kind)), list(self._alike(later, after, kind))
        gained = fmean(one.pct for one in new) - fmean(one.pct for one in old)
        noise = self.noise[judged_at][kind]
        sd = noise.sd_pct * math.sqrt(1.0 / len(old) + 1.0 / len(new))
        result = _result_words(old, new, gained, sd)
        cell = new[0].cell
        if not noise.freedom:
            name = self.logbook.runs[after].name
            text = f"nothing was repeated yet, so this log's noise is not known: repeat run {name} unchanged"
            return _Verdict("cannot be told from noise", text, result, gained, None, cell)
        chance = chance_of_noise(gained / sd, noise.freedom) if sd else float(not gained)
        if chance < self.logbook.targets["outcome.chance_of_noise"]:
            text = f"beyond the noise of {noise.freedom + 1} repeats ({noise.sd_pct:.2f} % from run to run)"
            return _Verdict("helped" if gained > 0 else "hurt", text, result, gained, sd, cell)
        text = _noise_words(gained, noise.sd_pct, moved.most_pct)
        return _Verdict("cannot be told from noise", text, result, gained, sd, cell)

    def _having(self, kind: str, group: range) -> list[int]:
        return [at for at in group if kind in self.scores[at]]

    def _not_comparable(self, before: int, after: int, kind: str) -> str:
        then, now = self.logbook.runs[before], self.logbook.runs[after]
        pulls = [run.conduct.pull.value for run in (then, now) if run.conduct.pull is not None]
        if len(set(pulls)) > 1:
            return f"one was a {pulls[0]}, the other a {pulls[1]}"
        places = [run.place.value.casefold() for run in (then, now) if run.place is not None]
        if kind == "lap time" and len(set(places)) > 1:
            return "a lap of another place is another lap"
        far = self.logbook.targets["air.density_far_pct"]
        return not_comparable(self.scores[before][kind], self.scores[after][kind], far)

    def _alike(self, group: range, one: int, kind: str) -> Iterator[Score]:
        """The scores of a group that can be compared with one of its runs, that run's first."""
        for at in (one, *(other for other in group if other != one)):
            found = self.scores[at].get(kind)
            if isinstance(found, Score) and not self._not_comparable(one, at, kind):
                yield found

    def _back(self, then: Run, now: Run, moved: Moved) -> str:
        if not moved.back_is_harder:
            return "safe"
        said = known_safe(self.logbook, then)
        proven = said is not None and bool(said["value"]) and not any(is_boiling(one) for one in then.readings)
        return "proven" if proven and not any(is_boiling(one) for one in now.readings) else "unproven"


@dataclass(frozen=True, slots=True)
class _Verdict:
    """A verdict with its grounds, and what stands behind it."""

    verdict: str
    text: str
    result: str = ""
    gained_pct: float | None = None
    sd_pct: float | None = None
    cell: Cell | None = None


def _result_words(old: list[Score], new: list[Score], gained: float, sd: float) -> str:
    kind = new[0].kind
    repeats = f" (means of {len(old)} and {len(new)})" if len(old) + len(new) > 2 else ""
    give = "" if math.isnan(sd) else f", give or take {sd:.1f}"
    if kind == "lap time":
        said = f"as logged, {abs(gained):.1f} % {'quicker' if gained > 0 else 'slower'}"
    else:
        weight = " and at equal weight" if new[0].weighed else ""
        unweighed = "" if new[0].weighed or kind == "power" else "; the weight was not logged and is taken as kept"
        said = f"in standard air{weight} {gained:+.1f} % of power"
        give += unweighed
    return f"{kind} {old[0].written} to {new[0].written}; {said}{repeats}{give}"


def _noise_words(gained: float, noise_pct: float, most_pct: float) -> str:
    seen = (
        f"{'a gain' if gained > 0 else 'a loss'} of {abs(gained):.1f} % is within this log's noise of {noise_pct:.1f} %"
    )
    needed = _repeats(noise_pct, abs(gained))
    text = f"{seen} from run to run; {needed} of each tune-up would tell as much as was seen"
    if 0.0 < most_pct < abs(gained):
        text += f", {_repeats(noise_pct, most_pct)} what such a change is worth near best"
    return text


def _repeats(noise_pct: float, wanted_pct: float) -> str:
    if wanted_pct <= 0.0:
        return "no number of runs"
    count = max(2, math.ceil(2.0 * (TELLING_SPREADS * noise_pct / wanted_pct) ** 2))
    return f"about {count} runs" if count <= MOST_REPEATS else f"more than {MOST_REPEATS} runs"
