"""How this set stands to the reference set."""

from collections.abc import Iterable

from engine_rules.facts import Compared, LogNext, Remark, Said, Worded
from engine_rules.inference import MATCH, L
from engine_rules.rulebook import COMMON, Decision

look = Decision("reference", phase="look back")

KEEP = "plug-reading articles: compare with the best set of the same engine, same plugs"


def _remark(text: str, cylinder: int) -> Worded:
    return Remark(cylinder=cylinder, text=text)


@look.rule(
    "The ring is wider than the reference's: richer than that day.",
    KEEP,
    Compared(what="ring", side="more", cylinder=MATCH.cylinder),
)
def ring_wider(cylinder: int) -> Worded:
    return _remark("richer than the reference set, by its ring", cylinder)


@look.rule(
    "The ring is narrower than the reference's: leaner than that day.",
    KEEP,
    Compared(what="ring", side="less", cylinder=MATCH.cylinder),
)
def ring_narrower(cylinder: int) -> Worded:
    return _remark("leaner than the reference set, by its ring", cylinder)


@look.rule(
    "The mark has gone further than the reference's: more heat than that day.",
    KEEP,
    Compared(what="strap_mark", side="more", cylinder=MATCH.cylinder),
)
def mark_further(cylinder: int) -> Worded:
    return _remark("hotter than the reference set, by its strap", cylinder)


@look.rule(
    "The mark stops short of the reference's: less heat than that day.",
    KEEP,
    Compared(what="strap_mark", side="less", cylinder=MATCH.cylinder),
)
def mark_shorter(cylinder: int) -> Worded:
    return _remark("cooler than the reference set, by its strap", cylinder)


@look.rule(
    "The pipe is hotter against the others than it was that day.",
    "exhaust temperature is read against its own baseline: trade articles",
    Compared(what="egt", side="more", cylinder=MATCH.cylinder),
)
def pipe_hotter(cylinder: int) -> Worded:
    return _remark("its pipe is hotter against the others than on the reference day", cylinder)


@look.rule(
    "The pipe is colder against the others than it was that day.",
    "exhaust temperature is read against its own baseline: trade articles",
    Compared(what="egt", side="less", cylinder=MATCH.cylinder),
)
def pipe_colder(cylinder: int) -> Worded:
    return _remark("its pipe is colder against the others than on the reference day", cylinder)


@look.rule(
    "Marks on other plugs cannot be compared with the reference's.",
    "hobby article: stay with one make of plug",
    Said(what="reference", value="other plugs", text=MATCH.text),
)
def other_plugs(text: str) -> Worded:
    return _remark(f"not compared: {text}", 0)


@look.rule(
    "A set of other hardware, of another kind of pull, at its limit of heat or not fit, is no measure for today's.",
    KEEP,
    Said(what="reference", value=L("other hardware") | L("other pull") | L("too hot") | L("unfit"), text=MATCH.text),
)
def refused(text: str) -> Worded:
    return _remark(f"not compared: {text}", 0)


@look.rule(
    "Today's set is judged against the nearest reference set, cylinder by cylinder.",
    KEEP,
    Said(what="reference", value="used", text=MATCH.text),
)
def used(text: str) -> Worded:
    return _remark(text, 0)


@look.rule(
    "None is marked, so the best settled run stands in for the reference; mark it if it was a good one.",
    COMMON,
    Said(what="reference", value="proposed", text=MATCH.text),
)
def proposed(text: str) -> Iterable[Worded]:
    return (_remark(text, 0), LogNext(text="which run is the reference (yes in its column)"))


@look.rule(
    "No run is marked Reference yet; the first settled one is worth marking.",
    COMMON,
    Said(what="reference", value="none"),
)
def no_reference() -> Worded:
    return _remark("no reference set before this run", 0)


@look.rule(
    "The air is far from the reference's: make a run to check before you trust its jets.",
    COMMON,
    Said(what="reference_air", value="far"),
)
def other_air() -> Worded:
    return _remark("the air is far from the reference day's", 0)
