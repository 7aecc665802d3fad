"""The facts that the rules match and conclude. Each can say itself in words; input facts carry their cell."""

from __future__ import annotations

from engine_rules.inference import Fact


def place_words(cylinder: object) -> str:
    """'cylinder 3', or 'the engine' where no cylinder is meant."""
    return f"cylinder {cylinder}" if cylinder else "the engine"


class Worded(Fact):  # type: ignore[misc]
    """A fact that can say itself. `text` and `cell` are given for what was read; conclusions word themselves."""

    def words(self) -> str:
        """The fact as a reader of the trace sees it."""
        return str(self["text"])


class Phase(Worded):
    """name: the part of the work that is being reasoned: see rulebook.PHASES."""

    def words(self) -> str:
        return f"work in hand: {self['name']}"


# -- what was read


class Setup(Worded):
    """A setting of the engine: what, value."""


class Said(Worded):
    """Something logged of the whole run: what, value (a word or a yes/no)."""


class Seen(Worded):
    """Something on one plug or probe: cylinder, what, grade (the word, or how it stands to its target)."""


class Solved(Worded):
    """The estimate of one cylinder (0: the whole engine): what ('mixture', 'timing'), side, grade, near."""


class Taught(Worded):
    """What the log taught of this engine: what ('gain', 'share'; 'odd run', 'nothing' of runs that teach nothing)."""


class Compared(Worded):
    """How a reading stands to the reference set: cylinder, what, side."""


class Changed(Worded):
    """What was changed since the run before: what ('jets', 'timing', 'trims', 'plugs')."""


class Outcome(Worded):
    """What the change that led to this tune-up did: verdict and back (see ledger.LedgerLine), changed, before."""


class Picked(Worded):
    """What the choice came out with: what ('jet', 'total', 'trim', 'fuel_trim', 'plug', 'tip'), place, side, full."""


# -- what rules conclude


class Unfit(Worded):
    """The set is not fit to tune from: reason."""

    def words(self) -> str:
        return f"not fit to tune from: {self['reason']}"


class Weaker(Worded):
    """Readings of this run count with a wider spread: reason."""

    def words(self) -> str:
        return f"the readings count for less: {self['reason']}"


class LeaveOut(Worded):
    """A reading that says nothing here: cylinder, what, reason."""

    def words(self) -> str:
        return f"{place_words(self['cylinder'])}: {self['what'].replace('_', ' ')} left out, {self['reason']}"


class Estimate(Worded):
    """Error against target: cylinder (0: the whole engine), what, side, grade, near (within the settled band)."""


class Alarm(Worded):
    """Something that may hurt the engine: cylinder (0: all), kind, level ('stop', 'back off', 'mind')."""

    def words(self) -> str:
        return f"{place_words(self['cylinder'])}: {self['kind']}: {self['level']}"


class Warn(Worded):
    """A caution to print: cylinder (0: all), level, text."""

    def words(self) -> str:
        return f"caution, {place_words(self['cylinder'])}: {self['text']}"


class Hold(Worded):
    """A direction that is closed: what ('leaner', 'advance', 'hotter', 'projection'), cylinder (0: all)."""

    def words(self) -> str:
        return f"{place_words(self['cylinder'])}: {HOLDS[self['what']]}"


HOLDS = {
    "leaner": "no leaner jet",
    "advance": "no more timing",
    "hotter": "no hotter plug",
    "projection": "no further projecting tip",
}


class Need(Worded):
    """A step that safety asks for: what ('retard', 'richer', 'colder'), cylinder (0: all), by (key of a target)."""

    def words(self) -> str:
        return f"{place_words(self['cylinder'])}: {NEEDS[self['what']]}"


NEEDS = {"retard": "take timing out", "richer": "give it fuel", "colder": "a colder plug"}


class Stage(Worded):
    """The stage of the work that this run stands at: name."""

    def words(self) -> str:
        return f"the work in hand is: {self['name']}"


class Want(Worded):
    """A direction to go: what ('fuel', 'timing', 'timing_now', 'trim', 'heat', 'tip'), place, side."""

    def words(self) -> str:
        place = {"all": "the whole engine"}.get(str(self["place"]), str(self["place"]))
        return f"{place}: {self['side']}"


class Change(Worded):
    """A change advised: what, place, text."""

    def words(self) -> str:
        return str(self["text"])


class Ask(Worded):
    """Something to fill in or to look at: text, and its cell where there is one."""

    def words(self) -> str:
        return f"to find out: {self['text']}"


class LogNext(Worded):
    """Something to write down after the next run: text."""

    def words(self) -> str:
        return f"write down next time: {self['text']}"


class Remark(Worded):
    """A finding that changes nothing by itself: cylinder (0: all), text."""

    def words(self) -> str:
        return f"{place_words(self['cylinder'])}: {self['text']}"
