"""Timing of the whole engine."""

from engine_rules.facts import Change, Estimate, Need, Picked, Remark, Said, Seen, Solved, Stage, Want, Worded
from engine_rules.inference import MATCH, NOT, L
from engine_rules.rulebook import COMMON, Decision

want = Decision("spark", phase="want")
choice = Decision("spark", phase="choice")

MARKS = "ignition shop and parts seller articles: mark at the bend; two published pages against one on its direction"
FLAT = "single-zone Wiebe model: torque is flat near best timing, pressure grows 2.4 % a degree"
ROOM = Solved(what="timing_step", near=False)


@want.rule(
    "The marks have gone too far along the straps: take timing out.",
    MARKS,
    ROOM,
    Estimate(what="timing", cylinder=0, side="advanced", near=False),
)
def whole_advanced() -> Worded:
    return Want(what="timing", place="all", side="later")


@want.rule(
    "The marks stop short: there is timing left to find.",
    MARKS,
    ROOM,
    Estimate(what="timing", cylinder=0, side="retarded", near=False),
    NOT(Said(what="knock_before", value=L("near") | L("at the limit"))),
    NOT(Seen(what="centre_wire", grade=L("softening") | L("rounded"))),
    NOT(Said(what="edges_before")),
)
def whole_retarded() -> Worded:
    return Want(what="timing", place="all", side="earlier")


@want.rule(
    "Leaner runs hotter: where the marks have gone far, timing comes out in the same step that leans.",
    COMMON,
    Said(what="marks", value="far"),
    Estimate(what="timing", cylinder=0, side="advanced", near=False),
)
def far_marks_do_not_wait() -> Worded:
    return Want(what="timing_now", place="all", side="later")


@want.rule(
    "Soft edges stand in the way of leaning, so a degree comes out first.",
    "motorcycle magazine, 2012: edges soften near the limit; the step is common practice",
    Seen(what="centre_wire", grade=L("softening") | L("rounded"), cylinder=MATCH.cylinder),
    Want(what="fuel", side="leaner"),
)
def soft_edges_before_leaning(cylinder: int) -> Worded:
    return Need(what="retard", cylinder=cylinder, by="safety.edges_retard_deg")


@want.rule(
    "One cylinder is over-advanced beyond doubt, and it sets the limit for all.",
    "staggered-timing article: the worst cylinder limits total timing",
    ROOM,
    Estimate(what="timing", cylinder=MATCH.cylinder, side="advanced", near=False, grade="sure"),
)
def worst_cylinder(cylinder: int) -> Worded:
    return Want(what="timing", place=cylinder or "all", side="later")


@want.rule(
    "Hot pipe and cool plug together is late spark.",
    "Canter, article: exhaust temperature rises with retard while the plug cools",
    Seen(what="egt", grade="hot", cylinder=MATCH.cylinder),
    Seen(what="strap_mark", grade="short", cylinder=MATCH.cylinder),
)
def hot_pipe_cool_plug(cylinder: int) -> Worded:
    return Remark(cylinder=cylinder, text="hot pipe with a short mark: late spark rather than lean")


@want.rule(
    "Hot pipe and hot plug together is lean.",
    "Canter, article on exhaust temperature and plugs",
    Seen(what="egt", grade="hot", cylinder=MATCH.cylinder),
    Seen(what="strap_mark", grade="hot", cylinder=MATCH.cylinder),
)
def hot_pipe_hot_plug(cylinder: int) -> Worded:
    return Remark(cylinder=cylinder, text="hot pipe with a long mark: lean rather than late")


@want.rule(
    "Sharp edges on the centre wire say that there is room, but they weigh little.",
    "motorcycle magazine, 2012: edges soften near the limit",
    Seen(what="centre_wire", grade="sharp", cylinder=MATCH.cylinder),
)
def sharp_edges(cylinder: int) -> Worded:
    return Remark(cylinder=cylinder, text="sharp edges: room in timing, a secondary sign")


@choice.rule(
    "Later timing costs little torque and takes much heat and pressure out.",
    FLAT,
    Picked(what="total", side="later", text=MATCH.text),
    Stage(name=MATCH.stage),
)
def total_later(text: str) -> Worded:
    return Change(what="total", place="all", text=text)


@choice.rule(
    "A little more timing, since marks and specks allow it.",
    FLAT,
    Picked(what="total", side="earlier", text=MATCH.text),
    Stage(name=L("timing") | L("fuel")),
)
def total_earlier(text: str) -> Worded:
    return Change(what="total", place="all", text=text)
