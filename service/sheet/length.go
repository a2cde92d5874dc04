package sheet

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"askwright/service"
)

// Rules of reading lengths: 50, 50.5, 50 1/2, 50½, 50", 4'2", 4 ft 2 in, 127 cm,
// 1.27 m, 900 mm; 50x18x32 and 50W x 18D x 32H for all three.

var (
	feet        = regexp.MustCompile(`^(\d{1,2})\s*(?:'|ft\.?|feet|foot)\s*(?:-\s*)?(?:(\d{1,2}(?:\.\d+)?(?: \d/\d{1,2})?|\d/\d{1,2})\s*(?:"|''|in\.?|inches|inch)?)?$`)
	withUnit    = regexp.MustCompile(`^([\d.,/ ]+?)\s*(inches|inch|ins|in\.?|"|''|″|cm|mm|m)?\.?$`)
	fraction    = regexp.MustCompile(`^(?:(\d{1,3})[ -])?(\d{1,2})/(\d{1,2})$`)
	vulgar      = strings.NewReplacer("½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8", "”", `"`, "“", `"`, "″", `"`, "′", "'")
	sizeBetween = regexp.MustCompile(`\s*(?:x|×|\*|/(?:\s)|\bby\b|,\s|;\s?)\s*`)
	letterFirst = regexp.MustCompile(`^(w|d|h|l|width|depth|height|length|wide|deep|tall|high|long)[.:=]?\s*(.+)$`)
	letterLast  = regexp.MustCompile(`^(.+?)\s*(w|d|h|l|width|depth|height|length|wide|deep|tall|high|long)\.?$`)
)

// inches and centimetres as service.Reader takes them.
const (
	inInches      = " in"
	inCentimetres = " cm"
)

// length reads one length.
func (s *session) length(col *column, cell Cell) (value, rule string) {
	if isNothing(cell.Text) {
		return "", "nothing"
	}
	if value, rule, ok := s.oneLength(col, cell.Text); ok {
		return value, rule
	}
	return s.unreadable(col, cell.Text, "a length")
}

func (s *session) oneLength(col *column, text string) (value, rule string, ok bool) {
	text = strings.TrimSpace(plain(vulgar.Replace(text)))
	text = strings.TrimSpace(strings.TrimPrefix(strings.TrimPrefix(text, "~"), "about "))
	if m := letterLast.FindStringSubmatch(text); m != nil {
		text = m[1]
	}
	if m := feet.FindStringSubmatch(text); m != nil {
		ft, _ := strconv.Atoi(m[1])
		in := 0.0
		if m[2] != "" {
			if in, ok = inchesOf(m[2]); !ok || in >= 12 {
				return "", "", false
			}
		}
		return number(float64(ft)*12+in) + inInches, "feet", true
	}
	m := withUnit.FindStringSubmatch(text)
	if m == nil {
		return "", "", false
	}
	n, ok := s.lengthNumber(m[1])
	if !ok || n <= 0 {
		return "", "", false
	}
	unit := strings.TrimSuffix(m[2], ".")
	if unit == "" {
		unit = col.unit
	}
	switch unit {
	case "":
		return number(n), "length", true
	case "cm":
		return number(n) + inCentimetres, "length_unit", true
	case "mm":
		return number(n/10) + inCentimetres, "length_unit", true
	case "m":
		return number(n*100) + inCentimetres, "length_unit", true
	}
	return number(n) + inInches, "length_unit", true
}

func number(x float64) string { return strconv.FormatFloat(float64(int64(x*1e4+0.5))/1e4, 'f', -1, 64) }

func inchesOf(text string) (float64, bool) {
	whole, rest, ok := strings.Cut(text, " ")
	if !ok && strings.Contains(text, "/") {
		whole, rest = "0", text
	}
	n, err := strconv.ParseFloat(whole, 64)
	if err != nil {
		return 0, false
	}
	if rest == "" {
		return n, true
	}
	f, ok := ofFraction(fraction.FindStringSubmatch(rest))
	return n + f, ok
}

