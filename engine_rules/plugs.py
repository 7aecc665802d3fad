"""Plugs: the shelf from hot to cold, the tip, and how tight a plug goes into the head.

Heat order is the racer's own count, higher is colder: makers number in opposite directions, and no scale fits all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from engine_rules.labels import label_key

# From the most exposed to the flame to the least.
TIPS = ("projected", "regular", "retracted")

NM_PER_LBFT = 1.3558179


@dataclass(frozen=True, slots=True)
class Plug:
    """One plug of the shelf. heat_order: higher is colder. tip: one of TIPS."""

    label: str
    heat_order: float
    tip: str = "regular"
    on_hand: bool = True

    def __post_init__(self) -> None:
        label_key(self.label)
        if self.tip not in TIPS:
            raise ValueError(f"tip {self.tip!r} of plug {self.label} is not known; use one of {', '.join(TIPS)}")

    @property
    def exposure(self) -> int:
        """How far the tip stands into the flame: 2 projected, 1 regular, 0 retracted."""
        return len(TIPS) - 1 - TIPS.index(self.tip)


@dataclass(frozen=True, slots=True)
class PlugStep:
    """Where a step on the shelf leads.

    wanted: the plug asked for, on hand or not. at_hand: the nearest plug of those on hand, None where none will do.
    colder_steps: rungs from the old plug to `wanted`, fewer than asked for at the end of the shelf; negative is hotter.
    """

    wanted: Plug
    at_hand: Plug | None
    colder_steps: int

    @property
    def wanted_is_on_hand(self) -> bool:
        """True where the plug asked for lies on the shelf."""
        return self.wanted.on_hand


@dataclass(frozen=True, slots=True)
class PlugShelf:
    """The plugs that fit the engine, hot to cold; plugs of one heat order stand on one rung.

    Raises ValueError for an empty shelf or one label given twice.
    """

    plugs: tuple[Plug, ...]
    _by_key: Mapping[str, Plug] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        ordered = tuple(sorted(self.plugs, key=lambda plug: (plug.heat_order, -plug.exposure)))
        if not ordered:
            raise ValueError("there is no plug on the shelf; list each with its heat order")
        by_key: dict[str, Plug] = {}
        for plug in ordered:
            if by_key.setdefault(label_key(plug.label), plug) is not plug:
                raise ValueError(f"plug {plug.label} stands on the shelf twice; keep one")
        object.__setattr__(self, "plugs", ordered)
        object.__setattr__(self, "_by_key", by_key)

    def __len__(self) -> int:
        return len(self.plugs)

    def __contains__(self, label: str | float) -> bool:
        return label_key(label) in self._by_key

    @property
    def hottest(self) -> Plug:
        """The first of the hottest rung."""
        return self.plugs[0]

    @property
    def coldest(self) -> Plug:
        """The last of the coldest rung."""
        return self.plugs[-1]

    def plug(self, label: str | float) -> Plug:
        """The plug of that label. Raises ValueError when the shelf lacks it."""
        key = label_key(label)
        if key not in self._by_key:
            raise ValueError(f"plug {label} is not on the shelf; add it with its heat order, or correct the label")
        return self._by_key[key]

    def rung(self, plug: Plug) -> int:
        """How many heat orders of the shelf are hotter than this plug."""
        return len({other.heat_order for other in self.plugs if other.heat_order < plug.heat_order})

    def step(self, label: str | float, colder_steps: int) -> PlugStep | None:
        """The plug that many rungs colder, or hotter when negative: the same tip where the rung has it.

        Never a more projected tip. Where a rung has no plug that will do, or the shelf ends: when going colder the next
        colder rung, else the coldest; when going hotter fewer rungs, never more. None where nothing will do.
        Raises ValueError for a label that the shelf lacks or for no step at all.
        """
        if colder_steps == 0:
            raise ValueError("a step of no rungs leads nowhere; ask for at least one colder or hotter")
        old = self.plug(label)
        goal = self.rung(old) + colder_steps
        fitting = [plug for plug in self.plugs if plug.exposure <= old.exposure]
        if colder_steps > 0:
            fitting = [plug for plug in fitting if plug.heat_order > old.heat_order]
        else:
            fitting = [plug for plug in fitting if plug.heat_order < old.heat_order and self.rung(plug) >= goal]

        def distance(plug: Plug) -> tuple[bool, int, int]:
            # Too cold fouls a plug, too hot melts a piston: past the goal beats short of it when going colder.
            rung = self.rung(plug)
            return rung < goal, abs(rung - goal), old.exposure - plug.exposure

        wanted = min(fitting, key=distance, default=None)
        if wanted is None:
            return None
        at_hand = min((plug for plug in fitting if plug.on_hand), key=distance, default=None)
        return PlugStep(wanted, at_hand, self.rung(wanted) - self.rung(old))

    def with_tip(self, label: str | float, tip: str) -> Plug | None:
        """The plug of the same heat order with another tip, one on hand if any; None where the shelf lacks it."""
        if tip not in TIPS:
            raise ValueError(f"tip {tip!r} is not known; use one of {', '.join(TIPS)}")
        old = self.plug(label)
        same = [plug for plug in self.plugs if plug.heat_order == old.heat_order and plug.tip == tip]
        return min(same, key=lambda plug: not plug.on_hand, default=None)


@dataclass(frozen=True, slots=True)
class TighteningTorque:
    """Two published ranges for one kind of plug and head, in lb-ft on dry clean threads; None where one is silent.

    Sources: `maker`, a plug maker's installation page; `extension`, a university extension table of 2006. The engine
    maker's own value stands above both; anti-seize wants 20 to 30 % less (a general repair article).
    """

    seat: str
    thread_mm: int
    head: str
    maker_lbft: tuple[float, float]
    extension_lbft: tuple[float, float] | None

    @property
    def overlap_lbft(self) -> tuple[float, float] | None:
        """What both sources allow; None where they disagree or one is silent."""
        if self.extension_lbft is None:
            return None
        low = max(self.maker_lbft[0], self.extension_lbft[0])
        high = min(self.maker_lbft[1], self.extension_lbft[1])
        return (low, high) if low <= high else None

    @property
    def overlap_nm(self) -> tuple[float, float] | None:
        """The same in newton metres."""
        overlap = self.overlap_lbft
        return overlap and (overlap[0] * NM_PER_LBFT, overlap[1] * NM_PER_LBFT)


TIGHTENING_TORQUES = (
    TighteningTorque("gasket", 18, "iron", (25.3, 32.5), (32.0, 38.0)),
    TighteningTorque("gasket", 18, "aluminium", (25.3, 32.5), (28.0, 34.0)),
    TighteningTorque("gasket", 14, "iron", (18.0, 25.3), (26.0, 29.0)),
    TighteningTorque("gasket", 14, "aluminium", (18.0, 21.6), (15.0, 22.0)),
    TighteningTorque("gasket", 12, "iron", (10.8, 18.0), (11.0, 19.0)),
    TighteningTorque("gasket", 12, "aluminium", (10.8, 14.5), (11.0, 19.0)),
    TighteningTorque("gasket", 10, "iron", (7.2, 10.8), (7.0, 11.0)),
    TighteningTorque("gasket", 10, "aluminium", (7.2, 8.7), (7.0, 11.0)),
    TighteningTorque("gasket", 8, "aluminium", (5.8, 7.2), None),
    TighteningTorque("taper", 18, "iron", (14.5, 21.6), (15.0, 20.0)),
    TighteningTorque("taper", 18, "aluminium", (14.5, 21.6), (15.0, 20.0)),
    TighteningTorque("taper", 14, "iron", (10.8, 18.0), (7.0, 15.0)),
    TighteningTorque("taper", 14, "aluminium", (7.2, 14.5), (7.0, 15.0)),
)


def tightening_torque(seat: str, thread_mm: int, head: str) -> TighteningTorque:
    """The published torques for a seat ('gasket', 'taper'), thread and head ('iron', 'aluminium').

    Raises ValueError for a kind that the tables lack.
    """
    for torque in TIGHTENING_TORQUES:
        if (torque.seat, torque.thread_mm, torque.head) == (seat, thread_mm, head):
            return torque
    raise ValueError(f"no torque is published here for a {thread_mm} mm {seat} plug in a head of {head}")
