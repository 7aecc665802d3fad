"""Branch and bound for whole sizes that share cylinders: exact, and all partial choices of one depth at once.

Stations whose best size is rounded each by itself can be far from the best whole sizes, for their errors add up on the
cylinders that they share.

The bound: the loss is convex in the sizes, so above its best point with sizes taken as real numbers it lies over the
tangent there plus a parabola of its least curvature. Of the tangent each station still open takes the least; of the
parabola only what the stations still open cannot undo counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence, Set
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from engine_rules.losses import TIE_PCT, MixtureLoss

Array = NDArray[np.float64]
Whole = NDArray[np.intp]

MOST_CHOICES = 5000  # of one group, listed whole


@dataclass(frozen=True, slots=True)
class Link:
    """Two stations, by position, whose sizes may differ (first less second) from lowest to highest."""

    first: int
    second: int
    lowest: int
    highest: int

    @property
    def stations(self) -> frozenset[int]:
        """Both."""
        return frozenset((self.first, self.second))


@dataclass(frozen=True, slots=True, eq=False)
class JetProblem:
    """Stations that hang together. shares: N x K; by station: sizes to choose from, their flow in % against now.

    sides: of each station, 1 left, -1 right, 0 neither; blank where that does not matter.
    """

    loss: MixtureLoss
    shares: Array
    sizes: tuple[Whole, ...]
    flows_pct: tuple[Array, ...]
    now: tuple[int, ...]
    links: tuple[Link, ...] = ()
    sides: tuple[int, ...] = ()

    def total_loss(self, flow_pct: Array) -> Array:
        """Loss summed over the cylinders, for rows of flows, ... x K."""
        return np.asarray(self.loss.at(flow_pct @ self.shares.T).sum(axis=-1))


def best_sizes(problem: JetProblem) -> tuple[int, ...] | None:
    """The sizes that lose least; of equals the fewest moves, then the richer, then the most even from side to side.

    None where the links forbid all.
    """
    bound = _Bound.of(problem)
    limit = _good_start(problem, bound.flow_pct) + TIE_PCT
    partial = _Partial.empty(problem)
    for depth in range(len(bound.groups)):
        partial = partial.grown(problem, bound, depth, limit)
        partial = partial.only(np.flatnonzero(bound.lower(partial, depth) <= limit))
        partial = partial.without_doubles(problem, _stations(bound.groups[: depth + 1]))
    return _best_of(problem, bound, partial)


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Stations that feed all cylinders in the same way, so that only the sum of their flows counts.

    C choices, by rising sum: picks, C x stations, positions in a station's sizes; flow_pct, the sum; moves, how many
    stations change.
    """

    stations: tuple[int, ...]
    picks: Whole
    flow_pct: Array
    moves: Whole

    @staticmethod
    def of(problem: JetProblem, stations: tuple[int, ...]) -> _Group:
        grid = np.indices([len(problem.sizes[station]) for station in stations])
        picks = grid.reshape(len(stations), -1).T
        flow = sum(problem.flows_pct[station][picks[:, at]] for at, station in enumerate(stations))
        moved = [problem.sizes[one][picks[:, at]] != problem.now[one] for at, one in enumerate(stations)]
        rising = np.argsort(flow, kind="stable")
        return _Group(stations, picks[rising], np.asarray(flow)[rising], np.sum(moved, axis=0)[rising])


