"""The LibreOffice extension: built from `office`, with this environment's interpreter in it; installed with unopkg."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterable, Sequence
from importlib import resources
from importlib.metadata import version
from pathlib import Path
from xml.sax.saxutils import quoteattr

from engine_rules.logbook import LogbookError
from workbook_template.hosts import calc_functions

IDENTIFIER = "strapline.workbook"
FILE_NAME = "strapline.oxt"
PROTOCOL = "vnd.strapline:"
COMMANDS = {
    "check": "Check",
    "fill": "Fill",
    "air": "Today's air ...",
    "why": "Why for the selected cell",
    "clear": "Clear",
}
TIME_LIMIT_S = 120.0
FUNCTION_LIMIT_S = 10.0
FUNCTION_REST_S = 15.0
_COMPONENTS = ("component.py", "addin.py")
_CALC = "com.sun.star.sheet.SpreadsheetDocument"
_INSIDE = "pythonpath/strapline_office"
_REGISTRY = 'xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"'


def add_to_calc(out: Path | None = None) -> str:
    """Install the extension, or with `out` write it there; what was done. Raises LogbookError where neither can be."""
    if out is not None:
        build_extension(out)
        return f"Wrote {out}. Open it with LibreOffice to install it."
    if find_unopkg() is None:
        build_extension(Path(FILE_NAME))
        return f"LibreOffice was not found, so {FILE_NAME} was only written. Install LibreOffice, then open that file."
    with tempfile.TemporaryDirectory() as folder:
        build_extension(Path(folder) / FILE_NAME)
        install_extension(Path(folder) / FILE_NAME)
    return "Installed in LibreOffice. Start it again; Calc then has a menu strapline."


def build_extension(path: Path, python: str = sys.executable) -> None:
    """Write the extension. Raises LogbookError where it cannot be written."""
    if path.suffix.lower() != ".oxt":
        raise LogbookError(f"{path} would not end in .oxt; give the extension such a name")
    try:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in _members(python):
                archive.writestr(name, content)
    except OSError as error:
        raise LogbookError(f"{path} could not be written ({error.strerror}); choose another place") from error


def _members(python: str) -> Iterable[tuple[str, str]]:
    yield "META-INF/manifest.xml", _manifest()
    yield "description.xml", _description()
    yield "Addons.xcu", _addons()
    yield "ProtocolHandler.xcu", _protocol_handler()
    yield "CalcWindowState.xcu", _window_state()
    yield "CalcAddIns.xcu", calc_functions.descriptions()
    yield "functions.idl", calc_functions.interface()
    yield "functions.components", calc_functions.component("addin.py")
    yield f"{_INSIDE}/functions.json", calc_functions.offered()
    settings = {
        "python": python,
        "module": "workbook_template.live_protocol",
        "time_limit_s": TIME_LIMIT_S,
        "function_module": "workbook_template.function_protocol",
        "function_limit_s": FUNCTION_LIMIT_S,
        "function_rest_s": FUNCTION_REST_S,
    }
    yield f"{_INSIDE}/settings.json", json.dumps(settings, indent=2)
    for source in resources.files("workbook_template.hosts.office").iterdir():
        if source.name.endswith(".py"):
            inside = source.name if source.name in _COMPONENTS else f"{_INSIDE}/{source.name}"
            yield inside, source.read_text("utf-8")


def install_extension(path: Path, options: Sequence[str] = ()) -> None:
    """Install the extension in LibreOffice. options: more for unopkg, such as another profile.

    Raises LogbookError where there is no LibreOffice, or it does not take the extension.
    """
    unopkg = find_unopkg()
    if unopkg is None:
        raise LogbookError("LibreOffice was not found; install it, and try again")
    # As the superuser unopkg serves all users or none.
    shared = ["--shared"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    run = subprocess.run(
        [unopkg, "add", "--force", "--suppress-license", *shared, *options, str(path)],
        capture_output=True, text=True, errors="replace", env=office_environment(),
    )  # fmt: skip
    if run.returncode:
        told = " ".join((run.stderr or run.stdout).split())[-300:]
        raise LogbookError(f"LibreOffice did not take the extension ({told}); close LibreOffice and try again")


def find_unopkg() -> str | None:
    """The program that installs extensions, None where it is not found."""
    usual = (
        "/Applications/LibreOffice.app/Contents/MacOS/unopkg",
        "/usr/lib/libreoffice/program/unopkg",
        r"C:\Program Files\LibreOffice\program\unopkg.com",
    )
    return shutil.which("unopkg") or next((path for path in usual if Path(path).exists()), None)


def office_environment() -> dict[str, str]:
    """Ours without a Python that is not the office's own in front of it."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    own = os.path.dirname(sys.executable)
    path = [part for part in kept.get("PATH", "").split(os.pathsep) if part != own and "pyenv" not in part]
    return kept | {"PATH": os.pathsep.join(path)}


