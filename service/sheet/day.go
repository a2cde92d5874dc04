package sheet

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"askwright/pricing"
	"askwright/service"
)

// Rules of reading days. The forms follow the CLDR's date patterns (short and
// medium of en, en-GB, de, fr, es, nl), ISO 8601 and the serial days of
// ECMA-376, part 1, 18.17.4.

// monthNames are the wide and abbreviated months of the CLDR, without points.
var monthNames = func() map[string]time.Month {
	names := map[string]time.Month{}
	for _, locale := range []string{
		"january february march april may june july august september october november december",
		"jan feb mar apr may jun jul aug sep oct nov dec",
		"januar februar märz april mai juni juli august september oktober november dezember",
		"jänner feber mrz apr mai jun jul aug sept okt nov dez",
		"janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
		"janv févr mars avr mai juin juil août sept oct nov déc",
		"enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
		"ene feb mar abr may jun jul ago sept oct nov dic",
		"januari februari maart april mei juni juli augustus september oktober november december",
		"jan feb mrt apr mei jun jul aug sep okt nov dec",
	} {
		for i, name := range strings.Fields(locale) {
			names[name] = time.Month(i + 1)
		}
	}
	return names
}()

// dateOrder is in what order days and months stand in a column.
type dateOrder struct {
	order string // "mdy", "dmy" or "": not proved
	clash bool   // cells prove both
}

var slashed = regexp.MustCompile(`^(\d{1,2})([/.\-])(\d{1,2})(?:[/.\-](\d{4}|\d{2}))?\.?$`)

// orderOf finds the order that the cells of a column prove: a number over
// twelve is a day.
func orderOf(texts []string) dateOrder {
	first, second := false, false
	for _, text := range texts {
		m := slashed.FindStringSubmatch(bareDay(text))
		if m == nil {
			continue
		}
		a, _ := strconv.Atoi(m[1])
		b, _ := strconv.Atoi(m[3])
		first = first || (a > 12 && a <= 31 && b <= 12)
		second = second || (b > 12 && b <= 31 && a <= 12)
	}
	switch {
	case first && second:
		return dateOrder{clash: true}
	case first:
		return dateOrder{order: service.DateOrderDMY}
	case second:
		return dateOrder{order: service.DateOrderMDY}
	}
	return dateOrder{}
}

var (
	weekday  = regexp.MustCompile(`^(?:mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun|monday|tuesday|wednesday|thursday|friday|saturday|sunday)[.,]? `)
	clock    = regexp.MustCompile(`[t ,]+\d{1,2}:\d{2}(?::\d{2})?(?:\.\d+)?(?: ?[ap]m)?(?:z|[+-]\d{2}:?\d{2})?$`)
	ordinal  = regexp.MustCompile(`(\d)(?:st|nd|rd|th)\b`)
	isoDay   = regexp.MustCompile(`^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})$`)
	dayFirst = regexp.MustCompile(`^(\d{1,2})[.\- ]? ?(?:of |de )?([a-zäéûü]{3,})[.,]?(?:[\- ,/]+(?:de )?'?(\d{4}|\d{2}))?$`)
	dayThen  = regexp.MustCompile(`^([a-zäéûü]{3,})[.]?[\- ]?(\d{1,2})(?:[,\- /]+'?(\d{4}|\d{2}))?$`)
	serial   = regexp.MustCompile(`^[2-7]\d{4}(?:\.\d+)?$`)
)

// bareDay is a day without its weekday, time and ordinals.
func bareDay(text string) string {
	text = plain(text)
	text = strings.Trim(strings.TrimPrefix(strings.TrimPrefix(text, "on "), "~"), " ?")
	if m := clock.FindStringIndex(text); m != nil && m[0] > 0 {
		text = text[:m[0]]
	}
	text = weekday.ReplaceAllString(text, "")
	return ordinal.ReplaceAllString(text, "$1")
}

// monthDay is a day of the year; Year 0 is not said.
type monthDay struct {
	year, month, day int
}

