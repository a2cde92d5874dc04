package rowfile

import (
	"archive/zip"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"askwright/api/web"
)

// bookOf is a workbook whose sheets all are the same part.
func bookOf(t *testing.T, sheets int, part string) *os.File {
	t.Helper()
	f := fileOf(t, "")
	out := zip.NewWriter(f)
	put := func(name, text string) {
		w, err := out.Create(name)
		if err == nil {
			_, err = w.Write([]byte(text))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	const office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	var names, relations strings.Builder
	for i := range sheets {
		fmt.Fprintf(&names, `<sheet name="S%d" sheetId="%d" r:id="r%d"/>`, i, i+1, i)
		fmt.Fprintf(&relations, `<Relationship Id="r%d" Type="%s/worksheet" Target="worksheets/sheet1.xml"/>`, i, office)
	}
	put("[Content_Types].xml", `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>`)
	put("_rels/.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="`+office+`/officeDocument" Target="xl/workbook.xml"/></Relationships>`)
	put("xl/workbook.xml", `<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="`+office+`"><sheets>`+names.String()+`</sheets></workbook>`)
	put("xl/_rels/workbook.xml.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">`+relations.String()+`</Relationships>`)
	put("xl/worksheets/sheet1.xml", part)
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	return f
}

// sheetXML is a sheet of rows, each the text of its cells.
func sheetXML(rows ...string) string {
	return `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>` +
		"<row>" + strings.Join(rows, "</row><row>") + "</row></sheetData></worksheet>"
}

func cellsXML(texts ...string) string {
	var out strings.Builder
	for _, text := range texts {
		out.WriteString(`<c t="inlineStr"><is><t>` + text + `</t></is></c>`)
	}
	return out.String()
}

// What a workbook holds is bounded before it is read: small files that unpack
// to much took minutes or gigabytes.
func TestAWorkbookThatHoldsTooMuchIsRefusedAtOnce(t *testing.T) {
	header := cellsXML("ref", "category")
	good := sheetXML(header, cellsXML("B-1", "desk"))
	for _, test := range []struct {
		name, part string
		sheets     int
		reason     string // "": it is read
	}{
		{"one sheet", good, 1, ""},
		{"50 sheets", good, 50, ""},
		{"12,000 sheets of one part", good, 12_000, "more than 50 sheets"},
		{"a header of a million cells", sheetXML(strings.Repeat("<c/>", 1_000_000)), 1, "a row of more than 16384 cells"},
		{"with a prefix", strings.ReplaceAll(sheetXML(strings.Repeat("<c/>", 1_000_000)), "<c", "<x:c"), 1, "a row of more than 16384 cells"},
		{"a header of 501 columns", sheetXML(header + strings.Repeat(cellsXML("x"), 499)), 1, "the header names more than 500 columns"},
		{"a million rows", sheetXML(header + strings.Repeat("</row><row>", 1_000_000)), 1, "more than 200000 rows"},
		{"many wide rows", sheetXML(header + "</row>" + strings.Repeat("<row>"+strings.Repeat("<c/>", 10_000)+"</row>", 300) + "<row>"), 1, "more than 2000000 cells"},
		{"other elements", "<a>" + strings.Repeat("<b/>", 6_000_000) + "</a>", 1, "more than 5000000 elements"},
	} {
		t.Run(test.name, func(t *testing.T) {
			f := &RowFile{File: bookOf(t, test.sheets, test.part), Columns: RowColumns, MostRows: 100}
			var book *BookRows
			var err error
			took := allocatedBy(func() { book, err = f.ReadBook(t.Context()) })
			if took > 40<<20 {
				t.Errorf("%s allocated", web.ByteCount(int64(took)))
			}
			switch {
			case test.reason == "" && (err != nil || len(book.rows) != test.sheets):
				t.Errorf("%v, %v", book, err)
			case test.reason != "" && (err == nil || !strings.Contains(err.Error(), test.reason)):
				t.Errorf("%v, want %q", err, test.reason)
			}
		})
	}
}

// A cell far to the right makes a row of all cells before it.
func TestFarCellsOfAWorkbookTakeLittleMemory(t *testing.T) {
	far := strings.Repeat(`</row><row><c r="XFD1"><v>1</v></c>`, 20_000)
	f := &RowFile{File: bookOf(t, 1, sheetXML(cellsXML("ref", "category")+far)), Columns: RowColumns, MostRows: 50_000}
	took := allocatedBy(func() {
		if _, err := f.ReadBook(t.Context()); err == nil || !strings.Contains(err.Error(), "more than 2000000 cells") {
			t.Errorf("%v", err)
		}
	})
	if took > 400<<20 { // most of it is free again at once
		t.Errorf("%s allocated", web.ByteCount(int64(took)))
	}
}

func TestReadingAWorkbookStopsWhenNobodyWaits(t *testing.T) {
	rows := strings.Repeat("</row><row>"+cellsXML("B-1", "desk"), 150_000)
	f := &RowFile{File: bookOf(t, 1, sheetXML(cellsXML("ref", "category")+rows)), Columns: RowColumns, MostRows: 1_000_000}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	if _, err := f.ReadBook(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v", err)
	}
}
