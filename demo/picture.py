"""Draws the card of a filled workbook as a picture, with LibreOffice and poppler."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

CARD_TITLE = "NEXT RUN"


def draw_card(workbook: Path, picture: Path, dots_per_inch: int = 110) -> None:
    """Print the workbook, find the page of the card, and save it. Raises CalledProcessError where a program fails."""
    with tempfile.TemporaryDirectory() as folder:
        profile = f"-env:UserInstallation=file://{folder}/profile"
        convert = ["soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", folder, str(workbook)]
        subprocess.run(convert, check=True, capture_output=True, timeout=300)
        printed = Path(folder) / f"{workbook.stem}.pdf"
        pages = subprocess.run(["pdftotext", str(printed), "-"], check=True, capture_output=True, text=True).stdout
        page = next(number for number, text in enumerate(pages.split("\f"), 1) if text.startswith(CARD_TITLE))
        only = ["-f", str(page), "-l", str(page), "-singlefile", "-r", str(dots_per_inch), "-png"]
        subprocess.run(["pdftoppm", *only, str(printed), str(picture.with_suffix(""))], check=True, capture_output=True)


if __name__ == "__main__":
    draw_card(Path(sys.argv[1]), Path(sys.argv[2]))
