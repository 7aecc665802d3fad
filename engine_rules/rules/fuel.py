"""Fuel: the whole engine first, then each corner."""

from engine_rules.facts import Change, Estimate, Picked, Solved, Stage, Want, Worded
from engine_rules.inference import MATCH, L
from engine_rules.rulebook import COMMON, Decision

want = Decision("fuel", phase="want")
choice = Decision("fuel", phase="choice")

THIN_RING = "motorcycle magazine, 2012: power mixture is slightly rich, so a ring should be there"
OWN_WORK = "exact whole-number choice by expected torque loss; costs from the sheet Targets"
ROOM = Solved(what="fuel_step", near=False)


@want.rule(
    "The whole engine is lean: fuel all round.",
    THIN_RING,
    ROOM,
    Estimate(what="mixture", cylinder=0, side="lean", near=False),
)
def whole_lean() -> Worded:
    return Want(what="fuel", place="all", side="richer")


@want.rule(
    "The whole engine is rich: less fuel all round.",
    "engine-builder magazine, 2023: a ring too wide is rich",
    ROOM,
    Estimate(what="mixture", cylinder=0, side="rich", near=False),
)
def whole_rich() -> Worded:
    return Want(what="fuel", place="all", side="leaner")


@want.rule(
    "The cylinders that this station feeds stand lean of the rest.",
    COMMON,
    ROOM,
    Solved(what="station", place=MATCH.place, side="lean", near=False),
)
def corner_lean(place: str) -> Worded:
    return Want(what="fuel", place=place, side="richer")


@want.rule(
    "The cylinders that this station feeds stand rich of the rest.",
    COMMON,
    ROOM,
    Solved(what="station", place=MATCH.place, side="rich", near=False),
)
def corner_rich(place: str) -> Worded:
    return Want(what="fuel", place=place, side="leaner")


@want.rule(
    "One cylinder reads lean beyond doubt, and it is the one that breaks.",
    COMMON,
    ROOM,
    Estimate(what="mixture", cylinder=MATCH.cylinder & ~L(0), side="lean", near=False, grade=L("sure") | L("likely")),
)
def cylinder_lean(cylinder: int) -> Worded:
    return Want(what="fuel", place=cylinder, side="richer")


@want.rule(
    "One cylinder reads rich beyond doubt.",
    COMMON,
    ROOM,
    Estimate(what="mixture", cylinder=MATCH.cylinder & ~L(0), side="rich", near=False, grade="sure"),
)
def cylinder_rich(cylinder: int) -> Worded:
    return Want(what="fuel", place=cylinder, side="leaner")


@choice.rule(
    "This bigger jet leaves the least torque to be lost, lean counted dearer than rich.",
    OWN_WORK,
    Picked(what="jet", place=MATCH.place, side="richer", text=MATCH.text),
    Stage(name=MATCH.stage),
)
def bigger_jet(place: str, text: str) -> Worded:
    return Change(what="jet", place=place, text=text)


@choice.rule(
    "This smaller jet leaves the least torque to be lost, and nothing stands against it.",
    OWN_WORK,
    Picked(what="jet", place=MATCH.place, side="leaner", text=MATCH.text),
    Stage(name="fuel"),
)
def smaller_jet(place: str, text: str) -> Worded:
    return Change(what="jet", place=place, text=text)


@choice.rule(
    "The size that fits best is not on hand, so the best of the shelf stands in.",
    COMMON,
    Picked(what="jet_wanted", place=MATCH.place, text=MATCH.text),
)
def size_not_on_hand(place: str, text: str) -> Worded:
    return Change(what="jet_wanted", place=place, text=text)


@choice.rule(
    "This cylinder's own injector gets more fuel.",
    OWN_WORK,
    Picked(what="fuel_trim", place=MATCH.place, side="richer", text=MATCH.text),
    Stage(name=MATCH.stage),
)
def more_fuel_trim(place: int, text: str) -> Worded:
    return Change(what="fuel_trim", place=place, text=text)


@choice.rule(
    "This cylinder's own injector gets less fuel.",
    OWN_WORK,
    Picked(what="fuel_trim", place=MATCH.place, side="leaner", text=MATCH.text),
    Stage(name="fuel"),
)
def less_fuel_trim(place: int, text: str) -> Worded:
    return Change(what="fuel_trim", place=place, text=text)
