"""`python -m workbook_template.function_protocol`: worksheet functions for a program that keeps this process alive.

Each line of stdin is a call, {"name", "given"}; each line of stdout its answer, {"value"}, or {"error"} with one
sentence. It ends with its stdin.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from typing import Any

from engine_rules.logbook import LogbookError
from workbook_template.functions import call


def main() -> None:
    """Answer calls to the end."""
    for line in sys.stdin.buffer:
        sys.stdout.buffer.write(json.dumps(reply(line), allow_nan=False).encode() + b"\n")
        sys.stdout.buffer.flush()


def reply(line: bytes) -> Mapping[str, Any]:
    """The answer to one call."""
    try:
        asked = json.loads(line)
        return {"value": call(asked["name"], asked["given"])}
    except LogbookError as error:
        return {"error": str(error)}
    except Exception as error:
        kind = " ".join(f"{type(error).__name__}: {error}".split())[:300]
        return {"error": f"this is a fault of strapline's own ({kind}); please report it"}


if __name__ == "__main__":
    main()
