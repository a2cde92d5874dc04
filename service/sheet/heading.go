package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/service"
)

// headingWithin is in how many rows the heading row is looked for.
const headingWithin = 40

// How sure a heading is taken for a field, from which chance on it is not
// asked about, and what spreads of values say.
const (
	sure       = 1.0
	tradeWord  = 0.97
	byValues   = 0.9
	nearSpelt  = 0.6
	needNotAsk = 0.95
)

var fieldByHeading = func() map[string]string {
	m := map[string]string{}
	for field, words := range headingWords {
		for _, word := range words {
			m[headingKey(word)] = field
		}
	}
	return m
}()

var isLeftOut = func() map[string]bool {
	m := map[string]bool{}
	for _, word := range leftOut {
		m[headingKey(word)] = true
	}
	return m
}()

// headingKey is a heading without what people put around it.
func headingKey(heading string) string {
	key := plain(heading)
	if trimmed := strings.Trim(key, " :.*?!"); trimmed != "" && key != "sold?" {
		key = trimmed
	}
	return key
}

// guess is what a heading alone says.
type guess struct {
	field  string
	chance float64
	rule   string
}

// guessOf reads one heading, also one that is spelt nearly as a known one.
func guessOf(heading string) guess {
	if g := knownHeading(heading); g.rule != "unknown_heading" {
		return g
	}
	return nearHeading(headingKey(heading))
}

// knownHeading reads a heading that is a column's name or a word of the trade.
func knownHeading(heading string) guess {
	key := headingKey(heading)
	if key == "" {
		return guess{}
	}
	if c, ok := service.ColumnByName(strings.ReplaceAll(key, " ", "_")); ok {
		return guess{c.Name, sure, "column_name"}
	}
	if isLeftOut[key] {
		return guess{"", cmp.Or(unsureHeadings[key], tradeWord), "worked_out"}
	}
	if field, ok := fieldByHeading[key]; ok {
		return guess{field, cmp.Or(unsureHeadings[key], tradeWord), "trade_word"}
	}
	if letters := headingLetters(heading); len(letters) == 3 {
		return guess{fieldSize, tradeWord, "trade_word"}
	}
	if bare, _, cut := strings.Cut(key, "("); cut && strings.TrimSpace(bare) != "" {
		g := knownHeading(bare)
		g.chance *= 0.99
		return g
	}
	return guess{rule: "unknown_heading"}
}

// nearHeading reads a heading with a slip: at most one in five letters, never
// the first.
func nearHeading(key string) guess {
	words := make([]string, 0, len(fieldByHeading)+len(service.Columns))
	for word := range fieldByHeading {
		if len(word) > 4 {
			words = append(words, word)
		}
	}
	for _, c := range service.Columns {
		words = append(words, service.InWords(c.Name))
	}
	slices.Sort(words)
	near := service.Nearest(key, words)
	if near != "" && len(key) > 3 && near[0] == key[0] && service.Edits(key, near) <= max(1, len(key)/5) {
		return guess{cmp.Or(fieldByHeading[near], strings.ReplaceAll(near, " ", "_")), nearSpelt, "near_heading"}
	}
	return guess{rule: "unknown_heading"}
}

// isField reports whether a column or one of the fields beside them is called so.
func isField(name string) bool {
	_, ok := service.ColumnByName(name)
	return ok || slices.Contains(fieldNames, name)
}

// Fields are all names that a heading can be taken for.
func Fields() []string {
	names := slices.Clone(fieldNames)
	for _, c := range service.Columns {
		if !c.ReadOnly && !c.InputOnly {
			names = append(names, c.Name)
		}
	}
	slices.Sort(names)
	return names
}

// recognized counts the cells of a row that are headings, and those with text.
func recognized(row []Cell) (known, filled int) {
	for _, cell := range row {
		if strings.TrimSpace(cell.Text) == "" {
			continue
		}
		filled++
		if !cell.Number && len(cell.Text) < 60 && knownHeading(cell.Text).rule != "unknown_heading" {
			known++
		}
	}
	return known, filled
}

