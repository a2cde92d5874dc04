// Runs the script against a running server: sh deploy/spreadsheet/test.sh
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { test } from 'node:test';
import { open, parseCsv, QUOTA, Sheet } from './host.mjs';

const { ASKWRIGHT_URL: url, ASKWRIGHT_PROGRAM: program } = process.env;

/** A group of its own, with one member. */
function group() {
  const out = execFileSync(program, ['group', 'create', 'Sheet test', '--currency', 'USD', '--unit', 'in', '--timezone', 'America/Chicago', '--hour-value', '18', '--member', 'Wilda']);
  return out.toString().trim().split('\n').at(-1);
}

async function api(key, path, { method = 'GET', body } = {}) {
  const r = await fetch(url + path, { method, body: body && JSON.stringify(body), headers: { Authorization: `Bearer ${key}`, ...(body && { 'Content-Type': 'application/json' }) } });
  const text = await r.text();
  return r.headers.get('Content-Type')?.includes('json') ? JSON.parse(text) : text;
}

/** The script over a sheet, connected. */
function connected(sheet, key = group()) {
  const host = open(sheet);
  Object.assign(host.properties, { ASKWRIGHT_ADDRESS: url, ASKWRIGHT_KEY: key });
  return Object.assign(host, { key });
}

const day = (text) => new Date(text + 'T06:00:00Z'); // midnight in Chicago, in winter
const daysAgo = (n) => new Date(Date.now() - n * 86400000).toISOString().slice(0, 10);

/** Invented rows, the same each time: three in four sold. */
function market(n) {
  let seed = 1;
  const random = () => (seed = (seed * 16807) % 2147483647) / 2147483647; // Lehmer's generator (Park and Miller, 1988)
  const kinds = [['sideboard', 60, 420], ['desk', 48, 300], ['dresser', 54, 380], ['bookcase', 36, 180], ['nightstand', 20, 110]];
  const rows = [['ref', 'my remark', 'category', 'width', 'depth', 'height', 'condition', 'finish', 'listed_on', 'ask', 'outcome', 'ended_on', 'sale_price', 'messages', 'purchase_cost', 'revision']];
  for (let i = 0; i < n; i++) {
    const [kind, width, price] = kinds[i % kinds.length];
    const wide = Math.round(width * (0.8 + 0.4 * random()));
    const ask = Math.round(price * (wide / width) * (0.8 + 0.4 * random()) / 5) * 5;
    const open = i % 4 === 3;
    const age = open ? 1 + Math.floor(random() * 60) : 60 + Math.floor(random() * 600);
    rows.push([`M-${i + 1}`, 'mine alone', kind, wide, 18, 32, ['good', 'fair', 'very_good'][i % 3], ['painted', 'natural'][i % 2], day(daysAgo(age)), ask,
      open ? 'open' : 'sold', open ? '' : day(daysAgo(age - 1 - Math.floor(random() * 50))), open ? '' : Math.round(ask * 0.9), Math.floor(random() * 9), 40, '']);
  }
  return rows;
}

test('the script knows the columns of the server', async () => {
  const host = connected(new Sheet([['ref']]));
  const header = parseCsv(await api(host.key, '/v1/listings.csv'))[0];
  const known = host.get('ROW').filter((n) => !['paused_on', 'resumed_on'].includes(n)); // which are only sent
  assert.deepEqual([known.filter((n) => !header.includes(n)), header.filter((n) => !known.includes(n))], [[], []]);
});

test('the menu, and connecting', async () => {
  const key = group();
  const host = open(new Sheet([['ref']]), { answers: [url + '/', key] });
  host.run('onOpen');
  assert.deepEqual(host.menu.map((m) => m[0]), ['Connect', 'Get my rows', 'Send rows and fill suggestions', 'Send rows', 'Fill suggestions', 'Mark stale', 'Check purchase limits']);
  host.run('sendRows');
  assert.match(host.alerts[0], /Choose Askwright > Connect first|no header/);
  host.run('connect');
  assert.deepEqual(host.toasts, ['Connected to the group Sheet test.']);
  assert.deepEqual(host.properties, { ASKWRIGHT_ADDRESS: url, ASKWRIGHT_KEY: key });
  const wrong = open(new Sheet([['ref']]), { answers: ['http://askwright.example.org', key] });
  wrong.run('connect');
  assert.match(wrong.alerts[0], /must begin with https/);
  assert.deepEqual(wrong.properties, {});
  const typo = open(new Sheet([['ref']]), { answers: [url, key.slice(0, -1) + '_'] });
  typo.run('connect');
  assert.match(typo.alerts[0], /typing error/);
});

