package service

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"askwright/pricing"
)

var march31 = pricing.NewDate(2026, time.March, 31)

func usd(t testing.TB) Currency {
	t.Helper()
	return currency(t, "USD")
}

func currency(t testing.TB, code string) Currency {
	t.Helper()
	c, ok := CurrencyByCode(code)
	if !ok {
		t.Fatalf("no currency %s", code)
	}
	return c
}

// Minor units from ISO 4217 list one, published 2024-06-25.
func TestCurrencyDigits(t *testing.T) {
	for code, want := range map[string]int{"USD": 2, "CAD": 2, "EUR": 2, "JPY": 0, "KWD": 3, "CLF": 4} {
		if got := currency(t, code).Digits; got != want {
			t.Errorf("%s has %d digits, want %d", code, got, want)
		}
	}
	for _, code := range []string{"", "XAU", "ABC", "US"} {
		if c, ok := CurrencyByCode(code); ok {
			t.Errorf("%q is taken as %v", code, c)
		}
	}
}

func TestParseMoney(t *testing.T) {
	tests := []struct {
		text, code string
		decimal    rune
		want       Money
		wrong      string // part of the error; empty: none
	}{
		{"480", "USD", '.', 48000, ""},
		{"480.5", "USD", '.', 48050, ""},
		{" $480.50 ", "USD", '.', 48050, ""},
		{"USD 480", "USD", '.', 48000, ""},
		{"480.50 USD", "USD", '.', 48050, ""},
		{"1,234.50", "USD", '.', 123450, ""},
		{"1.234,50", "EUR", ',', 123450, ""},
		{"1.234", "EUR", ',', 123400, ""},
		{"1.234", "KWD", '.', 1234, ""},
		{"1200", "JPY", '.', 1200, ""},
		{"480.50", "USD", '.', 48050, ""},
		{"1.500", "USD", '.', 0, "write 1500 if thousands are meant"},
		{"1.500,00", "EUR", ',', 150000, ""},
		{"1,500", "EUR", ',', 0, "write 1500 if thousands are meant"},
		{"1.500", "KWD", '.', 1500, ""},
		{"480.505", "USD", '.', 0, "at most 2 decimal places"},
		{"12.5", "JPY", '.', 0, "at most 0 decimal places"},
		{"1,234.50", "EUR", ',', 0, "plain number"},
		{"12,34", "USD", '.', 0, "decimal mark"},
		{"€480", "USD", '.', 0, "plain number"},
		{"about 480", "USD", '.', 0, "plain number"},
		{"NaN", "USD", '.', 0, "plain number"},
		{"1e5", "USD", '.', 0, "plain number"},
		{"", "USD", '.', 0, "plain number"},
		{"99999999999999999999", "USD", '.', 0, "too large"},
		{"90000000000000", "USD", '.', 0, "more than this service keeps"},
	}
	for _, test := range tests {
		got, err := ParseMoney(test.text, currency(t, test.code), test.decimal)
		if test.wrong == "" && (err != nil || got != test.want) {
			t.Errorf("ParseMoney(%q, %s) = %d, %v; want %d", test.text, test.code, got, err, test.want)
		}
		if test.wrong != "" && (err == nil || !strings.Contains(err.Error(), test.wrong)) {
			t.Errorf("ParseMoney(%q, %s): error %v, want one with %q", test.text, test.code, err, test.wrong)
		}
	}
}

func TestMoneyRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Currency{Code: "XXA", Digits: rapid.IntRange(0, 4).Draw(t, "digits")}
		want := Money(rapid.Int64Range(-MaxMinor, MaxMinor).Draw(t, "amount"))
		got, err := ParseMoney(want.Format(c), c, '.')
		if err != nil || got != want {
			t.Fatalf("%d is written %s and read as %d, %v", want, want.Format(c), got, err)
		}
	})
}