@dataclass(frozen=True, slots=True, eq=False)
class _Bound:
    """What a partial choice loses at least. groups: in the order of choosing.

    flow_pct: the best point in real numbers, by station; base: the loss there; slope: by station. open_least: for each
    depth, the least that the tangent can say of the groups still open. blocked: for each depth, the matrix that takes a
    shift of the cylinders to the part of the parabola that the groups still open cannot undo.
    """

    groups: tuple[_Group, ...]
    flow_pct: Array
    base: float
    slope: Array
    open_least: tuple[float, ...]
    blocked: tuple[Array, ...]

    @staticmethod
    def of(problem: JetProblem) -> _Bound:
        groups = tuple(_Group.of(problem, stations) for stations in _alike(problem))
        low = np.array([flows.min() for flows in problem.flows_pct])
        high = np.array([flows.max() for flows in problem.flows_pct])
        flow = _relaxed(problem, low, high)
        slope = problem.shares.T @ problem.loss.slope_and_curvature(problem.shares @ flow)[0]
        ends = [problem.loss.slope_and_curvature(problem.shares @ end)[1] for end in (low, high)]
        root = np.sqrt(np.minimum(*ends) / 2.0)
        least = [
            sum(float((slope[k] * (problem.flows_pct[k] - flow[k])).min()) for k in group.stations) for group in groups
        ]
        blocked = []
        for depth in range(len(groups)):
            spanned = root[:, None] * problem.shares[:, _stations(groups[depth + 1 :])]
            basis, strength, _ = np.linalg.svd(spanned, full_matrices=False)
            basis = basis[:, strength > 1e-9]
            blocked.append((np.eye(len(root)) - basis @ basis.T) * root)
        open_least = tuple(sum(least[depth + 1 :]) for depth in range(len(groups)))
        return _Bound(groups, flow, float(problem.total_loss(flow)), slope, open_least, tuple(blocked))

    def lower(self, partial: _Partial, depth: int) -> Array:
        """Least loss of each partial choice, M."""
        parabola = np.square(partial.shift_pct @ self.blocked[depth].T).sum(axis=1)
        return np.asarray(self.base + partial.tangent + self.open_least[depth] + parabola - 1e-12)

    def off(self, group: _Group) -> Array:
        """Flow of each choice of a group against the best point, C, rising."""
        return group.flow_pct - float(self.flow_pct[list(group.stations)].sum())


@dataclass(frozen=True, slots=True, eq=False)
class _Partial:
    """M partial choices. picks: M x K, filled for the stations chosen. shift_pct: M x N, from the best real point.

    tangent: M, what the tangent says so far. moves: M, stations changed. richness: M, flow added, summed.
    """

    picks: Whole
    shift_pct: Array
    tangent: Array
    moves: Whole
    richness: Array

    @staticmethod
    def empty(problem: JetProblem) -> _Partial:
        cylinders, stations = problem.shares.shape
        zero, none = np.zeros(1), np.zeros(1, dtype=np.intp)
        return _Partial(np.zeros((1, stations), dtype=np.intp), np.zeros((1, cylinders)), zero, none, zero)

    def only(self, rows: Whole) -> _Partial:
        """Some of the choices."""
        return _Partial(
            self.picks[rows], self.shift_pct[rows], self.tangent[rows], self.moves[rows], self.richness[rows]
        )

    def grown(self, problem: JetProblem, bound: _Bound, depth: int, limit: float) -> _Partial:
        """Each choice with each one of the next group that can stay below the limit and that the links allow."""
        group = bound.groups[depth]
        column = problem.shares[:, group.stations[0]]
        off, slope = bound.off(group), bound.slope[group.stations[0]]
        start, stop = _span(problem, bound, self, depth, limit)
        old = np.repeat(np.arange(len(start)), stop - start)
        chosen = np.arange(len(old)) - np.repeat(np.cumsum(stop - start) - stop, stop - start)
        picks = self.picks[old]
        picks[:, list(group.stations)] = group.picks[chosen]
        covered = set(_stations(bound.groups[: depth + 1]))
        kept = np.flatnonzero(_allowed(problem, picks, covered))
        old, chosen = old[kept], chosen[kept]
        return _Partial(
            picks=picks[kept],
            shift_pct=self.shift_pct[old] + np.outer(off[chosen], column),
            tangent=self.tangent[old] + slope * off[chosen],
            moves=self.moves[old] + group.moves[chosen],
            richness=self.richness[old] + group.flow_pct[chosen],
        )

    def without_doubles(self, problem: JetProblem, stations: list[int]) -> _Partial:
        """One of all choices that do the same to every cylinder and leave the same open: the one that wins a tie.

        Barrels that feed all cylinders alike would else be tried in every order. stations: those chosen so far.
        """
        if len(self.picks) < 2:
            return self
        chosen = set(stations)
        tied = {one for link in problem.links if len(chosen & link.stations) == 1 for one in chosen & link.stations}
        key = np.column_stack((np.rint(self.shift_pct * 1e8).astype(np.int64), self.picks[:, sorted(tied)]))
        # One 64-bit number stands for a row, for sorting whole rows takes several times as long.
        odd = np.random.default_rng(0).integers(2**62, size=key.shape[1], dtype=np.int64) * 2 + 1
        best_first = np.lexsort((-self.richness, self.moves))
        _, first = np.unique((key * odd).sum(axis=1)[best_first], return_index=True)
        return self.only(np.sort(best_first[first]))


