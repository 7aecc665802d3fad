"""Sixty workbooks that others made: each is edited without damage, or refused with one clear sentence."""

from __future__ import annotations

import io
import warnings
from collections import Counter
from pathlib import Path

import openpyxl
import pytest
from openxml_audit import FileFormat, OpenXmlValidator, ValidationSeverity
from python_calamine import CalamineError, load_workbook

from workbook_template.package import EditRefused, Package, PackageRefused, open_package, read_cells, strip
from workbook_template.package.container import Member

from .samples import FIRST, SECOND, block, corpus, needs_corpus

STRUCTURE = "the workbook's structure is locked"
SHARED = "the workbook is shared with tracked revisions"
REFUSED = {
    "cx_protectstructurewithpassword.xlsx": STRUCTURE,
    "php_form_pass_print.xlsm": STRUCTURE,
    "poi_workbookProtection-workbook_password_user_range-2010.xlsx": STRUCTURE,
    "poi_workbookProtection_workbook_revision_protected.xlsx": SHARED,
    "sdk_SharedWorkbook.xlsx": SHARED,
    "poi_hello-world-signed.xlsx": "the workbook is digitally signed",
    "xw_protect06.xlsx": "the sheet is protected and this cell is locked",
    "xlz_BadWorkbook.xlsx": "the workbook has no worksheet",
}
MAY_CHANGE = (
    "[content_types].xml", "workbook.xml", "workbook.xml.rels", "styles.xml", "calcchain.xml", "table",
    "comments", "vmldrawing",
)  # fmt: skip
WORKBOOKS = corpus("workbooks")
EDITED = [path for path in WORKBOOKS if path.name not in REFUSED]

pytestmark = needs_corpus


def test_the_corpus_is_whole() -> None:
    assert len(WORKBOOKS) == 60
    assert {path.name for path in WORKBOOKS} >= set(REFUSED)


@pytest.mark.parametrize("path", [p for p in WORKBOOKS if p.name in REFUSED], ids=lambda path: path.name)
def test_refusals_are_one_sentence_that_says_what_to_do(path: Path) -> None:
    with pytest.raises((PackageRefused, EditRefused)) as refused:
        package = open_package(path)
        package.apply(block(package, package.worksheet_names[0]))
    assert REFUSED[path.name] in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.fixture(scope="module", params=EDITED, ids=lambda path: path.name)
def edited(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, str]:
    """The original, the edited copy and the name of the sheet whose cells were written."""
    path: Path = request.param
    package = open_package(path)
    sheet = package.worksheet_names[0]
    copy = tmp_path_factory.mktemp("edited") / path.name
    copy.write_bytes(package.apply(block(package, sheet)))
    return path, copy, sheet


def test_untouched_members_are_the_same_bytes(edited: tuple[Path, Path, str]) -> None:
    before, after = (open_package(path) for path in edited[:2])
    now = {member.name: member for member in after.members}
    sheet = _sheet_file(before, edited[2])
    changed = [member.name for member in before.members if now.get(member.name) != member]
    for name in changed:
        last = name.replace("\\", "/").rpartition("/")[2].lower()
        assert last.startswith(MAY_CHANGE) or last.removesuffix(".rels") == sheet, name
    kept = [member.name for member in before.members if member.name in now]
    assert [member.name for member in after.members][: len(kept)] == kept


def test_a_second_time_gives_the_same_bytes(edited: tuple[Path, Path, str]) -> None:
    original, copy, sheet = edited
    edits = block(open_package(original), sheet)
    assert open_package(copy).apply(edits) == copy.read_bytes()


def test_strip_gives_back_the_original_members(edited: tuple[Path, Path, str]) -> None:
    original, copy, _ = edited
    assert open_package(strip(open_package(copy))).members == open_package(original).members


def test_marks_name_what_was_written(edited: tuple[Path, Path, str]) -> None:
    package = open_package(edited[1])
    assert dict(package.owned.sheets) == {FIRST: FIRST, SECOND: SECOND}
    assert [(area.first_row, area.last_row) for area in package.owned.cells[edited[2]]] == [(1, 5)] * 3
    assert package.sheet_names[-2:] == (FIRST, SECOND)


def test_no_error_that_the_original_had_not(edited: tuple[Path, Path, str]) -> None:
    assert not _errors(edited[1]) - _errors(edited[0])


def test_our_reader_sees_what_was_and_what_is_new(edited: tuple[Path, Path, str]) -> None:
    original, copy, sheet = edited
    before, after = open_package(original), open_package(copy)
    areas = after.owned.cells[sheet]
    first = areas[0].first_column
    for name in before.worksheet_names:
        now = {(row, column): value for row, column, value in read_cells(after, name)}
        if name == sheet:
            written = {place: now.pop(place) for area in areas for place in area.places()}
            assert written[(2, first)] == 3.0
            assert written[(3, first + 1)] == "=not a formula"
            assert written[(4, first + 2)] is True
        assert now == {(row, column): value for row, column, value in read_cells(before, name)}


def test_openpyxl_reads_the_other_sheets_as_before(edited: tuple[Path, Path, str]) -> None:
    original, copy, sheet = edited
    before = _openpyxl_values(original, sheet)
    if before is None:
        pytest.skip("openpyxl does not load the original")
    after = _openpyxl_values(copy, sheet)
    assert after is not None
    assert {name: after[name] for name in before} == before


def test_calamine_reads_the_other_sheets_as_before(edited: tuple[Path, Path, str]) -> None:
    original, copy, sheet = edited
    try:
        before = _calamine_values(original, sheet)
    except CalamineError:
        pytest.skip("calamine does not load the original")
    after = _calamine_values(copy, sheet)
    assert {name: after[name] for name in before} == before
    assert after[FIRST][1][0] == 0.0


def _sheet_file(package: Package, sheet: str) -> str:
    from workbook_template.package.draft import Draft
    from workbook_template.package.workbook_part import WorkbookPart

    members: tuple[Member, ...] = package.members
    found = WorkbookPart(Draft(members)).sheet(sheet)
    assert found is not None
    return found.part.rpartition("/")[2].lower()


def _errors(path: Path) -> Counter[tuple[str, str, str | None]]:
    result = OpenXmlValidator(file_format=FileFormat.MICROSOFT_365, max_errors=0).validate(path)
    return Counter(
        (error.part_uri, error.description, error.node)
        for error in result.errors
        if error.severity is ValidationSeverity.ERROR
    )


def _openpyxl_values(path: Path, without: str) -> dict[str, list[tuple[object, ...]]] | None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            book = openpyxl.load_workbook(io.BytesIO(path.read_bytes()))
        except (KeyError, TypeError, ValueError):
            return None
    return {sheet.title: [_texts(row) for row in sheet.values] for sheet in book.worksheets if sheet.title != without}


def _texts(row: tuple[object, ...]) -> tuple[object, ...]:
    return tuple(vars(value) if hasattr(value, "ref") else value for value in row)


def _calamine_values(path: Path, without: str) -> dict[str, list[list[object]]]:
    book = load_workbook(str(path))
    return {
        name: [list(row) for row in book.get_sheet_by_name(name).to_python()]
        for name in book.sheet_names
        if name != without
    }