// day reads one day. near is the first day that it can be where its year is
// not said; zero: nothing tells.
func (s *session) day(col *column, cell Cell, near pricing.Date) (value, rule string) {
	text := bareDay(cell.Text)
	if isNothing(text) {
		return "", "nothing"
	}
	if serial.MatchString(text) {
		return s.serialDay(col, cell, text)
	}
	md, rule, ok := s.parts(col, text)
	if !ok {
		return s.unreadable(col, cell.Text, "a day")
	}
	if md.year == 0 {
		return s.withYear(col, cell.Text, md, near)
	}
	on, ok := md.date()
	if !ok {
		return s.unreadable(col, cell.Text, "a day of the calendar")
	}
	if on > s.reader.Today {
		return s.future(col, cell.Text, on)
	}
	return on.String(), rule
}

// parts takes a day apart.
func (s *session) parts(col *column, text string) (md monthDay, rule string, ok bool) {
	if m := isoDay.FindStringSubmatch(text); m != nil {
		return numbered(m[1], m[2], m[3]), "iso", true
	}
	if m := dayFirst.FindStringSubmatch(text); m != nil {
		if month, ok := monthNames[m[2]]; ok {
			return numbered(m[3], strconv.Itoa(int(month)), m[1]), "month_name", true
		}
	}
	if m := dayThen.FindStringSubmatch(text); m != nil {
		if month, ok := monthNames[m[1]]; ok {
			return numbered(m[3], strconv.Itoa(int(month)), m[2]), "month_name", true
		}
	}
	m := slashed.FindStringSubmatch(text)
	if m == nil {
		return monthDay{}, "", false
	}
	order, rule := s.order(col, m[1], m[3], text)
	switch order {
	case service.DateOrderMDY:
		return numbered(m[4], m[1], m[3]), rule, true
	case service.DateOrderDMY:
		return numbered(m[4], m[3], m[1]), rule, true
	}
	return monthDay{}, "", false
}

func numbered(year, month, day string) monthDay {
	md := monthDay{}
	md.month, _ = strconv.Atoi(month)
	md.day, _ = strconv.Atoi(day)
	md.year, _ = strconv.Atoi(year)
	if len(year) == 2 {
		md.year += 2000
	}
	return md
}

func (md monthDay) date() (pricing.Date, bool) {
	on, err := pricing.ParseDate(fmt.Sprintf("%04d-%02d-%02d", md.year, md.month, md.day))
	return on, err == nil
}

// order says in which order the day at hand is written: as it itself proves,
// as its column does, as the group settled, or as the answer says.
func (s *session) order(col *column, first, second, found string) (order, rule string) {
	a, _ := strconv.Atoi(first)
	b, _ := strconv.Atoi(second)
	switch {
	case a > 12 && b <= 12:
		return service.DateOrderDMY, "day_over_twelve"
	case b > 12 && a <= 12:
		return service.DateOrderMDY, "day_over_twelve"
	case a == b:
		return service.DateOrderMDY, "same_number"
	case col.order.order != "":
		return col.order.order, "order_proved"
	case s.reader.DateOrder != "" && !col.order.clash:
		return s.reader.DateOrder, "group_order"
	}
	proposed := s.proposedOrder
	month, day := a, b
	if proposed == service.DateOrderDMY {
		month, day = b, a
	}
	text := fmt.Sprintf("Is %s %s %d?", found, time.Month(month), day)
	if col.order.clash {
		text += " This column has days in both orders."
	}
	return s.ask.about(Question{
		Code: "date_order", Column: col.field, Heading: col.heading, Found: found, Proposed: proposed, Text: text,
	}), "order_asked"
}

