"""Twenty-five workbooks that are damaged, unsupported or odd: refused or survived, in a child with little memory."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from .samples import corpus, needs_corpus

LIMIT_BYTES = 2**30
ENCRYPTED = "encrypted with a password or is an old .xls"
TWICE = "holds part"
OUTCOMES = {
    "BadWorkbook.xlsx": "no worksheet",
    "SharedWorkbook.xlsx": "shared with tracked revisions",
    "SheetsWithoutRelId.xlsx": "leads to no part",
    "Zip-Windows-Directory-Separator.xlsx": "edited",
    "duplicate-filename-case-insensitive.xlsx": TWICE,
    "duplicate-filename.xlsx": TWICE,
    "encryptAES.xlsx": ENCRYPTED,
    "hello-world-signed.xlsx": "digitally signed",
    "huge_dimension.xlsx": "no 3 free visible columns",
    "invalid-xml.xlsx": "not readable XML",
    "invalid.xlsx": "no list of its parts",
    "issue252.xlsx": "checksum is wrong",
    "missing-bits.xlsx": "no list of its parts",
    "missing_sheet_part.xlsx": "is missing",
    "pass_protected.xlsx": ENCRYPTED,
    "protected_passtika.xlsx": ENCRYPTED,
    "protected_sha512.xlsx": ENCRYPTED,
    "rootZipFiles.xlsx": "edited",
    "sample-beta.xlsx": "pre-release",
    "text_renamed.xlsx": "not an .xlsx",
    "truncated_60pct.xlsx": "damaged or cut-off",
    "wrong_content_type.xlsx": "something other than a sheet",
    "xls_renamed.xlsx": ENCRYPTED,
    "xlsb_renamed.xlsx": "binary workbook",
    "xlsx-corrupted.xlsx": "not readable XML",
}
CHILD = """
import json, resource, sys
from pathlib import Path
limit = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))
from workbook_template.package import EditRefused, PackageRefused, open_package, read_cells, sheet_bounds, strip
from tests.workbook_template.package.samples import block
for name in sys.argv[2:]:
    try:
        package = open_package(Path(name))
        for sheet in package.worksheet_names:
            sheet_bounds(package, sheet), sum(1 for _ in read_cells(package, sheet))
        edited = open_package(package.apply(block(package, package.worksheet_names[0])))
        outcome = "edited" if open_package(strip(edited)).members == package.members else "harmed"
    except (PackageRefused, EditRefused) as refused:
        outcome = str(refused)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    print(json.dumps([Path(name).name, outcome, peak]), flush=True)
"""


@pytest.fixture(scope="module")
def outcomes() -> dict[str, tuple[str, int]]:
    """For each bad workbook what became of it and the most memory that the child had used by then."""
    root = Path(__file__).resolve().parents[3]
    command = [sys.executable, "-c", CHILD, str(LIMIT_BYTES), *map(str, corpus("bad"))]
    run = subprocess.run(command, capture_output=True, text=True, timeout=120, cwd=root, check=False)
    assert run.returncode == 0, run.stderr[-2000:]
    return {name: (outcome, peak) for name, outcome, peak in map(json.loads, run.stdout.splitlines())}


@needs_corpus
def test_the_corpus_is_whole(outcomes: dict[str, tuple[str, int]]) -> None:
    assert outcomes.keys() == OUTCOMES.keys()


@needs_corpus
@pytest.mark.parametrize("name", OUTCOMES)
def test_refused_or_survived(name: str, outcomes: dict[str, tuple[str, int]]) -> None:
    outcome, peak = outcomes[name]
    assert OUTCOMES[name] in outcome
    assert "\n" not in outcome
    assert peak < LIMIT_BYTES
