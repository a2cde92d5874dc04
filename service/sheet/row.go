package sheet

import (
	"cmp"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"askwright/pricing"
	"askwright/service"
)

// rowReader reads the cells of one row.
type rowReader struct {
	*session
	cells   []Cell
	byField map[string]*column
	out     Row
	fate    fate
}

// readRow reads one row. What other cells depend on comes first.
func (s *session) readRow(at int, cells []Cell, columns []*column) Row {
	r := &rowReader{session: s, cells: cells, byField: make(map[string]*column), out: Row{At: at, Cells: service.Cells{}, Read: map[string]Reading{}}}
	for _, col := range columns {
		if col.field != "" && col.at < len(cells) {
			r.byField[col.field] = col
		}
	}
	r.readKind()
	r.readSize()
	r.readLook()
	r.plainColumn("listed_on")
	r.readStatus()
	r.plainColumn("bought_on")
	for i := range service.Columns {
		if name := service.Columns[i].Name; r.out.Read[name].Rule == "" && !r.done(name) {
			r.plainColumn(name)
		}
	}
	r.readAsks()
	r.settle()
	return r.out
}

// done reports whether a field is read by a method of its own.
func (r *rowReader) done(name string) bool {
	switch name {
	case "category", "finish", "color", "ask_history":
		return true
	}
	return false
}

// cell is what stands in the column of a field.
func (r *rowReader) cell(field string) (*column, Cell, bool) {
	col := r.byField[field]
	if col == nil {
		return nil, Cell{}, false
	}
	cell := r.cells[col.at]
	return col, cell, strings.TrimSpace(cell.Text) != ""
}

// set keeps what was made of a cell.
func (r *rowReader) set(name string, found, value, rule string) {
	reading := Reading{Found: service.Clip(service.OneLine(found)), Value: value, Rule: rule, Open: r.ask.open}
	r.ask.open = false
	r.out.Read[name] = reading
	if value != "" {
		r.out.Cells[name] = value
	}
}

func (r *rowReader) readKind() {
	col, cell, ok := r.cell("category")
	if !ok {
		return
	}
	read := r.kind(col, cell.Text)
	r.set("category", cell.Text, r.leave(read.category), read.rule)
	if read.items != "" {
		r.set("set_items", cell.Text, read.items, read.rule)
	}
	_, told, has := r.cell("set_size")
	switch {
	case has && !isNothing(told.Text):
	case read.set > 0:
		r.set("set_size", cell.Text, strconv.Itoa(read.set), read.rule)
	case read.plural && read.category != "":
		answer := r.ask.about(Question{
			Code: "how_many", Column: "set_size", Heading: col.heading, Found: cell.Text, Proposed: "2",
			Text: fmt.Sprintf("%q is more than one. How many?", service.Clip(cell.Text)),
		}, plain(cell.Text))
		r.set("set_size", cell.Text, r.leave(answer), "how_many")
	}
}

func (r *rowReader) readSize() {
	col, cell, ok := r.cell(fieldSize)
	if !ok || isNothing(cell.Text) {
		return
	}
	found, rule, ok := r.size(col, cell.Text)
	if !ok {
		value, rule := r.unreadable(col, cell.Text, "a size such as 50x18x32")
		if value == "" {
			r.set("width", cell.Text, "", rule)
			return
		}
		if found, _, ok = r.size(col, value); !ok {
			return
		}
	}
	open := r.ask.open
	for _, name := range []string{"width", "depth", "height"} {
		if value := found[name]; value != "" && r.byField[name] == nil {
			r.ask.open = open
			r.set(name, cell.Text, value, rule)
		}
	}
	r.ask.open = false
}

