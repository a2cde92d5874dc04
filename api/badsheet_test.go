package api_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"askwright/api/web"
	"askwright/service/servicetest"
)

// sheetOf writes rows as a workbook, each value as what it is.
func sheetOf(t testing.TB, rows [][]any) *excelize.File {
	t.Helper()
	book := excelize.NewFile()
	t.Cleanup(func() { book.Close() })
	for i, row := range rows {
		if err := book.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
			t.Fatal(err)
		}
	}
	return book
}

// csvOf writes the rows as a CSV without quotes.
func csvOf(rows [][]any, delimiter, end string) string {
	var out strings.Builder
	for _, row := range rows {
		for i, v := range row {
			if i > 0 {
				out.WriteString(delimiter)
			}
			if v != nil {
				fmt.Fprint(&out, v)
			}
		}
		out.WriteString(end)
	}
	return out.String()
}

// What people do to a sheet, as a workbook and as CSV. Each row lands, or an
// error says which, in which column and why.
func TestBadSheets(t *testing.T) {
	t.Parallel()
	header := []any{"ref", "category", "listed_on", "ask"}
	good, another := []any{"B-1", "desk", "2026-03-01", 480}, []any{"B-2", "desk", "2026-03-02", 310}
	for _, test := range []struct {
		name   string
		rows   [][]any
		merge  [2]string // of the workbook
		csv    string    // the file, where it is another than the rows
		query  string    // of the CSV
		book   string    // the outcome of the workbook: counts and errors
		asText string    // of the CSV
	}{
		{
			name: "blank rows in the middle", rows: [][]any{header, good, {}, {nil, nil, nil, nil}, another},
			book: "2 new", asText: "2 new",
		},
		{
			name: "a total at the end", rows: [][]any{header, good, another, {"Total", nil, nil, 790}, {nil, nil, "Sum", 790}},
			book:   "2 new; 3 ref Sheet1!A4 this looks like a row of totals: it has amounts and no category; leave it out; 4 ref Sheet1!A5 this looks like a row of totals: it has amounts and no category; leave it out",
			asText: "2 new; 3 ref this looks like a row of totals: it has amounts and no category; leave it out; 4 ref this looks like a row of totals: it has amounts and no category; leave it out",
		},
		{
			// 46083 is 2026-03-02, ECMA-376 part 1, 18.17.4.1
			name: "dates as serial days", rows: [][]any{header, good, {"B-2", "desk", 46083, 310}},
			book:   "2 new",
			asText: "1 new; 2 listed_on 46083 looks like a spreadsheet's serial day number; format the column as a date like 2026-03-05",
		},
		{
			name: "numbers as text", rows: [][]any{header, {"B-1", "desk", "2026-03-01", "480"}, {"B-2", "desk", "2026-03-02", " $1310.50 "}, {"B-3", "desk", "2026-03-02", "310 or so"}},
			book:   `2 new; 3 ask Sheet1!D4 "310 or so" is not an amount in USD: expected a plain number such as 480.50`,
			asText: `2 new; 3 ask "310 or so" is not an amount in USD: expected a plain number such as 480.50`,
		},
		{
			name: "a renamed column", rows: [][]any{{"ref", "category", "listed", "ask"}, good},
			book:   "422 listed: is no column; did you mean listed_on? (sheet Sheet1, row 1)",
			asText: "422 listed: is no column; did you mean listed_on?",
		},
		{
			name: "merged cells", rows: [][]any{header, good, another, {nil, "desk", "2026-03-02", 90}}, merge: [2]string{"A3", "A4"},
			book:   "1 new; 2 ref Sheet1!A3 the cells A3:A4 are merged; split them and give each its own value; 3 ref Sheet1!A4 the cells A3:A4 are merged; split them and give each its own value",
			asText: "2 new; 3 ref is missing: give each row a name of your own, such as B-17",
		},
		{
			name: "semicolons and decimal commas", csv: "ref;category;listed_on;ask;width\r\nB-1;desk;2026-03-01;1.480,50;35,5\r\n", query: "?decimal=,",
			asText: "1 new",
		},
		{
			name: "the decimal mark is not told", csv: "ref;category;listed_on;ask;width\r\nB-1;desk;2026-03-01;480;35\r\nB-2;desk;2026-03-01;1,250;35\r\n",
			asText: `1 new; 2 ask "1,250" has a comma, and ; is between the cells: say with decimal=, or decimal=. in the address which is the decimal mark`,
		},
		{
			name: "a decimal comma under a point", csv: "ref,category,listed_on,ask\r\nB-1,desk,2026-03-01,\"480,50\"\r\n",
			asText: `422 row 1, ask: "480,50" is not an amount in USD: expected a number with the decimal mark '.'`,
		},
		{name: "a byte order mark", csv: "\uFEFFref,category,listed_on,ask\r\nB-1,desk,2026-03-01,480\r\n", asText: "1 new"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			s := setup(t)
			if test.book != "" {
				book := sheetOf(t, test.rows)
				if test.merge[0] != "" {
					if err := book.MergeCell("Sheet1", test.merge[0], test.merge[1]); err != nil {
						t.Fatal(err)
					}
				}
				if got := became(t, s.importBook(t, "Wilda", "", save(t, book))); got != test.book {
					t.Errorf("workbook: %s\nwant %s", got, test.book)
				}
			}
			if test.csv == "" {
				test.csv = csvOf(test.rows, ",", "\r\n")
			}
			if got := became(t, s.do(t, call{
				method: "POST", path: landing(test.query), key: s.Keys["Otto"], body: test.csv, header: []string{"Content-Type", "text/csv"},
			})); got != test.asText {
				t.Errorf("CSV: %s\nwant %s", got, test.asText)
			}
		})
	}
}

