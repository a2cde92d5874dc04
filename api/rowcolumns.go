package api

import "askwright/service"

// columnSet is the columns that a body may name.
type columnSet struct {
	byName  func(name string) (*service.Column, bool)
	nearest func(name string) string
}

var (
	rowColumns  = columnSet{service.ColumnByName, service.NearestColumn}
	findColumns = columnSet{service.FindColumn, service.NearestFindColumn}
)
