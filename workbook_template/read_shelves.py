"""The sheets Jets, Plugs and Targets."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

from engine_rules.fuel import Jet, Ladder
from engine_rules.labels import label_key
from engine_rules.logbook import Finding, LogbookError
from engine_rules.plugs import TIPS, Plug, PlugShelf
from engine_rules.targets import Targets, default_targets
from workbook_template.read_values import read_label, read_number, read_plain_number, read_text, read_word, read_yes_no
from workbook_template.tables import Row, Table

# A Ladder cannot be empty, and EFI has no jets: no station asks for this one.
NO_JETS = Ladder((Jet("none", 0.1, on_hand=False),))


def read_jets(table: Table, findings: list[Finding]) -> Ladder:
    """The ladder. Raises LogbookError for a jet without a bore or given twice."""
    jets = []
    labels: dict[str, str] = {}
    for row in table.rows():
        label = _new_label(row, labels, "jet")
        bore = row.spot("bore_in")
        if bore is None:
            cell = row.cell("bore_in")
            raise LogbookError(
                f"jet {label} has no bore; measure it, or delete the row (a number is not a bore)", cell.sheet, cell.ref
            )
        jets.append(Jet(label, read_number(bore, findings).value, _on_hand(row)))
    if not jets:
        raise LogbookError("there is no jet in the list; write each size with its bore", table.block.name)
    return Ladder(tuple(jets))


def read_plugs(table: Table, findings: list[Finding]) -> PlugShelf:
    """The shelf, hot to cold; where no heat order is given, the order of the rows."""
    plugs = []
    labels: dict[str, str] = {}
    rows = list(table.rows())
    ordered = any(row.spot("heat_order") for row in rows)
    for place, row in enumerate(rows, start=1):
        label = _new_label(row, labels, "plug")
        order, tip = row.spot("heat_order"), row.spot("tip")
        if order is None and ordered:
            cell = row.cell("heat_order")
            raise LogbookError(
                f"plug {label} has no heat order, though others have; write it, higher is colder", cell.sheet, cell.ref
            )
        if tip is None:
            findings.append(Finding(f"the tip of plug {label} is blank; taken as regular", row.cell("label")))
        heat_order = read_number(order, findings).value if order else float(place)
        plugs.append(Plug(label, heat_order, read_word(tip).value if tip else TIPS[1], _on_hand(row)))
    if not plugs:
        raise LogbookError(
            "there is no plug in the list; write at least the one that is in the engine", table.block.name
        )
    if not ordered and len(plugs) > 1:
        findings.append(Finding("no plug has a heat order; the rows were taken as hot to cold", rows[0].cell("label")))
    return PlugShelf(tuple(plugs))


def _new_label(row: Row, labels: dict[str, str], part: str) -> str:
    spot = row.spot("label")
    if spot is None:
        cell = row.cell("label")
        raise LogbookError(f"this row has no {part}; write its name or clear the row", cell.sheet, cell.ref)
    label = read_label(spot).value
    if label_key(label) in labels:
        raise spot.refusal(f"{part} {label} stands in the list twice; keep one row")
    labels[label_key(label)] = label
    return label


def _on_hand(row: Row) -> bool:
    """A row is a part on the shelf unless it says no."""
    spot = row.spot("on_hand")
    return spot is None or read_yes_no(spot).value


def read_targets(table: Table | None, findings: list[Finding]) -> Targets:
    """The thresholds with the workbook's own in place. Raises LogbookError for one unknown or out of its range."""
    if table is None:
        return default_targets()
    yours: dict[str, float] = {}
    for row in table.rows():
        key, value = row.spot("key"), row.spot("yours")
        if value is None:
            if key is not None and read_text(key).value not in default_targets():
                findings.append(
                    Finding(f"there is no target named {read_text(key).value}; the row is left out", key.cell)
                )
            continue
        if key is None:
            raise value.refusal("this value has no target; write the target's name or clear the cell")
        name = read_text(key).value
        if name not in default_targets():
            raise key.refusal(f"there is no target named {name[:60]}; {_near_target(name, default_targets())}")
        if name in yours:
            raise key.refusal(f"target {name} stands in the list twice; keep one row")
        yours[name] = read_plain_number(value)
        try:
            default_targets().overridden({name: yours[name]})
        except ValueError as error:
            raise value.refusal(f"{error}; correct it or clear the cell") from None
    return default_targets().overridden(yours)


def _near_target(name: str, known: Mapping[str, float]) -> str:
    near = difflib.get_close_matches(name[:60], list(known), n=1)
    return f"did you mean {near[0]}?" if near else "write one of the names of a new blank workbook"
