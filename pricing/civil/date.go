// Package civil has the civil calendar that everything in pricing counts by.
package civil

import (
	"fmt"
	"time"
)

// Date is a civil day, counted from 0001-01-01 = 1; the zero Date means
// "no date". The difference of two Dates is a number of days.
type Date int32

const dateLayout = "2006-01-02"

// dayZero is the instant that Date 0 would begin at, in UTC.
var dayZero = time.Date(0, 12, 31, 0, 0, 0, 0, time.UTC)

// New returns the day, with months and days out of range normalised as
// time.Date does.
func New(year int, month time.Month, day int) Date {
	const secondsPerDay = 24 * 60 * 60
	return Date((time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() - dayZero.Unix()) / secondsPerDay)
}

// Of returns the day that t shows in its own location.
func Of(t time.Time) Date {
	return New(t.Year(), t.Month(), t.Day())
}

// Parse reads an ISO 8601 calendar date, YYYY-MM-DD. It refuses days that
// do not exist, such as 2026-02-30.
func Parse(s string) (Date, error) {
	t, err := time.Parse(dateLayout, s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a date like 2026-03-05", s)
	}
	if t.Year() < 1 {
		return 0, fmt.Errorf("%q is before the year 1", s)
	}
	return Of(t), nil
}

// Time returns midnight UTC of the day.
func (d Date) Time() time.Time { return dayZero.AddDate(0, 0, int(d)) }

// IsZero reports whether there is no date.
func (d Date) IsZero() bool { return d == 0 }

// String returns YYYY-MM-DD, or "" when there is no date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return d.Time().Format(dateLayout)
}
