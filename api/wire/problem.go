package wire

import "askwright/api/web"

// ProblemPage is the kinds of problems.
type ProblemPage struct {
	Items []web.ProblemType `json:"items"`
	Next  *string           `json:"next"` // null: the list is whole
}

// ProblemColumns are the columns of the kinds of problems.
var ProblemColumns = web.ColumnsOf[web.ProblemType](`
	name title status about`)
