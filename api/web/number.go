package web

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"askwright/service"
)

// Instant writes a time as answers do.
func Instant(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// Decimal is a number as it was written, from a JSON number or a string.
type Decimal string

// MarshalJSON writes the number as it is.
func (d Decimal) MarshalJSON() ([]byte, error) { return Number(d).MarshalJSON() }

// Number is a JSON number as it is to be written; "" is null.
type Number string

// MarshalJSON implements json.Marshaler.
func (n Number) MarshalJSON() ([]byte, error) {
	if n == "" {
		return []byte("null"), nil
	}
	return json.Marshal(json.Number(n)) // which checks that it is one
}

// Exact writes an amount with all of its currency's digits.
func Exact(m service.Money, c service.Currency) Number { return Number(m.Format(c)) }

// Rounded writes a calculated figure; null where there is none.
func Rounded(x float64, digits int) Number {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	text := strconv.FormatFloat(x, 'f', digits, 64)
	if x < 0 && trimmedZero(text) {
		text = text[1:] // no -0.0
	}
	return Number(text)
}

func trimmedZero(text string) bool {
	f, err := strconv.ParseFloat(text, 64)
	return err == nil && f == 0
}

// Calculated figures are rounded at this border: money to the currency's
// digits, percentages to a tenth of a point, chances to a thousandth.

// Percentage writes points to a tenth.
func Percentage(points float64) Number { return Rounded(points, 1) }

// Chance writes a probability to a thousandth.
func Chance(p float64) Number { return Rounded(p, 3) }

// MoneyIn returns how calculated money is written in a currency.
func MoneyIn(c service.Currency) func(float64) Number {
	return func(x float64) Number { return Rounded(x, c.Digits) }
}

// Known is nil for zero, which means unknown.
func Known(x float64, write func(float64) Number) *Number {
	if x == 0 {
		return nil
	}
	n := write(x)
	return &n
}

// Text is the number for a table, "" for none.
func (n *Number) Text() string {
	if n == nil {
		return ""
	}
	return string(*n)
}
