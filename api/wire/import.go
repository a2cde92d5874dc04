package wire

import (
	"askwright/api/web"
)

// ImportAnswer is the counts with what was wrong.
type ImportAnswer struct {
	web.ImportCounts
	Errors    []web.ProblemError `json:"errors"`
	Revisions map[string]int64   `json:"revisions,omitempty"` // with revisions=true: by ref, of the rows that landed
}

// ImportQuery is how a file is taken.
type ImportQuery struct {
	Atomic         bool   `form:"atomic"`                                // all or nothing
	DryRun         bool   `form:"dry_run"`                               // the same answer, and nothing is kept
	Decimal        string `form:"decimal" default:"."`                   // of a CSV: a point or a comma; must be told where ; is between the cells and a number has a comma
	Revisions      bool   `form:"revisions"`                             // tell the revisions that the rows are at now
	UnknownColumns string `form:"unknown_columns" enums:"refuse,ignore"` // default: refuse
}

// SheetQuery is ImportQuery with what a first look takes.
type SheetQuery struct {
	Commit bool   `form:"commit"` // let a file with the columns' own names land at once
	Sheet  string `form:"sheet"`  // of a workbook; default: the first with headings
	Name   string `form:"name"`   // of the file, for the list
	ImportQuery
}
