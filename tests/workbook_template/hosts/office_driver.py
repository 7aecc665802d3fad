"""Run by the office's own Python: opens documents, presses buttons and says what stands in the documents.

A line of JSON in, {"do": NAME, ...}; a line of JSON out, {"result": ...} or {"error": ...}.
"""

import json
import sys
import threading
import time

import uno
import unohelper
from com.sun.star.awt import XCallback
from com.sun.star.beans import NamedValue, PropertyValue

FILTERS = {"xlsx": "Calc MS Excel 2007 XML", "ods": "calc8"}


def value(name, content):
    made = PropertyValue()
    made.Name, made.Value = name, content
    return made


class Turn(unohelper.Base, XCallback):
    """Something to be done by the thread that the windows belong to, as when a user does it."""

    def __init__(self, work):
        self.work, self.done, self.error = work, threading.Event(), None

    def notify(self, data):
        try:
            self.work()
        except Exception as error:
            self.error = error
        self.done.set()


class Driver:
    def __init__(self, pipe):
        local = uno.getComponentContext()
        resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
        for _ in range(150):
            try:
                self.ctx = resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
                break
            except Exception:
                time.sleep(0.2)
        self.desktop = self.service("com.sun.star.frame.Desktop")
        self.doc = None

    def service(self, name):
        return self.ctx.ServiceManager.createInstanceWithContext(name, self.ctx)

    def turn(self, work):
        turn = Turn(work)
        self.service("com.sun.star.awt.AsyncCallback").addCallback(turn, None)
        if not turn.done.wait(60):
            raise RuntimeError("the office is busy")
        if turn.error is not None:
            raise turn.error

    def open(self, path, readonly=False):
        self.doc = self.desktop.loadComponentFromURL(
            uno.systemPathToFileUrl(path), "_blank", 0, (value("ReadOnly", readonly),)
        )

    def new(self, kind):
        self.doc = self.desktop.loadComponentFromURL(f"private:factory/{kind}", "_blank", 0, ())

    def close(self):
        self.doc.close(True)

    def open_beside(self, path):
        self.kept = self.doc
        self.open(path)

    def close_beside(self):
        self.close()
        self.doc = self.kept

    def beside(self, path, looks=False):
        """What stands in another document."""
        self.open_beside(path)
        try:
            return self.snapshot(looks)
        finally:
            self.close_beside()

    def press(self, command, given=None, quiet=True):
        arguments = (value("Silent", quiet), *(value(name, text) for name, text in (given or {}).items()))
        frame = self.doc.CurrentController.Frame
        said = self.service("com.sun.star.frame.DispatchHelper").executeDispatch(
            frame, f"vnd.strapline:{command}", "_self", 0, arguments
        )
        return None if said is None else json.loads(said.Result)

    def undo(self):
        self.turn(self.doc.UndoManager.undo)

    def redo(self):
        self.turn(self.doc.UndoManager.redo)

    def undo_titles(self):
        return list(self.doc.UndoManager.getAllUndoActionTitles())

    def modified(self):
        return self.doc.isModified()

    def menu(self):
        """The addresses of the menu and of the toolbar."""
        found = []
        provider = self.service("com.sun.star.configuration.ConfigurationProvider")
        for node in ("OfficeMenuBar/strapline.workbook/Submenu", "OfficeToolBar/strapline.workbook"):
            path = value("nodepath", f"/org.openoffice.Office.Addons/AddonUI/{node}")
            access = provider.createInstanceWithArguments("com.sun.star.configuration.ConfigurationAccess", (path,))
            found.append([access.getByName(name).getByName("URL") for name in access.ElementNames])
        return found

    def select(self, sheet, cell):
        sheet = self.doc.Sheets.getByName(sheet)
        self.doc.CurrentController.setActiveSheet(sheet)
        self.doc.CurrentController.select(sheet.getCellRangeByName(cell))

    def selected(self):
        return self.doc.CurrentSelection.AbsoluteName

    def run(self, code):
        """A change of the document, such as a user would make."""
        exec(code, {"doc": self.doc, "uno": uno})

    def write(self, formulas):
        """Formulas, or values as one would type them, into cells of the first sheet."""
        for cell, formula in formulas.items():
            self.doc.Sheets.getByIndex(0).getCellRangeByName(cell).setFormula(formula)

    def shown(self, cells):
        """What cells of the first sheet show: a number, or a text, which for an error is its name."""
        sheet = self.doc.Sheets.getByIndex(0)
        found = [sheet.getCellRangeByName(name) for name in cells]
        return [cell.Value if cell.FormulaResultType2 == 1 and not cell.getError() else cell.String for cell in found]

    def values(self, area):
        """The same of a whole area of numbers."""
        return self.doc.Sheets.getByIndex(0).getCellRangeByName(area).getDataArray()

    def calculate(self):
        """Calculate every cell anew."""
        self.doc.calculateAll()

    def save(self, path):
        kind = FILTERS[path.rpartition(".")[2]]
        self.doc.storeToURL(uno.systemPathToFileUrl(path), (value("FilterName", kind),))

    def snapshot(self, looks=False):
        """What stands in the document; on demand also how it looks, which takes longer."""
        asked = (NamedValue("document", self.doc), NamedValue("looks", looks))
        return json.loads(self.service("strapline.tests.Snapshot").execute(asked))

    def marks(self):
        names = self.doc.NamedRanges
        return sorted([name, names.getByName(name).Content] for name in names.ElementNames if name.startswith("_wt_"))

    def functions(self):
        """What the function wizard knows: of each function of ours its name, help, and arguments with theirs."""
        described = self.service("com.sun.star.sheet.FunctionDescriptions")
        found = {}
        for at in range(described.Count):
            given = {one.Name: one.Value for one in described.getByIndex(at)}
            if given["Name"].startswith("STRAPLINE_"):
                arguments = [[one.Name, one.Description, one.IsOptional] for one in given["Arguments"]]
                found[given["Name"]] = [given["Description"], arguments]
        return found

    def press_button_of_window(self, label):
        """Press a button of the window that opens, as a user would, until the window is gone."""
        pressed = False
        for _ in range(150):
            buttons = [button for button in map(self._button(label), self._windows()) if button is not None]
            if not buttons and pressed:
                return True
            for button in buttons:
                button.doAccessibleAction(0)
                pressed = True
            time.sleep(0.2)
        return False

    def _windows(self):
        """The windows that are open over the document."""
        toolkit = self.service("com.sun.star.awt.Toolkit")
        roles = [
            uno.getConstantByName(f"com.sun.star.accessibility.AccessibleRole.{name}") for name in ("DIALOG", "ALERT")
        ]
        for at in range(toolkit.getTopWindowCount()):
            window = toolkit.getTopWindow(at)
            context = window.getAccessibleContext() if hasattr(window, "getAccessibleContext") else None
            if context is not None and context.getAccessibleRole() in roles:
                yield context

    def _button(self, label):
        return lambda window: found(window, label)


