"""The add-in for Excel: made from the template that comes with xlwings, with this environment's interpreter in it."""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from xml.sax.saxutils import quoteattr

from lxml import etree

from engine_rules.logbook import LogbookError
from workbook_template.hosts.calc import COMMANDS
from workbook_template.hosts.excel import macros

# The module that the buttons import; the one button of the template calls the `main` of the module named as the file.
MODULE = "strapline_excel"
FILE_NAME = f"{MODULE}.xlam"
TEMPLATE = "quickstart_addin_ribbon.xlam"
MACRO_PART, RIBBON_PART = "xl/vbaProject.bin", "customUI/customUI.xml"
BUTTON_MODULE = "RibbonMyAddin"
LABELS: Mapping[str, str] = {**COMMANDS, "undo": "Undo strapline"}
TIPS: Mapping[str, str] = {
    "check": "Says what was read and what is missing. Nothing is written.",
    "fill": "Advises the newest run and writes it into this workbook. Nothing is saved.",
    "air": "Asks for the air and says which jets it wants.",
    "why": "Goes to the reason for the selected cell.",
    "clear": "Takes everything of strapline's out of this workbook.",
    "undo": "Puts back what the last button of strapline overwrote, which Excel's own Undo cannot.",
}
# The macros look their settings up under these names, on a sheet that the template has by another name.
SETTINGS_SHEET, TEMPLATE_SHEET = "myaddin.conf", "_myaddin.conf"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RIBBON = "http://schemas.microsoft.com/office/2006/01/customui"


