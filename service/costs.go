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

// Money is the total of a kind of money.
func (c Costs) Money(kind CostKind) Money { return Money(c[kind]) }

// Hours are those at the bench.
func (c Costs) Hours() Hours { return Hours(c[CostHours]) }

// AllHours are those at the bench and others.
func (c Costs) AllHours() Hours { return c.Hours() + Hours(c[CostHoursOther]) }

// Add puts other totals to these.
func (c *Costs) Add(others Costs) {
	if *c == nil {
		*c = make(Costs, len(others))
	}
	for kind, amount := range others {
		(*c)[kind] += amount
	}
}

// CheckMost refuses an amount that is more than is kept, named by its text.
func (k CostKind) CheckMost(amount Amount, text string) error {
	switch {
	case k.IsHours() && amount > 10_000*Hundredths:
		return fmt.Errorf("%q hours: expected 0 to 10000", Clip(text))
	case !k.IsHours() && amount > MaxMinor:
		return fmt.Errorf("%q is more than this service keeps", Clip(text))
	}
	return nil
}

// Hours is time that was worked, in hundredths of an hour.
type Hours int64

const hourDigits = 2

// Hundredths are in an hour.
const Hundredths = 100

// HoursOf rounds a calculated time, at the border of pricing.
func HoursOf(hours float64) Hours { return Hours(math.Round(hours * Hundredths)) }

// Float is the time as a number, for pricing and display only.
func (h Hours) Float() float64 { return float64(h) / Hundredths }

// Format writes the time without needless digits.
func (h Hours) Format() string {
	return strings.TrimSuffix(strings.TrimRight(formatDecimal(int64(h), hourDigits), "0"), ".")
}
