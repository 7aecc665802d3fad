"""The worksheet functions for Excel: what they answer, and what xlwings' own decorators make of them."""

from __future__ import annotations

import subprocess
import sys
from datetime import datetime

import pytest

from workbook_template.functions import FUNCTIONS, call
from workbook_template.hosts import excel_functions

HOT = (88.0, 29.42, 45.0)

# xlwings keeps its decorators beside code for Windows. With empty modules in place of those that only Windows has, they
# and the macros that they write can be had anywhere; nothing of them is replaced.
ON_WINDOWS = """
import io, sys, types
for name in ("pythoncom", "pywintypes", "win32com", "win32com.client"):
    sys.modules[name] = types.ModuleType(name)
sys.modules["pythoncom"].CoInitialize = sys.modules["win32com.client"].Dispatch = None
import xlwings
from xlwings import udfs
xlwings.func, xlwings.arg = udfs.xlfunc, udfs.xlarg
from workbook_template.hosts import excel_functions
from workbook_template.functions import FUNCTIONS
for function in FUNCTIONS.values():
    made = getattr(excel_functions, function.name)
    assert made.__xlfunc__["name"] == function.name and made.__xlfunc__["category"] == "strapline"
    assert made.__xlfunc__["ret"]["doc"] == function.help and made.__xlfunc__["ret"]["options"] == {}
    assert [(one["name"], one["doc"]) for one in made.__xlfunc__["args"]] == [
        (one.name, one.help) for one in function.arguments]
    assert all(one["options"] == {"ndim": 2} for one in made.__xlfunc__["args"])
macros = io.StringIO()
udfs.generate_vba_wrapper(excel_functions.__name__, excel_functions, macros, types.SimpleNamespace(Name="a.xlam"))
print(macros.getvalue())
"""


def test_a_call_answers_as_the_function_does() -> None:
    assert excel_functions.STRAPLINE_AIR(*([[value]] for value in HOT)) == call("AIR", HOT)
    assert excel_functions.STRAPLINE_AIR(*HOT) == call("AIR", HOT)
    jets, bores = [[72], [74], [None]], [[0.072], [0.074], [None]]
    assert excel_functions.STRAPLINE_JET([[72.0]], *HOT, *HOT, jets, bores) == 72.0
    assert excel_functions.STRAPLINE_WHY_NOT("AIR", *HOT) == ""


@pytest.mark.parametrize("wrong", [24.0, [[datetime(2026, 4, 18)]], [[None]], [[88.0, 89.0]], True])
def test_what_is_refused_is_a_text_that_says_so(wrong: object) -> None:
    said = excel_functions.STRAPLINE_AIR(wrong, *HOT[1:])
    assert said.startswith("#VALUE! the temperature")
    assert said == "#VALUE! " + excel_functions.STRAPLINE_WHY_NOT("AIR", wrong, *HOT[1:])


def test_the_macros_that_xlwings_writes_offer_every_function() -> None:
    ended = subprocess.run([sys.executable, "-c", ON_WINDOWS], capture_output=True, text=True, timeout=60)
    assert ended.returncode == 0, ended.stderr
    for function in FUNCTIONS.values():
        names = [("ParamArray {}()" if one.several else "Optional {}" if one.optional else "{}").format(one.name)
                 for one in function.arguments]  # fmt: skip
        assert f"Function {function.name}({', '.join(names)})" in ended.stdout
        assert f'"{excel_functions.__name__}", "{function.name}"' in ended.stdout
