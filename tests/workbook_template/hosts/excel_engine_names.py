"""Defined names of the engine that stands in for Excel: those of the workbook, and those of one sheet alone."""

from __future__ import annotations

from typing import Any

from openpyxl.workbook.defined_name import DefinedName
from xlwings import base_classes


class Names(base_classes.Names):
    api: Any = True

    def __init__(self, book: Any) -> None:
        self.book = book

    def _all(self) -> dict[str, Any]:
        """Name -> where it is held: those of the book, and those of one sheet alone."""
        wb = self.book.wb
        return dict.fromkeys(wb.defined_names, wb.defined_names) | {
            f"'{ws.title}'!{name}": ws.defined_names for ws in wb.worksheets for name in ws.defined_names
        }

    def __call__(self, key: int | str) -> Name:
        found = self._all()
        name = list(found)[key - 1] if isinstance(key, int) else key
        if name not in found:
            raise KeyError(name)
        return Name(found[name], name)

    def contains(self, key: Any) -> bool:
        return key in self._all() or isinstance(key, int)

    def __len__(self) -> int:
        self.book.app.answer()
        return len(self._all())

    def add(self, name: str, refers_to: str) -> Name:
        self.book.app.answer()
        self.book.wb.defined_names[name] = DefinedName(name, attr_text=refers_to.removeprefix("="))
        return Name(self.book.wb.defined_names, name)


class Name(base_classes.Name):
    def __init__(self, holder: Any, name: str) -> None:
        self.__dict__.update(holder=holder, _name=name)

    name = property(lambda self: self._name)
    _key = property(lambda self: self._name.rpartition("!")[2])

    @property
    def api(self) -> Any:
        return self

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "Visible":
            self.holder[self._key].hidden = not value
        else:
            object.__setattr__(self, name, value)

    @property
    def refers_to(self) -> str:
        return "=" + str(self.holder[self._key].attr_text)

    @refers_to.setter
    def refers_to(self, value: str) -> None:
        self.holder[self._key].attr_text = value.removeprefix("=")

    def delete(self) -> None:
        del self.holder[self._key]
