"""What comes out of one run's reasoning: the changes, the cautions, and every firing that led to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

STAGES = ("reading", "safety", "timing", "fuel", "heat", "spread", "settled")


@dataclass(frozen=True, slots=True)
class FactLine:
    """A fact as a reader sees it, and its cell as 'Sheet!A1' where it has one."""

    text: str
    cell: str | None = None


@dataclass(frozen=True, slots=True)
class Firing:
    """One rule that fired: what it stood on, and what it concluded."""

    number: int
    rule: str
    says: str
    facts: tuple[FactLine, ...] = ()
    from_firings: tuple[int, ...] = ()
    concluded: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class OneShort:
    """A rule that lacked one fact only, with the cell to fill in."""

    rule: str
    says: str
    lacks: str
    cell: str | None = None


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning. cylinder is None for the whole engine. level: 'stop', 'back off' or 'mind'."""

    text: str
    level: str
    cylinder: int | None = None
    because: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class JetChange:
    """A jet to change at one station. `wanted` names the size that fits best where it is not on hand."""

    corner: str
    old: str
    new: str
    flow_pct: float
    wanted: str | None = None
    because: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Move:
    """A number that changes from one value to another (degrees, percent)."""

    old: float
    new: float


@dataclass(frozen=True, slots=True)
class TimingChange:
    """Total timing to set, in crank degrees before top dead centre."""

    old: float
    new: float
    because: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Swap:
    """A part exchanged for another: a plug, or a tip. `on_hand` is False where the shelf does not hold it."""

    old: str
    new: str
    on_hand: bool = True


@dataclass(frozen=True, slots=True)
class CylinderAdvice:
    """One cylinder: mixture in % fuel against target (positive is rich), timing in degrees (positive is advanced)."""

    cylinder: int
    mixture_pct: float | None = None
    mixture_sd: float | None = None
    timing_deg: float | None = None
    timing_sd: float | None = None
    trim: Move | None = None
    tab_mm: float | None = None
    fuel_trim: Move | None = None
    plug: Swap | None = None
    tip: Swap | None = None
    sure: str | None = None
    why: str = ""
    because: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class SetAside:
    """A reading left out of the estimate, and why."""

    cell: str | None
    reason: str
    cylinder: int | None = None


@dataclass(frozen=True, slots=True)
class Worth:
    """What the advice is worth in torque, percent, with its spread. Never a promise.

    result, change, change_sd: the same in the result that was logged ('power' in kW, 'speed' in m/s, 'elapsed time' in
    s); '' where there is none, or a lap, for which no law is known. noise_pct: of power, from one run of this log to
    the next with nothing changed; None where nothing was repeated.
    """

    torque_pct: float
    sd: float
    result: str = ""
    change: float = 0.0
    change_sd: float = 0.0
    noise_pct: float | None = None

    def as_json(self) -> dict[str, Any]:
        """The worth as plain JSON data."""
        own = {"result": self.result, "change": self.change, "sd": self.change_sd} if self.result else None
        return {"torque_pct": self.torque_pct, "sd": self.sd, "own": own, "noise_pct": self.noise_pct}


@dataclass(frozen=True, slots=True)
class Advice:
    """All that is said about one run."""

    run: str
    stage: str
    readable: bool
    headline: str
    jets: tuple[JetChange, ...] = ()
    timing: TimingChange | None = None
    cylinders: tuple[CylinderAdvice, ...] = ()
    cautions: tuple[Caution, ...] = ()
    worth: Worth | None = None
    missing: tuple[str, ...] = ()
    log_next: tuple[str, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    firings: tuple[Firing, ...] = ()
    one_short: tuple[OneShort, ...] = field(default=())

    @property
    def must_not_run(self) -> bool:
        """True when a caution says stop: the engine must be looked at before it runs again."""
        return any(caution.level == "stop" for caution in self.cautions)

    def cylinder(self, number: int) -> CylinderAdvice:
        """The advice for one cylinder. Raises KeyError when the engine lacks it."""
        for one in self.cylinders:
            if one.cylinder == number:
                return one
        raise KeyError(number)

    def as_json(self) -> dict[str, Any]:
        """The advice as plain JSON data, with the names of the public interface."""
        return {
            "run": self.run,
            "stage": self.stage,
            "readable": self.readable,
            "headline": self.headline,
            "jets": [_jet_json(jet) for jet in self.jets] or None,
            "timing": None
            if self.timing is None
            else {"from": self.timing.old, "to": self.timing.new, "because": list(self.timing.because)},
            "cylinders": [_cylinder_json(one) for one in self.cylinders],
            "cautions": [
                {"cylinder": one.cylinder, "level": one.level, "text": one.text, "because": list(one.because)}
                for one in self.cautions
            ],
            "worth": None if self.worth is None else self.worth.as_json(),
            "missing": list(self.missing),
            "log_next": list(self.log_next),
            "set_aside": [{"cell": one.cell, "cylinder": one.cylinder, "reason": one.reason} for one in self.set_aside],
            "firings": [_firing_json(firing) for firing in self.firings],
            "one_short": [
                {"rule": one.rule, "says": one.says, "lacks": one.lacks, "cell": one.cell} for one in self.one_short
            ],
        }


def _jet_json(jet: JetChange) -> dict[str, Any]:
    return {
        "corner": jet.corner,
        "from": jet.old,
        "to": jet.new,
        "flow_pct": jet.flow_pct,
        "wanted": jet.wanted,
        "because": list(jet.because),
    }


def _move(move: Move | None, **more: Any) -> Mapping[str, Any] | None:
    return None if move is None else {"from": move.old, "to": move.new} | more


def _swap(swap: Swap | None) -> Mapping[str, Any] | None:
    return None if swap is None else {"from": swap.old, "to": swap.new, "on_hand": swap.on_hand}


def _cylinder_json(one: CylinderAdvice) -> dict[str, Any]:
    return {
        "cylinder": one.cylinder,
        "mixture_pct": one.mixture_pct,
        "mixture_sd": one.mixture_sd,
        "timing_deg": one.timing_deg,
        "timing_sd": one.timing_sd,
        "trim": _move(one.trim, tab_mm=one.tab_mm),
        "fuel_trim": _move(one.fuel_trim),
        "plug": _swap(one.plug),
        "tip": _swap(one.tip),
        "sure": one.sure,
        "why": one.why,
        "because": list(one.because),
    }


def _firing_json(firing: Firing) -> dict[str, Any]:
    return {
        "number": firing.number,
        "rule": firing.rule,
        "says": firing.says,
        "facts": [{"text": fact.text, "cell": fact.cell} for fact in firing.facts],
        "from_firings": list(firing.from_firings),
        "concluded": list(firing.concluded),
    }
