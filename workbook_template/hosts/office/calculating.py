"""Worksheet functions worked out by strapline's own Python, in one process that lives as long as the office."""

from __future__ import annotations

import json
import os
import queue
import subprocess
import threading
import time
from collections.abc import Mapping, Sequence
from typing import Any

from .asking import NO_WINDOW, STRIPPED, Unanswered, cannot_start

AGAIN = "install strapline again and run: strapline addin calc"


class Calculator:
    """The process, started when it is first needed, and again where it ended.

    settings: the file that says which. After a failure nothing is tried for a while: a sheet of a thousand cells must
    not wait a thousand times.
    """

    def __init__(self, settings: Any) -> None:
        self._settings = settings
        self._process: Any = None
        self._lines: Any = None
        self._limit_s = 0.0
        self._failed, self._rests_until = "", 0.0

    def call(self, name: str, given: Sequence[Any]) -> Any:
        """What the function gives. Raises Unanswered with the reason where it gives nothing."""
        if time.monotonic() < self._rests_until:
            raise Unanswered(self._failed)
        sent = json.dumps({"name": name, "given": given}).encode() + b"\n"
        said = self._told(sent) if self._alive() else None
        if said is None:
            said = self._told_by_a_new_one(sent)
        if "error" in said:
            raise Unanswered(said["error"])
        return said["value"]

    def _alive(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def _told_by_a_new_one(self, sent: bytes) -> Any:
        settings = json.loads(self._settings.read_text("utf-8"))
        try:
            self._start(settings)
            said = self._told(sent)
            if said is None:
                raise Unanswered(f"strapline's Python ended without an answer; {AGAIN}")
        except Unanswered as error:
            self._failed, self._rests_until = str(error), time.monotonic() + settings["function_rest_s"]
            raise
        return said

    def _start(self, settings: Mapping[str, Any]) -> None:
        environment = {name: value for name, value in os.environ.items() if name not in STRIPPED}
        try:
            self._process = subprocess.Popen(
                [settings["python"], "-P", "-m", settings["function_module"]], stdin=subprocess.PIPE,
                stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environment, creationflags=NO_WINDOW,
            )  # fmt: skip
        except OSError as error:
            raise cannot_start(settings["python"], error) from error
        self._limit_s = settings["function_limit_s"]
        self._lines = queue.Queue()
        threading.Thread(target=_read, args=(self._process.stdout, self._lines), daemon=True).start()

    def _told(self, sent: bytes) -> Any:
        """What was answered; None where the process ended. Raises Unanswered, and ends it, where it fails otherwise."""
        try:
            self._process.stdin.write(sent)
            self._process.stdin.flush()
            line = self._lines.get(timeout=self._limit_s)
            if line is not None:
                return json.loads(line)
        except OSError:  # it ended before it had read the call
            pass
        except queue.Empty:
            self._end()
            raise Unanswered(f"there was no answer within {self._limit_s:g} seconds; calculate again") from None
        except ValueError:
            self._end()
            raise Unanswered(f"strapline's Python answered something else; {AGAIN}") from None
        self._end()
        return None

    def _end(self) -> None:
        self._process.kill()
        self._process.wait()


def _read(stdout: Any, lines: Any) -> None:
    for line in stdout:
        lines.put(line)
    lines.put(None)
