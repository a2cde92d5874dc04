package rowfile

import (
	"askwright/service"
)

// ColumnSet is the columns that a body may name.
type ColumnSet struct {
	ByName  func(name string) (*service.Column, bool)
	Nearest func(name string) string
}

// RowColumns are the columns of a row, and of a find with its plan.
var (
	RowColumns  = ColumnSet{service.ColumnByName, service.NearestColumn}
	FindColumns = ColumnSet{service.FindColumn, service.NearestFindColumn}
)
