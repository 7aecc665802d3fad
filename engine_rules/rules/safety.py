"""What may hurt the engine. These rules speak even when the set is not fit to tune from."""

from collections.abc import Iterable

from engine_rules.facts import (
    Alarm,
    Ask,
    Estimate,
    Hold,
    LeaveOut,
    Need,
    Remark,
    Said,
    Seen,
    Setup,
    Unfit,
    Warn,
    Worded,
)
from engine_rules.inference import MATCH, NOT, L
from engine_rules.rulebook import COMMON, Decision

safety = Decision("safety", phase="safety")

MAGAZINE = "motorcycle magazine, 2012: ash and bright specks are metal from the piston"
MANUAL = "plug maker's technical manual"
CLUB_PAGE = "club page on plug appearance: wrong heat range"
TRUE_SPECKS = NOT(LeaveOut(what="specks", cylinder=MATCH.cylinder))
FIT = NOT(Unfit())
KNOCK_WORDS = L("few black") | L("many black") | L("bright")


def closed(cylinder: int) -> tuple[Worded, ...]:
    """No less fuel and no more timing anywhere; no hotter plug; no further projection on this cylinder."""
    return (
        Hold(what="leaner", cylinder=0),
        Hold(what="advance", cylinder=0),
        Hold(what="hotter", cylinder=0),
        Hold(what="projection", cylinder=cylinder),
    )


@safety.rule(
    "Specks of any kind close every way to more timing, less fuel or a hotter plug.",
    COMMON,
    Seen(what="specks", grade=KNOCK_WORDS, cylinder=MATCH.cylinder),
)
def specks_close(cylinder: int) -> Iterable[Worded]:
    return closed(cylinder)


@safety.rule(
    "Bright specks are metal out of the piston: stop, look inside, and take timing out.",
    MAGAZINE,
    Seen(what="specks", grade="bright", cylinder=MATCH.cylinder),
    TRUE_SPECKS,
)
def bright_specks(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="bright specks", level="stop", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.knock_retard_deg"),
        Need(what="richer", cylinder=cylinder, by="safety.knock_richer_sizes"),
        Warn(
            cylinder=cylinder,
            level="stop",
            text="bright specks: metal from the piston. Do not run it again before the cylinder was looked at",
        ),
    )


@safety.rule(
    "Bright specks that may be anti-seize still count as a warning.",
    COMMON,
    Seen(what="specks", grade="bright", cylinder=MATCH.cylinder),
    LeaveOut(what="specks", cylinder=MATCH.cylinder),
)
def bright_in_doubt(cylinder: int) -> Worded:
    return Warn(
        cylinder=cylinder,
        level="mind",
        text="bright specks that may be anti-seize: clean, run again gently, look before you tune",
    )


@safety.rule(
    "Black pepper is the first sign of knock to some, porcelain starting to boil to others; less timing and "
    "no less fuel are right under both.",
    "trade articles disagree; both readings are common practice",
    Seen(what="specks", grade="few black", cylinder=MATCH.cylinder),
    TRUE_SPECKS,
)
def few_black(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="black specks", level="back off", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.black_retard_deg"),
        Warn(
            cylinder=cylinder,
            level="back off",
            text="black specks: first knock, or porcelain about to boil. Less "
            "timing is right under both; so is good fuel, checked",
        ),
    )


@safety.rule(
    "Much black pepper is knock or boiling for sure: less timing, more fuel.",
    "trade articles disagree; both readings are common practice",
    Seen(what="specks", grade="many black", cylinder=MATCH.cylinder),
)
def many_black(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="many black specks", level="back off", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.many_black_retard_deg"),
        Need(what="richer", cylinder=cylinder, by="safety.black_richer_sizes"),
        Warn(
            cylinder=cylinder,
            level="back off",
            text="many black specks: knock, or porcelain boiling. Check the "
            "fuel and the timing mark before the next pull",
        ),
    )


@safety.rule(
    "Specks and boiled porcelain together: under both readings the plug is too hot as well.",
    COMMON,
    Seen(what="specks", grade=KNOCK_WORDS, cylinder=MATCH.cylinder),
    Seen(what="porcelain", grade=L("glazed") | L("blistered"), cylinder=MATCH.cylinder),
)
def boiling_specks(cylinder: int) -> Worded:
    return Need(what="colder", cylinder=cylinder, by="cap.heat_steps")


