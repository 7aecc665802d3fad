"""The add-in for Excel as a file: a package that agrees with itself, with the template, and with what is installed."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Mapping
from importlib import resources
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.sax.saxutils import unescape

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from engine_rules.logbook import LogbookError
from tests.logs_on_disk import strapline
from tests.workbook_template.hosts.office import _end, _screen
from workbook_template.hosts.excel import addin, compound, macros, showing
from workbook_template.live import AIR_FORM, COMMANDS

MAIN = {"m": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}
PYTHON = r"C:\Program Files\Python & co\python.exe"
BOTH = {"a button for each": addin.addin, "one button": addin.one_button_addin}


def members(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def template() -> Mapping[str, bytes]:
    return members(resources.files("xlwings").joinpath(addin.TEMPLATE).read_bytes())


def schema() -> dict[str, list[Mapping[str, Any]]]:
    """The published ribbon schema, version of 2006, as the validator of Open XML packages carries it."""
    path = resources.files("openxml_audit") / "data/openxml/schemas/schemas_microsoft_com_office_2006_01_customui.json"
    data = json.loads(path.read_text("utf-8"))
    types: dict[str, list[Mapping[str, Any]]] = {"": data["Enums"]}
    for one in data["Types"]:
        types.setdefault(one["Name"], []).append(one)
    return types


def faults(element: Any, kind: Mapping[str, Any], types: Mapping[str, list[Mapping[str, Any]]]) -> list[str]:
    """What the schema does not allow below an element of that kind: attributes, values, children."""
    name = etree.QName(element).localname
    allowed = {one["QName"].lstrip(":"): one for one in kind.get("Attributes", ())}
    found = [f"{name} {key}" for key in element.attrib if key not in allowed]
    for key in element.attrib.keys() & allowed.keys():
        value = element.get(key)
        facets = [facet["Value"] for one in types[""] if one["Name"] in allowed[key]["Type"] for facet in one["Facets"]]
        if (facets and value not in facets) or not 1 <= len(value) <= 1024:
            found.append(f"{name} {key}={value}")
    children = {one["Name"].rpartition(":")[2]: one["Name"] for one in kind.get("Children") or ()}
    for child in element:
        tag = etree.QName(child).localname
        if etree.QName(child).namespace != addin._RIBBON or tag not in children:
            found.append(f"{name}/{tag}")
        else:
            found += faults(child, types[children[tag]][0], types)
    return found


@pytest.mark.parametrize("made", BOTH)
def test_the_ribbon_fits_its_published_schema(made: str) -> None:
    root = etree.fromstring(members(BOTH[made](PYTHON))[addin.RIBBON_PART])
    types = schema()
    assert faults(root, types["mso:CT_CustomUI/mso:customUI"][0], types) == []
    root[0][0][0][0][0].set("color", "red")
    root[0][0][0][0][0].set("size", "huge")
    assert faults(root, types["mso:CT_CustomUI/mso:customUI"][0], types) == ["button color", "button size=huge"]
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids)) and all(re.fullmatch(r"[A-Za-z_]\w*", one) for one in ids)


def test_a_button_for_each_command_calls_a_macro_that_is_there() -> None:
    made = members(addin.addin(PYTHON))
    buttons = etree.fromstring(made[addin.RIBBON_PART]).findall(".//{*}button")
    assert [button.get("label") for button in buttons] == list(addin.LABELS.values())
    text = macros.module_text(made[addin.MACRO_PART], addin.BUTTON_MODULE)
    called = [button.get("onAction") for button in buttons]
    subs = re.findall(r"^Sub (\w+)\(control As IRibbonControl\)\r\n    (.+)\r\nEnd Sub\r$", text, re.MULTILINE)
    assert called == [f"{addin.BUTTON_MODULE}.{name}" for name, _ in subs]
    for (_, line), command in zip(subs, addin.LABELS, strict=True):
        assert line == f'RunPython "import strapline_excel;strapline_excel.{command}()"'
    assert addin.LABELS.keys() == {*COMMANDS, "undo"} == addin.TIPS.keys()


def test_of_the_macros_only_what_the_buttons_call_is_new(template: Mapping[str, bytes]) -> None:
    made = members(addin.addin(PYTHON))
    before, after = compound.streams(template[addin.MACRO_PART]), compound.streams(made[addin.MACRO_PART])
    assert {name for name in before if before[name] != after[name]} == {"dir", addin.BUTTON_MODULE}
    assert before.keys() == after.keys()
    text = macros.module_text(template[addin.MACRO_PART], addin.BUTTON_MODULE)
    assert macros.module_text(made[addin.MACRO_PART], addin.BUTTON_MODULE).startswith(text)
    # The template has a module without anything compiled, and asks for all to be compiled anew: so may ours.
    assert after["_VBA_PROJECT"] == b"\xcc\x61\xff\xff\x00\x01\x00" and before["xlwings"][0] == 1


def test_with_one_button_the_macros_are_the_templates_own(template: Mapping[str, bytes]) -> None:
    made = members(addin.one_button_addin(PYTHON))
    assert made[addin.MACRO_PART] == template[addin.MACRO_PART]
    button = etree.fromstring(made[addin.RIBBON_PART]).find(".//{*}button")
    assert button is not None and button.get("onAction") == f"{addin.BUTTON_MODULE}.RunMain"


@pytest.mark.parametrize("made", BOTH)
def test_the_rest_of_the_template_is_kept(made: str, template: Mapping[str, bytes]) -> None:
    ours = members(BOTH[made](PYTHON))
    changed = {name for name in template if template[name] != ours[name]}
    assert list(ours) == list(template)
    assert changed <= {addin.MACRO_PART, addin.RIBBON_PART, "xl/workbook.xml", "xl/worksheets/sheet1.xml"}
    assert b"myaddin" not in ours[addin.RIBBON_PART].lower().replace(b"ribbonmyaddin", b"")


@pytest.mark.parametrize("made", BOTH)
def test_the_settings_name_this_interpreter(made: str) -> None:
    ours = members(BOTH[made](PYTHON))
    sheets = etree.fromstring(ours["xl/workbook.xml"]).findall(".//m:sheet", MAIN)
    assert [sheet.get("name") for sheet in sheets] == ["myaddin.conf"]
    text = 'Public Const PROJECT_NAME As String = "myaddin"'
    assert text in macros.module_text(ours[addin.MACRO_PART], "xlwings")
    shared = [item.findtext("m:t", "", MAIN) for item in etree.fromstring(ours["xl/sharedStrings.xml"])]
    cells = {}
    for cell in etree.fromstring(ours["xl/worksheets/sheet1.xml"]).iterfind(".//m:c", MAIN):
        value = cell.findtext("m:v", None, MAIN) or cell.findtext("m:is/m:t", None, MAIN)
        cells[cell.get("r")] = shared[int(value or 0)] if cell.get("t") == "s" else value
    assert [cells[f"{letter}{row}"] for row in (1, 2, 10) for letter in "AB"] == [
        "Interpreter_Win", PYTHON, "Interpreter_Mac", PYTHON, "ADD_WORKBOOK_TO_PYTHONPATH", "0",
    ]  # fmt: skip
    # The macros read column A down to the first gap.
    assert all(cells.get(f"A{row}") for row in range(1, 11)) and not cells.get("A11")
    assert "license" not in " ".join(str(value) for value in cells.values()).lower()


def test_what_the_buttons_import_is_installed(tmp_path: Path) -> None:
    code = (
        "import strapline_excel, sys; assert all(callable(getattr(strapline_excel, name)) for name in sys.argv[1:]);"
        "print('xlwings' in sys.modules)"
    )
    run = subprocess.run(
        [sys.executable, "-B", "-c", code, "main", *addin.LABELS], cwd=tmp_path, capture_output=True, text=True,
    )  # fmt: skip
    assert (run.returncode, run.stderr) == (0, "") and addin.FILE_NAME == "strapline_excel.xlam"
    run = subprocess.run(
        [sys.executable, "-B", "-c", "import strapline_excel; strapline_excel.fill()"],
        cwd=tmp_path, capture_output=True, text=True,
    )  # fmt: skip
    assert run.returncode == 1 and run.stderr.count("\n") == 1


def test_the_command(tmp_path: Path) -> None:
    done = strapline("addin", "excel", "--out", "strapline_excel.xlam", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "") and "xlwings addin install -f" in done.stdout
    config = members((tmp_path / "strapline_excel.xlam").read_bytes())["xl/worksheets/sheet1.xml"].decode()
    assert sys.executable in unescape(config)
    one = strapline("addin", "excel", "--one-button", "-o", "strapline_excel.xlam", cwd=tmp_path)
    assert one.returncode == 0
    wrong = strapline("addin", "excel", "--out", "other.xlam", cwd=tmp_path)
    assert wrong.returncode == 2 and "give that name" in wrong.stderr and wrong.stderr.count("\n") == 1
    if not addin.excel_is_here():
        done = strapline("addin", "excel", cwd=tmp_path)
        assert done.returncode == 0 and str(tmp_path / "strapline_excel.xlam") in done.stdout


@given(st.binary(max_size=300), st.integers(0, 40))
def test_what_is_compressed_comes_back(data: bytes, times: int) -> None:
    text = data.hex().encode() * times
    assert macros.decompressed(macros.compressed(text)) == text


@given(st.lists(st.integers(0, 9000), min_size=1, max_size=3))
def test_streams_of_any_size_come_back(sizes: list[int]) -> None:
    before = resources.files("xlwings").joinpath(addin.TEMPLATE)
    data = members(before.read_bytes())[addin.MACRO_PART]
    names = list(compound.streams(data))[: len(sizes)]
    changed = {name: bytes(at % 251 for at in range(size)) for name, size in zip(names, sizes, strict=True)}
    made = compound.with_streams(data, changed)
    assert compound.streams(made) == compound.streams(data) | changed and len(made) % compound.SECTOR == 0
    assert compound.streams(compound.with_streams(made, {})) == compound.streams(made)


def test_what_is_no_macro_part_is_refused() -> None:
    with pytest.raises(compound.NoCompoundFile):
        compound.streams(b"PK\x03\x04" + bytes(600))
    with pytest.raises(KeyError):
        macros.module_text(members(addin.addin(PYTHON))[addin.MACRO_PART], "Nothing")


@pytest.mark.libreoffice
@pytest.mark.parametrize("made", BOTH)
def test_another_office_reads_the_add_in_and_its_macros(tmp_path: Path, made: str) -> None:
    (tmp_path / addin.FILE_NAME).write_bytes(BOTH[made](PYTHON))
    subprocess.run(
        [shutil.which("soffice") or "soffice", f"-env:UserInstallation={(tmp_path / 'office').as_uri()}", "--headless",
         "--infilter=Calc MS Excel 2007 VBA XML", "--convert-to", "ods", addin.FILE_NAME],
        cwd=tmp_path, check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    read = members((tmp_path / "strapline_excel.ods").read_bytes())
    text = unescape(read[f"Basic/MyAddin/{addin.BUTTON_MODULE}.xml"].decode(), {"&quot;": '"'})
    assert "Sub RunMain(control As IRibbonControl)" in text
    for command in addin.LABELS:
        assert (f"strapline_excel.{command}()" in text) == (made == "a button for each")
    assert b"Public Function RunPython" in read["Basic/MyAddin/xlwings.xml"]
    assert "myaddin.conf" in read["content.xml"].decode() and "Python &amp; co" in read["content.xml"].decode()


WINDOWS = """
from workbook_template.hosts.excel.showing import Window
from workbook_template.live import AIR_FORM
form = Window()
for field in AIR_FORM:
    form.add_field(field.key, field.label)
