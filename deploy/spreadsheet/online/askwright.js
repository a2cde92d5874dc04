/**
 * Askwright in an online spreadsheet. Paste this file into the sheet's script
 * editor, save, and reload the sheet: the menu Askwright appears. Its first
 * entry asks for the address and the key; docs/spreadsheet.md has pictures.
 *
 * Columns are found by their names in the header, in any order; columns that
 * Askwright does not know are never read or written. What Askwright answers
 * goes into columns of its own, errors into notes on the cells at fault.
 */

// One request takes this much; the platform's limits are far above.
const ROWS_PER_REQUEST = 1000;
const SUBJECTS_PER_REQUEST = 100;
const ATTEMPTS = 6;
const LONGEST_RUN = 5 * 60 * 1000; // ms; the platform ends a script after 6 minutes,
const LONGEST_FUNCTION = 25 * 1000; // and a custom function after 30 seconds
const CACHE_SECONDS = 1800;
const NOTE = 'Askwright: ';

// The columns of a row, as in docs/api.md; a test compares them with the server's.
const DESCRIPTION = ['category', 'set_size', 'set_items', 'width', 'depth', 'height', 'unit', 'material', 'wood', 'style', 'year_made',
  'condition', 'finish', 'color', 'topcoat', 'sheen', 'hardware', 'second_finish', 'second_color', 'drawers', 'doors', 'maker',
  'flaws', 'smell', 'venues', 'area'];
const ROW = ['ref', 'piece_ref', 'source', 'last_seen_on', 'stage'].concat(DESCRIPTION, ['sold_venue', 'listed_on', 'ask', 'own_price',
  'ask_history', 'pauses', 'paused_on', 'resumed_on', 'views', 'saves', 'messages', 'showings', 'outcome', 'ended_on', 'sale_price',
  'bought_on', 'bought_from', 'condition_found', 'purchase_cost', 'pickup_cost', 'materials_cost', 'other_cost', 'fees',
  'delivery_charged', 'delivery_cost', 'hours', 'hours_other', 'notes', 'seller_ask', 'closed_as', 'closed_on', 'closed_note', 'planned_finish',
  'planned_color', 'member', 'id', 'revision']);
const FIND = ['planned_finish', 'planned_color', 'planned_condition', 'price', 'materials', 'transport', 'other', 'hours', 'days_out'];

// The columns that the answers fill.
const SUGGESTION = ['suggested_ask', 'likely_price', 'low_price', 'high_price', 'chance_sold', 'median_days', 'advice'];
const STALE = ['state', 'active_days', 'chance_sold_by_now', 'reason', 'action', 'action_ask', 'gain'];
const LIMIT = ['most_to_pay', 'walk_away', 'offer', 'break_even', 'at_most_cash_left', 'at_most_chance_of_loss', 'refusal'];

function onOpen() {
  SpreadsheetApp.getUi().createMenu('Askwright')
    .addItem('Connect', 'connect')
    .addSeparator()
    .addItem('Get my rows', 'getRows')
    .addItem('Send rows and fill suggestions', 'sendAndSuggest')
    .addItem('Send rows', 'sendRows')
    .addItem('Fill suggestions', 'fillSuggestions')
    .addItem('Mark stale', 'markStale')
    .addItem('Check purchase limits', 'checkPurchaseLimits')
    .addToUi();
}

/** Asks for the address and the key, and keeps them with the user's account, in no cell. */
function connect() {
  const ui = SpreadsheetApp.getUi();
  const kept = PropertiesService.getUserProperties();
  const ask = function (question) {
    const answer = ui.prompt('Askwright', question, ui.ButtonSet.OK_CANCEL);
    return answer.getSelectedButton() === ui.Button.OK ? answer.getResponseText().trim() : '';
  };
  const address = ask('The address of your group\'s server, such as https://askwright.example.org').replace(/\/+$/, '');
  if (!address) return;
  const key = ask('Your key. It begins with ask_ and is kept in your account, not in the sheet.');
  if (!key) return;
  report_('Connect', function () {
    if (!/^https:\/\//.test(address) && !/^http:\/\/(127\.0\.0\.1|localhost)(:|$)/.test(address)) {
      throw new Error('The address must begin with https://, or your key could be read on its way.');
    }
    const group = JSON.parse(request_({ path: '/v1/group', address: address, key: key }).text);
    kept.setProperties({ ASKWRIGHT_ADDRESS: address, ASKWRIGHT_KEY: key });
    return 'Connected to the group ' + group.name + '.';
  });
}

