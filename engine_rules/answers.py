"""What was read on one run in the sign's own unit: how the engine answered, for its log to be learned from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from engine_rules.fit import in_doubt, spoiled
from engine_rules.logbook import Logbook, Run, Sign
from engine_rules.looks import applies, banks_read, lambda_spread_pct, lambda_target, sign_spread
from engine_rules.words import word_lists

KINDS = ("ring", "shell_ring", "strap_mark", "egt", "lambda", "bank_lambda")
MARKS = ("ring", "shell_ring", "strap_mark")


@dataclass(frozen=True, slots=True)
class Answer:
    """One reading: its kind, whose (a cylinder, or a bank), the cylinders it looks at, its amount and spread.

    Units: mm, turns, share of strap, K; lambda in percent fuel against its target.
    """

    kind: str
    of: int | str
    cylinders: tuple[int, ...]
    amount: float
    sd: float


def answers(logbook: Logbook, run: Run) -> Iterator[Answer]:
    """The readings of a run that is fit, but for spoiled plugs and marks at the very end of their scale."""
    engine, targets = logbook.engine, logbook.targets
    widened = targets["fit.short_noise"] if in_doubt(logbook, run) else 1.0
    oxygen_sd, oxygen_target = lambda_spread_pct(engine, targets), lambda_target(engine, targets)
    dead = set()
    for reading in run.readings:
        at = reading.cylinder
        if spoiled(reading):
            dead.add((at, "lambda"))
            continue
        if at not in engine.numbers:
            continue
        for sign in reading.signs:
            if sign.kind in MARKS and sign.certainty > 0.0 and applies(engine, sign.kind):
                amount = _amount(sign)
                if amount is not None:
                    sd = sign_spread(targets, sign) * widened / sign.certainty
                    yield Answer(sign.kind, at, (at,), amount, sd)
        if reading.egt_c is not None:
            yield Answer("egt", at, (at,), reading.egt_c.value, targets["egt.noise_k"])
        if reading.lambda_ratio is not None and reading.lambda_ratio.value > 0.0:
            amount = 100.0 * (oxygen_target / reading.lambda_ratio.value - 1.0)
            yield Answer("lambda", at, (at,), amount, oxygen_sd)
    for bank, cylinders in banks_read(engine, run, dead):
        ratio = run.bank_lambda[bank].value
        if ratio > 0.0:
            yield Answer("bank_lambda", bank, cylinders, 100.0 * (oxygen_target / ratio - 1.0), oxygen_sd)


def _amount(sign: Sign) -> float | None:
    """The amount, None where the scale ends there: a mark that can go no further hides how far it would have gone."""
    if sign.word is None:
        return sign.amount
    amounts = list(word_lists()[sign.kind].amounts)
    return None if sign.word in (amounts[0], amounts[-1]) else sign.amount
