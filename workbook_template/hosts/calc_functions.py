"""What Calc must be told of the worksheet functions: their interface, and the texts of the function wizard."""

from __future__ import annotations

import json
from xml.sax.saxutils import escape, quoteattr

from workbook_template.functions import FUNCTIONS, WHY_NOT, Argument, WorksheetFunction

IMPLEMENTATION = "strapline"
INTERFACE = "strapline.XFunctions"
_REGISTRY = 'xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"'


def interface() -> str:
    """The interface as source of UNO's interface language, which the office reads as it is."""
    module, _, name = INTERFACE.partition(".")
    methods = "".join(f"  any {function.key}({_parameters(function)});\n" for function in FUNCTIONS.values())
    return f"module {module} {{ interface {name} {{\n{methods}}}; }};\n"


def _parameters(function: WorksheetFunction) -> str:
    return ", ".join(f"[in] {_kind(one)} {_identifier(at)}" for at, one in enumerate(function.arguments))


def _kind(argument: Argument) -> str:
    """The type by which Calc knows what may be left out; the wizard says so. A single cell comes as rows of one."""
    if argument.several:
        return "sequence<any>"
    return "any" if argument.optional else "sequence< sequence<any> >"


def _identifier(at: int) -> str:
    """An argument's name within the interface, which allows no words joined by a low line."""
    return f"given{at}"


def offered() -> str:
    """What the component offers, as JSON: function -> whether its last argument takes several; which gives reasons."""
    several = {key: function.arguments[-1].several for key, function in FUNCTIONS.items()}
    return json.dumps({"functions": several, "why_not": WHY_NOT})


def component(file: str) -> str:
    """What the Python file in the extension offers, so that it need not be loaded to find out."""
    services = "".join(f"<service name={quoteattr(name)}/>" for name in ("com.sun.star.sheet.AddIn", IMPLEMENTATION))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<components xmlns="http://openoffice.org/2010/uno-components">'
        f'<component loader="com.sun.star.loader.Python" uri={quoteattr(file)}>'
        f"<implementation name={quoteattr(IMPLEMENTATION)}>{services}</implementation></component></components>"
    )


def descriptions() -> str:
    """Names and help for the function wizard."""
    functions = "".join(_function(function) for function in FUNCTIONS.values())
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<oor:component-data {_REGISTRY} oor:name="CalcAddIns" oor:package="org.openoffice.Office">
  <node oor:name="AddInInfo">
    <node oor:name="{IMPLEMENTATION}" oor:op="replace">
      <node oor:name="AddInFunctions">{functions}</node>
    </node>
  </node>
</oor:component-data>
"""


def _function(function: WorksheetFunction) -> str:
    properties = "".join((
        _text("DisplayName", function.name), _text("Description", function.help), _plain("Category", "Add-In"),
        _text("CompatibilityName", function.name),
    ))  # fmt: skip
    arguments = "".join(_argument(at, argument) for at, argument in enumerate(function.arguments))
    return _node(function.key, f'{properties}<node oor:name="Parameters">{arguments}</node>')


def _argument(at: int, argument: Argument) -> str:
    shown = _text("DisplayName", argument.name.replace("_", " "))
    return _node(_identifier(at), shown + _text("Description", argument.help))


def _node(name: str, inside: str) -> str:
    return f'<node oor:name={quoteattr(name)} oor:op="replace">{inside}</node>'


def _text(name: str, text: str) -> str:
    return f'<prop oor:name="{name}"><value xml:lang="en-US">{escape(text)}</value></prop>'


def _plain(name: str, text: str) -> str:
    return f'<prop oor:name="{name}"><value>{escape(text)}</value></prop>'