form.add_button("OK", "ok")
form.add_button("Cancel", "")
form.fields["--temp"].set(" 75 ")
form.root.after(200, form.buttons["OK"].invoke)
print(form.run(), form.answers())
menu = Window()
menu.add_button("Fill", "fill", side="top")
menu.root.after(200, menu.root.destroy)
print(repr(menu.run()))
report = Window()
report.show_text("line\\n" * 100)
report.add_button("OK", "ok")
report.root.after(200, report.buttons["OK"].invoke)
print(report.run())
"""


@pytest.mark.live_calc
def test_windows_ask_and_show(tmp_path: Path) -> None:
    if find_spec("_tkinter") is None:
        with pytest.raises(LogbookError, match="lacks tkinter"):
            showing.ask(AIR_FORM)
        return
    screen, display = _screen()
    try:
        environment = os.environ | {"DISPLAY": f":{display}"}
        run = subprocess.run(
            [sys.executable, "-c", WINDOWS], cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=60
        )
    finally:
        _end(screen)
    assert (run.stdout.splitlines(), run.stderr) == (["ok {'--temp': '75'}", "''", "ok"], "")
    assert len(AIR_FORM) == 5


def test_without_a_screen_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    if sys.platform.startswith("linux"):
        with pytest.raises(LogbookError, match="strapline live --help"):
            showing.ask(AIR_FORM)
