package api

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"askwright/service"
)

// pair is a row of two texts.
type pair [2]string

var pairColumns = []tableColumn[pair]{
	{name: "ref", kind: textCell, value: func(p pair) string { return p[0] }},
	{name: "notes", kind: textCell, value: func(p pair) string { return p[1] }},
}

func asCSV(rows []pair, o tableOptions) string {
	var out bytes.Buffer
	t := newTable(&out, pairColumns, o)
	for _, r := range rows {
		if err := t.row(r); err != nil {
			panic(err) // a buffer takes everything
		}
	}
	if err := t.end(); err != nil {
		panic(err)
	}
	return out.String()
}

// What an export holds comes back on import, whatever the text (trimmed, as on
// every way in).
func TestExportAndImportAreInverse(t *testing.T) {
	text := rapid.OneOf(rapid.String(), rapid.StringOf(rapid.RuneFrom([]rune("'=+-@,;\t\"\r\n ax"))))
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) pair {
			return pair{strings.TrimSpace(text.Draw(t, "ref")), strings.TrimSpace(text.Draw(t, "notes"))}
		}), 1, 5).Draw(t, "rows")
		o := tableOptions{Delimiter: rapid.SampledFrom([]string{",", ";", "\t"}).Draw(t, "delimiter"), BOM: rapid.Bool().Draw(t, "bom")}
		r, err := newCSVReader(strings.NewReader(asCSV(rows, o)))
		if err != nil {
			t.Fatal(err)
		}
		names, err := readHeader(r, false)
		if err != nil {
			t.Fatal(err)
		}
		for i, wanted := range rows {
			rec, err := r.next()
			if err != nil {
				t.Fatal(err)
			}
			row := names.row(i+1, rec)
			if got := (pair{row.Cells["ref"], row.Cells["notes"]}); got != wanted || row.Errors != nil {
				t.Fatalf("got %q, want %q (%v)", got, wanted, row.Errors)
			}
		}
		if _, err := r.next(); !errors.Is(err, io.EOF) {
			t.Fatalf("after the last row: %v", err)
		}
	})
}

// Another reader of RFC 4180, encoding/csv, finds the same cells where they
// hold no line breaks, which it rewrites.
func TestAnotherReaderAgrees(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.RuneFrom([]rune("'=+-@,;\t\" axé")))
		rows := []pair{{text.Draw(t, "a"), text.Draw(t, "b")}}
		records, err := csv.NewReader(strings.NewReader(asCSV(rows, tableOptions{Delimiter: ","}))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if wanted := [][]string{{"ref", "notes"}, {hideFormula(rows[0][0]), hideFormula(rows[0][1])}}; !reflect.DeepEqual(records, wanted) {
			t.Fatalf("got %q, want %q", records, wanted)
		}
	})
}

// The strings are those that OWASP lists as triggers in "CSV Injection": =, +,
// -, @; tab and carriage return are trimmed on every way in.
func TestFormulas(t *testing.T) {
	for in, out := range map[string]string{
		"=1+1": "'=1+1", "+1": "'+1", "-1": "'-1", "@A1": "'@A1", "'=1": "''=1", "''x": "''x", "'": "'", "": "", "a=1": "a=1",
	} {
		if got := hideFormula(in); got != out {
			t.Errorf("hideFormula(%q) = %q, want %q", in, got, out)
		}
		if got := showFormula(hideFormula(in)); got != in {
			t.Errorf("%q came back as %q", in, got)
		}
	}
}