/** Adds your rows that are on file and not in the sheet, below the others; it changes none that is there. */
function getRows() {
  report_('Get my rows', function () {
    const table = readTable_(ROW);
    const here = table.refs();
    const path = '/v1/listings?member=me&sort=ref&limit=1000&fields=' + table.names().join(',');
    const missing = [];
    let page = {};
    do {
      page = JSON.parse(request_({ path: path + (page.next ? '&cursor=' + encodeURIComponent(page.next) : '') }).text);
      page.items.forEach(function (row) { if (here.indexOf(row.ref) < 0) missing.push(cellsOf_(row)); });
    } while (page.next);
    if (missing.length) table.append(missing);
    return missing.length + ' rows added.';
  });
}

/** A row as it stands in cells: a list has its entries with ; between. */
function cellsOf_(row) {
  const cells = {};
  Object.keys(row).forEach(function (name) {
    const value = row[name];
    cells[name] = value === null ? '' : !Array.isArray(value) ? value : value.map(function (entry) {
      if (typeof entry === 'string') return entry;
      return Object.keys(entry).map(function (k) { return entry[k] === null ? '..' : entry[k]; }).join(name === 'pauses' ? '/' : ':');
    }).join(name === 'venues' ? '; ' : ';');
  });
  return cells;
}

/** Sends the sheet's rows: new ones are added, changed ones changed, by their ref. */
function sendRows() {
  report_('Send rows', function () {
    const table = readTable_(ROW);
    const sent = send_(table);
    table.writeNotes();
    return told_(sent);
  });
}

/** Fills in what to ask for every row that has not ended. */
function fillSuggestions() {
  report_('Fill suggestions', function () { return suggest_(readTable_(ROW)); });
}

/** Both in one go. */
function sendAndSuggest() {
  report_('Send rows and fill suggestions', function () {
    const table = readTable_(ROW);
    const sent = send_(table);
    if (!sent.stopped) return sent.text + ' ' + suggest_(table);
    table.writeNotes();
    return told_(sent);
  });
}

/** Sends the rows and writes their revisions; what is wrong with rows is left in the table's notes. */
function send_(table) {
  const counts = { created: 0, updated: 0, unchanged: 0, rejected: table.faultyRows() };
  const revisions = {};
  let stopped = '';
  try {
    chunks_(table.rows, ROWS_PER_REQUEST).forEach(function (rows) {
      const answer = importRows_(rows);
      Object.keys(counts).forEach(function (name) { counts[name] += answer[name] || 0; });
      (answer.errors || []).forEach(function (e) { table.fault(rows[e.row - 1].line, e.column, e.detail); });
      Object.assign(revisions, answer.revisions);
    });
  } catch (e) {
    stopped = ' Stopped: ' + e.message + ' What was sent before is kept; send again, nothing is doubled.';
  }
  if (table.has('revision')) {
    table.write(['revision'], function (line, row) {
      const now = row && revisions[String(row.cells.ref).trim()];
      return [now === undefined ? table.value(line, 'revision') : now];
    });
  }
  const text = counts.created + ' new, ' + counts.updated + ' changed, ' + counts.unchanged + ' unchanged, ' + counts.rejected + ' rejected' +
    (counts.rejected ? ' (see the notes in the sheet).' : '.');
  return { text: text, stopped: stopped };
}

function told_(sent) {
  if (sent.stopped) throw new Error(sent.text + sent.stopped);
  return sent.text;
}

