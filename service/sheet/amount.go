package sheet

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"askwright/service"
)

// Rules of reading amounts. The forms of numbers follow the CLDR's number
// patterns (decimal and grouping of en, de, fr, de-CH): 1,250.00  1.250,00
// 1 250,00  1'250.00.

// grouped is digits with marks in them.
var grouped = regexp.MustCompile(`^\d{1,3}(?:[.,' ]\d{3})+$`)

// marks is how numbers are written in a sheet, as far as its cells prove it.
type marks struct {
	decimal   byte // '.' or ',' or 0: nothing proves it
	both      bool // cells prove each of them
	semicolon bool
}

var (
	pointProves = regexp.MustCompile(`^\d+\.\d{1,2}$|^\d{1,3}(?:[,' ]\d{3})+\.\d{1,2}$|^\d{1,3}(?:,\d{3}){2,}$`)
	commaProves = regexp.MustCompile(`^\d+,\d{1,2}$|^\d{1,3}(?:[.' ]\d{3})+,\d{1,2}$|^\d{1,3}(?:\.\d{3}){2,}$`)
)

// marksOf finds what the amounts of a sheet prove.
func marksOf(texts []string, semicolon bool) marks {
	m := marks{semicolon: semicolon}
	point, comma := false, false
	for _, text := range texts {
		bare, _ := bareAmount(text, nil)
		point = point || pointProves.MatchString(bare)
		comma = comma || commaProves.MatchString(bare)
	}
	switch {
	case point && comma:
		m.both = true
	case point:
		m.decimal = '.'
	case comma:
		m.decimal = ','
	}
	return m
}

// amountWords stand beside amounts and do not change them, by rule.
var amountWords = []struct{ word, rule string }{
	{"or best offer", "amount_obo"}, {"o.b.o.", "amount_obo"}, {"obo", "amount_obo"}, {"o.n.o.", "amount_obo"}, {"ono", "amount_obo"},
	{"firm", "amount_obo"}, {"neg.", "amount_obo"}, {"neg", "amount_obo"}, {"vb", "amount_obo"}, {"fest", "amount_obo"},
	{"approximately", "amount_about"}, {"approx.", "amount_about"}, {"approx", "amount_about"}, {"about", "amount_about"}, {"around", "amount_about"},
	{"circa", "amount_about"}, {"ca.", "amount_about"}, {"~", "amount_about"}, {"≈", "amount_about"}, {"ish", "amount_about"}, {"-ish", "amount_about"},
	{"cash", "amount_note"}, {"total", "amount_note"}, {"for the set", "amount_note"}, {"for the pair", "amount_note"}, {"for both", "amount_note"}, {"bucks", "amount_note"},
	{"dollars", "amount_note"}, {",-", "amount_note"}, {".-", "amount_note"}, {"+", "amount_note"},
}

// bareAmount takes the currency's signs and the words beside an amount away.
func bareAmount(text string, c *service.Currency) (bare, rule string) {
	bare, rule = plain(text), "amount"
	for changed := true; changed; {
		before := bare
		for _, w := range amountWords {
			rest := strings.TrimSpace(strings.TrimSuffix(bare, w.word))
			rest = strings.TrimSpace(strings.TrimPrefix(rest, w.word))
			if rest != bare && rest != "" {
				bare, rule = rest, w.rule
			}
		}
		for _, sign := range signs(c) {
			rest := strings.TrimSpace(strings.TrimPrefix(bare, sign))
			rest = strings.TrimSpace(strings.TrimSuffix(rest, sign))
			if rest != "" {
				bare = rest
			}
		}
		changed = bare != before
	}
	return bare, rule
}

// signs are what may stand beside amounts of a currency; nil: of any.
func signs(c *service.Currency) []string {
	if c == nil {
		return []string{"us$", "$", "€", "£", "eur", "usd", "chf", "kr", "zł"}
	}
	var found []string
	for _, sign := range service.CurrencySigns(c.Code) {
		found = append(found, strings.ToLower(sign))
	}
	return found
}

// amount reads one amount. Blank: nothing is known.
func (s *session) amount(col *column, cell Cell) (value, rule string) {
	if cell.Number {
		return cell.Text, "number"
	}
	if isNothing(cell.Text) {
		return "", "nothing"
	}
	bare, rule := bareAmount(cell.Text, &s.reader.Currency)
	if bare == "free" {
		return "0", "free"
	}
	if number, ok := s.number(col, bare); ok {
		switch {
		case s.asked:
			rule = "thousands"
		case number != bare && rule == "amount":
			rule = "amount_grouped"
		}
		return number, rule
	}
	if value, rule, ok := s.severalAmounts(col, bare); ok {
		return value, rule
	}
	if each, ok := cutEach(bare); ok {
		if number, ok := s.number(col, each); ok {
			return s.leave(s.ask.about(Question{
				Code: "each", Column: col.field, Heading: col.heading, Found: cell.Text, Proposed: number,
				Text: fmt.Sprintf("%q is the price of one. What is asked for all of them?", service.Clip(cell.Text)),
			}, plain(cell.Text))), "amount_each"
		}
	}
	return s.unreadable(col, cell.Text, "an amount")
}

func cutEach(bare string) (string, bool) {
	for _, word := range []string{"/ea", "/each", " each", " ea", " ea.", " apiece", "/pc"} {
		if rest, ok := strings.CutSuffix(bare, word); ok {
			return strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(rest), "$")), true
		}
	}
	return "", false
}

