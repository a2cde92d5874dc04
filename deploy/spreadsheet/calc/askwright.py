"""Askwright in LibreOffice Calc: the macros of the template askwright.ods.

They can also be kept for all documents: copy this file into the folder
Scripts/python of the user's LibreOffice profile.

Columns are found by their names in the header, in any order; columns that
Askwright does not know are never read or written. What Askwright answers goes
into columns of its own, errors into comments on the cells at fault. Address and
key are kept in a file of the user's, in no cell.
"""

import csv
import datetime
import io
import json
import os
import re
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid

ROWS_PER_REQUEST = 1000
SUBJECTS_PER_REQUEST = 100
ATTEMPTS = 6
NOTE = "Askwright: "

# The columns of a row, as in docs/api.md; a test compares them with the server's.
DESCRIPTION = """category set_size set_items width depth height unit material wood style year_made condition finish color topcoat
    sheen hardware second_finish second_color drawers doors maker flaws smell venues area""".split()
ROW = "ref piece_ref source last_seen_on stage".split() + DESCRIPTION + """sold_venue listed_on ask own_price ask_history pauses paused_on
    resumed_on views saves messages showings outcome ended_on sale_price bought_on bought_from condition_found purchase_cost
    pickup_cost materials_cost other_cost fees delivery_charged delivery_cost hours hours_other notes seller_ask closed_as closed_on
    closed_note planned_finish planned_color member id revision""".split()
FIND = "planned_finish planned_color planned_condition price materials transport other hours days_out".split()

# The columns that the answers fill.
SUGGESTION = "suggested_ask likely_price low_price high_price chance_sold median_days advice".split()
STALE = "state active_days chance_sold_by_now reason action action_ask gain".split()
LIMIT = "most_to_pay walk_away offer break_even at_most_cash_left at_most_chance_of_loss refusal".split()
AMOUNTS = {"suggested_ask", "likely_price", "low_price", "high_price", "action_ask", "gain", "most_to_pay", "walk_away", "offer", "break_even",
           "at_most_cash_left"}
WORDS = {"advice", "state", "reason", "action", "refusal"}


class Trouble(Exception):
    """What went wrong, in words for the person at the sheet."""


# ---- the actions


def connect(*_):
    """Asks for the address and the key and keeps them in a file that only the user can read."""
    doc = _document()
    before = _settings() or {}
    given = _ask("Askwright", [("Address of your group's server", before.get("address", "https://")), ("Your key (begins with ask_)", "")])
    if given is None:
        return ""
    return _report(doc, "Connect", lambda: _connect(given[0], given[1]))


def get_rows(*_):
    """Adds your rows that are on file and not in the sheet, below the others; it changes none that is there."""
    doc = _document()
    return _report(doc, "Get my rows", lambda: _get_rows(Table(doc, ROW)))


def send_and_suggest(*_):
    """Sends the rows, then fills in the suggestions."""
    doc = _document()
    return _report(doc, "Send rows and fill suggestions", lambda: _send_and_suggest(Table(doc, ROW)))


def send_rows(*_):
    """Sends the sheet's rows: new ones are added, changed ones changed, by their ref."""
    doc = _document()
    return _report(doc, "Send rows", lambda: _send_rows(Table(doc, ROW)))


def fill_suggestions(*_):
    """Fills in what to ask for every row that has not ended."""
    doc = _document()
    return _report(doc, "Fill suggestions", lambda: _fill_suggestions(Table(doc, ROW)))


def mark_stale(*_):
    """Fills in the state of every open listing, with the remedy that pays best."""
    doc = _document()
    return _report(doc, "Mark stale", lambda: _mark_stale(Table(doc, ROW)))


def check_purchase_limits(*_):
    """Fills in what to pay at most for the pieces that were found and not bought."""
    doc = _document()
    return _report(doc, "Check purchase limits", lambda: _check_purchase_limits(Table(doc, ROW + FIND)))


g_exportedScripts = (connect, get_rows, send_and_suggest, send_rows, fill_suggestions, mark_stale, check_purchase_limits)