@safety.rule(
    "Specks on several cylinders have one cause: fuel, the timing mark, or heat.",
    COMMON,
    Said(what="cylinders_with_specks", value="several"),
)
def several_with_specks() -> Worded:
    return Warn(
        cylinder=0,
        level="back off",
        text="specks on more than one cylinder: check the fuel, the timing mark and the cooling first",
    )


@safety.rule(
    "Glazed porcelain saw a spike of heat: less timing, a colder plug.",
    COMMON,
    Seen(what="porcelain", grade="glazed", cylinder=MATCH.cylinder),
)
def glazed(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="glazed porcelain", level="back off", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.hot_retard_deg"),
        Need(what="colder", cylinder=cylinder, by="cap.heat_steps"),
        Warn(cylinder=cylinder, level="back off", text="porcelain glazed by heat"),
        *closed(cylinder),
    )


@safety.rule(
    "Blistered porcelain boiled: too hot a plug, too lean, too much timing, or the cooling.",
    CLUB_PAGE,
    Seen(what="porcelain", grade="blistered", cylinder=MATCH.cylinder),
)
def blistered(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="blistered porcelain", level="back off", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.hot_retard_deg"),
        Need(what="richer", cylinder=cylinder, by="safety.black_richer_sizes"),
        Need(what="colder", cylinder=cylinder, by="cap.heat_steps"),
        Warn(cylinder=cylinder, level="back off", text="porcelain boiled: check fuel flow and cooling too"),
        *closed(cylinder),
    )


@safety.rule(
    "A cracked nose is knock, or the gap tool: the plug is done and the cylinder wants a look.",
    MANUAL,
    Seen(what="porcelain", grade="cracked", cylinder=MATCH.cylinder),
)
def cracked(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="cracked porcelain", level="stop", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.knock_retard_deg"),
        Need(what="richer", cylinder=cylinder, by="safety.knock_richer_sizes"),
        Warn(
            cylinder=cylinder,
            level="stop",
            text="porcelain cracked: throw the plug away and look inside for the "
            "piece and for knock before it runs again",
        ),
        *closed(cylinder),
    )


@safety.rule(
    "A melted strap glowed: the charge lit itself.",
    COMMON,
    Seen(what="also_seen", grade="strap melted", cylinder=MATCH.cylinder),
)
def strap_melted(cylinder: int) -> Iterable[Worded]:
    return _melted(cylinder, "strap melted")


@safety.rule(
    "A melted centre wire glowed: the charge lit itself.",
    COMMON,
    Seen(what="centre_wire", grade="melted", cylinder=MATCH.cylinder),
)
def centre_wire_melted(cylinder: int) -> Iterable[Worded]:
    return _melted(cylinder, "centre wire melted")


@safety.rule(
    "Heat to the weld is too much heat: timing comes out first.",
    "ignition shop and parts seller articles: mark near the weld or in the threads",
    Seen(what="strap_mark", grade="at the weld", cylinder=MATCH.cylinder),
    NOT(LeaveOut(what="strap_mark", cylinder=MATCH.cylinder)),
)
def heat_to_the_weld(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="heat to the weld", level="back off", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.hot_retard_deg"),
        Warn(cylinder=cylinder, level="back off", text="the strap is coloured to the weld"),
        *closed(cylinder),
    )


@safety.rule(
    "Lean and hot together breaks pistons: more fuel and less timing, before anything else.",
    COMMON,
    Estimate(what="mixture", cylinder=MATCH.cylinder, deep=True, side="lean"),
    FIT,
    Seen(what="strap_mark", grade=L("hot") | L("at the weld"), cylinder=MATCH.cylinder),
    NOT(LeaveOut(what="strap_mark", cylinder=MATCH.cylinder)),
)
def lean_and_hot(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="lean and hot", level="back off", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.hot_retard_deg"),
        Need(what="richer", cylinder=cylinder, by="safety.black_richer_sizes"),
        Warn(cylinder=cylinder, level="back off", text="lean and hot together"),
        *closed(cylinder),
    )


