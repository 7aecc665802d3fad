"""Plug heat range and tip: hotter until the porcelain starts to boil, then back by what the run length asks."""

from engine_rules.facts import (
    Change,
    Estimate,
    Hold,
    LeaveOut,
    Need,
    Picked,
    Remark,
    Said,
    Seen,
    Setup,
    Unfit,
    Want,
    Worded,
)
from engine_rules.inference import MATCH, NOT, L
from engine_rules.rulebook import COMMON, Decision

want = Decision("heat", phase="want")
choice = Decision("heat", phase="choice")

THREADS = "trade articles read heat range on the threads; the count is common practice, no source"
COLDER, HOTTER = Said(what="shelf_has", value="colder"), Said(what="shelf_has", value="hotter")
OPEN = NOT(Hold(what="hotter"))
FIT = NOT(Unfit())
READ = Seen(what="threads", cylinder=MATCH.cylinder)
COUNTED = NOT(LeaveOut(what="threads", cylinder=MATCH.cylinder))


@want.rule(
    "Overheated porcelain asks for a colder set before the next pull.",
    COMMON,
    Need(what="colder", cylinder=MATCH.cylinder),
)
def colder_for_safety() -> Worded:
    return Want(what="heat", place="all", side="colder")


@want.rule(
    "Colour down the threads: the plugs run hot.",
    THREADS,
    Seen(what="threads", grade="hot", cylinder=MATCH.cylinder),
    COLDER,
    COUNTED,
    FIT,
)
def threads_hot() -> Worded:
    return Want(what="heat", place="all", side="colder")


@want.rule(
    "No colour on the threads of most plugs, no hot one among them and clean porcelain: the set runs cold.",
    THREADS,
    Said(what="threads", value="cold"),
    Seen(what="threads", grade="cold", cylinder=MATCH.cylinder),
    HOTTER,
    COUNTED,
    Said(what="boiling", value="none"),
    Said(what="specks_read", value="all"),
    OPEN,
    FIT,
)
def threads_cold() -> Worded:
    return Want(what="heat", place="all", side="hotter")


@want.rule(
    "The porcelain began to boil on an earlier, hotter set: stay back from it by what the run length asks.",
    COMMON,
    Said(what="boil_found", value="too near"),
    COLDER,
    FIT,
)
def back_from_boiling() -> Worded:
    return Want(what="heat", place="all", side="colder")


@want.rule(
    "Boiling was found and this set stands back from it: the heat range is settled.",
    COMMON,
    Said(what="boil_found", value="back enough"),
    FIT,
)
def boil_margin_kept() -> Worded:
    return Remark(cylinder=0, text="the plugs stand back from boiling by what this run length asks")


@want.rule(
    "Soot on the porcelain with the mixture right is a plug too cold, not a jet too big.",
    "plug maker's manual: below its self-cleaning heat a plug fouls",
    Seen(what="porcelain", grade="sooty", cylinder=MATCH.cylinder),
    HOTTER,
    Estimate(what="mixture", cylinder=0, near=True),
    Said(what="boiling", value="none"),
    Said(what="specks_read", value="all"),
    OPEN,
    FIT,
)
def sooty_but_right() -> Worded:
    return Want(what="heat", place="all", side="hotter")


@want.rule(
    "Threads were not read, so the heat range is judged by porcelain alone.",
    COMMON,
    Said(what="readings"),
    NOT(Seen(what="threads")),
    FIT,
)
def threads_unread() -> Worded:
    return Remark(cylinder=0, text="threads were not read: a colder set is safe, a hotter one is not advised")


@want.rule(
    "Long pulls want a tip that does not reach into the fire when it already overheats.",
    COMMON,
    Setup(what="run_length", value=L("long") | L("endurance")),
    Need(what="colder", cylinder=MATCH.cylinder),
    Seen(what="tip", grade="projected", cylinder=MATCH.cylinder),
)
def regular_tip_for_long_pulls(cylinder: int) -> Worded:
    return Want(what="tip", place=cylinder, side="regular")


@want.rule(
    "A boosted or endurance engine on a projected tip is watched for heat.",
    COMMON,
    Setup(what="run_length", value="endurance"),
    Seen(what="tip", grade="projected", cylinder=MATCH.cylinder),
)
def projected_on_endurance(cylinder: int) -> Worded:
    return Remark(cylinder=cylinder, text="a projected tip under sustained load: watch its porcelain")


@choice.rule(
    "A colder set fouls at worst; a hot one holes pistons.",
    "newspaper column, 2005: fouling against a piston",
    Picked(what="plug", side="colder", text=MATCH.text),
)
def colder_set(text: str) -> Worded:
    return Change(what="plug", place="all", text=text)


@choice.rule(
    "One step hotter, all cylinders alike, and look for the first boil.",
    COMMON,
    Picked(what="plug", side="hotter", text=MATCH.text),
    OPEN,
)
def hotter_set(text: str) -> Worded:
    return Change(what="plug", place="all", text=text)


@choice.rule("The plug that is wanted is not on the shelf.", COMMON, Picked(what="plug_wanted", text=MATCH.text))
def plug_not_on_hand(text: str) -> Worded:
    return Change(what="plug_wanted", place="all", text=text)


@choice.rule("The tip comes back out of the fire.", COMMON, Picked(what="tip", text=MATCH.text))
def tip_back(text: str) -> Worded:
    return Change(what="tip", place="all", text=text)
