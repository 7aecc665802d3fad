"""The shelf of plugs, and published torques."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine_rules import plugs
from engine_rules.plugs import TIPS, Plug, PlugShelf

SHELF = PlugShelf(
    (
        Plug("C9", 3, "projected", on_hand=False),
        Plug("A9", 1, "projected"),
        Plug("B9", 2, "projected"),
        Plug("B6", 2, "regular"),
        Plug("D6", 4, "regular"),
        Plug("E4", 5, "retracted"),
    )
)


def test_order_and_lookup():
    assert [plug.label for plug in SHELF.plugs] == ["A9", "B9", "B6", "C9", "D6", "E4"]
    assert SHELF.hottest.label == "A9"
    assert SHELF.coldest.label == "E4"
    assert SHELF.plug(" b 9 ") is SHELF.plug("B9")
    assert "Z1" not in SHELF
    assert PlugShelf((Plug("5", 1),)).plug(5.0).label == "5"


def test_colder_keeps_the_tip_and_says_what_is_at_hand():
    step = SHELF.step("B9", 1)
    assert (step.wanted.label, step.wanted_is_on_hand, step.colder_steps) == ("C9", False, 1)
    assert step.at_hand.label == "D6"
    assert SHELF.step("B6", 1).wanted.label == "D6"
    assert SHELF.step("B6", 1).colder_steps == 2
    end = SHELF.step("B9", 9)
    assert (end.wanted.label, end.colder_steps) == ("E4", 3)
    assert SHELF.step("E4", 1) is None


def test_hotter_never_goes_past_what_was_asked_for():
    assert SHELF.step("C9", -1).wanted.label == "B9"
    assert SHELF.step("C9", -9).wanted.label == "A9"
    assert SHELF.step("D6", -2).wanted.label == "B6"
    assert SHELF.step("D6", -1) is None
    assert SHELF.step("A9", -1) is None


def test_tip_on_the_same_rung():
    assert SHELF.with_tip("B9", "regular").label == "B6"
    assert SHELF.with_tip("A9", "retracted") is None
    twins = PlugShelf((Plug("A", 1), Plug("B", 1, "retracted", on_hand=False), Plug("C", 1, "retracted")))
    assert twins.with_tip("A", "retracted").label == "C"


PLUGS = st.builds(
    Plug,
    label=st.uuids().map(str),
    heat_order=st.integers(1, 5).map(float),
    tip=st.sampled_from(TIPS),
    on_hand=st.booleans(),
)


@given(st.lists(PLUGS, min_size=1, max_size=9, unique_by=lambda plug: plug.label), st.integers(-4, 4), st.data())
def test_a_step_never_errs_to_the_hot_side(stock, steps, data):
    shelf = PlugShelf(tuple(stock))
    old = data.draw(st.sampled_from(stock))
    found = shelf.step(old.label, steps) if steps else None
    if found is None:
        return
    for plug in (found.wanted, found.at_hand):
        if plug is None:
            continue
        assert plug.exposure <= old.exposure
        if steps > 0:
            assert plug.heat_order > old.heat_order
        else:
            assert old.heat_order > plug.heat_order
            assert shelf.rung(old) + steps <= shelf.rung(plug)
    if found.at_hand:
        assert found.at_hand.on_hand
    if found.wanted.on_hand:
        assert found.at_hand is not None
        assert shelf.rung(found.at_hand) == shelf.rung(found.wanted)


def test_torque_overlap():
    """A plug maker's installation page and a university extension table of 2006, which do not always agree."""
    assert plugs.tightening_torque("gasket", 14, "aluminium").overlap_lbft == (18.0, 21.6)
    assert plugs.tightening_torque("taper", 14, "aluminium").overlap_lbft == (7.2, 14.5)
    assert plugs.tightening_torque("gasket", 14, "iron").overlap_lbft is None
    assert plugs.tightening_torque("gasket", 8, "aluminium").overlap_nm is None
    # The maker's page prints 24.4 to 29.3 N m for the first.
    assert plugs.tightening_torque("gasket", 14, "aluminium").overlap_nm == pytest.approx((24.4, 29.3), abs=0.05)


@pytest.mark.parametrize(
    "impossible",
    [
        lambda: Plug("A", 1, "long"),
        lambda: Plug(" ", 1),
        lambda: PlugShelf(()),
        lambda: PlugShelf((Plug("A", 1), Plug("a", 2))),
        lambda: SHELF.plug("Z1"),
        lambda: SHELF.step("B9", 0),
        lambda: SHELF.with_tip("B9", "long"),
        lambda: plugs.tightening_torque("gasket", 16, "iron"),
    ],
)
def test_impossible_plugs_are_one_sentence(impossible):
    with pytest.raises(ValueError, match=r"^[^\n]{20,200}$"):
        impossible()
