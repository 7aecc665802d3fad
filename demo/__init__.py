"""The season of an invented car, as a workbook."""
