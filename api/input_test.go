package api_test

import (
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"testing"

	"askwright/api/web"
	"askwright/service/servicetest"
)

func TestBadBodies(t *testing.T) {
	s := setup(t)
	key := s.Keys["Wilda"]
	deep := strings.Repeat("[", 100_000) + strings.Repeat("]", 100_000)
	long := strings.Repeat("x", 10<<20)
	rowWith := func(column, value string) string {
		return `{"ref":"B-1","category":"desk","listed_on":"2026-03-01","ask":100,"` + column + `":` + value + `}`
	}
	for _, test := range []struct {
		name, body    string
		status        int
		kind, pointer string
	}{
		{"nothing", " ", 400, "malformed", ""},
		{"cut off", `{"ref":"B-1"`, 400, "malformed", ""},
		{"no JSON", `ref=B-1`, 400, "malformed", ""},
		{"two values", `{"ref":"B-1"} {}`, 400, "malformed", ""},
		{"trailing comma", `{"ref":"B-1",}`, 400, "malformed", ""},
		{"deep", deep, 400, "malformed", ""},
		{"deep in a row", rowWith("notes", deep), 400, "malformed", ""},
		{"NaN", rowWith("width", "NaN"), 400, "malformed", "/width"},
		{"Infinity", rowWith("width", "Infinity"), 400, "malformed", "/width"},
		{"NaN as text", rowWith("width", `"NaN"`), 422, "invalid", "/width"},
		{"same name twice", rowWith("ref", `"B-2"`), 400, "malformed", "/ref"},
		{"NUL byte", rowWith("notes", "\"a\x00b\""), 400, "malformed", ""},
		{"escaped NUL", rowWith("notes", `"a\u0000b"`), 400, "malformed", "/notes"},
		{"not UTF-8", rowWith("notes", "\"a\xff\""), 400, "malformed", ""},
		{"an array", `[{"ref":"B-1"}]`, 422, "invalid", ""},
		{"unknown column", rowWith("colour", `"navy"`), 422, "invalid", "/colour"},
		{"other case", rowWith("Color", `"navy"`), 422, "invalid", "/Color"},
		{"a bool", rowWith("color", `true`), 422, "invalid", "/color"},
		{"an object", rowWith("width", `{"in":3}`), 422, "invalid", "/width"},
		{"an array in a cell", rowWith("width", `[3]`), 422, "invalid", "/width"},
		{"10 MB in one value", rowWith("notes", `"`+long+`"`), 413, "too-large", ""},
		{"a long text", rowWith("notes", `"`+long[:100_000]+`"`), 422, "invalid", "/notes"},
		{"no such day", rowWith("ended_on", `"2026-02-30"`), 422, "invalid", "/ended_on"},
		{"tomorrow", rowWith("bought_on", `"2026-04-01"`), 422, "invalid", "/bought_on"},
		{"negative width", rowWith("width", `-3`), 422, "invalid", "/width"},
		{"no width", rowWith("width", `0`), 422, "invalid", "/width"},
		{"40 m", rowWith("width", `"4000 cm"`), 422, "invalid", "/width"},
		{"1e3", rowWith("purchase_cost", `1e3`), 422, "invalid", "/purchase_cost"},
		{"huge", rowWith("purchase_cost", `1e999999`), 422, "invalid", "/purchase_cost"},
		{"a third of a cent", rowWith("purchase_cost", `0.333`), 422, "invalid", "/purchase_cost"},
		{"another currency", rowWith("purchase_cost", `"€ 12"`), 422, "invalid", "/purchase_cost"},
		{"sold before it was listed", `{"ref":"B-1","category":"desk","listed_on":"2026-03-01","ask":100,"outcome":"sold","ended_on":"2026-02-20","sale_price":90}`, 422, "invalid", "/ended_on"},
		{"overlapping pauses", rowWith("pauses", `"2026-03-05/2026-03-12;2026-03-10/.."`), 422, "invalid", "/pauses"},
		{"a pause before it was listed", rowWith("pauses", `"2026-02-05/2026-03-12"`), 422, "invalid", "/pauses"},
		{"unknown outcome", rowWith("outcome", `"gone"`), 422, "invalid", "/outcome"},
		{"nothing in it", `{}`, 422, "invalid", "/ref"},
	} {
		t.Run(test.name, func(t *testing.T) {
			r := s.do(t, call{method: "POST", path: "/v1/listings", key: key, body: test.body})
			p := wantProblem(t, r, test.status, test.kind)
			if test.pointer != "" && (len(p.Errors) == 0 || p.Errors[0].Pointer != "#"+test.pointer) {
				t.Errorf("pointer %+v, want %q", p.Errors, test.pointer)
			}
			if len(r.body) > 5000 {
				t.Errorf("the answer has %d bytes", len(r.body))
			}
		})
	}
	for _, header := range []string{"text/plain", "application/xml", "", "application/json; charset=latin-1", "json"} {
		r := s.do(t, call{method: "POST", path: "/v1/listings", key: key, body: sideboard, header: []string{"Content-Type", header}})
		wantProblem(t, r, 415, "unsupported-media-type")
	}
	if n := len(want[struct{ Items []row }](t, s.do(t, call{method: "GET", path: "/v1/listings", key: key}), 200).Items); n != 0 {
		t.Errorf("%d rows landed", n)
	}
}

