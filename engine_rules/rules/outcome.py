"""What the last change did, and what it can and cannot show.

A change that hurt is advised back as a caution, not as a change of the card: the card's one step comes from the
readings, and a result alone does not say which of two runs was the odd one. The way back is only named where it goes
richer, later or colder, or to a setting that was known safe then and that nothing seen today speaks against.
"""

from collections.abc import Iterable

from engine_rules.facts import Alarm, Changed, Hold, LogNext, Outcome, Remark, Said, Warn, Worded
from engine_rules.inference import MATCH, NOT, L
from engine_rules.rulebook import COMMON, Decision

look = Decision("outcome", phase="look back")

ONE = "parts seller article: several changes at once leave no way to tell which did it"
NOISE = "Student's t against the log's own repeats; results in standard air: SAE J1349, J607, ISO 1585, DIN 70020"
SPEED = "common practice, no source: speed follows power; cube root law, Fox 1973"


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


@look.rule(
    "The result is better beyond this log's noise: the change helped.",
    NOISE,
    Outcome(verdict="helped", text=MATCH.text),
)
def helped(text: str) -> Worded:
    return Remark(cylinder=0, text=f"helped: {text}")


@look.rule(
    "The result is worse beyond this log's noise: the change hurt.",
    NOISE,
    Outcome(verdict="hurt", text=MATCH.text),
)
def hurt(text: str) -> Worded:
    return Remark(cylinder=0, text=f"hurt: {text}")


@look.rule(
    "It hurt, and the way back is richer, later or colder: go back.",
    SPEED,
    Outcome(verdict="hurt", back="safe", changed=MATCH.changed, before=MATCH.before),
)
def hurt_go_back(changed: str, before: str) -> Worded:
    return _go_back(changed, before)


@look.rule(
    "It hurt, and the setting before was known safe, so go back to it.",
    SPEED,
    Outcome(verdict="hurt", back="proven", changed=MATCH.changed, before=MATCH.before),
    NOT(Alarm(level=L("stop") | L("back off"))),
    NOT(Hold(what=L("leaner") | L("advance") | L("hotter"))),
)
def hurt_back_to_proven(changed: str, before: str) -> Worded:
    return _go_back(changed, before)


@look.rule(
    "It hurt, but the way back is leaner, earlier or hotter and was never proven: the readings lead, not the clock.",
    COMMON,
    Outcome(verdict="hurt", back="unproven", before=MATCH.before),
)
def hurt_not_proven(before: str) -> Worded:
    return Remark(cylinder=0, text=f"the setting of run {before} was not proven safe: no way back is advised")


@look.rule(
    "The difference is no more than this log's noise: nobody can tell whether the change helped.",
    NOISE,
    Outcome(verdict="cannot be told from noise", text=MATCH.text),
)
def in_the_noise(text: str) -> Iterable[Worded]:
    return (
        Remark(cylinder=0, text=f"cannot be told from noise: {text}"),
        LogNext(text="a repeat with nothing changed, so that the noise of the log is known"),
    )


@look.rule(
    "The two results cannot be compared.",
    COMMON,
    Outcome(verdict="not comparable", text=MATCH.text),
    Said(what="result"),
)
def not_comparable(text: str) -> Worded:
    return Remark(cylinder=0, text=f"results not comparable: {text}")


def _go_back(changed: str, before: str) -> Worded:
    text = f"{changed} cost more than this log's noise: going back to the setting of run {before} is advised"
    return Warn(cylinder=0, level="mind", text=text)
