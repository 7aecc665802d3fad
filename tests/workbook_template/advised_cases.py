"""Logbooks and advice made by hand, one for each kind of engine and each kind of card."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from engine_rules.advice import (
    Advice,
    Caution,
    CylinderAdvice,
    FactLine,
    Firing,
    JetChange,
    Move,
    OneShort,
    SetAside,
    Swap,
    TimingChange,
    Worth,
)
from engine_rules.fuel import Jet, Ladder
from engine_rules.logbook import Cell, CylinderPlace, Engine, Entry, Logbook, Reading, Run, Station, Tuneup
from engine_rules.plugs import Plug, PlugShelf
from engine_rules.targets import default_targets

CORNERS = (
    Station("LF", "front", "L"),
    Station("RF", "front", "R"),
    Station("LR", "rear", "L"),
    Station("RR", "rear", "R"),
)
V8_ORDER = (1, 8, 4, 3, 6, 5, 7, 2)


@dataclass(frozen=True)
class Case:
    """One engine with its log, and what was advised about its newest run."""

    book: Logbook
    advice: Advice

    @property
    def run(self) -> Run:
        return self.book.run(self.advice.run)


def two_banks(count: int) -> list[tuple[int, str, int]]:
    """(number, bank, place) with odd numbers in the left bank."""
    return [(number, "L" if number % 2 else "R", (number + 1) // 2) for number in range(1, count + 1)]


def corner_shares(bank: str, place: int, places: int) -> dict[str, float]:
    own = bank + ("F" if place <= places / 2 else "R")
    return {name: 0.55 if name == own else 0.15 for name in ("LF", "RF", "LR", "RR")}


def v8(**changes: object) -> Engine:
    cylinders = tuple(
        CylinderPlace(number, bank, place, corner_shares(bank, place, 4)) for number, bank, place in two_banks(8)
    )
    engine = Engine(
        "Blue car, 355", "leaded gasoline", "V", "short", "one four-barrel", "single plane", V8_ORDER, cylinders,
        CORNERS, timing_hardware="tabs", tab_radius_mm=25.0, trim_step_deg=0.5,
    )  # fmt: skip
    return replace(engine, **changes)  # type: ignore[arg-type]


def own_runner_engine(count: int, arrangement: str, carburetion: str, fuel: str = "methanol") -> Engine:
    """An engine whose every cylinder has its own station."""
    places = two_banks(count) if arrangement != "inline" else [(n, "", n) for n in range(1, count + 1)]
    cylinders = tuple(CylinderPlace(n, bank, place, {str(n): 1.0}) for n, bank, place in places)
    stations = tuple(Station(str(n), "", bank) for n, bank, _ in places)
    order = tuple(range(1, count + 1))
    return Engine(
        "Twelve", fuel, arrangement, "long", carburetion, "individual runner", order, cylinders, stations,
        timing_hardware="per-cylinder", trim_step_deg=0.5,
    )  # fmt: skip


def inline_four() -> Engine:
    stations = (Station("front", "front"), Station("rear", "rear"))
    cylinders = tuple(
        CylinderPlace(n, "", n, {"front": 0.65, "rear": 0.35} if n < 3 else {"front": 0.35, "rear": 0.65})
        for n in range(1, 5)
    )
    return Engine(
        "Small four", "unleaded gasoline", "inline", "long", "one two-barrel", "other", (1, 3, 4, 2), cylinders,
        stations,
    )  # fmt: skip


def single() -> Engine:
    cylinders = (CylinderPlace(1, "", 1, {"single": 1.0}),)
    return Engine(
        "Kart", "unleaded gasoline", "inline", "endurance", "single", "other", (1,), cylinders, (Station("single"),)
    )


def logbook(engine: Engine, jets: dict[str, str], name: str = "17", total_deg: float | None = 34.0) -> Logbook:
    """A log of two runs, each with a row for every cylinder."""

    def run(run_name: str, day: int, first_row: int) -> Run:
        return Run(
            run_name,
            datetime(2026, 3, day, 18, 20),
            Entry("Home strip"),
            tuneup=Tuneup(
                {station: Entry(label) for station, label in jets.items()},
                None if total_deg is None else Entry(total_deg),
            ),
            readings=tuple(
                Reading(number, places={"egt_c": Cell("Readings", f"J{first_row + at}")})
                for at, number in enumerate(engine.numbers)
            ),
        )

    older = run("16", 13, 2)
    newer = run(name, 14, 2 + len(engine.numbers))
    return Logbook(
        engine,
        Ladder([Jet(str(size), size / 1000) for size in range(60, 100)]),
        PlugShelf((Plug("A", 1), Plug("B", 2), Plug("C", 3), Plug("D", 4, on_hand=False))),
        (older, newer),
        default_targets(),
    )


FIRINGS = (
    Firing(
        1,
        "reading.fit",
        "The set is fit to tune from: new plugs, a clean cut, long enough at full load.",
        (FactLine("new plugs: yes", "Runs!Q3"), FactLine("clean cut: yes", "Runs!R3")),
        (),
        ("run 17 may be tuned from",),
    ),
    Firing(
        2,
        "fuel.corner_lean",
        "The cylinders that a corner feeds are lean together: give that corner more jet.",
        (
            FactLine("cylinder 1, ring: trace", "Readings!D10"),
            FactLine("cylinder 3, ring: none", "Readings!D12"),
            FactLine("LF feeds 1 and 3 most", None),
        ),
        (1,),
        ("LF from 74 to 76", "mixture of 1 and 3 comes to target"),
    ),
    Firing(
        3,
        "spark.cylinder_late",
        "One cylinder's strap mark runs past the others: take timing out there.",
        (FactLine("cylinder 3, strap mark: near weld", "Readings!G12"),),
        (1, 2),
        ("cylinder 3 trim from 0 to −1",),
    ),
    Firing(
        4,
        "heat.colder",
        "Porcelain that starts to boil asks for a colder plug.",
        (FactLine("cylinder 3, porcelain: glazed", "Readings!I12"),),
        (),
        ("cylinder 3 plug from B to C",),
    ),
)


def v8_all_change() -> Case:
    engine = v8()
    book = logbook(engine, {"LF": "74", "RF": "74", "LR": "80", "RR": "80"})
    cylinders = tuple(
        CylinderAdvice(
            number,
            mixture_pct=-4.1 + number,
            mixture_sd=1.2,
            timing_deg=2.4 - 0.7 * number,
            timing_sd=0.8,
            trim=Move(0.0, -1.0 if number % 2 else 0.5),
            tab_mm=-0.44 if number % 2 else 0.22,
            plug=Swap("B", "C") if number != 5 else Swap("C", "D", on_hand=False),
            tip=Swap("projected", "regular") if number in (3, 5) else None,
            sure=("sure", "likely", "guess")[number % 3],
            why=f"Ring and strap of cylinder {number} agree.",
            because=(2, 3, 4),
        )
        for number in engine.numbers
    )
    advice = Advice(
        "17", "spread", True, "Richer on the left front, leaner right rear; trim each cylinder's timing.",
        jets=(
            JetChange("LF", "74", "76", 5.2, because=(2,)),
            JetChange("RF", "74", "75", 2.6, because=(2,)),
            JetChange("LR", "80", "82", 4.9, wanted="83", because=(2,)),
            JetChange("RR", "80", "78", -4.8, because=(2,)),
        ),
        timing=TimingChange(34.0, 33.0, (3,)),
        cylinders=cylinders,
        cautions=(
            Caution("Pepper on the porcelain: no more advance before it is gone.", "back off", 3, (3,)),
            Caution("Plug D is not on hand.", "mind", 5, (4,)),
        ),
        worth=Worth(0.4, 0.3),
        missing=("pressure of the air", "lambda of the right bank"),
        log_next=("EGT at the same point of the run", "fuel temperature", "full-load seconds"),
        set_aside=(SetAside("Readings!J14", "EGT of cylinder 5 fits no state of the engine", 5),),
        firings=FIRINGS,
        one_short=(OneShort("reference.egt", "Compare with the reference set.", "EGT of cylinder 7", "Readings!J16"),),
    )  # fmt: skip
    return Case(book, advice)


def v8_stop() -> Case:
    engine = v8()
    book = logbook(engine, {"LF": "74", "RF": "74", "LR": "80", "RR": "80"})
    advice = Advice(
        "17", "safety", True, "Look at cylinders 3 and 6 before this engine runs again.",
        jets=tuple(JetChange(s, j, n, 5.0, because=(2,)) for s, j, n in (
            ("LF", "74", "76"), ("RF", "74", "76"), ("LR", "80", "82"), ("RR", "80", "82"))),
        timing=TimingChange(34.0, 32.0, (3,)),
        cylinders=tuple(
            CylinderAdvice(n, -6.0, 1.5, 3.0, 1.0, sure="sure", because=(2, 3)) if n in (3, 6)
            else CylinderAdvice(n, 0.4, 1.3, 0.2, 0.9) for n in engine.numbers
        ),
        cautions=(
            *(Caution("Bright metal specks: a piston is losing metal. Test for leak-down and look inside.",
                      "stop", n, (3,)) for n in (3, 6)),
            Caution("Before it runs again: timing out and richer jets as below.", "stop", None, (2,)),
        ),
        log_next=("leak-down of 3 and 6",),
        firings=FIRINGS,
    )  # fmt: skip
    return Case(book, advice)


def v8_unreadable() -> Case:
    engine = v8()
    book = logbook(engine, {"LF": "74", "RF": "74", "LR": "80", "RR": "80"})
    advice = Advice(
        "17", "reading", False, "Not fit to tune from: it idled after the pull. Make a clean cut with new plugs.",
        cylinders=tuple(CylinderAdvice(n, why="Idled after the cut.", because=(1,)) for n in engine.numbers),
        missing=("new plugs", "time at full load"),
        log_next=("whether the cut was clean", "whether it idled"),
        firings=FIRINGS[:1],
    )  # fmt: skip
    return Case(book, advice)


def four_settled() -> Case:
    engine = inline_four()
    book = logbook(engine, {"front": "120", "rear": "125"})
    advice = Advice(
        "17", "settled", True, "Nothing to change. Keep this as the reference set.",
        cylinders=tuple(
            CylinderAdvice(n, 0.3 * n - 0.5, 1.0, 0.2, 0.8, sure="sure", because=(2,)) for n in engine.numbers
        ),
        firings=FIRINGS,
    )  # fmt: skip
    return Case(book, advice)


def single_jet() -> Case:
    engine = single()
    book = logbook(engine, {"single": "120"}, total_deg=None)
    advice = Advice(
        "17", "fuel", True, "One size richer.",
        jets=(JetChange("single", "120", "122", 3.4, because=(2,)),),
        cylinders=(CylinderAdvice(1, -3.1, 1.4, None, None, sure="likely", because=(2,)),),
        worth=Worth(0.2, 0.3),
        firings=FIRINGS,
    )  # fmt: skip
    return Case(book, advice)


def v12_own_runners() -> Case:
    engine = own_runner_engine(12, "V", "individual runners")
    book = logbook(engine, {str(n): str(140 + n) for n in engine.numbers})
    advice = Advice(
        "17", "fuel", True, "Richer on 3, 5 and 8; a colder plug all round.",
        jets=tuple(JetChange(n, str(140 + int(n)), str(142 + int(n)), 2.8, because=(2,)) for n in ("3", "5", "8")),
        cylinders=tuple(
            CylinderAdvice(n, -0.8 * n + 4, 1.4, 0.3 * n - 2, 0.9, plug=Swap("B", "C"),
                           trim=Move(0.5, -0.5) if n in (3, 12) else None, sure="likely", because=(2, 4))
            for n in engine.numbers
        ),
        worth=Worth(0.9, 0.4),
        log_next=("EGT of all twelve",),
        firings=FIRINGS,
    )  # fmt: skip
    return Case(book, advice)


def six_efi() -> Case:
    engine = own_runner_engine(6, "inline", "EFI", "E85")
    book = logbook(engine, {})
    trims = {2: Move(0.0, 3.0), 5: Move(0.0, 3.0), 6: Move(0.0, -2.0)}
    advice = Advice(
        "17", "fuel", True, "Fuel trims of 2 and 5 up, 6 down.",
        cylinders=tuple(
            CylinderAdvice(n, 1.0 - n, 1.1, 0.4, 0.7, fuel_trim=trims.get(n), sure="likely", because=(2,))
            for n in engine.numbers
        ),
        worth=Worth(0.5, 0.2),
        firings=FIRINGS,
    )  # fmt: skip
    return Case(book, advice)


CASES = {
    "v8_all_change": v8_all_change,
    "v8_stop": v8_stop,
    "v8_unreadable": v8_unreadable,
    "four_settled": four_settled,
    "single_jet": single_jet,
    "v12_own_runners": v12_own_runners,
    "six_efi": six_efi,
}