function importRows_(rows) {
  const answer = request_({
    method: 'post', path: '/v1/imports?revisions=true', body: rows.map(function (row) { return row.cells; }),
    repeatable: true, understands: 422,
  });
  const counts = JSON.parse(answer.text);
  if (counts.received === undefined) throw new Error(problem_(answer));
  return counts;
}

function suggest_(table) {
  const onFile = {};
  records_(request_({ path: '/v1/listings.csv?member=me&fields=ref,outcome' }).text)
    .forEach(function (r) { onFile[r.ref] = r.outcome; });
  const wanted = table.rows.filter(function (row) {
    const outcome = onFile[String(row.cells.ref)];
    return row.cells.ref !== '' && !table.isFaulty(row.line) && !isOver_(outcome) &&
      (outcome !== undefined || (row.cells.category && !isOver_(row.cells.outcome)));
  });
  const answers = advise_(table, wanted, '/v1/suggestions?fields=' + SUGGESTION.join(','), function (row) {
    return onFile[String(row.cells.ref)] !== undefined ? { ref: row.cells.ref } : only_(row.cells, ['ref', 'own_price'].concat(DESCRIPTION));
  });
  return table.writeAnswers(SUGGESTION, answers) + ' suggestions.';
}

/** Fills in what to pay at most for the pieces that were found and not bought. */
function checkPurchaseLimits() {
  report_('Check purchase limits', function () {
    const table = readTable_(ROW.concat(FIND));
    const wanted = table.rows.filter(function (row) {
      const stage = String(row.cells.stage || '').trim().toLowerCase();
      return row.cells.category && !row.cells.listed_on && (stage === '' || stage === 'found');
    });
    const answers = advise_(table, wanted, '/v1/purchase-limits?fields=' + LIMIT.join(','), function (row) {
      return only_(row.cells, ['ref'].concat(DESCRIPTION, FIND));
    });
    return table.writeAnswers(LIMIT, answers) + ' purchase limits.';
  });
}

/** Fills in the state of every open listing, with the remedy that pays best. */
function markStale() {
  report_('Mark stale', function () {
    const table = readTable_(ROW);
    const byRef = {};
    records_(request_({ path: '/v1/reviews.csv?member=me&fields=ref,' + STALE.join(',') }).text)
      .forEach(function (r) { byRef[r.ref] = r; });
    const answers = {};
    table.rows.forEach(function (row) {
      const found = byRef[String(row.cells.ref).trim()];
      if (found) answers[row.line] = found;
    });
    return table.writeAnswers(STALE, answers) + ' open listings reviewed.';
  });
}

/**
 * What to ask, for pieces that are only described.
 *
 * @param {range} header the names of columns, such as A1:F1
 * @param {range} rows the rows below them, such as A2:F20; category is needed
 * @param {string} what suggested_ask (default), likely_price, low_price, high_price, chance_sold, median_days or advice
 * @return a column with an answer for each row
 * @customfunction
 */
function ASKWRIGHT_SUGGEST(header, rows, what) {
  return inWords_(function () {
    what = what || 'suggested_ask';
    if (SUGGESTION.indexOf(what) < 0) throw new Error(what + ' is none of ' + SUGGESTION.join(', '));
    const names = grid_(header)[0].map(columnName_);
    const subjects = [];
    const places = grid_(rows).map(function (values) {
      const cells = {};
      names.forEach(function (name, i) {
        if (DESCRIPTION.indexOf(name) >= 0 || name === 'own_price') cells[name] = cell_(name, values[i]);
      });
      return cells.category ? subjects.push(cells) - 1 : -1;
    });
    if (!subjects.length) return places.map(function () { return ['']; });
    const answers = cached_(['suggest', what, subjects], function () {
      const all = [];
      chunks_(subjects, SUBJECTS_PER_REQUEST).forEach(function (some) {
        const answer = request_({ method: 'post', path: '/v1/suggestions?fields=' + what, body: { subjects: some }, csv: true });
        records_(answer.text).forEach(function (r) { all.push(typed_(what, r[what])); });
      });
      return all;
    });
    return places.map(function (at) { return [at < 0 ? '' : answers[at]]; });
  });
}

