// Package sheet reads a member's own sheet as it is: it finds the heading row,
// takes each heading for a column of the listing row, and reads dates, amounts,
// lengths and words as people write them. Whatever is not certain is a question
// with a proposed answer; nothing is guessed silently. docs/importing.md has an
// example of each rule.
//
// It has no I/O and no clock. What it returns are cells that service.Reader
// takes: ISO days, plain amounts, lengths with their unit, known words.
package sheet

import (
	"strings"

	"askwright/service"
)

// Cell is one cell as text. A workbook knows of its numbers that they are some:
// their text has a point before the decimals, and nothing else.
type Cell struct {
	Text   string `json:"t"`
	Number bool   `json:"n,omitempty"`
}

// Grid is the cells of one sheet.
type Grid struct {
	Name      string   `json:"name"`
	Rows      [][]Cell `json:"rows"`
	Semicolon bool     `json:"semicolon,omitempty"` // between its cells: the comma may be a decimal mark
	Merged    []Merge  `json:"merged,omitempty"`
}

// Merge is cells that are one: rows and columns from 0, the last included.
type Merge struct {
	Top, Left, Bottom, Right int
}

// Settings are how the group writes, and what the member said of this sheet or
// of one before.
type Settings struct {
	Reader  *service.Reader   // today, currency, unit, date order
	Columns map[string]string // by heading as Heading.Key: the field, or "" to leave it out
	Answers map[string]string // by Question.Key
}

// Taken is a heading with the field that its column is taken for.
type Taken struct {
	At          int      `json:"-"` // column of the sheet, from 0
	Heading     string   `json:"heading"`
	Column      string   `json:"column"` // "": left out
	ChanceRight float64  `json:"chance_right"`
	Rule        string   `json:"rule"` // what made it be taken so; of the values where that says more
	Examples    []string `json:"examples"`
}

// Question is what is not certain.
type Question struct {
	ID       string  `json:"id"`
	Key      string  `json:"-"`
	Code     string  `json:"code"`
	Column   string  `json:"column"`
	Heading  string  `json:"heading"`
	Found    string  `json:"found"`
	Proposed string  `json:"proposed"`
	Text     string  `json:"text"`
	Answer   *string `json:"answer"`
	Rows     int     `json:"rows"` // that hang on it
}

// LeaveOut is the answer that leaves a column or a cell out.
const LeaveOut = "-"

// Row is one row of the sheet in the columns of the listing row.
type Row struct {
	At    int // row of the sheet, from 1
	Cells service.Cells
	Read  map[string]Reading // by column: what was found, and how it was read
}

// Reading is what a cell holds and what was made of it.
type Reading struct {
	Found string `json:"found"`
	Value string `json:"value"`
	Rule  string `json:"rule"`
	Open  bool   `json:"open"` // a question about it is not answered
}

// Skipped is a row of the sheet that is no piece.
type Skipped struct {
	At  int    `json:"row"`
	Why string `json:"code"`
}

// Look is what is made of a sheet.
type Look struct {
	HeadingRow int // from 1
	Mapping    []Taken
	Questions  []Question
	Rows       []Row
	Skipped    []Skipped
}

// Open counts the questions without an answer.
func (l *Look) Open() int {
	open := 0
	for _, q := range l.Questions {
		if q.Answer == nil {
			open++
		}
	}
	return open
}

// plain is text in small letters, with single blanks and without the marks
// that people put around words.
func plain(s string) string {
	s = strings.Map(func(r rune) rune {
		switch r {
		case '’', '‘', '`', '´':
			return '\''
		case '\u00a0', '_', '\t', '\n', '\r':
			return ' '
		}
		return r
	}, strings.ToLower(s))
	return strings.Join(strings.Fields(s), " ")
}