def _connect(address, key):
    address, key = address.strip().rstrip("/"), key.strip()
    if not re.match(r"https://|http://(127\.0\.0\.1|localhost)(:|$)", address):
        raise Trouble("The address must begin with https://, or your key could be read on its way.")
    group = json.loads(_request("/v1/group", settings={"address": address, "key": key})[1])
    name = _settings_file()
    os.makedirs(os.path.dirname(name), exist_ok=True)
    with open(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as f:
        json.dump({"address": address, "key": key}, f)
    return "Connected to the group %s." % group["name"]


def _get_rows(table):
    here, missing, cursor = table.refs(), [], ""
    while True:
        page = json.loads(_request("/v1/listings?member=me&sort=ref&limit=1000&fields=" + ",".join(table.names()) + cursor)[1])
        missing += [{n: _cell_of(n, v) for n, v in row.items()} for row in page["items"] if row["ref"] not in here]
        if not page.get("next"):
            break
        cursor = "&cursor=" + urllib.parse.quote(page["next"])
    if missing:
        table.append(missing)
    return "%d rows added." % len(missing)


def _cell_of(name, value):
    """A value of a row as it stands in a cell: a list has its entries with ; between."""
    if not isinstance(value, list):
        return "" if value is None else value
    mark = "/" if name == "pauses" else ":"
    return ";".join(e if isinstance(e, str) else mark.join(".." if v is None else str(v) for v in e.values()) for e in value)


def _send_rows(table):
    text, stopped = _send(table)
    table.write_notes()
    if stopped:
        raise Trouble(text + stopped)
    return text


def _send_and_suggest(table):
    text, stopped = _send(table)
    if not stopped:
        return text + " " + _fill_suggestions(table)
    table.write_notes()
    raise Trouble(text + stopped)


def _send(table):
    """Sends the rows and writes their revisions; what is wrong with rows is left in the table's notes."""
    counts = {"created": 0, "updated": 0, "unchanged": 0, "rejected": len(table.faulty)}
    revisions, stopped = {}, ""
    try:
        for rows in _chunks(table.rows, ROWS_PER_REQUEST):
            code, text = _request("/v1/imports?revisions=true", [row["cells"] for row in rows], repeatable=True, understands=422)
            answer = json.loads(text)
            if "received" not in answer:
                raise Trouble(_problem(code, text))
            for name in counts:
                counts[name] += answer[name]
            for e in answer.get("errors") or []:
                table.fault(rows[e["row"] - 1]["line"], e.get("column"), e["detail"])
            revisions.update(answer.get("revisions") or {})
    except Trouble as e:
        stopped = " Stopped: %s What was sent before is kept; send again, nothing is doubled." % e
    if "revision" in table.at:
        by_line = {row["line"]: str(row["cells"]["ref"]) for row in table.rows}
        table.write(["revision"], lambda line: [revisions.get(by_line.get(line), table.value(line, "revision"))])
    text = "%(created)d new, %(updated)d changed, %(unchanged)d unchanged, %(rejected)d rejected" % counts
    return text + (" (see the comments in the sheet)." if counts["rejected"] else "."), stopped


def _fill_suggestions(table):
    on_file = {r["ref"]: r["outcome"] for r in _records(_request("/v1/listings.csv?member=me&fields=ref,outcome")[1])}
    ended = ("sold", "pulled")

    def wanted(cells):
        if str(cells["ref"]) in on_file:
            return on_file[str(cells["ref"])] not in ended
        return cells["ref"] != "" and cells.get("category") and cells.get("outcome") not in ended

    def subject(cells):
        return {"ref": cells["ref"]} if str(cells["ref"]) in on_file else _only(cells, ["ref", "own_price"] + DESCRIPTION)

    rows = [row for row in table.rows if row["line"] not in table.faulty and wanted(row["cells"])]
    answers = _advise(table, rows, "/v1/suggestions?fields=" + ",".join(SUGGESTION), subject)
    return "%d suggestions." % table.write_answers(SUGGESTION, answers)


def _mark_stale(table):
    by_ref = {r["ref"]: r for r in _records(_request("/v1/reviews.csv?member=me&fields=ref," + ",".join(STALE))[1])}
    answers = {row["line"]: by_ref[str(row["cells"]["ref"])] for row in table.rows if str(row["cells"]["ref"]) in by_ref}
    return "%d open listings reviewed." % table.write_answers(STALE, answers)


def _check_purchase_limits(table):
    def wanted(cells):
        return cells.get("category") and not cells.get("listed_on") and str(cells.get("stage", "")).lower() in ("", "found")

    rows = [row for row in table.rows if wanted(row["cells"])]
    answers = _advise(table, rows, "/v1/purchase-limits?fields=" + ",".join(LIMIT), lambda cells: _only(cells, ["ref"] + DESCRIPTION + FIND))
    return "%d purchase limits." % table.write_answers(LIMIT, answers)


def _advise(table, rows, path, subject):
    """Answers by line; a row that cannot be read gets a comment, the others still get their answers."""
    answers = {}
    for some in _chunks(rows, SUBJECTS_PER_REQUEST):
        while some:
            code, text = _request(path, {"subjects": [subject(row["cells"]) for row in some]}, accept="text/csv", understands=422)
            if code != 422:
                answers.update({row["line"]: r for row, r in zip(some, _records(text))})
                break
            wrong = set()
            for e in json.loads(text).get("errors") or []:
                place = re.match(r"#/subjects/(\d+)", e.get("pointer", ""))
                if place:
                    wrong.add(int(place.group(1)))
                    table.fault(some[int(place.group(1))]["line"], e.get("column"), e["detail"])
            if not wrong:
                raise Trouble(_problem(code, text))
            some = [row for i, row in enumerate(some) if i not in wrong]
    return answers


# ---- the sheet


class Table:
    """The sheet that is open: its header is the first row that names ref and another column."""

    def __init__(self, doc, known):
        self.doc = doc
        controller = doc.CurrentController
        self.sheet = controller.ActiveSheet if controller else doc.Sheets.getByIndex(0)
        cursor = self.sheet.createCursor()
        cursor.gotoEndOfUsedArea(False)
        end = cursor.RangeAddress
        self.values = [list(r) for r in self.sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow).DataArray]
        self.top = self._header_row(known)
        self.header = [_column_name(v) for v in self.values[self.top]]
        self.at = self._columns(known)
        self.faulty, self.notes = set(), {}
        self._find_merged()
        self.rows = []
        for line in range(self.top + 1, len(self.values)):
            cells = {name: self._cell(line, name) for name in self.at}
            if any(v != "" for v in cells.values()) and line not in self.faulty:
                self.rows.append({"line": line, "cells": cells})

    def _header_row(self, known):
        for i, row in enumerate(self.values[:20]):
            names = [_column_name(v) for v in row]
            if "ref" in names and sum(n in known for n in names) > 1:
                return i
        raise Trouble("This sheet has no header with a column named ref and others, such as category and ask.")

    def _columns(self, known):
        at = {}
        for i, name in enumerate(self.header):
            if name in known:
                if name in at:
                    raise Trouble("There are two columns named %s." % name)
                at[name] = i
        answers = SUGGESTION + STALE + LIMIT + FIND
        for i, name in enumerate(self.header):
            if name and name not in at and name not in answers:
                for k in known:
                    if k not in at and ((len(k) > 3 and _distance(k, name) <= 2) or k == name + "_on"):
                        raise Trouble('The column "%s" is not known: did you mean %s? Nothing was sent.' % (self.values[self.top][i], k))
        return at

    def _cell(self, line, name):
        """What goes out for a cell: a day as 2026-03-05, a number with the digits that a sheet keeps."""
        value = self.values[line][self.at[name]]
        if value is None:
            self.fault(line, name, "the cell holds an error")
            return ""
        if isinstance(value, float):
            if name.endswith("_on"):
                null = self.doc.NullDate
                return (datetime.date(null.Year, null.Month, null.Day) + datetime.timedelta(days=int(value))).isoformat()
            value = float("%.15g" % value)
            return int(value) if value.is_integer() else value
        return value.strip()

    def _find_merged(self):
        for line in range(self.top + 1, len(self.values)):
            for column in range(len(self.header)):
                cell = self.sheet.getCellByPosition(column, line)
                if cell.IsMerged:
                    self._fault_merged(cell)

    def _fault_merged(self, cell):
        cursor = self.sheet.createCursorByRange(cell)
        cursor.collapseToMergedArea()
        m = cursor.RangeAddress
        name = next((n for n, at in self.at.items() if m.StartColumn <= at <= m.EndColumn), None)
        for line in range(m.StartRow, min(m.EndRow + 1, len(self.values))):
            if name:
                self.fault(line, name, "these cells are merged; split them and give each its own value")

    def value(self, line, name):
        value = self.values[line][self.at[name]]
        return "" if value is None else value

    def fault(self, line, name, reason):
        place = (line, self.at.get(name, self.at["ref"]))
        self.notes[place] = self.notes.get(place, "") + ("\n" if place in self.notes else "") + NOTE + reason
        self.faulty.add(line)

    def write_notes(self):
        """Takes our old comments away and puts the new ones in; others stay."""
        annotations = self.sheet.Annotations
        for i in reversed(range(annotations.Count)):
            one = annotations.getByIndex(i)
            text, place = one.String, (one.Position.Row, one.Position.Column)
            if NOTE not in text and place not in self.notes:
                continue
            annotations.removeByIndex(i)
            theirs = text.split(NOTE)[0].rstrip("\n")
            if theirs:
                self.notes[place] = "\n".join(filter(None, [theirs, self.notes.get(place)]))
        for (line, column), text in self.notes.items():
            annotations.insertNew(self.sheet.getCellByPosition(column, line).CellAddress, text)

    def write(self, names, answer):
        """Writes header and all rows of some columns: at once where they stand side by side, as added ones do."""
        end, places = len(self.header), []
        for name in names:
            if name in self.header:
                places.append(self.header.index(name))
            else:
                places.append(end)
                end += 1
        titles = [self.values[self.top][place] if place < len(self.header) else name for name, place in zip(names, places)]
        grid = [titles] + [answer(line) for line in range(self.top + 1, len(self.values))]
        self._put(self.top, places, grid)
        self._format(names, places)

    def _put(self, top, places, grid):
        """Writes a block whose columns belong at some places: at once what stands side by side."""
        order = sorted(range(len(places)), key=places.__getitem__)
        while order:
            n = 1
            while n < len(order) and places[order[n]] == places[order[n - 1]] + 1:
                n += 1
            run, order = order[:n], order[n:]
            target = self.sheet.getCellRangeByPosition(places[run[0]], top, places[run[-1]], top + len(grid) - 1)
            target.setDataArray(tuple(tuple(row[k] for k in run) for row in grid))

    def refs(self):
        return {str(self._cell(line, "ref")) for line in range(self.top + 1, len(self.values))}

    def names(self):
        """The known columns, without those that are only sent."""
        return [name for name in self.at if name not in ("paused_on", "resumed_on")]

    def append(self, rows):
        """Writes rows of the API below the last one."""
        first = 1 + max(line for line, row in enumerate(self.values) if any(v != "" for v in row))
        names = self.names()
        self._put(first, [self.at[name] for name in names], [[self._value(name, row.get(name, "")) for name in names] for row in rows])
        formats, english = self.doc.NumberFormats, self.doc.CharLocale
        form = formats.queryKey("YYYY-MM-DD", english, False)
        form = form if form >= 0 else formats.addNew("YYYY-MM-DD", english)
        for name in names:
            if name.endswith("_on"):
                self.sheet.getCellRangeByPosition(self.at[name], first, self.at[name], first + len(rows) - 1).NumberFormat = form

    def _value(self, name, value):
        if name.endswith("_on") and value:
            null = self.doc.NullDate
            return float((datetime.date.fromisoformat(value) - datetime.date(null.Year, null.Month, null.Day)).days)
        return value if isinstance(value, str) else float(value)

    def _format(self, names, places):
        """Gives added columns the look of the others: the header's, and of amounts that of the asks."""
        title = self.sheet.getCellByPosition(self.at["ref"], self.top)
        for name, place in zip(names, places):
            if place < len(self.header):
                continue
            added = self.sheet.getCellByPosition(place, self.top)
            added.CellBackColor, added.CharWeight = title.CellBackColor, title.CharWeight
            if name in AMOUNTS and "ask" in self.at and len(self.values) > self.top + 1:
                body = self.sheet.getCellRangeByPosition(place, self.top + 1, place, len(self.values) - 1)
                body.NumberFormat = self.sheet.getCellByPosition(self.at["ask"], self.top + 1).NumberFormat

    def write_answers(self, names, answers):
        self.write(names, lambda line: [_typed(name, answers[line][name]) if line in answers else "" for name in names])
        self.write_notes()
        return len(answers)


