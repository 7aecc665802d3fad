"""The zip file: read with caps, members kept as their compressed bytes, written back in the same order."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from urllib.parse import unquote

from workbook_template.package.errors import PackageRefused

MAX_FILE_BYTES = 256 * 2**20
MAX_MEMBERS = 20_000
MAX_MEMBER_BYTES = 256 * 2**20
MAX_TOTAL_BYTES = 512 * 2**20
MAX_RATIO = 200
RATIO_MATTERS_BYTES = 16 * 2**20
CHUNK_BYTES = 2**18

_OLE_HEADER = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_UTF8_NAME = 0x800
_ENCRYPTED = 0x1
_ZIP64_EXTRA = 1
_FIRST_DOS_DAY = (1980, 1, 1, 0, 0, 0)
_LOCAL = struct.Struct("<4s5H3L2H")
_CENTRAL = struct.Struct("<4s4B4H3L5H2L")
_END = struct.Struct("<4s4H2LH")


@dataclass(frozen=True, slots=True)
class Member:
    """One entry of the zip file; `packed` is its data exactly as it stands there."""

    name: str
    packed: bytes
    method: int
    crc: int
    size: int
    date_time: tuple[int, int, int, int, int, int] = _FIRST_DOS_DAY
    external_attr: int = 0
    create_system: int = 0
    extra: bytes = b""
    comment: bytes = b""


def part_key(name: str) -> str:
    """The name by which parts are compared: forward slashes, no leading slash, lower case."""
    return unquote(name.replace("\\", "/")).lstrip("/").lower()


def new_member(name: str, content: bytes, like: Member | None = None) -> Member:
    """A member with new content, packed as `like` was (deflated, with a fixed date, where there is none)."""
    method = like.method if like else zipfile.ZIP_DEFLATED
    packed = content
    if method == zipfile.ZIP_DEFLATED:
        squeeze = zlib.compressobj(6, zlib.DEFLATED, -15)
        packed = squeeze.compress(content) + squeeze.flush()
    date_time = like.date_time if like else _FIRST_DOS_DAY
    attr, system = (like.external_attr, like.create_system) if like else (0, 0)
    return Member(name, packed, method, zlib.crc32(content), len(content), date_time, attr, system)


def unpack(member: Member) -> bytes:
    """The member's content; raises PackageRefused where it is damaged."""
    return b"".join(_chunks(member))


def read_members(data: bytes, checked: Iterable[Member] = ()) -> tuple[Member, ...]:
    """All members of a package in the file's order, each checked against its own checksum and the caps.

    checked: members whose checksum was found right before; those that are still the same are not unpacked again.
    """
    _refuse_other_formats(data)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, UnicodeDecodeError, ValueError, EOFError) as error:
        raise PackageRefused("the file is a damaged or cut-off workbook; open it in the program that made it "
                             "and save it again") from error  # fmt: skip
    _refuse_beyond_caps(infos)
    _refuse_twins(infos)
    members = tuple(_member(data, info) for info in infos)
    right = {member.name: member for member in checked}
    for member in members:
        for _ in _chunks(member) if right.get(member.name) != member else ():
            pass
    return members


def write_members(members: Iterable[Member]) -> bytes:
    """The zip file of these members; the same members give the same bytes."""
    out = io.BytesIO()
    directory = bytearray()
    count = 0
    for member in members:
        offset = out.tell()
        name, flags = _encoded_name(member.name)
        day, time = _dos_time(member.date_time)
        sizes = (member.crc, len(member.packed), member.size)
        out.write(_LOCAL.pack(b"PK\x03\x04", 20, flags, member.method, time, day, *sizes, len(name), 0))
        out.write(name)
        out.write(member.packed)
        directory += _CENTRAL.pack(
            b"PK\x01\x02", 20, member.create_system, 20, 0, flags, member.method, time, day, *sizes,
            len(name), len(member.extra), len(member.comment), 0, 0, member.external_attr, offset,
        )  # fmt: skip
        directory += name + member.extra + member.comment
        count += 1
    start = out.tell()
    out.write(directory)
    out.write(_END.pack(b"PK\x05\x06", 0, 0, count, count, len(directory), start, 0))
    return out.getvalue()


