"""The installed command on real files: a racer's way through it, and everything that can be wrong with a file."""

from __future__ import annotations

import io
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from openpyxl.workbook import Workbook

from engine_rules import advise
from tests.logs_on_disk import COMMAND, GOOD_PLUG, GOOD_RUN, contents, place_of, strapline, texts, write_log
from workbook_template.build import append_run
from workbook_template.hosts.file import FileHost
from workbook_template.package import save
from workbook_template.read import read_logbook

CORPUS = Path(__file__).parents[2] / "shared" / "corpus" / "bad"
unix_only = pytest.mark.skipif(sys.platform == "win32", reason="signals and limits as Unix has them")
LEAN_LEFT_FRONT = {1: {"ring": "none", "porcelain": "white"}, 3: {"ring": "none", "porcelain": "white"}}


def one_sentence(stderr: str) -> bool:
    return stderr.startswith("strapline: ") and stderr.count("\n") == 1 and stderr.endswith(".\n")


def test_from_a_blank_workbook_to_a_filled_one(tmp_path: Path) -> None:
    assert strapline("new", "LOG.xlsx", "--timing-hardware", "tabs", cwd=tmp_path).returncode == 0
    log = tmp_path / "LOG.xlsx"
    book = openpyxl.load_workbook(log)
    append_run(book, GOOD_RUN | {"name": "1"}, {n: GOOD_PLUG | LEAN_LEFT_FRONT.get(n, {}) for n in range(1, 9)})
    book.save(log)
    before = log.read_bytes()

    checked = strapline("check", log, cwd=tmp_path)
    assert (checked.returncode, checked.stderr) == (0, "")
    assert "1 run, 1 with readings" in checked.stdout
    assert contents(tmp_path) == {"LOG.xlsx": before}

    filled = strapline("fill", log, cwd=tmp_path)
    assert (filled.returncode, filled.stderr) == (0, "")
    assert set(contents(tmp_path)) == {"LOG.xlsx", "LOG.backup-1.xlsx"}
    assert (tmp_path / "LOG.backup-1.xlsx").read_bytes() == before
    advice = advise(read_logbook(FileHost(log).read()).logbook)
    assert advice.headline in filled.stdout and advice.headline in texts(log, "Next run")
    assert any("Why: run 1" in text for text in texts(log, "Why"))
    readings = openpyxl.load_workbook(log)["Readings"]
    said = [readings[place_of(readings.parent, "Readings", "Mixture", row)].value for row in range(4, 12)]
    assert said == [one.mixture_pct for one in advice.cylinders]