def _manifest() -> str:
    kinds = {
        "component.py": "application/vnd.sun.star.uno-component;type=Python",
        # The office reads an interface's source as well as its compiled form.
        "functions.idl": "application/vnd.sun.star.uno-typelibrary;type=RDB",
        # Told of, not loaded, while it is installed: the process that does so does not know the interface yet.
        "functions.components": "application/vnd.sun.star.uno-components",
    }
    configured = ("Addons.xcu", "ProtocolHandler.xcu", "CalcWindowState.xcu", "CalcAddIns.xcu")
    kinds |= dict.fromkeys(configured, "application/vnd.sun.star.configuration-data")
    entries = "".join(
        f"<manifest:file-entry manifest:full-path={quoteattr(name)} manifest:media-type={quoteattr(kind)}/>"
        for name, kind in kinds.items()
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        f'<manifest:manifest xmlns:manifest="http://openoffice.org/2001/manifest">{entries}</manifest:manifest>'
    )


def _description() -> str:
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<description xmlns="http://openoffice.org/extensions/description/2006"
    xmlns:d="http://openoffice.org/extensions/description/2006"
    xmlns:l="http://libreoffice.org/extensions/description/2011" xmlns:xlink="http://www.w3.org/1999/xlink">
  <identifier value="{IDENTIFIER}"/>
  <version value="{version("strapline")}"/>
  <display-name><name lang="en">strapline: advice in the log of an engine</name></display-name>
  <dependencies><l:LibreOffice-minimal-version value="7.0" d:name="LibreOffice 7.0"/></dependencies>
</description>
"""


def _addons() -> str:
    """The menu and the toolbar, each with every command, shown beside spreadsheets alone."""
    menu = "".join(_entry(f"M{at}", name, title) for at, (name, title) in enumerate(COMMANDS.items(), 1))
    bar = "".join(_entry(f"T{at}", name, title) for at, (name, title) in enumerate(COMMANDS.items(), 1))
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<oor:component-data {_REGISTRY} oor:name="Addons" oor:package="org.openoffice.Office">
  <node oor:name="AddonUI">
    <node oor:name="OfficeMenuBar">
      <node oor:name="{IDENTIFIER}" oor:op="replace">
        {_value("Context", _CALC)}{_title("strapline")}
        <node oor:name="Submenu">{menu}</node>
      </node>
    </node>
    <node oor:name="OfficeToolBar">
      <node oor:name="{IDENTIFIER}" oor:op="replace">{bar}</node>
    </node>
  </node>
</oor:component-data>
"""


def _entry(name: str, command: str, title: str) -> str:
    return (
        f'<node oor:name="{name}" oor:op="replace">{_value("Context", _CALC)}{_value("URL", PROTOCOL + command)}'
        f"{_title(title)}{_value('Target', '_self')}</node>"
    )


def _value(name: str, text: str) -> str:
    return f'<prop oor:name="{name}" oor:type="xs:string"><value>{text}</value></prop>'


def _title(text: str) -> str:
    return f'<prop oor:name="Title" oor:type="xs:string"><value xml:lang="en-US">{text}</value></prop>'


def _window_state() -> str:
    """The toolbar's name, and its place: docked below the others."""
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<oor:component-data {_REGISTRY} oor:name="CalcWindowState" oor:package="org.openoffice.Office.UI">
  <node oor:name="UIElements">
    <node oor:name="States">
      <node oor:name="private:resource/toolbar/addon_{IDENTIFIER}" oor:op="replace">
        <prop oor:name="UIName" oor:type="xs:string"><value xml:lang="en-US">strapline</value></prop>
        <prop oor:name="DockingArea" oor:type="xs:int"><value>0</value></prop>
        <prop oor:name="DockPos" oor:type="xs:string"><value>0,3</value></prop>
        <prop oor:name="Docked" oor:type="xs:boolean"><value>true</value></prop>
        <prop oor:name="Visible" oor:type="xs:boolean"><value>true</value></prop>
      </node>
    </node>
  </node>
</oor:component-data>
"""


def _protocol_handler() -> str:
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<oor:component-data {_REGISTRY} oor:name="ProtocolHandler" oor:package="org.openoffice.Office">
  <node oor:name="HandlerSet">
    <node oor:name="strapline.Buttons" oor:op="replace">
      <prop oor:name="Protocols" oor:type="oor:string-list"><value>{PROTOCOL}*</value></prop>
    </node>
  </node>
</oor:component-data>
"""
