"""Is this set fit to tune from, and which of its signs say nothing?"""

from collections.abc import Iterable

from engine_rules.facts import Ask, Hold, LeaveOut, LogNext, Remark, Said, Seen, Setup, Unfit, Weaker, Worded
from engine_rules.inference import MATCH, NOT, L
from engine_rules.rulebook import COMMON, Decision

reading = Decision("reading", phase="reading")

TELLING = L("ring") | L("shell_ring") | L("strap_mark") | L("said_mixture")
ARTICLE_CUT = "ignition shop and parts seller articles on plug reading: new plugs, clean cut, no idling back"
ARTICLE_ALCOHOL = "Canter, article on reading the plugs of alcohol engines"


@reading.rule(
    "Used plugs carry the history of other runs, so these say nothing of this one.",
    ARTICLE_CUT,
    Said(what="new_plugs", value=False),
)
def used_plugs() -> Worded:
    return Unfit(reason="the plugs were not new")


@reading.rule(
    "Nobody said whether the plugs were new, so read them with doubt and only toward the safe side.",
    COMMON,
    Seen(what=TELLING),
    NOT(Said(what="new_plugs")),
)
def plugs_not_said() -> Iterable[Worded]:
    return (
        Weaker(reason="it is not said whether the plugs were new"),
        Hold(what="leaner", cylinder=0),
        Hold(what="advance", cylinder=0),
        Ask(text="were the plugs new for this run?", at="new_plugs"),
    )


@reading.rule(
    "Without a clean cut the plugs show the coasting, not the pull.", ARTICLE_CUT, Said(what="clean_cut", value=False)
)
def no_clean_cut() -> Worded:
    return Unfit(reason="the engine was not cut clean at full load")


@reading.rule(
    "Nobody said whether the engine was cut clean, so read only toward the safe side.",
    COMMON,
    Seen(what=TELLING),
    NOT(Said(what="clean_cut")),
)
def cut_not_said() -> Iterable[Worded]:
    return (
        Weaker(reason="it is not said whether the cut was clean"),
        Hold(what="leaner", cylinder=0),
        Hold(what="advance", cylinder=0),
        Ask(text="was the engine cut clean at full load?", at="clean_cut"),
    )


@reading.rule(
    "It idled back, and idling soots the ring and cools the strap.", ARTICLE_CUT, Said(what="idled_after", value=True)
)
def idled_back() -> Worded:
    return Unfit(reason="the engine idled after the pull")


@reading.rule(
    "A lifted throttle or spinning tyres mean the load was not the load.",
    COMMON,
    Said(what="lifted_or_spun", value=True),
)
def lifted_or_spun() -> Worded:
    return Unfit(reason="the run was lifted or the tyres spun")


@reading.rule(
    "The pull was too short for a new plug to take its marks.",
    ARTICLE_ALCOHOL,
    Said(what="full_load", value="too short"),
)
def too_short() -> Worded:
    return Unfit(reason="too little time at full load")


@reading.rule(
    "The pull was long enough to read and too short to read well.",
    ARTICLE_ALCOHOL,
    Said(what="full_load", value="marginal"),
)
def short_pull() -> Worded:
    return Weaker(reason="the pull was short")


@reading.rule("Too few hot laps to settle the heat in the plugs.", COMMON, Said(what="laps", value="too few"))
def few_laps() -> Worded:
    return Unfit(reason="too few hot laps")


@reading.rule(
    "How long the engine pulled at full load is part of the reading.",
    COMMON,
    Seen(what=TELLING),
    NOT(Said(what="full_load")),
    NOT(Said(what="laps")),
)
def time_not_said() -> Worded:
    return LogNext(text="seconds at full load, or laps")


@reading.rule("No plug, probe or sensor was read after this run.", COMMON, Said(what="readings", value="none"))
def nothing_read() -> Iterable[Worded]:
    return (
        Unfit(reason="nothing was read on any cylinder"),
        Ask(text="read a set of new plugs after a clean cut", at="ring"),
    )


