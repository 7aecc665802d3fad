"""What each reading of a run says of mixture and timing: one linear look at the engine's state, with its spread.

The state: mixture error of each cylinder (% fuel, positive rich), timing error of each (crank degrees, positive
advanced), the heat error common to the plugs (steps, positive hot), and the level common to the exhaust probes (K).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from engine_rules.logbook import Cell, Engine, Finding, Logbook, Reading, Run, Sign
from engine_rules.plugs import PlugShelf
from engine_rules.targets import Targets
from engine_rules.words import word_lists

Vector = NDArray[np.float64]

TELLING = ("ring", "shell_ring", "strap_mark", "said_mixture")  # what a plug shows of the mixture or the timing


@dataclass(frozen=True, slots=True)
class GainDoubt:
    """What the spread of learned gains adds to that of a reading, in its own unit."""

    ring_mm: float = 0.0
    shell_ring_turns: float = 0.0
    strap_share: float = 0.0
    egt_k: float = 0.0


@dataclass(frozen=True, slots=True)
class Gains:
    """How far each sign moves for a change of the state. An engine's own log may put learned ones in place of these."""

    ring_mm_per_pct: float
    shell_ring_turns_per_pct: float
    strap_share_per_deg: float
    strap_share_per_pct: float
    strap_share_per_heat_step: float
    egt_k_per_pct: float
    egt_k_per_deg: float
    doubt: GainDoubt = GainDoubt()


def gains_from(targets: Targets) -> Gains:
    """The gains as the targets state them."""
    return Gains(
        ring_mm_per_pct=targets["ring.mm_per_pct"],
        shell_ring_turns_per_pct=targets["shell_ring.turns_per_pct"],
        strap_share_per_deg=targets["strap.share_per_deg"],
        strap_share_per_pct=targets["strap.share_per_pct"],
        strap_share_per_heat_step=targets["strap.share_per_heat_step"],
        egt_k_per_pct=targets["egt.k_per_pct"],
        egt_k_per_deg=targets["egt.k_per_deg"],
    )


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """One reading as value = row . state + noise, the value already less its target.

    family: 'mixture' (value in % fuel), 'strap' (crank degrees) or 'egt' (K). kind: as in a Sign, or 'egt', 'lambda',
    'bank_lambda'. cylinder is None for a bank's lambda; cylinders: all that it looks at. row: 2N + 2 numbers in the
    order of the state: mixture, timing, plug heat, probe level.
    """

    family: str
    kind: str
    cylinder: int | None
    cylinders: tuple[int, ...]
    value: float
    sd: float
    row: Vector
    text: str
    cell: Cell | None


@dataclass(frozen=True, slots=True)
class Looks:
    """All that was read on one run. not_applying: (cylinder, kind, cell) of signs that this fuel does not make."""

    used: tuple[Look, ...]
    not_applying: tuple[tuple[int, str, Cell | None], ...] = ()
    notes: tuple[Finding, ...] = ()

    def of_mixture(self, cylinder: int) -> tuple[str, ...]:
        """The kinds of sign other than exhaust temperature that tell this cylinder's mixture."""
        return tuple(look.kind for look in self.used if look.family == "mixture" and cylinder in look.cylinders)