// One subject that cannot be read leaves the others their answers, in their places.
func TestEachSubjectHasItsOwnErrors(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	type answer struct {
		Ref       string
		Refusal   *struct{ Reason string }
		Sentences []any
		Errors    []web.ProblemError
	}
	const good, bad = `{"ref":"G-1","category":"desk"}`, `{"ref":"B-1","category":"desk","width":"wide"}`
	for _, path := range []string{"/v1/suggestions", "/v1/purchase-limits"} {
		post := func(subjects, more string, header ...string) reply {
			return s.do(t, call{method: "POST", path: path, key: key, body: `{"subjects":[` + subjects + `]` + more + `}`, header: header})
		}
		items := want[struct{ Items []answer }](t, post(good+","+bad+","+good, ""), 200).Items
		if len(items) != 3 {
			t.Fatalf("%s: %d answers, want 3", path, len(items))
		}
		for i, item := range items {
			if i == 1 {
				if len(item.Errors) != 1 || item.Errors[0].Pointer != "#/subjects/1/width" || item.Errors[0].Row != 2 || item.Ref != "B-1" || len(item.Sentences) > 0 {
					t.Errorf("%s: %+v, want what is wrong with the width, and nothing else", path, item)
				}
			} else if item.Errors == nil || len(item.Errors) > 0 || item.Refusal == nil || item.Ref != "G-1" {
				t.Errorf("%s: %+v, want an answer", path, item)
			}
		}
		for _, r := range []reply{post(bad+","+bad, ""), post(good+","+bad, "", "Accept", "text/csv")} {
			if p := wantProblem(t, r, 422, "invalid"); !strings.HasPrefix(p.Errors[len(p.Errors)-1].Pointer, "#/subjects/1/") {
				t.Errorf("%s: pointers of %+v", path, p.Errors)
			}
		}
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"subjects":[` + good + `],"and_if":{"width":"wide"}}`}), 422, "invalid")
}

func TestUnknownNamesAreGuessed(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	for _, test := range []struct{ path, body, guess string }{
		{"/v1/listings", `{"ref":"B-1","colr":"navy"}`, "color"},
		{"/v1/suggestions", `{"subjects":[],"within_day":3}`, "within_days"},
		{"/v1/suggestions", `{"subjects":[{"category":"desk","widht":3}]}`, "width"},
		{"/v1/keys", `{"scop":"read"}`, "scope"},
	} {
		p := wantProblem(t, s.do(t, call{method: "POST", path: test.path, key: key, body: test.body}), 422, "invalid")
		if !strings.Contains(p.Detail, "did you mean "+test.guess+"?") {
			t.Errorf("%s: %q names no %s", test.body, p.Detail, test.guess)
		}
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"subjects":[]}`}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"subjects":[{"category":"desk"}],"within_days":0}`}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"subjects":[{"id":"` + zeroID + `"}]}`}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/comparables", key: key}), 400, "malformed")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/comparables?category=desk&width=wide", key: key}), 400, "malformed")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/comparables?category=desk&notes=x", key: key}), 400, "malformed")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reviews?state=old", key: key}), 400, "malformed")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reviews?as_of=2026-04-02", key: key}), 400, "malformed")
}

// imported sends a file.
func (s *site) imported(t *testing.T, query, mediaType, body string) reply {
	t.Helper()
	return s.do(t, call{method: "POST", path: landing(query), key: s.Keys["Wilda"], body: body, header: []string{"Content-Type", mediaType}})
}

type counts struct {
	Received, Created, Updated, Unchanged, Rejected int
	Errors                                          []struct {
		Row                 int
		Ref, Column, Detail string
	}
	NewValues []struct{ Column, Value, Nearest string } `json:"new_values"`
}

