package rowfile

import (
	"askwright/service"
)

// ColumnSet is the columns that a body may name.
type ColumnSet struct {
	ByName  func(name string) (*service.Column, bool)
	Nearest func(name string) string
}

var (
	RowColumns  = ColumnSet{service.ColumnByName, service.NearestColumn}
	FindColumns = ColumnSet{service.FindColumn, service.NearestFindColumn}
)