def add_to_excel(out: Path | None, one_button: bool) -> str:
    """Make the add-in and install it, or with `out` only write it there; what was done, and what is left to do.

    Raises LogbookError where it cannot be made.
    """
    made = one_button_addin() if one_button else addin()
    if out is not None:
        _write(out, made)
        return f"Wrote {out}. To install it: xlwings addin install -f {out}"
    if not excel_is_here():
        path = Path(FILE_NAME).resolve()
        _write(path, made)
        return (
            f"Excel was not found, so the add-in was only written: {path}. "
            "On a computer with Excel, install strapline there and run: strapline addin excel"
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / FILE_NAME
        _write(path, made)
        done = subprocess.run(
            [sys.executable, "-c", "from xlwings.cli import main; main()", "addin", "install", "-f", str(path)],
            capture_output=True, text=True, errors="replace",
        )  # fmt: skip
    told = " ".join((done.stdout + done.stderr).split())
    if done.returncode or "Success" not in told:
        raise LogbookError(f"Excel did not take the add-in ({told[-300:]}); close Excel and try again")
    return "Installed in Excel. Start it again; the ribbon then has a tab strapline."


def _write(path: Path, made: bytes) -> None:
    if path.name != FILE_NAME:
        raise LogbookError(f"{path} would not be named {FILE_NAME}, as its buttons need it; give that name")
    try:
        path.write_bytes(made)
    except OSError as error:
        raise LogbookError(f"{path} could not be written ({error.strerror}); choose another place") from error


def excel_is_here() -> bool:
    """Whether this computer has an Excel."""
    if sys.platform == "win32":
        import winreg

        try:
            winreg.CloseKey(winreg.OpenKey(winreg.HKEY_CLASSES_ROOT, r"Excel.Application\CLSID"))
        except OSError:
            return False
        return True
    return sys.platform == "darwin" and any(
        (folder / "Microsoft Excel.app").exists() for folder in (Path("/Applications"), Path.home() / "Applications")
    )


def addin(python: str = sys.executable) -> bytes:
    """The add-in with a button for each command; one module of the template's macros has more macros then.

    Raises LogbookError where the installed xlwings has no template that is understood.
    """
    template = _template()
    try:
        text = macros.module_text(template[MACRO_PART], BUTTON_MODULE)
        changed = macros.with_module(template[MACRO_PART], BUTTON_MODULE, text + _macros())
    except (KeyError, ValueError) as error:
        raise _not_understood() from error
    return _packed(template | {MACRO_PART: changed, RIBBON_PART: _ribbon().encode()}, python)


def one_button_addin(python: str = sys.executable) -> bytes:
    """The add-in with one button, which asks what to do; the template's macros are untouched. Raises as `addin`."""
    ribbon = _tab(
        f'<button id="straplineMain" label="strapline" size="large" imageMso="MacroPlay" '
        f'onAction="{BUTTON_MODULE}.RunMain" screentip="strapline" supertip="Asks what to do with this workbook."/>'
    )
    return _packed(_template() | {RIBBON_PART: ribbon.encode()}, python)


def _template() -> dict[str, bytes]:
    try:
        content = resources.files("xlwings").joinpath(TEMPLATE).read_bytes()
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
    except (OSError, zipfile.BadZipFile) as error:
        raise _not_understood() from error
    if not {MACRO_PART, RIBBON_PART} <= members.keys():
        raise _not_understood()
    return members


def _not_understood() -> LogbookError:
    return LogbookError(f"the installed xlwings has no {TEMPLATE} that strapline knows; run: pip install -U strapline")


def _packed(members: Mapping[str, bytes], python: str) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            if name == "xl/workbook.xml":
                content = _with_named_sheet(content)
            elif name == "xl/worksheets/sheet1.xml":
                content = _with_settings(content, python)
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return made.getvalue()


def _macros() -> str:
    """A macro for each button, in the template's own way of calling Python."""
    return "".join(
        f"Sub {macro(command)}(control As IRibbonControl)\r\n"
        f'    RunPython "import {MODULE};{MODULE}.{command}()"\r\n'
        "End Sub\r\n\r\n"
        for command in LABELS
    )


def macro(command: str) -> str:
    """The name of a button's macro."""
    return f"Strapline{command.capitalize()}"


def _ribbon() -> str:
    buttons = []
    for command, label in LABELS.items():
        look = ' size="large" imageMso="MacroPlay"' if command == "fill" else ""
        buttons.append(
            f'<button id="{macro(command)}" label={quoteattr(label)}{look} onAction="{BUTTON_MODULE}.{macro(command)}" '
            f"screentip={quoteattr(label)} supertip={quoteattr(TIPS[command])}/>"
        )
    return _tab("".join(buttons))


def _tab(buttons: str) -> str:
    return (
        f'<customUI xmlns="{_RIBBON}"><ribbon><tabs><tab id="straplineTab" label="strapline">'
        f'<group id="straplineGroup" label="This workbook">{buttons}</group></tab></tabs></ribbon></customUI>'
    )


def _with_named_sheet(content: bytes) -> bytes:
    root = etree.fromstring(content)
    for sheet in root.iter(f"{{{_MAIN}}}sheet"):
        if sheet.get("name") == TEMPLATE_SHEET:
            sheet.set("name", SETTINGS_SHEET)
            return etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True)
    raise _not_understood()


def _with_settings(content: bytes, python: str) -> bytes:
    """The sheet of settings: the interpreter on Windows and on a Mac, and a row that the template lacks."""
    root = etree.fromstring(content)
    rows = {row.get("r"): row for row in root.iter(f"{{{_MAIN}}}row")}
    if not {"1", "2", "9"} <= rows.keys() or "10" in rows:
        raise _not_understood()
    for number in ("1", "2"):
        rows[number].attrib.pop("spans", "")
        rows[number].append(_text_cell(f"B{number}", python))
    added = etree.Element(f"{{{_MAIN}}}row", {"r": "10"})
    added.append(_text_cell("A10", "ADD_WORKBOOK_TO_PYTHONPATH"))
    etree.SubElement(etree.SubElement(added, f"{{{_MAIN}}}c", {"r": "B10", "t": "b"}), f"{{{_MAIN}}}v").text = "0"
    rows["9"].addnext(added)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True)


def _text_cell(ref: str, text: str) -> etree._Element:
    cell = etree.Element(f"{{{_MAIN}}}c", {"r": ref, "t": "inlineStr"})
    etree.SubElement(etree.SubElement(cell, f"{{{_MAIN}}}is"), f"{{{_MAIN}}}t").text = text
    return cell