const mixedFile = "Ref;Category;Listed_On;Ask;Color;;\r\n" +
	"B-1;desk;2026-03-01;100;nawy;;\r\n" +
	"B-2;desk;2026-02-30;100;navy;;\r\n" +
	";;;;;;\r\n" +
	"B-1;desk;2026-03-02;90;navy;;\r\n" +
	"\"B-5\";\"side;board\";2026-03-02;90;navy;;\r\n" +
	"B-6;desk;2026-03-02;90;navy;;;x\r\n"

func TestImport(t *testing.T) {
	t.Parallel()
	s := setup(t)
	dry := want[counts](t, s.imported(t, "?dry_run=true", "text/csv", mixedFile), 200)
	atomic := wantProblem(t, s.imported(t, "?atomic=true", "text/csv", mixedFile), 422, "nothing-landed")
	if atomic.Received != 5 || atomic.Rejected != 3 {
		t.Errorf("atomic: %+v", atomic)
	}
	got := want[counts](t, s.imported(t, "", "text/csv", mixedFile), 200)
	if got.Received != 5 || got.Created != 2 || got.Rejected != 3 || len(got.Errors) != 3 {
		t.Fatalf("counts %+v", got)
	}
	if dry.Created != got.Created || dry.Rejected != got.Rejected || len(dry.NewValues) != len(got.NewValues) {
		t.Errorf("the dry run said %+v, the import %+v", dry, got)
	}
	for i, wanted := range []struct {
		row    int
		column string
	}{{2, "listed_on"}, {4, "ref"}, {6, ""}} {
		if e := got.Errors[i]; e.Row != wanted.row || e.Column != wanted.column {
			t.Errorf("error %d: %+v, want row %d, column %q", i, e, wanted.row, wanted.column)
		}
	}
	if v := got.NewValues; len(v) != 2 || v[0].Value != "nawy" || v[0].Nearest != "navy" {
		t.Errorf("new values %+v", v)
	}
	again := want[counts](t, s.imported(t, "", "text/csv", mixedFile), 200)
	if again.Created != 0 || again.Unchanged != 2 {
		t.Errorf("sent again: %+v", again)
	}
	export := s.do(t, call{method: "GET", path: "/v1/listings.csv", key: s.Keys["Wilda"]}).body
	if back := want[counts](t, s.imported(t, "", "text/csv", export), 200); back.Unchanged != 2 || back.Rejected != 0 {
		t.Errorf("the export sent back: %+v", back)
	}
	rows := s.do(t, call{method: "GET", path: "/v1/listings", key: s.Keys["Wilda"]}).body
	rows = strings.TrimSuffix(strings.TrimPrefix(rows, `{"items":`), `,"next":null}`)
	if back := want[counts](t, s.imported(t, "", "application/json", rows), 200); back.Unchanged != 2 {
		t.Errorf("the JSON list sent back: %+v", back)
	}
}

func TestImportOfJSONRows(t *testing.T) {
	t.Parallel()
	s := setup(t)
	got := want[counts](t, s.imported(t, "", "application/json", `[{"ref":"J-1","category":"desk","stage":"found"},{"ref":"J-2","category":true},7,{},{"ref":"J-3","category":"desk","stage":"found","width":null}]`), 200)
	if got.Received != 4 || got.Created != 2 || got.Rejected != 2 || got.Errors[0].Row != 2 || got.Errors[0].Column != "category" || got.Errors[1].Row != 3 {
		t.Errorf("counts %+v", got)
	}
}

