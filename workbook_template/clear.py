"""Everything of strapline's out of a workbook again, so that the racer has the file as it was."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from workbook_template.hosts.file import FileHost
from workbook_template.how_read import HOW_READ, read_corrections
from workbook_template.package import Ownership


@dataclass(frozen=True, slots=True)
class Cleared:
    """What was taken out of which file, and where the result and the backup are.

    exact: every part of the file is the racer's own again, byte for byte. answers: how many of the racer's answers
    went with the sheet 'How it was read'.
    """

    source: Path
    path: Path
    backup: Path | None
    owned: Ownership
    exact: bool
    answers: int


def clear_log(path: Path, out: Path | None = None) -> Cleared:
    """Take out all that strapline ever wrote. Raises LogbookError for a file that cannot be used or replaced."""
    host = FileHost(path, out)
    answers = read_corrections(host.read())
    package = host.clear()
    given = answers.meanings.keys() | answers.units.keys()
    count = len(given) + len(answers.answers) if HOW_READ in package.owned.sheets else 0
    return Cleared(path, host.out, host.backup, package.owned, package.is_as_saved(), count)


def cleared_lines(cleared: Cleared) -> Iterator[str]:
    """What went, and what came of it."""
    source = cleared.source.name
    if not cleared.owned:
        yield f"There is nothing of strapline's in {source}."
        return
    elsewhere = "" if cleared.path == cleared.source else f" The result is {cleared.path}."
    yield f"Took out of {source}: {_listed(list(_taken(cleared.owned)))}.{elsewhere}"
    if cleared.exact:
        yield "Every part of the file is again as it was before the first fill."
    else:
        yield (
            "Another program has saved the file since it was filled, so what was strapline's went where it stands now, "
            "and all else is as that program left it."
        )
    if cleared.answers:
        many, them = ("answer", "it") if cleared.answers == 1 else (f"{cleared.answers} answers", "them")
        keeper = source if cleared.backup is None else cleared.backup.name
        yield f"Your {many} on the sheet {HOW_READ} went too; {keeper} still has {them}, to copy after the next fill."
    if cleared.backup is not None:
        yield f"The file as it was is kept as {cleared.backup.name}."


def _taken(owned: Ownership) -> Iterator[str]:
    sheets = sorted(owned.sheets.values())
    if sheets:
        yield f"the sheet{'s' if len(sheets) > 1 else ''} {_listed(sheets)}"
    for sheet, areas in owned.cells.items():
        count = sum(area.size for area in areas)
        yield f"{count} cell{'s' if count > 1 else ''} of {sheet}"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