var (
	rangeForm  = regexp.MustCompile(`^([\d.,]+)\s*(?:-|–|to|bis|à)\s*(?:\$|€|£)?([\d.,]+)$`)
	changeForm = regexp.MustCompile(`^(?:was )?([\d.,]+)\s*(?:->|→|>|=>|/|,? now|then|reduced to|down to)\s*(?:\$|€|£)?([\d.,]+)$`)
)

// severalAmounts reads 350-400 and 450 -> 380: which of them counts is asked.
func (s *session) severalAmounts(col *column, bare string) (value, rule string, ok bool) {
	if m := rangeForm.FindStringSubmatch(bare); m != nil {
		low, ok1 := s.number(col, m[1])
		high, ok2 := s.number(col, m[2])
		if !ok1 || !ok2 {
			return "", "", false
		}
		q := Question{
			Code: "range", Column: col.field, Heading: col.heading, Found: bare, Proposed: "middle",
			Text: fmt.Sprintf("%s is a range. Take its middle, low or high?", bare),
		}
		return ofRange(low, high, s.ask.about(q)), "range", true
	}
	if m := changeForm.FindStringSubmatch(bare); m != nil {
		first, ok1 := s.number(col, m[1])
		last, ok2 := s.number(col, m[2])
		if !ok1 || !ok2 {
			return "", "", false
		}
		q := Question{
			Code: "changed_amount", Column: col.field, Heading: col.heading, Found: bare, Proposed: "last",
			Text: fmt.Sprintf("%s names two amounts. Take the last or the first?", bare),
		}
		switch s.ask.about(q) {
		case "first":
			return first, "changed_amount", true
		case LeaveOut:
			return "", "changed_amount", true
		}
		return last, "changed_amount", true
	}
	return "", "", false
}

// ofRange is the end of a range, or its middle, that an answer chose.
func ofRange(low, high, answer string) string {
	switch answer {
	case "low":
		return low
	case "high":
		return high
	case LeaveOut:
		return ""
	}
	a, err1 := strconv.ParseFloat(low, 64)
	b, err2 := strconv.ParseFloat(high, 64)
	if err1 != nil || err2 != nil {
		return low
	}
	return strconv.FormatFloat((a+b)/2, 'f', -1, 64)
}

var (
	plainNumber = regexp.MustCompile(`^\d{1,12}$`)
	pointed     = regexp.MustCompile(`^(\d{1,12}|\d{1,3}(?:[,' ]\d{3})+)\.(\d{1,4})$`)
	comma       = regexp.MustCompile(`^(\d{1,12}|\d{1,3}(?:[.' ]\d{3})+),(\d{1,4})$`)
	thousandsK  = regexp.MustCompile(`^(\d{1,4})(?:[.,](\d))?k$`)
)

// number reads a number of a column; false: it is none. One that has three
// digits after its only mark may mean two things.
func (s *session) number(col *column, bare string) (string, bool) {
	bare, s.asked = strings.TrimSpace(bare), false
	switch {
	case plainNumber.MatchString(bare):
		return bare, true
	case grouped.MatchString(bare):
		return s.threeDigits(col, bare), true
	}
	if m := pointed.FindStringSubmatch(bare); m != nil && (s.marks.decimal != ',' || strings.ContainsAny(m[1], ",' ") || len(m[2]) <= 2) {
		return digits(m[1]) + "." + m[2], true
	}
	if m := comma.FindStringSubmatch(bare); m != nil && (s.marks.decimal != '.' || strings.ContainsAny(m[1], ".' ") || len(m[2]) <= 2) {
		return digits(m[1]) + "." + m[2], true
	}
	if m := thousandsK.FindStringSubmatch(bare); m != nil {
		return m[1] + (m[2] + "000")[:3], true
	}
	return "", false
}

// threeDigits reads 1.500 and 1,500. The mark that the sheet does not use for
// decimals groups thousands; else it is asked, unless no price can end in it.
func (s *session) threeDigits(col *column, bare string) string {
	all := digits(bare)
	mark := bare[strings.IndexAny(bare, ".,' ")]
	switch {
	case mark == '\'' || mark == ' ', strings.Count(bare, string(mark)) > 1 && len(digits(bare))+strings.Count(bare, string(mark)) == len(bare):
		return all
	case s.marks.decimal != 0 && mark != s.marks.decimal:
		return all
	case mark == ',' && s.marks.decimal == 0 && !s.marks.both && !s.marks.semicolon:
		return all
	}
	at := strings.LastIndexByte(bare, mark)
	asDecimal := digits(bare[:at]) + "." + bare[at+1:]
	q := Question{
		Code: "thousands", Column: col.field, Heading: col.heading, Found: bare, Proposed: all,
		Text: fmt.Sprintf("Is %s %s, or %s?", bare, all, strings.TrimRight(strings.TrimRight(asDecimal, "0"), ".")),
	}
	s.asked = true
	return s.leave(s.ask.about(q, bare))
}

func digits(s string) string {
	return strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return -1
		}
		return r
	}, s)
}

// isNothing reports whether a cell says that there is nothing to say.
func isNothing(text string) bool {
	switch plain(text) {
	case "", "-", "--", "---", "–", "—", "n/a", "na", "none", "?", "??", "???", "tbd", "unknown", "unk", "x", ".", "#n/a", "idk":
		return true
	}
	return false
}