def _span(problem: JetProblem, bound: _Bound, partial: _Partial, depth: int, limit: float) -> tuple[Whole, Whole]:
    """For each partial choice, from where to where the next group's can stay below the limit: a quadratic's roots."""
    group, blocked = bound.groups[depth], bound.blocked[depth]
    first, off = group.stations[0], bound.off(group)
    column = blocked @ problem.shares[:, first]
    square = float(column @ column)
    if square < 1e-12:  # the groups still open can undo whatever is chosen here
        return np.zeros(len(partial.picks), dtype=np.intp), np.full(len(partial.picks), len(off))
    half = partial.shift_pct @ (blocked.T @ column) + bound.slope[first] / 2.0
    room = np.square(half) - square * (bound.lower(partial, depth) - limit)
    reach = np.sqrt(np.maximum(room, 0.0))
    start = np.searchsorted(off, (-half - reach) / square - 1e-6)
    stop = np.searchsorted(off, (-half + reach) / square + 1e-6, side="right")
    return start, np.where(room < -1e-9, start, stop)


def _stations(groups: Sequence[_Group]) -> list[int]:
    return [station for group in groups for station in group.stations]


def _alike(problem: JetProblem) -> list[tuple[int, ...]]:
    """Stations of equal shares together, as long as their choices are not too many; linked ones next to each other."""
    order, sets = _order(problem), list[list[int]]()
    for station in order:
        for one in sets:
            choices = math.prod(len(problem.sizes[k]) for k in (*one, station))
            if choices <= MOST_CHOICES and np.allclose(
                problem.shares[:, one[0]], problem.shares[:, station], atol=1e-12
            ):
                one.append(station)
                break
        else:
            sets.append([station])
    return [tuple(one) for one in sets]


def _order(problem: JetProblem) -> tuple[int, ...]:
    """Linked stations one after the other, so that few links stay open."""
    order: list[int] = []
    for station in range(len(problem.sizes)):
        waiting = [station]
        while waiting:
            one = waiting.pop()
            if one not in order:
                order.append(one)
                waiting += [other for link in problem.links if one in link.stations for other in link.stations]
    return tuple(order)


def _relaxed(problem: JetProblem, low: Array, high: Array) -> Array:
    """The best flows in real numbers between low and high, by Newton steps kept inside.

    Near enough is enough: the bound holds at any point, and is only tighter near the best one.
    """
    flow = np.clip(np.zeros(len(low)), low, high)
    value = float(problem.total_loss(flow))
    for _ in range(30):
        slope, curvature = problem.loss.slope_and_curvature(problem.shares @ flow)
        gradient = problem.shares.T @ slope
        free = ~(((flow <= low) & (gradient >= 0.0)) | ((flow >= high) & (gradient <= 0.0)))
        if not free.any() or np.abs(gradient[free]).max() < 1e-9:
            break
        shares = problem.shares[:, free]
        newton = shares.T @ (curvature[:, None] * shares) + 1e-9 * np.eye(shares.shape[1])
        step = np.zeros(len(flow))
        step[free] = np.linalg.solve(newton, gradient[free])
        tries = [np.clip(flow - step / 2.0**halved, low, high) for halved in range(12)]
        losses = problem.total_loss(np.array(tries))
        at = int(np.argmin(losses))
        if losses[at] >= value - 1e-13:
            break
        flow, value = tries[at], float(losses[at])
    return flow


