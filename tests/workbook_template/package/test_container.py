"""The zip file: members copied as they are, and what is refused before anything is unpacked."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib

import pytest

from workbook_template.package import CellEdit, Edits, PackageRefused, open_package
from workbook_template.package.container import read_members, unpack, write_members

from .samples import log, made, parts, replaced, zipped

PLAIN = made(log)


def test_members_are_copied_as_compressed_bytes() -> None:
    members = read_members(PLAIN)
    copy = write_members(members)
    assert read_members(copy) == members
    assert write_members(read_members(copy)) == copy
    assert parts(copy) == parts(PLAIN)


def test_stored_streamed_and_folder_members() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        archive.mkdir("xl")
        for name, content in parts(PLAIN).items():
            with archive.open(zipfile.ZipInfo(name), "w") as target:
                target.write(content)
    package = open_package(stream.getvalue())
    edited = open_package(package.apply(Edits((CellEdit("Log", 1, 5, 1),))))
    assert edited.members[0].name == "xl/"
    assert {member.method for member in edited.members} == {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
    kept = {member.name: member for member in edited.members}
    assert kept["xl/theme/theme1.xml"] == next(m for m in package.members if m.name == "xl/theme/theme1.xml")


def test_names_outside_ascii_are_kept() -> None:
    contents = parts(PLAIN) | {"docProps/größe.bin": b"x"}
    assert unpack(read_members(write_members(read_members(zipped(contents))))[-1]) == b"x"
    assert list(parts(write_members(read_members(zipped(contents)))))[-1] == "docProps/größe.bin"


@pytest.mark.parametrize(
    ("contents", "reason"),
    [
        ({"xl/media/image1.bmp": b"\0" * (20 * 2**20)}, "swells more than 200 times"),
        ({"a.xml": b"", "A.xml": b""}, "holds part 'A.xml' twice"),
        ({"a\\b.xml": b"", "a/b.xml": b""}, "twice"),
    ],
)
def test_bombs_and_twins_are_refused(contents: dict[str, bytes], reason: str) -> None:
    with pytest.raises(PackageRefused, match=reason):
        read_members(zipped(parts(PLAIN) | contents))


def test_a_member_that_unpacks_to_more_than_it_says_is_refused() -> None:
    data = bytearray(zipped({"a.xml": b"x" * 100_000}))
    for header, offset in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        struct.pack_into("<L", data, data.index(header) + offset, 10)
    with pytest.raises(PackageRefused, match="damaged"):
        read_members(bytes(data))


def test_every_single_wrong_byte_is_noticed_or_harmless() -> None:
    members = read_members(PLAIN)
    for position in range(0, len(PLAIN), 97):
        data = bytearray(PLAIN)
        data[position] ^= 0x55
        try:
            found = read_members(bytes(data))
        except PackageRefused:
            continue
        assert [unpack(m) for m in found] == [unpack(m) for m in members]


def test_every_cut_is_refused() -> None:
    for length in range(0, len(PLAIN) - 1, 211):
        with pytest.raises(PackageRefused):
            open_package(PLAIN[:length])


@pytest.mark.parametrize("flag", [0x1, 0x40])
def test_an_encrypted_archive_is_refused(flag: int) -> None:
    data = bytearray(PLAIN)
    at = data.index(b"PK\x01\x02") + 8
    struct.pack_into("<H", data, at, flag | 0x1)
    with pytest.raises(PackageRefused, match="encrypted zip"):
        read_members(bytes(data))


def test_a_document_type_is_refused() -> None:
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><worksheet '
    data = replaced(PLAIN, "xl/worksheets/sheet1.xml", "<worksheet ", bomb)
    with pytest.raises(PackageRefused, match=r"declares a document type|not readable XML"):
        open_package(data).apply(Edits((CellEdit("Log", 1, 5, 1),)))


def test_a_path_that_is_not_there_is_one_sentence() -> None:
    with pytest.raises(PackageRefused, match="cannot be read"):
        open_package("nowhere.xlsx")


def test_the_checksum_is_of_the_content() -> None:
    for member in read_members(PLAIN):
        assert member.crc == zlib.crc32(parts(PLAIN)[member.name])