@safety.rule(
    "Timing that is not known safe goes no further, and no jet is leaned behind it.",
    COMMON,
    Said(what="timing_known_safe", value=False),
)
def timing_not_safe() -> Iterable[Worded]:
    return (
        Hold(what="leaner", cylinder=0),
        Hold(what="advance", cylinder=0),
        Hold(what="hotter", cylinder=0),
        Warn(
            cylinder=0,
            level="mind",
            text="timing is not known safe: check the mark with a light on every cylinder, "
            "start well under the best, and mark it safe only on clean plugs",
        ),
    )


@safety.rule(
    "Timing that nobody called safe is taken as not safe.",
    COMMON,
    NOT(Said(what="timing_known_safe")),
    Said(what="readings"),
)
def timing_not_said() -> Iterable[Worded]:
    return (
        Hold(what="leaner", cylinder=0),
        Hold(what="advance", cylinder=0),
        Hold(what="hotter", cylinder=0),
        Ask(text="is this total timing known safe on this engine?", at="timing_known_safe"),
    )


@safety.rule(
    "Edges that start to round say that timing is near its end.",
    MAGAZINE,
    Seen(what="centre_wire", grade=L("softening") | L("rounded"), cylinder=MATCH.cylinder),
)
def edges_softening(cylinder: int) -> Iterable[Worded]:
    return (
        Hold(what="leaner", cylinder=0),
        Hold(what="advance", cylinder=0),
        Hold(what="hotter", cylinder=0),
    )


@safety.rule(
    "Edges that softened with no more timing, no less fuel and no hotter plug than now were no slip of the eye: sharp "
    "ones today open nothing.",
    COMMON,
    Said(what="edges_before", text=MATCH.text),
)
def edges_remembered(text: str) -> Iterable[Worded]:
    return (Hold(what="advance", cylinder=0), Hold(what="hotter", cylinder=0), Remark(cylinder=0, text=text))


@safety.rule(
    "A cylinder that surely stands far on the lean side is not run harder.",
    COMMON,
    Estimate(what="mixture", cylinder=MATCH.cylinder & ~L(0), deep=True, side="lean", grade="sure"),
    FIT,
)
def far_lean(cylinder: int) -> Iterable[Worded]:
    return (
        Hold(what="advance", cylinder=0),
        Hold(what="hotter", cylinder=0),
        Warn(cylinder=cylinder, level="mind", text="far on the lean side: fuel first, no more timing"),
    )


@safety.rule(
    "This engine showed specks at hardly more timing than this: neither more timing nor less fuel from here.",
    COMMON,
    Said(what="knock_before", value="near"),
)
def knock_is_near() -> Iterable[Worded]:
    return (Hold(what="leaner", cylinder=0), Hold(what="advance", cylinder=0))


@safety.rule(
    "This engine showed specks lately: total timing stays under that and goes up by the smallest step, and jets go "
    "leaner by single sizes.",
    COMMON,
    Said(what="knock_before", value=L("below") | L("at the limit"), text=MATCH.text),
)
def knock_is_remembered(text: str) -> Worded:
    return Remark(cylinder=0, text=text)


@safety.rule(
    "A hotter plug than this already ran hot on this engine: nobody goes back to it.",
    COMMON,
    Said(what="ran_hot", value=MATCH.plug),
)
def hotter_ran_hot() -> Worded:
    return Hold(what="hotter", cylinder=0)


@safety.rule(
    "A methanol flame cannot be seen in daylight.",
    "from memory: safety sheets of methanol",
    Setup(what="fuel", value="methanol"),
)
def methanol_flame() -> Worded:
    return Warn(
        cylinder=0,
        level="mind",
        text="methanol burns with a flame you may not see, and is poison through the skin: water at hand",
    )


def _melted(cylinder: int, what: str) -> Iterable[Worded]:
    return (
        Alarm(kind=what, level="stop", cylinder=cylinder),
        Need(what="retard", cylinder=cylinder, by="safety.knock_retard_deg"),
        Need(what="richer", cylinder=cylinder, by="safety.knock_richer_sizes"),
        Need(what="colder", cylinder=cylinder, by="cap.heat_steps"),
        Warn(cylinder=cylinder, level="stop", text=f"{what}: the charge lit itself. Look inside before it runs again"),
        *closed(cylinder),
    )
