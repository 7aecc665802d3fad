"""What works on a workbook that is open in Excel, and the add-in that puts the buttons there; through xlwings."""
