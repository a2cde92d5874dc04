package sheet_test

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/sheet"
)

var today = pricing.NewDate(2026, time.November, 27)

func readerOf(t *testing.T, currency, unit string) *service.Reader {
	t.Helper()
	c, ok := service.CurrencyByCode(currency)
	if !ok {
		t.Fatalf("no currency %q", currency)
	}
	return &service.Reader{Currency: c, Unit: unit, Today: today, Decimal: '.'}
}

// gridOf reads the text of a CSV with any of the usual marks between cells.
func gridOf(t *testing.T, text string) *sheet.Grid {
	t.Helper()
	text = strings.TrimPrefix(text, "\ufeff")
	in := csv.NewReader(strings.NewReader(text))
	in.FieldsPerRecord, in.LazyQuotes, in.Comma = -1, true, ','
	for _, mark := range []rune{';', '\t'} {
		if strings.Count(text, string(mark)) > strings.Count(text, string(in.Comma)) {
			in.Comma = mark
		}
	}
	g := &sheet.Grid{Semicolon: in.Comma == ';'}
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			return g
		}
		if err != nil {
			t.Fatal(err)
		}
		row := make([]sheet.Cell, len(record))
		for i, cell := range record {
			row[i].Text = cell
		}
		g.Rows = append(g.Rows, row)
	}
}

// truthOf reads the rows that a sheet was written from, with the group's
// currency and unit.
func truthOf(t *testing.T, name string) (reader *service.Reader, rows []service.Cells) {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	first, rest, _ := strings.Cut(string(text), "\n")
	settings := strings.Split(strings.TrimPrefix(first, "# "), ",")
	records, err := csv.NewReader(strings.NewReader(rest)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, record := range records[1:] {
		cells := service.Cells{}
		for i, cell := range record {
			if cell != "" {
				cells[records[0][i]] = cell
			}
		}
		rows = append(rows, cells)
	}
	return readerOf(t, settings[0], settings[1]), rows
}

// listing is what cells would land as.
func listing(t *testing.T, r *service.Reader, cells service.Cells) (*service.Listing, []service.FieldError) {
	t.Helper()
	change, wrong := r.Change(nil, cells, service.ChangeOptions{})
	if wrong != nil {
		return nil, wrong
	}
	return change.New, nil
}

// inches of a length that is told in another unit than the group's are equal to
// a hundredth.
func sameValue(column, a, b string) bool {
	var x, y float64
	if n, _ := fmt.Sscan(a, &x); n == 1 && (column == "width" || column == "depth" || column == "height") {
		fmt.Sscan(b, &y)
		return x-y < 0.01 && y-x < 0.01
	}
	return a == b
}

// Each sheet is written in another person's style, from the truth beside it.
// Its mapping is taken as proposed and each question answered as proposed.
func TestSheetsOfTwelvePersonsLandAsTheyWereMeant(t *testing.T) {
	names, err := filepath.Glob("testdata/sheets/*.csv")
	if err != nil || len(names) != 12 {
		t.Fatalf("%d sheets, %v", len(names), err)
	}
	for _, name := range names {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".csv"), func(t *testing.T) { compareSheet(t, name) })
	}
}

func compareSheet(t *testing.T, name string) {
	reader, truth := truthOf(t, strings.TrimSuffix(name, ".csv")+".truth")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	look, err := sheet.At(gridOf(t, string(text)), sheet.Settings{Reader: reader})
	if err != nil {
		t.Fatal(err)
	}
	if len(look.Rows) != len(truth) {
		t.Errorf("%d rows of pieces, of %d", len(look.Rows), len(truth))
	}
	right := 0
	for i, row := range look.Rows[:min(len(look.Rows), len(truth))] {
		want, wrong := listing(t, reader, truth[i])
		if wrong != nil {
			t.Fatalf("the truth of row %d: %+v", i+1, wrong)
		}
		got, wrong := listing(t, reader, row.Cells)
		if wrong != nil {
			t.Logf("row %d does not land: %+v", row.At, wrong)
			continue
		}
		same := true
		for c := range slices.Values(service.Columns) {
			g, w := c.Value(got, reader.Currency), c.Value(want, reader.Currency)
			if c.ReadOnly || sameValue(c.Name, g, w) {
				continue
			}
			same = false
			read, was := row.Read[c.Name]
			t.Logf("row %d, %s: %q, not %q (%+v)", row.At, c.Name, g, w, read)
			if g != "" && was && !read.Open {
				t.Errorf("row %d: %s %q was taken for %q unasked, and is %q", row.At, c.Name, read.Found, g, w)
			}
		}
		if same {
			right++
		}
	}
	if 100*right < 95*len(truth) {
		t.Errorf("%d of %d rows are right", right, len(truth))
	}
	t.Logf("%d of %d rows right, %d questions", right, len(truth), len(look.Questions))
	for _, q := range look.Questions {
		t.Logf("%s %s: %s → %s (%d rows)", q.ID, q.Code, q.Text, q.Proposed, q.Rows)
	}
}