test('rows go out and come back unchanged; errors are notes on the cell at fault', async () => {
  const sheet = new Sheet([
    ['Ask', 'Somebody\'s own', 'ref', 'Category', 'listed_on', 'width', 'revision', 'my formula'],
    [480, 'keep', 'B-1', 'sideboard', day('2026-03-04'), 60, '', '=A2*2'],
    ['', '', '', '', '', '', '', ''],
    ['abc', 'keep', 'B-2', 'desk', day('2026-03-04'), 48, '', 'x'],
    [0.1 + 0.2, 'keep', 7, 'desk', 46085, '35 1/2', '', ''],
    ['$1,250.00', '', 'B-4', 'desk', '2026-03-05', '', '', ''],
    [2210, '', 'Total', '', '', '', '', ''],
    [3, '', 'B-5', 'desk', day('2026-03-04'), '#REF!', '', ''],
    [3, '', 'B-6', 'desk', day('2026-03-04'), '', '', ''],
    [3, '', 'B-7', 'desk', day('2026-03-04'), '', '', ''],
  ]);
  sheet.merged.push([9, 4, 2, 1]); // D9:D10
  sheet.notes[1][0] = 'my own note';
  sheet.notes[3][0] = 'also mine\nAskwright: an old one';
  const before = sheet.values.map((r) => [r[1], r[7]]);
  const host = connected(sheet);
  host.run('sendRows');
  assert.deepEqual(host.toasts, ['3 new, 0 changed, 0 unchanged, 5 rejected (see the notes in the sheet).']);
  assert.equal(host.requests.length, 1);
  assert.deepEqual(sheet.values.map((r) => [r[1], r[7]]), before);
  assert.deepEqual(sheet.column('revision'), [1, '', '', 1, 1, '', '', '', '']);
  assert.match(sheet.notes[3][0], /^also mine\nAskwright: "abc"[^\n]*$/);
  assert.match(sheet.notes[6][2], /row of totals/);
  assert.match(sheet.notes[7][5], /error #REF!/);
  assert.match(sheet.notes[8][3] + sheet.notes[9][3], /merged.*merged/s);
  assert.equal(sheet.notes[1][0], 'my own note');
  assert.deepEqual(sheet.writes, ['values', 'notes']);
  assert.equal(await api(host.key, '/v1/listings.csv?fields=ref,listed_on,ask,width'),
    'ref,listed_on,ask,width\r\n7,2026-03-04,0.30,35.5\r\nB-1,2026-03-04,480.00,60\r\nB-4,2026-03-05,1250.00,\r\n');

  // Only what is edited changes; somebody else's edit is told and not overwritten.
  const items = (await api(host.key, '/v1/listings')).items;
  await api(host.key, '/v1/listings/' + items.find((r) => r.ref === 'B-4').id, { method: 'PATCH', body: { width: 50 } });
  sheet.values[1][5] = 61;
  sheet.values[5][5] = 44;
  host.run('sendRows');
  assert.match(host.toasts[1], /^0 new, 1 changed, 1 unchanged, 6 rejected/);
  assert.match(sheet.notes[5][6], /^Askwright: somebody changed B-4/);
  assert.deepEqual(sheet.column('revision'), [2, '', '', 1, 1, '', '', '', '']);
  assert.equal((await api(host.key, '/v1/listings')).items.find((r) => r.ref === 'B-4').width, 50);
});

test('a renamed column and a sheet without a header stop everything, in words', () => {
  for (const [rows, words] of [
    [[['ref', 'catgory', 'ask'], ['B-1', 'desk', 3]], /The column "catgory" is not known: did you mean category\?/],
    [[['ref', 'category', 'listed'], ['B-1', 'desk', day('2026-03-05')]], /The column "listed" is not known: did you mean listed_on\?/],
    [[['name', 'category'], ['B-1', 'desk']], /no header with a column named ref/],
    [[['ref', 'category', 'Category'], ['B-1', 'desk', 'x']], /two columns named category/],
  ]) {
    const host = connected(new Sheet(rows));
    host.run('sendRows');
    assert.match(host.alerts[0], words);
    assert.equal(host.requests.length, 0);
  }
});

test('a busy server and a lost answer: sent again under the same key, done once', async () => {
  const host = connected(new Sheet([['ref', 'category', 'stage'], ['B-1', 'desk', 'found']]));
  const busy = [{ status: 429, headers: { 'retry-after': '7' }, body: '{"detail":"wait"}' }, { status: 503, headers: {}, body: 'away' }];
  host.interfere = (made, really) => {
    if (busy.length) return busy.shift();
    host.interfere = null;
    assert.equal(really().status, 200); // it arrives, and the answer gets lost
    return { error: 'connection reset' };
  };
  host.run('sendRows');
  assert.deepEqual(host.toasts, ['1 new, 0 changed, 0 unchanged, 0 rejected.']);
  assert.deepEqual(host.sleeps, [7000, 2000, 4000]);
  assert.equal(host.requests.length, 4);
  assert.equal(new Set(host.requests.map((r) => r.headers['Idempotency-Key'])).size, 1);

  const away = connected(new Sheet([['ref', 'category', 'stage'], ['B-1', 'desk', 'found']]));
  away.interfere = () => ({ error: 'no route to host' });
  away.run('sendRows');
  assert.match(away.alerts[0], /The server cannot be reached: Address unavailable: no route to host/);
  assert.ok(away.sleeps.reduce((a, b) => a + b, 0) < 5 * 60 * 1000);
});

test('rows that somebody sorts during an action: nothing is written beside the wrong row; sent again all is well', async () => {
  const sheet = new Sheet([['Ref', 'category', 'Listed on', 'ask', 'Revision'], ['B-1', 'desk', day('2026-03-04'), 300, ''], ['B-2', 'sideboard', day('2026-03-04'), 500, '']]);
  const host = connected(sheet);
  const swap = () => { [sheet.values[1], sheet.values[2]] = [sheet.values[2], sheet.values[1]]; };
  host.interfere = () => { swap(); host.interfere = null; };
  host.run('sendRows');
  assert.match(host.alerts[0], /moved rows or columns in this sheet meanwhile, so nothing was written/);
  assert.deepEqual(sheet.writes, []);
  host.run('sendAndSuggest');
  assert.equal(host.toasts[0], '0 new, 0 changed, 2 unchanged, 0 rejected. 2 suggestions.');

  // An edit whose answer is lost for good is no conflict with oneself.
  sheet.values[1][3] = 480;
  host.interfere = (made, really) => { if (made.url.includes('/import')) really(); return { error: 'connection reset' }; };
  host.run('sendRows');
  assert.match(host.alerts[1], /cannot be reached/);
  assert.deepEqual(sheet.column('Revision'), [1, 1], 'under the title that it had');
  host.interfere = null;
  host.run('sendRows');
  assert.deepEqual([host.toasts[1], sheet.column('Revision')], ['0 new, 0 changed, 2 unchanged, 0 rejected.', [2, 1]]);
});

test('one action: 2,000 rows out and 500 suggestions back, far below the quotas', async (t) => {
  const sheet = new Sheet(market(2000));
  const remarks = sheet.column('my remark');
  const host = connected(sheet);
  const began = Date.now();
  host.run('sendAndSuggest');
  const seconds = (Date.now() - began) / 1000;
  assert.deepEqual(host.alerts, []);
  assert.deepEqual(host.toasts, ['2000 new, 0 changed, 0 unchanged, 0 rejected. 500 suggestions.']);
  assert.deepEqual(sheet.writes.splice(0), ['values', 'values', 'notes'], 'the revisions in one write, all suggestions in another');
  const most = (what) => Math.max(...host.requests.map((r) => r[what]));
  const sum = (what) => host.requests.reduce((n, r) => n + r[what], 0);
  t.diagnostic(`${host.requests.length} requests in ${seconds} s (the longest ${most('ms') / 1000} s), ${sum('sent')} bytes out (at most ${most('sent')} in one), ` +
    `${sum('received')} in (at most ${most('received')})`);
  assert.ok(host.requests.length === 8, `${host.requests.length} requests`);
  assert.ok(host.requests.length * 24 * 10 < QUOTA.fetchesPerDay, 'every six minutes, day and night, would still be allowed');
  assert.ok(most('sent') < QUOTA.requestBytes / 50 && most('received') < QUOTA.responseBytes / 50);
  assert.ok(most('ms') / 1000 < QUOTA.requestSeconds / 4 && seconds < QUOTA.runSeconds / 6);
  for (const r of host.requests) {
    assert.ok(Buffer.byteLength(r.url) < QUOTA.urlBytes && Object.keys(r.headers).length < QUOTA.headers);
    assert.equal('Idempotency-Key' in r.headers, r.url.includes('/import'));
  }
  assert.deepEqual(host.sleeps, []);
  const open = sheet.column('outcome').map((o) => o === 'open');
  const asks = sheet.column('suggested_ask');
  asks.forEach((ask, i) => assert.ok(open[i] ? ask > 0 : ask === '', `row ${i + 1}: ${ask}`));
  const one = (await api(host.key, '/v1/listings?ref=M-4')).items[0];
  assert.equal(sheet.column('suggested_ask')[3], (await api(host.key, `/v1/listings/${one.id}/suggestion`)).ask);
  assert.deepEqual(sheet.column('my remark'), remarks);

  host.run('sendRows');
  assert.equal(host.toasts[1], '0 new, 0 changed, 2000 unchanged, 0 rejected.', host.alerts);

  sheet.writes.length = 0;
  host.requests.length = 0;
  host.run('markStale');
  assert.equal(host.toasts[2], '500 open listings reviewed.');
  assert.equal(host.requests.length, 1);
  assert.deepEqual(sheet.writes, ['values', 'notes']);
  const stale = parseCsv(await api(host.key, '/v1/reviews.csv?fields=ref,state,gain'));
  const [ref, state, gain] = stale[1];
  const line = sheet.column('ref').indexOf(ref);
  assert.deepEqual([sheet.column('state')[line], sheet.column('gain')[line]], [state, Number(gain)]);
});

test('purchase limits for finds; one that cannot be read gets a note, the others their answers', async () => {
  const key = group();
  const demo = execFileSync(program, ['demo', 'rows']);
  const r = await fetch(url + '/v1/imports?commit=true', { method: 'POST', body: demo, headers: { Authorization: `Bearer ${key}`, 'Content-Type': 'text/csv' } });
  assert.equal(r.status, 200);
  const sheet = new Sheet([
    ['ref', 'category', 'width', 'condition', 'planned_finish', 'hours', 'materials', 'stage', 'listed_on', 'most_to_pay', 'mine', 'walk_away'],
    ['F-1', 'dresser', 40, 'fair', 'painted', 6, 30, 'found', '', '', 'a', ''],
    ['F-2', 'dresser', 'wide', 'fair', 'painted', 6, 30, '', '', '', 'b', ''],
    ['F-3', 'sideboard', 60, 'good', 'painted', 6, 30, '', '', '', 'c', ''],
    ['F-4', 'sideboard', 60, 'good', 'painted', 6, 30, 'bought', '', '', 'd', ''],
  ]);
  const host = connected(sheet, key);
  host.run('checkPurchaseLimits');
  assert.deepEqual(host.alerts, []);
  assert.deepEqual(host.toasts, ['2 purchase limits.']);
  const limits = sheet.column('most_to_pay');
  assert.ok(limits[0] > 0 && limits[1] === '' && limits[2] > 0 && limits[3] === '', String(limits));
  assert.match(sheet.notes[2][2], /^Askwright: "wide" is not a length/);
  assert.deepEqual(sheet.column('mine'), ['a', 'b', 'c', 'd']);
  assert.ok(sheet.column('walk_away')[0] > 0 && sheet.column('break_even')[0] > limits[0]);

  // Pieces on file and pieces only described, side by side.
  host.run('sendRows');
  assert.match(host.toasts[1], /^1 new|^2 new/);
  host.run('fillSuggestions');
  assert.ok(sheet.column('suggested_ask')[0] > 0 && sheet.column('suggested_ask')[2] > 0, host.alerts.join());
});

test('custom functions answer a range at once, are cached, and tell errors in words', async () => {
  const key = group();
  const demo = execFileSync(program, ['demo', 'rows']);
  await fetch(url + '/v1/imports?commit=true', { method: 'POST', body: demo, headers: { Authorization: `Bearer ${key}`, 'Content-Type': 'text/csv' } });
  const host = connected(new Sheet([['ref']]), key);
  const header = [['category', 'mine', 'Width']];
  const rows = [['sideboard', 'x', 60], ['', '', ''], ['desk', 'y', 48]];
  const got = host.run('ASKWRIGHT_SUGGEST', header, rows);
  assert.ok(got[0][0] > 0 && got[1][0] === '' && got[2][0] > 0, JSON.stringify(got));
  assert.deepEqual(host.run('ASKWRIGHT_SUGGEST', header, rows), got);
  assert.equal(host.requests.length, 1);
  const refs = parseCsv(await api(key, '/v1/reviews.csv?fields=ref,state')).slice(1, 4);
  assert.deepEqual(host.run('ASKWRIGHT_STALE', refs.map((r) => [r[0]])), refs.map((r) => [r[1]]));
  assert.deepEqual(host.run('ASKWRIGHT_STALE', 'nobody'), [['']]);
  assert.equal(host.requests.length, 2);
  assert.match(host.run('ASKWRIGHT_SUGGEST', header, rows, 'price')[0][0], /^Askwright: price is none of suggested_ask/);
  assert.match(host.run('ASKWRIGHT_SUGGEST', header, [['desk', '', 'wide']])[0][0], /^Askwright: .*"wide" is not a length/);

  // Who connects with another key is not told the answers of the first.
  host.properties.ASKWRIGHT_KEY = group();
  assert.deepEqual(host.run('ASKWRIGHT_STALE', refs.map((r) => [r[0]])), refs.map(() => ['']));
  host.properties.ASKWRIGHT_KEY = key;

  // A server that stays busy: the function says so before the platform ends it.
  host.cache = {};
  host.requests.length = 0;
  host.interfere = () => ({ status: 429, headers: { 'Retry-After': '8' }, body: '{"detail":"more than 600 requests in a minute"}' });
  assert.deepEqual(host.run('ASKWRIGHT_STALE', 'B-1'), [['Askwright: more than 600 requests in a minute']]);
  const waited = host.sleeps.reduce((a, b) => a + b, 0) / 1000;
  assert.ok(host.requests.length > 1 && waited < QUOTA.functionSeconds, `${host.requests.length} requests, ${waited} s`);
  assert.deepEqual(host.cache, {}, 'an error is not kept');

  const alone = open(new Sheet([['ref']]));
  assert.match(alone.run('ASKWRIGHT_STALE', 'B-1')[0][0], /^Askwright: Choose Askwright > Connect first/);
});

test('text that looks like a formula or a number stays what it is; the key stands in no cell', async () => {
  const sheet = new Sheet([
    ['ref', 'category', 'listed_on', 'ask', 'flaws', 'maker'],
    ['=1+1', 'desk', day('2026-03-04'), '480', '@A1', '-3'],
    ['-7', 'desk', day('2026-03-04'), '480.50', '+5', '\'=2'],
    ['007', 'desk', day('2026-03-04'), 480, '1E5', '2026-03-05'],
  ]);
  const host = connected(sheet);
  host.run('sendAndSuggest');
  assert.match(host.toasts[0] ?? host.alerts[0], /^3 new, 0 changed, 0 unchanged, 0 rejected\. 3 suggestions\.$/);
  const items = (await api(host.key, '/v1/listings?sort=ref')).items;
  assert.deepEqual(items.map((r) => [r.ref, r.flaws, r.maker, r.ask]), [['-7', '+5', "'=2", 480.5], ['007', '1E5', '2026-03-05', 480], ['=1+1', '@A1', '-3', 480]]);
  host.run('sendRows');
  assert.equal(host.toasts[1], '0 new, 0 changed, 3 unchanged, 0 rejected.');
  assert.ok(!JSON.stringify([sheet.values, sheet.notes]).includes(host.key));
});

test('rows on file that are not in the sheet are added, and come back unchanged', async () => {
  const key = group();
  const demo = execFileSync(program, ['demo', 'rows']);
  await fetch(url + '/v1/imports?commit=true', { method: 'POST', body: demo, headers: { Authorization: `Bearer ${key}`, 'Content-Type': 'text/csv' } });
  await api(key, '/v1/listings', { method: 'POST', body: { ref: '=1+1', category: 'desk', listed_on: '2026-03-05', ask: 480.5, flaws: '007', maker: '-3', notes: 'May 5', smell: 'true' } });
  const header = parseCsv(await api(key, '/v1/listings.csv'))[0];
  const middle = header.length >> 1;
  const titles = [...header.slice(0, middle), 'mine', ...header.slice(middle)];
  const sheet = new Sheet([titles, titles.map((n) => ({ ref: 'N-1', category: 'desk', stage: 'found' })[n] ?? '')]);
  const host = connected(sheet, key);
  host.run('getRows');
  const n = parseCsv(await api(key, '/v1/listings.csv')).length - 1;
  assert.deepEqual([host.toasts, host.alerts], [[`${n} rows added.`], []]);
  assert.deepEqual(sheet.writes, ['values', 'values'], 'one write on each side of a column that is not ours');
  assert.equal(sheet.column('ref')[0], 'N-1');
  host.run('getRows');
  assert.equal(host.toasts[1], '0 rows added.');
  const before = await api(key, '/v1/listings.csv');
  host.run('sendRows');
  assert.equal(host.toasts[2] ?? host.alerts[0], `1 new, 0 changed, ${n} unchanged, 0 rejected.`);
  assert.deepEqual((await api(key, '/v1/listings.csv')).split('\r\n').filter((l) => !l.includes('N-1')), before.split('\r\n'));
});
