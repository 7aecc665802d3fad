"""One module of a macro part exchanged for other source text, written as the format wants every writer to.

Source: [MS-OVBA], Office VBA File Format Structure: compression 2.4.1, modules 2.3.4.2.3 and 2.3.4.3. No compiled code
is written: Excel compiles the text when it opens the file, as it does with the template's own.
"""

from __future__ import annotations

import struct

from workbook_template.hosts.excel import compound

CHUNK = 4096
TEXT = "cp1252"
_STREAM_NAME, _TEXT_OFFSET, _VERSION = 0x1A, 0x31, 0x09
_VERSION_BYTES = 6  # this record alone gives no true size


def module_text(macros: bytes, name: str) -> str:
    """The source text of a module. Raises compound.NoCompoundFile, KeyError where there is no such module."""
    found = compound.streams(macros)
    content = found[name]
    return decompressed(content[_offset(decompressed(found["dir"]), name)[1] :]).decode(TEXT)


def with_module(macros: bytes, name: str, text: str) -> bytes:
    """The macro part with that text in a module and nothing compiled beside it. Raises as `module_text` does."""
    directory = bytearray(decompressed(compound.streams(macros)["dir"]))
    at, _ = _offset(bytes(directory), name)
    struct.pack_into("<I", directory, at, 0)
    streams = {"dir": compressed(bytes(directory)), name: compressed(text.encode(TEXT))}
    return compound.with_streams(macros, streams)


def _offset(directory: bytes, name: str) -> tuple[int, int]:
    """Where the directory says how much compiled code stands before a module's text, and how much."""
    at, module = 0, ""
    while at + 6 <= len(directory):
        kind, size = struct.unpack_from("<HI", directory, at)
        size = _VERSION_BYTES if kind == _VERSION else size
        if kind == _STREAM_NAME:
            module = directory[at + 6 : at + 6 + size].decode(TEXT)
        elif kind == _TEXT_OFFSET and module == name:
            return at + 6, struct.unpack_from("<I", directory, at + 6)[0]
        at += 6 + size
    raise KeyError(name)


def decompressed(data: bytes) -> bytes:
    """The content of a compressed container."""
    made, at = bytearray(), 1
    while at < len(data):
        header = struct.unpack_from("<H", data, at)[0]
        end = min(at + (header & 0xFFF) + 3, len(data))
        chunk = data[at + 2 : end]
        made += _unpacked(chunk) if header & 0x8000 else chunk
        at = end
    return bytes(made)


def _unpacked(chunk: bytes) -> bytes:
    made, at = bytearray(), 0
    while at < len(chunk):
        flags, at = chunk[at], at + 1
        for bit in range(8):
            if at >= len(chunk):
                break
            if not flags >> bit & 1:
                made.append(chunk[at])
                at += 1
                continue
            token, at = struct.unpack_from("<H", chunk, at)[0], at + 2
            bits = _length_bits(len(made))
            back = (token >> bits) + 1
            for _ in range((token & (1 << bits) - 1) + 3):
                made.append(made[-back])
    return bytes(made)


def compressed(data: bytes) -> bytes:
    """A compressed container with that content."""
    return b"\x01" + b"".join(_packed(data[at : at + CHUNK]) for at in range(0, len(data), CHUNK))


def _packed(chunk: bytes) -> bytes:
    made, at = bytearray(), 0
    while at < len(chunk):
        flags, tokens = 0, bytearray()
        for bit in range(8):
            if at >= len(chunk):
                break
            bits = _length_bits(at)
            back, length = _longest(chunk, at, (1 << bits) + 2)
            if length >= 3:
                flags |= 1 << bit
                tokens += struct.pack("<H", back - 1 << bits | length - 3)
                at += length
            else:
                tokens.append(chunk[at])
                at += 1
        made += bytes((flags,)) + tokens
    if len(made) > CHUNK:  # such a chunk would have to stand uncompressed; no text is like that
        raise ValueError("this cannot be made smaller")
    return struct.pack("<H", 0xB000 | len(made) - 1) + bytes(made)


def _length_bits(position: int) -> int:
    """How many bits of a copy token give the length, that far into a chunk."""
    return 16 - max((position - 1).bit_length(), 4)


def _longest(chunk: bytes, at: int, most: int) -> tuple[int, int]:
    """How far back the longest repetition of what comes begins, and how long it is."""
    best = (0, 0)
    for start in range(at - 1, -1, -1):
        length = 0
        while length < most and at + length < len(chunk) and chunk[start + length] == chunk[at + length]:
            length += 1
        if length > best[1]:
            best = (at - start, length)
    return best
