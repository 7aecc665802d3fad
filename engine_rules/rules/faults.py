"""What is mended and not tuned: oil, coolant, a dead or flooded cylinder, a loose plug. It speaks on any set."""

from collections.abc import Iterable

from engine_rules.facts import Alarm, Hold, Seen, Warn, Worded
from engine_rules.inference import MATCH
from engine_rules.rulebook import COMMON, Decision
from engine_rules.rules.safety import MANUAL, closed

faults = Decision("faults", phase="safety")


@faults.rule(
    "A plug washed spotless is coolant, or a cylinder that does not fire: find out before it runs.",
    COMMON,
    Seen(what="porcelain", grade="steam clean", cylinder=MATCH.cylinder),
)
def coolant(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="washed clean", level="stop", cylinder=cylinder),
        Warn(
            cylinder=cylinder, level="stop", text="washed clean: test for coolant in the cylinder before it runs again"
        ),
        *closed(cylinder),
    )


@faults.rule(
    "Oil on the plug is rings, guides or a gasket: mend it, do not jet for it.",
    MANUAL,
    Seen(what="porcelain", grade="oily", cylinder=MATCH.cylinder),
)
def oil(cylinder: int) -> Iterable[Worded]:
    return (
        Warn(
            cylinder=cylinder, level="mind", text="oil: look at rings, guides and intake gasket; oil also brings knock"
        ),
        *closed(cylinder),
    )


@faults.rule(
    "A dead cylinder fools every other reading: wire, plug, coil first.",
    MANUAL,
    Seen(what="also_seen", grade="dead", cylinder=MATCH.cylinder),
)
def dead_cylinder(cylinder: int) -> Iterable[Worded]:
    return (
        Alarm(kind="dead cylinder", level="back off", cylinder=cylinder),
        Warn(cylinder=cylinder, level="back off", text="does not fire: mend the ignition before you tune"),
        *closed(cylinder),
    )


@faults.rule(
    "A plug wet with fuel missed: ask the ignition before the jet.",
    MANUAL,
    Seen(what="porcelain", grade="wet", cylinder=MATCH.cylinder),
)
def fuel_wet(cylinder: int) -> Iterable[Worded]:
    return (
        Warn(cylinder=cylinder, level="mind", text="wet with fuel: check its spark first; fuel washes the bore"),
        Hold(what="leaner", cylinder=0),
    )


@faults.rule(
    "A loose plug cannot shed its heat.",
    "plug maker's installation page",
    Seen(what="also_seen", grade="loose", cylinder=MATCH.cylinder),
)
def loose(cylinder: int) -> Iterable[Worded]:
    return (
        Warn(cylinder=cylinder, level="mind", text="the plug was loose and ran hot: clean seat, right torque"),
        Hold(what="advance", cylinder=0),
        Hold(what="hotter", cylinder=0),
    )


@faults.rule(
    "A gap that grew in a run was eaten by heat.",
    COMMON,
    Seen(what="also_seen", grade="gap opened", cylinder=MATCH.cylinder),
)
def gap_opened(cylinder: int) -> Iterable[Worded]:
    return (
        Warn(cylinder=cylinder, level="mind", text="the gap opened in one run: heat"),
        Hold(what="advance", cylinder=0),
        Hold(what="hotter", cylinder=0),
    )
