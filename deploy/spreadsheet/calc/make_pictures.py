"""Makes the pictures of docs/spreadsheet.md anew from the real thing: the template, its macros and a running server do
what the guide says, and LibreOffice draws the sheet. Run by: sh deploy/spreadsheet/test.sh pictures

Usage: /usr/bin/python3 make_pictures.py FOLDER    (needs pdftoppm, of Debian's poppler-utils)
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile

import uno  # noqa: F401, lets com.sun.star be imported

from com.sun.star.awt import Point, Size

from office import Office, cells, prop, url
from support import PROGRAM, SERVER, api, group, typed_rows

HERE = os.path.dirname(os.path.abspath(__file__))
HEADER = 1  # row of the template's header, from 0

TYPED = typed_rows()
LAST = HEADER + len(TYPED)


class Pictures:
    def __init__(self, folder):
        self.folder, self.scratch, self.notes = folder, tempfile.mkdtemp(), []
        self.key = group()
        api(self.key, "/v1/imports?commit=true", subprocess.check_output([PROGRAM, "demo", "rows"]), "text/csv")
        config = os.path.join(self.scratch, "config")
        os.makedirs(os.path.join(config, "askwright"))
        with open(os.path.join(config, "askwright", "spreadsheet.json"), "w", encoding="utf-8") as f:
            json.dump({"address": SERVER, "key": self.key}, f)
        self.office = Office(os.path.join(self.scratch, "profile"), {"XDG_CONFIG_HOME": config})

    def close(self):
        self.office.close()
        shutil.rmtree(self.scratch, ignore_errors=True)

    def make(self):
        path = os.path.join(self.scratch, "askwright.ods")
        shutil.copy(os.path.join(HERE, "askwright.ods"), path)
        self.doc = self.office.open(path)
        self.sheet = self.doc.Sheets.getByIndex(0)
        header = [h for h in cells(self.sheet)[HEADER] if h]
        for i, row in enumerate(TYPED):
            for name, value in row.items():
                self.sheet.getCellByPosition(header.index(name), HEADER + 1 + i).Formula = value  # as if it were typed
        self.run("send_and_suggest")
        self.show("ref category width condition finish listed_on ask stage revision suggested_ask likely_price low_price high_price chance_sold median_days")
        self.draw_notes()
        self.take("sheet-suggestions", LAST + 3)
        self.sheet.getCellByPosition(header.index("width"), HEADER + 3).Value = 54
        self.run("send_and_suggest")
        self.run("mark_stale")
        self.run("check_purchase_limits")
        self.show("ref category listed_on ask state active_days chance_sold_by_now reason action action_ask gain most_to_pay walk_away offer")
        self.take("sheet-stale", LAST)
        self.show("ref category ask suggested_ask low_price high_price chance_sold median_days")
        self.draw_curves()
        self.take("sheet-curves", LAST - 1)
        self.doc.close(True)

    def run(self, macro):
        script = self.doc.getScriptProvider().getScript("vnd.sun.star.script:askwright.py$%s?language=Python&location=document" % macro)
        print(macro + ": " + script.invoke((), (), ())[0])

    def show(self, columns):
        """Hides all other columns."""
        for i, title in enumerate(cells(self.sheet)[HEADER]):
            column = self.sheet.Columns.getByIndex(i)
            column.IsVisible = title in columns.split()
            if column.IsVisible:
                column.OptimalWidth = True
                column.Width += 200

    def draw_notes(self):
        """Comments are not printed in their place: draws each below its cell, as the mouse shows it."""
        for i in range(self.sheet.Annotations.Count):
            one = self.sheet.Annotations.getByIndex(i)
            cell = self.sheet.getCellByPosition(one.Position.Column, one.Position.Row)
            cell.CellBackColor = 0xFFC0C0
            shape = self.doc.createInstance("com.sun.star.drawing.RectangleShape")
            self.sheet.DrawPage.add(shape)
            shape.Position = Point(cell.Position.X, self.sheet.getCellByPosition(0, LAST + 1).Position.Y + 150)
            shape.Size = Size(11500, 750)
            shape.FillColor, shape.LineColor = 0xFFFFC0, 0x808040
            shape.String, shape.CharFontName, shape.CharHeight = one.String, "Liberation Sans", 10
            self.notes.append(shape)

    def draw_curves(self):
        """The picture of each open listing's curve, in a cell beside its row."""
        grid = cells(self.sheet)
        column = len(grid[HEADER])
        title = self.sheet.getCellByPosition(column, HEADER)
        title.String, title.CharWeight, title.CellBackColor = "curve", 150.0, 0xDCE3EC
        self.sheet.Columns.getByIndex(column).Width = 6400
        provider = self.office.context.ServiceManager.createInstanceWithContext("com.sun.star.graphic.GraphicProvider", self.office.context)
        for line in range(HEADER + 1, LAST):
            self.sheet.Rows.getByIndex(line).Height = 2100
            listing = json.loads(api(self.key, "/v1/listings?member=me&ref=" + grid[line][0]))["items"][0]
            file = os.path.join(self.scratch, grid[line][0] + ".png")
            with open(file, "wb") as f:
                f.write(api(self.key, "/v1/listings/%s/curve.png?width=240&height=78" % listing["id"]))
            shape = self.doc.createInstance("com.sun.star.drawing.GraphicObjectShape")
            self.sheet.DrawPage.add(shape)
            shape.Graphic = provider.queryGraphic((prop("URL", url(file)),))
            place = self.sheet.getCellByPosition(column, line).Position
            shape.Position, shape.Size = Point(place.X + 50, place.Y + 50), Size(6300, 2000)

    def take(self, name, last):
        """Draws the sheet down to a row as it would be printed on a page of its size."""
        header = cells(self.sheet)[HEADER]
        area = self.sheet.getCellRangeByPosition(0, 0, len(header) - 1, last)
        self.sheet.setPrintAreas((area.RangeAddress,))
        style = self.doc.StyleFamilies.getByName("PageStyles").getByName(self.sheet.PageStyle)
        style.HeaderIsOn = style.FooterIsOn = False
        style.LeftMargin = style.RightMargin = style.TopMargin = style.BottomMargin = 0
        style.PrintGrid = style.PrintHeaders = True
        style.Width, style.Height = area.Size.Width + 1300, area.Size.Height + 600
        pdf = os.path.join(self.scratch, "page.pdf")
        self.doc.storeToURL(url(pdf), (prop("FilterName", "calc_pdf_Export"),))
        subprocess.check_call(["pdftoppm", "-png", "-singlefile", "-scale-to-x", "1280", "-scale-to-y", "-1", pdf, os.path.join(self.folder, name)])
        while self.notes:
            self.sheet.DrawPage.remove(self.notes.pop())


def main(folder):
    os.makedirs(folder, exist_ok=True)
    pictures = Pictures(folder)
    try:
        pictures.make()
    finally:
        pictures.close()


if __name__ == "__main__":
    main(sys.argv[1])
