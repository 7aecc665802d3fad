"""A folder of workbooks: which are found, under what names they come out, in what order they stand."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import pytest

from engine_rules.logbook import LogbookError
from tests.logs_on_disk import write_log
from tests.workbook_template.racers_books import LAYOUTS
from workbook_template.batch import BACK_OFF, MUST_NOT_RUN, REST, UNREAD, Car, Job, fill_one, find_workbooks, in_order
from workbook_template.batch_summary import write_summary


def touched(folder: Path, *names: str) -> Path:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"")
    return folder


def names_of(folder: Path, out: Path) -> dict[str, str]:
    return {job.workbook: job.filled for job in find_workbooks(folder, out)}


def test_workbooks_are_found_at_any_depth_and_keep_their_names(tmp_path: Path) -> None:
    folder = touched(tmp_path / "cars", "a.xlsx", "sub/deep/a.XLSM", "old.xls", "letter.txt")
    names = {"a.xlsx": "a.xlsx", "sub/deep/a.XLSM": "sub/deep/a.XLSM", "old.xls": "old.xls"}
    assert names_of(folder, tmp_path / "out") == names


def test_what_is_no_log_is_passed_over(tmp_path: Path) -> None:
    names = ["a.xlsx", "~$a.xlsx", ".hidden.xlsx", ".git/b.xlsx", "a.backup-1.xlsx", "a.backup-12.xlsm"]
    assert list(names_of(touched(tmp_path / "cars", *names), tmp_path / "out")) == ["a.xlsx"]


def test_results_inside_the_folder_are_not_taken_for_logs(tmp_path: Path) -> None:
    folder = touched(tmp_path / "cars", "a.xlsx", "filled/a.xlsx", "filled/summary.xlsx")
    assert list(names_of(folder, folder / "filled")) == ["a.xlsx"]


def test_no_two_come_out_under_one_name(tmp_path: Path) -> None:
    names = ["summary.xlsx", "summary (2).xlsx", "sub/summary.xlsx", "car.xlsx", "CAR.xlsx", "car.xlsm"]
    out = names_of(touched(tmp_path / "cars", *names), tmp_path / "out")
    results = [name.casefold() for filled in out.values() for name in (filled, f"{filled}.json")]
    assert len(set(results)) == 2 * len(names)
    assert {"summary.xlsx", "summary.json"}.isdisjoint(results)
    assert out["sub/summary.xlsx"] == "sub/summary.xlsx"


@pytest.mark.parametrize("out", ["cars", "a file"])
def test_an_out_folder_that_will_not_do_is_refused(tmp_path: Path, out: str) -> None:
    touched(tmp_path, "cars/a.xlsx", "a file")
    with pytest.raises(LogbookError, match="choose a"):
        find_workbooks(tmp_path / "cars", tmp_path / out)


def job(tmp_path: Path, name: str) -> Job:
    return Job(tmp_path / name, name, tmp_path / "out", name, f"{name}.json")


@pytest.mark.parametrize(("specks", "group"), [("none", REST), ("few black", BACK_OFF), ("bright", MUST_NOT_RUN)])
def test_specks_bring_a_car_forward(tmp_path: Path, specks: str, group: str) -> None:
    write_log(tmp_path / "car.xlsx", plugs={3: {"specks": specks}})
    (car,) = fill_one(job(tmp_path, "car.xlsx"))
    assert (car.group, car.engine, car.run, car.when) == (group, "Blue car", "2", "2026-03-14 20:20")
    assert (group == REST) or car.cautions[0].startswith("Cylinder 3: ")
    assert car.as_json()["sentence"] is None


@pytest.mark.parametrize("name", ["gone.xlsx", "old.xls"])
def test_a_workbook_that_cannot_be_read_says_why_and_leaves_nothing(tmp_path: Path, name: str) -> None:
    (car,) = fill_one(job(tmp_path, name))
    assert (car.group, car.filled, car.json) == (UNREAD, "", "")
    assert car.sentence and not car.sentence.startswith(f"{name}: ")
    assert list(tmp_path.iterdir()) == []


CARS = (
    Car("=b.xlsx", REST, headline="Change nothing.", filled="=b.xlsx"),
    Car("a#1.xlsx", UNREAD, sentence="the workbook is empty"),
    Car("d.xlsx", MUST_NOT_RUN, headline="Do not run.", cautions=("one", "two"), filled="d.xlsx"),
    Car("sub/c 1.xlsx", BACK_OFF, headline="Back off.", filled="sub/c 1.xlsx"),
)


def test_the_summary_lists_what_is_urgent_first(tmp_path: Path) -> None:
    write_summary(tmp_path, in_order(CARS))
    sheet = openpyxl.load_workbook(tmp_path / "summary.xlsx")["Summary"]
    rows = list(sheet.iter_rows(min_row=4, values_only=True))
    assert [row[0] for row in rows] == ["do not run", "back off", "the rest", "could not be read"]
    assert [row[1] for row in rows] == ["d.xlsx", "sub/c 1.xlsx", "=b.xlsx", "a#1.xlsx"]
    assert rows[0][7] == "one\ntwo" and rows[3][6] == "The workbook is empty"


def test_the_summary_leads_to_each_filled_workbook(tmp_path: Path) -> None:
    write_summary(tmp_path, in_order(CARS))
    sheet = openpyxl.load_workbook(tmp_path / "summary.xlsx")["Summary"]
    links = [cell.hyperlink.target if cell.hyperlink else None for (cell,) in sheet["B4:B7"]]
    assert links == ["d.xlsx", "sub/c%201.xlsx", "%3Db.xlsx", None]


def test_an_earlier_summary_is_kept(tmp_path: Path) -> None:
    (tmp_path / "summary.xlsx").write_bytes(b"with notes of the builder's")
    write_summary(tmp_path, CARS)
    assert (tmp_path / "summary.backup-1.xlsx").read_bytes() == b"with notes of the builder's"


def test_a_workbook_with_two_cars_gives_two_cars(tmp_path: Path) -> None:
    LAYOUTS["two cars in one list"]().save(tmp_path / "two.xlsx")
    cars = fill_one(job(tmp_path, "two.xlsx"))
    assert [(car.engine, car.run, car.filled) for car in cars] == [
        ("Blue", "14", "two.xlsx"),
        ("Red", "12", "two.xlsx"),
    ]
    assert {"Blue", "Red"} == set(json.loads((tmp_path / "out" / "two.xlsx.json").read_text("utf-8")))
