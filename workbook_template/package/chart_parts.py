"""Charts on brought sheets: their references follow the sheets' final names, and what the schema wants is there."""

from __future__ import annotations

from collections.abc import Mapping

from lxml import etree

from workbook_template.package import formulas, markup


def fit(root: etree._Element, renamed: Mapping[str, str]) -> None:
    """Rename the sheets that the chart reads (keys lower case); give scatter charts their style element."""
    for element in root.iter(markup.own(root, "f")):
        if element.text:
            element.text = formulas.rename_sheets(element.text, renamed)
    for scatter in root.iter(markup.own(root, "scatterChart")):
        if scatter.find(markup.own(root, "scatterStyle")) is None:
            scatter.insert(0, markup.made(scatter, "scatterStyle", val="lineMarker"))
