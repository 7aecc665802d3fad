"""The workbook part: the list of sheets, defined names, what is locked, how dates count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lxml import etree

from workbook_template.package import content_types, markup, relationships
from workbook_template.package.draft import Draft
from workbook_template.package.errors import PackageRefused

ORDER = (
    "fileVersion", "fileSharing", "workbookPr", "workbookProtection", "bookViews", "sheets", "functionGroups",
    "externalReferences", "definedNames", "calcPr", "oleSize", "customWorkbookViews", "pivotCaches",
    "smartTagPr", "smartTagTypes", "webPublishing", "fileRecoveryPr", "webPublishObjects", "extLst",
)  # fmt: skip
MAX_NAME_LENGTH = 31
_SHEET_KINDS = ("worksheet", "chartsheet", "dialogsheet", "xlMacrosheet", "xlIntlMacrosheet")
_TRUE = ("1", "true", "on")
_SAVE_AGAIN = "open it in the program that made it and save it again"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One entry of the book's list of sheets; `kind` is worksheet, chartsheet ... or released (no part)."""

    name: str
    kind: str
    part: str
    relationship: str


class WorkbookPart:
    """The workbook part of a draft, found by relationship."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.part = _find(draft)
        self.root = draft.root(self.part)
        _check_dialect(self.root)
        self.strict = markup.is_strict(self.root)
        self._released: dict[str, str] = {}

    def sheets(self) -> list[Sheet]:
        """All sheets in the book's order; raises PackageRefused where one leads nowhere."""
        related = {found.id: found for found in reversed(relationships.read(self.draft, self.part))}
        return [self._sheet(element, related) for element in self.sheet_elements()]

    def sheet(self, name: str) -> Sheet | None:
        return next((sheet for sheet in self.sheets() if sheet.name.lower() == name.lower()), None)

    def sheet_elements(self) -> list[etree._Element]:
        return self.root.findall(f"{markup.own(self.root, 'sheets')}/{markup.own(self.root, 'sheet')}")

    def dates_from_1904(self) -> bool:
        properties = self.root.find(markup.own(self.root, "workbookPr"))
        return properties is not None and properties.get("date1904", "0").lower() in _TRUE

    def related_part(self, kind: str) -> str | None:
        """The part of that kind (styles, sharedStrings, calcChain ...) that the workbook leads to."""
        found = relationships.of_kind(self.draft, self.part, kind)
        return next((leading.part for leading in found if self.draft.has(leading.part)), None)

    def check_list(self) -> None:
        """Raise PackageRefused where the list of sheets, or names that count on it, contradict themselves."""
        names = [sheet.name.lower() for sheet in self.sheets()]
        if len(set(names)) < len(names):
            raise PackageRefused(f"two sheets of the workbook have the same name; {_SAVE_AGAIN}")
        if "worksheet" not in (sheet.kind for sheet in self.sheets()):
            raise PackageRefused(f"the workbook has no worksheet; {_SAVE_AGAIN}")
        for defined in self.defined_names():
            if not 0 <= markup.number(defined, "localSheetId") < len(names):
                raise PackageRefused(f"a defined name belongs to a sheet that is not there; {_SAVE_AGAIN}")

    def locked_reason(self) -> str | None:
        """Why the file must not be edited in place, in one sentence; None where it may."""
        if any(found.kind == "origin" for found in relationships.read(self.draft, relationships.ROOT)):
            return "the workbook is digitally signed, and any change would break the signature"
        kinds = {found.kind for found in relationships.read(self.draft, self.part)}
        if kinds & {"revisionHeaders", "usernames"}:
            return "the workbook is shared with tracked revisions; stop sharing it to let it be filled in"
        protection = self.root.find(markup.own(self.root, "workbookProtection"))
        if protection is not None and protection.get("lockStructure", "0").lower() in _TRUE:
            return "the workbook's structure is locked; unprotect the workbook to let it be filled in"
        sharing = self.root.find(markup.own(self.root, "fileSharing"))
        if sharing is not None and (sharing.get("reservationPassword") or sharing.get("hashValue")):
            return "the workbook asks for a password before it may be changed; take that password off"
        return None

    def add_sheet(self, name: str, part: str) -> int:
        """List a new worksheet last, or let one that was released lead to the part; its position (0-based)."""
        elements = self.sheet_elements()
        former = self._released.pop(name, None)
        identifier = relationships.add(self.draft, self.part, "worksheet", part, strict=self.strict, former=former)
        if former is not None:
            return next(at for at, element in enumerate(elements) if element.get("name") == name)
        highest = max((markup.number(element, "sheetId") for element in elements), default=0)
        parent = self.root.find(markup.own(self.root, "sheets"))
        assert parent is not None
        element = markup.made(parent, "sheet")
        element.set("name", name)
        element.set("sheetId", str(highest + 1))
        element.set(markup.related(self.root), identifier)
        parent.append(element)
        return len(elements)

    def release_sheet(self, name: str) -> None:
        """Let a listed sheet lead to no part, until `add_sheet` gives it one; its local names go."""
        position = next(i for i, sheet in enumerate(self.sheets()) if sheet.name == name)
        element = self.sheet_elements()[position]
        self._released[name] = element.get(markup.related(self.root), "")
        relationships.remove(self.draft, self.part, self._released[name])
        for defined in self.defined_names():
            if defined.get("localSheetId") == str(position):
                self.remove_name(defined)

    def strike_sheet(self, name: str) -> None:
        """Take a released sheet off the list."""
        position = next(i for i, sheet in enumerate(self.sheets()) if sheet.name == name)
        element = self.sheet_elements()[position]
        parent = element.getparent()
        assert parent is not None
        parent.remove(element)
        del self._released[name]
        self._count_without(position)

    def defined_names(self) -> list[etree._Element]:
        parent = self.root.find(markup.own(self.root, "definedNames"))
        return [] if parent is None else parent.findall(markup.own(parent, "definedName"))

    def set_name(self, name: str, text: str, *, local_to: int | None = None, hidden: bool = False) -> None:
        """Define a name, for the whole book or local to the sheet at that position."""
        scope = None if local_to is None else str(local_to)
        for defined in self.defined_names():
            if defined.get("name", "").lower() == name.lower() and defined.get("localSheetId") == scope:
                defined.text = text
                return
        parent = markup.child_in_order(self.root, "definedNames", ORDER)
        element = markup.made(parent, "definedName", name=name)
        if scope is not None:
            element.set("localSheetId", scope)
        if hidden:
            element.set("hidden", "1")
        element.text = text
        markup.settle(parent, element, _name_key(element))

    def remove_name(self, element: etree._Element) -> None:
        markup.vacate(element, _name_key(element))

    def recalculate_on_load(self) -> None:
        """Ask for a full recalculation, unless the user has chosen to calculate by hand."""
        calculation = markup.child_in_order(self.root, "calcPr", ORDER)
        if calculation.get("calcMode") != "manual":
            calculation.set("fullCalcOnLoad", "1")

    def _sheet(self, element: etree._Element, related: Mapping[str, relationships.Relationship]) -> Sheet:
        name = element.get("name", "")
        if name in self._released:
            return Sheet(name, "released", "", "")
        found = related.get(element.get(markup.related(self.root), ""))
        if not name or found is None or found.external:
            raise PackageRefused(f"sheet '{name}' is listed but leads to no part of the file; {_SAVE_AGAIN}")
        if not self.draft.has(found.part):
            raise PackageRefused(f"the part that holds sheet '{name}' is missing; {_SAVE_AGAIN}")
        declared = content_types.declared(self.draft, found.part)
        if declared and f".{found.kind.lower()}+" not in declared.lower() and found.kind in _SHEET_KINDS[:3]:
            raise PackageRefused(f"sheet '{name}' is declared to be something other than a sheet; {_SAVE_AGAIN}")
        return Sheet(name, found.kind, found.part, found.id)

    def _count_without(self, position: int) -> None:
        """Keep what counts sheets by position in step with a sheet taken out at `position`."""
        counted = [(defined, "localSheetId") for defined in self.defined_names()]
        counted += [
            (view, name)
            for view in self.root.iter(markup.own(self.root, "workbookView"))
            for name in ("activeTab", "firstSheet")
        ]
        for element, name in counted:
            value = element.get(name, "")
            if value.isdecimal() and (int(value) > position or int(value) == len(self.sheet_elements())):
                element.set(name, str(int(value) - 1))


def _name_key(element: etree._Element) -> str:
    """What tells one name from another while the sheets' positions shift."""
    local_text = element.text if element.get("localSheetId") else ""
    return f"{element.get('name')} {local_text}"


def _find(draft: Draft) -> str:
    if not draft.has(content_types.PART):
        raise PackageRefused(f"the file has no list of its parts, so it is not a workbook; {_SAVE_AGAIN}")
    found = relationships.of_kind(draft, relationships.ROOT, "officeDocument")
    if not found or not draft.has(found[0].part):
        raise PackageRefused(f"the file does not say where its workbook is; {_SAVE_AGAIN}")
    part = found[0].part
    if part.lower().endswith(".bin") or "binary" in content_types.type_of(draft, part):
        raise PackageRefused("the file is a binary workbook (.xlsb); save it as .xlsx or .xlsm")
    return part


def _check_dialect(root: etree._Element) -> None:
    if markup.namespace(root) not in (markup.MAIN, markup.STRICT_MAIN) or markup.local(root) != "workbook":
        raise PackageRefused("the file was written by a pre-release program, or is no workbook; save it as .xlsx "
                             "in a current program")  # fmt: skip
