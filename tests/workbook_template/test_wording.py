"""How numbers and changes are said."""

from __future__ import annotations

import pytest

from engine_rules.advice import Caution, CylinderAdvice, JetChange, Swap, Worth
from workbook_template.wording import (
    Settled,
    caution_lines,
    jet_move,
    mixture_words,
    plain,
    signed,
    signed_format,
    swap_words,
    tab_bend,
    timing_words,
    worth_words,
)

SETTLED = Settled(2.5, 1.0)


@pytest.mark.parametrize(
    ("value", "said"), [(34.0, "34"), (33.5, "33.5"), (-0.5, "−0.5"), (-0.04, "0"), (0.0, "0"), (10.0, "10")]
)
def test_plain_numbers(value: float, said: str) -> None:
    assert plain(value) == said


@pytest.mark.parametrize(("value", "said"), [(1.0, "+1"), (-1.0, "−1"), (0.0, "0"), (0.25, "+0.25")])
def test_signed_numbers(value: float, said: str) -> None:
    assert signed(value, 2) == said


def test_formats_have_the_decimals_of_the_value() -> None:
    assert signed_format(-1.0) == '+0;"−"0;0'
    assert signed_format(0.25) == '+0.00;"−"0.00;0.00'


@pytest.mark.parametrize(
    ("mixture", "said"),
    [(-4.1, "Lean 4.1 ± 1.2 %"), (3.0, "Rich 3.0 ± 1.2 %"), (-2.5, "Right −2.5 ± 1.2 %")],
)
def test_mixture_is_named(mixture: float, said: str) -> None:
    assert mixture_words(CylinderAdvice(1, mixture_pct=mixture, mixture_sd=1.2), SETTLED) == said


@pytest.mark.parametrize(
    ("timing", "said"), [(1.5, "Advanced 1.5 ± 0.8°"), (-1.5, "Retarded 1.5 ± 0.8°"), (0.3, "On time +0.3 ± 0.8°")]
)
def test_timing_is_named(timing: float, said: str) -> None:
    assert timing_words(CylinderAdvice(1, timing_deg=timing, timing_sd=0.8), SETTLED) == said


def test_what_was_not_read_is_said_to_be_so() -> None:
    assert mixture_words(CylinderAdvice(1), SETTLED) == "Mixture not read"
    assert timing_words(CylinderAdvice(1), SETTLED) == "Timing not read"


def test_a_tab_is_bent_later_for_less_timing() -> None:
    assert tab_bend(-0.436, "mm") == "0.44 mm later"
    assert tab_bend(0.436, "in") == "0.017 in earlier"


def test_parts_that_are_not_on_hand_are_named() -> None:
    assert jet_move(JetChange("LF", "74", "76", 5.0, wanted="77")) == "74 → 76 (77 fits best, not on hand)"
    assert swap_words(Swap("C", "D", on_hand=False)) == "C → D (not on hand)"


def test_worth_is_never_a_promise() -> None:
    assert worth_words(Worth(0.4, 0.3)) == "Worth about 0.4 % torque, give or take 0.3; not a promise."
    assert worth_words(Worth(0.2, 0.3)).endswith("it may be nothing.")
    assert "(+0.4 km/h, +0.2 mph); not a promise" in worth_words(Worth(0.5, 0.2, "speed", 0.1, 0.05, 0.3))
    assert "(−0.017 s); less than this log's noise of 0.9 %" in worth_words(
        Worth(0.5, 0.2, "elapsed time", -0.0167, 0.01, 0.9)
    )
    assert worth_words(Worth(0.04, 0.01)) == "Worth less than 0.1 % torque: no one run can show it."


def test_one_caution_for_several_cylinders_is_said_once() -> None:
    cautions = [
        Caution("Bright specks.", "stop", 6, (4,)),
        Caution("Bright specks.", "stop", 3, (5,)),
        Caution("Cylinder 2: cracked porcelain.", "stop", 2),
        Caution("Mind the fuel.", "mind"),
    ]
    assert caution_lines(cautions, "stop") == (
        ("Cylinders 3, 6: Bright specks.", (4, 5)),
        ("Cylinder 2: cracked porcelain.", ()),
    )