@reading.rule(
    "Part of the set was read; the rest is judged from it, with a wide margin.",
    "sports-car mailing list, 2000: clean plugs in chosen cylinders are accepted",
    Said(what="readings", value="some"),
)
def part_of_the_set() -> Worded:
    return LogNext(text="the plugs of every cylinder")


@reading.rule(
    "Plugs of different kinds in one set do not mark alike.",
    "hobby article: strap, plating and reach must equal those compared with",
    Said(what="plug_types", value="mixed"),
)
def mixed_plugs() -> Iterable[Worded]:
    return (
        Weaker(reason="the set is of more than one plug"),
        Hold(what="hotter", cylinder=0),
        Ask(text="fit one kind of plug through the set", at="plug"),
    )


@reading.rule(
    "Anti-seize bakes on silver and looks like metal; nobody can tell until it is wiped and run again.",
    "repair article on plug torque; the likeness is common practice, no source",
    Seen(what="also_seen", grade="anti-seize", cylinder=MATCH.cylinder),
    Seen(what="specks", grade="bright", cylinder=MATCH.cylinder),
)
def anti_seize_or_metal(cylinder: int) -> Iterable[Worded]:
    return (
        Unfit(reason=f"bright specks or anti-seize on cylinder {cylinder}: it cannot be told which"),
        LeaveOut(cylinder=cylinder, what="specks", reason="anti-seize is on the plug"),
        Ask(text=f"clean the anti-seize off cylinder {cylinder}'s plug and run again", at="specks"),
    )


@reading.rule(
    "Anti-seize colours the threads and fools the torque wrench.",
    COMMON,
    Seen(what="also_seen", grade="anti-seize", cylinder=MATCH.cylinder),
)
def anti_seize_on_threads(cylinder: int) -> Worded:
    return LeaveOut(cylinder=cylinder, what="threads", reason="anti-seize is on the plug")


@reading.rule(
    "An additive paints the porcelain; forget the colour, read the ring and the strap.",
    "plug maker's manual: red coating by additives",
    Seen(what=L("porcelain") | L("also_seen"), grade=L("orange") | L("red") | L("additive"), cylinder=MATCH.cylinder),
)
def additive_tint(cylinder: int) -> Worded:
    return LeaveOut(cylinder=cylinder, what="porcelain", reason="an additive colours it")


@reading.rule(
    "Tyre rubber makes black balls that are not pepper; look again before you trust either.",
    "sports-car mailing list, 2000",
    Seen(what="also_seen", grade="rubber bits", cylinder=MATCH.cylinder),
    Seen(what="specks", grade="few black", cylinder=MATCH.cylinder),
)
def rubber_or_pepper(cylinder: int) -> Iterable[Worded]:
    return (
        LeaveOut(cylinder=cylinder, what="specks", reason="bits of rubber look alike"),
        Ask(text=f"look at cylinder {cylinder} under a glass: rubber or pepper?", at="specks"),
    )


@reading.rule(
    "The side toward the intake valve is always wetter; read the ring on the other side.",
    COMMON,
    Seen(what="also_seen", grade="wet one side", cylinder=MATCH.cylinder),
    Setup(what="near_intake_valve", cylinder=MATCH.cylinder),
)
def wet_side_near_valve(cylinder: int) -> Worded:
    return Remark(cylinder=cylinder, text="wet side faces the intake valve: the ring was read on the other side")


@reading.rule(
    "Half a ring is fuel washing one side; no jet is changed for half a ring.",
    COMMON,
    Seen(what="also_seen", grade="wet one side", cylinder=MATCH.cylinder),
    NOT(Setup(what="near_intake_valve", cylinder=MATCH.cylinder)),
)
def wet_side(cylinder: int) -> Iterable[Worded]:
    return (
        LeaveOut(cylinder=cylinder, what="ring", reason="one side is washed wet"),
        Ask(text=f"is cylinder {cylinder}'s plug near its intake valve?", at="near_intake_valve"),
    )


