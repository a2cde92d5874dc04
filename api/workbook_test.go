package api_test

import (
	"archive/zip"
	"bytes"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/servicetest"
)

const xlsx = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

// landed is an import's answer.
type landed struct {
	Received, Created, Updated, Unchanged, Rejected int
	Errors                                          []struct {
		Row                       int
		Ref, Column, Cell, Detail string
	}
	Revisions map[string]int64
}

func (s *site) importBook(t *testing.T, member, query string, book []byte) reply {
	t.Helper()
	return s.do(t, call{method: "POST", path: landing(query), key: s.Keys[member], body: string(book), header: []string{"Content-Type", xlsx}})
}

func open(t *testing.T, r reply) *excelize.File {
	t.Helper()
	if r.StatusCode != 200 || r.Header.Get("Content-Type") != xlsx {
		t.Fatalf("%d %s %s", r.StatusCode, r.Header.Get("Content-Type"), r.body[:min(200, len(r.body))])
	}
	book, err := excelize.OpenReader(strings.NewReader(r.body))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { book.Close() })
	return book
}

func save(t *testing.T, book *excelize.File) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := book.Write(&out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// column finds the letter of a column in the header.
func column(t *testing.T, book *excelize.File, sheet, name string) string {
	t.Helper()
	rows, err := book.GetRows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	letter, err := excelize.ColumnNumberToName(slices.Index(rows[0], name) + 1)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return letter
}

func TestWorkbook(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Wilda", `{"ref":"B-17","category":"desk","width":60.5,"listed_on":"2026-03-01","ask":1480.5,"flaws":"=1+1","messages":3,"purchase_cost":20}`)
	s.create(t, "Wilda", `{"ref":"Y-1","category":"desk","stage":"found"}`)
	r := s.do(t, call{method: "GET", path: "/v1/listings.xlsx", key: s.Keys["Wilda"]})
	if got := r.Header.Get("Content-Disposition"); got != `attachment; filename="listings.xlsx"` {
		t.Errorf("Content-Disposition %q", got)
	}
	book := open(t, r)
	if got := book.GetSheetList(); !slices.Equal(got, []string{"Listings", "Unlisted", "Columns"}) {
		t.Errorf("sheets %q", got)
	}
	for _, name := range []string{"Listings", "Unlisted", "Columns"} {
		panes, err := book.GetPanes(name)
		if err != nil || !panes.Freeze || panes.YSplit != 1 {
			t.Errorf("%s: header not frozen: %+v %v", name, panes, err)
		}
	}
	filters := 0
	for _, n := range book.GetDefinedName() {
		if n.Name == "_xlnm._FilterDatabase" {
			filters++
		}
	}
	if filters != 3 {
		t.Errorf("%d sheets with filters, want 3", filters)
	}
	for name, wanted := range map[string]string{"listed_on": "2026-03-01", "ask": "USD 1,480.50", "width": "60.5", "flaws": "=1+1", "messages": "3"} {
		cell := column(t, book, "Listings", name) + "2"
		got, err := book.GetCellValue("Listings", cell)
		kind, _ := book.GetCellType("Listings", cell)
		if isText := kind == excelize.CellTypeInlineString || kind == excelize.CellTypeSharedString; err != nil || got != wanted || isText != (name == "flaws") {
			t.Errorf("%s shows %q as type %d, want %q", name, got, kind, wanted)
		}
		if formula, _ := book.GetCellFormula("Listings", cell); formula != "" {
			t.Errorf("%s is a formula: %s", name, formula)
		}
	}
	if got, _ := book.GetCellValue("Unlisted", "A2"); got != "Y-1" {
		t.Errorf("first piece in the yard %q", got)
	}
	others := open(t, s.do(t, call{method: "GET", path: "/v1/listings.xlsx?fields=ref,purchase_cost", key: s.Keys["Otto"]}))
	if rows, _ := others.GetRows("Listings"); len(rows) != 2 || len(rows[1]) != 1 {
		t.Errorf("another member sees %q", rows)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings.xlsx", key: s.keyWith(t, "Wilda", service.ScopeFeed)}), 403, "forbidden")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings.xlsx?limit=3", key: s.Keys["Otto"]}), 400, "malformed")
}