def _refuse_other_formats(data: bytes) -> None:
    if len(data) > MAX_FILE_BYTES:
        raise PackageRefused(f"the file is larger than {MAX_FILE_BYTES // 2**20} MB; split the workbook")
    if data.startswith(_OLE_HEADER):
        raise PackageRefused("the file is encrypted with a password or is an old .xls workbook; take the "
                             "password off, or save it as .xlsx")  # fmt: skip
    if not data.startswith(b"PK"):
        raise PackageRefused("the file is not an .xlsx or .xlsm workbook; save it as .xlsx")


def _refuse_beyond_caps(infos: list[zipfile.ZipInfo]) -> None:
    if len(infos) > MAX_MEMBERS:
        raise PackageRefused("the file holds far more parts than any workbook; it was not opened")
    if sum(info.file_size for info in infos) > MAX_TOTAL_BYTES:
        raise PackageRefused(f"the workbook unpacks to more than {MAX_TOTAL_BYTES // 2**20} MB; split it")
    for info in infos:
        if info.flag_bits & _ENCRYPTED:
            raise PackageRefused("the file is an encrypted zip archive; save it without a password")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise PackageRefused(f"part '{info.filename}' is packed in a way no workbook uses; save it again")
        if info.file_size > MAX_MEMBER_BYTES:
            raise PackageRefused(f"part '{info.filename}' is larger than {MAX_MEMBER_BYTES // 2**20} MB")
        if info.file_size > RATIO_MATTERS_BYTES and info.file_size > MAX_RATIO * info.compress_size:
            raise PackageRefused(f"part '{info.filename}' swells more than {MAX_RATIO} times when unpacked; "
                                 "it was not opened")  # fmt: skip


def _refuse_twins(infos: list[zipfile.ZipInfo]) -> None:
    seen: set[str] = set()
    for info in infos:
        key = part_key(info.orig_filename)
        if key in seen:
            raise PackageRefused(f"the file holds part '{info.filename}' twice; open it in the program that "
                                 "made it and save it again")  # fmt: skip
        seen.add(key)


def _member(data: bytes, info: zipfile.ZipInfo) -> Member:
    header = data[info.header_offset : info.header_offset + _LOCAL.size]
    if len(header) < _LOCAL.size or header[:4] != b"PK\x03\x04":
        raise _damaged(info.filename)
    name_length, extra_length = struct.unpack_from("<2H", header, 26)
    start = info.header_offset + _LOCAL.size + name_length + extra_length
    packed = data[start : start + info.compress_size]
    if len(packed) != info.compress_size:
        raise _damaged(info.filename)
    return Member(
        info.orig_filename, packed, info.compress_type, info.CRC, info.file_size, info.date_time,
        info.external_attr, info.create_system, _without_zip64(info.extra), info.comment,
    )  # fmt: skip


def _chunks(member: Member) -> Iterator[bytes]:
    """The content in pieces; stops with PackageRefused at the first sign that it is not what it claims."""
    crc = size = 0
    for piece in _inflated(member):
        crc = zlib.crc32(piece, crc)
        size += len(piece)
        if size > member.size:
            break
        yield piece
    if crc != member.crc or size != member.size:
        raise _damaged(member.name)


def _inflated(member: Member) -> Iterator[bytes]:
    if member.method == zipfile.ZIP_STORED:
        yield member.packed
        return
    stream = zlib.decompressobj(-15)
    waiting = member.packed
    try:
        while waiting and not stream.eof:
            yield stream.decompress(waiting, CHUNK_BYTES)
            waiting = stream.unconsumed_tail
        yield stream.flush(CHUNK_BYTES)
    except zlib.error as error:
        raise _damaged(member.name) from error


def _damaged(name: str) -> PackageRefused:
    return PackageRefused(f"part '{name}' of the workbook is damaged (its checksum is wrong); open the file in "
                          "the program that made it and save it again")  # fmt: skip


def _without_zip64(extra: bytes) -> bytes:
    kept = bytearray()
    at = 0
    while at + 4 <= len(extra):
        kind, length = struct.unpack_from("<2H", extra, at)
        if kind != _ZIP64_EXTRA:
            kept += extra[at : at + 4 + length]
        at += 4 + length
    return bytes(kept)


def _encoded_name(name: str) -> tuple[bytes, int]:
    try:
        return name.encode("ascii"), 0
    except UnicodeEncodeError:
        return name.encode("utf-8"), _UTF8_NAME


def _dos_time(moment: tuple[int, int, int, int, int, int]) -> tuple[int, int]:
    year, month, day, hour, minute, second = moment
    return (year - 1980) << 9 | month << 5 | day, hour << 11 | minute << 5 | second // 2
