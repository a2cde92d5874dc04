"""The template's macros run in LibreOffice Calc itself against a running server, and the cells are read back. Run by
test.sh."""

import csv
import io
import json
import os
import shutil
import time
import unittest
import zipfile

from office import cells
from support import SERVER, Between, OfficeCase, api, days_ago, serial

HERE = os.path.dirname(os.path.abspath(__file__))
TEMPLATE = os.path.join(HERE, "askwright.ods")


class Macros(OfficeCase):
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
        for macro in ("connect", "get_rows", "send_and_suggest", "send_rows", "fill_suggestions", "mark_stale", "check_purchase_limits"):
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

    def test_get_rows(self):
        """What is on file and not in the sheet is added, and comes back unchanged; the rest of the sheet stays."""
        self.with_demo()
        api(self.key, "/v1/listings", {"ref": "=1+1", "category": "desk", "listed_on": days_ago(3), "ask": 480.5, "color": "navy"})
        on_file = len(json.loads(api(self.key, "/v1/listings?limit=1000"))["items"])
        doc, sheet = self.template([{"ref": "N-1", "category": "desk", "stage": "found"}])
        mine = len(cells(sheet)[1])
        sheet.getCellByPosition(mine, 1).String = "my sum"
        sheet.getCellByPosition(mine, 2).Formula = "=1+1"
        self.assertEqual(self.run_macro(doc, "get_rows"), "%d rows added." % on_file)
        self.assertEqual(self.run_macro(doc, "get_rows"), "0 rows added.")
        got = self.records(sheet)
        self.assertEqual([got["=1+1"]["listed_on"], got["=1+1"]["ask"], got["N-1"]["my sum"]], [serial(days_ago(3)), 480.5, 2])
        line = [r[0] for r in cells(sheet)].index("=1+1")
        self.assertEqual(sheet.getCellByPosition(self.column(sheet, "listed_on"), line).String, days_ago(3))
        before = api(self.key, "/v1/listings.csv")
        self.assertEqual(self.run_macro(doc, "send_rows"), "1 new, 0 changed, %d unchanged, 0 rejected." % on_file)
        after = [r for r in api(self.key, "/v1/listings.csv").decode().split("\r\n") if not r.startswith("N-1,")]
        self.assertEqual(after, before.decode().split("\r\n"))

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
        stale = {r["ref"]: r for r in csv.DictReader(io.StringIO(api(self.key, "/v1/reviews.csv").decode()))}
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

    def test_one_action_sends_2000_rows_and_brings_500_suggestions(self):
        between = Between()
        self.addCleanup(between.server_close)
        self.connect(between.address)
        doc, sheet = self.template([])
        header = [h for h in cells(sheet)[1] if h]
        kinds = (("sideboard", 60, 420), ("desk", 48, 300), ("dresser", 54, 380), ("bookcase", 36, 180), ("nightstand", 20, 110))
        grid = []
        for i in range(2000):
            kind, width, price = kinds[i % 5]
            is_open, age = i % 4 == 3, 90 + i % 500
            row = {"ref": "M-%d" % i, "category": kind, "width": float(width - i % 7), "condition": ("good", "fair", "very_good")[i % 3],
                   "finish": ("painted", "natural")[i % 2], "listed_on": serial(days_ago(age % 60 if is_open else age)),
                   "ask": float(price - 5 * (i % 11)), "outcome": "open" if is_open else "sold"}
            if not is_open:
                row.update(ended_on=serial(days_ago(age - 7 - i % 50)), sale_price=row["ask"] - 10)
            grid.append(tuple(row.get(name, "") for name in header))
        sheet.getCellRangeByPosition(0, 2, len(header) - 1, 2001).setDataArray(tuple(grid))
        began = time.time()
        self.assertEqual(self.run_macro(doc, "send_and_suggest"), "2000 new, 0 changed, 0 unchanged, 0 rejected. 500 suggestions.")
        seconds = time.time() - began
        sent, received = (sum(r[what] for r in between.requests) for what in ("sent", "received"))
        print("\n2,000 rows out and 500 suggestions back: %d requests in %.1f s, %d bytes out, %d in" % (len(between.requests), seconds, sent, received))
        self.assertEqual(len(between.requests), 8)
        self.assertLess(seconds, 60)
        got = self.records(sheet)
        self.assertEqual(sum(r["suggested_ask"] != "" for r in got.values()), 500)
        self.assertTrue(all((r["suggested_ask"] != "") == (r["outcome"] == "open") for r in got.values()))
        self.assertTrue(all(r["revision"] == 1 for r in got.values()))
        self.assertEqual(self.run_macro(doc, "send_rows"), "0 new, 0 changed, 2000 unchanged, 0 rejected.")

    def test_a_busy_server_and_a_lost_answer(self):
        """Sent again under the same key, as late as the server asks, and done once."""
        between = Between()
        self.addCleanup(between.server_close)
        self.connect(between.address)
        doc, sheet = self.template([{"ref": "B-1", "category": "desk", "stage": "found"}])
        answers = [(429, {"Retry-After": "2", "Content-Type": "application/problem+json"}, b'{"title":"Too many requests"}'),
                   (503, {}, b"away"), Between.LOST]
        between.meddle = lambda: answers.pop(0) if answers else None
        began = time.time()
        self.assertEqual(self.run_macro(doc, "send_rows"), "1 new, 0 changed, 0 unchanged, 0 rejected.")
        self.assertGreaterEqual(time.time() - began, 2 + 2 + 4)
        self.assertEqual(len(between.requests), 4)
        self.assertEqual(len({r["key"] for r in between.requests}), 1)
        self.assertTrue(between.requests[0]["key"])
        self.assertEqual(len(json.loads(api(self.key, "/v1/listings"))["items"]), 1)

    def test_text_stays_text(self):
        """What looks like a formula or a number stays what it is, and the key stands in no cell."""
        doc, sheet = self.template([{"ref": "'" + ref, "category": "'desk", "stage": "found", "color": "'" + color}
                                    for ref, color in (("=1+1", "navy"), ("-7", "grey"), ("007", "1E5"))])
        self.assertEqual(self.run_macro(doc, "send_and_suggest"), "3 new, 0 changed, 0 unchanged, 0 rejected. 3 suggestions.")
        rows = json.loads(api(self.key, "/v1/listings?sort=ref"))["items"]
        self.assertEqual([(r["ref"], r["color"]) for r in rows], [("-7", "grey"), ("007", "1e5"), ("=1+1", "navy")])
        self.assertEqual(self.run_macro(doc, "send_rows"), "0 new, 0 changed, 3 unchanged, 0 rejected.")
        self.assertNotIn(self.key, str(cells(sheet)) + str(self.notes(sheet)))

    def test_trouble_is_told_in_words(self):
        doc, sheet = self.template([{"ref": "B-1", "category": "desk"}])
        sheet.getCellByPosition(1, 1).String = "catgory"
        self.assertRegex(self.run_macro(doc, "send_rows"), 'The column "catgory" is not known: did you mean category')
        sheet.getCellByPosition(1, 1).String = "category"
        listed = self.column(sheet, "listed_on")
        sheet.getCellByPosition(listed, 1).String = "Listed"
        self.assertRegex(self.run_macro(doc, "send_rows"), 'The column "Listed" is not known: did you mean listed_on')
        sheet.getCellByPosition(listed, 1).String = "listed_on"
        os.remove(os.path.join(self.config, "askwright", "spreadsheet.json"))
        self.assertRegex(self.run_macro(doc, "mark_stale"), "Run Connect first")


if __name__ == "__main__":
    unittest.main()
