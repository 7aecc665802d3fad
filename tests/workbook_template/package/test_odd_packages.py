"""Packages written in every way that is allowed: read alike, edited, and given back; others are refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from workbook_template.hosts.blocks import blocks_from_file
from workbook_template.package import EditRefused, PackageRefused, open_package, strip

from .odd_packages import PLAIN, SOUND, UNSOUND
from .samples import block


@pytest.mark.parametrize("name", SOUND)
def test_it_is_read_edited_and_given_back(name: str, tmp_path: Path) -> None:
    for file, data in (("plain", PLAIN), ("odd", SOUND[name])):
        (tmp_path / f"{file}.xlsx").write_bytes(data)
    read = blocks_from_file(tmp_path / "odd.xlsx")
    assert read[0].rows == blocks_from_file(tmp_path / "plain.xlsx")[0].rows
    package = open_package(SOUND[name])
    edits = block(package, read[0].name)
    data = package.apply(edits)
    edited = open_package(data)
    assert edited.apply(edits) == data
    assert open_package(strip(edited)).members == package.members
    (tmp_path / "edited.xlsx").write_bytes(data)
    after = blocks_from_file(tmp_path / "edited.xlsx")
    assert [row[:3] for row in after[0].rows] == [*read[0].rows]
    assert [row[3:] for row in after[0].rows][1] == (3.0, "=not a formula", True)


@pytest.mark.parametrize("name", UNSOUND)
def test_it_is_refused_in_one_sentence(name: str) -> None:
    data, reason = UNSOUND[name]
    with pytest.raises((PackageRefused, EditRefused), match=reason):
        package = open_package(data)
        package.apply(block(package, "Log", column=9))


def test_nothing_climbs_out_of_the_package(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(SOUND["members named to climb out"])
    blocks_from_file(path)
    package = open_package(path)
    path.write_bytes(package.apply(block(package, "Log")))
    assert [one.name for one in tmp_path.iterdir()] == ["log.xlsx"]
