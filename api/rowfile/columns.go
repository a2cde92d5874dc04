package rowfile

import (
	"askwright/api/renamed"
	"askwright/api/web"
	"askwright/service"
)

// ColumnSet is the columns that a body may name.
type ColumnSet struct {
	ByName func(name string) (*service.Column, bool)
	Near   func(name string) string // the column that was probably meant
	Former bool                     // the headings and words of earlier exports are read as today's
}

// today is the name of a column that earlier exports may have by another.
func (s ColumnSet) today(name string) string {
	if !s.Former {
		return name
	}
	isColumn := func(now string) bool { _, ok := s.ByName(now); return ok }
	if now := renamed.Now(renamed.Column, name, isColumn); now != "" {
		return now
	}
	return name
}

// word is a value of a closed list that earlier exports may have by another.
func (s ColumnSet) word(column, cell string) string {
	if c, ok := s.ByName(column); s.Former && ok && c.Closed {
		if now := renamed.Now(renamed.Word, service.CanonicalWord(cell), renamed.Among(c.Words)); now != "" {
			return now
		}
	}
	return cell
}

// readWords reads the words of earlier exports.
func (s ColumnSet) readWords(cells service.Cells) {
	for column, cell := range cells {
		cells[column] = s.word(column, cell)
	}
}

// Unknown is the fault of a name that is no column.
func (s ColumnSet) Unknown(name string) service.FieldError {
	isKnown := func(now string) bool { _, ok := s.ByName(now); return ok }
	return web.UnknownName(renamed.Column, name, "is no column", isKnown, s.Near(web.Clip(name, 60)))
}

// RowColumns are the columns of a row, ImportColumns those of a file of rows,
// and FindColumns those of a find with its plan.
var (
	RowColumns    = ColumnSet{ByName: service.ColumnByName, Near: service.NearestColumn}
	ImportColumns = ColumnSet{ByName: service.ColumnByName, Near: service.NearestColumn, Former: true}
	FindColumns   = ColumnSet{ByName: service.FindColumn, Near: service.NearestFindColumn}
)
