"""One run reasoned from log to advice: facts in, phase after phase of rules, one step chosen, everything traced."""

from __future__ import annotations

from engine_rules.advice import Advice
from engine_rules.assemble import assemble
from engine_rules.decide import Order, decide
from engine_rules.estimate import Estimate, estimate
from engine_rules.evidence import facts_of_run
from engine_rules.facts import Alarm, Hold, LeaveOut, Need, Stage, Unfit, Want, Weaker
from engine_rules.judge import facts_of_estimate
from engine_rules.logbook import Logbook, Run
from engine_rules.lookback import facts_of_history
from engine_rules.picks import facts_of_step
from engine_rules.room import room_for_steps
from engine_rules.trace import Reasoner, new_reasoner, trace_of

STRAP_KINDS = ("strap_mark",)

# Where the rules leave more than one stage open, the more cautious one stands.
CAUTIOUS = ("safety", "reading", "timing", "fuel", "heat", "spread", "settled")


def advise(logbook: Logbook, run: str | None = None) -> Advice:
    """The advice for one run, by name; without one, for the newest that has readings.

    Raises LogbookError when there is no such run.
    """
    one = logbook.run(run)
    reasoner = new_reasoner()
    reasoner.declare(*facts_of_run(logbook, one))
    reasoner.reason("reading")
    solved = _solve(logbook, one, reasoner)
    reasoner.reason("evidence")
    reasoner.reason("safety")
    reasoner.reason("want")
    reasoner.reason("order")
    order = _order(reasoner)
    step = decide(logbook, one, solved, order)
    reasoner.declare(*facts_of_step(logbook, one, step))
    reasoner.reason("choice")
    reasoner.declare(*facts_of_history(logbook, one))
    reasoner.reason("look back")
    return assemble(logbook, one, solved, order, step, reasoner, trace_of(reasoner.fired))


def _solve(logbook: Logbook, run: Run, reasoner: Reasoner) -> Estimate:
    left_out = frozenset((fact["cylinder"], fact["what"]) for fact in reasoner.known(LeaveOut))
    noise = logbook.targets["fit.short_noise"] if reasoner.known(Weaker) else 1.0
    solved = estimate(logbook, run, left_out, noise)
    # Whether fuel is settled must not hang on the straps, or a longer mark could end that work and open timing.
    strapless = left_out | {(number, kind) for number in logbook.engine.numbers for kind in STRAP_KINDS}
    fuel_alone = estimate(logbook, run, frozenset(strapless), noise)
    room = room_for_steps(logbook, run, fuel_alone, solved)
    reasoner.declare(*facts_of_estimate(logbook, solved, room))
    return solved


def _order(reasoner: Reasoner) -> Order:
    stages = {fact["name"] for fact in reasoner.known(Stage)}
    return Order(
        stage=next((name for name in CAUTIOUS if name in stages), "reading"),
        readable=not reasoner.known(Unfit),
        holds=frozenset(fact["what"] for fact in reasoner.known(Hold)),
        needs=tuple(reasoner.known(Need)),
        wants=tuple(reasoner.known(Want)),
        alarmed=any(fact["level"] == "stop" for fact in reasoner.known(Alarm)),
    )
