"""The question put to strapline's own Python in a process of its own: the office needs none of its packages."""

from __future__ import annotations

import json
import os
import subprocess
import threading
from collections.abc import Mapping
from typing import Any

# The office sets these for its own Python; another one would take its libraries for its own.
STRIPPED = ("PYTHONHOME", "PYTHONPATH", "LD_LIBRARY_PATH", "UNO_PATH", "URE_BOOTSTRAP", "PYTHONUSERBASE")
NO_WINDOW = getattr(subprocess, "CREATE_NO_WINDOW", 0)


class Unanswered(Exception):
    """There is no answer; one sentence with what to do."""


def cannot_start(python: str, error: OSError) -> Unanswered:
    """Why there is no answer where the interpreter does not start."""
    return Unanswered(
        f"strapline's Python cannot be started ({python}: {error.strerror}). "
        "Install strapline again and run: strapline addin calc"
    )


class Question:
    """One question on its way. It runs beside the office; `wait` for it, or `cancel` it."""

    def __init__(self, settings: Mapping[str, Any], question: Mapping[str, Any]) -> None:
        self._limit_s = settings["time_limit_s"]
        self._sent = json.dumps(question).encode()
        self._answer: bytes | None = None
        self._cancelled = self._late = False
        python = settings["python"]
        environment = {name: value for name, value in os.environ.items() if name not in STRIPPED}
        try:
            self._process = subprocess.Popen(
                [python, "-P", "-m", settings["module"]], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL, env=environment, creationflags=NO_WINDOW,
            )  # fmt: skip
        except OSError as error:
            raise cannot_start(python, error) from error
        self._thread = threading.Thread(target=self._talk, daemon=True)
        self._thread.start()

    def wait(self, seconds: float | None = None) -> bool:
        """Wait that long, or to the end; whether it is over."""
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def cancel(self) -> None:
        """End it; the answer is then that it was cancelled."""
        self._cancelled = True
        self._process.kill()

    def answer(self) -> dict[str, Any]:
        """What was answered. Raises Unanswered, also where the answer is that there is none."""
        if self._cancelled:
            raise Unanswered("Cancelled. Nothing was changed.")
        if self._late:
            raise Unanswered(f"There was no answer within {self._limit_s:g} seconds. Nothing was changed; try again.")
        try:
            said = json.loads(self._answer or b"")
        except ValueError:
            raise Unanswered(
                "strapline's Python ended without an answer. Nothing was changed. Try again; if it stays so, run "
                "strapline check on the saved file, which says more"
            ) from None
        if "error" in said:
            raise Unanswered(said["error"])
        return said

    def _talk(self) -> None:
        try:
            self._answer, _ = self._process.communicate(self._sent, timeout=self._limit_s)
        except subprocess.TimeoutExpired:
            self._late = True
            self._process.kill()
            self._process.communicate()
        except OSError:  # it ended before it had read the question
            self._process.kill()
            self._process.wait()