def _good_start(problem: JetProblem, flow_pct: Array) -> float:
    """Loss of a good choice that the links allow, to measure the others by; infinite where they allow none."""
    picks = _nearest_allowed(problem, flow_pct)
    if picks is None:
        return math.inf
    everything = set(range(len(picks)))
    best = math.inf
    while True:
        around = _neighbours(problem, picks)
        around = around[_allowed(problem, around, everything)]
        losses = problem.total_loss(_flows(problem, around))
        at = int(np.argmin(losses))
        if losses[at] >= best - TIE_PCT:
            return best
        best, picks = float(losses[at]), around[at]


def _nearest_allowed(problem: JetProblem, flow_pct: Array) -> Whole | None:
    """Sizes near the real-number flows that the links allow: depth first, the nearest of each station tried first."""
    by_distance = [
        np.argsort(np.abs(f - goal), kind="stable") for f, goal in zip(problem.flows_pct, flow_pct, strict=True)
    ]

    def fill(picks: list[int]) -> list[int] | None:
        if len(picks) == len(by_distance):
            return picks
        for pick in by_distance[len(picks)]:
            longer = [*picks, int(pick)]
            if (
                _allowed(problem, np.array([longer]), set(range(len(longer))))[0]
                and (whole := fill(longer)) is not None
            ):
                return whole
        return None

    found = fill([])
    return None if found is None else np.array(found)


def _neighbours(problem: JetProblem, picks: Whole) -> Whole:
    """The choice itself, and all that change one or two stations by up to two sizes."""
    choices = [picks]
    steps = (-2, -1, 0, 1, 2)
    last = np.array([len(sizes) - 1 for sizes in problem.sizes])
    for first, second in combinations(range(len(picks)), 2):
        for a in steps:
            for b in steps:
                moved = picks.copy()
                moved[first] += a
                moved[second] += b
                choices.append(moved)
    if len(picks) == 1:
        choices += [picks + step for step in steps]
    around = np.array(choices)
    return around[((around >= 0) & (around <= last)).all(axis=1)]


def _allowed(problem: JetProblem, picks: Whole, covered: Set[int]) -> NDArray[np.bool_]:
    """Which rows of picks keep to the links between the stations covered; picks: M x K."""
    allowed = np.ones(len(picks), dtype=bool)
    for link in problem.links:
        if link.stations <= covered:
            apart = problem.sizes[link.first][picks[:, link.first]] - problem.sizes[link.second][picks[:, link.second]]
            allowed &= (link.lowest <= apart) & (apart <= link.highest)
    return allowed


def _flows(problem: JetProblem, picks: Whole) -> Array:
    return np.column_stack([flows[picks[:, station]] for station, flows in enumerate(problem.flows_pct)])


def _best_of(problem: JetProblem, bound: _Bound, partial: _Partial) -> tuple[int, ...] | None:
    """The winner of whole choices, the likely ones worked out first."""
    if not len(partial.picks):
        return None
    lower = bound.lower(partial, len(bound.groups) - 1)
    likely, picks = np.argsort(lower, kind="stable"), partial.picks
    losses = np.full(len(likely), math.inf)
    for start in range(0, len(likely), 256):
        if lower[likely[start]] > losses.min() + TIE_PCT:
            break
        rows = likely[start : start + 256]
        losses[rows] = problem.total_loss(_flows(problem, picks[rows]))
    tied = np.flatnonzero(losses <= losses.min() + TIE_PCT)
    sides = np.array(problem.sides or (0,) * len(problem.now))
    uneven = np.round(np.abs(_flows(problem, picks[tied]) @ sides), 6)
    winner = tied[np.lexsort((uneven, -np.round(partial.richness[tied], 6), partial.moves[tied]))[0]]
    return tuple(int(sizes[pick]) for sizes, pick in zip(problem.sizes, picks[winner], strict=True))