// became sums up an import in a line.
func became(t *testing.T, r reply) string {
	t.Helper()
	if r.StatusCode != 200 {
		return strconv.Itoa(r.StatusCode) + " " + r.checkProblem(t).Detail
	}
	got := want[landed](t, r, 200)
	text := strconv.Itoa(got.Created) + " new"
	for _, e := range got.Errors {
		text += fmt.Sprintf("; %d %s", e.Row, strings.Join(strings.Fields(e.Column+" "+e.Cell+" "+e.Detail), " "))
	}
	return text
}

// Texts that look like formulas, numbers, escapes or markup are the same after
// an export and an import, as CSV and as a workbook. (Texts are trimmed and kept
// in NFC on every way in.)
func TestTextsComeBackFromBothExports(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.New(t, "Wilda"), web.Limits{RequestsPerMinute: 100_000})
	key := s.Keys["Wilda"]
	text := rapid.OneOf(
		rapid.StringOfN(rapid.RuneFrom([]rune("'=+-@,;\"\n<&_x0041é ")), 1, 12, -1),
		rapid.SampledFrom([]string{"=1+1", "'=1+1", "''=1", "@A1", "+1", "-1", "007", "1E5", "2026-03-05", "true", "_x0041_", "a\r\nb", "tab\there", "12345678901234567890"}),
	)
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		flaws, maker := text.Draw(rt, "flaws"), text.Draw(rt, "maker")
		ref := fmt.Sprintf("%s%d", rapid.SampledFrom([]string{"=", "'", "+", "-", "@", "R", "0"}).Draw(rt, "ref"), n)
		made := s.create(t, "Wilda", fmt.Sprintf(`{"ref":%q,"category":"desk","stage":"found","flaws":%s,"maker":%s}`, ref, quote(t, flaws), quote(t, maker)))
		for _, path := range []string{"/v1/listings.csv", "/v1/listings.csv?delimiter=;&decimal=,&bom=true", "/v1/listings.xlsx"} {
			join := "?"
			if strings.Contains(path, "?") {
				join = "&"
			}
			export := s.do(t, call{method: "GET", path: path + join + "ref=" + url.QueryEscape(ref), key: key})
			query := ""
			if strings.Contains(path, "decimal") {
				query = "?decimal=,"
			}
			back := want[landed](t, s.do(t, call{
				method: "POST", path: landing(query), key: key, body: export.body,
				header: []string{"Content-Type", strings.Split(export.Header.Get("Content-Type"), ";")[0]},
			}), 200)
			if back.Unchanged != 1 || back.Received != 1 {
				rt.Fatalf("%s: %+v of %v", path, back, made)
			}
		}
	})
}

