"""How the numbers of the advice are said: signs, spreads, moves and swaps, in the trade's words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from engine_rules.advice import Caution, CylinderAdvice, JetChange, Move, Swap, Worth
from engine_rules.air import M_S_PER_MPH, WATTS_PER_HP

ARROW = "→"
MINUS = "−"
MM_PER_IN = 25.4
KEEP = "keep"
# A number format: how far something is off target.
ERROR_FORMAT = f'+0.0;"{MINUS}"0.0;0.0'
SMALLEST_WORTH_PCT = 0.1
LINK_COLOR = "0563C1"


@dataclass(frozen=True, slots=True)
class Settled:
    """How near target counts as on target: percent fuel, crank degrees."""

    mixture_pct: float
    timing_deg: float


def plain(value: float, places: int = 1) -> str:
    """'34', '33.5', '−0.5': no needless zeros, a true minus."""
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text.replace("-", MINUS)


def signed(value: float, places: int = 1) -> str:
    """'+1', '−0.5', '0'."""
    text = plain(value, places)
    return text if text == "0" or text.startswith(MINUS) else f"+{text}"


def signed_format(value: float, places: int = 2) -> str:
    """The number format that shows this value as `signed` says it, with its own decimals."""
    text = plain(value, places)
    decimals = len(text.partition(".")[2])
    digits = "0" + ("." + "0" * decimals if decimals else "")
    return f'+{digits};"{MINUS}"{digits};{digits}'


def mixture_words(one: CylinderAdvice, settled: Settled) -> str:
    """'Lean 4.1 ± 1.2 %', 'Right +0.8 ± 1.2 %' or that it was not read."""
    if one.mixture_pct is None:
        return "Mixture not read"
    return f"{_error_words(one.mixture_pct, one.mixture_sd, settled.mixture_pct, 'Rich', 'Lean', 'Right')} %"


def timing_words(one: CylinderAdvice, settled: Settled) -> str:
    """'Advanced 1.5 ± 0.8°', 'On time −0.2 ± 0.8°' or that it was not read."""
    if one.timing_deg is None:
        return "Timing not read"
    return f"{_error_words(one.timing_deg, one.timing_sd, settled.timing_deg, 'Advanced', 'Retarded', 'On time')}°"


def _error_words(value: float, sd: float | None, settled: float, over: str, under: str, on: str) -> str:
    spread = "" if sd is None else f" ± {sd:.1f}"
    if abs(value) <= settled:
        return f"{on} {value:+.1f}{spread}".replace("-", MINUS)
    return f"{over if value > 0 else under} {abs(value):.1f}{spread}"


def jet_move(jet: JetChange) -> str:
    """'74 → 76', and the size that fits best where it is not on hand."""
    return f"{jet.old} {ARROW} {jet.new}" + ("" if jet.wanted is None else f" ({jet.wanted} fits best, not on hand)")


def trim_move(trim: Move) -> str:
    """'0° → −1°'."""
    return f"{plain(trim.old, 2)}° {ARROW} {plain(trim.new, 2)}°"


def tab_bend(tab_mm: float, tab_unit: str) -> str:
    """'0.44 mm later': how far to bend the tab, and which way. tab_unit: 'mm' or 'in'."""
    amount = f"{abs(tab_mm):.2f} mm" if tab_unit == "mm" else f"{abs(tab_mm) / MM_PER_IN:.3f} in"
    return f"{amount} {'later' if tab_mm < 0 else 'earlier'}"


def swap_words(swap: Swap) -> str:
    """'B → C', with a warning where the shelf does not hold it."""
    return f"{swap.old} {ARROW} {swap.new}" + ("" if swap.on_hand else " (not on hand)")


def worth_words(worth: Worth) -> str:
    """What the advice is worth, as an estimate."""
    if worth.torque_pct < SMALLEST_WORTH_PCT:
        return f"Worth less than {SMALLEST_WORTH_PCT:g} % torque: no one run can show it."
    about = f"Worth about {plain(worth.torque_pct)} % torque, give or take {plain(max(worth.sd, SMALLEST_WORTH_PCT))}"
    about += f" ({_own_result(worth)})" if worth.result else ""
    if worth.noise_pct is not None and worth.torque_pct < worth.noise_pct:
        return f"{about}; less than this log's noise of {plain(worth.noise_pct)} %, so one run will not show it."
    return f"{about}; {'it may be nothing' if worth.torque_pct <= worth.sd else 'not a promise'}."


def _own_result(worth: Worth) -> str:
    """'+0.5 km/h, +0.3 mph', '−0.013 s', '+1.6 kW, +2.2 hp'."""
    match worth.result:
        case "speed":
            return f"{signed(3.6 * worth.change)} km/h, {signed(worth.change / M_S_PER_MPH)} mph"
        case "power":
            return f"{signed(worth.change)} kW, {signed(1000.0 * worth.change / WATTS_PER_HP)} hp"
    return f"{signed(worth.change, 3)} s"


def caution_lines(cautions: Iterable[Caution], level: str) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """The cautions of one level with the firings behind each; one text is said once for all its cylinders."""
    together: dict[str, list[Caution]] = {}
    for caution in cautions:
        if caution.level == level:
            together.setdefault(caution.text, []).append(caution)
    return tuple(
        (_for_cylinders(text, alike), tuple(number for caution in alike for number in caution.because))
        for text, alike in together.items()
    )


def _for_cylinders(text: str, alike: Sequence[Caution]) -> str:
    numbers = sorted({caution.cylinder for caution in alike if caution.cylinder is not None})
    if not numbers or text.casefold().startswith("cylinder"):
        return text
    return f"Cylinder{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}: {text}"