/**
 * How your open listings stand.
 *
 * @param {range} refs a column of refs, such as A2:A20
 * @param {string} what state (default), active_days, chance_sold_by_now, reason, action, action_ask or gain
 * @return a column with an answer for each ref
 * @customfunction
 */
function ASKWRIGHT_STALE(refs, what) {
  return inWords_(function () {
    what = what || 'state';
    if (STALE.indexOf(what) < 0) throw new Error(what + ' is none of ' + STALE.join(', '));
    const byRef = cached_(['stale', what], function () {
      const found = {};
      records_(request_({ path: '/v1/reviews.csv?member=me&fields=ref,' + what }).text)
        .forEach(function (r) { found[r.ref] = typed_(what, r[what]); });
      return found;
    });
    return grid_(refs).map(function (row) {
      const found = byRef[String(row[0]).trim()];
      return [found === undefined ? '' : found];
    });
  });
}

// ---- the sheet

/**
 * Reads the sheet that is open: the header is the first row that names ref and
 * another column, the rows are those below it that are not blank.
 */
function readTable_(known) {
  const book = SpreadsheetApp.getActiveSpreadsheet();
  const sheet = book.getActiveSheet();
  const range = sheet.getDataRange();
  const values = range.getValues();
  const notes = range.getNotes();
  const zone = book.getSpreadsheetTimeZone();
  const top = headerRow_(values, known);
  const at = columnsOf_(values[top], known);
  const faulty = {};
  const table = { rows: [] };

  for (let line = top + 1; line < values.length; line++) {
    notes[line] = notes[line].map(function (note) { return note.split(NOTE)[0].replace(/\n$/, ''); }); // theirs stays
  }
  table.refs = function () { return values.slice(top + 1).map(function (row) { return String(cell_('ref', row[at.ref])); }); };
  table.names = function () { // in the order of the columns, without those that are only sent
    return Object.keys(at).filter(function (name) { return name !== 'paused_on' && name !== 'resumed_on'; })
      .sort(function (a, b) { return at[a] - at[b]; });
  };
  table.append = function (rows) {
    const missing = values.length + rows.length - sheet.getMaxRows();
    if (missing > 0) sheet.insertRowsAfter(sheet.getMaxRows(), missing);
    runs_(table.names().map(function (name) { return at[name]; })).forEach(function (run) {
      const names = table.names().slice(run.from, run.to);
      sheet.getRange(values.length + 1, at[names[0]] + 1, rows.length, names.length)
        .setValues(rows.map(function (row) { return names.map(function (name) { return shown_(name, row[name], zone); }); }));
    });
  };
  table.has = function (name) { return at[name] !== undefined; };
  table.value = function (line, name) { return values[line][at[name]]; };
  table.fault = function (line, name, reason) {
    const column = at[name] === undefined ? at.ref : at[name];
    const before = notes[line][column];
    notes[line][column] = (before ? before + '\n' : '') + NOTE + reason;
    faulty[line] = true;
  };
  table.isFaulty = function (line) { return faulty[line] === true; };
  table.faultyRows = function () { return Object.keys(faulty).length; };
  const stayInPlace = function () { // others work in the sheet meanwhile
    const column = sheet.getRange(top + 1, at.ref + 1, values.length - top, 1).getValues();
    const moved = column.some(function (cells, i) { return String(cells[0]) !== String(values[top + i][at.ref]); });
    const header = sheet.getRange(top + 1, 1, 1, values[top].length).getValues()[0];
    if (moved || header.some(function (title, i) { return columnName_(title) !== columnName_(values[top][i]); })) {
      throw new Error('Somebody moved rows or columns in this sheet meanwhile, so nothing was written into it. What was sent is kept; do it again.');
    }
  };
  table.writeNotes = function () {
    stayInPlace();
    range.setNotes(notes);
  };
  table.write = function (names, answer) {
    stayInPlace();
    writeColumns_(sheet, values, top, at, names, table.rows, answer);
  };
  table.writeAnswers = function (names, answers) {
    table.write(names, function (line) {
      return names.map(function (name) { return answers[line] ? typed_(name, answers[line][name]) : ''; });
    });
    table.writeNotes();
    return Object.keys(answers).length;
  };

  range.getMergedRanges().forEach(function (merged) {
    const first = merged.getRow() - range.getRow();
    const left = merged.getColumn() - range.getColumn();
    const name = Object.keys(at).filter(function (n) { return at[n] >= left && at[n] < left + merged.getNumColumns(); })[0];
    for (let line = Math.max(first, top + 1); name && line < Math.min(first + merged.getNumRows(), values.length); line++) {
      table.fault(line, name, 'these cells are merged; split them and give each its own value');
    }
  });
  for (let line = top + 1; line < values.length; line++) {
    const cells = {};
    let blank = true;
    Object.keys(at).forEach(function (name) {
      const value = cell_(name, values[line][at[name]], zone);
      if (/^#(N\/A|REF!|VALUE!|DIV\/0!|NAME\?|NUM!|NULL!|ERROR!)$/.test(value)) table.fault(line, name, 'the cell holds the error ' + value);
      cells[name] = value;
      if (value !== '') blank = false;
    });
    if (!blank && !faulty[line]) table.rows.push({ line: line, cells: cells });
  }
  return table;
}

function headerRow_(values, known) {
  for (let i = 0; i < Math.min(values.length, 20); i++) {
    const names = values[i].map(columnName_);
    if (names.indexOf('ref') >= 0 && names.filter(function (n) { return known.indexOf(n) >= 0; }).length > 1) return i;
  }
  throw new Error('This sheet has no header with a column named ref and others, such as category and ask.');
}

/** Where each known column stands; a name that is nearly one of them stops everything. */
function columnsOf_(header, known) {
  const at = {};
  const names = header.map(columnName_);
  names.forEach(function (name, i) {
    if (known.indexOf(name) < 0) return;
    if (at[name] !== undefined) throw new Error('There are two columns named ' + name + '.');
    at[name] = i;
  });
  const answers = SUGGESTION.concat(STALE, LIMIT, FIND);
  names.forEach(function (name, i) {
    if (name === '' || at[name] !== undefined || answers.indexOf(name) >= 0) return;
    const meant = known.filter(function (k) {
      return at[k] === undefined && ((k.length > 3 && distance_(k, name) <= 2) || k === name + '_on');
    })[0];
    if (meant) throw new Error('The column "' + header[i] + '" is not known: did you mean ' + meant + '? Nothing was sent.');
  });
  return at;
}

/**
 * Writes answers into columns, header and all rows at once: one write for
 * columns that stand side by side, as those do that are added here.
 */
function writeColumns_(sheet, values, top, at, names, rows, answer) {
  const byLine = {};
  rows.forEach(function (row) { byLine[row.line] = row; });
  const header = values[top].map(columnName_);
  let end = header.length;
  const places = names.map(function (name) {
    const found = header.indexOf(name);
    return found >= 0 ? found : end++;
  });
  if (end > sheet.getMaxColumns()) sheet.insertColumnsAfter(sheet.getMaxColumns(), end - sheet.getMaxColumns());
  const grid = [names.map(function (name, i) { return places[i] < header.length ? values[top][places[i]] : name; })];
  for (let line = top + 1; line < values.length; line++) grid.push(answer(line, byLine[line]));
  const order = names.map(function (_, i) { return i; }).sort(function (a, b) { return places[a] - places[b]; });
  runs_(order.map(function (k) { return places[k]; })).forEach(function (run) {
    const part = order.slice(run.from, run.to);
    sheet.getRange(top + 1, places[part[0]] + 1, grid.length, part.length)
      .setValues(grid.map(function (cells) { return part.map(function (k) { return cells[k]; }); }));
  });
}

/** The stretches of columns that stand side by side, in sorted places. */
function runs_(places) {
  const runs = [];
  places.forEach(function (place, i) {
    if (i > 0 && place === places[i - 1] + 1) runs[runs.length - 1].to = i + 1;
    else runs.push({ from: i, to: i + 1 });
  });
  return runs;
}

// ---- values

function columnName_(title) {
  return String(title).trim().toLowerCase().split(/\s+/).join('_');
}

/** What goes out for a cell: a day as 2026-03-05, a number with the digits that a sheet keeps. */
function cell_(name, value, zone) {
  if (value === null || value === undefined) return '';
  if (Object.prototype.toString.call(value) === '[object Date]') {
    return Utilities.formatDate(value, zone || SpreadsheetApp.getActiveSpreadsheet().getSpreadsheetTimeZone(), 'yyyy-MM-dd');
  }
  if (typeof value === 'number') {
    const isSerialDay = /_on$/.test(name) && value > 20000 && value < 80000;
    return isSerialDay ? new Date(Math.floor(value - 25569) * 86400000).toISOString().slice(0, 10) : Number(value.toPrecision(15));
  }
  return typeof value === 'string' ? value.trim() : String(value);
}

/** An answer's cell: a number where it is one. Text stays as it came, also with the quote that keeps it from being a formula. */
function typed_(name, text) {
  const isNumber = ['advice', 'state', 'reason', 'action', 'refusal'].indexOf(name) < 0 && text !== '' && text !== undefined;
  return isNumber ? Number(text) : text || '';
}

/** A value of a row as a cell: a day as a date, text as text whatever it looks like. */
function shown_(name, value, zone) {
  if (value === undefined || value === null || value === '') return '';
  if (/_on$/.test(name)) return Utilities.parseDate(value, zone, 'yyyy-MM-dd');
  return typeof value === 'string' ? "'" + value : value; // or May 5 becomes a day, and true a check mark
}

function grid_(range) {
  return Array.isArray(range) ? range : [[range]];
}

function only_(cells, names) {
  const out = {};
  names.forEach(function (name) { if (cells[name] !== undefined && cells[name] !== '') out[name] = cells[name]; });
  return out;
}

function isOver_(outcome) {
  return outcome === 'sold' || outcome === 'pulled';
}

function chunks_(list, size) {
  const out = [];
  for (let i = 0; i < list.length; i += size) out.push(list.slice(i, i + size));
  return out;
}

/** The rows of a CSV by the names in its header. */
function records_(text) {
  const lines = Utilities.parseCsv(text);
  return lines.slice(1).map(function (line) {
    const record = {};
    lines[0].forEach(function (name, i) { record[name] = name === 'ref' ? line[i].replace(/^'(?='*[=+\-@])/, '') : line[i]; });
    return record;
  });
}

