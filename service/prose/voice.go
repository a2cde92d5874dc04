package prose

import (
	"fmt"
	"math"
	"strings"

	"askwright/pricing"
	"askwright/pricing/furniture"
	"askwright/pricing/stats"
	"askwright/service"
)

// Voice says answers of the engine in the currency of a group. docs/words.md
// holds its patterns.
type Voice struct{ currency service.Currency }

// In is the voice for a currency.
func In(c service.Currency) Voice { return Voice{c} }

// Amount writes an amount of a ledger, with its cents where it has some: $92.50.
func (v Voice) Amount(x float64) string {
	digits := v.currency.Digits
	if x == math.Trunc(x) {
		digits = 0
	}
	return v.signed(x, digits)
}

// currencySigns are written before amounts; other currencies by their code.
var currencySigns = map[string]string{"USD": "$", "EUR": "€", "GBP": "£", "CAD": "$", "AUD": "$"}

// Money writes an amount, without cents from 10 up: $1,250; CHF 340.
func (v Voice) Money(x float64) string {
	digits := 0
	if size := math.Abs(x); size < 10 && size != math.Trunc(size) {
		digits = min(2, v.currency.Digits)
	}
	return v.signed(x, digits)
}

func (v Voice) signed(x float64, digits int) string {
	minus, size := "", math.Abs(x)
	text := fmt.Sprintf("%.*f", digits, size)
	whole, cents, _ := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if cents != "" {
		whole += "." + cents
	}
	if x < 0 && strings.Trim(whole, "0.,") != "" {
		minus = "−"
	}
	if sign, ok := currencySigns[v.currency.Code]; ok {
		return minus + sign + whole
	}
	return minus + v.currency.Code + " " + whole
}

// Chance writes a probability to the nearest 5: about 60%, under 5%.
func Chance(p float64) string {
	switch {
	case p < 0.05:
		return "under 5%"
	case p > 0.95:
		return "over 95%"
	}
	return fmt.Sprintf("about %.0f%%", 5*math.Round(20*p))
}

// Day writes a day as seen from another: Dec 12; Dec 12, 2025.
func Day(day, today pricing.Date) string {
	if day.Time().Year() == today.Time().Year() {
		return day.Time().Format("Jan 2")
	}
	return day.Time().Format("Jan 2, 2006")
}

// Hours writes hours in halves: 9.5 hours; 45 minutes.
func Hours(hours float64) string {
	if hours < 1 {
		return service.Count(int(math.Round(60*hours)), "minute", "minutes")
	}
	if hours = math.Round(2*hours) / 2; hours == 1 {
		return "1 hour"
	}
	return service.HoursText(hours) + " hours"
}

// Move says in short what to do about a listing.
func (v Voice) Move(r pricing.Remedy) string {
	switch r.Action {
	case pricing.ActionReprice:
		return "Drop it to " + v.Money(r.Ask)
	case pricing.ActionRenew:
		return "Repost it"
	case pricing.ActionRefinish:
		return fmt.Sprintf("Pull it, %s, ask %s", Refinish(r.Finish, r.Color), v.Money(r.Ask))
	case pricing.ActionWithdraw:
		return "Pull it"
	}
	return "Leave it"
}

// Refinish says what to do to a surface: paint it navy.
func Refinish(finish, color string) string {
	if finish == "painted" && color != "" {
		return "paint it " + colorInWords(color)
	}
	return "refinish it (" + Surface(finish, color) + ")"
}

// Refusal says why there is no price, where the engine's refusal leaves the
// words to the currency.
func (v Voice) refusal(r *furniture.Refusal, price *stats.Range) []pricing.Sentence {
	if r.Reason == pricing.IntervalTooWide && price != nil {
		r.Detail = fmt.Sprintf("No price yet: similar pieces sell from %s to %s. "+
			"Add more of the description, or your own price.",
			v.Money(price.Low), v.Money(price.High))
	}
	return []pricing.Sentence{{Kind: pricing.SaidRefusal, Text: r.Detail}}
}
