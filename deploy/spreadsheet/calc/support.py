"""What the tests have in common: a group of their own on the server at ASKWRIGHT_URL, and a LibreOffice."""

import datetime
import http.server
import json
import os
import re
import shutil
import subprocess
import tempfile
import threading
import unittest
import urllib.error
import urllib.request

from office import Office

SERVER, PROGRAM = os.environ["ASKWRIGHT_URL"], os.environ["ASKWRIGHT_PROGRAM"]
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


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


def guide():
    with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../../docs/spreadsheet.md"), encoding="utf-8") as f:
        return f.read()


def typed_rows():
    """The rows that the guide has its reader type, as text by column."""
    days = {"*last week*": 6, "*ten weeks ago*": 75, "*three weeks ago*": 20, "*six weeks ago*": 41}
    table = re.search(r"\| ref \|.*?\n\n", guide(), re.S).group().strip().split("\n")
    header, _, *rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in table]
    return [{name: days_ago(days[cell]) if cell in days else cell for name, cell in zip(header, row) if cell} for row in rows]


class OfficeCase(unittest.TestCase):
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
        self.connect(SERVER)

    def connect(self, address):
        """Keeps address and key where the macro Connect does."""
        folder = os.path.join(self.config, "askwright")
        os.makedirs(folder, exist_ok=True)
        with open(os.path.join(folder, "spreadsheet.json"), "w", encoding="utf-8") as f:
            json.dump({"address": address, "key": self.key}, f)

    def with_demo(self):
        api(self.key, "/v1/imports?commit=true", self.demo, "text/csv")

    def saved(self, name, content):
        path = os.path.join(self.folder, name)
        with open(path, "wb") as f:
            f.write(content)
        return path


class Between(http.server.ThreadingHTTPServer):
    """Stands before the server and keeps what passes. meddle may answer a request by itself with (code, headers, body),
    or with LOST: the server gets it, the client no answer."""

    LOST = object()

    def __init__(self):
        super().__init__(("127.0.0.1", 0), _Passing)
        self.requests, self.meddle = [], lambda: None
        threading.Thread(target=self.serve_forever, daemon=True).start()

    @property
    def address(self):
        return "http://127.0.0.1:%d" % self.server_port


class _Passing(http.server.BaseHTTPRequestHandler):
    def do_GET(self):
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0)) or None
        made = {"path": self.path, "key": self.headers.get("Idempotency-Key"), "sent": len(body or b""), "received": 0}
        self.server.requests.append(made)
        answer = self.server.meddle()
        if answer is None or answer is Between.LOST:
            wanted = {n: v for n, v in self.headers.items() if n.lower() in ("authorization", "content-type", "accept", "idempotency-key")}
            try:
                with urllib.request.urlopen(urllib.request.Request(SERVER + self.path, body, wanted, method=self.command)) as r:
                    got = (r.status, {"Content-Type": r.headers["Content-Type"]}, r.read())
            except urllib.error.HTTPError as e:
                got = (e.code, {"Content-Type": e.headers["Content-Type"]}, e.read())
            if answer is Between.LOST:
                self.close_connection = True
                return
            answer = got
        code, headers, text = answer
        made["received"] = len(text)
        self.send_response(code)
        for name, value in headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(text)))
        self.end_headers()
        self.wfile.write(text)

    do_POST = do_GET

    def log_message(self, *_):
        pass
