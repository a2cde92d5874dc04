package pricing

import (
	"math"
	"time"

	"askwright/pricing/civil"
)

// Date is a civil day; the zero Date means "no date".
type Date = civil.Date

// NewDate returns the day, with months and days out of range normalised as
// time.Date does.
func NewDate(year int, month time.Month, d int) Date { return civil.New(year, month, d) }

// DateOf returns the day that t shows in its own location.
func DateOf(t time.Time) Date { return civil.Of(t) }

// ParseDate reads an ISO 8601 calendar date: see civil.Parse.
func ParseDate(s string) (Date, error) { return civil.Parse(s) }

// days is the number of days from a to b, as large as the dates are far apart.
func days(a, b Date) float64 { return math.Max(0, float64(b)-float64(a)) }
