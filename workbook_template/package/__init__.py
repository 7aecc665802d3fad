"""Edit .xlsx and .xlsm packages without touching what one does not own.

`open_package` reads and refuses; `Package.apply` makes the edits and returns the new bytes; `save` puts them on
disk; `strip` takes everything out again. Every member of the zip file that needs no change is copied as its
compressed bytes, and each result has passed a check that nothing else changed.
"""

from workbook_template.package.edit import Package, open_package, strip
from workbook_template.package.edits import CellEdit, CellPlace, CellStyle, Edits, Formula, Value
from workbook_template.package.errors import EditRefused, GateFailed, PackageRefused
from workbook_template.package.grid import Area
from workbook_template.package.ownership import Ownership
from workbook_template.package.reading import Bounds, CellError, read_cells, sheet_bounds
from workbook_template.package.save import save

__all__ = [
    "Area", "Bounds", "CellEdit", "CellError", "CellPlace", "CellStyle", "EditRefused", "Edits", "Formula",
    "GateFailed", "Ownership", "Package", "PackageRefused", "Value", "open_package", "read_cells", "save",
    "sheet_bounds", "strip",
]  # fmt: skip
