// Thin stand-ins for what the online spreadsheet offers to a script. Requests
// are real: a worker makes them while this thread waits, as the platform's do.
import { createHash, randomUUID } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { createContext, runInContext } from 'node:vm';
import { Worker } from 'node:worker_threads';

// What the platform allows, as published in "Quotas for Google Services", developers.google.com/apps-script/guides/services/quotas:
// of a consumer account, the smaller of two kinds. The seconds of one request are from justin.poehnelt.com, "The Definitive Guide
// to UrlFetchApp"; the platform's own page does not tell them.
export const QUOTA = {
  fetchesPerDay: 20000, requestBytes: 50 << 20, responseBytes: 50 << 20, urlBytes: 2048, headers: 100,
  runSeconds: 6 * 60, functionSeconds: 30, requestSeconds: 60,
};

const shared = new SharedArrayBuffer(64 << 20);
const state = new Int32Array(shared, 0, 2);
const worker = new Worker(`
  const { parentPort, workerData } = require('node:worker_threads');
  const state = new Int32Array(workerData, 0, 2);
  parentPort.on('message', async ({ url, options }) => {
    let answer;
    try {
      const r = await fetch(url, options);
      answer = { status: r.status, headers: Object.fromEntries(r.headers), body: await r.text() };
    } catch (e) {
      answer = { error: String(e.cause || e) };
    }
    const text = Buffer.from(JSON.stringify(answer));
    Buffer.from(workerData, 8).set(text);
    Atomics.store(state, 1, text.length);
    Atomics.store(state, 0, 1);
    Atomics.notify(state, 0);
  });
`, { eval: true, workerData: shared });
worker.unref();

function fetchNow(url, options) {
  Atomics.store(state, 0, 0);
  worker.postMessage({ url, options });
  Atomics.wait(state, 0, 0);
  return JSON.parse(Buffer.from(shared, 8, Atomics.load(state, 1)).toString());
}

export class Sheet {
  constructor(rows) {
    const width = Math.max(...rows.map((r) => r.length));
    this.values = rows.map((r) => Array.from({ length: width }, (_, i) => r[i] ?? ''));
    this.notes = this.values.map((r) => r.map(() => ''));
    this.merged = [];
    this.writes = [];
    this.maxColumns = width;
    this.maxRows = rows.length;
  }
  getDataRange() { return this.getRange(1, 1, this.values.length, this.values[0].length); }
  getMaxColumns() { return this.maxColumns; }
  getMaxRows() { return this.maxRows; }
  insertRowsAfter(after, count) { this.maxRows += count; }
  insertColumnsAfter(after, count) { this.maxColumns += count; }
  getRange(row, column, rows, columns) { return new Range(this, row, column, rows, columns); }
  /** The cells of a column, below its header. */
  column(name) {
    const i = this.values[0].indexOf(name);
    return this.values.slice(1).map((r) => r[i]);
  }
}

/** What the platform makes of a text that a script writes, as of one that somebody types. */
function typed(text) {
  if (text.startsWith("'")) return text.slice(1);
  if (text.startsWith('=')) throw new Error(`a formula is written: ${text}`);
  if (/^(true|false)$/i.test(text)) return text.toLowerCase() === 'true';
  if (/^[A-Z][a-z]{2,8} \d{1,2}$/.test(text) && Date.parse(text + ' 2026')) return new Date(text + ' 2026');
  return /^[+-]?\d+(\.\d+)?$/.test(text) ? Number(text) : text;
}

class Range {
  constructor(sheet, row, column, rows, columns) { Object.assign(this, { sheet, row, column, rows, columns }); }
  getRow() { return this.row; }
  getColumn() { return this.column; }
  getNumRows() { return this.rows; }
  getNumColumns() { return this.columns; }
  read(grid) { return grid.slice(this.row - 1, this.row - 1 + this.rows).map((r) => r.slice(this.column - 1, this.column - 1 + this.columns)); }
  getValues() { return this.read(this.sheet.values); }
  getNotes() { return this.read(this.sheet.notes); }
  getMergedRanges() { return this.sheet.merged.map((m) => new Range(this.sheet, ...m)); }
  write(grid, what, values) {
    if (values.length !== this.rows || values.some((r) => r.length !== this.columns)) throw new Error(`The number of rows or columns in the data does not match the range: ${what}`);
    if (this.column - 1 + this.columns > this.sheet.maxColumns || this.row - 1 + this.rows > this.sheet.maxRows) throw new Error('The coordinates of the range are outside the dimensions of the sheet.');
    const width = Math.max(this.sheet.values[0].length, this.column - 1 + this.columns);
    for (const g of [this.sheet.values, this.sheet.notes]) while (g.length < this.row - 1 + this.rows) g.push([]);
    for (const g of [this.sheet.values, this.sheet.notes]) g.forEach((r) => { while (r.length < width) r.push(''); });
    values.forEach((r, i) => r.forEach((v, j) => {
      if (v === undefined || (typeof v === 'number' && !Number.isFinite(v))) throw new Error(`no value for row ${i + 1} of ${what}`);
      grid[this.row - 1 + i][this.column - 1 + j] = typeof v === 'string' && what === 'values' ? typed(v) : v;
    }));
    this.sheet.writes.push(what);
  }
  setValues(values) { this.write(this.sheet.values, 'values', values); }
  setNotes(notes) { this.write(this.sheet.notes, 'notes', notes); }
}

