"""From the estimate to facts: which way each error goes, how sure that is, and whether a step would help."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from engine_rules.estimate import Contribution, CylinderState, Estimate
from engine_rules.evidence import cell_text
from engine_rules.facts import Seen, Solved, Taught, Worded
from engine_rules.logbook import Engine, Logbook
from engine_rules.response import Responses, learned_words, share_words
from engine_rules.targets import Targets

SIDES = {"mixture": ("lean", "rich"), "timing": ("retarded", "advanced")}
UNITS = {"mixture": "%", "timing": "degrees"}


@dataclass(frozen=True, slots=True)
class Room:
    """Whether a step of each kind would win anything by itself; much_fuel: so much that timing waits for it."""

    fuel: bool
    much_fuel: bool
    timing: bool
    trim: bool


def grade(error: float, sd: float, targets: Targets) -> str:
    """'sure', 'likely' or 'guess', by how many spreads the error stands from target."""
    spreads = abs(error) / sd if sd > 0 else math.inf
    if spreads >= targets["sure.sure"]:
        return "sure"
    return "likely" if spreads >= targets["sure.likely"] else "guess"


def error_words(what: str, error: float, sd: float) -> str:
    """Such as 'mixture 2.4 % lean, give or take 0.9'."""
    low, high = SIDES[what]
    if abs(error) < 0.05:
        return f"{what} on target, give or take {sd:.1f}"
    return f"{what} {abs(error):.1f} {UNITS[what]} {high if error > 0 else low}, give or take {sd:.1f}"


def facts_of_estimate(logbook: Logbook, estimate: Estimate, room: Room) -> list[Worded]:
    """Every fact that the estimate gives the rules."""
    targets = logbook.targets
    facts: list[Worded] = [_whole("mixture", estimate, targets), _whole("timing", estimate, targets)]
    for state in estimate.cylinders:
        facts.append(_cylinder("mixture", state, state.mixture_pct, state.mixture_sd, targets))
        facts.append(_cylinder("timing", state, state.timing_deg, state.timing_sd, targets))
        facts.append(_own_timing(state, targets))
    facts.extend(_stations(logbook.engine, estimate, targets))
    for what, open_, much in (
        ("fuel_step", room.fuel, room.much_fuel),
        ("timing_step", room.timing, False),
        ("trim_step", room.trim, False),
    ):
        name = what.split("_")[0]
        text = f"a step of {name} would win something" if open_ else f"no step of {name} would win enough to be made"
        facts.append(Solved(what=what, place="", near=not open_, much=much, text=text, lines=(), cell=""))
    facts.extend(_oddities(estimate))
    return facts


def facts_of_learning(taught: Responses, targets: Targets) -> list[Worded]:
    """What the log taught of this engine, and which of its runs teach nothing."""
    lines = [("gain", f"{targets.entry(one.key).about}: {learned_words(one, targets)}") for one in taught.values]
    lines += [("share", share_words(one)) for one in taught.shares]
    lines += [("odd run", f"run {name}: {why}") for name, why in taught.set_aside]
    facts: list[Worded] = [Taught(what=what, text=text, cell="") for what, text in lines]
    return facts + [Taught(what="nothing", text=note.text, cell=cell_text(note.cell)) for note in taught.notes]


def _solved(
    what: str,
    cylinder: int,
    error: float,
    near: float,
    graded: str,
    deep: bool,
    text: str,
    lines: tuple[tuple[str, str], ...] = (),
) -> Worded:
    side = SIDES[what.removeprefix("own_")][1 if error > 0 else 0]
    return Solved(
        what=what,
        cylinder=cylinder,
        side=side,
        grade=graded,
        near=abs(error) <= near,
        deep=deep,
        text=text,
        lines=lines,
        cell="",
    )


def _near(what: str, targets: Targets) -> float:
    return targets["settled.mixture_pct"] if what == "mixture" else targets["settled.timing_deg"]


def _whole(what: str, estimate: Estimate, targets: Targets) -> Worded:
    error = estimate.common_mixture_pct if what == "mixture" else estimate.common_timing_deg
    sd = estimate.common_mixture_sd if what == "mixture" else estimate.common_timing_sd
    if not is_read(what, estimate):
        return _solved(what, 0, 0.0, 1.0, "unread", False, f"the whole engine: {what} was not read")
    text = f"the whole engine: {error_words(what, error, sd)}"
    return _solved(what, 0, error, _near(what, targets), grade(error, sd, targets), False, text)


def is_read(what: str, estimate: Estimate) -> bool:
    """True where something on some cylinder tells 'mixture' or 'timing'; a pipe alone tells neither."""
    witnesses = estimate.mixture_witnesses if what == "mixture" else estimate.timing_witnesses
    return any(set(kinds) - {"egt"} for kinds in witnesses.values())


def _cylinder(what: str, state: CylinderState, error: float, sd: float, targets: Targets) -> Worded:
    limit = targets["lean_hot.mixture_pct"]
    usual = state.usual_mixture if what == "mixture" else None
    if usual is not None and usual[0] <= limit and usual[0] < error:
        # A reference set may move a target; what safety looks for stays with the usual one.
        error, sd = usual
    deep = what == "mixture" and error <= limit
    text = f"cylinder {state.cylinder}: {error_words(what, error, sd)}"
    return _solved(
        what,
        state.cylinder,
        error,
        _near(what, targets),
        grade(error, sd, targets),
        deep,
        text,
        tuple(_lines(what, state.contributions)),
    )


def _lines(what: str, contributions: tuple[Contribution, ...]) -> Iterator[tuple[str, str]]:
    for one in contributions:
        moved = one.mixture_pct if what == "mixture" else one.timing_deg
        if abs(moved) >= 0.05:
            unit = "% fuel" if what == "mixture" else "degrees"
            yield f"{one.text}: {moved:+.1f} {unit}".replace("-", "−"), cell_text(one.cell)


def _own_timing(state: CylinderState, targets: Targets) -> Worded:
    error, sd = state.own_timing_deg, state.own_timing_sd
    side = "ahead of" if error > 0 else "behind"
    text = f"cylinder {state.cylinder}: timing {abs(error):.1f} degrees {side} the set's, give or take {sd:.1f}"
    return _solved(
        "own_timing", state.cylinder, error, targets["settled.timing_deg"], grade(error, sd, targets), False, text
    )


def station_cylinders(engine: Engine) -> Mapping[str, tuple[int, ...]]:
    """Station -> the cylinders that draw more from it than from any other; none where all draw alike."""
    fed: dict[str, tuple[int, ...]] = {}
    for station in engine.stations:
        fed[station.name] = tuple(
            one.number
            for one in engine.cylinders
            if one.shares.get(station.name, 0.0) == max(one.shares.values())
            and max(one.shares.values()) > min(one.shares.get(other.name, 0.0) for other in engine.stations)
        )
    return fed


def _stations(engine: Engine, estimate: Estimate, targets: Targets) -> Iterator[Worded]:
    if not is_read("mixture", estimate):
        return
    own = {state.cylinder: state.own_mixture_pct for state in estimate.cylinders}
    for station, cylinders in station_cylinders(engine).items():
        if not cylinders:
            continue
        error = sum(own[number] for number in cylinders) / len(cylinders)
        names = ", ".join(str(number) for number in cylinders)
        side = "rich" if error > 0 else "lean"
        yield Solved(
            what="station",
            place=station,
            side=side,
            near=abs(error) <= targets["settled.station_pct"],
            lines=(),
            cell="",
            text=f"station {station}: its cylinders ({names}) stand {abs(error):.1f} % {side} of the set",
        )


def _oddities(estimate: Estimate) -> Iterator[Worded]:
    for aside in estimate.set_aside:
        yield Seen(what="set_aside", cylinder=aside.cylinder or 0, grade="", text=aside.reason, cell=aside.cell or "")
    for note in estimate.notes:
        cylinder = int(next((word for word in note.text.replace(":", " ").split() if word.isdigit()), "0"))
        yield Seen(what="cold_pipe", cylinder=cylinder, grade="", text=note.text, cell=cell_text(note.cell))