// readLook reads finish and color from their columns, or both from one.
func (r *rowReader) readLook() {
	for _, name := range []string{"finish", fieldLook, "color"} {
		col, cell, ok := r.cell(name)
		if !ok || isNothing(cell.Text) {
			continue
		}
		if name != fieldLook {
			known, short := listedWord(name, plain(cell.Text)), shortWords[name][plain(cell.Text)]
			if known != "" || short != "" {
				value, rule := r.word(col, cell.Text)
				r.set(name, cell.Text, value, rule)
				continue
			}
		}
		finish, color, rule := r.look(cell.Text)
		switch {
		case rule == "" && name == fieldLook:
			word := *col
			word.field = "finish"
			value, rule := r.word(&word, cell.Text)
			r.set("finish", cell.Text, value, rule)
		case rule == "":
			value, rule := r.word(col, cell.Text)
			r.set(name, cell.Text, value, rule)
		default:
			if finish != "" && r.out.Cells["finish"] == "" && (name != "color" || r.byField["finish"] == nil) {
				r.set("finish", cell.Text, finish, rule)
			}
			if color != "" && r.out.Cells["color"] == "" {
				r.set("color", cell.Text, color, rule)
			}
		}
	}
}

func (r *rowReader) readStatus() {
	col, cell, ok := r.cell(fieldStatus)
	if !ok {
		return
	}
	if on, price, ok := r.soldInWords(cell.Text); ok {
		r.fate = fate{outcome: service.OutcomeSold, rule: "sold_in_words"}
		if on != "" && r.byField["ended_on"] == nil {
			day := *col
			day.order = orderOf(col.texts)
			value, rule := r.day(&day, Cell{Text: on}, parsedDay(r.out.Cells["listed_on"]))
			r.set("ended_on", cell.Text, value, rule)
		}
		if price != "" && r.byField["sale_price"] == nil {
			r.set("sale_price", cell.Text, price, "sold_in_words")
		}
	} else {
		r.fate = r.status(col, cell.Text)
	}
	r.set(fieldStatus, cell.Text, "", r.fate.rule)
}

// soldWords is sold 6/14 for $300 and sold $300.
var soldWords = regexp.MustCompile(`^sold[ :,\-]*(?:on )?([\d/.\-]+|[a-z]{3,9}\.? \d{1,2}(?:,? \d{4})?)?[ ,]*(?:for |@ ?|at )?(?:[$€£] ?([\d.,]+))?$`)

func (r *rowReader) soldInWords(text string) (on, price string, ok bool) {
	m := soldWords.FindStringSubmatch(plain(text))
	if m == nil || (m[1] == "" && m[2] == "") {
		return "", "", false
	}
	if m[2] != "" {
		if price, ok = r.number(r.byField[fieldStatus], m[2]); !ok {
			return "", "", false
		}
	}
	return m[1], price, true
}

// plainColumn reads a column by its kind.
func (r *rowReader) plainColumn(name string) {
	col, cell, ok := r.cell(name)
	if !ok || r.done(name) {
		return
	}
	c, _ := service.ColumnByName(name)
	value, rule := cell.Text, "text"
	switch {
	case name == "width" || name == "depth" || name == "height":
		value, rule = r.length(col, cell)
	case strings.HasPrefix(name, "hours"):
		value, rule = r.hours(col, cell)
	case c.Kind == service.KindDate:
		value, rule = r.day(col, cell, r.nearDay(name))
	case c.Kind == service.KindMoney:
		value, rule = r.amount(col, cell)
	case c.Kind == service.KindCount || c.Kind == service.KindNumber:
		value, rule = r.count(col, cell)
	case c.Kind == service.KindWord:
		value, rule = r.word(col, cell.Text)
	case name != "ref" && isNothing(value):
		value, rule = "", "nothing"
	default:
		value = strings.TrimSpace(value)
	}
	r.set(name, cell.Text, value, rule)
}

// nearDay is the first day that a day without its year can be.
func (r *rowReader) nearDay(name string) pricing.Date {
	if name == "ended_on" || name == "closed_on" || name == "last_seen_on" {
		return parsedDay(r.out.Cells["listed_on"])
	}
	return 0
}

var countForm = regexp.MustCompile(`^~?(\d{1,3}(?:,\d{3})+|\d{1,9})(?:\.0+)?\+?(?: [a-z]+)?$`)