/** How many letters differ (Levenshtein). */
function distance_(a, b) {
  let row = Array.from({ length: b.length + 1 }, function (_, i) { return i; });
  for (let i = 1; i <= a.length; i++) {
    const next = [i];
    for (let j = 1; j <= b.length; j++) {
      next[j] = Math.min(next[j - 1] + 1, row[j] + 1, row[j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1));
    }
    row = next;
  }
  return row[b.length];
}

// ---- the server

/** Answers by line for some rows; a row that cannot be read gets a note, the others still get their answers. */
function advise_(table, rows, path, subjectOf) {
  const answers = {};
  chunks_(rows, SUBJECTS_PER_REQUEST).forEach(function (some) {
    while (some.length) {
      const answer = request_({ method: 'post', path: path, body: { subjects: some.map(subjectOf) }, csv: true, understands: 422 });
      if (answer.code !== 422) {
        records_(answer.text).forEach(function (r, i) { answers[some[i].line] = r; });
        return;
      }
      const wrong = {};
      (JSON.parse(answer.text).errors || []).forEach(function (e) {
        const place = /^#\/subjects\/(\d+)/.exec(e.pointer || '');
        if (!place) return;
        wrong[place[1]] = true;
        table.fault(some[place[1]].line, e.column, e.detail);
      });
      if (!Object.keys(wrong).length) throw new Error(problem_(answer));
      some = some.filter(function (_, i) { return !wrong[i]; });
    }
  });
  return answers;
}

