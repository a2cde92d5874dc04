package service

import (
	"fmt"
	"math"
	"strings"
)

// Costs are totals by kind; what is absent is unknown. They are read in their
// unit by Money and Hours.
type Costs map[CostKind]Amount

// Amount is of some kind of cost: Money, or of a kind of hours Hours.
type Amount int64

// IsHours reports whether amounts of the kind are hours rather than money.
func (k CostKind) IsHours() bool { return k == CostHours || k == CostHoursOther }

// Money is the total of a kind of money.
func (c Costs) Money(kind CostKind) Money { return Money(c[kind]) }

// Hours are those at the bench.
func (c Costs) Hours() Hours { return Hours(c[CostHours]) }

// AllHours are those at the bench and others.
func (c Costs) AllHours() Hours { return c.Hours() + Hours(c[CostHoursOther]) }

// add puts other totals to these.
func (c *Costs) add(others Costs) {
	if *c == nil {
		*c = make(Costs, len(others))
	}
	for kind, amount := range others {
		(*c)[kind] += amount
	}
}

// checkMost refuses an amount that is more than is kept, named by its text.
func (k CostKind) checkMost(amount Amount, text string) error {
	switch {
	case k.IsHours() && amount > 10_000*hundredths:
		return fmt.Errorf("%q hours: expected 0 to 10000", clip(text))
	case !k.IsHours() && amount > maxMinor:
		return fmt.Errorf("%q is more than this service keeps", clip(text))
	}
	return nil
}

// FormatCost writes an amount of the kind.
func FormatCost(kind CostKind, amount Amount, c Currency) string {
	if kind.IsHours() {
		return Hours(amount).Format()
	}
	return Money(amount).Format(c)
}

// Hours is time that was worked, in hundredths of an hour.
type Hours int64

const hourDigits, hundredths = 2, 100

// HoursOf rounds a calculated time, at the border of pricing.
func HoursOf(hours float64) Hours { return Hours(math.Round(hours * hundredths)) }

// Float is the time as a number, for pricing and display only.
func (h Hours) Float() float64 { return float64(h) / hundredths }

// Format writes the time without needless digits.
func (h Hours) Format() string {
	return strings.TrimSuffix(strings.TrimRight(formatDecimal(int64(h), hourDigits), "0"), ".")
}
