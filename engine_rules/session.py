"""One run reasoned from log to advice: facts in, phase after phase of rules, one step chosen, everything traced."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial

from engine_rules.advice import Advice
from engine_rules.assemble import assemble
from engine_rules.carry import Belief, belief_before
from engine_rules.decide import Order, decide
from engine_rules.estimate import Estimate, against, estimate
from engine_rules.evidence import facts_of_run
from engine_rules.facts import Hold, LeaveOut, Need, Said, Stage, Unfit, Want, Weaker
from engine_rules.judge import facts_of_estimate, facts_of_learning
from engine_rules.logbook import Logbook, Run
from engine_rules.lookback import facts_of_history
from engine_rules.looks import Gains
from engine_rules.picks import facts_of_step
from engine_rules.reference import Found, Knowing, Reference, find_reference
from engine_rules.response import responses_before
from engine_rules.results import Score, score
from engine_rules.room import room_for_steps
from engine_rules.trace import Reasoner, new_reasoner, trace_of

STRAP_KINDS = ("strap_mark",)

# Where the rules leave more than one stage open, the more cautious one stands.
CAUTIOUS = ("safety", "reading", "timing", "fuel", "heat", "spread", "settled")


@dataclass(frozen=True, slots=True)
class Fitness:
    """What the reading rules made of a run: fit to tune from, what is left out, how much wider its spread is."""

    fit: bool
    left_out: frozenset[tuple[int, str]]
    noise_factor: float


@dataclass(frozen=True, slots=True)
class Session:
    """The reasoning over one log. What is worked out of one run is kept for those that come after it."""

    logbook: Logbook
    _fitness: dict[str, Fitness] = field(default_factory=dict)
    _scores: dict[tuple[str, str], Score | str] = field(default_factory=dict)

    def advise(self, run: str | None = None) -> Advice:
        """The advice for one run, by name; without one, for the newest that has readings. Raises LogbookError."""
        logbook, one = self.logbook, self.logbook.run(run)
        taught = responses_before(logbook, one)
        gains, as_taught = taught.gains(logbook.targets), taught.taught(logbook)
        belief = belief_before(as_taught, one, partial(self._learned, gains))
        reasoner = new_reasoner()
        reasoner.give([*facts_of_run(logbook, one), *facts_of_learning(taught, logbook.targets)])
        reasoner.reason("reading")
        self._fitness[one.name] = _fitness(logbook, reasoner)
        found = find_reference(logbook, one, self._knowing(gains))
        solved, fuel_alone = (_judged(solved, found) for solved in self._solve(one, belief, gains))
        room = room_for_steps(as_taught, one, fuel_alone, solved)
        reasoner.give(facts_of_estimate(logbook, solved, room))
        for phase in ("evidence", "safety", "want", "order"):
            reasoner.reason(phase)
        order = _order(reasoner)
        step = decide(logbook, one, solved, fuel_alone, order, as_taught.engine)
        reasoner.give(facts_of_step(logbook, one, step))
        reasoner.reason("choice")
        reasoner.give(facts_of_history(logbook, one, found))
        reasoner.reason("look back")
        return assemble(logbook, one, solved, order, step, reasoner, trace_of(reasoner.fired))

    def reference(self, run: Run) -> Reference | None:
        """The set that a run is judged against, None where there is none."""
        gains = responses_before(self.logbook, run).gains(self.logbook.targets)
        return find_reference(self.logbook, run, self._knowing(gains)).reference

    def fitness(self, run: Run) -> Fitness:
        """What the reading rules make of a run."""
        if run.name not in self._fitness:
            reasoner = new_reasoner(("reading",))
            reasoner.give(facts_of_run(self.logbook, run))
            reasoner.reason("reading")
            self._fitness[run.name] = _fitness(self.logbook, reasoner)
        return self._fitness[run.name]

    def _learned(self, gains: Gains, run: Run, belief: Belief | None) -> Belief | None:
        fitness = self.fitness(run)
        if not fitness.fit:
            return None
        seen = estimate(self.logbook, run, fitness.left_out, fitness.noise_factor, gains, belief)
        return Belief(seen.mean, seen.covariance, f"run {run.name}")

    def _knowing(self, gains: Gains) -> Knowing:
        return Knowing(lambda run: self.fitness(run).fit, partial(self._by_itself, gains), self._scored)

    def _scored(self, run: Run, kind: str) -> Score | str:
        if (run.name, kind) not in self._scores:
            self._scores[run.name, kind] = score(self.logbook.engine, run, kind)
        return self._scores[run.name, kind]

    def _by_itself(self, gains: Gains, run: Run) -> Estimate:
        fitness = self.fitness(run)
        return estimate(self.logbook, run, fitness.left_out, fitness.noise_factor, gains)

    def _solve(self, run: Run, belief: Belief | None, gains: Gains) -> tuple[Estimate, Estimate]:
        """The estimate, and the one without straps."""
        logbook, fitness = self.logbook, self._fitness[run.name]
        solved = estimate(logbook, run, fitness.left_out, fitness.noise_factor, gains, belief)
        # Whether fuel is settled must not hang on the straps, or a longer mark could end that work and open timing.
        strapless = fitness.left_out | {(number, kind) for number in logbook.engine.numbers for kind in STRAP_KINDS}
        return solved, estimate(logbook, run, strapless, fitness.noise_factor, gains, belief)


def advise(logbook: Logbook, run: str | None = None) -> Advice:
    """The advice for one run, by name; without one, for the newest that has readings.

    Raises LogbookError when there is no such run.
    """
    return Session(logbook).advise(run)


def advise_each(logbook: Logbook, names: Iterable[str]) -> Iterator[Advice]:
    """The advice for each of these runs."""
    session = Session(logbook)
    return (session.advise(name) for name in names)


def _judged(solved: Estimate, found: Found) -> Estimate:
    """The estimate against the reference set, where there is one."""
    if found.reference is None:
        return solved
    text = f"the engine's own target, as read on reference run {found.reference.run.name}"
    return against(solved, found.reference.target, found.reference.doubt, text)


def _fitness(logbook: Logbook, reasoner: Reasoner) -> Fitness:
    return Fitness(
        fit=not reasoner.known(Unfit),
        left_out=frozenset((fact["cylinder"], fact["what"]) for fact in reasoner.known(LeaveOut)),
        noise_factor=logbook.targets["fit.short_noise"] if reasoner.known(Weaker) else 1.0,
    )


def _order(reasoner: Reasoner) -> Order:
    stages = {fact["name"] for fact in reasoner.known(Stage)}
    return Order(
        stage=next((name for name in CAUTIOUS if name in stages), "reading"),
        readable=not reasoner.known(Unfit),
        proven=any(fact["what"] == "timing_known_safe" and fact["value"] for fact in reasoner.known(Said)),
        holds=frozenset(fact["what"] for fact in reasoner.known(Hold)),
        needs=tuple(reasoner.known(Need)),
        wants=tuple(reasoner.known(Want)),
    )
