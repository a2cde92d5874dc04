package api_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"askwright/service"
)

// profitBook is each sheet of the workbook with the CSV that has the same rows.
var profitBook = []struct{ sheet, csv string }{
	{"Pieces", "profit.csv?by=piece&"}, {"Months", "profit.csv?by=month&"}, {"Years", "profit.csv?by=year&"},
	{"Categories", "profit.csv?by=category&"}, {"Finishes", "profit.csv?by=finish&"}, {"Venues", "profit.csv?by=venue&"},
	{"Sources", "profit.csv?by=source&"}, {"Lines", "profit-lines.csv?"}, {"Stock", "stock.csv?"}, {"Let go", "let-go.csv?"},
	{"Quick sales", "quick-sales.csv?"},
}

// Each cell of the profit workbook is the cell of the CSV, as a spreadsheet
// has it: amounts with the currency, dates as dates. Members see their own.
func TestProfitWorkbook(t *testing.T) {
	t.Parallel()
	s := ledgerOfTheDemo(t)
	period := "from=2025-07-01&to=2026-02-28"
	for member, key := range s.Keys {
		r := s.do(t, call{method: "GET", path: "/v1/reports/profit.xlsx?" + period, key: key})
		if got := r.Header.Get("Askwright-Caution"); got != "no-tax-advice" {
			t.Errorf("Askwright-Caution %q", got)
		}
		book := open(t, r)
		names := []string{"About", "Total"}
		for _, one := range profitBook {
			names = append(names, one.sheet)
			expected := table(t, s.do(t, call{method: "GET", path: "/v1/reports/" + one.csv + period, key: key}))
			sameCells(t, member, book, one.sheet, expected)
		}
		if got := book.GetSheetList(); !slices.Equal(got, names) {
			t.Errorf("sheets %q", got)
		}
		about, err := book.GetRows("About")
		if err != nil {
			t.Fatal(err)
		}
		text := ""
		for _, line := range about {
			text += strings.Join(line, " ") + "\n"
		}
		for _, wanted := range []string{"member " + member, "currency USD", "from 2025-07-01", "to 2026-02-28", "no tax advice"} {
			if !strings.Contains(text, wanted) {
				t.Errorf("%s: the sheet About does not say %q:\n%s", member, wanted, text)
			}
		}
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reports/profit.xlsx", key: s.keyWith(t, "Maren", service.ScopeFeed)}), 403, "forbidden")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reports/profit.xlsx?by=month", key: s.Keys["Maren"]}), 400, "malformed")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reports/profit.xlsx?from=2026-02-01&to=2026-01-01", key: s.Keys["Maren"]}), 400, "malformed")
}

// sameCells compares a sheet with a table by the names of the columns.
func sameCells(t *testing.T, member string, book *excelize.File, sheet string, expected [][]string) {
	t.Helper()
	raw, err := book.GetRows(sheet, excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	shown, err := book.GetRows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	panes, err := book.GetPanes(sheet)
	if err != nil || !panes.Freeze || panes.YSplit != 1 {
		t.Errorf("%s: header not frozen: %+v %v", sheet, panes, err)
	}
	if len(raw) != len(expected) || len(raw[0]) != len(expected[0]) {
		t.Fatalf("%s, %s: %d rows of %d columns, want %d of %d", member, sheet, len(raw), len(raw[0]), len(expected), len(expected[0]))
	}
	for i, line := range expected[1:] {
		for j, text := range line {
			at := slices.Index(raw[0], expected[0][j])
			if at < 0 {
				t.Fatalf("%s has no column %s", sheet, expected[0][j])
			}
			got, see := cellAt(raw[i+1], at), cellAt(shown[i+1], at)
			if want, show := asCell(expected[0][j], text); got != want || see != show {
				t.Errorf("%s, %s row %d, %s: %q shown as %q, want %q shown as %q", member, sheet, i+1, expected[0][j], got, see, want, show)
			}
		}
	}
}

func cellAt(row []string, i int) string {
	if i < len(row) {
		return row[i]
	}
	return "" // blank ones at the end are left out
}

// amountsOfProfit are the columns of money.
var amountsOfProfit = strings.Fields(`revenue purchase_cost pickup_cost materials_cost other_cost fees fees_estimated cost
	delivery_charged delivery_cost profit profit_per_hour profit_per_day_owned amount first_ask sale_price`)

// asCell is what a spreadsheet holds for a cell of a CSV, and what it shows.
func asCell(column, text string) (raw, shown string) {
	x, err := strconv.ParseFloat(text, 64)
	switch day, noDay := time.Parse(time.DateOnly, text); {
	case noDay == nil: // days since 1899-12-30, ECMA-376 part 1, 18.17.4.1
		return strconv.Itoa(int(day.Sub(time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)) / (24 * time.Hour))), text
	case err != nil || column == "group":
		return text, text
	}
	shown = text
	if digits, decimals, ok := strings.Cut(strings.TrimPrefix(text, "-"), "."); ok {
		shown = grouped(digits) + "." + decimals
	}
	if slices.Contains(amountsOfProfit, column) {
		shown = "USD " + shown
	}
	if x < 0 {
		shown = "-" + shown
	}
	return strconv.FormatFloat(x, 'f', -1, 64), shown
}

func grouped(digits string) string {
	if len(digits) <= 3 {
		return digits
	}
	return grouped(digits[:len(digits)-3]) + "," + digits[len(digits)-3:]
}