def role(name):
    return uno.getConstantByName(f"com.sun.star.accessibility.AccessibleRole.{name}")


def found(context, label):
    if context.getAccessibleRole() == role("PUSH_BUTTON"):
        return context if context.getAccessibleName() == label else None
    for at in range(min(context.getAccessibleChildCount(), 200)):
        child = context.getAccessibleChild(at)
        button = None if child is None else found(child.getAccessibleContext(), label)
        if button is not None:
            return button
    return None


def main():
    driver = Driver(sys.argv[1])
    pressing = []
    print(json.dumps({"result": "ready"}), flush=True)
    for line in sys.stdin:
        asked = json.loads(line)
        name = asked.pop("do")
        try:
            if name == "press_later":  # in a thread of its own, while the window that it opens is dealt with

                def work(asked=asked):
                    pressing.append(driver.press(**asked))

                threading.Thread(target=work, daemon=True).start()
                result = None
            elif name == "pressed":
                for _ in range(200):
                    if pressing:
                        break
                    time.sleep(0.1)
                result = pressing.pop()
            else:
                result = getattr(driver, name)(**asked)
            print(json.dumps({"result": result}), flush=True)
        except Exception as error:
            print(json.dumps({"error": f"{type(error).__name__}: {error}"}), flush=True)


main()
