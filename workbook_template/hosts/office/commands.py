"""One press of a button, from the open document to the answer carried out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from . import filling, reading, showing
from .asking import Question, Unanswered
from .changes import Refused

SETTINGS = Path(__file__).with_name("settings.json")
NAMES = {
    "check": "Check",
    "fill": "Fill",
    "air": "Today's air",
    "why": "Why for the selected cell",
    "clear": "Clear",
}
SECONDS_BEFORE_A_WINDOW = 1.5
STEPS = 3


class Press:
    """A button pressed in one frame. quiet: no window opens, and what would be shown is only returned."""

    def __init__(self, ctx: Any, frame: Any, quiet: bool) -> None:
        self.ctx, self.frame, self.quiet = ctx, frame, quiet
        self.controller = frame.Controller
        self.doc: Any = None if self.controller is None else self.controller.Model

    def run(self, command: str, given: Mapping[str, str] | None = None) -> dict[str, Any]:
        """Do the command and say what came of it: {"lines", "go_to", "data"}, or {"error"}."""
        try:
            return self._done(command, given)
        except (Refused, Unanswered) as error:
            return self._failed(str(error))
        except Exception as error:
            kind = " ".join(f"{type(error).__name__}: {error}".split())[:300]
            return self._failed(f"This is a fault of strapline's own ({kind}). Please report it.")

    def _failed(self, sentence: str) -> dict[str, Any]:
        if not self.quiet:
            showing.say(self.ctx, self.frame, [sentence], wrong=True)
        return {"error": sentence}

    def _done(self, command: str, given: Mapping[str, str] | None) -> dict[str, Any]:
        doc = self.doc
        if doc is None or not doc.supportsService("com.sun.star.sheet.SpreadsheetDocument"):
            raise Refused("This is no spreadsheet; open the log of the engine and press the button there.")
        if command in ("fill", "air", "clear") and doc.isReadonly():
            raise Refused(f"{doc.Title} is open for reading only, so nothing can be written; save a copy and use that.")
        said = self._asked(command, given)
        if said.get("form"):
            given = None if self.quiet else showing.ask(self.ctx, self.frame, said["form"])
            if given is None:
                raise Unanswered("Cancelled. Nothing was changed.")
            said = self._asked(command, given)
        if said["changes"] is not None:
            self._carry_out(said["changes"], f"strapline: {NAMES[command]}")
        if said["go_to"]:
            self._go_to(said["go_to"])
        if said["lines"] and not self.quiet:
            showing.say(self.ctx, self.frame, said["lines"])
        return {key: said[key] for key in ("lines", "go_to", "data")}

    def _asked(self, command: str, given: Mapping[str, str] | None) -> dict[str, Any]:
        progress = self._progress("strapline reads the document")
        try:
            question = {
                "command": command, "document": self.doc.Title, "blocks": reading.blocks(self.doc),
                "marks": reading.marks(self.doc), "selected": reading.selected(self.doc), "air": dict(given or {}),
            }  # fmt: skip
            progress.setText("strapline reasons")
            progress.setValue(1)
            asked = Question(json.loads(SETTINGS.read_text("utf-8")), question)
            if not asked.wait(None if self.quiet else SECONDS_BEFORE_A_WINDOW):
                showing.wait_for(self.ctx, self.frame, asked)
            return asked.answer()
        finally:
            progress.end()

    def _carry_out(self, asked: Mapping[str, Any], title: str) -> None:
        desktop = self.ctx.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", self.ctx)
        progress = self._progress("strapline writes")
        progress.setValue(2)
        try:
            # Not under locked controllers: their office then records what it was told not to (see `filling.Unseen`).
            filling.carry_out(desktop, self.doc, asked, title)
        finally:
            progress.end()

    def _go_to(self, place: str) -> None:
        name, _, cell = place.rpartition("!")
        name = name[1:-1].replace("''", "'") if name.startswith("'") else name
        if self.doc.Sheets.hasByName(name):
            sheet = self.doc.Sheets.getByName(name)
            self.controller.setActiveSheet(sheet)
            self.controller.select(sheet.getCellRangeByName(cell))

    def _progress(self, text: str) -> Any:
        # Not a context manager of Python's own: those spoil the exceptions of the office.
        indicator = self.frame.createStatusIndicator()
        indicator.start(text, STEPS)
        return indicator
