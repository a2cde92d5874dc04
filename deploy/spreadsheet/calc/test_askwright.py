"""LibreOffice Calc itself opens the exports and the template, runs the macros against a running server, and the cells
are read back. Run by test.sh."""

import csv
import datetime
import io
import json
import os
import shutil
import subprocess
import tempfile
import unittest
import urllib.request
import zipfile

from office import Office, cells, prop, url

HERE = os.path.dirname(os.path.abspath(__file__))
SERVER, PROGRAM = os.environ["ASKWRIGHT_URL"], os.environ["ASKWRIGHT_PROGRAM"]
TEMPLATE = os.path.join(HERE, "askwright.ods")
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
CSV_UTF8 = ("FilterName", "Text - txt - csv (StarCalc)"), ("FilterOptions", "44,34,76,1,,1033,false,true")


def group():
    out = subprocess.check_output([PROGRAM, "group", "create", "Calc test", "--currency", "USD", "--unit", "in", "--timezone", "America/Chicago",
                                   "--hour-value", "18", "--member", "Wilda"], text=True)
    return out.strip().split("\n")[-1]


def api(key, path, body=None, kind="application/json", method=None):
    headers = {"Authorization": "Bearer " + key, "Content-Type": kind}
    if body is not None and not isinstance(body, bytes):
        body = json.dumps(body).encode()
    with urllib.request.urlopen(urllib.request.Request(SERVER + path, body, headers, method=method)) as r:
        return r.read()


def days_ago(n):
    return (datetime.date.today() - datetime.timedelta(days=n)).isoformat()


def serial(text):
    return float((datetime.date.fromisoformat(text) - datetime.date(1899, 12, 30)).days)