func TestBadFiles(t *testing.T) {
	s := setup(t)
	for _, test := range []struct {
		name, query, mediaType, body string
		status                       int
		kind, detail                 string
	}{
		{"unknown column", "", "text/csv", "ref,categry\nB-1,desk\n", 422, "invalid", "did you mean category?"},
		{"unknown column in JSON", "", "application/json", `[{"ref":"B-1","categry":"desk"}]`, 422, "invalid", "did you mean category?"},
		{"column twice", "", "text/csv", "ref,category,Ref\nB-1,desk,B-1\n", 422, "invalid", "twice"},
		{"no header", "", "text/csv", "\n\n", 400, "malformed", "first line"},
		{"quote never ends", "", "text/csv", "ref,category\nB-1,\"desk\n", 400, "malformed", "row 1"},
		{"UTF-16", "", "text/csv", "\xff\xfer\x00e\x00f\x00", 400, "malformed", "UTF-16"},
		{"an object", "", "application/json", `{"ref":"B-1"}`, 400, "malformed", "array"},
		{"cut off", "", "application/json", `[{"ref":"B-1","category":"desk","stage":"found"}`, 400, "malformed", "too early"},
		{"not UTF-8", "", "application/json", "[{\"ref\":\"B-\xff\"}]", 400, "malformed", "UTF-8"},
		{"more after it", "", "application/json", `[] []`, 400, "malformed", "more text"},
		{"name twice", "", "application/json", `[{"ref":"B-1","ref":"B-2"}]`, 400, "malformed", "/0/ref"},
		{"decimal for JSON", "?decimal=,", "application/json", `[]`, 400, "malformed", "decimal"},
		{"unknown parameter", "?atomc=true", "text/csv", "ref\n", 400, "malformed", "atomic"},
		{"a form", "", "multipart/form-data", "x", 415, "unsupported-media-type", "text/csv"},
		{"a bad cell in each row", "", "text/csv", "ref,category,width,stage\nB-1,desk,-1,found\nB-2,desk,40000,found\n", 422, "nothing-landed", "row 1"},
		{"bytes that are no text", "", "text/csv", "ref,category,stage,notes\nB-1,desk,found,\xff\n", 422, "nothing-landed", "UTF-8"},
		{"NUL in a cell", "", "text/csv", "ref,category,stage,notes\nB-1,desk,found,a\x00b\n", 422, "nothing-landed", "NUL"},
		{"NUL in the ref", "", "text/csv", "ref,category,stage\nB\x001,desk,found\n", 422, "nothing-landed", "NUL"},
		{"10 MB in one cell", "", "text/csv", "ref,category,stage,notes\nB-1,desk,found," + strings.Repeat("x", 10<<20) + "\n", 422, "nothing-landed", "longer than"},
		{"text after a quote", "", "text/csv", "ref,category,stage\nB-1,\"desk\"x,found\n", 422, "nothing-landed", "closing quote"},
		{"text in a nameless column", "", "text/csv", "ref,category,,stage\nB-1,desk,x,found\n", 422, "nothing-landed", "no name"},
		{"another member's row", "", "text/csv", "ref,category,stage,member\nB-1,desk,found,Otto\n", 422, "nothing-landed", "Otto"},
	} {
		t.Run(test.name, func(t *testing.T) {
			p := wantProblem(t, s.imported(t, test.query, test.mediaType, test.body), test.status, test.kind)
			if !strings.Contains(p.Detail, test.detail) {
				t.Errorf("detail %q, want %q in it", p.Detail, test.detail)
			}
		})
	}
	if n := len(want[struct{ Items []row }](t, s.do(t, call{method: "GET", path: "/v1/listings", key: s.Keys["Wilda"]}), 200).Items); n != 0 {
		t.Errorf("%d rows landed", n)
	}
	ignoring := want[counts](t, s.imported(t, "?unknown_columns=ignore", "text/csv", "ref,shoe,category,stage\nB-1,9,desk,found\n"), 200)
	if ignoring.Created != 1 {
		t.Errorf("unknown columns ignored: %+v", ignoring)
	}
}

// A file over the limit is refused whole, and leaves no file behind.
func TestImportLimits(t *testing.T) {
	s := newSite(t, servicetest.New(t, "Wilda"), web.Limits{RequestsPerMinute: 100_000, ImportRows: 700, ImportBytes: 100_000})
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	var file strings.Builder
	file.WriteString("ref,category,stage\n")
	for i := range 701 {
		fmt.Fprintf(&file, "R-%d,desk,found\n", i)
	}
	wantProblem(t, s.imported(t, "", "text/csv", file.String()), 413, "too-large")
	wantProblem(t, s.imported(t, "", "text/csv", file.String()+strings.Repeat(",,\n", 50_000)), 413, "too-large")
	if n := len(want[struct{ Items []row }](t, s.do(t, call{method: "GET", path: "/v1/listings", key: s.Keys["Wilda"]}), 200).Items); n != 0 {
		t.Errorf("%d rows of a refused file landed", n)
	}
	if left, err := filepath.Glob(filepath.Join(folder, "askwright-import-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
	fits := strings.Join(strings.Split(file.String(), "\n")[:701], "\n")
	if got := want[counts](t, s.imported(t, "", "text/csv", fits), 200); got.Created != 700 {
		t.Errorf("700 rows: %+v", got)
	}
}

// A body without a length is held to the limit, too.
func TestBodyWithoutLength(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.New(t, "Wilda"), web.Limits{BodyBytes: 1000})
	r, err := http.NewRequestWithContext(t.Context(), "POST", s.server.URL+"/v1/listings", struct{ *strings.Reader }{strings.NewReader(`{"notes":"` + strings.Repeat("x", 5000) + `"}`)})
	if err != nil {
		t.Fatal(err)
	}
	r.ContentLength = -1
	r.Header.Set("Authorization", "Bearer "+s.Keys["Wilda"])
	r.Header.Set("Content-Type", "application/json")
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if response.StatusCode != 413 {
		t.Errorf("status %d", response.StatusCode)
	}
}
