package api

import (
	"encoding/json"
	"math"
	"strconv"

	"askwright/service"
)

// number is a JSON number as it is to be written; "" is null.
type number string

// MarshalJSON implements json.Marshaler.
func (n number) MarshalJSON() ([]byte, error) {
	if n == "" {
		return []byte("null"), nil
	}
	return json.Marshal(json.Number(n)) // which checks that it is one
}

// exact writes an amount with all of its currency's digits.
func exact(m service.Money, c service.Currency) number { return number(m.Format(c)) }

// rounded writes a calculated figure; null where there is none.
func rounded(x float64, digits int) number {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	text := strconv.FormatFloat(x, 'f', digits, 64)
	if x < 0 && trimmedZero(text) {
		text = text[1:] // no -0.0
	}
	return number(text)
}

func trimmedZero(text string) bool {
	f, err := strconv.ParseFloat(text, 64)
	return err == nil && f == 0
}

// Calculated figures are rounded at this border: money to the currency's
// digits, percentages to a tenth of a point, chances to a thousandth.

func percentage(points float64) number { return rounded(points, 1) }
func chance(p float64) number          { return rounded(p, 3) }

// moneyIn returns how calculated money is written in a currency.
func moneyIn(c service.Currency) func(float64) number {
	return func(x float64) number { return rounded(x, c.Digits) }
}

// known is nil for zero, which means unknown.
func known(x float64, write func(float64) number) *number {
	if x == 0 {
		return nil
	}
	n := write(x)
	return &n
}

// text is the number for a table, "" for none.
func (n *number) text() string {
	if n == nil {
		return ""
	}
	return string(*n)
}
