"""The spread between cylinders: timing of each, as far as the hardware allows."""

from engine_rules.facts import Change, Estimate, Hold, Picked, Remark, Setup, Solved, Stage, Want, Worded
from engine_rules.inference import MATCH, NOT, L
from engine_rules.rulebook import COMMON, Decision

want = Decision("spread", phase="want")
choice = Decision("spread", phase="choice")

STAGGER = "staggered-timing article: steps of half a degree to a degree, 2 to 4 degrees between cylinders"
ROOM = Solved(what="trim_step", near=False)
OWN = L("sure") | L("likely")


@want.rule(
    "This cylinder stands ahead of the others in timing.",
    STAGGER,
    ROOM,
    Solved(what="own_timing", cylinder=MATCH.cylinder, side="advanced", near=False, grade=OWN),
)
def own_advanced(cylinder: int) -> Worded:
    return Want(what="trim", place=cylinder, side="later")


@want.rule(
    "This cylinder stands behind the others in timing.",
    STAGGER,
    ROOM,
    Solved(what="own_timing", cylinder=MATCH.cylinder, side="retarded", near=False, grade=OWN),
    NOT(Hold(what="advance")),
)
def own_retarded(cylinder: int) -> Worded:
    return Want(what="trim", place=cylinder, side="earlier")


@want.rule(
    "Without the hardware for it, one cylinder's timing cannot be moved alone.",
    COMMON,
    Setup(what="timing_hardware", value="none"),
    Solved(what="own_timing", cylinder=MATCH.cylinder, near=False, grade="sure"),
)
def no_hardware(cylinder: int) -> Worded:
    return Remark(cylinder=cylinder, text="its timing stands off the others, and there is no hardware to move it alone")


@want.rule(
    "The second of two neighbours that fire in turn breathes worse and sits by a hot one.",
    COMMON,
    Setup(what="fires_after_neighbour", cylinder=MATCH.cylinder),
    Estimate(what="mixture", cylinder=MATCH.cylinder, side="lean", near=False),
)
def second_neighbour(cylinder: int) -> Worded:
    return Remark(
        cylinder=cylinder,
        text="it fires right after its neighbour: such a cylinder often wants more fuel and less timing",
    )


@choice.rule(
    "This cylinder's timing comes back toward the others.",
    STAGGER,
    Picked(what="trim", place=MATCH.place, side="later", text=MATCH.text),
)
def trim_later(place: int, text: str) -> Worded:
    return Change(what="trim", place=place, text=text)


@choice.rule(
    "This cylinder's timing goes a step ahead, with nothing against it.",
    STAGGER,
    Picked(what="trim", place=MATCH.place, side="earlier", text=MATCH.text),
    Stage(name="spread"),
)
def trim_earlier(place: int, text: str) -> Worded:
    return Change(what="trim", place=place, text=text)


@choice.rule(
    "A stepped magnet moves both cylinders of its pair.",
    "firing-order arithmetic: companions stand 360 degrees apart",
    Setup(what="timing_hardware", value="paired"),
    Picked(what="trim", place=MATCH.place),
)
def pair_moves(place: int) -> Worded:
    return Remark(cylinder=place, text="its companion in the firing order moves with it")


@choice.rule(
    "Bend the tab by the measure given, and check that cylinder with a light.",
    "arc of a circle at half crank speed",
    Setup(what="timing_hardware", value="tabs"),
    Picked(what="trim", place=MATCH.place),
)
def check_with_a_light(place: int) -> Worded:
    return Remark(cylinder=place, text="check it with a timing light: which way is later goes by the rotation")