let started = Date.now();
let longest = LONGEST_RUN;

/**
 * One request, repeated while the server is busy or away: after as long as it
 * asks for, else 1, 2, 4 … seconds. What changes something carries a key of its
 * own, so that it is done once however often it is sent.
 */
function request_(o) {
  const kept = PropertiesService.getUserProperties();
  const address = o.address || kept.getProperty('ASKWRIGHT_ADDRESS');
  const key = o.key || kept.getProperty('ASKWRIGHT_KEY');
  if (!address || !key) throw new Error('Choose Askwright > Connect first.');
  const headers = { Authorization: 'Bearer ' + key, Accept: o.csv ? 'text/csv' : '*/*' };
  if (o.repeatable) headers['Idempotency-Key'] = Utilities.getUuid();
  const options = { method: o.method || 'get', headers: headers, muteHttpExceptions: true, followRedirects: false };
  if (o.body !== undefined) {
    options.contentType = 'application/json';
    options.payload = JSON.stringify(o.body);
  }
  for (let attempt = 1; ; attempt++) {
    let answer = { code: 0, text: '', wait: 0 };
    try {
      const response = UrlFetchApp.fetch(address + o.path, options);
      answer = { code: response.getResponseCode(), text: response.getContentText('UTF-8'), wait: Number(header_(response, 'Retry-After')) || 0 };
    } catch (e) {
      answer.text = String(e.message || e);
    }
    const busy = answer.code === 0 || answer.code === 429 || answer.code >= 500 || (answer.code === 409 && answer.wait > 0);
    if (!busy) {
      if (answer.code < 300 || answer.code === o.understands) return answer;
      throw new Error(problem_(answer));
    }
    const wait = 1000 * (answer.wait || Math.pow(2, attempt - 1));
    if (attempt === ATTEMPTS || Date.now() - started + wait > longest) throw new Error(problem_(answer));
    Utilities.sleep(wait);
  }
}

