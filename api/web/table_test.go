package web

import (
	"testing"

	"github.com/xuri/excelize/v2"

	"askwright/service"
)

// The strings are those that OWASP lists as triggers in "CSV Injection": =, +,
// -, @; tab and carriage return are trimmed on every way in.
func TestFormulas(t *testing.T) {
	for in, out := range map[string]string{
		"=1+1": "'=1+1", "+1": "'+1", "-1": "'-1", "@A1": "'@A1", "'=1": "''=1", "''x": "''x", "'": "'", "": "", "a=1": "a=1",
		"＝1": "'＝1", "＠A1": "'＠A1", "\uFEFF=1": "'\uFEFF=1", "\u200B+1": "'\u200B+1", "'＋1": "''＋1", "\u200Bx": "\u200Bx",
	} {
		if got := HideFormula(in); got != out {
			t.Errorf("hideFormula(%q) = %q, want %q", in, got, out)
		}
		if got := ShowFormula(HideFormula(in)); got != in {
			t.Errorf("%q came back as %q", in, got)
		}
	}
}

// Amounts have the currency's own digits (ISO 4217) and its code; other numbers
// have none of it.
func TestNumberFormatsOfAWorkbook(t *testing.T) {
	for _, test := range []struct {
		code string
		kind CellKind
		text string
		want string
	}{
		{"USD", MoneyCell, "1480.50", "[$USD] #,##0.00"}, {"JPY", MoneyCell, "48000", "[$JPY] #,##0"}, {"KWD", MoneyCell, "-1.250", "[$KWD] #,##0.000"},
		{"JPY", NumberCell, "35.5", "#,##0.0"}, {"USD", NumberCell, "3", "0"}, {"USD", PlainCell, "2026-03-05", "yyyy-mm-dd"},
	} {
		currency, _ := service.CurrencyByCode(test.code)
		book, err := NewWorkbook(currency)
		if err != nil {
			t.Fatal(err)
		}
		v, err := book.cell(test.kind, test.text)
		cell, ok := v.(excelize.Cell)
		if err != nil || !ok {
			t.Fatalf("%s: %v, %v", test.text, v, err)
		}
		style, err := book.File.GetStyle(cell.StyleID)
		if err != nil || style.CustomNumFmt == nil || *style.CustomNumFmt != test.want {
			t.Errorf("%s of %s: %+v (%v), want %s", test.text, test.code, style, err, test.want)
		}
		if err := book.File.Close(); err != nil {
			t.Error(err)
		}
	}
}
