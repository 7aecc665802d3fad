"""The component that LibreOffice loads: it answers the addresses that the menu and the toolbar carry."""

from __future__ import annotations

import json
from typing import Any

import unohelper
from com.sun.star.awt import XCallback
from com.sun.star.frame import DispatchResultEvent, XDispatchProvider, XNotifyingDispatch
from com.sun.star.lang import XInitialization, XServiceInfo
from strapline_office.commands import NAMES, Press

IMPLEMENTATION = "strapline.Buttons"
SERVICES = ("com.sun.star.frame.ProtocolHandler",)
PROTOCOL = "vnd.strapline:"
SUCCESS = 1  # com.sun.star.frame.DispatchResultState
FAILURE = 0


class Buttons(unohelper.Base, XInitialization, XDispatchProvider, XNotifyingDispatch, XServiceInfo):
    """The buttons of one frame.

    A macro may press them too. With the argument Silent no window opens, and the result is what would have been shown,
    as JSON.
    """

    def __init__(self, ctx: Any) -> None:
        self.ctx, self.frame = ctx, None

    def initialize(self, arguments: Any) -> None:
        """Called with the frame that the buttons are of."""
        if arguments:
            self.frame = arguments[0]

    def queryDispatch(self, url: Any, target: str, flags: int) -> Any:
        """Ourselves for an address of ours."""
        return self if url.Complete.startswith(PROTOCOL) and self._command(url) in NAMES else None

    def queryDispatches(self, requests: Any) -> Any:
        """The same for several."""
        return tuple(self.queryDispatch(one.FeatureURL, one.FrameName, one.SearchFlags) for one in requests)

    def dispatch(self, url: Any, arguments: Any) -> None:
        """A button was pressed."""
        self.dispatchWithNotification(url, arguments, None)

    def dispatchWithNotification(self, url: Any, arguments: Any, listener: Any) -> None:
        """A button was pressed, and somebody may want to know what came of it.

        The work is done by the thread that the windows belong to, once it is free: another one, in which a macro from
        outside may have called, and it would wait for each other.
        """
        caller = self.ctx.ServiceManager.createInstanceWithContext("com.sun.star.awt.AsyncCallback", self.ctx)
        caller.addCallback(Pressed(self, url, arguments, listener), None)

    def addStatusListener(self, listener: Any, url: Any) -> None:
        """The buttons are always there."""

    def removeStatusListener(self, listener: Any, url: Any) -> None:
        """Nothing to forget."""

    def getImplementationName(self) -> str:
        return IMPLEMENTATION

    def supportsService(self, name: str) -> bool:
        return name in SERVICES

    def getSupportedServiceNames(self) -> Any:
        return SERVICES

    def press(self, url: Any, arguments: Any) -> dict[str, Any]:
        """Do what the address asks for, and say what came of it."""
        given = {one.Name: one.Value for one in arguments}
        answers = {name: value for name, value in given.items() if name.startswith("--")}
        return Press(self.ctx, self.frame, bool(given.get("Silent"))).run(self._command(url), answers)

    @staticmethod
    def _command(url: Any) -> str:
        return url.Complete[len(PROTOCOL) :]


class Pressed(unohelper.Base, XCallback):
    """One press, waiting for its turn."""

    def __init__(self, buttons: Buttons, url: Any, arguments: Any, listener: Any) -> None:
        self.buttons, self.url, self.arguments, self.listener = buttons, url, arguments, listener

    def notify(self, data: Any) -> None:
        """The turn has come."""
        said = self.buttons.press(self.url, self.arguments)
        if self.listener is not None:
            state = FAILURE if "error" in said else SUCCESS
            self.listener.dispatchFinished(DispatchResultEvent(self.buttons, state, json.dumps(said)))


g_ImplementationHelper = unohelper.ImplementationHelper()
g_ImplementationHelper.addImplementation(Buttons, IMPLEMENTATION, SERVICES)