# ---- values


def _column_name(title):
    return "_".join(str(title).lower().split())


def _typed(name, text):
    return float(text) if text and name not in WORDS else text


def _only(cells, names):
    return {name: cells[name] for name in names if cells.get(name, "") != ""}


def _chunks(items, size):
    return [items[i:i + size] for i in range(0, len(items), size)]


def _records(text):
    """The rows of a CSV; the quote that keeps a text from being a formula is taken off: Calc is given text as text."""
    return [{k: re.sub(r"^'(?='*[=+\-@])", "", v) for k, v in r.items()} for r in csv.DictReader(io.StringIO(text, newline=""))]


def _distance(a, b):
    """How many letters differ (Levenshtein)."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a):
        following = [i + 1]
        for j, y in enumerate(b):
            following.append(min(following[j] + 1, row[j + 1] + 1, row[j] + (x != y)))
        row = following
    return row[-1]


# ---- the server


def _request(path, body=None, accept="*/*", repeatable=False, understands=None, settings=None):
    """One request, repeated while the server is busy or away: after as long as it asks for, else 1, 2, 4 ... seconds.
    What changes something carries a key of its own, so that it is done once however often it is sent."""
    settings = settings or _settings()
    if not settings:
        raise Trouble("Run Connect first: it asks for the address and your key.")
    headers = {"Authorization": "Bearer " + settings["key"], "Accept": accept}
    if repeatable:
        headers["Idempotency-Key"] = str(uuid.uuid4())
    data = None
    if body is not None:
        data = json.dumps(body).encode("utf-8")
        headers["Content-Type"] = "application/json"
    for attempt in range(1, ATTEMPTS + 1):
        wait = 0
        try:
            with urllib.request.urlopen(urllib.request.Request(settings["address"] + path, data, headers), timeout=120) as r:
                return r.status, r.read().decode("utf-8")
        except urllib.error.HTTPError as e:
            code, text, wait = e.code, e.read().decode("utf-8", "replace"), int(e.headers.get("Retry-After") or 0)
        except (OSError, ValueError) as e:
            code, text = 0, str(getattr(e, "reason", e))
        if code == understands:
            return code, text
        busy = code in (0, 429) or code >= 500 or (code == 409 and wait)
        if not busy or attempt == ATTEMPTS:
            raise Trouble(_problem(code, text))
        time.sleep(wait or 2 ** (attempt - 1))
    return None


def _problem(code, text):
    if code == 0:
        return "The server cannot be reached: " + text
    try:
        p = json.loads(text)
        return p.get("detail") or p["title"]
    except (ValueError, KeyError):
        return "The server answered %d." % code


def _settings_file():
    folder = os.environ.get("XDG_CONFIG_HOME") or os.environ.get("APPDATA") or os.path.join(os.path.expanduser("~"), ".config")
    return os.path.join(folder, "askwright", "spreadsheet.json")


def _settings():
    try:
        with open(_settings_file(), encoding="utf-8") as f:
            return json.load(f)
    except OSError:
        return None


# ---- the person at the sheet


def _document():
    return XSCRIPTCONTEXT.getDocument()  # noqa: F821, LibreOffice's own


def _report(doc, title, act):
    try:
        text, kind = act(), "infobox"
    except Trouble as e:
        text, kind = str(e), "errorbox"
    _tell(doc, title, text, kind)
    return text


def _tell(doc, title, text, kind):
    hidden = any(a.Name == "Hidden" and a.Value for a in doc.Args)
    if hidden or not doc.CurrentController:
        return
    from com.sun.star.awt.MessageBoxType import ERRORBOX, INFOBOX  # only inside of LibreOffice
    window = doc.CurrentController.Frame.ContainerWindow
    window.Toolkit.createMessageBox(window, ERRORBOX if kind == "errorbox" else INFOBOX, 1, title, text).execute()


def _ask(title, questions):
    """Asks in a dialog; None when it was cancelled."""
    context = XSCRIPTCONTEXT.getComponentContext()  # noqa: F821
    create = context.ServiceManager.createInstanceWithContext
    model = create("com.sun.star.awt.UnoControlDialogModel", context)
    model.Width, model.Height, model.Title = 220, 30 + 30 * len(questions), title

    def add(kind, name, x, y, width, height, **properties):
        one = model.createInstance("com.sun.star.awt.UnoControl%sModel" % kind)
        one.PositionX, one.PositionY, one.Width, one.Height = x, y, width, height
        for key, value in properties.items():
            setattr(one, key, value)
        model.insertByName(name, one)

    for i, (question, text) in enumerate(questions):
        add("FixedText", "label%d" % i, 6, 6 + 30 * i, 208, 10, Label=question)
        add("Edit", "text%d" % i, 6, 17 + 30 * i, 208, 13, Text=text)
    add("Button", "cancel", 110, model.Height - 20, 50, 14, Label="Cancel", PushButtonType=2)
    add("Button", "ok", 164, model.Height - 20, 50, 14, Label="OK", PushButtonType=1, DefaultButton=True)
    dialog = create("com.sun.star.awt.UnoControlDialog", context)
    dialog.setModel(model)
    dialog.createPeer(create("com.sun.star.awt.Toolkit", context), None)
    try:
        if not dialog.execute():
            return None
        return [dialog.getControl("text%d" % i).Text for i in range(len(questions))]
    finally:
        dialog.dispose()