class Calc(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.mkdtemp()
        cls.config = os.path.join(cls.folder, "config")
        cls.office = Office(os.path.join(cls.folder, "profile"), {"XDG_CONFIG_HOME": cls.config})
        cls.demo = subprocess.check_output([PROGRAM, "demo", "rows"])

    @classmethod
    def tearDownClass(cls):
        cls.office.close()
        shutil.rmtree(cls.folder, ignore_errors=True)

    def setUp(self):
        self.key = group()
        folder = os.path.join(self.config, "askwright")
        os.makedirs(folder, exist_ok=True)
        with open(os.path.join(folder, "spreadsheet.json"), "w", encoding="utf-8") as f:
            json.dump({"address": SERVER, "key": self.key}, f)

    def with_demo(self):
        api(self.key, "/v1/listings/import", self.demo, "text/csv")

    def saved(self, name, content):
        path = os.path.join(self.folder, name)
        with open(path, "wb") as f:
            f.write(content)
        return path

    def template(self, rows):
        """Opens a copy of the template and types rows of name: value into it."""
        path = os.path.join(self.folder, "askwright.ods")
        shutil.copy(TEMPLATE, path)
        doc = self.office.open(path)
        self.addCleanup(doc.close, True)
        sheet = doc.Sheets.getByIndex(0)
        for i, row in enumerate(rows):
            for name, value in row.items():
                cell = sheet.getCellByPosition(self.column(sheet, name), 2 + i)
                if isinstance(value, float):
                    cell.Value = value
                else:
                    cell.Formula = value  # as if it were typed
        return doc, sheet

    def column(self, sheet, name):
        return cells(sheet)[1].index(name)

    def run_macro(self, doc, name):
        script = doc.getScriptProvider().getScript("vnd.sun.star.script:askwright.py$%s?language=Python&location=document" % name)
        return script.invoke((), (), ())[0]

    def test_template(self):
        with zipfile.ZipFile(TEMPLATE) as z, open(os.path.join(HERE, "askwright.py"), "rb") as f:
            self.assertEqual(z.read("Scripts/python/askwright.py"), f.read(), "the template has another macro: run make_template.py askwright.ods")
            self.assertIn(b"Scripts/python/askwright.py", z.read("META-INF/manifest.xml"))
        doc, sheet = self.template([])
        header = [h for h in cells(sheet)[1] if h]
        self.assertEqual(header[0], "ref")
        known = self.known()
        self.assertEqual([h for h in header if h not in known], [])
        form = sheet.DrawPage.Forms.getByIndex(0)
        codes = [e.ScriptCode for i in range(form.Count) for e in form.getScriptEvents(i)]
        for macro in ("connect", "send_rows", "fill_suggestions", "mark_stale", "check_purchase_limits"):
            self.assertTrue(any("$%s?" % macro in c for c in codes), macro)

    def known(self):
        return next(csv.reader(io.StringIO(api(self.key, "/v1/listings.csv").decode())))

    def test_the_macro_knows_the_columns_of_the_server(self):
        names = {}
        with open(os.path.join(HERE, "askwright.py"), encoding="utf-8") as f:
            exec(f.read(), names)
        self.assertEqual(sorted(set(names["ROW"]) - {"paused_on", "resumed_on"}), sorted(self.known()))

    def test_send_rows(self):
        doc, sheet = self.template([
            {"ref": "B-1", "category": "sideboard", "listed_on": days_ago(9), "ask": 480.0, "width": 60.0},
            {},
            {"ref": "B-2", "category": "desk", "listed_on": days_ago(9), "ask": "abc"},
            {"ref": "7", "category": "desk", "listed_on": serial(days_ago(9)), "ask": "=0.1+0.2", "width": "'35 1/2"},
            {"ref": "Total", "ask": "=SUM(L3:L6)"},
            {"ref": "B-5", "category": "desk", "listed_on": days_ago(9), "ask": "=1/0"},
            {"ref": "B-6", "category": "desk", "listed_on": days_ago(9), "ask": 3.0},
            {"ref": "B-7", "category": "desk", "listed_on": days_ago(9), "ask": 3.0},
        ])
        mine = len(cells(sheet)[1])  # a column of one's own, with a formula
        sheet.getCellByPosition(mine, 1).String = "my sum"
        sheet.getCellByPosition(mine, 2).Formula = "=L3*2"
        ask = self.column(sheet, "ask")
        sheet.Annotations.insertNew(sheet.getCellByPosition(ask, 2).CellAddress, "my own comment")
        category = self.column(sheet, "category")
        sheet.getCellRangeByPosition(category, 8, category, 9).merge(True)
        self.assertEqual(self.run_macro(doc, "send_rows"), "2 new, 0 changed, 0 unchanged, 5 rejected (see the comments in the sheet).")
        notes = self.notes(sheet)
        self.assertEqual(notes[(2, ask)], "my own comment")
        self.assertRegex(notes[(4, ask)], '^Askwright: "abc"')
        self.assertRegex(notes[(6, 0)], "row of totals")
        self.assertRegex(notes[(7, ask)], "holds an error")
        self.assertRegex(notes[(8, category)] + notes[(9, category)], "merged.*merged")
        self.assertEqual(sheet.getCellByPosition(mine, 2).Formula, "=L3*2")
        revision = self.column(sheet, "revision")
        self.assertEqual([r[revision] for r in cells(sheet)[2:10]], [1.0, "", "", 1.0, "", "", "", ""])
        self.assertEqual(api(self.key, "/v1/listings.csv?fields=ref,listed_on,ask,width").decode(),
                         "ref,listed_on,ask,width\r\n7,%s,0.30,35.5\r\nB-1,%s,480.00,60\r\n" % (days_ago(9), days_ago(9)))

        # Only what is edited changes; somebody else's edit is told and not overwritten.
        one = json.loads(api(self.key, "/v1/listings?ref=B-1"))["items"][0]
        api(self.key, "/v1/listings/" + one["id"], {"width": 50}, method="PATCH")
        sheet.getCellByPosition(self.column(sheet, "width"), 2).Value = 44
        self.assertRegex(self.run_macro(doc, "send_rows"), "^0 new, 0 changed, 1 unchanged, 6 rejected")
        self.assertRegex(self.notes(sheet)[(2, revision)], "^Askwright: somebody changed B-1")
        self.assertEqual(self.notes(sheet)[(2, ask)], "my own comment")
        self.assertEqual(json.loads(api(self.key, "/v1/listings?ref=B-1"))["items"][0]["width"], 50)

    def notes(self, sheet):
        a = sheet.Annotations
        return {(n.Position.Row, n.Position.Column): n.String for n in (a.getByIndex(i) for i in range(a.Count))}

    def test_suggestions_stale_and_limits(self):
        self.with_demo()
        rows = list(csv.DictReader(io.StringIO(api(self.key, "/v1/listings.csv?outcome=open&source=own&fields=ref,category,listed_on,ask").decode())))[:5]
        typed = [{"ref": r["ref"], "category": r["category"], "listed_on": r["listed_on"], "ask": float(r["ask"])} for r in rows]
        doc, sheet = self.template(typed + [
            {"ref": "F-1", "category": "dresser", "width": 40.0, "condition": "fair", "stage": "found"},
            {"ref": "F-2", "category": "dresser", "width": "wide", "condition": "fair", "stage": "found"},
        ])
        self.assertEqual(self.run_macro(doc, "fill_suggestions"), "6 suggestions.")
        wanted = {r["ref"]: r for r in csv.DictReader(io.StringIO(api(self.key, "/v1/suggestions.csv").decode()))}
        got = self.records(sheet)
        for r in rows:
            self.assertEqual(got[r["ref"]]["suggested_ask"], float(wanted[r["ref"]]["suggested_ask"]), r["ref"])
            self.assertEqual(got[r["ref"]]["advice"], wanted[r["ref"]]["advice"])
        self.assertGreater(got["F-1"]["suggested_ask"], 0)
        self.assertRegex(self.notes(sheet)[(8, self.column(sheet, "width"))], 'Askwright: "wide" is not a length')
        self.assertEqual(self.run_macro(doc, "mark_stale"), "5 open listings reviewed.")
        stale = {r["ref"]: r for r in csv.DictReader(io.StringIO(api(self.key, "/v1/stale.csv").decode()))}
        got = self.records(sheet)
        for r in rows:
            self.assertEqual([got[r["ref"]]["state"], got[r["ref"]]["gain"]], [stale[r["ref"]]["state"], float(stale[r["ref"]]["gain"])])
        self.assertEqual(self.run_macro(doc, "check_purchase_limits"), "1 purchase limits.")
        got = self.records(sheet)
        self.assertGreater(got["F-1"]["break_even"], got["F-1"]["most_to_pay"])
        self.assertGreater(got["F-1"]["most_to_pay"], 0)
        self.assertEqual(got[rows[0]["ref"]]["most_to_pay"], "")

    def records(self, sheet):
        grid = cells(sheet)
        return {r[0]: dict(zip(grid[1], r)) for r in grid[2:] if r[0]}

    def test_trouble_is_told_in_words(self):
        doc, sheet = self.template([{"ref": "B-1", "category": "desk"}])
        sheet.getCellByPosition(1, 1).String = "catgory"
        self.assertRegex(self.run_macro(doc, "send_rows"), 'The column "catgory" is not known: did you mean category')
        sheet.getCellByPosition(1, 1).String = "category"
        os.remove(os.path.join(self.config, "askwright", "spreadsheet.json"))
        self.assertRegex(self.run_macro(doc, "mark_stale"), "Run Connect first")

    def test_csv_exports(self):
        """Calc reads each cell as Python's csv module does, and runs no formula."""
        self.with_demo()
        evil = '=1+1'
        api(self.key, "/v1/listings", {"ref": "E-1", "category": "desk", "listed_on": days_ago(3), "ask": 100, "flaws": evil, "maker": 'a "b", c\nd'})
        for name in ("listings", "stale", "suggestions", "listing-age"):
            text = api(self.key, "/v1/%s.csv" % name)
            rows = list(csv.reader(io.StringIO(text.decode("utf-8"), newline=""), strict=True))
            doc = self.office.open(self.saved(name + ".csv", text), *(prop(*p) for p in CSV_UTF8))
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

    def test_workbook_there_and_back(self):
        self.with_demo()
        api(self.key, "/v1/listings", {"ref": "E-1", "category": "desk", "listed_on": days_ago(3), "ask": 100.5, "flaws": "=1+1", "maker": "two\nlines"})
        before = api(self.key, "/v1/listings.csv")
        path = self.saved("listings.xlsx", api(self.key, "/v1/listings.xlsx"))
        doc = self.office.open(path)
        self.assertEqual(doc.Sheets.ElementNames, ("Listings", "Yard", "Columns"))
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
                return json.loads(api(self.key, "/v1/listings/import", f.read(), XLSX))

        answer = back("back.xlsx")
        with zipfile.ZipFile(os.path.join(self.folder, "back.xlsx")) as z:
            written = z.read("xl/worksheets/sheet1.xml").decode()
        self.assertTrue("<autoFilter" in written, "Calc found no filter")
        self.assertTrue('"open,sold,withdrawn"' in written.replace("&quot;", '"'), "Calc found no words to choose from")
        self.assertEqual([answer["unchanged"], answer["rejected"]], [answer["received"], 0], answer["errors"][:3])
        self.assertEqual(api(self.key, "/v1/listings.csv"), before)
        sheet.getCellByPosition(header.index("flaws"), line).String = "a scratch"
        answer = back("edited.xlsx")
        self.assertEqual([answer["updated"], answer["unchanged"]], [1, answer["received"] - 1])
        after = api(self.key, "/v1/listings.csv").decode().split("\r\n")
        changed = [b for a, b in zip(before.decode().split("\r\n"), after) if a != b]
        self.assertEqual(len(changed), 1)
        self.assertIn("a scratch", changed[0])
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