// An export comes back unchanged; of an edited one only what was edited
// changes; somebody else's edit in between is told, not overwritten.
func TestAWorkbookComesBack(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	me := slices.Sorted(maps.Keys(s.Keys))[0]
	before := s.do(t, call{method: "GET", path: "/v1/listings.csv?member=me", key: s.Keys[me]}).body
	rows := len(table(t, s.do(t, call{method: "GET", path: "/v1/listings.csv?member=me", key: s.Keys[me]}))) - 1
	book := open(t, s.do(t, call{method: "GET", path: "/v1/listings.xlsx?member=me&sort=ref", key: s.Keys[me]}))
	got := want[landed](t, s.importBook(t, me, "", save(t, book)), 200)
	if got.Received != rows || got.Unchanged != rows || rows < 50 {
		t.Errorf("%+v, want %d unchanged", got, rows)
	}
	if after := s.do(t, call{method: "GET", path: "/v1/listings.csv?member=me", key: s.Keys[me]}).body; after != before {
		t.Error("the rows are not what they were")
	}
	flaws := column(t, book, "Listings", "flaws")
	for cell, value := range map[string]string{flaws + "2": "a scratch", flaws + "3": "another"} {
		if err := book.SetCellStr("Listings", cell, value); err != nil {
			t.Fatal(err)
		}
	}
	other, err := book.GetCellValue("Listings", column(t, book, "Listings", "id")+"3")
	if err != nil {
		t.Fatal(err)
	}
	s.do(t, call{method: "PATCH", path: "/v1/listings/" + other, key: s.Keys[me], body: `{"flaws":"seen by somebody else"}`})
	got = want[landed](t, s.importBook(t, me, "?revisions=true", save(t, book)), 200)
	if got.Updated != 1 || got.Unchanged != rows-2 || got.Rejected != 1 || got.Errors[0].Column != "revision" || !strings.Contains(got.Errors[0].Detail, "somebody changed") ||
		got.Errors[0].Cell != "Listings!"+column(t, book, "Listings", "revision")+"3" {
		t.Errorf("%+v, want 1 updated, 1 rejected for its revision", got)
	}
	first, _ := book.GetCellValue("Listings", "A2")
	revision, _ := book.GetCellValue("Listings", column(t, book, "Listings", "revision")+"2")
	if told := got.Revisions[first]; len(got.Revisions) != rows-1 || fmt.Sprint(told-1) != revision {
		t.Errorf("%s was at revision %s and is told to be at %d", first, revision, told)
	}
}

// Sheets as people keep them.
func TestASheetAsPeopleKeepIt(t *testing.T) {
	t.Parallel()
	s := setup(t)
	book := excelize.NewFile()
	for i, row := range [][]any{
		{"My furniture"}, {},
		{"Listed on", "REF", " Category ", "ask", "width", "condition", "flaws"},
		{46085, "A-1", "desk", "480", 60, 4, "numbers as text, a serial day"}, // 2026-03-04 after LibreOffice Calc
		{},
		{"2026-03-05", "A-2", "desk", 0.1 + 0.2, "35 1/2\"", nil, nil},
		{"2026-03-05", 7, "desk", "$1,200.50", nil, "good", true},
		{"2026-03-05", "A-4", "desk", "=1/0", nil, nil, nil},
		{"2026-03-05", "A-5", "desk", 100, nil, nil, nil},
		{"2026-03-05", "A-6", "desk", 100, nil, nil, nil},
		{"Total", nil, nil, 1980.5},
		{nil, "Total:", nil, 1980.5},
	} {
		if err := book.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
			t.Fatal(err)
		}
	}
	if err := book.MergeCell("Sheet1", "D9", "D10"); err != nil {
		t.Fatal(err)
	}
	if err := book.MergeCell("Sheet1", "A1", "F1"); err != nil {
		t.Fatal(err)
	}
	text := withError(t, save(t, book))
	got := want[landed](t, s.importBook(t, "Wilda", "", text), 200)
	if got.Received != 8 || got.Created != 3 || got.Rejected != 5 {
		t.Errorf("%d received, %d created, %d rejected; want 8, 3, 5", got.Received, got.Created, got.Rejected)
	}
	wanted := []string{
		"5 ask Sheet1!D8 the cell holds the spreadsheet's error #DIV/0!",
		"6 ask Sheet1!D9 the cells D9:D10 are merged; split them and give each its own value",
		"7 ask Sheet1!D10 the cells D9:D10 are merged; split them and give each its own value",
		"8 ref Sheet1!B11 this looks like a row of totals: it has amounts and no category; leave it out",
		"9 ref Sheet1!B12 this looks like a row of totals: it has amounts and no category; leave it out",
	}
	var errs []string
	for _, e := range got.Errors {
		errs = append(errs, fmt.Sprintf("%d %s %s %s", e.Row, e.Column, e.Cell, e.Detail))
	}
	if !slices.Equal(errs, wanted) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(errs, "\n"), strings.Join(wanted, "\n"))
	}
	onFile := s.do(t, call{method: "GET", path: "/v1/listings.csv?fields=ref,listed_on,ask,width,condition,flaws", key: s.Keys["Wilda"]}).body
	if onFile != "ref,listed_on,ask,width,condition,flaws\r\n7,2026-03-05,1200.50,,good,true\r\nA-1,2026-03-04,480.00,60,very_good,\"numbers as text, a serial day\"\r\nA-2,2026-03-05,0.30,35.5,,\r\n" {
		t.Errorf("on file:\n%s", onFile)
	}
}