// findHeadings finds the heading row: the one with the most headings that are
// known; -1: none.
func findHeadings(rows [][]Cell) int {
	best, at := 1, -1
	for i, row := range rows[:min(len(rows), headingWithin)] {
		known, filled := recognized(row)
		if known > best && (known > 2 || 5*known >= 2*filled) {
			best, at = known, i
		}
	}
	return at
}

// column is a column of the sheet with how its cells are read.
type column struct {
	at      int
	heading string
	field   string
	chance  float64
	rule    string
	order   dateOrder
	unit    string // that its heading names
	texts   []string
}

// columnsOf takes each heading for a field.
func (s *session) columnsOf(g *Grid, at int) []*column {
	var columns []*column
	for i, cell := range g.Rows[at] {
		col := &column{at: i, heading: strings.TrimSpace(cell.Text)}
		for _, row := range g.Rows[at+1:] {
			if i < len(row) && !isNothing(row[i].Text) {
				col.texts = append(col.texts, row[i].Text)
			}
		}
		if col.heading == "" && len(col.texts) == 0 {
			continue
		}
		s.take(col)
		columns = append(columns, col)
	}
	s.oneEach(columns)
	return columns
}

// take decides what a heading is taken for.
func (s *session) take(col *column) {
	if field, told := s.columns[headingKey(col.heading)]; told && (field == "" || isField(field)) {
		col.field, col.chance, col.rule = field, sure, "remembered"
	} else {
		g := guessOf(col.heading)
		col.field, col.chance, col.rule = g.field, g.chance, g.rule
		s.seeValues(col)
		s.askHeading(col)
	}
	col.unit = headingUnit(col.heading)
	if c, ok := service.ColumnByName(col.field); ok && c.Kind == service.KindDate {
		col.order = orderOf(col.texts)
	}
}

func headingUnit(heading string) string {
	key := plain(heading)
	switch {
	case strings.Contains(key, "cm"):
		return "cm"
	case strings.Contains(key, `"`), strings.Contains(key, "(in"), strings.HasSuffix(key, " in"), strings.Contains(key, "inch"):
		return "in"
	}
	return ""
}

// swapped is what a heading means when its values are of the other kind.
var swapped = map[string]string{"bought_on": "purchase_cost", "listed_on": "ask", "ended_on": "sale_price"}

// seeValues corrects what the heading says by what stands below it.
func (s *session) seeValues(col *column) {
	days, amounts := 0, 0
	for _, text := range col.texts {
		bare, _ := bareAmount(text, &s.reader.Currency)
		switch {
		case looksLikeDay(text):
			days++
		case plainNumber.MatchString(bare) || grouped.MatchString(bare) || pointed.MatchString(bare) || comma.MatchString(bare):
			amounts++
		}
	}
	n := len(col.texts)
	most := func(count int) bool { return n > 0 && 10*count >= 7*n }
	switch {
	case col.field == fieldSold && most(days):
		col.field, col.rule = "ended_on", "by_values"
	case col.field == fieldSold && most(amounts):
		col.field, col.rule = "sale_price", "by_values"
	case col.field == fieldSold:
		col.field, col.rule = fieldStatus, "by_values"
	case swapped[col.field] != "" && most(amounts) && !most(days):
		col.field, col.rule = swapped[col.field], "by_values"
	case col.field == "id" && !allIDs(col.texts):
		col.field, col.chance, col.rule = "ref", tradeWord, "by_values"
	case col.chance < needNotAsk && mostWords(col):
		col.chance, col.rule = tradeWord, "by_values"
	case col.field == "source" && !allWords(col.texts, "source"):
		col.field, col.chance, col.rule = "bought_from", tradeWord, "by_values"
	case col.rule == "unknown_heading" || col.heading == "":
		if n >= 3 && most(kindsIn(col.texts)) {
			col.field, col.chance, col.rule = "category", byValues, "by_values"
		}
	}
}

