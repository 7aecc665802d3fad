"""What the user sees: messages, a report, a form, and a window with which to cancel."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from typing import Any

import uno

TITLE = "strapline"
SHORT = 12  # lines up to which a message box will do
ROW = 16  # dialog units
POSITION = 3  # com.sun.star.awt.PosSize


def say(ctx: Any, frame: Any, lines: Sequence[str], wrong: bool = False) -> None:
    """A message, or a report where there are many lines."""
    if len(lines) > SHORT:
        _report(ctx, frame, lines)
        return
    kind = uno.Enum("com.sun.star.awt.MessageBoxType", "ERRORBOX" if wrong else "INFOBOX")
    window = frame.ContainerWindow
    box = window.Toolkit.createMessageBox(window, kind, 1, TITLE, "\n".join(lines))
    box.execute()
    box.dispose()


def _report(ctx: Any, frame: Any, lines: Sequence[str]) -> None:
    model = _dialog(ctx, 460, 300)
    text = _add(model, "Edit", "report", 6, 6, 448, 264)
    text.MultiLine, text.ReadOnly, text.VScroll, text.HScroll = True, True, True, True
    text.FontName, text.FontHeight, text.Text = "Liberation Mono", 9.0, "\n".join(lines)
    _button(model, "ok", "OK", 198, 278, "OK")
    _run(ctx, frame, model)


def ask(ctx: Any, frame: Any, fields: Sequence[Mapping[str, Any]]) -> dict[str, str] | None:
    """The answers to the fields of a form, the empty ones left out; None where it was cancelled."""
    model = _dialog(ctx, 250, ROW * len(fields) + 40)
    for at, field in enumerate(fields):
        _add(model, "FixedText", f"label{at}", 6, 10 + ROW * at, 140, 12).Label = field["label"]
        _add(model, "Edit", f"field{at}", 150, 8 + ROW * at, 94, 13).Text = field.get("default", "")
    bottom = ROW * len(fields) + 18
    _button(model, "ok", "OK", 66, bottom, "OK")
    _button(model, "cancel", "Cancel", 130, bottom, "CANCEL")
    if not _run(ctx, frame, model):
        return None
    texts = [model.getByName(f"field{at}").Text.strip() for at in range(len(fields))]
    return {field["key"]: text for field, text in zip(fields, texts) if text}  # noqa: B905  # Python 3.8


def wait_for(ctx: Any, frame: Any, question: Any) -> None:
    """Wait for a question behind a window with which to cancel it."""
    model = _dialog(ctx, 180, 56)
    _add(model, "FixedText", "label", 6, 10, 168, 12).Label = "Working. Nothing is changed before the answer is there."
    _button(model, "cancel", "Cancel", 58, 32, "CANCEL")
    dialog = _made(ctx, frame, model)

    def watch() -> None:
        question.wait()
        dialog.endDialog(1)

    threading.Thread(target=watch, daemon=True).start()
    if dialog.execute() == 0 and not question.wait(0):
        question.cancel()
        question.wait()
    dialog.dispose()


def _dialog(ctx: Any, width: int, height: int) -> Any:
    model = ctx.ServiceManager.createInstanceWithContext("com.sun.star.awt.UnoControlDialogModel", ctx)
    model.Title, model.Width, model.Height, model.Moveable, model.Closeable = TITLE, width, height, True, True
    return model


def _add(model: Any, kind: str, name: str, x: int, y: int, width: int, height: int) -> Any:
    made = model.createInstance(f"com.sun.star.awt.UnoControl{kind}Model")
    made.PositionX, made.PositionY, made.Width, made.Height = x, y, width, height
    model.insertByName(name, made)
    return made


def _button(model: Any, name: str, label: str, x: int, y: int, kind: str) -> None:
    button = _add(model, "Button", name, x, y, 60, 15)
    button.Label, button.PushButtonType = label, {"OK": 1, "CANCEL": 2}[kind]
    button.DefaultButton = kind == "OK"


def _made(ctx: Any, frame: Any, model: Any) -> Any:
    dialog = ctx.ServiceManager.createInstanceWithContext("com.sun.star.awt.UnoControlDialog", ctx)
    dialog.setModel(model)
    window = frame.ContainerWindow
    dialog.createPeer(window.Toolkit, window)
    around, own = window.PosSize, dialog.PosSize
    dialog.setPosSize(_middle(around.Width, own.Width), _middle(around.Height, own.Height), 0, 0, POSITION)
    # Else the keyboard would be in a report's text, where Enter does nothing.
    if dialog.Model.hasByName("ok") and not dialog.Model.hasByName("field0"):
        dialog.getControl("ok").setFocus()
    return dialog


def _middle(around: int, own: int) -> int:
    return max(0, (around - own) // 2)


def _run(ctx: Any, frame: Any, model: Any) -> bool:
    dialog = _made(ctx, frame, model)
    try:
        return bool(dialog.execute())
    finally:
        dialog.dispose()
