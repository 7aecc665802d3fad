"""The whole-number choice of jets: the sizes at all stations together that lose least torque in expectation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine_rules.fuel import Ladder, flow_change_pct
from engine_rules.jet_patterns import plainest
from engine_rules.jet_search import JetProblem, Link, best_sizes
from engine_rules.logbook import Engine
from engine_rules.losses import TIE_PCT, MixtureLoss, mixture_loss
from engine_rules.targets import Targets

Array = NDArray[np.float64]


_SIDE_OF = {"L": 1, "R": -1}


@dataclass(frozen=True, slots=True)
class StationLimits:
    """How many sizes a station may move: from lowest_sizes (negative is leaner) to highest_sizes."""

    lowest_sizes: int
    highest_sizes: int


@dataclass(frozen=True, slots=True)
class JetChoice:
    """What to fit. jets, flow_pct: every station -> label of the jet, and change of its flow in percent.

    mixture_shift_pct: what it does to each cylinder, in the order of the engine. expected_loss: what was minimised, per
    cylinder, in percent of torque with lean counted dearer. wanted: station -> the label that fits best with all sizes
    of the ladder at hand, where that is another one.
    """

    jets: Mapping[str, str]
    flow_pct: Mapping[str, float]
    mixture_shift_pct: tuple[float, ...]
    expected_loss: float
    wanted: Mapping[str, str]


def choose_jets(
    engine: Engine,
    ladder: Ladder,
    current: Mapping[str, str],
    mean_pct: ArrayLike,
    sd_pct: ArrayLike,
    targets: Targets,
    limits: Mapping[str, StationLimits],
) -> JetChoice:
    """The sizes on hand that lose least, within the caps of the targets and the limits of each station.

    current: station -> label. mean_pct, sd_pct: mixture of each cylinder against target, positive rich. Exact, and by
    the loss being convex, a cylinder found leaner never gets less fuel for it. A station whose limits no size on hand
    meets goes as far toward them as its sizes reach. Raises ValueError for a station without a jet, or one off the
    ladder.
    """
    names = tuple(station.name for station in engine.stations)
    loss = mixture_loss(mean_pct, sd_pct, targets)
    shelf = _Shelf.of(engine, ladder, current, targets, limits)
    if not names:
        return JetChoice({}, {}, (0.0,) * len(engine.cylinders), float(loss.at(np.zeros(1)).mean()), {})
    chosen = shelf.solved(loss, shelf.on_hand)
    ideal = chosen if shelf.on_hand == shelf.allowed else shelf.solved(loss, shelf.allowed)
    flow, shift = shelf.flow_pct(chosen), shelf.shares @ shelf.flow_pct(chosen)
    spared = loss.at(shift).sum() - loss.at(shelf.shares @ shelf.flow_pct(ideal)).sum()
    within = all(size in sizes for size, sizes in zip(chosen, shelf.allowed, strict=True))
    as_good = within and spared <= TIE_PCT
    return JetChoice(
        jets={
            name: current[name] if size == now else ladder.sizes[size].label
            for name, size, now in zip(names, chosen, shelf.now, strict=True)
        },
        flow_pct=dict(zip(names, map(float, flow), strict=True)),
        mixture_shift_pct=tuple(map(float, shift)),
        expected_loss=float(loss.at(shift).mean()),
        wanted={
            name: ladder.sizes[want].label
            for name, want, size in zip(names, ideal, chosen, strict=True)
            if want != size and not as_good
        },
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Shelf:
    """The stations with their jets, by position on the ladder. shares: N x K; enrichment_in2, now: by station."""

    ladder: Ladder
    shares: Array
    enrichment_in2: tuple[float, ...]
    now: tuple[int, ...]
    allowed: tuple[tuple[int, ...], ...]
    on_hand: tuple[tuple[int, ...], ...]
    sides: tuple[tuple[int, int], ...]
    ends: tuple[str, ...]
    side_of: tuple[int, ...]
    targets: Targets

    @staticmethod
    def of(
        engine: Engine,
        ladder: Ladder,
        current: Mapping[str, str],
        targets: Targets,
        limits: Mapping[str, StationLimits],
    ) -> _Shelf:
        for station in engine.stations:
            if station.name not in current:
                raise ValueError(f"station {station.name} has no jet; write which one is fitted")
        now = tuple(ladder.steps_between(ladder.smallest.label, current[one.name]) for one in engine.stations)
        allowed = tuple(
            _allowed_sizes(ladder, at, targets, limits.get(station.name))
            for at, station in zip(now, engine.stations, strict=True)
        )
        return _Shelf(
            ladder=ladder,
            shares=np.array(
                [[place.shares.get(one.name, 0.0) for one in engine.stations] for place in engine.cylinders]
            ),
            enrichment_in2=tuple(engine.enrichment_area_in2.get(one.end, 0.0) for one in engine.stations),
            now=now,
            allowed=allowed,
            on_hand=tuple(_on_hand(ladder, at, sizes) for at, sizes in zip(now, allowed, strict=True)),
            sides=tuple(_sides(engine)),
            ends=tuple(station.end for station in engine.stations),
            side_of=tuple(_SIDE_OF.get(station.side, 0) for station in engine.stations),
            targets=targets,
        )

    def change_pct(self, station: int, size: int) -> float:
        """Change of one station's flow with that size."""
        sizes = self.ladder.sizes
        return flow_change_pct(sizes[self.now[station]].bore_in, sizes[size].bore_in, self.enrichment_in2[station])

    def flow_pct(self, chosen: tuple[int, ...]) -> Array:
        """Change of every station's flow."""
        return np.array([self.change_pct(station, size) for station, size in enumerate(chosen)])

    def solved(self, loss: MixtureLoss, sizes: tuple[tuple[int, ...], ...]) -> tuple[int, ...]:
        """The best of these sizes at every station; stations that share nothing are solved apart."""
        chosen = list(self.now)
        links = [self.link(first, second, sizes) for first, second in self.sides]
        for stations in _hanging_together(self.shares, self.sides):
            problem = self.problem(loss, sizes, stations, links)
            # Links forced apart one by one may still not go together; the caps and limits of each station come first.
            best = best_sizes(problem) or best_sizes(replace(problem, links=()))
            if best is not None:
                best = plainest(problem, best, [self.ends[station] for station in stations], self.targets)
            for station, size in zip(stations, best or (), strict=True):
                chosen[station] = size
        return tuple(chosen)

    def problem(
        self, loss: MixtureLoss, sizes: tuple[tuple[int, ...], ...], stations: list[int], links: list[Link]
    ) -> JetProblem:
        """The choice at stations that share nothing with the others."""
        cylinders = np.flatnonzero(self.shares[:, stations].any(axis=1))
        at = {station: place for place, station in enumerate(stations)}
        return JetProblem(
            loss=loss.of(cylinders),
            shares=self.shares[np.ix_(cylinders, np.array(stations))],
            sizes=tuple(np.array(sizes[station]) for station in stations),
            flows_pct=tuple(
                np.array([self.change_pct(station, size) for size in sizes[station]]) for station in stations
            ),
            now=tuple(self.now[station] for station in stations),
            links=tuple(
                Link(at[one.first], at[one.second], one.lowest, one.highest) for one in links if one.first in at
            ),
            sides=tuple(self.side_of[station] for station in stations),
        )

    def link(self, left: int, right: int, sizes: tuple[tuple[int, ...], ...]) -> Link:
        """The stagger allowed: the cap, or more where there is more already or the sizes to choose from force it."""
        now = self.now[left] - self.now[right]
        stagger = int(self.targets["cap.stagger_sizes"])
        lowest, highest = min(-stagger, now), max(stagger, now)
        apart = {a - b for a in sizes[left] for b in sizes[right]}
        nearest = min(apart, key=lambda one: max(one - highest, lowest - one, 0))
        return Link(left, right, min(lowest, nearest), max(highest, nearest))