func ofFraction(m []string) (float64, bool) {
	if m == nil {
		return 0, false
	}
	whole, _ := strconv.Atoi("0" + m[1])
	num, _ := strconv.Atoi(m[2])
	den, _ := strconv.Atoi(m[3])
	if den == 0 || num >= den {
		return 0, false
	}
	return float64(whole) + float64(num)/float64(den), true
}

// lengthNumber reads 50, 50.5, 50,5 and 50 1/2.
func (s *session) lengthNumber(text string) (float64, bool) {
	text = strings.Join(strings.Fields(text), " ")
	if m := fraction.FindStringSubmatch(text); m != nil {
		return ofFraction(m)
	}
	if strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	n, err := strconv.ParseFloat(text, 64)
	return n, err == nil && n < 10_000
}

// sizeLetters are the letters of a size by the column that they mean. L is the
// width of what is wider than deep.
var sizeLetters = map[string]string{
	"w": "width", "width": "width", "wide": "width", "l": "width", "length": "width", "long": "width",
	"d": "depth", "depth": "depth", "deep": "depth", "h": "height", "height": "height", "tall": "height", "high": "height",
}

// size reads width, depth and height from one cell.
func (s *session) size(col *column, text string) (found map[string]string, rule string, ok bool) {
	text = plain(vulgar.Replace(text))
	parts := sizeBetween.Split(text, -1)
	if len(parts) < 2 && strings.ContainsAny(text, "wdh") {
		parts = strings.Fields(text)
	}
	if len(parts) > 3 || len(parts) == 0 {
		return nil, "", false
	}
	names := make([]string, len(parts))
	lettered := 0
	for i, part := range parts {
		if names[i], parts[i] = cutLetter(strings.TrimSpace(part)); names[i] != "" {
			lettered++
		}
	}
	rule = "size_letters"
	if lettered == 0 {
		order, asked := s.sizeOrder(col, text, len(parts))
		if len(order) != len(parts) {
			return nil, "", false
		}
		copy(names, order)
		if rule = "size_heading"; asked {
			rule = "size_asked"
		}
	} else if lettered < len(parts) {
		return nil, "", false
	}
	if names[0] == "width" && len(names) > 1 && names[1] == "width" { // L x W: the longer is the width
		names[1] = "depth"
	}
	unit := unitOfLast(parts)
	found = make(map[string]string, len(parts))
	for i, part := range parts {
		inUnit := *col
		if unit != "" {
			inUnit.unit = unit
		}
		value, _, ok := s.oneLength(&inUnit, part)
		if _, twice := found[names[i]]; !ok || twice {
			return nil, "", false
		}
		found[names[i]] = value
	}
	return found, rule, true
}

func cutLetter(part string) (name, rest string) {
	if m := letterFirst.FindStringSubmatch(part); m != nil {
		return sizeLetters[m[1]], m[2]
	}
	if m := letterLast.FindStringSubmatch(part); m != nil {
		return sizeLetters[m[2]], m[1]
	}
	return "", part
}

// unitOfLast is the unit after the last of several lengths, which is that of
// all: 127 x 45 x 80 cm.
func unitOfLast(parts []string) string {
	m := withUnit.FindStringSubmatch(parts[len(parts)-1])
	if m == nil {
		return ""
	}
	return strings.TrimSuffix(m[2], ".")
}

// sizeOrder is what lengths without letters mean: as the heading says, or as
// answered. The trade gives width, depth, height; common practice, no source.
func (s *session) sizeOrder(col *column, found string, n int) (order []string, asked bool) {
	if letters := headingLetters(col.heading); len(letters) >= n {
		return letters[:n], false
	}
	if n == 1 {
		return []string{"width"}, s.ask.about(Question{
			Code: "size_order", Column: col.field, Heading: col.heading, Found: found, Proposed: "w",
			Text: fmt.Sprintf("Is %s the width?", found),
		}, "1") != ""
	}
	answer := s.ask.about(Question{
		Code: "size_order", Column: col.field, Heading: col.heading, Found: service.Clip(found), Proposed: "wdh",
		Text: fmt.Sprintf("Is %s width x depth x height?", service.Clip(found)),
	})
	for _, letter := range plain(answer) {
		if name, ok := sizeLetters[string(letter)]; ok {
			order = append(order, name)
		}
	}
	if len(order) < n {
		return nil, true
	}
	return order[:n], true
}

