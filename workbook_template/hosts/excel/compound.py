"""Compound files, as the macro part of a workbook is one: the contents of streams exchanged, all else kept.

Source: [MS-CFB], Compound File Binary File Format, version 3.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence

SIGNATURE = bytes.fromhex("D0CF11E0A1B11AE1")
SECTOR, MINI, ENTRY, CUTOFF = 512, 64, 128, 4096
FREE, END, FAT_SECTOR = 0xFFFFFFFF, 0xFFFFFFFE, 0xFFFFFFFD
IN_HEADER = 109  # sectors of the allocation table that the header can name
STORAGE, STREAM, ROOT = 1, 2, 5


class NoCompoundFile(ValueError):
    """This is no compound file of the kind that is understood here."""


def streams(data: bytes) -> dict[str, bytes]:
    """Every stream's content by its name. Raises NoCompoundFile."""
    return {entry.name: content for entry, content in _Read(data).contents() if entry.kind == STREAM}


def with_streams(data: bytes, changed: Mapping[str, bytes]) -> bytes:
    """The file with other content in some streams; its directory keeps its order, names and dates.

    Raises NoCompoundFile, KeyError for a stream that is not there.
    """
    read = _Read(data)
    contents = read.contents()
    for name in changed:
        if all(entry.name != name or entry.kind != STREAM for entry, _ in contents):
            raise KeyError(name)
    wanted = [(entry, changed.get(entry.name, content) if entry.kind == STREAM else b"") for entry, content in contents]
    return _laid_out(data[:SECTOR], wanted)


class _Entry:
    """One entry of the directory."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        length = struct.unpack_from("<H", raw, 64)[0]
        self.name = raw[: max(length - 2, 0)].decode("utf-16-le")
        self.kind = raw[66]
        self.start, self.size = struct.unpack_from("<II", raw, 116)

    def placed(self, start: int, size: int) -> bytes:
        return self.raw[:116] + struct.pack("<IQ", start, size)


class _Read:
    def __init__(self, data: bytes) -> None:
        if data[:8] != SIGNATURE or struct.unpack_from("<HHHHH", data, 24)[1:] != (3, 0xFFFE, 9, 6):
            raise NoCompoundFile("no compound file of version 3")
        if struct.unpack_from("<I", data, 72)[0]:
            raise NoCompoundFile("a compound file of more than 7 MB")
        self.data = data
        tables = struct.unpack_from("<I", data, 44)[0]
        self.fat = self._numbers(struct.unpack_from(f"<{tables}I", data, 76))
        directory = self._chain(struct.unpack_from("<I", data, 48)[0])
        self.entries = [_Entry(directory[at : at + ENTRY]) for at in range(0, len(directory), ENTRY)]
        self.mini_fat = self._numbers(self._sectors(struct.unpack_from("<I", data, 60)[0]))
        self.mini = self._chain(self.entries[0].start)

    def contents(self) -> list[tuple[_Entry, bytes]]:
        return [(entry, self._content(entry) if entry.kind == STREAM else b"") for entry in self.entries]

    def _content(self, entry: _Entry) -> bytes:
        if entry.size >= CUTOFF:
            return self._chain(entry.start)[: entry.size]
        parts, at = list[bytes](), entry.start
        while at < FAT_SECTOR and len(parts) * MINI < entry.size:
            parts.append(self.mini[at * MINI : (at + 1) * MINI])
            at = self.mini_fat[at]
        return b"".join(parts)[: entry.size]

    def _sectors(self, start: int) -> list[int]:
        found: list[int] = []
        while start < FAT_SECTOR:
            if start >= len(self.fat) or len(found) > len(self.fat):
                raise NoCompoundFile("its chains of sectors are broken")
            found.append(start)
            start = self.fat[start]
        return found

    def _chain(self, start: int) -> bytes:
        return b"".join(self.data[(at + 1) * SECTOR : (at + 2) * SECTOR] for at in self._sectors(start))

    def _numbers(self, sectors: Sequence[int]) -> tuple[int, ...]:
        content = b"".join(self.data[(at + 1) * SECTOR : (at + 2) * SECTOR] for at in sectors)
        return struct.unpack(f"<{len(content) // 4}I", content)


def _laid_out(header: bytes, contents: Sequence[tuple[_Entry, bytes]]) -> bytes:
    """All sectors anew: allocation table, directory, small streams, large streams."""
    small, mini_fat, small_starts = _chained([c if len(c) < CUTOFF else b"" for _, c in contents], MINI, 0)
    large = [content if len(content) >= CUTOFF else b"" for _, content in contents]
    parts = [bytes(ENTRY) * len(contents), _packed(mini_fat), small, *large]
    tables = 1
    while True:
        body, fat, starts = _chained(parts, SECTOR, tables)
        if tables * (SECTOR // 4) >= tables + len(fat):
            break
        tables += 1
    if tables > IN_HEADER:
        raise NoCompoundFile("a compound file of more than 7 MB")
    entries = [entry.raw for entry, _ in contents]
    entries[0] = contents[0][0].placed(starts[2], len(small))
    for at, (entry, content) in enumerate(contents):
        if entry.kind == STREAM:
            start = starts[3 + at] if len(content) >= CUTOFF else small_starts[at]
            entries[at] = entry.placed(start, len(content))
    directory = b"".join(entries)
    body = directory + body[len(directory) :]
    table = _packed([FAT_SECTOR] * tables + fat)
    named = struct.pack(f"<{IN_HEADER}I", *range(tables), *[FREE] * (IN_HEADER - tables))
    minis = -(-len(parts[1]) // SECTOR)
    places = struct.pack("<IIIIIIIII", tables, starts[0], 0, CUTOFF, starts[1], minis, END, 0, 0)
    return header[:44] + places[:32] + named + table + body


def _chained(parts: Sequence[bytes], size: int, first: int) -> tuple[bytes, list[int], list[int]]:
    """The parts in sectors of that size one behind the other, their chains, and where each begins."""
    body, chains, starts = bytearray(), list[int](), []
    for part in parts:
        count = -(-len(part) // size)
        starts.append(first + len(chains) if count else END)
        chains += [first + len(chains) + at + 1 for at in range(count - 1)] + [END] * bool(count)
        body += part.ljust(count * size, b"\0")
    return bytes(body), chains, starts


def _packed(numbers: Sequence[int]) -> bytes:
    """Numbers in whole sectors, what is left over marked as free."""
    whole = -(-len(numbers) // (SECTOR // 4)) * (SECTOR // 4)
    return struct.pack(f"<{whole}I", *numbers, *[FREE] * (whole - len(numbers)))
