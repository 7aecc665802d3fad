"""The component that Calc calls for the worksheet functions."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import strapline_office
import uno
import unohelper
from com.sun.star.lang import XServiceInfo
from com.sun.star.uno import RuntimeException
from strapline_office.asking import Unanswered
from strapline_office.calculating import Calculator

IMPLEMENTATION = "strapline"
SERVICES = ("com.sun.star.sheet.AddIn", IMPLEMENTATION)
FOLDER = Path(strapline_office.__file__).parent
OFFERED = json.loads((FOLDER / "functions.json").read_text("utf-8"))

calculator = Calculator(FOLDER / "settings.json")


class Functions(unohelper.Base, uno.getClass("strapline.XFunctions"), XServiceInfo):  # type: ignore[misc]
    """The functions; their methods are put in below, one for each of the interface."""

    def __init__(self, ctx: Any) -> None:
        """Called by the office."""

    def getImplementationName(self) -> str:
        return IMPLEMENTATION

    def supportsService(self, name: str) -> bool:
        return name in SERVICES

    def getSupportedServiceNames(self) -> Any:
        return SERVICES


def _method(name: str, several: bool) -> Callable[..., Any]:
    def method(self: Functions, *given: Any) -> Any:
        try:
            return calculator.call(name, [*given[:-1], *given[-1]] if several else given)
        except Unanswered as error:
            if name == OFFERED["why_not"]:
                return str(error)
            raise RuntimeException(str(error), self) from None  # of all exceptions, one that makes #VALUE!

    return method


for _name, _several in OFFERED["functions"].items():
    setattr(Functions, _name, _method(_name, _several))

g_ImplementationHelper = unohelper.ImplementationHelper()
g_ImplementationHelper.addImplementation(Functions, IMPLEMENTATION, SERVICES)