// withError turns the text =1/0 into a cell with an error, as a spreadsheet
// saves it.
func withError(t *testing.T, book []byte) []byte {
	t.Helper()
	return rewrite(t, book, "xl/worksheets/sheet1.xml", func(text string) string {
		at := strings.Index(text, `<c r="D8"`)
		end := at + strings.Index(text[at:], "</c>")
		return text[:at] + `<c r="D8" t="e"><f>1/0</f><v>#DIV/0!</v>` + text[end:]
	})
}

func rewrite(t *testing.T, book []byte, name string, change func(string) string) []byte {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, f := range in.File {
		var text bytes.Buffer
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := text.ReadFrom(r); err != nil {
			t.Fatal(err)
		}
		w, err := z.Create(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		body := text.String()
		if f.Name == name {
			body = change(body)
		}
		if _, err := w.Write([]byte(body)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestWorkbooksThatCannotBeTaken(t *testing.T) {
	s := setup(t)
	made := func(rows ...[]any) []byte {
		book := excelize.NewFile()
		for i, row := range rows {
			if err := book.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
				t.Fatal(err)
			}
		}
		return save(t, book)
	}
	good := made([]any{"ref", "category", "stage"}, []any{"A-1", "desk", "found"})
	for name, test := range map[string]struct {
		book   []byte
		status int
		detail string
	}{
		"renamed":     {made([]any{"ref", "Kategory", "ask"}, []any{"A-1", "desk", 3}), 422, `kategory: is no column; did you mean category? (sheet Sheet1, row 1)`},
		"no ref":      {made([]any{"Name", "category", "ask"}, []any{"A-1", "desk", 3}), 400, "no sheet has a header row with the column ref"},
		"empty":       {made(), 400, "no sheet has a header row"},
		"twice":       {made([]any{"ref", "ask", "Ask"}, []any{"A-1", 3, 4}), 422, "stands twice"},
		"no workbook": {[]byte("ref,category\nA-1,desk\n"), 400, "no .xlsx workbook"},
		"cut off":     {good[:len(good)/2], 400, "no .xlsx workbook"},
		"a bomb": {rewrite(t, good, "xl/worksheets/sheet1.xml", func(text string) string {
			return strings.Replace(text, "</sheetData>", strings.Repeat(" ", 70<<20)+"</sheetData>", 1)
		}), 413, "unpacks to more than 64 MB"},
		"no XML": {rewrite(t, good, "xl/worksheets/sheet1.xml", func(string) string { return "<worksheet" }), 400, ""},
	} {
		t.Run(name, func(t *testing.T) {
			r := s.importBook(t, "Wilda", "", test.book)
			if p := r.checkProblem(t); r.StatusCode != test.status || !strings.Contains(p.Detail, test.detail) {
				t.Errorf("%d %q, want %d %q", r.StatusCode, p.Detail, test.status, test.detail)
			}
		})
	}
	random := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		damaged := slices.Clone(good)
		for range 1 + random.IntN(20) {
			damaged[random.IntN(len(damaged))] = byte(random.Uint32())
		}
		if r := s.importBook(t, "Wilda", "?dry_run=true", damaged); r.StatusCode >= 500 {
			t.Fatalf("%d %s", r.StatusCode, r.body)
		}
	}
	if n := s.Select(t, "select count(*)::text from askwright.listing")[0]; n != "0" {
		t.Errorf("%s rows on file, want none", n)
	}
	if r := s.importBook(t, "Wilda", "", good); r.StatusCode != 200 {
		t.Errorf("the good one: %d %s", r.StatusCode, r.body)
	}
}