// count reads a whole number: 12, 1,250, 12 views.
func (r *rowReader) count(col *column, cell Cell) (value, rule string) {
	text := plain(cell.Text)
	if isNothing(text) {
		return "", "nothing"
	}
	if n, ok := written[text]; ok {
		return strconv.Itoa(n), "count_word"
	}
	if col.field == "set_size" && text == "pair" {
		return "2", "count_word"
	}
	if m := countForm.FindStringSubmatch(text); m != nil {
		return digits(m[1]), "count"
	}
	if m := setOf.FindStringSubmatch(text + " x"); m != nil && col.field == "set_size" {
		return strconv.Itoa(countOf(m[1])), "count_word"
	}
	if m := decade.FindStringSubmatch(text); m != nil && col.field == "year_made" {
		return s19(m[1]), "decade"
	}
	return r.unreadable(col, cell.Text, "a whole number")
}

var decade = regexp.MustCompile(`^(?:c\.? ?|ca\.? ?|circa )?'?(\d{4}|\d{2})'?s?\??$`)

// s19 is a decade as a year: 60s is 1960.
func s19(text string) string {
	if len(text) == 2 {
		return "19" + text
	}
	return text
}

// readAsks reads the history of asks: from a column of drops, or from the first
// and the present ask.
func (r *rowReader) readAsks() {
	if _, cell, ok := r.cell("ask_history"); ok {
		r.set("ask_history", cell.Text, strings.TrimSpace(cell.Text), "text")
	}
	first := ""
	if col, cell, ok := r.cell(fieldFirstAsk); ok {
		first, _ = r.amount(col, cell)
	}
	listed := r.out.Cells["listed_on"]
	if col, cell, ok := r.cell(fieldDrops); ok && !isNothing(cell.Text) {
		r.readDrops(col, cell.Text, cmp.Or(first, r.out.Cells["ask"]), listed)
	} else if ask := r.out.Cells["ask"]; ask == "" && first != "" {
		_, cell, _ := r.cell(fieldFirstAsk)
		r.set("ask", cell.Text, first, "first_ask")
	} else if first != "" && first != ask {
		r.firstUndated(first, ask)
	}
	r.ask.open = false
}

// firstUndated asks about a first ask without the day it was changed.
func (r *rowReader) firstUndated(first, ask string) {
	col, cell, _ := r.cell(fieldFirstAsk)
	r.ask.about(Question{
		Code: "undated_drop", Column: fieldFirstAsk, Heading: col.heading, Found: first + ", now " + ask, Proposed: LeaveOut,
		Text: fmt.Sprintf("The ask fell from %s to %s, but no day says when. Keep the present ask only?", first, ask),
	})
	r.set(fieldFirstAsk, cell.Text, "", "undated_drop")
}

func (r *rowReader) readDrops(col *column, text, first, listed string) {
	dated := *col
	dated.order = orderOf(dropDays(col.texts))
	parts, highest, ok := r.drops(&dated, text, parsedDay(listed))
	if !ok || listed == "" || first == "" {
		value, rule := r.unreadable(col, text, "price drops such as 9/15 $200")
		r.set(fieldDrops, text, "", rule)
		if value != "" {
			r.out.Cells["ask_history"] = value
		}
		return
	}
	if less(first, highest) || first == highest {
		// The ask of the row is the present one: the first is not told.
		answer := r.ask.about(Question{
			Code: "first_ask", Column: "ask_history", Heading: col.heading, Found: text, Proposed: LeaveOut,
			Text: fmt.Sprintf("The ask fell by %q to %s. What was the first ask? Else the drops are left out.", service.Clip(text), first),
		}, strconv.Itoa(r.out.At))
		if answer == LeaveOut {
			r.set(fieldDrops, text, "", "first_ask")
			return
		}
		first = answer
	}
	if strings.HasPrefix(parts[0], listed+":") {
		parts = parts[1:]
	}
	delete(r.out.Cells, "ask")
	r.set("ask_history", text, strings.Join(append([]string{listed + ":" + first}, parts...), ";"), "price_drops")
}

func dropDays(texts []string) []string {
	var days []string
	for _, text := range texts {
		for part := range strings.SplitSeq(strings.ReplaceAll(plain(text), ", ", ";"), ";") {
			if m := drop.FindStringSubmatch(strings.TrimSpace(part)); m != nil {
				days = append(days, strings.Trim(m[1], " ,:"))
			}
		}
	}
	return days
}

func less(a, b string) bool {
	x, err1 := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	return err1 == nil && err2 == nil && x < y
}