@reading.rule(
    "A tint by the gasket comes from the seat, not from the burn.",
    COMMON,
    Seen(what="also_seen", grade="tint by the gasket", cylinder=MATCH.cylinder),
)
def gasket_tint(cylinder: int) -> Worded:
    return Remark(cylinder=cylinder, text="the tint by the gasket is ignored")


@reading.rule(
    "Alcohol makes no soot, so the ring on the porcelain does not apply: it is not lean.",
    ARTICLE_ALCOHOL,
    Setup(what="fuel", value=L("methanol") | L("E85")),
    Seen(what="ring", cylinder=MATCH.cylinder),
)
def ring_on_alcohol(cylinder: int) -> Worded:
    return LeaveOut(cylinder=cylinder, what="ring", reason="it does not apply on alcohol")


@reading.rule(
    "On this blend the shell's end shows timing well and mixture hardly at all; trust the sensor.",
    "owners' forum on E85: timing marks and no mixture marks",
    Setup(what="fuel", value="E85"),
    Seen(what="shell_ring", cylinder=MATCH.cylinder),
)
def shell_ring_on_e85(cylinder: int) -> Worded:
    return LeaveOut(cylinder=cylinder, what="shell_ring", reason="it does not apply on E85")


@reading.rule(
    "Unleaded fuel leaves little colour; white porcelain alone is not lean.",
    "hot-rod magazine, July 1986: colour rules fail on unleaded",
    Setup(what="fuel", value="unleaded gasoline"),
    Seen(what="porcelain", grade="white", cylinder=MATCH.cylinder),
)
def white_on_unleaded(cylinder: int) -> Worded:
    return LeaveOut(cylinder=cylinder, what="porcelain", reason="unleaded fuel leaves it white")


@reading.rule(
    "White with no ring may be lean, or a short run, or the fuel: go richer, and run it again.",
    COMMON,
    Seen(what="ring", grade="none", cylinder=MATCH.cylinder),
    Seen(what="porcelain", grade="white", cylinder=MATCH.cylinder),
)
def white_without_ring(cylinder: int) -> Worded:
    return Ask(
        text=f"cylinder {cylinder} is white with no ring: lean, a short pull, or the fuel? look at strap and specks",
        at="strap_mark",
    )


@reading.rule(
    "A plug that sat loose ran hot, so its strap and threads say nothing.",
    COMMON,
    Seen(what="also_seen", grade="loose", cylinder=MATCH.cylinder),
)
def loose_plug(cylinder: int) -> Iterable[Worded]:
    why = "the plug was loose and ran hot"
    return (
        LeaveOut(cylinder=cylinder, what="strap_mark", reason=why),
        LeaveOut(cylinder=cylinder, what="threads", reason=why),
        Ask(text=f"tighten cylinder {cylinder}'s plug to the engine maker's torque", at="also_seen"),
    )


@reading.rule(
    "A cylinder that does not fire shows neither mixture nor timing.",
    "plug maker's manual: fuel fouled",
    Seen(what="also_seen", grade="dead", cylinder=MATCH.cylinder),
)
def dead_plug(cylinder: int) -> Iterable[Worded]:
    return _nothing_to_read(cylinder, "the cylinder does not fire")


@reading.rule(
    "A wet or oily plug hides its ring; find the cause first.",
    "plug maker's manual: fuel and oil fouled",
    Seen(what="porcelain", grade=L("wet") | L("oily") | L("steam clean"), cylinder=MATCH.cylinder),
)
def fouled_plug(cylinder: int) -> Iterable[Worded]:
    return _nothing_to_read(cylinder, "the plug is fouled or washed")


@reading.rule(
    "Weather was not all logged, so this run cannot be compared with another day.",
    COMMON,
    Said(what="air", value="part"),
)
def air_not_logged() -> Worded:
    return LogNext(text="air temperature, pressure and its kind, humidity")


def _nothing_to_read(cylinder: int, why: str) -> Iterable[Worded]:
    kinds = ("ring", "shell_ring", "strap_mark", "said_mixture", "egt", "lambda")
    return tuple(LeaveOut(cylinder=cylinder, what=kind, reason=why) for kind in kinds)
