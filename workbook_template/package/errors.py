"""What can go wrong, each as one sentence that says what it is and what to do."""


class PackageRefused(ValueError):
    """The whole file cannot be used, or cannot be edited in place; `reason` is one sentence for the user."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class EditRefused(ValueError):
    """One edit cannot be made without damage; `sheet` and `cell` ("C7", or "" for the sheet) say where."""

    def __init__(self, sheet: str, cell: str, reason: str) -> None:
        place = f"sheet '{sheet}', cell {cell}" if cell else f"sheet '{sheet}'"
        super().__init__(f"{place}: {reason}")
        self.sheet = sheet
        self.cell = cell
        self.reason = reason


class GateFailed(RuntimeError):
    """The check before saving found a change that no edit asked for: a fault of this program, nothing written."""
