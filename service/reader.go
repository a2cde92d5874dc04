package service

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"askwright/pricing"
)

// Reader says how the text of cells is to be read: the group's currency, unit
// and dates, and the decimal mark of the file.
type Reader struct {
	Currency  Currency
	Unit      string       // for lengths without one
	DateOrder string       // "", "mdy" or "dmy": how slashed dates are read
	Decimal   rune         // '.' or ','; zero is '.'
	Today     pricing.Date // the group's local date
}

// DateOrders are the settings under which slashed dates are accepted.
const (
	DateOrderMDY = "mdy"
	DateOrderDMY = "dmy"
)

var earliest = pricing.NewDate(1970, time.January, 1)

var slashedDate = regexp.MustCompile(`^(\d{1,2})[/.](\d{1,2})[/.](\d{4})$`)

// Date reads a day.
func (r *Reader) Date(cell string) (pricing.Date, error) {
	if cell == "" {
		return 0, nil
	}
	iso, err := r.IsoDate(cell)
	if err != nil {
		return 0, err
	}
	on, err := pricing.ParseDate(iso)
	if err != nil {
		return 0, fmt.Errorf("%q is not a day of the calendar; write dates like 2026-03-05", Clip(cell))
	}
	if on < earliest {
		return 0, fmt.Errorf("%s is before 1970", on)
	}
	if on > r.Today {
		return 0, fmt.Errorf("%s is in the future (today is %s)", on, r.Today)
	}
	return on, nil
}

// IsoDate turns a slashed date into an ISO one where the group allows it.
func (r *Reader) IsoDate(cell string) (string, error) {
	m := slashedDate.FindStringSubmatch(cell)
	if m == nil {
		if n, err := strconv.ParseFloat(cell, 64); err == nil && n > 20_000 && n < 80_000 {
			return "", fmt.Errorf("%s looks like a spreadsheet's serial day number; format the column as a date like 2026-03-05", cell)
		}
		return cell, nil
	}
	first, _ := strconv.Atoi(m[1])
	second, _ := strconv.Atoi(m[2])
	switch r.DateOrder {
	case DateOrderMDY:
		return fmt.Sprintf("%s-%02d-%02d", m[3], first, second), nil
	case DateOrderDMY:
		return fmt.Sprintf("%s-%02d-%02d", m[3], second, first), nil
	}
	return "", fmt.Errorf("%q can be read in two ways; write 2026-03-05, or set the group's date_order to mdy or dmy", cell)
}

// PositiveMoney reads an amount above zero.
func (r *Reader) PositiveMoney(cell string) (Money, error) {
	if cell == "" {
		return 0, nil
	}
	m, err := ParseMoney(cell, r.Currency, r.Decimal)
	if err == nil && m <= 0 {
		return 0, fmt.Errorf("%q must be more than zero", Clip(cell))
	}
	return m, err
}

// Cost reads an amount or a number of hours for the ledger, zero allowed.
func (r *Reader) Cost(cell string, kind CostKind) (Amount, error) {
	if !kind.IsHours() {
		m, err := ParseMoney(cell, r.Currency, r.Decimal)
		if err == nil && m < 0 {
			return 0, fmt.Errorf("%q must not be negative", Clip(cell))
		}
		return Amount(m), err
	}
	n, err := parseDecimal(cell, hourDigits, r.Decimal)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number of hours: %w", Clip(cell), err)
	}
	if n < 0 || n > 10_000*Hundredths {
		return 0, fmt.Errorf("%q hours: expected 0 to 10000", Clip(cell))
	}
	return Amount(n), nil
}

// maxCentimetres bounds a dimension: six metres is longer than any piece that
// is carried through a door.
const maxCentimetres = 600

var lengthForm = regexp.MustCompile(`^(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)$`)

// length reads 35.5, 35 1/2, 36" or 90 cm and returns the value in unit.
func (r *Reader) length(cell, unit string) (float64, error) {
	if cell == "" {
		return 0, nil
	}
	number, written := cutUnit(cell)
	value, err := r.lengthNumber(number)
	if err != nil {
		return 0, fmt.Errorf("%q is not a length; write 35.5, 35 1/2, 36\" or 90 cm", Clip(cell))
	}
	switch {
	case written == UnitInch && unit == UnitCentimetre:
		value *= MillimetresPerInch / 10
	case written == UnitCentimetre && unit == UnitInch:
		value /= MillimetresPerInch / 10
	}
	const places = 1e4 // what the database keeps
	value = math.Round(value*places) / places
	if value <= 0 {
		return 0, fmt.Errorf("%q must be more than zero; leave the cell empty when it is unknown", Clip(cell))
	}
	if cm := Centimetres(value, unit); cm > maxCentimetres {
		return 0, fmt.Errorf("%q %s is %.1f m: no piece is longer than %d m here; is the unit right?", Clip(number), unit, cm/100, maxCentimetres/100)
	}
	return value, nil
}

func cutUnit(cell string) (number, unit string) {
	for _, u := range []struct{ suffix, unit string }{
		{"inches", UnitInch}, {"inch", UnitInch}, {"in.", UnitInch}, {"in", UnitInch}, {`"`, UnitInch}, {"″", UnitInch},
		{"”", UnitInch}, {"cm", UnitCentimetre},
	} {
		if rest, ok := strings.CutSuffix(strings.ToLower(cell), u.suffix); ok {
			return strings.TrimSpace(rest), u.unit
		}
	}
	return cell, ""
}

func (r *Reader) lengthNumber(s string) (float64, error) {
	if m := lengthForm.FindStringSubmatch(s); m != nil {
		whole, _ := strconv.Atoi("0" + m[1])
		num, _ := strconv.Atoi(m[2])
		den, _ := strconv.Atoi(m[3])
		if den == 0 || num >= den || whole > 10_000 {
			return 0, fmt.Errorf("not a fraction")
		}
		return float64(whole) + float64(num)/float64(den), nil
	}
	n, err := parseDecimal(s, 4, r.Decimal)
	return float64(n) / 1e4, err
}

func wholeNumber(cell string, low, high int) (int, error) {
	if cell == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(strings.TrimSuffix(cell, ".0"))
	if err != nil {
		return 0, fmt.Errorf("%q is not a whole number", Clip(cell))
	}
	if n < low || n > high {
		return 0, fmt.Errorf("%d: expected %d to %d", n, low, high)
	}
	return n, nil
}

// CheckText refuses what no column can hold.
func CheckText(s string, most int) error {
	switch {
	case !utf8.ValidString(s):
		return fmt.Errorf("the text is not valid UTF-8")
	case strings.ContainsRune(s, 0):
		return fmt.Errorf("the text holds a NUL character")
	case utf8.RuneCountInString(s) > most:
		return fmt.Errorf("the text is longer than %d characters", most)
	}
	return nil
}
