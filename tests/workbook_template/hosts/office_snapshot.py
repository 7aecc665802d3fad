"""Installed in the tests' office beside our extension: says what stands in a document.

Inside the office, since every question from outside costs a message there and back, and there are thousands.
"""

import json
import threading

import unohelper
from com.sun.star.awt import XCallback
from com.sun.star.lang import XServiceInfo
from com.sun.star.task import XJob

SERVICE = "strapline.tests.Snapshot"


class Turn(unohelper.Base, XCallback):
    """A look that waits for the thread that the windows belong to.

    In another one it could come to hold Python while that thread, which waits for Python to ask a button of ours, holds
    the office.
    """

    def __init__(self, arguments):
        self.arguments, self.said, self.done = arguments, "", threading.Event()

    def notify(self, data):
        given = {one.Name: one.Value for one in self.arguments}
        try:
            self.said = json.dumps(snapshot(given["document"], given["looks"]))
        finally:
            self.done.set()


class Snapshot(unohelper.Base, XJob, XServiceInfo):
    def __init__(self, ctx):
        self.ctx = ctx

    def execute(self, arguments):
        """The document's sheets as JSON; on demand also how they look, which takes longer."""
        turn = Turn(arguments)
        self.ctx.ServiceManager.createInstance("com.sun.star.awt.AsyncCallback").addCallback(turn, None)
        turn.done.wait(60)
        return turn.said

    def getImplementationName(self):
        return SERVICE

    def supportsService(self, name):
        return name == SERVICE

    def getSupportedServiceNames(self):
        return (SERVICE,)


def snapshot(doc, looked):
    sheets = [doc.Sheets.getByIndex(at) for at in range(doc.Sheets.Count)]
    return {"sheets": [{**content_of(sheet), **(looks_of(doc, sheet) if looked else {})} for sheet in sheets]}


def content_of(sheet):
    used = used_range(sheet)
    notes = [sheet.Annotations.getByIndex(at) for at in range(sheet.Annotations.Count)]
    groups = [(group, *one.getPropertyValues(("Hyperlink", "IsMerged"))) for group, one in grouped(used)]
    return {
        "name": sheet.Name,
        "formulas": trimmed(used.getFormulaArray()),
        "links": sorted([*text_links(sheet, used), *number_links(groups)]),
        "notes": sorted([note.Position.Row, note.Position.Column, note.getString()] for note in notes),
        "merged": sorted(merged(sheet, groups)),
    }


def looks_of(doc, sheet):
    used = used_range(sheet)
    charts = [sheet.Charts.getByIndex(at).EmbeddedObject for at in range(sheet.Charts.Count)]
    return {
        "charts": [chart.Title.String for chart in charts],
        "looks": sorted(looks(used)),
        "printed": [[area.StartRow, area.StartColumn, area.EndRow, area.EndColumn] for area in sheet.PrintAreas],
        "repeated": [sheet.TitleRows.StartRow, sheet.TitleRows.EndRow] if sheet.getPrintTitleRows() else [],
        "page": page_of(doc, sheet),
    }


def page_of(doc, sheet):
    style = doc.StyleFamilies.getByName("PageStyles").getByName(sheet.PageStyle)
    return [style.IsLandscape, style.ScaleToPagesX, style.ScaleToPagesY, style.TopMargin, style.FooterIsOn]


def trimmed(rows):
    rows = [list(row) for row in rows]
    while rows and not any(rows[-1]):
        rows.pop()
    width = max((at + 1 for row in rows for at, cell in enumerate(row) if cell), default=0)
    return [row[:width] for row in rows]


def used_range(sheet):
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    end = cursor.RangeAddress
    return sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow)


def grouped(cells):
    """The cells in groups of one look: each group and one cell of it."""
    groups = cells.getUniqueCellFormatRanges()
    for at in range(groups.Count):
        group = groups.getByIndex(at)
        yield group, group.getByIndex(0).getCellByPosition(0, 0)


def text_links(sheet, used):
    for area in used.queryContentCells(512).RangeAddresses:
        for row, column in places(area):
            fields = sheet.getCellByPosition(column, row).getTextFields()
            for at in range(fields.Count):
                yield [row, column, plain(fields.getByIndex(at).URL)]


def number_links(groups):
    for group, link, _ in groups:
        for area in group.RangeAddresses if link else ():
            yield from ([row, column, plain(link)] for row, column in places(area))


def plain(link):
    """A link however it is written."""
    return link.replace("!", ".").replace("'", "")


def merged(sheet, groups):
    for group, _, has_merged in groups:
        for area in group.RangeAddresses if has_merged else ():
            for row, column in places(area):
                cursor = sheet.createCursorByRange(sheet.getCellByPosition(column, row))
                cursor.collapseToMergedArea()
                whole = cursor.RangeAddress
                yield [whole.StartRow, whole.StartColumn, whole.EndRow, whole.EndColumn]


def looks(used):
    """Of each cell that holds something: font, colours, wrap, size, underline."""
    held = set()
    for area in used.queryContentCells(23).RangeAddresses:
        held |= set(places(area))
    for group, one in grouped(used):
        look = one.getPropertyValues(
            ("CellBackColor", "CharColor", "CharHeight", "CharUnderline", "CharWeight", "IsTextWrapped")
        )
        for area in group.RangeAddresses:
            yield from ([*place, *look] for place in places(area) if place in held)


def places(area):
    for row in range(area.StartRow, area.EndRow + 1):
        for column in range(area.StartColumn, area.EndColumn + 1):
            yield row, column


g_ImplementationHelper = unohelper.ImplementationHelper()
g_ImplementationHelper.addImplementation(Snapshot, SERVICE, (SERVICE,))