def test_filling_twice_is_filling_once(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx", plugs=LEAN_LEFT_FRONT)
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    once = contents(tmp_path)
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    assert contents(tmp_path) == once


def test_a_result_elsewhere_leaves_the_log_as_it_is(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx")
    before = log.read_bytes()
    done = strapline("fill", log, "-o", "OUT.xlsx", cwd=tmp_path)
    assert done.returncode == 0 and "OUT.xlsx" in done.stdout
    assert log.read_bytes() == before
    assert set(contents(tmp_path)) == {"LOG.xlsx", "OUT.xlsx"}
    assert "Next run" in openpyxl.load_workbook(tmp_path / "OUT.xlsx").sheetnames


def test_json_on_the_terminal_is_json_alone(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx", plugs=LEAN_LEFT_FRONT)
    expected = advise(read_logbook(FileHost(log).read()).logbook).as_json()
    done = strapline("fill", log, "--json", "-", cwd=tmp_path)
    assert done.returncode == 0
    assert json.loads(done.stdout) == json.loads(json.dumps(expected))


def test_json_of_every_run_is_a_list_in_the_order_of_the_log(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx", runs=3)
    done = strapline("fill", log, "--all", "--json", "advice.json", cwd=tmp_path)
    assert done.returncode == 0 and "for 3 runs" in done.stdout
    assert [one["run"] for one in json.loads((tmp_path / "advice.json").read_text("utf-8"))] == ["1", "2", "3"]


def test_a_chosen_run_is_advised(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx", runs=3)
    assert "Run 2 (" in strapline("fill", log, "--run", "2", cwd=tmp_path).stdout
    refused = strapline("fill", log, "--run", "9", cwd=tmp_path)
    assert refused.returncode == 2 and one_sentence(refused.stderr)
    assert "there is no run 9" in refused.stderr


def test_a_file_that_is_there_is_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "LOG.xlsx").write_bytes(b"a racer's")
    done = strapline("new", "LOG.xlsx", cwd=tmp_path)
    assert done.returncode == 2 and one_sentence(done.stderr)
    assert contents(tmp_path) == {"LOG.xlsx": b"a racer's"}


# -- what can be wrong in the cells: (what was done, the place that the sentence must name, words of it)

Spoil = Callable[[Workbook], None]


def put(sheet: str, heading: str, row: int, value: object) -> Spoil:
    def spoil(book: Workbook) -> None:
        book[sheet][place_of(book, sheet, heading, row)] = value

    return spoil


def without_sheet(name: str) -> Spoil:
    return lambda book: book.remove(book[name])


WRONG_CELLS: dict[str, tuple[Spoil, str, str]] = {
    "no sheet": (without_sheet("Readings"), "Readings", "add it or rename"),
    "no jets": (without_sheet("Jets"), "Jets", "add it or rename"),
    "no heading": (put("Readings", "Cylinder", 3, None), "Readings: ", "the heading Cylinder was not found"),
    "text for a number": (put("Runs", "Air temp", 5, "warm"), "Runs!F5: ", "'warm'"),
    "jet not on the ladder": (put("Runs", "Jet LF", 5, "741"), "Runs!K5: ", "741"),
    "plug not on the shelf": (put("Readings", "Plug", 14, "Q7"), "Readings!C14: ", "Q7"),
    "no such cylinder": (put("Readings", "Cylinder", 12, 9), "Readings!B12: ", "no cylinder 9"),
    "cylinder twice": (put("Readings", "Cylinder", 13, 1), "Readings!B13: ", "twice"),
    "run twice": (put("Runs", "Run", 5, 1), "Runs!A5: ", "twice"),
    "no such run": (put("Readings", "Run", 4, 77), "Readings!A4: ", "no run 77"),
    "below absolute zero": (put("Runs", "Air temp", 5, "-5 K"), "Runs!F5: ", "not possible"),
    "too humid": (put("Runs", "Humidity", 5, 140), "Runs!J5: ", "not possible"),
    "timing": (put("Runs", "Total timing", 5, 340), "Runs!O5: ", "not possible"),
    "error value": (put("Runs", "ET", 5, "#DIV/0!"), "Runs!W5: ", "#DIV/0!"),
    "unknown word": (put("Readings", "Ring", 15, "purple"), "Readings!D15: ", "purple"),
    "target out of range": (put("Targets", "Yours", 4, 1e9), "Targets!C4", "between"),
}


@pytest.mark.parametrize(("spoil", "place", "words"), WRONG_CELLS.values(), ids=WRONG_CELLS.keys())
def test_a_wrong_cell_gets_one_sentence_with_its_place(tmp_path: Path, spoil: Spoil, place: str, words: str) -> None:
    log = write_log(tmp_path / "LOG.xlsx", edit=spoil)
    before = contents(tmp_path)
    done = strapline("fill", log, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert one_sentence(done.stderr)
    assert place in done.stderr and words in done.stderr
    assert contents(tmp_path) == before


@pytest.mark.parametrize(
    ("spoil", "place"),
    [
        (put("Runs", "Air temp", 4, "warm"), "Runs!F4"),
        (put("Readings", "Cylinder", 4, 9), "Readings!B4"),
        (put("Readings", "Ring", 7, "purple"), "Readings!D7"),
    ],
)
def test_a_wrong_cell_of_an_older_run_sets_that_run_aside_and_is_named(
    tmp_path: Path, spoil: Spoil, place: str
) -> None:
    log = write_log(tmp_path / "LOG.xlsx", edit=spoil)
    assert place in strapline("check", log, cwd=tmp_path).stdout
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    asked = strapline("fill", log, "--run", "1", cwd=tmp_path)
    assert asked.returncode == 2 and one_sentence(asked.stderr) and place in asked.stderr


# -- what can be wrong with the file


def empty_workbook() -> bytes:
    content = io.BytesIO()
    Workbook().save(content)
    return content.getvalue()


def zip_of_something_else() -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("letter.txt", "dear tuner")
    return content.getvalue()


# An old .xls and a workbook under a password both begin with this.
COMPOUND_FILE = bytes.fromhex("d0cf11e0a1b11ae1") + bytes(4096)
WRONG_FILES = {
    "empty workbook": (empty_workbook(), "the workbook is empty"),
    "empty file": (b"", "save it as .xlsx"),
    "text": (b"Run,Date,ET\n1,2026-03-14,10.42\n", "save it as .xlsx"),
    "another zip": (zip_of_something_else(), "not a workbook"),
    "password or old": (COMPOUND_FILE, "password"),
}


@pytest.mark.parametrize(("content", "words"), WRONG_FILES.values(), ids=WRONG_FILES.keys())
def test_a_file_that_is_no_workbook_gets_one_sentence(tmp_path: Path, content: bytes, words: str) -> None:
    (tmp_path / "LOG.xlsx").write_bytes(content)
    done = strapline("fill", "LOG.xlsx", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert one_sentence(done.stderr) and words in done.stderr
    assert contents(tmp_path) == {"LOG.xlsx": content}


@pytest.mark.parametrize("arguments", [["fill", "gone.xlsx"], ["fill", "."], ["fill", "LOG.xlsx", "-o", "gone/a.xlsx"]])
def test_a_place_that_is_not_there_gets_one_sentence(tmp_path: Path, arguments: list[str]) -> None:
    write_log(tmp_path / "LOG.xlsx")
    before = contents(tmp_path)
    done = strapline(*arguments, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert one_sentence(done.stderr)
    assert contents(tmp_path) == before


@pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus is not beside the repository")
@pytest.mark.parametrize("name", sorted(path.name for path in CORPUS.glob("*.xlsx")))
def test_a_workbook_that_another_program_broke_gets_one_sentence(tmp_path: Path, name: str) -> None:
    shutil.copy(CORPUS / name, tmp_path)
    before = contents(tmp_path)
    done = strapline("fill", name, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert one_sentence(done.stderr)
    assert contents(tmp_path) == before


# -- a disk that takes no more, and Ctrl-C


def limited_to(file_bytes: int) -> Callable[[], None]:
    def limit() -> None:
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (file_bytes, file_bytes))

    return limit


@unix_only
@pytest.mark.parametrize("file_bytes", [0, 4_096, 40_000])
@pytest.mark.parametrize("arguments", [["fill", "LOG.xlsx"], ["fill", "LOG.xlsx", "-o", "OUT.xlsx"], ["new", "A.xlsx"]])
def test_a_full_disk_leaves_everything_as_it_was(tmp_path: Path, arguments: list[str], file_bytes: int) -> None:
    write_log(tmp_path / "LOG.xlsx", runs=8)
    before = contents(tmp_path)
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    if arguments[0] == "new":
        file_bytes //= 2  # a blank workbook is smaller than 40,000 bytes
    environment = {**os.environ, "TMPDIR": str(temporary), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [COMMAND, *arguments], cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=120,
        preexec_fn=limited_to(file_bytes),
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert one_sentence(done.stderr) and "room on the disk" in done.stderr
    assert contents(tmp_path) == before


@unix_only
@pytest.mark.parametrize("after_s", [0.4, 1.5])
def test_ctrl_c_ends_quietly_and_writes_nothing(tmp_path: Path, after_s: float) -> None:
    log = write_log(tmp_path / "LOG.xlsx", runs=80)
    before = contents(tmp_path)
    with subprocess.Popen(
        [COMMAND, "fill", log, "--all"], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        time.sleep(after_s)
        process.send_signal(signal.SIGINT)
        said = process.communicate(timeout=60)
    assert (process.returncode, said) == (130, ("", ""))
    assert contents(tmp_path) == before


@unix_only
@pytest.mark.parametrize("after_s", [0.02, 0.1])
def test_ctrl_c_in_the_midst_of_saving_leaves_nothing_about(tmp_path: Path, after_s: float) -> None:
    log = tmp_path / "LOG.xlsx"
    log.write_bytes(b"a racer's")
    before = signal.signal(signal.SIGALRM, signal.default_int_handler)
    try:
        signal.setitimer(signal.ITIMER_REAL, after_s)
        with pytest.raises(KeyboardInterrupt):
            save(log, bytes(200_000_000))
            time.sleep(5)  # where the disk was faster than the signal
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
    assert not list(tmp_path.glob(".*.tmp"))


# -- a folder of workbooks


def cars(folder: Path) -> Path:
    """Five workbooks: one that must not run again, one to back off, two of one name, and one that is no workbook."""
    folder.mkdir()
    (folder / "later").mkdir()
    write_log(folder / "a good.xlsx")
    write_log(folder / "z bright.xlsx", plugs={3: {"specks": "bright"}})
    write_log(folder / "m pepper.xlsx", plugs={5: {"specks": "few black"}})
    write_log(folder / "later" / "a good.xlsx", runs=1)
    (folder / "b broken.xlsx").write_bytes(b"not a workbook")
    return folder


def test_a_batch_puts_the_car_that_must_not_run_first(tmp_path: Path) -> None:
    folder = cars(tmp_path / "cars")
    before = contents(folder)
    done = strapline("batch", folder, "--out", "filled", "--workers", "2", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert contents(folder) == before

    summary = json.loads((tmp_path / "filled" / "summary.json").read_text("utf-8"))
    assert [(car["group"], car["workbook"]) for car in summary] == [
        ("do not run", "z bright.xlsx"),
        ("back off", "m pepper.xlsx"),
        ("the rest", "a good.xlsx"),
        ("the rest", "later/a good.xlsx"),
        ("could not be read", "b broken.xlsx"),
    ]
    assert "not an .xlsx" in summary[-1]["sentence"] and summary[-1]["filled"] is None

    made = {car["filled"] for car in summary[:-1]} | {car["json"] for car in summary[:-1]}
    assert set(contents(tmp_path / "filled")) == made | {"summary.xlsx", "summary.json"}
    for car in summary[:-1]:
        advice = json.loads((tmp_path / "filled" / car["json"]).read_text("utf-8"))
        assert advice["headline"] == car["headline"]
        assert car["headline"] in texts(tmp_path / "filled" / car["filled"], "Next run")
    listed = [row[1].value for row in openpyxl.load_workbook(tmp_path / "filled" / "summary.xlsx")["Summary"]["A4:B8"]]
    assert listed == [car["workbook"] for car in summary]
    assert done.stdout.startswith("DO NOT RUN: z bright.xlsx: ")

    once = contents(tmp_path / "filled")
    assert strapline("batch", folder, "--out", "filled", cwd=tmp_path).returncode == 0
    again = contents(tmp_path / "filled")
    # The time of making stands in a new workbook, so the summary alone differs; the first one is kept beside it.
    assert again.keys() - once.keys() <= {"summary.backup-1.xlsx"}
    assert all(again[name] == content for name, content in once.items() if name != "summary.xlsx")


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="finds the worker by /proc")
def test_a_worker_that_dies_stops_no_other_workbook(tmp_path: Path) -> None:
    folder = tmp_path / "cars"
    folder.mkdir()
    for number in range(4):
        write_log(folder / f"car {number}.xlsx", runs=6)
    command = [COMMAND, "batch", folder, "--out", "filled", "--workers", "1"]
    with subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        os.kill(worker_of(process.pid), signal.SIGKILL)
        stdout, stderr = process.communicate(timeout=120)
    assert (process.returncode, stderr) == (0, "")
    assert "Filled 4 of 4 workbooks" in stdout


@unix_only
@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="finds the worker by /proc")
def test_ctrl_c_ends_a_batch_quietly_and_leaves_whole_files(tmp_path: Path) -> None:
    folder = tmp_path / "cars"
    folder.mkdir()
    for number in range(12):
        write_log(folder / f"car {number}.xlsx", runs=6)
    command = [COMMAND, "batch", folder, "--out", "filled", "--workers", "2"]
    with subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as process:
        worker_of(process.pid)
        time.sleep(1.0)
        os.killpg(process.pid, signal.SIGINT)
        said = process.communicate(timeout=60)
    assert (process.returncode, said) == (130, ("", ""))
    for name, content in contents(tmp_path).items():
        assert name.endswith((".xlsx", ".xlsx.json")) and "summary" not in name
        if name.endswith(".json"):
            json.loads(content)
        else:
            openpyxl.load_workbook(io.BytesIO(content))


def worker_of(pid: int) -> int:
    """The process id of a batch's first worker, once it is there."""
    children = Path(f"/proc/{pid}/task/{pid}/children")
    for _ in range(600):
        for child in children.read_text().split():
            if "spawn_main" in Path(f"/proc/{child}/cmdline").read_text():
                return int(child)
        time.sleep(0.05)
    raise AssertionError("the batch started no worker")
