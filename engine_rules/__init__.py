"""What a tuner knows: from a log to advice and its reasons. Knows engines, and no spreadsheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from engine_rules.advice import Advice
    from engine_rules.logbook import Logbook

__all__ = ["advise"]


def advise(logbook: Logbook, run: str | None = None) -> Advice:
    """The advice for one run of a log, by name; without one, for the newest run that has readings.

    Raises LogbookError when there is no such run.
    """
    # Imported here so that a caller who only wants a table of units does not wait for the inference engine.
    from engine_rules.session import advise as reason

    return reason(logbook, run)