func quote(t testing.TB, text string) string {
	t.Helper()
	out, err := json.Marshal(text)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// A request that is cut off half way leaves nothing; sent again it lands, and
// sent once more it changes nothing.
func TestACutOffImport(t *testing.T) {
	t.Parallel()
	rows := [][]any{{"ref", "category", "listed_on", "ask"}}
	for i := range 1500 {
		rows = append(rows, []any{fmt.Sprintf("C-%d", i), "desk", "2026-03-01", 100 + i})
	}
	objects := make([]string, 1500)
	for i, row := range rows[1:] {
		objects[i] = fmt.Sprintf(`{"ref":%q,"category":"desk","listed_on":"2026-03-01","ask":%d}`, row[0], row[3])
	}
	for kind, body := range map[string]string{
		"text/csv": csvOf(rows, ",", "\r\n"), xlsx: string(save(t, sheetOf(t, rows))), "application/json": "[" + strings.Join(objects, ",") + "]",
	} {
		t.Run(kind, func(t *testing.T) {
			t.Parallel()
			s := setup(t)
			for _, chunked := range []bool{false, true} {
				s.cutOff(t, kind, body, chunked)
				if n := s.Select(t, "select count(*)::text from askwright.listing")[0]; n != "0" {
					t.Fatalf("%s rows landed of half a request", n)
				}
			}
			again := func() landed {
				return want[landed](t, s.do(t, call{method: "POST", path: landing(""), key: s.Keys["Wilda"], body: body, header: []string{"Content-Type", kind}}), 200)
			}
			if got := again(); got.Created != 1500 {
				t.Errorf("sent again: %+v", got)
			}
			if got := again(); got.Unchanged != 1500 {
				t.Errorf("sent once more: %+v", got)
			}
		})
	}
}

// cutOff sends the head and half of the body, and says no more.
func (s *site) cutOff(t *testing.T, kind, body string, chunked bool) {
	t.Helper()
	c, err := (&net.Dialer{}).DialContext(t.Context(), "tcp", s.server.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	half := body[:len(body)/2]
	head := "POST /v1/imports?commit=true HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer " + s.Keys["Wilda"] + "\r\nContent-Type: " + kind + "\r\n"
	if chunked {
		half = head + fmt.Sprintf("Transfer-Encoding: chunked\r\n\r\n%x\r\n", len(half)) + half + "\r\n"
	} else {
		half = head + fmt.Sprintf("Content-Length: %d\r\n\r\n", len(body)) + half
	}
	if _, err := io.WriteString(c, half); err != nil {
		t.Fatal(err)
	}
	if err := c.(*net.TCPConn).CloseWrite(); err != nil {
		t.Fatal(err)
	}
	response, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		return // closed without an answer: nothing more to see
	}
	defer response.Body.Close()
	if response.StatusCode != 400 {
		t.Errorf("half a request is answered with %d", response.StatusCode)
	}
}

// Every member's copy of a row tells the revision it was made from: of two who
// edit at once the first lands, the second is told which rows, and the rest of
// the second's lands all the same. As CSV; the workbook's test is beside it.
func TestTwoEditAtOnce(t *testing.T) {
	t.Parallel()
	s := setup(t)
	for _, ref := range []string{"E-1", "E-2", "E-3"} {
		s.create(t, "Wilda", `{"ref":"`+ref+`","category":"desk","listed_on":"2026-03-01","ask":300,"flaws":"none"}`)
	}
	export := s.do(t, call{method: "GET", path: "/v1/listings.csv?sort=ref&fields=ref,ask,flaws,revision", key: s.Keys["Wilda"]}).body
	first := strings.Replace(export, "E-2,300.00,none", "E-2,300.00,a scratch", 1)
	second := strings.Replace(strings.Replace(export, "E-2,300.00,none", "E-2,300.00,a dent", 1), "E-3,300.00,none", "E-3,300.00,a stain", 1)
	send := func(body string) landed {
		return want[landed](t, s.do(t, call{method: "POST", path: landing(""), key: s.Keys["Wilda"], body: body, header: []string{"Content-Type", "text/csv"}}), 200)
	}
	if got := send(first); got.Updated != 1 || got.Unchanged != 2 {
		t.Errorf("the first: %+v", got)
	}
	if got := send(first); got.Unchanged != 3 { // its answer was lost; RFC 9110, 13.1.1: it can be told that it was done
		t.Errorf("the first, sent again: %+v", got)
	}
	got := send(second)
	if got.Updated != 1 || got.Unchanged != 1 || got.Rejected != 1 || got.Errors[0].Ref != "E-2" || got.Errors[0].Column != "revision" || got.Errors[0].Row != 2 {
		t.Errorf("the second: %+v", got)
	}
	after := s.do(t, call{method: "GET", path: "/v1/listings.csv?sort=ref&fields=flaws", key: s.Keys["Wilda"]}).body
	if after != "flaws\r\nnone\r\na scratch\r\na stain\r\n" {
		t.Errorf("on file: %q", after)
	}
}
