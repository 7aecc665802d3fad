"""Feeds: which station of the carburetion feeds which cylinder, and how much of its fuel.

A station is a place where fuel is metered: a barrel with its jet, or an injector. Cylinders are known by
(bank, place): bank 'L', 'R' or '' for a single row, place 1 at the front of its bank; never by their number, since
makers number differently.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from engine_rules.spark import alternate_groups

Places = Mapping[int, tuple[str, int]]

# Share of its fuel that a cylinder takes from its own barrel, by number of barrels over an open plenum, and from its
# own side of a divided one: common practice, no source; the racer's own log should replace it.
OWN_BARREL_SHARE: Mapping[int, float] = {1: 1.0, 2: 0.65, 4: 0.45, 8: 0.35}
OWN_SIDE_SHARE = 0.9

ONE_TO_ONE = ("individual runners", "side-draughts", "EFI")
CARBURETIONS = ("one four-barrel", "two four-barrels", "one two-barrel", "single", *ONE_TO_ONE)
MANIFOLDS = ("single plane", "dual plane", "individual runner", "other")


@dataclass(frozen=True, slots=True)
class Barrel:
    """A station and where it sits: row counts from the front; end 'front', 'rear' or '', side 'L', 'R' or ''."""

    name: str
    row: int
    end: str = ""
    side: str = ""


def barrels(carburetion: str, places: Places) -> tuple[Barrel, ...]:
    """The stations of a carburetion over these cylinders; one named after each cylinder where each has its own.

    A four-barrel has LF, RF, LR, RR; two of them 'front LF' to 'rear RR'; a two-barrel 'left' and 'right' on two
    banks, 'front' and 'rear' on a single row. Raises ValueError for another carburetion or places that cannot be.
    """
    _check_places(places)
    corners = (("LF", "front", "L"), ("RF", "front", "R"), ("LR", "rear", "L"), ("RR", "rear", "R"))
    match carburetion:
        case "one four-barrel":
            return tuple(Barrel(name, int(end == "rear"), end, side) for name, end, side in corners)
        case "two four-barrels":
            return tuple(
                Barrel(f"{which} {name}", 2 * carburetor + int(end == "rear"), end, side)
                for carburetor, which in enumerate(("front", "rear"))
                for name, end, side in corners
            )
        case "one two-barrel" if _is_single_row(places):
            return Barrel("front", 0, "front"), Barrel("rear", 1, "rear")
        case "one two-barrel":
            return Barrel("left", 0, side="L"), Barrel("right", 0, side="R")
        case "single":
            return (Barrel("single", 0),)
        case "individual runners" | "side-draughts" | "EFI":
            return tuple(Barrel(str(number), place - 1, side=bank) for number, (bank, place) in places.items())
    raise ValueError(f"carburetion {carburetion!r} is not known; use one of {', '.join(CARBURETIONS)}")


def feed_shares(
    carburetion: str,
    manifold: str,
    places: Places,
    firing_order: Sequence[int] = (),
    *,
    own_share: float | None = None,
    left_side_feeds: int | None = None,
) -> dict[int, dict[str, float]]:
    """Share of each cylinder's fuel from each station: cylinder -> station -> share; each row sums to 1.

    own_share: of the own barrel in an open plenum, of the own side in a dual plane; by default common practice.
    left_side_feeds: a cylinder that the left barrels of a dual plane feed, which the casting decides. Where that, or
    the manifold ('other'), is not known, all stations feed all cylinders alike, so that no corner is blamed for one.
    Source of the sets of a dual plane: US Army Ordnance lesson OD1004; they are worked out from the firing order.
    Raises ValueError for a share that cannot be or a cylinder without a place.
    """
    stations = barrels(carburetion, places)
    if manifold not in MANIFOLDS:
        raise ValueError(f"manifold {manifold!r} is not known; use one of {', '.join(MANIFOLDS)}")
    if carburetion in ONE_TO_ONE or len(stations) == 1:
        return {number: _one_to_one(number, stations) for number in places}
    if manifold == "individual runner":
        raise ValueError(f"an individual-runner manifold needs a barrel for each cylinder, not {carburetion}")
    if manifold == "dual plane":
        return _dual_plane(stations, places, firing_order, own_share, left_side_feeds)
    if manifold == "other" and own_share is None:
        return {number: _alike(stations) for number in places}
    own = OWN_BARREL_SHARE[len(stations)] if own_share is None else own_share
    if not 1.0 / len(stations) <= own <= 1.0:
        raise ValueError(
            f"own share of {own:g} is not possible with {len(stations)} barrels; it lies between "
            f"{1.0 / len(stations):g} and 1"
        )
    return {number: _open_plenum(stations, places, number, own) for number in places}


def _one_to_one(number: int, stations: tuple[Barrel, ...]) -> dict[str, float]:
    return {barrel.name: float(len(stations) == 1 or barrel.name == str(number)) for barrel in stations}


def _alike(stations: tuple[Barrel, ...]) -> dict[str, float]:
    return {barrel.name: 1.0 / len(stations) for barrel in stations}


def _open_plenum(stations: tuple[Barrel, ...], places: Places, number: int, own: float) -> dict[str, float]:
    bank, place = places[number]
    in_bank = sum(other == bank for other, _ in places.values())
    rows = max(barrel.row for barrel in stations) + 1
    rest = (1.0 - own) / (len(stations) - 1)
    shares = {}
    for barrel in stations:
        # The stretch of the bank that the cylinder stands in, laid over the rows of barrels: the middle cylinder of
        # three stands half under each of two rows.
        covered = min(place / in_bank, (barrel.row + 1) / rows) - max((place - 1) / in_bank, barrel.row / rows)
        along = max(covered, 0.0) * in_bank
        across = 1.0 if barrel.side in ("", bank) else 0.5 if bank == "" else 0.0
        shares[barrel.name] = rest + (own - rest) * along * across
    return shares


def _dual_plane(
    stations: tuple[Barrel, ...],
    places: Places,
    firing_order: Sequence[int],
    own_share: float | None,
    left_side_feeds: int | None,
) -> dict[int, dict[str, float]]:
    groups = alternate_groups(firing_order)
    if set(firing_order) != set(places):
        raise ValueError("the firing order and the table of cylinders name different cylinders; correct one of them")
    if left_side_feeds is None or any(barrel.side == "" for barrel in stations):
        return {number: _alike(stations) for number in places}
    if left_side_feeds not in places:
        raise ValueError(f"cylinder {left_side_feeds}, said to be fed by the left barrels, is not in this engine")
    own = OWN_SIDE_SHARE if own_share is None else own_share
    if not 0.5 <= own <= 1.0:
        raise ValueError(f"own side's share of {own:g} is not possible; it lies between 0.5 and 1")
    left_group = groups[0] if left_side_feeds in groups[0] else groups[1]
    on_a_side = len(stations) // 2
    return {
        number: {
            barrel.name: (own if (barrel.side == "L") == (number in left_group) else 1.0 - own) / on_a_side
            for barrel in stations
        }
        for number in places
    }


def _is_single_row(places: Places) -> bool:
    return all(bank == "" for bank, _ in places.values())


def _check_places(places: Places) -> None:
    if not places:
        raise ValueError("there is no cylinder; list each with its bank and place")
    for number, (bank, place) in places.items():
        if bank not in ("L", "R", ""):
            raise ValueError(
                f"bank {bank!r} of cylinder {number} is not known; write L, R, or nothing for a single row"
            )
        in_bank = sorted(other_place for other, other_place in places.values() if other == bank)
        if in_bank != list(range(1, len(in_bank) + 1)):
            raise ValueError(
                f"the places in {f'bank {bank}' if bank else 'the row'} must be 1, 2, 3 from the front, each once; "
                f"cylinder {number} has {place}"
            )
    if not _is_single_row(places) and any(bank == "" for bank, _ in places.values()):
        raise ValueError("some cylinders have a bank and some have none; give each L or R, or none of them")