function header_(response, name) {
  const all = response.getAllHeaders();
  const found = Object.keys(all).filter(function (n) { return n.toLowerCase() === name.toLowerCase(); })[0];
  return found ? all[found] : '';
}

/** What went wrong, in the server's words. */
function problem_(answer) {
  if (answer.code === 0) return 'The server cannot be reached: ' + answer.text;
  try {
    const p = JSON.parse(answer.text);
    return p.detail || p.title;
  } catch (e) {
    return 'The server answered ' + answer.code + '.';
  }
}

/** Answers of custom functions are kept for a while: a sheet recalculates often. */
function cached_(input, compute) {
  const cache = CacheService.getUserCache();
  const key = PropertiesService.getUserProperties().getProperty('ASKWRIGHT_KEY'); // another key, other answers
  const digest = Utilities.computeDigest(Utilities.DigestAlgorithm.SHA_256, JSON.stringify([key, input]), Utilities.Charset.UTF_8);
  const name = Utilities.base64EncodeWebSafe(digest);
  const found = cache.get(name);
  if (found !== null) return JSON.parse(found);
  const value = compute();
  const text = JSON.stringify(value);
  if (text.length < 90000) cache.put(name, text, CACHE_SECONDS); // a value may have 100 KB
  return value;
}

/** A custom function tells its error in its cell. */
function inWords_(compute) {
  started = Date.now();
  longest = LONGEST_FUNCTION;
  try {
    return compute();
  } catch (e) {
    return [[NOTE + e.message]];
  }
}

/** Runs an action and says how it went. */
function report_(title, act) {
  started = Date.now();
  longest = LONGEST_RUN;
  try {
    SpreadsheetApp.getActiveSpreadsheet().toast(act(), title, 10);
  } catch (e) {
    SpreadsheetApp.getUi().alert(title, e.message, SpreadsheetApp.getUi().ButtonSet.OK);
  }
}
