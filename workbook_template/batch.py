"""Every workbook of a folder, filled into another folder several at a time, and put in order of need."""

from __future__ import annotations

import multiprocessing
import re
import signal
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from engine_rules.advice import Advice
from engine_rules.logbook import LogbookError
from workbook_template.book import ReadBook
from workbook_template.log_file import advise_each, fill_cars, open_log, write_json
from workbook_template.wording import caution_lines

WORKBOOKS = (".xlsx", ".xlsm")
OLD_OR_OTHER = (".xls", ".xlsb", ".ods")  # refused one by one, so that no car is passed over in silence
SUMMARY_XLSX, SUMMARY_JSON = "summary.xlsx", "summary.json"

# In the order in which a builder has to look at the cars.
MUST_NOT_RUN, BACK_OFF, REST, UNREAD = "do not run", "back off", "the rest", "could not be read"
ORDER = (MUST_NOT_RUN, BACK_OFF, REST, UNREAD)
LEVELS = ("stop", "back off", "mind")
MOST_WORKERS = 61  # more than that Windows cannot wait for

_NOT_A_LOG = re.compile(r"^(~\$|\.)|\.(backup-\d+|result)\.[^.]+$")


@dataclass(frozen=True, slots=True)
class Car:
    """What became of one workbook: its path below the folder, what comes first, the advice, or why there is none."""

    workbook: str
    group: str
    engine: str = ""
    run: str = ""
    when: str = ""
    stage: str = ""
    headline: str = ""
    cautions: tuple[str, ...] = ()
    filled: str = ""
    json: str = ""
    sentence: str = ""

    def as_json(self) -> dict[str, Any]:
        """The car as plain JSON data; null for what there is nothing to say of."""
        names = ("workbook", "group", "engine", "run", "when", "stage", "headline", "filled", "json", "sentence")
        return {name: getattr(self, name) or None for name in names} | {"cautions": list(self.cautions)}


@dataclass(frozen=True, slots=True)
class Job:
    """One workbook to fill: where it lies, what it is called, and the two files to make below the out folder."""

    source: Path
    workbook: str
    out: Path
    filled: str
    json: str


def find_workbooks(folder: Path, out: Path) -> tuple[Job, ...]:
    """Every workbook below the folder, each with names of its own in the out folder; the out folder's are left out.

    Names and folders are kept; where two would meet on one name, also one that differs in case only or that of the
    summary, a number is added. Raises LogbookError for folders that will not do.
    """
    if not folder.is_dir():
        raise LogbookError(f"there is no folder {folder}; check its name")
    home, away = folder.resolve(), out.resolve()
    if home == away:
        raise LogbookError(f"the filled workbooks cannot go into {folder} itself; choose another folder with --out")
    if out.exists() and not out.is_dir():
        raise LogbookError(f"{out} is a file; choose a folder with --out")
    found = sorted(
        path
        for path in home.rglob("*")
        if path.suffix.lower() in WORKBOOKS + OLD_OR_OTHER
        and path.is_file()
        and not path.is_relative_to(away)
        and not any(_NOT_A_LOG.search(part) for part in path.relative_to(home).parts)
    )
    if not found:
        raise LogbookError(f"there is no workbook in {folder}; put .xlsx or .xlsm files there")
    taken = {SUMMARY_XLSX, SUMMARY_JSON}
    return tuple(_job(path, path.relative_to(home), away, taken) for path in found)


def _job(source: Path, below: Path, out: Path, taken: set[str]) -> Job:
    number = 1
    while True:
        name = below.name if number == 1 else f"{below.stem} ({number}){below.suffix}"
        filled = below.with_name(name).as_posix()
        names = {filled.casefold(), f"{filled}.json".casefold()}
        if not names & taken:
            taken |= names
            return Job(source, below.as_posix(), out, filled, f"{filled}.json")
        number += 1


def fill_folder(jobs: Sequence[Job], workers: int) -> Iterator[Car]:
    """Fill each workbook in a process of a pool; the cars come as they are done, in any order.

    A process that dies takes the pool with it: what was not done then is done again, each in a pool of its own.
    """
    left = list(jobs)
    try:
        for job, cars in _in_pool(left, min(workers, len(left), MOST_WORKERS)):
            left.remove(job)
            yield from cars
    except BrokenProcessPool:
        for job in left:
            try:
                yield from (car for _, cars in _in_pool([job], 1) for car in cars)
            except BrokenProcessPool:
                yield Car(job.workbook, UNREAD, sentence="reading it ended its process, as when memory runs out")


def _in_pool(jobs: Sequence[Job], workers: int) -> Iterator[tuple[Job, tuple[Car, ...]]]:
    # Fresh processes on every system: a copy of this one would take its progress bar's locks along.
    fresh = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers, fresh, initializer=_ignore_interrupts)
    try:
        with _interrupts_held():
            waiting: dict[Future[tuple[Car, ...]], Job] = {pool.submit(fill_one, job): job for job in jobs}
        while waiting:
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                yield waiting.pop(future), future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C goes to every process of a terminal at once. Those started here ignore it; the parent alone winds up."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _ignore_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def fill_one(job: Job) -> tuple[Car, ...]:
    """Fill one workbook with the advice for the newest run of each of its cars; what goes wrong becomes a sentence."""
    try:
        if job.source.suffix.lower() in OLD_OR_OTHER:
            raise LogbookError("this kind of workbook cannot be filled; save it as .xlsx")
        target = job.out / job.filled
        log = open_log(job.source, target)
        of_cars = [(one, next(advise_each(one, [one.book.run().name]))) for one in log.cars()]
        target.parent.mkdir(parents=True, exist_ok=True)
        done = fill_cars(log, [(one.book, [advice]) for one, advice in of_cars])
        filled = done.path.relative_to(job.out).as_posix()
        data = {one.book.car: advice.as_json() for one, advice in of_cars}
        write_json(job.out / job.json, data if len(data) > 1 else next(iter(data.values())))
        return tuple(_car(job, advice, one.book, filled) for one, advice in of_cars)
    except LogbookError as error:
        return (Car(job.workbook, UNREAD, sentence=str(error).removeprefix(f"{job.source.name}: ")),)
    except OSError as error:
        return (Car(job.workbook, UNREAD, sentence=f"{error.strerror or error}; make room on the disk"),)
    except Exception as error:
        kind = " ".join(f"{type(error).__name__}: {error}".split())
        return (Car(job.workbook, UNREAD, sentence=f"a fault of strapline's own ({kind}); fill it alone to see more"),)


def _car(job: Job, advice: Advice, book: ReadBook, filled: str) -> Car:
    run = book.logbook.run(advice.run)
    levels = {caution.level for caution in advice.cautions}
    group = MUST_NOT_RUN if advice.must_not_run else BACK_OFF if "back off" in levels else REST
    cautions = (text for level in LEVELS for text, _ in caution_lines(advice.cautions, level))
    return Car(
        workbook=job.workbook,
        group=group,
        engine=book.car or book.logbook.engine.name,
        run=advice.run,
        when=f"{run.when:%Y-%m-%d %H:%M}" if run.when else "",
        stage=advice.stage,
        headline=advice.headline,
        cautions=tuple(cautions),
        filled=filled,
        json=job.json,
    )


def in_order(cars: Iterable[Car]) -> list[Car]:
    """The cars that must not run again, then those to back off, then the rest, then those that could not be read."""
    return sorted(cars, key=lambda car: (ORDER.index(car.group), car.workbook))
