"""What all the readings of the set, taken together, say of each cylinder."""

from engine_rules.facts import Ask, Estimate, Remark, Seen, Solved, Taught, Worded
from engine_rules.inference import MATCH, L
from engine_rules.rulebook import COMMON, Decision

evidence = Decision("evidence", phase="evidence")

TOGETHER = "linear Gaussian estimate: textbook conditioning of a normal distribution; gains from the sheet Targets"


@evidence.rule(
    "All readings of the set, weighed by their spread, say how this cylinder's mixture stands.",
    TOGETHER,
    Solved(
        what="mixture",
        cylinder=MATCH.cylinder & ~L(0),
        side=MATCH.side,
        grade=MATCH.grade,
        near=MATCH.near,
        deep=MATCH.deep,
        text=MATCH.text,
    ),
)
def mixture(cylinder: int, side: str, grade: str, near: bool, deep: bool, text: str) -> Worded:
    return Estimate(what="mixture", cylinder=cylinder, side=side, grade=grade, near=near, deep=deep, text=text)


@evidence.rule(
    "All readings of the set, weighed by their spread, say how this cylinder's timing stands.",
    TOGETHER,
    Solved(
        what="timing",
        cylinder=MATCH.cylinder & ~L(0),
        side=MATCH.side,
        grade=MATCH.grade,
        near=MATCH.near,
        deep=MATCH.deep,
        text=MATCH.text,
    ),
)
def timing(cylinder: int, side: str, grade: str, near: bool, deep: bool, text: str) -> Worded:
    return Estimate(what="timing", cylinder=cylinder, side=side, grade=grade, near=near, deep=deep, text=text)


@evidence.rule(
    "What the cylinders share is the whole engine's: its jets and its timing, not one corner's.",
    TOGETHER,
    Solved(what=MATCH.what, cylinder=0, side=MATCH.side, grade=MATCH.grade, near=MATCH.near, text=MATCH.text),
)
def whole_engine(what: str, side: str, grade: str, near: bool, text: str) -> Worded:
    return Estimate(what=what, cylinder=0, side=side, grade=grade, near=near, deep=False, text=text)


@evidence.rule(
    "A reading that the others cannot explain is counted only as far as they can, and named.",
    TOGETHER,
    Seen(what="set_aside", cylinder=MATCH.cylinder, text=MATCH.text),
)
def set_aside(cylinder: int, text: str) -> Worded:
    return Remark(cylinder=cylinder, text=text)


@evidence.rule(
    "A cold pipe may be rich or very lean, so cold alone is never called rich.",
    "aviation leaning guides: exhaust temperature falls on both sides of its peak",
    Seen(what="cold_pipe", cylinder=MATCH.cylinder, text=MATCH.text),
)
def cold_is_not_rich(cylinder: int, text: str) -> Worded:
    return Remark(cylinder=cylinder, text=text)


@evidence.rule(
    "Nothing that tells mixture was read, so fuel cannot be judged.",
    COMMON,
    Solved(what="mixture", cylinder=0, grade="unread"),
)
def mixture_unread() -> Worded:
    return Ask(text="read the ring on the porcelain, or lambda, to judge fuel", at="ring")


@evidence.rule(
    "Nothing that tells timing was read, so timing cannot be judged.",
    COMMON,
    Solved(what="timing", cylinder=0, grade="unread"),
)
def timing_unread() -> Worded:
    return Ask(text="read the mark on the strap to judge timing", at="strap_mark")


@evidence.rule(
    "Leaded fuel fouls the sensor, which then drifts: the plug is asked first.",
    "trade article: leaded fuel and lambda sensors",
    Seen(what="lambda_on_lead", cylinder=0),
)
def sensor_on_lead() -> Worded:
    return Remark(cylinder=0, text="lambda counts for less on leaded fuel")


@evidence.rule(
    "This engine's own log shows how far its signs move, and that is read by instead of the usual.",
    "textbook Bayesian regression on the differences between runs",
    Taught(what="gain"),
)
def own_gains() -> Worded:
    return Remark(cylinder=0, text="its signs are read by what its own log taught")


@evidence.rule(
    "This engine's own log shows which corner feeds which cylinder, and jets are reckoned by that.",
    "textbook Bayesian regression on the differences between runs",
    Taught(what="share"),
)
def own_shares() -> Worded:
    return Remark(cylinder=0, text="its jets are reckoned by the shares of fuel that its own log taught")


@evidence.rule(
    "A run that nothing explains teaches nothing: look for a slip in the log, or a change not written down.",
    COMMON,
    Taught(what="odd run", text=MATCH.text),
)
def odd_run(text: str) -> Worded:
    return Remark(cylinder=0, text=text)


@evidence.rule(
    "What was set has to be written down, or the run shows nothing of what a change does.",
    COMMON,
    Taught(what="nothing", text=MATCH.text),
)
def nothing_learned(text: str) -> Worded:
    return Remark(cylinder=0, text=text)
