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

# After a failure nothing is tried for so long: a sheet of a thousand cells must not wait a thousand times.
REST_S = 15.0


class Calculator:
    """The process, started when it is first needed, and again where it ended."""

    def __init__(self, settings: Any) -> None:
        self._settings = settings
        self._process: Any = None
        self._lines: Any = None
        self._failed, self._rests_until = "", 0.0

    def call(self, name: str, given: Sequence[Any]) -> Any:
        """What the function gives. Raises Unanswered with the reason where it gives nothing."""
        if time.monotonic() < self._rests_until:
            raise Unanswered(self._failed)
        sent = json.dumps({"name": name, "given": given}).encode() + b"\n"
        line = self._told(sent) if self._alive() else None
        if line is None:
            line = self._told_by_a_new_one(sent)
        said = json.loads(line)
        if "error" in said:
            raise Unanswered(said["error"])
        return said["value"]

    def _alive(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def _told_by_a_new_one(self, sent: bytes) -> bytes:
        settings = json.loads(self._settings.read_text("utf-8"))
        try:
            self._start(settings)
            line = self._told(sent)
            if line is None:
                raise Unanswered("strapline's Python ended without an answer; install strapline again")
        except Unanswered as error:
            self._failed, self._rests_until = str(error), time.monotonic() + REST_S
            raise
        return line

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
        """The line that answers; None where the process ended. Raises Unanswered, and ends it, where it is too slow."""
        try:
            self._process.stdin.write(sent)
            self._process.stdin.flush()
            line = self._lines.get(timeout=self._limit_s)
        except OSError:
            line = None
        except queue.Empty:
            self._end()
            raise Unanswered(
                f"strapline's Python gave no answer within {self._limit_s:g} seconds; recalculate"
            ) from None
        if line is None:
            self._end()
        return line

    def _end(self) -> None:
        self._process.kill()
        self._process.wait()


def _read(stdout: Any, lines: Any) -> None:
    for line in stdout:
        lines.put(line)
    lines.put(None)