@dataclass(slots=True)
class _Reader:
    """Goes through one run; `looks`, `not_applying` and `notes` fill as it goes."""

    engine: Engine
    targets: Targets
    gains: Gains
    noise_factor: float
    heat_steps: Mapping[int, float]
    looks: list[Look] = field(default_factory=list)
    not_applying: list[tuple[int, str, Cell | None]] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)

    def add(
        self, family: str, kind: str, cylinders: tuple[int, ...], value: float, sd: float, text: str, cell: Cell | None,
        mixture: float = 0.0, timing: float = 0.0, heat: float = 0.0, level: float = 0.0,
    ) -> None:  # fmt: skip
        """One look at the mean over `cylinders`, weighed by the four numbers that come last."""
        count = len(self.engine.numbers)
        row = np.zeros(2 * count + 2)
        for cylinder in cylinders:
            at = self.engine.numbers.index(cylinder)
            row[at], row[count + at] = mixture / len(cylinders), timing / len(cylinders)
        row[-2:] = heat, level
        alone = None if kind == "bank_lambda" else cylinders[0]
        self.looks.append(Look(family, kind, alone, cylinders, value, sd, row, text, cell))

    def sign(self, cylinder: int, sign: Sign) -> None:
        """A ring, a shell ring, a strap mark or what was said of the mixture; signs of other kinds say nothing here."""
        amount = sign.amount if sign.amount is not None else word_lists()[sign.kind].amounts.get(sign.word or "")
        if amount is None or sign.certainty <= 0.0:
            return
        if not applies(self.engine, sign.kind):
            self.not_applying.append((cylinder, sign.kind, sign.cell))
            return
        target, gain, doubt = _scale(self.engine, self.targets, self.gains, sign)
        spread = math.hypot(sign_spread(self.targets, sign) * self.noise_factor / sign.certainty, doubt)
        value, sd = (amount - target) / gain, spread / abs(gain)
        text = f"{word_lists()[sign.kind].title} {sign.written or sign.word or f'{amount:g}'}{note_words(sign)}"
        if sign.kind != "strap_mark":
            self.add("mixture", sign.kind, (cylinder,), value, sd, text, sign.cell, mixture=1.0)
            return
        heat = self.gains.strap_share_per_heat_step / gain
        mixture = self.gains.strap_share_per_pct / gain
        value -= heat * self.heat_steps.get(cylinder, 0.0)
        self.add("strap", sign.kind, (cylinder,), value, sd, text, sign.cell, mixture=mixture, timing=1.0, heat=heat)

    def exhaust(self, reading: Reading, level_c: float, noise: float) -> None:
        """An exhaust probe, against the level of the set."""
        if reading.egt_c is None:
            return
        entry, text = reading.egt_c, f"EGT {reading.egt_c.written or f'{reading.egt_c.value:.0f} °C'}"
        sd = math.hypot(self.targets["egt.noise_k"] * noise, self.gains.doubt.egt_k)
        value, at = entry.value - level_c, (reading.cylinder,)
        mixture, timing = self.gains.egt_k_per_pct, self.gains.egt_k_per_deg
        self.add("egt", "egt", at, value, sd, text, entry.cell, mixture=mixture, timing=timing, level=1.0)

    def oxygen(self, kind: str, cylinders: tuple[int, ...], ratio: float, text: str, cell: Cell | None) -> None:
        """A lambda sensor of one cylinder or of a bank."""
        if ratio <= 0.0:
            self.notes.append(Finding(f"{text} is not possible and is left out", cell))
            return
        value = 100.0 * (lambda_target(self.engine, self.targets) / ratio - 1.0)
        # The spread is taken at target: one that fell as lambda rose would let a leaner reading count for less fuel.
        sd = lambda_spread_pct(self.engine, self.targets)
        self.add("mixture", kind, cylinders, value, sd, text, cell, mixture=1.0)


def gather(logbook: Logbook, run: Run, disregard: Set[tuple[int, str]], noise_factor: float, gains: Gains) -> Looks:
    """Every look of the run but those disregarded, as (cylinder, kind)."""
    engine = logbook.engine
    reader = _Reader(engine, logbook.targets, gains, noise_factor, heat_steps(run, logbook.plugs))
    readings = [reading for reading in run.readings if reading.cylinder in engine.numbers]
    for reading in readings:
        at = reading.cylinder
        for kind in TELLING:
            sign = reading.sign(kind)
            if sign is not None and (at, kind) not in disregard:
                reader.sign(at, sign)
        if reading.lambda_ratio is not None and (at, "lambda") not in disregard:
            entry = reading.lambda_ratio
            reader.oxygen("lambda", (at,), entry.value, f"lambda {entry.written or f'{entry.value:g}'}", entry.cell)
    for bank, cylinders in banks_read(engine, run, disregard):
        entry = run.bank_lambda[bank]
        text = f"lambda {entry.written or f'{entry.value:g}'} of bank {bank}"
        reader.oxygen("bank_lambda", cylinders, entry.value, text, entry.cell)
    witnessed = {cylinder for look in reader.looks if look.family == "mixture" for cylinder in look.cylinders}
    probes = [one for one in readings if one.egt_c is not None and (one.cylinder, "egt") not in disregard]
    # The level of an engine's probes is not known beforehand: the set's own middle stands in, and one wild probe
    # does not move it.
    level_c = float(np.median([one.egt_c.value for one in probes if one.egt_c is not None])) if probes else 0.0
    for reading in probes:
        alone = 1.0 if reading.cylinder in witnessed else logbook.targets["egt.alone_noise"]
        reader.exhaust(reading, level_c, alone)
    return Looks(tuple(reader.looks), tuple(reader.not_applying), tuple(reader.notes))