func looksLikeDay(text string) bool {
	bare := bareDay(text)
	if isoDay.MatchString(bare) || slashed.MatchString(bare) || serial.MatchString(bare) {
		return true
	}
	if m := dayFirst.FindStringSubmatch(bare); m != nil {
		return monthNames[m[2]] != 0
	}
	m := dayThen.FindStringSubmatch(bare)
	return m != nil && monthNames[m[1]] != 0
}

func allWords(texts []string, name string) bool {
	c, _ := service.ColumnByName(name)
	for _, text := range texts {
		if _, ok := knownWord(c, text); !ok {
			return false
		}
	}
	return true
}

// mostWords reports whether nine in ten values are known words of the column.
func mostWords(col *column) bool {
	c, ok := service.ColumnByName(col.field)
	if !ok || c.Kind != service.KindWord || len(col.texts) < 3 {
		return false
	}
	known := 0
	for _, text := range col.texts {
		_, is := knownWord(c, text)
		if is || shortWords[c.Name][plain(text)] != "" {
			known++
		}
	}
	return 10*known >= 9*len(col.texts)
}

func allIDs(texts []string) bool {
	return !slices.ContainsFunc(texts, func(text string) bool { return uuid.Validate(strings.TrimSpace(text)) != nil })
}

func kindsIn(texts []string) int {
	found := 0
	for _, text := range texts {
		bare, _ := cutSet(plain(text))
		if _, ok := exactKind(singular(bare)); ok {
			found++
		}
	}
	return found
}

// askHeading asks about a heading that is not certain.
func (s *session) askHeading(col *column) {
	if col.chance >= needNotAsk || (col.heading == "" && col.field == "") || len(col.texts) == 0 {
		return
	}
	q := Question{Code: "heading", Heading: col.heading, Column: col.field, Found: col.heading, Proposed: cmp.Or(col.field, LeaveOut)}
	q.Text = fmt.Sprintf("Is the column %q %s?", service.Clip(col.heading), fieldInWords(col.field))
	if col.field == "" {
		q.Text = fmt.Sprintf("Nothing here is called %q. Leave the column out?", service.Clip(col.heading))
	}
	answer := s.ask.about(q)
	switch {
	case answer == LeaveOut:
		col.field = ""
	case isField(answer):
		col.field = answer
	}
	if _, told := s.ask.answers["heading|"+plain(col.heading)]; told {
		col.chance, col.rule = sure, "answered"
	}
}

// fieldInWords says what a field is.
func fieldInWords(field string) string {
	switch field {
	case fieldSize:
		return "width x depth x height"
	case fieldStatus:
		return "what became of the piece"
	case fieldDrops:
		return "price drops"
	case fieldFirstAsk:
		return "the first ask"
	case fieldLook:
		return "finish and color"
	}
	return service.InWords(field)
}

// oneEach leaves each field to one column: the surest, or the first. The
// others are asked about.
func (s *session) oneEach(columns []*column) {
	best := map[string]*column{}
	for _, col := range columns {
		if held := best[col.field]; col.field != "" && (held == nil || col.chance > held.chance) {
			best[col.field] = col
		}
	}
	for _, col := range columns {
		if col.field == "" || best[col.field] == col {
			continue
		}
		answer := s.ask.about(Question{
			Code: "second_column", Heading: col.heading, Column: col.field, Found: col.heading, Proposed: LeaveOut,
			Text: fmt.Sprintf("%q and %q both look like %s. Leave the second out?", service.Clip(best[col.field].heading),
				service.Clip(col.heading), fieldInWords(col.field)),
		})
		col.field, col.rule = "", "second_column"
		if isField(answer) && best[answer] == nil {
			col.field, col.rule = answer, "answered"
			best[answer] = col
		}
	}
}

// HeadingKey is a heading as Settings.Columns has it.
func HeadingKey(heading string) string { return headingKey(heading) }

// SameHeading reports whether two headings are one.
func SameHeading(a, b string) bool { return headingKey(a) == headingKey(b) }

// HasHeadings reports whether a sheet has a row of headings that are known.
func HasHeadings(g *Grid) bool { return findHeadings(g.Rows) >= 0 }
