package service

import (
	"cmp"
	_ "embed"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Quotient is x·scale/by, rounded half away from zero; false for a divisor
// that is not positive.
func Quotient(x, scale, by int64) (int64, bool) {
	if by <= 0 {
		return 0, false
	}
	n, d := new(big.Int).Mul(big.NewInt(x), big.NewInt(2*scale)), big.NewInt(by)
	n.Add(n, new(big.Int).Mul(d, big.NewInt(int64(n.Sign()))))
	n.Quo(n, d.Lsh(d, 1))
	return n.Int64(), n.IsInt64()
}

// Share is a share of an amount, rounded to the minor unit, half up. Rates
// count to a millionth.
func (m Money) Share(rate float64) Money {
	const millionths = 1_000_000
	part, _ := Quotient(int64(m), int64(math.Round(rate*millionths)), millionths)
	return Money(part)
}

// Money is an exact amount in minor units of the group's currency.
type Money int64

// MaxMinor bounds every amount; it keeps sums far from overflow.
const MaxMinor = 1_000_000_000_000

// Currency is an ISO 4217 currency with its number of decimal digits.
type Currency struct {
	Code   string
	Digits int
}

// currencyTable is ISO 4217 list one as published on 2024-06-25: code and
// minor units.
//
//go:embed currencies.csv
var currencyTable string

var currencies = func() map[string]Currency {
	byCode := make(map[string]Currency)
	for _, line := range strings.Split(strings.TrimSpace(currencyTable), "\n")[1:] {
		code, digits, _ := strings.Cut(strings.TrimSpace(line), ",")
		n, err := strconv.Atoi(digits)
		if err != nil {
			continue // metals and testing codes have no minor unit
		}
		byCode[code] = Currency{Code: code, Digits: n}
	}
	return byCode
}()

// CurrencyByCode finds a currency by its ISO 4217 code.
func CurrencyByCode(code string) (Currency, bool) {
	c, ok := currencies[strings.ToUpper(strings.TrimSpace(code))]
	return c, ok
}

// symbols that spreadsheets put beside amounts, by currency code.
var currencySymbols = map[string][]string{
	"USD": {"US$", "$"}, "CAD": {"CA$", "C$", "$"}, "AUD": {"A$", "$"}, "NZD": {"NZ$", "$"},
	"MXN": {"MX$", "$"}, "EUR": {"€"}, "GBP": {"£"}, "JPY": {"¥", "￥"}, "CNY": {"¥", "￥"},
	"CHF": {"Fr.", "SFr."}, "SEK": {"kr"}, "NOK": {"kr"}, "DKK": {"kr."}, "PLN": {"zł"}, "INR": {"₹"},
	"KRW": {"₩"}, "BRL": {"R$"}, "ZAR": {"R"}, "CZK": {"Kč"}, "HUF": {"Ft"}, "ILS": {"₪"}, "TRY": {"₺"},
}

// ParseMoney reads an amount as people and spreadsheets write it: digits with
// an optional decimal mark ('.' or ','), the group's own currency sign or code
// before or after. It never guesses: the other mark is accepted only as a
// thousands separator in its place.
func ParseMoney(text string, c Currency, decimal rune) (Money, error) {
	bare := strings.TrimSpace(text)
	for _, sign := range append([]string{c.Code}, currencySymbols[c.Code]...) {
		if rest, ok := strings.CutPrefix(bare, sign); ok {
			bare = strings.TrimSpace(rest)
			break
		}
		if rest, ok := strings.CutSuffix(bare, sign); ok {
			bare = strings.TrimSpace(rest)
			break
		}
	}
	n, err := parseDecimal(bare, c.Digits, decimal)
	if err != nil {
		return 0, fmt.Errorf("%q is not an amount in %s: %w", Clip(text), c.Code, err)
	}
	if mark := strings.LastIndexAny(bare, string(cmp.Or(decimal, '.'))); mark >= 0 && len(bare)-mark == 4 && c.Digits < 3 {
		return 0, fmt.Errorf("%q has three digits after its mark: write %s if thousands are meant, or leave the last zeros out",
			Clip(text), bare[:mark]+bare[mark+1:])
	}
	if n > MaxMinor || n < -MaxMinor {
		return 0, fmt.Errorf("%q is more than this service keeps", Clip(text))
	}
	return Money(n), nil
}

// Format writes the amount with all of its currency's digits: 480.00, 48000.
func (m Money) Format(c Currency) string { return formatDecimal(int64(m), c.Digits) }

// Major is the amount as a number of the main unit, for pricing and display
// only.
func (m Money) Major(c Currency) float64 {
	f, err := strconv.ParseFloat(m.Format(c), 64)
	if err != nil {
		return 0
	}
	return f
}

// MoneyOf rounds a calculated amount of the main unit, at the border of
// pricing.
func MoneyOf(amount float64, c Currency) Money {
	scaled := math.Round(amount * math.Pow10(c.Digits))
	return Money(max(-MaxMinor, min(MaxMinor, scaled)))
}

// parseDecimal reads an exact decimal number and returns it in units of
// 10^-digits.
func parseDecimal(text string, digits int, decimal rune) (int64, error) {
	s, negative := strings.CutPrefix(text, "-")
	s, err := withoutGrouping(s, decimal)
	if err != nil {
		return 0, err
	}
	whole, frac, _ := strings.Cut(s, ".")
	frac = strings.TrimRight(frac, "0")
	if len(frac) > digits {
		return 0, fmt.Errorf("at most %d decimal places", digits)
	}
	n, err := strconv.ParseInt(whole+frac+strings.Repeat("0", digits-len(frac)), 10, 64)
	if err != nil || len(whole) > 15 {
		return 0, fmt.Errorf("the number is too large")
	}
	if negative {
		n = -n
	}
	return n, nil
}

// withoutGrouping returns digits with at most one '.', having checked that
// thousands separators stand where they belong.
func withoutGrouping(s string, decimal rune) (string, error) {
	if decimal == 0 {
		decimal = '.'
	}
	grouping := ","
	if decimal == ',' {
		grouping = "."
	}
	whole, frac, hasFrac := strings.Cut(s, string(decimal))
	if strings.Contains(whole, grouping) {
		groups := strings.Split(whole, grouping)
		for i, g := range groups {
			if (i == 0 && (len(g) == 0 || len(g) > 3)) || (i > 0 && len(g) != 3) {
				return "", fmt.Errorf("expected a number with the decimal mark %q", decimal)
			}
		}
		whole = strings.Join(groups, "")
	}
	if !allDigits(whole) || (hasFrac && !allDigits(frac)) {
		return "", fmt.Errorf("expected a plain number such as 480%c50", decimal)
	}
	if hasFrac {
		return whole + "." + frac, nil
	}
	return whole, nil
}

func allDigits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

func formatDecimal(n int64, digits int) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	s := strconv.FormatInt(n, 10)
	if digits == 0 {
		return sign + s
	}
	if len(s) <= digits {
		s = strings.Repeat("0", digits-len(s)+1) + s
	}
	return sign + s[:len(s)-digits] + "." + s[len(s)-digits:]
}

// Clip shortens a value for a message.
func Clip(s string) string { return ClipTo(s, 40) }

// ClipTo shortens text for a message to about so many bytes.
func ClipTo(s string, most int) string {
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "…"
}

// Short writes an amount as it is said: 480, not 480.00.
func (m Money) Short(c Currency) string {
	text := m.Format(c)
	if whole, ok := strings.CutSuffix(text, "."+strings.Repeat("0", c.Digits)); ok {
		return whole
	}
	return text
}

// CurrencySigns are the code and the signs that may stand beside amounts of a
// currency.
func CurrencySigns(code string) []string { return append([]string{code}, currencySymbols[code]...) }
