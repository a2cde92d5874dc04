package rowfile

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"askwright/api/web"
	"askwright/service"
)

// pair is a row of two texts.
type pair [2]string

var pairColumns = []web.TableColumn[pair]{
	{Name: "ref", Kind: web.TextCell, Value: func(p pair) string { return p[0] }},
	{Name: "notes", Kind: web.TextCell, Value: func(p pair) string { return p[1] }},
}

func asCSV(rows []pair, o web.TableOptions) string {
	var out bytes.Buffer
	t := web.NewTable(&out, pairColumns, o)
	for _, r := range rows {
		if err := t.Row(r); err != nil {
			panic(err) // a buffer takes everything
		}
	}
	if err := t.End(); err != nil {
		panic(err)
	}
	return out.String()
}

// What an export holds comes back on import, whatever the text (trimmed, as on
// every way in).
func TestExportAndImportAreInverse(t *testing.T) {
	text := rapid.OneOf(rapid.String(), rapid.StringOf(rapid.RuneFrom([]rune("'=+-@＝＋－＠\uFEFF\u200B,;\t\"\r\n ax"))))
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) pair {
			return pair{strings.TrimSpace(text.Draw(t, "ref")), strings.TrimSpace(text.Draw(t, "notes"))}
		}), 1, 5).Draw(t, "rows")
		o := web.TableOptions{Delimiter: rapid.SampledFrom([]string{",", ";", "\t"}).Draw(t, "delimiter"), BOM: rapid.Bool().Draw(t, "bom")}
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
		records, err := csv.NewReader(strings.NewReader(asCSV(rows, web.TableOptions{Delimiter: ","}))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if wanted := [][]string{{"ref", "notes"}, {web.HideFormula(rows[0][0]), web.HideFormula(rows[0][1])}}; !reflect.DeepEqual(records, wanted) {
			t.Fatalf("got %q, want %q", records, wanted)
		}
	})
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
