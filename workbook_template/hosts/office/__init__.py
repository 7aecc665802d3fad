"""What runs inside LibreOffice: reads the open document, asks, and carries out the answer. Python 3.8, no packages.

It knows no tuning and no layout. `hosts.calc` packs it into the extension; elsewhere only
`changes.rectangles` is used.
"""
