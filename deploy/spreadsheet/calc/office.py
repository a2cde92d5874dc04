"""LibreOffice without a window, driven over UNO. Needs the system's own Python."""

import os
import subprocess
import time

import uno
from com.sun.star.beans import PropertyValue
from com.sun.star.connection import NoConnectException


def prop(name, value):
    p = PropertyValue()
    p.Name, p.Value = name, value
    return p


def url(path):
    return uno.systemPathToFileUrl(os.path.abspath(path))


class Office:
    """A LibreOffice with a profile of its own."""

    def __init__(self, profile, environment=None):
        name = "askwright%d" % os.getpid()
        self.process = subprocess.Popen(
            ["soffice", "--headless", "--norestore", "--nologo", "-env:UserInstallation=" + url(profile), "--accept=pipe,name=%s;urp;" % name],
            env={**os.environ, **(environment or {})}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        local = uno.getComponentContext()
        resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
        for attempt in range(600):
            try:
                self.context = resolver.resolve("uno:pipe,name=%s;urp;StarOffice.ComponentContext" % name)
                break
            except NoConnectException:
                if attempt == 599 or self.process.poll() is not None:
                    raise
                time.sleep(0.1)
        self.desktop = self.context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", self.context)

    def open(self, path, *properties):
        """Opens a document out of sight, with its macros allowed."""
        doc = self.desktop.loadComponentFromURL(url(path), "_blank", 0, (prop("Hidden", True), prop("MacroExecutionMode", 4)) + properties)
        if doc is None:
            raise AssertionError("LibreOffice cannot open " + path)
        return doc

    def new(self):
        return self.desktop.loadComponentFromURL("private:factory/scalc", "_blank", 0, (prop("Hidden", True),))

    def close(self):
        try:
            self.desktop.terminate()
        except Exception:  # the connection may end before the answer
            pass
        self.process.wait(30)


def cells(sheet):
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    end = cursor.RangeAddress
    return [list(r) for r in sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow).DataArray]