def _allowed_sizes(ladder: Ladder, now: int, targets: Targets, limits: StationLimits | None) -> tuple[int, ...]:
    """Positions on the ladder within caps and limits; where they leave none, the nearest, the richer limit first."""
    leanest, richest = -int(targets["cap.jet_leaner_sizes"]), int(targets["cap.jet_richer_sizes"])
    lowest, highest = (leanest, richest) if limits is None else (limits.lowest_sizes, limits.highest_sizes)
    lowest = min(max(lowest, leanest), richest)
    highest = max(min(highest, richest), lowest)
    last = len(ladder) - 1
    return tuple(range(min(max(now + lowest, 0), last), min(max(now + highest, 0), last) + 1))


def _on_hand(ladder: Ladder, now: int, allowed: tuple[int, ...]) -> tuple[int, ...]:
    """Those of the allowed that the racer has; where there are none, the one from now toward them that is nearest."""
    have = [size for size in allowed if size == now or ladder.sizes[size].on_hand]
    if have:
        return tuple(have)
    if now < allowed[0]:
        return (max(size for size in range(now, allowed[0]) if size == now or ladder.sizes[size].on_hand),)
    return (min(size for size in range(allowed[-1] + 1, now + 1) if size == now or ladder.sizes[size].on_hand),)


def _sides(engine: Engine) -> Iterator[tuple[int, int]]:
    """Left and right of each end, by position."""
    for left, one in enumerate(engine.stations):
        for right, other in enumerate(engine.stations):
            if one.end and one.end == other.end and (one.side, other.side) == ("L", "R"):
                yield left, right


def _hanging_together(shares: Array, sides: tuple[tuple[int, int], ...]) -> list[list[int]]:
    """Stations in sets that share no cylinder and no end with one another."""
    sets: list[set[int]] = [{station} for station in range(shares.shape[1])]
    bonds = [set(map(int, np.flatnonzero(row))) for row in shares] + [set(pair) for pair in sides]
    for bond in bonds:
        joined = [one for one in sets if one & bond]
        if len(joined) > 1:
            sets = [one for one in sets if not one & bond] + [set().union(*joined)]
    return [sorted(one) for one in sorted(sets, key=min)]