def heat_steps(run: Run, shelf: PlugShelf) -> Mapping[int, float]:
    """By cylinder, the steps by which its plug is hotter than the set's most common one; unknown plugs are left out.

    Of two equally common the hotter counts as the common one: a short mark is then sooner taken for a cold plug than
    for late timing, which is the safe side.
    """
    rungs = {
        reading.cylinder: shelf.rung(shelf.plug(reading.plug.value))
        for reading in run.readings
        if reading.plug is not None and reading.plug.value in shelf
    }
    counts = Counter(rungs.values())
    common = min(counts, key=lambda rung: (-counts[rung], rung), default=0)
    return {cylinder: float(common - rung) for cylinder, rung in rungs.items()}


def note_words(sign: Sign) -> str:
    """That a sign was read in a note, for its text; nothing for one of a column."""
    if sign.certainty >= 1.0:
        return ""
    return " (from a note)"


def applies(engine: Engine, kind: str) -> bool:
    """False where the fuel makes no such sign: no soot on the porcelain on alcohol, none on the shell on E85."""
    return not (kind == "ring" and engine.is_alcohol) and not (kind == "shell_ring" and engine.fuel == "E85")


def _scale(engine: Engine, targets: Targets, gains: Gains, sign: Sign) -> tuple[float, float, float]:
    """Target, gain and the doubt of a learned gain, in the sign's scale's unit."""
    if sign.kind == "ring":
        return targets["ring.target_mm"], gains.ring_mm_per_pct, gains.doubt.ring_mm
    if sign.kind == "shell_ring":
        target = targets["shell_ring.target_turns"]
        return target, gains.shell_ring_turns_per_pct, gains.doubt.shell_ring_turns
    if sign.kind == "said_mixture":
        return 0.0, 1.0, 0.0
    return targets[f"strap.target_{engine.run_length}"], gains.strap_share_per_deg, gains.doubt.strap_share


def sign_spread(targets: Targets, sign: Sign) -> float:
    """Spread of a ring, shell ring, strap mark or word of mixture as it was read, in its scale's unit."""
    measured = sign.word is None
    if sign.kind == "ring":
        return targets["ring.noise_measured_mm" if measured else "ring.noise_word_mm"]
    if sign.kind == "shell_ring":
        return targets["shell_ring.noise_turns"]
    if sign.kind == "said_mixture":
        return targets["said_mixture.noise_pct"]
    return targets["strap.noise_measured" if measured else "strap.noise_word"]


def lambda_spread_pct(engine: Engine, targets: Targets) -> float:
    """Spread of a lambda sensor in percent fuel, at target."""
    leaded = targets["lambda.leaded_noise"] if engine.fuel == "leaded gasoline" else 1.0
    return 100.0 * targets["lambda.noise"] * leaded / lambda_target(engine, targets)


def lambda_target(engine: Engine, targets: Targets) -> float:
    """Lambda of best power on this fuel."""
    return targets[f"lambda.target_{engine.fuel.replace(' ', '_').lower()}"]


def banks_read(engine: Engine, run: Run, disregard: Set[tuple[int, str]]) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Each bank whose lambda can be used, with its cylinders.

    One cylinder whose lambda is disregarded (a misfire reads lean) spoils the sensor that it shares.
    """
    for bank in run.bank_lambda:
        of_bank = tuple(place.number for place in engine.cylinders if place.bank == bank)
        cylinders = engine.numbers if engine.arrangement == "inline" or not of_bank else of_bank
        if not any((cylinder, "lambda") in disregard for cylinder in cylinders):
            yield bank, cylinders