// headingLetters are the letters of a heading such as Size (W x D x H).
func headingLetters(heading string) []string {
	var names []string
	for _, word := range strings.FieldsFunc(plain(heading), func(r rune) bool { return strings.ContainsRune(" x×/*()[],-", r) }) {
		if name, ok := sizeLetters[word]; ok {
			if len(names) == 1 && name == names[0] {
				name = "depth"
			}
			names = append(names, name)
		}
	}
	if letters := plain(heading); len(names) < 3 {
		for _, form := range []string{"wxdxh", "hxwxd", "lxwxh", "wxhxd", "hxdxw", "dxwxh", "lxdxh"} {
			if strings.Contains(strings.ReplaceAll(letters, " ", ""), form) {
				names = nil
				for _, letter := range strings.Split(form, "x") {
					names = append(names, sizeLetters[letter])
				}
				if form == "lxwxh" {
					names = []string{"width", "depth", "height"}
				}
				return names
			}
		}
	}
	if len(names) != 3 {
		return nil
	}
	return names
}

var (
	hoursForm   = regexp.MustCompile(`^~?([\d.,]+)\s*(?:h|hr|hrs|hour|hours|std|stunden)?\.?$`)
	hoursRange  = regexp.MustCompile(`^~?([\d.,]+)\s*(?:-|–|to|or)\s*([\d.,]+)\s*(?:h|hr|hrs|hour|hours)?\.?$`)
	hoursAndMin = regexp.MustCompile(`^(\d{1,3})\s*(?:h|hr|hrs|hours?|:)\s*(\d{1,2})\s*(?:m|min|mins|minutes)?\.?$`)
	minutesForm = regexp.MustCompile(`^(\d{1,4})\s*(?:m|min|mins|minutes)\.?$`)
)

// hours reads 3, 3.5 hrs, 3h 30, 90 min and 3-4 hours.
func (s *session) hours(col *column, cell Cell) (value, rule string) {
	text := plain(vulgar.Replace(cell.Text))
	if isNothing(text) {
		return "", "nothing"
	}
	text = strings.TrimSpace(strings.TrimPrefix(strings.TrimPrefix(text, "about "), "~"))
	if m := hoursForm.FindStringSubmatch(text); m != nil {
		if n, ok := s.lengthNumber(m[1]); ok {
			return number(n), "hours"
		}
	}
	if m := hoursRange.FindStringSubmatch(text); m != nil {
		low, ok1 := s.lengthNumber(m[1])
		high, ok2 := s.lengthNumber(m[2])
		if ok1 && ok2 && low < high {
			return ofRange(number(low), number(high), s.ask.about(Question{
				Code: "range", Column: col.field, Heading: col.heading, Found: text, Proposed: "middle",
				Text: fmt.Sprintf("%s is a range. Take its middle, low or high?", text),
			})), "hours_range"
		}
	}
	if m := hoursAndMin.FindStringSubmatch(text); m != nil {
		h, _ := strconv.Atoi(m[1])
		minutes, _ := strconv.Atoi(m[2])
		if minutes < 60 {
			return number(float64(int((float64(h)+float64(minutes)/60)*100+0.5)) / 100), "hours_minutes"
		}
	}
	if m := minutesForm.FindStringSubmatch(text); m != nil {
		minutes, _ := strconv.Atoi(m[1])
		return number(float64(int(float64(minutes)/60*100+0.5)) / 100), "hours_minutes"
	}
	trimmed := strings.TrimSpace(strings.TrimRight(text, "hrs."))
	if m := fraction.FindStringSubmatch(trimmed); m != nil {
		if n, ok := ofFraction(m); ok {
			return number(n), "hours"
		}
	}
	return s.unreadable(col, cell.Text, "a number of hours")
}
