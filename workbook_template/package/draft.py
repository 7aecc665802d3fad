"""A working copy of a package: parts are parsed on first use and repacked only where they changed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lxml import etree

from workbook_template.package import markup
from workbook_template.package.container import Member, new_member, part_key, unpack, write_members
from workbook_template.package.errors import PackageRefused


@dataclass(slots=True)
class _Parsed:
    tree: markup.Markup
    before: bytes


class Draft:
    """Members by name, in the file's order; every change goes through here."""

    def __init__(self, members: Iterable[Member]) -> None:
        self._members: dict[str, Member | None] = {part_key(member.name): member for member in members}
        self._parsed: dict[str, _Parsed] = {}

    def has(self, part: str) -> bool:
        return self._members.get(part_key(part)) is not None

    def names(self) -> list[str]:
        return [member.name for member in self._members.values() if member is not None]

    def member(self, part: str) -> Member:
        member = self._members.get(part_key(part))
        if member is None:
            raise PackageRefused(f"the workbook lacks its part '{part}'; open it in the program that made it "
                                 "and save it again")  # fmt: skip
        return member

    def content(self, part: str) -> bytes:
        """The part's bytes as they would be saved now."""
        parsed = self._parsed.get(part_key(part))
        if parsed is None or etree.tostring(parsed.tree.root.getroottree()) == parsed.before:
            return unpack(self.member(part))
        return parsed.tree.to_bytes()

    def root(self, part: str) -> etree._Element:
        """The part's root element; what is changed there is saved."""
        key = part_key(part)
        if key not in self._parsed:
            tree = markup.parse(unpack(self.member(part)), self.member(part).name)
            self._parsed[key] = _Parsed(tree, etree.tostring(tree.root.getroottree()))
        return self._parsed[key].tree.root

    def put(self, part: str, content: bytes) -> None:
        """Set a part; one that was there keeps its place in the file, a new one comes last."""
        key = part_key(part)
        old = self._members.get(key)
        self._parsed.pop(key, None)
        self._members[key] = new_member(old.name if old else part, content, like=old)

    def put_root(self, part: str, root: etree._Element) -> None:
        """Set a new XML part from its root element."""
        self.put(part, markup.new(root).to_bytes())

    def delete(self, part: str) -> None:
        """Take a part out; its place is kept for one of the same name."""
        key = part_key(part)
        self._parsed.pop(key, None)
        if key in self._members:
            self._members[key] = None

    def free_name(self, stem: str, extension: str) -> str:
        """The first unused name: stem1.extension, stem2.extension ..."""
        number = 1
        while self.has(f"{stem}{number}.{extension}"):
            number += 1
        return f"{stem}{number}.{extension}"

    def members(self) -> tuple[Member, ...]:
        """The members as they would be saved now, in order."""
        for key, parsed in list(self._parsed.items()):
            markup.sweep(parsed.tree.root)
            if etree.tostring(parsed.tree.root.getroottree()) != parsed.before:
                old = self._members[key]
                assert old is not None
                self._members[key] = new_member(old.name, parsed.tree.to_bytes(), like=old)
                parsed.before = etree.tostring(parsed.tree.root.getroottree())
        return tuple(member for member in self._members.values() if member is not None)

    def to_bytes(self) -> bytes:
        return write_members(self.members())
