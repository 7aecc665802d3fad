"""`python -m workbook_template.live_protocol`: one question as JSON on stdin, one answer as JSON on stdout.

A question: {"command", "document", "blocks", "marks", "selected", "air"}. An answer: {"lines", "changes", "go_to",
"data", "form"}, or {"error"} with one sentence. `hosts.wire` says how values, cells and changes are written.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import traceback
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from workbook_template.hosts import wire
from workbook_template.live import Answer, Asked, Selected, answer


def main() -> None:
    """Answer one question."""
    with contextlib.redirect_stdout(sys.stderr):  # nothing else may get between the braces
        said = reply(sys.stdin.buffer.read())
    sys.stdout.buffer.write(json.dumps(said, allow_nan=False).encode())


def reply(question: bytes) -> Mapping[str, Any]:
    """The answer to a question; whatever goes wrong is one sentence under "error"."""
    from workbook_template.command_line import explained

    try:
        return answer_to_json(answer(asked_from_json(json.loads(question))))
    except Exception as error:
        if os.environ.get("STRAPLINE_DEBUG") == "1":
            traceback.print_exc()
        return {"error": explained(error)[0].rstrip(".") + "."}


def asked_from_json(data: Mapping[str, Any]) -> Asked:
    """A question from JSON."""
    selected = data.get("selected")
    return Asked(
        command=data["command"],
        document=data["document"],
        blocks=tuple(wire.block_from_json(block) for block in data["blocks"]),
        marks=tuple(wire.mark_from_json(mark) for mark in data.get("marks", ())),
        selected=None if selected is None else Selected(**selected),
        air=data.get("air", {}),
    )


def answer_to_json(made: Answer) -> Mapping[str, Any]:
    """An answer as JSON."""
    return {
        "lines": list(made.lines),
        "changes": None if made.settled is None else wire.settled_to_json(made.settled),
        "go_to": made.go_to,
        "data": made.data,
        "form": [asdict(field) for field in made.form],
    }


if __name__ == "__main__":
    main()
