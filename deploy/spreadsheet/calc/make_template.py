"""Makes the template askwright.ods, with askwright.py inside of it.

Usage: /usr/bin/python3 make_template.py OUTPUT.ods
"""

import os
import shutil
import sys
import tempfile
import zipfile

import uno  # noqa: F401, lets com.sun.star be imported

from com.sun.star.awt import Point, Size
from com.sun.star.lang import Locale
from com.sun.star.script import ScriptEventDescriptor
from com.sun.star.sheet.ConditionOperator import FORMULA
from com.sun.star.sheet.ValidationType import LIST
from com.sun.star.table import CellAddress

from office import Office, prop, url

HERE = os.path.dirname(os.path.abspath(__file__))

# A column with its width in millimetres, its number format and the words to choose from.
COLUMNS = [
    ("ref", 18, "@", None), ("category", 26, "@", None), ("width", 16, "0.##", None), ("depth", 16, "0.##", None), ("height", 16, "0.##", None),
    ("material", 24, "@", None), ("wood", 20, "@", None), ("condition", 22, "@", "poor fair good very_good excellent"),
    ("finish", 22, "@", None), ("color", 20, "@", None), ("listed_on", 24, "YYYY-MM-DD", None), ("ask", 20, "#,##0.00", None),
    ("outcome", 22, "@", "open sold pulled"), ("ended_on", 24, "YYYY-MM-DD", None), ("sale_price", 22, "#,##0.00", None),
    ("purchase_cost", 28, "#,##0.00", None), ("stage", 20, "@", "found bought on_bench"), ("revision", 18, "0", None),
]
ACTIONS = [("Connect", "connect"), ("Get my rows", "get_rows"), ("Send and suggest", "send_and_suggest"), ("Send rows", "send_rows"),
           ("Fill suggestions", "fill_suggestions"), ("Mark stale", "mark_stale"), ("Check purchase limits", "check_purchase_limits")]
LINES = 3000  # that are formatted


def fill(doc):
    sheet = doc.Sheets.getByIndex(0)
    sheet.Name = "Listings"
    for i, (name, width, form, words) in enumerate(COLUMNS):
        sheet.Columns.getByIndex(i).Width = width * 100
        body = sheet.getCellRangeByPosition(i, 2, i, LINES)
        body.NumberFormat = number_format(doc, form)
        if words:
            rule = body.Validation
            rule.Type, rule.IgnoreBlankCells, rule.ShowList = LIST, True, 1
            rule.setFormula1(";".join('"%s"' % w for w in words.split()))
            rule.ErrorMessage = "One of " + ", ".join(words.split())
            body.Validation = rule
        sheet.getCellByPosition(i, 1).String = name
    header = sheet.getCellRangeByPosition(0, 1, len(COLUMNS) - 1, 1)
    header.CellBackColor, header.CharWeight = 0xDCE3EC, 150.0
    sheet.Rows.getByIndex(0).Height = 1100
    flag(doc, sheet)
    buttons(doc, sheet)


def flag(doc, sheet):
    """Colors the rows of slow and stale listings, wherever the column state stands."""
    rows = sheet.getCellRangeByPosition(0, 2, 49, LINES)
    entries = rows.ConditionalFormat
    for state, color in (("stale", 0xFBDCD2), ("slow", 0xFFF3CC)):
        style = doc.createInstance("com.sun.star.style.CellStyle")
        doc.StyleFamilies.getByName("CellStyles").insertByName(state, style)
        style.ParentStyle, style.CellBackColor = "Default", color
        formula = 'IFERROR(INDEX($A3:$AX3;MATCH("state";$A$2:$AX$2;0));"")="%s"' % state
        entries.addNew((prop("Operator", FORMULA), prop("Formula1", formula), prop("SourcePosition", CellAddress(0, 0, 2)), prop("StyleName", state)))
    rows.ConditionalFormat = entries


def number_format(doc, form):
    formats, locale = doc.NumberFormats, Locale("en", "US", "")
    found = formats.queryKey(form, locale, False)
    return found if found >= 0 else formats.addNew(form, locale)


def buttons(doc, sheet):
    page = sheet.DrawPage
    for i, (label, macro) in enumerate(ACTIONS):
        button = doc.createInstance("com.sun.star.form.component.CommandButton")
        button.Label, button.Name = label, macro
        shape = doc.createInstance("com.sun.star.drawing.ControlShape")
        shape.Control = button
        shape.Position, shape.Size = Point(150 + 3900 * i, 150), Size(3750, 800)
        page.add(shape)
        event = ScriptEventDescriptor()
        event.ListenerType, event.EventMethod = "com.sun.star.awt.XActionListener", "actionPerformed"
        event.ScriptType, event.ScriptCode = "Script", "vnd.sun.star.script:askwright.py$%s?language=Python&location=document" % macro
        page.Forms.getByIndex(0).registerScriptEvent(i, event)


def embed(path, script):
    """Puts the macro into the package and its manifest (OpenDocument 1.3, part 2)."""
    whole = path + ".part"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.infolist():
            text = old.read(item)
            if item.filename == "META-INF/manifest.xml":
                entries = "".join('<manifest:file-entry manifest:full-path="%s" manifest:media-type="%s"/>' % e for e in [
                    ("Scripts/python/askwright.py", ""), ("Scripts/python/", "application/binary"), ("Scripts/", "application/binary")])
                text = text.replace(b"</manifest:manifest>", entries.encode() + b"</manifest:manifest>")
            new.writestr(item, text, zipfile.ZIP_STORED if item.filename == "mimetype" else zipfile.ZIP_DEFLATED)
        new.write(script, "Scripts/python/askwright.py")
    os.replace(whole, path)


def main(output):
    profile = tempfile.mkdtemp()
    office = Office(profile)
    try:
        doc = office.new()
        fill(doc)
        doc.storeToURL(url(output), (prop("FilterName", "calc8"),))
        doc.close(True)
    finally:
        office.close()
        shutil.rmtree(profile, ignore_errors=True)
    embed(output, os.path.join(HERE, "askwright.py"))


if __name__ == "__main__":
    main(sys.argv[1])
