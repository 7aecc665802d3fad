"""The one sentence at the head of the advice."""

from __future__ import annotations

from engine_rules.advice import Caution, CylinderAdvice, JetChange, TimingChange
from engine_rules.decide import Order


def headline(
    order: Order,
    changed: tuple[tuple[JetChange, ...], TimingChange | None, tuple[CylinderAdvice, ...]],
    cautions: tuple[Caution, ...],
    unfit: tuple[str, ...],
    not_on_hand: tuple[str, ...],
) -> str:
    """What to do now, in one sentence."""
    changes = change_words(*changed)
    stops = [caution for caution in cautions if caution.level == "stop"]
    if stops:
        places = sorted({caution.cylinder for caution in stops if caution.cylinder})
        after = f" Then: {changes}." if changes else ""
        return f"Do not run: look into cylinder {_list(places)} first.{after}"
    if order.stage == "safety":
        return f"Back off: {changes}." if changes else "Back off: find the cause before the next pull."
    if order.stage == "reading":
        return f"Change nothing: {'; '.join(unfit)}. Get a good reading first."
    if changes:
        return f"{changes[0].upper()}{changes[1:]}."
    if not_on_hand:
        return f"Change nothing yet: {'; '.join(not_on_hand)}."
    return NOTHING_TO_CHANGE["unproven" if order.stage == "timing" and not order.proven else order.stage]


MOST_TRIMS_NAMED = 3

NOTHING_TO_CHANGE = {
    "unproven": "Change nothing yet: prove that the timing is safe.",
    "timing": "Change nothing yet: there may be timing left to find, but the way to more is closed.",
    "fuel": "Change nothing yet: fuel cannot be judged, or the way to less is closed.",
    "heat": "Change nothing: the shelf has no plug for the next step.",
    "spread": "Change nothing: no cylinder's own timing can be bettered as things stand.",
    "settled": "Leave it alone: the set reads right. Keep it as a reference.",
}


def change_words(
    jets: tuple[JetChange, ...], timing: TimingChange | None, cylinders: tuple[CylinderAdvice, ...]
) -> str:
    """All changes in one phrase, in the order of the work; empty when nothing changes."""
    parts = [f"{jet.corner} jet {jet.old} to {jet.new}" for jet in jets]
    parts += [
        f"cylinder {one.cylinder} fuel trim {_signed(one.fuel_trim.old)} to {_signed(one.fuel_trim.new)} %"
        for one in cylinders
        if one.fuel_trim
    ]
    if timing is not None:
        parts.append(f"total timing {timing.old:g} to {timing.new:g}")
    parts += _trim_words(cylinders)
    plug = next((one.plug for one in cylinders if one.plug), None)
    if plug is not None:
        parts.append(f"plugs {plug.old} to {plug.new}")
    tips = [one.cylinder for one in cylinders if one.tip]
    if tips:
        parts.append(f"regular tip on cylinder {_list(tips)}")
    return ", ".join(parts)


def _trim_words(cylinders: tuple[CylinderAdvice, ...]) -> list[str]:
    moved = [(one.cylinder, one.trim) for one in cylinders if one.trim]
    if len(moved) > MOST_TRIMS_NAMED:
        return [f"trim the timing of cylinders {_list([number for number, _ in moved])}, each as its box says"]
    return [f"cylinder {number} timing {_signed(trim.old)} to {_signed(trim.new)}" for number, trim in moved]


def _signed(value: float) -> str:
    return f"{value:+g}".replace("-", "−") if value else "0"


def _list(numbers: list[int]) -> str:
    return ", ".join(str(number) for number in numbers)