// Amounts have the currency's own digits (ISO 4217) and its code; other numbers
// have none of it.
func TestNumberFormatsOfAWorkbook(t *testing.T) {
	for _, test := range []struct {
		code string
		kind cellKind
		text string
		want string
	}{
		{"USD", moneyCell, "1480.50", "[$USD] #,##0.00"}, {"JPY", moneyCell, "48000", "[$JPY] #,##0"}, {"KWD", moneyCell, "-1.250", "[$KWD] #,##0.000"},
		{"JPY", numberCell, "35.5", "#,##0.0"}, {"USD", numberCell, "3", "0"}, {"USD", plainCell, "2026-03-05", "yyyy-mm-dd"},
	} {
		currency, _ := service.CurrencyByCode(test.code)
		book, err := newWorkbook(currency)
		if err != nil {
			t.Fatal(err)
		}
		v, err := book.cell(test.kind, test.text)
		cell, ok := v.(excelize.Cell)
		if err != nil || !ok {
			t.Fatalf("%s: %v, %v", test.text, v, err)
		}
		style, err := book.file.GetStyle(cell.StyleID)
		if err != nil || style.CustomNumFmt == nil || *style.CustomNumFmt != test.want {
			t.Errorf("%s of %s: %+v (%v), want %s", test.text, test.code, style, err, test.want)
		}
		if err := book.file.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestReadRecords(t *testing.T) {
	for _, test := range []struct {
		name, in string
		want     [][]string
	}{
		{"LF", "a,b\nc,d\n", [][]string{{"a", "b"}, {"c", "d"}}},
		{"CRLF, no end", "a,b\r\nc,d", [][]string{{"a", "b"}, {"c", "d"}}},
		{"quoted", "\"a\"\"b\",\"c\r\nd\"\r\n", [][]string{{`a"b`, "c\r\nd"}}},
		{"semicolons", "a;b;c,d\n", [][]string{{"a", "b", "c,d"}}},
		{"as many of both", "a;b,c\n", [][]string{{"a;b", "c"}}},
		{"tabs", "a\tb\n", [][]string{{"a", "b"}}},
		{"quoted delimiter in the header", "\"a;b;c\",d\n", [][]string{{"a;b;c", "d"}}},
		{"BOM", "\uFEFFa,b\n", [][]string{{"a", "b"}}},
		{"inches", "a,b\n36\",5'\n", [][]string{{"a", "b"}, {`36"`, "5'"}}},
		{"space after a quote", "\"a\" ,b\n", [][]string{{"a", "b"}}},
		{"empty line", "a,b\n\nc,d\n", [][]string{{"a", "b"}, {""}, {"c", "d"}}},
		{"empty last cell", "a,\n", [][]string{{"a", ""}}},
	} {
		t.Run(test.name, func(t *testing.T) {
			r, err := newCSVReader(strings.NewReader(test.in))
			if err != nil {
				t.Fatal(err)
			}
			var got [][]string
			for {
				rec, err := r.next()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				got = append(got, rec.cells)
			}
			if diff := cmp.Diff(test.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func FuzzCSV(f *testing.F) {
	for _, seed := range []string{"", "ref,ask\nB-1,480\n", "\uFEFFref;ask\r\n\"B\"\"1\";'=1\r\n", "ref\t\n\"", "a\r", "\"\"\"", "ref,,\n1,2,3,4"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := newCSVReader(strings.NewReader(text))
		if err != nil {
			return
		}
		names, err := readHeader(r, true)
		if err != nil {
			return
		}
		for i := 1; ; i++ {
			rec, err := r.next()
			if err != nil {
				return
			}
			if i > len(text)+1 {
				t.Fatal("more rows than bytes")
			}
			for name := range names.row(i, rec).Cells {
				if _, ok := service.ColumnByName(name); !ok {
					t.Fatalf("a cell for %q, which is no column", name)
				}
			}
		}
	})
}

func FuzzJSON(f *testing.F) {
	for _, seed := range []string{`{}`, `{"ref":"a","ask":1.50}`, `{"ref":null}`, `[1]`, `{"a":{"b":[{}]}}`, `{"ref":"\ud800"}`, `1 2`, "{\"ref\":\"\xff\"}", `{"ref":1e999}`} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var cells Cells
		err := decodeJSON([]byte(text), &cells)
		if err != nil {
			if p := problemOf(err); p.Status != http.StatusBadRequest && p.Status != http.StatusUnprocessableEntity {
				t.Fatalf("status %d for %q", p.Status, text)
			}
			return
		}
		var other map[string]any // what encoding/json takes is more, never less
		d := json.NewDecoder(strings.NewReader(text))
		d.UseNumber()
		if err := d.Decode(&other); err != nil || len(other) != len(cells) {
			t.Fatalf("%q was taken as %v, by encoding/json as %v (%v)", text, cells, other, err)
		}
	})
}

func contextFor(target string) *gin.Context {
	c, _ := gin.CreateTestContext(httptest.NewRecorder())
	c.Request = httptest.NewRequest("GET", target, nil)
	return c
}

func FuzzCursor(f *testing.F) {
	f.Add("", "ref")
	f.Add("e30", "-ask")
	f.Add(cursor{After: []string{"B-17"}}.encode(contextFor("/v1/listings?sort=ref")), "ref")
	f.Fuzz(func(t *testing.T, text, order string) {
		c := contextFor("/v1/listings")
		query := c.Request.URL.Query()
		query.Set("cursor", text)
		query.Set("sort", order)
		c.Request.URL.RawQuery = query.Encode()
		p := paramsOf(c)
		q := service.Query{Sort: p.sort()}
		p.position(c, &q)
		if p.err == nil && q.After != nil && len(q.After) != len(q.Sort) {
			t.Fatalf("%d values for %d columns", len(q.After), len(q.Sort))
		}
	})
}

// The row that is documented is the row that is served.
func TestListingRowIsTheRegistry(t *testing.T) {
	var names []string
	row := reflect.TypeFor[ListingRow]()
	for i := range row.NumField() {
		name, _, _ := strings.Cut(row.Field(i).Tag.Get("json"), ",")
		names = append(names, name)
		column, ok := service.ColumnByName(name)
		if !ok {
			continue
		}
		isNumber := row.Field(i).Type.Kind() != reflect.String
		if isNumber != column.Kind.IsNumeric() {
			t.Errorf("%s is documented as %s, but the registry says numeric: %t", name, row.Field(i).Type, column.Kind.IsNumeric())
		}
		if enums := row.Field(i).Tag.Get("enums"); column.Closed && name != "condition_found" && enums != strings.Join(column.Words, ",") {
			t.Errorf("%s is documented with the values %q, the registry has %v", name, enums, column.Words)
		}
	}
	var registry []string
	for _, c := range service.Columns {
		registry = append(registry, c.Name)
	}
	if diff := cmp.Diff(registry, names); diff != "" {
		t.Errorf("registry against documentation: %s", diff)
	}
}

// Every filter of the service is documented, and no other.
func TestQueriesAreTheService(t *testing.T) {
	var wanted []string
	wanted = append(wanted, service.WordFilters...)
	for _, name := range service.DateFilters {
		wanted = append(wanted, name+"_from", name+"_to")
	}
	for _, name := range service.NumberFilters {
		wanted = append(wanted, name+"_min", name+"_max")
	}
	var got []string
	query := reflect.TypeFor[ListingQuery]()
	for i := range query.NumField() {
		name := query.Field(i).Tag.Get("form")
		if !slices.Contains([]string{"", "member", "piece", "in_the_yard", "sort", "limit", "cursor"}, name) {
			got = append(got, name)
		}
	}
	slices.Sort(wanted)
	slices.Sort(got)
	if diff := cmp.Diff(wanted, got); diff != "" {
		t.Error(diff)
	}
}
