"""Feed shares: by bank and place, never by number; rows sum to one."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine_rules.feeds import CARBURETIONS, MANIFOLDS, barrels, feed_shares

# Two makers' ways to number a V8: alternating from the left bank, and bank by bank from the right.
ALTERNATING = {n: ("L" if n % 2 else "R", (n + 1) // 2) for n in range(1, 9)}
BY_BANK = {n: ("R", n) if n <= 4 else ("L", n - 4) for n in range(1, 9)}
V6 = {n: ("L" if n % 2 else "R", (n + 1) // 2) for n in range(1, 7)}
ROW_OF_FOUR = {n: ("", n) for n in range(1, 5)}
ORDER = (1, 8, 4, 3, 6, 5, 7, 2)


def fed_by(shares, station):
    """The cylinders that take more from this station than from any other."""
    return {
        cylinder
        for cylinder, row in shares.items()
        if all(row[station] > share for other, share in row.items() if other != station)
    }


@pytest.mark.parametrize(
    ("places", "corners"),
    [
        (ALTERNATING, {"LF": {1, 3}, "LR": {5, 7}, "RF": {2, 4}, "RR": {6, 8}}),
        (BY_BANK, {"RF": {1, 2}, "RR": {3, 4}, "LF": {5, 6}, "LR": {7, 8}}),
    ],
)
def test_single_plane_corners(places, corners):
    """Which corner feeds which cylinders, for both ways of numbering (common practice)."""
    shares = feed_shares("one four-barrel", "single plane", places)
    assert {station: fed_by(shares, station) for station in corners} == corners
    assert shares[1 if places is ALTERNATING else 5]["LF"] == pytest.approx(0.45)


@pytest.mark.parametrize(
    "order",
    [ORDER, (1, 8, 7, 3, 6, 5, 4, 2), (1, 8, 7, 2, 6, 5, 4, 3), (1, 5, 4, 2, 6, 3, 7, 8), (1, 3, 7, 2, 6, 5, 4, 8)],
)
def test_dual_plane_sets(order):
    """US Army Ordnance lesson OD1004: one side takes the inner pair of one bank and the outer pair of the other."""
    places = ALTERNATING if order[1] == 8 else BY_BANK
    shares = feed_shares("one four-barrel", "dual plane", places, order, left_side_feeds=1, own_share=1.0)
    left = {cylinder for cylinder, row in shares.items() if row["LF"] + row["LR"] == pytest.approx(1.0)}
    assert left == {1, 4, 6, 7}
    by_bank = {bank: sorted(places[n][1] for n in left if places[n][0] == bank) for bank in "LR"}
    assert sorted(by_bank.values()) == [[1, 4], [2, 3]]
    other = feed_shares("one four-barrel", "dual plane", places, order, left_side_feeds=2, own_share=1.0)
    assert other[2]["LF"] == pytest.approx(0.5)
    assert other[1]["LF"] == 0.0


def test_dual_plane_of_unknown_casting_blames_no_corner():
    shares = feed_shares("one four-barrel", "dual plane", ALTERNATING, ORDER)
    assert {share for row in shares.values() for share in row.values()} == {0.25}


def test_v6_dual_plane_goes_by_bank():
    """A V6 whose order 1-6-5-4-3-2 alternates banks: one plane a bank."""
    shares = feed_shares("one two-barrel", "dual plane", V6, (1, 6, 5, 4, 3, 2), left_side_feeds=1)
    assert fed_by(shares, "left") == {1, 3, 5}
    middle = feed_shares("one four-barrel", "single plane", V6)[3]
    assert middle["LF"] == pytest.approx(middle["LR"])
    assert middle["LF"] > middle["RF"]


def test_two_four_barrels():
    shares = feed_shares("two four-barrels", "single plane", ALTERNATING)
    assert fed_by(shares, "front LF") == {1}
    assert fed_by(shares, "rear RR") == {8}


def test_row_of_four():
    """One twin-choke: the front barrel feeds 1 and 2, the rear 3 and 4 (common practice)."""
    shares = feed_shares("one two-barrel", "single plane", ROW_OF_FOUR)
    assert fed_by(shares, "front") == {1, 2}
    assert fed_by(shares, "rear") == {3, 4}
    four = feed_shares("one four-barrel", "single plane", ROW_OF_FOUR)
    assert four[1]["LF"] == pytest.approx(four[1]["RF"])
    assert four[1]["LF"] > four[1]["LR"]


@pytest.mark.parametrize("carburetion", ["individual runners", "side-draughts", "EFI"])
def test_each_its_own(carburetion):
    shares = feed_shares(carburetion, "individual runner", ROW_OF_FOUR)
    assert shares == {n: {str(m): float(m == n) for m in ROW_OF_FOUR} for n in ROW_OF_FOUR}


def test_single():
    assert feed_shares("single", "single plane", ROW_OF_FOUR)[3] == {"single": 1.0}


@given(
    st.sampled_from(CARBURETIONS),
    st.sampled_from([name for name in MANIFOLDS if name != "individual runner"]),
    st.sampled_from([(ALTERNATING, ORDER), (BY_BANK, ORDER), (ROW_OF_FOUR, (1, 3, 4, 2)), (V6, (1, 6, 5, 4, 3, 2))]),
    st.sampled_from([None, 1, 4]),
)
def test_rows_sum_to_one(carburetion, manifold, engine, left):
    places, order = engine
    shares = feed_shares(carburetion, manifold, places, order, left_side_feeds=left)
    names = [barrel.name for barrel in barrels(carburetion, places)]
    for row in shares.values():
        assert list(row) == names
        assert sum(row.values()) == pytest.approx(1.0)
        assert all(0.0 <= share <= 1.0 for share in row.values())


@given(st.permutations(range(1, 9)), st.sampled_from(["one four-barrel", "two four-barrels", "one two-barrel"]))
def test_renaming_and_mirroring_change_only_the_labels(new_numbers, carburetion):
    rename = dict(zip(range(1, 9), new_numbers, strict=True))
    before = feed_shares(carburetion, "single plane", ALTERNATING)
    renamed = feed_shares(carburetion, "single plane", {rename[n]: place for n, place in ALTERNATING.items()})
    assert renamed == {rename[n]: row for n, row in before.items()}
    mirrored = {n: ("R" if bank == "L" else "L", place) for n, (bank, place) in ALTERNATING.items()}
    for number, row in feed_shares(carburetion, "single plane", mirrored).items():
        sides = {barrel.name: (barrel.row, barrel.side) for barrel in barrels(carburetion, mirrored)}
        swapped = {(row_, {"L": "R", "R": "L"}[side]): name for name, (row_, side) in sides.items()}
        assert row == pytest.approx({swapped[sides[name]]: share for name, share in before[number].items()})


@pytest.mark.parametrize(
    "impossible",
    [
        lambda: feed_shares("three carburetors", "single plane", ALTERNATING),
        lambda: feed_shares("one four-barrel", "tube", ALTERNATING),
        lambda: feed_shares("one four-barrel", "individual runner", ALTERNATING),
        lambda: feed_shares("one four-barrel", "single plane", {}),
        lambda: feed_shares("one four-barrel", "single plane", {1: ("middle", 1)}),
        lambda: feed_shares("one four-barrel", "single plane", {1: ("L", 1), 2: ("L", 1)}),
        lambda: feed_shares("one four-barrel", "single plane", {1: ("L", 1), 2: ("", 1)}),
        lambda: feed_shares("one four-barrel", "single plane", ALTERNATING, own_share=0.2),
        lambda: feed_shares("one four-barrel", "dual plane", ALTERNATING, ORDER[:6], left_side_feeds=1),
        lambda: feed_shares("one four-barrel", "dual plane", ALTERNATING, ORDER, left_side_feeds=9),
        lambda: feed_shares("one four-barrel", "dual plane", ALTERNATING, ORDER, left_side_feeds=1, own_share=0.3),
    ],
)
def test_impossible_feeds_are_one_sentence(impossible):
    with pytest.raises(ValueError, match=r"^[^\n]{20,200}$"):
        impossible()
