"""Which work is in hand: timing if it is not known safe, then fuel, timing, heat range, then the spread."""

from engine_rules.facts import Alarm, Ask, Estimate, LogNext, Picked, Said, Setup, Solved, Stage, Unfit, Want, Worded
from engine_rules.inference import MATCH, NOT, L
from engine_rules.rulebook import COMMON, Decision

order = Decision("order", phase="order")

NO_ALARM = NOT(Alarm(level=L("stop") | L("back off")))
FIT = NOT(Unfit())
PROVEN = Said(what="timing_known_safe", value=True)


@order.rule(
    "What may hurt the engine comes before any tuning.",
    COMMON,
    Alarm(level=L("stop") | L("back off"), cylinder=MATCH.cylinder),
)
def safety_first() -> Worded:
    return Stage(name="safety")


@order.rule(
    "A set that is not fit to tune from changes nothing; get a good reading first.",
    COMMON,
    Unfit(reason=MATCH.reason),
    NO_ALARM,
)
def reading_first() -> Worded:
    return Stage(name="reading")


@order.rule(
    "Timing that is not known safe is settled before fuel is leaned.",
    COMMON,
    Said(what="timing_known_safe", value=False),
    FIT,
    NO_ALARM,
)
def timing_before_fuel() -> Worded:
    return Stage(name="timing")


@order.rule(
    "Nobody said that this timing is safe, so it is taken as not.",
    COMMON,
    Said(what="readings"),
    NOT(Said(what="timing_known_safe")),
    FIT,
    NO_ALARM,
)
def timing_unsaid() -> Worded:
    return Stage(name="timing")


@order.rule(
    "Fuel for the whole engine and each corner comes before timing is touched.",
    COMMON,
    PROVEN,
    Want(what="fuel"),
    Solved(what="fuel_step", much=True),
    FIT,
    NO_ALARM,
)
def fuel_first() -> Worded:
    return Stage(name="fuel")


@order.rule(
    "A cylinder well on the lean side gets its fuel before timing is touched, however little it would win.",
    COMMON,
    PROVEN,
    Want(what="fuel", side="richer"),
    Estimate(what="mixture", deep=True),
    FIT,
    NO_ALARM,
)
def lean_first() -> Worded:
    return Stage(name="fuel")


@order.rule(
    "Fuel that is nearly right waits where there is timing left to find.",
    "torque curves: a size of jet near best is worth a tenth of a percent, late timing several times that",
    PROVEN,
    Want(what="timing", side="earlier"),
    Want(what="fuel"),
    Solved(what="fuel_step", much=False),
    NOT(Estimate(what="mixture", deep=True)),
    FIT,
    NO_ALARM,
)
def late_before_nearly_right() -> Worded:
    return Stage(name="timing")


@order.rule(
    "Where more fuel is wanted, timing moves in the same run: later is safe beside it, and it makes room for more.",
    COMMON,
    PROVEN,
    Want(what="fuel", side="richer"),
    Want(what="timing", side=MATCH.side),
    FIT,
    NO_ALARM,
)
def timing_beside_more_fuel(side: str) -> Worded:
    return Want(what="timing_now", place="all", side=side)


@order.rule(
    "With no timing left to find, the last of the fuel is put right.",
    COMMON,
    PROVEN,
    Want(what="fuel"),
    Solved(what="fuel_step", much=False),
    NOT(Want(what="timing", side="earlier")),
    FIT,
    NO_ALARM,
)
def nearly_right() -> Worded:
    return Stage(name="fuel")


@order.rule(
    "Until something tells the mixture, the work stays at fuel.",
    COMMON,
    PROVEN,
    Estimate(what="mixture", cylinder=0, grade="unread"),
    FIT,
    NO_ALARM,
)
def fuel_unread() -> Worded:
    return Stage(name="fuel")


@order.rule(
    "With fuel settled, total timing is next.",
    COMMON,
    PROVEN,
    Want(what="timing"),
    NOT(Want(what="fuel")),
    NOT(Estimate(what="mixture", cylinder=0, grade="unread")),
    FIT,
    NO_ALARM,
)
def timing_next() -> Worded:
    return Stage(name="timing")


@order.rule(
    "With fuel and timing settled, the plug's heat is next.",
    COMMON,
    PROVEN,
    Want(what=L("heat") | L("tip")),
    NOT(Want(what="fuel")),
    NOT(Want(what="timing")),
    NOT(Estimate(what="mixture", cylinder=0, grade="unread")),
    FIT,
    NO_ALARM,
)
def heat_next() -> Worded:
    return Stage(name="heat")


@order.rule(
    "The spread between cylinders is last, when all else stands.",
    COMMON,
    PROVEN,
    Want(what="trim"),
    NOT(Want(what="fuel")),
    NOT(Want(what="timing")),
    NOT(Want(what="heat")),
    NOT(Want(what="tip")),
    NOT(Estimate(what="mixture", cylinder=0, grade="unread")),
    FIT,
    NO_ALARM,
)
def spread_last() -> Worded:
    return Stage(name="spread")


@order.rule(
    "Nothing asks for a change: keep this set as a reference.",
    COMMON,
    PROVEN,
    NOT(Want()),
    NOT(Estimate(what="mixture", cylinder=0, grade="unread")),
    FIT,
    NO_ALARM,
)
def settled() -> Worded:
    return Stage(name="settled")


look_ahead = Decision("order", phase="choice")


@look_ahead.rule(
    "One change at a time, or nobody can tell which one did it.",
    "parts seller article on plug reading",
    Stage(name=L("fuel") | L("timing") | L("heat") | L("spread")),
    NOT(Want(what="timing_now")),
    Picked(what=MATCH.what),
)
def one_at_a_time() -> Worded:
    return LogNext(text="this change and nothing else, on new plugs with a clean cut")


@look_ahead.rule("The best day's plugs, tune-up and air are worth keeping.", COMMON, Stage(name="settled"))
def keep_reference() -> Worded:
    return LogNext(text="mark this run as Reference, and keep its plugs")


@look_ahead.rule(
    "Trap speed tells power; elapsed time tells the start.",
    COMMON,
    Said(what="pull", value="pass"),
    NOT(Said(what="speed")),
)
def log_speed() -> Worded:
    return LogNext(text="speed at the end of the pass")


@look_ahead.rule(
    "Without a firing order nobody can say which cylinders move together.",
    COMMON,
    Setup(what="timing_hardware", value="paired"),
    NOT(Setup(what="firing_order")),
)
def firing_order_needed() -> Worded:
    return Ask(text="fill in the firing order", at="firing_order")
