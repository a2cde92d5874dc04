"""Follows docs/spreadsheet.md to the letter: its rows, its commands, its formulas' addresses and its web query. Run by test.sh."""

import csv
import io
import json
import os
import re
import shutil
import subprocess
import tempfile
import unittest
import urllib.parse
import urllib.request

from office import cells
from support import SERVER, OfficeCase, api, guide, typed_rows

HERE = os.path.dirname(os.path.abspath(__file__))
EXAMPLE = "https://askwright.example.org"


def fetch(address, headers=None):
    with urllib.request.urlopen(urllib.request.Request(address, headers=headers or {})) as r:
        return r.read()


class Guide(OfficeCase):
    def setUp(self):
        super().setUp()
        self.with_demo()
        self.feed = json.loads(api(self.key, "/v1/keys", {"scope": "feed"}))["key"]

    def test_rows_and_what_is_said_of_them(self):
        path = os.path.join(self.folder, "askwright.ods")
        shutil.copy(os.path.join(HERE, "askwright.ods"), path)
        doc = self.office.open(path)
        self.addCleanup(doc.close, True)
        sheet = doc.Sheets.getByIndex(0)
        header = cells(sheet)[1]
        for i, row in enumerate(typed_rows()):
            for name, cell in row.items():
                sheet.getCellByPosition(header.index(name), 2 + i).Formula = cell  # as if it were typed
        said = []
        for macro in ("send_and_suggest", "send_and_suggest", "mark_stale", "check_purchase_limits"):
            script = doc.getScriptProvider().getScript("vnd.sun.star.script:askwright.py$%s?language=Python&location=document" % macro)
            said.append(script.invoke((), (), ())[0])
            sheet.getCellByPosition(header.index("width"), 4).Value = 54
        text = " ".join(guide().split())
        for i, words in enumerate(("4 new, 0 changed, 0 unchanged, 1 rejected", "1 new, 0 changed, 4 unchanged")):
            self.assertTrue(said[i].startswith(words), said[i])
            self.assertIn('"%s"' % words, text)
        self.assertEqual(said[2:], ["4 open listings reviewed.", "1 purchase limits."])
        names = {n for n in re.findall(r"`([a-z_]+)`", text)} & {"suggested_ask", "likely_price", "low_price", "chance_sold", "median_days", "walk_away", "offer"}
        self.assertEqual(names - set(cells(sheet)[1]), set())
        self.assertEqual(len(names), 7)

    def test_commands(self):
        commands = re.findall(r"^    (curl .*)$", guide(), re.M)
        self.assertGreater(len(commands), 7)
        folder = tempfile.mkdtemp(dir=self.folder)
        imports = 0
        for command in commands:
            out = subprocess.check_output(["sh", "-ec", command], cwd=folder, text=True, env={**os.environ, "KEY": self.key, "ASKWRIGHT": SERVER})
            if "/import" in command:
                imports += 1
                answer = json.loads(out)
                self.assertEqual(answer["unchanged"], answer["received"], command)
            elif "-o " in command:
                self.assertGreater(os.path.getsize(os.path.join(folder, re.search(r"-o (\S+)", command).group(1))), 5000, command)
            else:
                self.assertTrue(json.loads(out)["key"].startswith("ask_"), command)
        self.assertEqual(imports, 3)

    def test_formulas(self):
        """Every address in a formula is answered with a table or a picture; Calc's own function gets it."""
        listing = json.loads(api(self.key, "/v1/listings?member=me&outcome=open&limit=1"))["items"][0]["id"]
        addresses = re.findall(r"`=([A-Z]+)\((\"%s.*)\)`" % re.escape(EXAMPLE), guide())
        self.assertEqual(sorted(name for name, _ in addresses), ["IMAGE", "IMPORTDATA", "IMPORTDATA", "IMPORTDATA", "WEBSERVICE"])
        for name, text in addresses:
            address = text.replace('"&B2&"', listing).strip('"').replace(EXAMPLE, SERVER).replace("FEEDKEY", self.feed)
            body = fetch(address)
            if name == "IMAGE":
                self.assertEqual(body[:8], b"\x89PNG\r\n\x1a\n")
                continue
            self.assertGreater(len(list(csv.reader(io.StringIO(body.decode())))), 3, address)
            if name == "WEBSERVICE":
                doc = self.office.new()
                cell = doc.Sheets.getByIndex(0).getCellByPosition(0, 0)
                cell.Formula = '=WEBSERVICE("%s")' % address
                doc.calculateAll()
                self.assertEqual(cell.String.split(), body.decode().split())
                doc.close(True)

    def test_web_query(self):
        """The query asks for what it says, and the columns whose types it sets are there."""
        query = re.search(r"```powerquery\n(.*?)```", guide(), re.S).group(1)
        path = re.search(r'RelativePath = "(.*?)"', query).group(1)
        asked = dict(re.findall(r'(\w+) = "(.*?)"', re.search(r"Query = \[(.*?)\]", query).group(1)))
        header = re.search(r'Authorization = "(.*?)"', query).group(1).replace("ask_YOUR_KEY", self.key)
        self.assertIn(EXAMPLE, query)
        body = fetch(SERVER + "/" + path + "?" + urllib.parse.urlencode(asked), {"Authorization": header})
        rows = list(csv.reader(io.StringIO(body.decode())))
        self.assertGreater(len(rows), 3)
        typed = re.findall(r'\{"(\w+)", ', query)
        self.assertEqual(sorted(set(typed) - set(rows[0])), [])
        self.assertIn("gain", typed)


if __name__ == "__main__":
    unittest.main()
