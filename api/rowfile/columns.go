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
}

// Unknown is the fault of a name that is no column.
func (s ColumnSet) Unknown(name string) service.FieldError {
	isKnown := func(now string) bool { _, ok := s.ByName(now); return ok }
	return web.UnknownName(renamed.Field, name, "is no column", isKnown, s.Near(web.Clip(name, 60)))
}

// RowColumns are the columns of a row, and of a find with its plan.
var (
	RowColumns  = ColumnSet{service.ColumnByName, service.NearestColumn}
	FindColumns = ColumnSet{service.FindColumn, service.NearestFindColumn}
)
