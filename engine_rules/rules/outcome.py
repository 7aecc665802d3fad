"""What the last change can and cannot show."""

from engine_rules.facts import Changed, LogNext, Remark, Said, Worded
from engine_rules.inference import NOT
from engine_rules.rulebook import COMMON, Decision

look = Decision("outcome", phase="look back")

ONE = "parts seller article: several changes at once leave no way to tell which did it"


@look.rule(
    "Fuel and timing both moved since the run before, so neither can be judged alone.",
    ONE,
    Changed(what="jets"),
    Changed(what="timing"),
)
def fuel_and_timing_moved() -> Worded:
    return Remark(cylinder=0, text="jets and timing both changed since the run before: neither can be judged alone")


@look.rule(
    "A plug change moves every later reading, so it is made alone.", COMMON, Changed(what="plugs"), Changed(what="jets")
)
def plugs_and_fuel_moved() -> Worded:
    return Remark(cylinder=0, text="plugs and jets both changed since the run before: compare with care")


@look.rule(
    "Nothing was changed since the run before: such repeats show how far the log's noise goes.",
    COMMON,
    Said(what="run_before"),
    NOT(Changed()),
)
def repeat() -> Worded:
    return Remark(cylinder=0, text="a repeat: the difference to the run before is this log's noise")


@look.rule(
    "Without a result, nobody can tell whether the change helped.",
    COMMON,
    NOT(Said(what="result")),
    Said(what="readings"),
)
def no_result() -> Worded:
    return LogNext(text="the result: speed and time with weight, lap time, or power")


@look.rule(
    "One jet near best power is worth about a tenth of a percent: one run cannot show it.",
    "Crossley and Cook regression: torque against air-fuel ratio",
    Changed(what="jets"),
    Said(what="result"),
)
def jets_in_the_noise() -> Worded:
    return Remark(
        cylinder=0, text="a jet size near best power is worth about 0.1 % of torque; one result cannot prove it"
    )