// withYear gives a day the year that is not said: the first such day from near
// on, where that is known and not ahead; else the last one past, which is asked.
func (s *session) withYear(col *column, found string, md monthDay, near pricing.Date) (value, rule string) {
	if !near.IsZero() {
		for year := near.Time().Year(); year <= near.Time().Year()+1; year++ {
			md.year = year
			if on, ok := md.date(); ok && on >= near && on <= s.reader.Today && on-near < 300 {
				return on.String(), "year_follows"
			}
		}
	}
	for md.year = s.reader.Today.Time().Year(); md.year > 1970; md.year-- {
		on, ok := md.date()
		if ok && on <= s.reader.Today {
			break
		}
		if md.year < s.reader.Today.Time().Year()-8 {
			return s.unreadable(col, found, "a day of the calendar")
		}
	}
	answer := s.ask.about(Question{
		Code: "year", Column: col.field, Heading: col.heading, Found: found, Proposed: "latest",
		Text: fmt.Sprintf("%q has no year. Take the latest such day, here %d? Or say the year.", service.Clip(found), md.year),
	})
	switch year, err := strconv.Atoi(answer); {
	case answer == LeaveOut:
		return "", "year_asked"
	case err == nil:
		md.year = year
	}
	on, ok := md.date()
	if !ok || on > s.reader.Today {
		return s.unreadable(col, found, "a day of the calendar")
	}
	return on.String(), "year_asked"
}

// future asks about a day that has not come: mostly its year is mistyped.
func (s *session) future(col *column, found string, on pricing.Date) (value, rule string) {
	was := on.Time().AddDate(-1, 0, 0)
	proposed := LeaveOut
	if d := pricing.DateOf(was); d <= s.reader.Today {
		proposed = d.String()
	}
	return s.leave(s.ask.about(Question{
		Code: "future_day", Column: col.field, Heading: col.heading, Found: found, Proposed: proposed,
		Text: fmt.Sprintf("%s has not come yet. Which day is meant?", on),
	}, plain(found))), "future_day"
}

// serialDay reads a day that is a number. A workbook's number in a column of
// days is one; in a CSV it is asked.
func (s *session) serialDay(col *column, cell Cell, text string) (value, rule string) {
	n, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return s.unreadable(col, cell.Text, "a day")
	}
	const unixEpoch = 25569 // 1970-01-01 as a serial day of the 1900 system
	on := pricing.DateOf(time.Unix(0, 0).UTC().AddDate(0, 0, int(n)-unixEpoch))
	if on > s.reader.Today {
		return s.future(col, cell.Text, on)
	}
	if cell.Number {
		return on.String(), "serial_day"
	}
	answer := s.ask.about(Question{
		Code: "serial_day", Column: col.field, Heading: col.heading, Found: cell.Text, Proposed: "yes",
		Text: fmt.Sprintf("%s is how spreadsheets store %s. Take it so?", text, on),
	})
	if answer != "yes" {
		return "", "serial_day"
	}
	return on.String(), "serial_day"
}

// parsedDay is a day that was read already; zero: none.
func parsedDay(iso string) pricing.Date {
	on, err := pricing.ParseDate(iso)
	if err != nil {
		return 0
	}
	return on
}

var drop = regexp.MustCompile(`^(.+?)\s*(?:[:=@]|->|→|\bto\b|\bat\b)?\s*((?:us\$|\$|€|£)\s*[\d.,]+|[\d.,]+)$`)

// drops reads 9/15 $200; 10/1 $180 into days with their asks, in their order.
func (s *session) drops(col *column, text string, listed pricing.Date) (parts []string, first string, ok bool) {
	near := listed
	for part := range strings.FieldsFuncSeq(strings.ReplaceAll(text, ", ", ";"), func(r rune) bool { return r == ';' || r == '\n' || r == '|' }) {
		part = plain(part)
		if part == "" {
			continue
		}
		m := drop.FindStringSubmatch(part)
		if m == nil {
			return nil, "", false
		}
		bare, _ := bareAmount(m[2], &s.reader.Currency)
		amount, ok := s.number(col, bare)
		if !ok {
			return nil, "", false
		}
		on, _ := s.day(col, Cell{Text: strings.Trim(m[1], " ,:")}, near)
		if on == "" {
			return nil, "", false
		}
		if first == "" {
			first = amount
		}
		near = parsedDay(on)
		parts = append(parts, on+":"+amount)
	}
	return parts, first, len(parts) > 0
}
