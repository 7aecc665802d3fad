"""What the user of a button in Excel sees: messages of Excel's own, and windows for what is longer or asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from engine_rules.logbook import LogbookError
from workbook_template.live import FormField

TITLE = "strapline"
# A message box of Excel's own cuts off what is longer.
MOST_LINES, MOST_LETTERS = 12, 900
MORE = "... All of it is shown by the same command in a terminal; see strapline live --help"
NO_WINDOWS = "this Python can open no window (it lacks tkinter); in a terminal run strapline live --help"


def say(app: Any, lines: Sequence[str], mode: str = "info") -> None:
    """A message, or a window where there are many lines. mode: 'info' or 'critical'."""
    text = "\n".join(lines)
    if len(lines) <= MOST_LINES and len(text) <= MOST_LETTERS:
        app.alert(text, TITLE, "ok", mode)
        return
    try:
        window = Window()
    except LogbookError:
        app.alert(f"{text[:MOST_LETTERS]}\n{MORE}", TITLE, "ok", mode)
        return
    window.show_text(text)
    window.add_button("OK", "ok")
    window.run()


def ask(fields: Sequence[FormField]) -> dict[str, str] | None:
    """The answers to the fields of a form, the empty ones left out; None where it was cancelled.

    Raises LogbookError where no window can be opened.
    """
    window = Window()
    for field in fields:
        window.add_field(field.key, field.label)
    window.add_button("OK", "ok")
    window.add_button("Cancel", "")
    return window.answers() if window.run() else None


def choose(labels: Mapping[str, str]) -> str | None:
    """The key of the label that was chosen; None for none. Raises LogbookError where no window can be opened."""
    window = Window()
    for key, label in labels.items():
        window.add_button(label, key, side="top")
    return window.run() or None


class Window:
    """A small window before all others. Raises LogbookError where none can be opened."""

    def __init__(self) -> None:
        try:
            import tkinter

            self.root = tkinter.Tk()
        except (ImportError, RuntimeError) as error:
            raise LogbookError(NO_WINDOWS) from error
        except Exception as error:
            raise LogbookError(f"no window can be opened ({error}); in a terminal run strapline live --help") from error
        self.tk = tkinter
        self.chosen = ""
        self.written: dict[str, str] = {}
        self.fields: dict[str, Any] = {}
        self.buttons: dict[str, Any] = {}
        self.root.title(TITLE)
        self.root.attributes("-topmost", True)
        self.root.bind("<Escape>", lambda _: self.root.destroy())

    def show_text(self, text: str) -> None:
        """A text to read and to copy from, with a bar to scroll it by."""
        frame = self.tk.Frame(self.root)
        bar = self.tk.Scrollbar(frame)
        shown = self.tk.Text(frame, width=106, height=36, wrap="word", yscrollcommand=bar.set, font="TkFixedFont")
        shown.insert("1.0", text)
        shown.configure(state="disabled")
        bar.configure(command=shown.yview)
        bar.pack(side="right", fill="y")
        shown.pack(side="left", fill="both", expand=True)
        frame.pack(fill="both", expand=True)

    def add_field(self, key: str, label: str) -> None:
        """A line to write in, with what is asked before it."""
        row = self.tk.Frame(self.root)
        self.tk.Label(row, text=label, anchor="w", width=48).pack(side="left", padx=6, pady=3)
        entry = self.tk.Entry(row, width=18)
        entry.pack(side="right", padx=6)
        row.pack(fill="x")
        if not self.fields:
            entry.focus_set()
            self.root.bind("<Return>", lambda _: self._choose("ok"))
        self.fields[key] = self.tk.StringVar(self.root)
        entry.configure(textvariable=self.fields[key])

    def add_button(self, label: str, key: str, side: Any = "left") -> None:
        """A button that closes the window; key: what `run` then returns."""
        button = self.tk.Button(self.root, text=label, width=24, command=self._choosing(key))
        button.pack(side=side, padx=6, pady=6)
        self.buttons[label] = button

    def answers(self) -> dict[str, str]:
        """What was written in the fields, the empty ones left out."""
        return self.written

    def run(self) -> str:
        """Show it until it is closed; the key of the button that closed it, '' for none."""
        self.root.lift()
        self.root.focus_force()
        self.root.mainloop()
        return self.chosen

    def _choosing(self, key: str) -> Callable[[], None]:
        return lambda: self._choose(key)

    def _choose(self, key: str) -> None:
        written = {name: value.get().strip() for name, value in self.fields.items()}
        self.written = {name: text for name, text in written.items() if text}
        self.chosen = key
        self.root.destroy()