func TestReadDate(t *testing.T) {
	tests := []struct {
		order, text, want, wrong string
	}{
		{"", "2026-03-05", "2026-03-05", ""},
		{"", "2026-02-30", "", "not a day of the calendar"},
		{"", "03/04/2026", "", "two ways"},
		{"mdy", "03/04/2026", "2026-03-04", ""},
		{"dmy", "03/04/2026", "", "in the future"},
		{"dmy", "3/2/2026", "2026-02-03", ""},
		{"mdy", "13/02/2026", "", "not a day"},
		{"", "46086", "", "serial day number"},
		{"", "2026-04-01", "", "in the future"},
		{"", "1871-01-01", "", "before 1970"},
		{"", "9999-12-31", "", "in the future"},
		{"", "yesterday", "", "not a day"},
	}
	for _, test := range tests {
		r := &Reader{DateOrder: test.order, Today: march31}
		got, err := r.Date(test.text)
		if test.wrong == "" && (err != nil || got.String() != test.want) {
			t.Errorf("date(%q) under %q = %s, %v; want %s", test.text, test.order, got, err, test.want)
		}
		if test.wrong != "" && (err == nil || !strings.Contains(err.Error(), test.wrong)) {
			t.Errorf("date(%q) under %q: error %v, want one with %q", test.text, test.order, err, test.wrong)
		}
	}
}

func TestReadLength(t *testing.T) {
	tests := []struct {
		text, unit string
		want       float64
		wrong      string
	}{
		{"35.5", "in", 35.5, ""},
		{"35 1/2", "in", 35.5, ""},
		{"1/2", "in", 0.5, ""},
		{`36"`, "in", 36, ""},
		{"36 in", "in", 36, ""},
		{"36 inches", "in", 36, ""},
		{"90 cm", "cm", 90, ""},
		// 1 in = 2.54 cm exactly: international yard and pound agreement, 24 FR 5348 (1959).
		{"10 in", "cm", 25.4, ""},
		{"25.4 cm", "in", 10, ""},
		{"35 3/2", "in", 0, "not a length"},
		{"35 1/0", "in", 0, "not a length"},
		{"-3", "in", 0, "more than zero"},
		{"0", "in", 0, "more than zero"},
		{"4000", "cm", 0, "40.0 m"},
		{"300", "in", 0, "7.6 m"},
		{"NaN", "in", 0, "not a length"},
		{"Infinity", "cm", 0, "not a length"},
		{"wide", "in", 0, "not a length"},
	}
	for _, test := range tests {
		got, err := (&Reader{}).length(test.text, test.unit)
		if test.wrong == "" && (err != nil || got != test.want) {
			t.Errorf("length(%q, %s) = %v, %v; want %v", test.text, test.unit, got, err, test.want)
		}
		if test.wrong != "" && (err == nil || !strings.Contains(err.Error(), test.wrong)) {
			t.Errorf("length(%q, %s): error %v, want one with %q", test.text, test.unit, err, test.wrong)
		}
	}
}

func FuzzReader(f *testing.F) {
	for _, cell := range []string{"2026-03-05", "03/04/2026", "$1,234.50", "35 1/2", "2026-03-01:480;2026-03-20:430", "2026-03-05/..", "dining_table:1;dining_chair:6", "\x00", "=1+1"} {
		f.Add(cell)
	}
	f.Fuzz(func(t *testing.T, cell string) {
		r := &Reader{Currency: Currency{"USD", 2}, Unit: UnitInch, Today: march31}
		cells := Cells{"ref": "B-1", "category": "desk", "listed_on": "2026-03-01", "ask": "480"}
		for _, c := range Columns {
			row := Cells{}
			for k, v := range cells {
				row[k] = v
			}
			row[c.Name] = cell
			change, wrong := r.Change(nil, row, ChangeOptions{})
			if (change == nil) == (wrong == nil) {
				t.Fatalf("%s = %q: change %v, errors %v", c.Name, cell, change, wrong)
			}
		}
	})
}

func TestNearest(t *testing.T) {
	for word, want := range map[string]string{"drsser": "dresser", "sidebord": "sideboard", "spaceship": "", "dask": "desk"} {
		if got := nearest(word, Categories); got != want {
			t.Errorf("nearest(%q) = %q, want %q", word, got, want)
		}
	}
	if got := NearestColumn("categry"); got != "category" {
		t.Errorf("NearestColumn(categry) = %q", got)
	}
}

func ExampleParseMoney() {
	euro, _ := CurrencyByCode("EUR")
	m, _ := ParseMoney("€ 1.234,50", euro, ',')
	fmt.Println(int64(m), m.Format(euro))
	// Output: 123450 1234.50
}