/** Loads the script unchanged, over a sheet. answers are for the prompts. */
export function open(sheet, { timeZone = 'America/Chicago', answers = [] } = {}) {
  const host = { requests: [], sleeps: [], toasts: [], alerts: [], menu: [], properties: {}, cache: {}, answers, interfere: null };
  const ui = {
    Button: { OK: 'OK' }, ButtonSet: { OK: 'OK', OK_CANCEL: 'OK_CANCEL' },
    createMenu: () => ({ addItem(title, run) { host.menu.push([title, run]); return this; }, addSeparator() { return this; }, addToUi() {} }),
    prompt: () => { const text = host.answers.shift(); return { getSelectedButton: () => (text === undefined ? 'CANCEL' : 'OK'), getResponseText: () => text }; },
    alert: (title, text) => host.alerts.push(text),
  };
  const book = { getActiveSheet: () => sheet, getSpreadsheetTimeZone: () => timeZone, toast: (text) => host.toasts.push(text) };
  const response = (a) => ({ getResponseCode: () => a.status, getContentText: () => a.body, getAllHeaders: () => a.headers });
  let slept = 0; // nobody waits, the clock goes on all the same
  const sandbox = {
    console,
    Date: class extends Date { static now() { return Date.now() + slept; } },
    SpreadsheetApp: { getUi: () => ui, getActiveSpreadsheet: () => book },
    PropertiesService: { getUserProperties: () => ({ getProperty: (n) => host.properties[n] ?? null, setProperties: (p) => Object.assign(host.properties, p) }) },
    CacheService: { getUserCache: () => ({ get: (n) => host.cache[n] ?? null, put: (n, v) => { if (n.length > 250 || v.length > 100 * 1024) throw new Error('Argument too large'); host.cache[n] = v; } }) },
    UrlFetchApp: {
      fetch(url, o) {
        const sent = Buffer.byteLength(o.payload ?? '');
        if (Buffer.byteLength(url) > QUOTA.urlBytes) throw new Error('Limit Exceeded: URLFetch URL Length.');
        if (sent > QUOTA.requestBytes) throw new Error('Limit Exceeded: URLFetch POST Size.');
        const headers = { ...o.headers };
        if (o.contentType) headers['Content-Type'] = o.contentType;
        const made = { url, method: o.method.toUpperCase(), headers, sent, received: 0, status: 0, ms: 0 };
        host.requests.push(made);
        const began = Date.now();
        const meddled = host.interfere?.(made, () => fetchNow(url, { method: made.method, headers, body: o.payload }));
        const a = meddled ?? fetchNow(url, { method: made.method, headers, body: o.payload });
        if (a.error) throw new Error('Address unavailable: ' + a.error);
        made.received = Buffer.byteLength(a.body);
        made.ms = Date.now() - began;
        if (made.received > QUOTA.responseBytes) throw new Error('Limit Exceeded: URLFetch response Size.');
        made.status = a.status;
        if (a.status >= 400 && !o.muteHttpExceptions) throw new Error('Request failed; truncated server response');
        return response(a);
      },
    },
    Utilities: {
      DigestAlgorithm: { SHA_256: 'sha256' }, Charset: { UTF_8: 'utf8' },
      getUuid: randomUUID,
      sleep: (ms) => { host.sleeps.push(ms); slept += ms; },
      computeDigest: (algorithm, text) => [...createHash(algorithm).update(text, 'utf8').digest()],
      base64EncodeWebSafe: (bytes) => Buffer.from(bytes).toString('base64url'),
      formatDate: (day, zone) => new Intl.DateTimeFormat('sv-SE', { timeZone: zone, year: 'numeric', month: '2-digit', day: '2-digit' }).format(day),
      parseDate: (text, zone, pattern) => {
        if (pattern !== 'yyyy-MM-dd') throw new Error(pattern);
        const midnight = Date.parse(text + 'T00:00:00Z');
        const offset = (at) => Date.parse(new Date(at).toLocaleString('sv-SE', { timeZone: zone }).replace(' ', 'T') + 'Z') - at;
        return new Date(midnight - offset(midnight - offset(midnight))); // twice, for the days on which clocks are set
      },
      parseCsv,
    },
  };
  createContext(sandbox);
  runInContext(readFileSync(new URL('askwright.js', import.meta.url), 'utf8'), sandbox);
  host.run = (name, ...args) => { sandbox.__args = args; return JSON.parse(JSON.stringify(runInContext(`${name}(...__args) ?? null`, sandbox))); };
  host.get = (name) => JSON.parse(runInContext(`JSON.stringify(${name})`, sandbox));
  return host;
}

/** RFC 4180. */
export function parseCsv(text) {
  const rows = [[]];
  for (const m of text.matchAll(/(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r\n|\n|$)/g)) {
    if (m[0] === '' && m.index >= text.length) break;
    rows.at(-1).push(m[1] === undefined ? m[2] : m[1].replaceAll('""', '"'));
    if (m[3] !== ',') rows.push([]);
  }
  rows.pop();
  return rows;
}
