"""LibreOffice Calc and Python's csv module read what the server hands out, and what Calc saves goes back. Run by test.sh."""

import csv
import io
import json
import os
import re
import unittest
import urllib.parse
import zipfile

from office import cells, prop, url
from support import XLSX, OfficeCase, api, days_ago, serial

CSV_UTF8 = ("FilterName", "Text - txt - csv (StarCalc)"), ("FilterOptions", "44,34,76,1,,1033,false,true")
CSV_GERMAN = CSV_UTF8[0], ("FilterOptions", "59,34,76,1,,1031,false,true")

# Lists that need a parameter, or whose rows stand elsewhere in the JSON.
QUERY_OF = {"/v1/comparables.csv": "category=desk", "/v1/work-queue.csv": "hours=12&money=150"}
MEMBER_OF = {"/v1/work-queue.csv": "tasks"}
NESTED = {"/v1/imports/{id}/rows.csv"}  # its JSON has the cells of a row in an object
OTHER_NAMES = {"/v1/suggestions.csv": {"suggested_ask": "ask", "ask": None}}


def letters(column):
    """The letters of a column, from 0."""
    return (letters(column // 26 - 1) if column >= 26 else "") + chr(65 + column % 26)


def records(text, delimiter=","):
    rows = list(csv.reader(io.StringIO(text.decode("utf-8-sig"), newline=""), strict=True, delimiter=delimiter))
    return rows[0], [dict(zip(rows[0], r, strict=True)) for r in rows[1:]]


class Exports(OfficeCase):
    def test_csv_exports(self):
        """Calc reads each cell as Python's csv module does, and runs no formula."""
        self.with_demo()
        evil = '=1+1'
        api(self.key, "/v1/listings", {"ref": "E-1", "category": "desk", "listed_on": days_ago(3), "ask": 100, "flaws": evil, "maker": 'a "b", c\nd'})
        for name in ("listings", "reviews", "suggestions", "reports/listing-age"):
            text = api(self.key, "/v1/%s.csv" % name)
            rows = list(csv.reader(io.StringIO(text.decode("utf-8"), newline=""), strict=True))
            doc = self.office.open(self.saved(name.replace("/", "-") + ".csv", text), *(prop(*p) for p in CSV_UTF8))
            got = cells(doc.Sheets.getByIndex(0))
            self.assertEqual(len(got), len(rows), name)
            for wanted, line in zip(rows, got):
                for a, b in zip(wanted, line + [""] * (len(wanted) - len(line))):
                    same = a == b or (isinstance(b, float) and a and self.as_number(a) == b) or a == "'" + str(b)
                    self.assertTrue(same, "%s: %r is read as %r" % (name, a, b))
            formulas = doc.Sheets.getByIndex(0).queryContentCells(16)  # com.sun.star.sheet.CellFlags.FORMULA
            self.assertEqual(formulas.Count, 0)
            doc.close(True)


    def as_number(self, text):
        try:
            return float(text)
        except ValueError:
            return serial(text) if text.count("-") == 2 else None


    def test_every_csv_is_read_by_another_implementation(self):
        """Python's csv module gets of every list the cells that the JSON has, for every way to write them."""
        self.with_demo()
        api(self.key, "/v1/listings", {"ref": "E-1", "category": "desk", "listed_on": days_ago(3), "ask": 100, "own_price": 90,
                                       "flaws": "=1+1", "maker": 'a "b"; c,\nd', "purchase_cost": "12.50", "area": "'=2"})
        listing = json.loads(api(self.key, "/v1/listings?ref=E-1"))["items"][0]
        piece = json.loads(api(self.key, "/v1/pieces?ref=E-1"))["items"][0]
        hook = json.loads(api(self.key, "/v1/webhooks", {"url": "https://hooks.example/otterford", "label": "=the chat"}))
        api(self.key, "/v1/webhooks/%s/deliveries" % hook["id"], {})
        api(self.key, "/v1/invitations", {"name": "Tamsin"})
        api(self.key, "/v1/listings/%s/offers" % listing["id"], {"amount": 80})
        sheet = json.loads(api(self.key, "/v1/imports", b"What,Date up,Asking\nOld desk,%s,$90 obo\n" % days_ago(3).encode(), "text/csv"))
        api(self.key, "/v1/listings", {"ref": "E-2", "category": "desk", "stage": "bought", "bought_on": days_ago(9), "purchase_cost": 20,
                                       "closed_as": "kept", "closed_on": days_ago(2)})
        ids = {"listings": listing["id"], "pieces": piece["id"], "webhooks": hook["id"], "imports": sheet["id"]}
        described = json.loads(api(self.key, "/openapi.json"))["paths"]
        paths = sorted(p for p in described if p.endswith(".csv") and "get" in described[p])
        self.assertGreater(len(paths), 12)
        for path in paths:
            id_here = ids.get(path.removeprefix("/v1/").split("/")[0], "")
            here = path.replace("{id}", id_here)
            query = QUERY_OF.get(path, "")
            from_json = path[:-len(".csv")].replace("{id}", id_here) + "?" + query
            with self.subTest(path):
                header, rows = records(api(self.key, here + "?" + query))
                self.assertGreater(len(rows), 0)
                again, others = records(api(self.key, here + "?delimiter=;&decimal=,&bom=true&" + query), ";")
                self.assertEqual(again, header)
                self.assertEqual(len(others), len(rows))
                for row, other in zip(rows, others):
                    self.assertEqual([v.replace(",", ".") for v in row.values()], [v.replace(",", ".") for v in other.values()])
                if path in NESTED:
                    continue
                self.compare(rows, self.items(from_json, MEMBER_OF.get(path, "items")), OTHER_NAMES.get(path, {}))

    def items(self, path, member):
        """The objects of a list, with numbers as they are written."""
        out, cursor = [], ""
        while True:
            page = json.loads(api(self.key, path + cursor), parse_float=str, parse_int=str)
            out += page[member]
            if not page.get("next"):
                return out
            cursor = "&cursor=" + urllib.parse.quote(page["next"])

    def compare(self, rows, items, names):
        """Compares all cells whose column is a plain member of the objects."""
        self.assertEqual(len(rows), len(items))
        compared = set()
        for row, item in zip(rows, items):
            for name, cell in row.items():
                value = item.get(names.get(name, name), "")
                if isinstance(value, (dict, list)):
                    continue
                text = {None: "", True: "true", False: "false"}.get(value, value)
                if name == "at" or name.endswith(("_at", "_since")):
                    text = re.sub(r"\.\d+Z$", "Z", text)  # JSON tells fractions of a second
                if text != "":
                    compared.add(name)
                    self.assertIn(cell, (text, "'" + text), name)
        self.assertGreater(len(compared), 1, "hardly anything was compared")

    def test_workbook_there_and_back(self):
        self.with_demo()
        api(self.key, "/v1/listings", {"ref": "E-1", "category": "desk", "listed_on": days_ago(3), "ask": 100.5, "flaws": "=1+1", "maker": "two\nlines"})
        before = api(self.key, "/v1/listings.csv")
        path = self.saved("listings.xlsx", api(self.key, "/v1/listings.xlsx"))
        doc = self.office.open(path)
        self.assertEqual(doc.Sheets.ElementNames, ("Listings", "Unlisted", "Columns"))
        sheet = doc.Sheets.getByName("Listings")
        grid = cells(sheet)
        header = grid[0]
        line = [r[0] for r in grid].index("E-1")
        self.assertEqual(sheet.getCellByPosition(header.index("listed_on"), line).String, days_ago(3))
        self.assertEqual(grid[line][header.index("listed_on")], serial(days_ago(3)))
        self.assertEqual(sheet.getCellByPosition(header.index("ask"), line).String, "USD 100.50")
        self.assertEqual(sheet.getCellByPosition(header.index("flaws"), line).String, "=1+1")

        def back(name):
            out = os.path.join(self.folder, name)
            doc.storeToURL(url(out), (prop("FilterName", "Calc MS Excel 2007 XML"),))
            with open(out, "rb") as f:
                return json.loads(api(self.key, "/v1/imports?commit=true", f.read(), XLSX))

        answer = back("back.xlsx")
        with zipfile.ZipFile(os.path.join(self.folder, "back.xlsx")) as z:
            written = z.read("xl/worksheets/sheet1.xml").decode()
        self.assertTrue("<autoFilter" in written, "Calc found no filter")
        self.assertTrue('"open,sold,pulled"' in written.replace("&quot;", '"'), "Calc found no words to choose from")
        self.assertEqual([answer["unchanged"], answer["rejected"]], [answer["received"], 0], answer["errors"][:3])
        self.assertEqual(api(self.key, "/v1/listings.csv"), before)
        sheet.getCellByPosition(header.index("flaws"), line).String = "a scratch"
        answer = back("edited.xlsx")
        self.assertEqual([answer["updated"], answer["unchanged"]], [1, answer["received"] - 1])
        after = api(self.key, "/v1/listings.csv").decode().split("\r\n")
        changed = [b for a, b in zip(before.decode().split("\r\n"), after) if a != b]
        self.assertEqual(len(changed), 1)
        self.assertIn("a scratch", changed[0])

        # Two edit at once: of the same row the first lands, the second is told its cell, and the rest of the second's lands.
        other = next(i for i, r in enumerate(grid) if i and r[header.index("outcome")] == "open" and i != line)
        api(self.key, "/v1/listings/" + grid[other][header.index("id")], {"flaws": "seen by somebody else"}, method="PATCH")
        sheet.getCellByPosition(header.index("flaws"), line).String = "two scratches"
        sheet.getCellByPosition(header.index("revision"), line).Value += 1  # as the import told
        sheet.getCellByPosition(header.index("flaws"), other).String = "a dent"
        answer = back("both.xlsx")
        self.assertEqual([answer["updated"], answer["unchanged"], answer["rejected"]], [1, answer["received"] - 2, 1])
        self.assertRegex(answer["errors"][0]["detail"], "somebody changed")
        self.assertEqual(answer["errors"][0]["cell"], "Listings!%s%d" % (letters(header.index("revision")), other + 1))
        doc.close(True)


    def test_csv_there_and_back(self):
        """Of a CSV that Calc opened, edited and saved only the edited cell changes."""
        self.there_and_back("", "", ",", CSV_UTF8)

    def test_csv_there_and_back_with_decimal_commas(self):
        """The same where Calc speaks German: semicolons, decimal commas, a byte order mark."""
        self.speak("de-DE")
        self.addCleanup(self.speak, "")
        self.there_and_back("&delimiter=;&decimal=,&bom=true", "?decimal=,", ";", CSV_GERMAN)

    def speak(self, locale):
        """Sets LibreOffice's locale for numbers and dates; empty: the system's."""
        provider = self.office.context.ServiceManager.createInstanceWithContext("com.sun.star.configuration.ConfigurationProvider", self.office.context)
        access = provider.createInstanceWithArguments("com.sun.star.configuration.ConfigurationUpdateAccess", (prop("nodepath", "/org.openoffice.Setup/L10N"),))
        access.ooSetupSystemLocale = locale
        access.commitChanges()

    def there_and_back(self, written, read, delimiter, options):
        self.with_demo()
        before = api(self.key, "/v1/listings.csv?sort=ref" + written)
        doc = self.office.open(self.saved("listings.csv", before), *(prop(*p) for p in options))
        sheet = doc.Sheets.getByIndex(0)
        grid = cells(sheet)
        line = next(i for i, r in enumerate(grid) if r[grid[0].index("outcome")] == "open")
        out = os.path.join(self.folder, "edited.csv")

        def back():
            doc.storeToURL(url(out), tuple(prop(*p) for p in options))
            with open(out, "rb") as f:
                return json.loads(api(self.key, "/v1/imports?commit=true" + read.replace("?", "&"), f.read(), "text/csv"))

        self.assertIsInstance(grid[line][grid[0].index("ask")], float)
        answer = back()
        self.assertEqual([answer["unchanged"], answer["rejected"]], [answer["received"], 0], answer["errors"][:3])
        sheet.getCellByPosition(grid[0].index("flaws"), line).String = "a scratch; two, and a \"dent\""
        answer = back()
        self.assertEqual([answer["updated"], answer["unchanged"]], [1, answer["received"] - 1], answer["errors"][:3])
        _, was = records(before, delimiter)
        _, now = records(api(self.key, "/v1/listings.csv?sort=ref" + written), delimiter)
        changed = {(i, name): now[i][name] for i, row in enumerate(was) for name in row if row[name] != now[i][name]}
        revision = str(int(was[line - 1]["revision"]) + 1)
        self.assertEqual(changed, {(line - 1, "flaws"): "a scratch; two, and a \"dent\"", (line - 1, "revision"): revision})
        doc.close(True)

    def test_profit_workbook(self):
        """Calc finds in each sheet what the CSV says: amounts as numbers with the currency, days as days."""
        self.with_demo()
        doc = self.office.open(self.saved("profit.xlsx", api(self.key, "/v1/reports/profit.xlsx")))
        names = ["About", "Total", "Pieces", "Months", "Years", "Categories", "Finishes", "Venues", "Sources", "Lines", "Stock", "Let go", "Quick sales"]
        self.assertEqual(list(doc.Sheets.ElementNames), names)
        for name, query in (("Pieces", "profit.csv"), ("Months", "profit.csv?by=month"), ("Lines", "profit-lines.csv"), ("Stock", "stock.csv")):
            header, rows = records(api(self.key, "/v1/reports/" + query))
            grid = cells(doc.Sheets.getByName(name))
            self.assertEqual([sorted(grid[0]), len(grid)], [sorted(header), len(rows) + 1])
            self.assertGreater(len(rows), 5, name)
            for row, line in zip(rows, grid[1:]):
                for column, got in zip(grid[0], line):
                    wanted = row[column] if column in ("group", "piece_ref", "ref") or not row[column] else self.as_number(row[column])
                    self.assertEqual(got, row[column] if wanted is None else wanted, "%s: %s" % (name, column))
        pieces = doc.Sheets.getByName("Pieces")
        _, rows = records(api(self.key, "/v1/reports/profit.csv"))
        grid = cells(pieces)
        self.assertEqual(pieces.getCellByPosition(grid[0].index("sold_on"), 1).String, rows[0]["sold_on"])
        self.assertEqual(pieces.getCellByPosition(grid[0].index("revenue"), 1).String, "USD " + rows[0]["revenue"])
        total = cells(doc.Sheets.getByName("Total"))
        column = grid[0].index("profit")
        self.assertAlmostEqual(sum(r[column] for r in grid[1:]), total[1][total[0].index("profit")], 6)
        self.assertIn("no tax advice", str(cells(doc.Sheets.getByName("About"))))
        out = os.path.join(self.folder, "profit-saved.xlsx")
        doc.storeToURL(url(out), (prop("FilterName", "Calc MS Excel 2007 XML"),))
        with zipfile.ZipFile(out) as z:
            self.assertTrue(b"<autoFilter" in z.read("xl/worksheets/sheet3.xml"), "Calc found no filter")
        doc.close(True)

    def test_pictures(self):
        """Calc takes the pictures as graphics of their size."""
        self.with_demo()
        listing = json.loads(api(self.key, "/v1/listings?outcome=open&source=own&limit=1"))["items"][0]
        provider = self.office.context.ServiceManager.createInstanceWithContext("com.sun.star.graphic.GraphicProvider", self.office.context)
        for path in ("/v1/listings/%s/curve" % listing["id"], "/v1/reports/listing-age"):
            for form in ("png", "svg"):
                file = self.saved("picture." + form, api(self.key, path + "." + form + "?width=240&height=120"))
                graphic = provider.queryGraphic((prop("URL", url(file)),))
                self.assertIsNotNone(graphic)
                if form == "png":
                    self.assertEqual((graphic.SizePixel.Width, graphic.SizePixel.Height), (240, 120))


if __name__ == "__main__":
    unittest.main()
