package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"askwright/service"
)

// session reads one sheet.
type session struct {
	reader        *service.Reader
	columns       map[string]string
	ask           *asking
	marks         marks
	proposedOrder string
	asked         bool // whether the number just read has a mark that may mean two things
}

// At looks at a sheet. A sheet that is none of pieces is a *Refusal.
func At(g *Grid, o Settings) (*Look, error) {
	at := findHeadings(g.Rows)
	if at < 0 {
		return nil, refuseUnknown(g.Rows)
	}
	s := &session{reader: o.Reader, columns: o.Columns, ask: newAsking(o.Answers)}
	columns := s.columnsOf(g, at)
	if refused := checkTable(g, at, columns); refused != nil {
		return nil, refused
	}
	if refused := isTrade(columns); refused != nil {
		return nil, refused
	}
	s.weigh(columns, g.Semicolon)
	look := &Look{HeadingRow: at + 1}
	if err := s.readRows(g, at, columns, look); err != nil {
		return nil, err
	}
	look.Questions = s.ask.list
	for _, col := range columns {
		look.Mapping = append(look.Mapping, col.taken())
	}
	return look, nil
}

// weigh finds what the sheet proves of numbers and days.
func (s *session) weigh(columns []*column, semicolon bool) {
	var amounts []string
	proved := map[string]int{}
	for _, col := range columns {
		c, ok := service.ColumnByName(col.field)
		if (ok && c.Kind == service.KindMoney) || col.field == fieldFirstAsk {
			amounts = append(amounts, col.texts...)
		}
		if col.order.order != "" {
			proved[col.order.order]++
		}
	}
	s.marks = marksOf(amounts, semicolon)
	s.proposedOrder = service.DateOrderDMY
	if s.reader.Currency.Code == "USD" || proved[service.DateOrderMDY] > proved[service.DateOrderDMY] {
		s.proposedOrder = service.DateOrderMDY
	}
	if proved[service.DateOrderDMY] > proved[service.DateOrderMDY] {
		s.proposedOrder = service.DateOrderDMY
	}
}

// taken is the column as it is shown.
func (c *column) taken() Taken {
	t := Taken{At: c.at, Heading: c.heading, Column: c.field, ChanceRight: c.chance, Rule: c.rule, Examples: []string{}}
	for _, text := range c.texts {
		if text = service.Clip(service.OneLine(text)); !slices.Contains(t.Examples, text) && len(t.Examples) < 3 {
			t.Examples = append(t.Examples, text)
		}
	}
	return t
}

// leave is an answer as a value: the one that leaves the cell out is blank.
func (s *session) leave(answer string) string {
	if answer == LeaveOut {
		return ""
	}
	return answer
}

// unreadable asks what a cell means that no rule reads.
func (s *session) unreadable(col *column, found, what string) (value, rule string) {
	return s.leave(s.ask.about(Question{
		Code: "unreadable", Column: col.field, Heading: col.heading, Found: service.OneLine(found), Proposed: LeaveOut,
		Text: fmt.Sprintf("%q is not %s that can be read. Leave it empty, or say what it is?", service.Clip(service.OneLine(found)), what),
	}, plain(found))), "unreadable"
}

// readRows reads what stands below the headings.
func (s *session) readRows(g *Grid, at int, columns []*column, look *Look) error {
	rows := s.fillMerged(g, at)
	hasRef := slices.ContainsFunc(columns, func(c *column) bool { return c.field == "ref" })
	pieces := 0
	for i, cells := range rows[at+1:] {
		row := at + i + 2
		why, err := s.skipped(g, at, row, cells, columns)
		if err != nil {
			return err
		}
		if why == "blank" {
			continue
		}
		if why != "" {
			look.Skipped = append(look.Skipped, Skipped{At: row, Why: why})
			continue
		}
		pieces++
		s.ask.row = row
		r := s.readRow(row, cells, columns)
		if !hasRef && s.ask.about(Question{
			Code: "no_ref", Proposed: "number", Text: "No column names each piece. Number them 1, 2, 3 in their order?",
		}) != LeaveOut {
			r.Cells["ref"] = strconv.Itoa(pieces)
		}
		look.Rows = append(look.Rows, r)
	}
	s.ask.row = 0
	return nil
}

// fillMerged gives each row that a merged cell spans the cell's value, if that
// is what it means: all but the first of them are empty in the file.
func (s *session) fillMerged(g *Grid, at int) [][]Cell {
	rows := g.Rows
	copied := false
	for _, m := range g.Merged {
		if m.Top <= at || m.Bottom <= m.Top || m.Top >= len(rows) || m.Left >= len(rows[m.Top]) || rows[m.Top][m.Left].Text == "" {
			continue
		}
		if !copied {
			rows, copied = slices.Clone(rows), true
		}
		value := rows[m.Top][m.Left]
		s.ask.row = m.Top + 1
		if s.ask.about(Question{
			Code: "merged", Found: value.Text, Proposed: "yes",
			Text: fmt.Sprintf("One merged cell holds %q for the rows %d to %d. Is it meant for each of them?", service.Clip(value.Text), m.Top+1, m.Bottom+1),
		}, strconv.Itoa(m.Top), strconv.Itoa(m.Left)) != "yes" {
			continue
		}
		for i := m.Top + 1; i <= m.Bottom && i < len(rows); i++ {
			rows[i] = slices.Clone(rows[i])
			for len(rows[i]) <= m.Left {
				rows[i] = append(rows[i], Cell{})
			}
			rows[i][m.Left] = value
		}
	}
	s.ask.open = false
	return rows
}

var totalWords = []string{"total", "totals", "sum", "subtotal", "average", "avg", "grand total", "summe", "mean", "count", "median"}

// skipped says why a row is no piece; "": it is one.
func (s *session) skipped(g *Grid, at, row int, cells []Cell, columns []*column) (string, error) {
	filled, first := 0, ""
	for _, cell := range cells {
		if text := strings.TrimSpace(cell.Text); text != "" {
			filled++
			first = cmp.Or(first, text)
		}
	}
	if filled == 0 {
		return "blank", nil
	}
	if known, all := recognized(cells); known >= 3 && 10*known >= 6*all {
		if sameHeadings(g.Rows[at], cells) {
			return "heading_again", nil
		}
		return "", &Refusal{"two_tables", fmt.Sprintf("A second table begins in row %d of %s. Put each table on a sheet of its own.", row, g.title())}
	}
	kind, ref := "", ""
	for _, col := range columns {
		if col.at < len(cells) {
			switch col.field {
			case "category":
				kind = strings.TrimSpace(cells[col.at].Text)
			case "ref":
				ref = strings.TrimSpace(cells[col.at].Text)
			}
		}
	}
	word, _, _ := strings.Cut(headingKey(first), ":")
	switch {
	case slices.Contains(totalWords, word) || strings.HasPrefix(word, "total "):
		return "totals", nil
	case filled == 1 && len(columns) > 2:
		return "section", nil
	case kind == "" && ref == "":
		return "totals", nil
	}
	return "", nil
}

func sameHeadings(headings, cells []Cell) bool {
	same, filled := 0, 0
	for i, cell := range cells {
		if key := headingKey(cell.Text); key != "" {
			filled++
			if i < len(headings) && headingKey(headings[i].Text) == key {
				same++
			}
		}
	}
	return 10*same >= 6*filled
}
