package wire

import (
	"time"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/imports"
	"askwright/service/sheet"
)

// Import is a sheet with what is made of it: a first look, nothing has landed.
type Import struct {
	ID          uuid.UUID          `json:"id" format:"uuid"`
	State       string             `json:"state" enums:"open,committed"`
	Name        string             `json:"name" example:"flips.xlsx"` // of the file
	CreatedAt   time.Time          `json:"created_at" format:"date-time"`
	Sheet       string             `json:"sheet" example:"Sheet1"` // of a workbook
	HeadingRow  int                `json:"heading_row" example:"3"`
	OtherSheets []string           `json:"other_sheets"` // of the workbook that have headings, too; see the parameter sheet
	Received    int                `json:"received" example:"119"`
	Created     int                `json:"created" example:"104"`
	Updated     int                `json:"updated"`
	Unchanged   int                `json:"unchanged"`
	Rejected    int                `json:"rejected" example:"9"`
	Doubtful    int                `json:"doubtful" example:"6"` // rows to check: they look like slips
	NewValues   []web.NewValue     `json:"new_values"`
	Mapping     []ImportColumn     `json:"mapping"`
	Questions   []ImportQuestion   `json:"questions"`
	Skipped     []ImportSkipped    `json:"skipped"`
	Doubts      []ImportDoubt      `json:"doubts"`
	Errors      []web.ProblemError `json:"errors"`
}

// ImportDoubt is why a row of a sheet is to be checked.
type ImportDoubt struct {
	Row      int    `json:"row" example:"17"` // of the sheet
	Ref      string `json:"ref" example:"B-17"`
	Code     string `json:"code" example:"ten_times"`
	Column   string `json:"column" example:"ask"`
	Found    string `json:"found" example:"2300.00"`
	Proposed string `json:"proposed" example:"230.00"` // empty: nothing is
	Text     string `json:"text" example:"2300 is far from what a desk is priced at here, about 210."`
}

// ImportColumn is a heading with what it is taken for.
type ImportColumn struct {
	Heading     string   `json:"heading" example:"Asking"`
	Column      *string  `json:"column" example:"ask"` // null: left out
	ChanceRight float64  `json:"chance_right" example:"0.98"`
	Rule        string   `json:"rule" example:"trade_word"`
	Examples    []string `json:"examples" example:"$380"`
}

// ImportQuestion is what is not certain, with what is proposed.
type ImportQuestion struct {
	ID       string  `json:"id" example:"q1"`
	Code     string  `json:"code" example:"date_order"`
	Column   string  `json:"column" example:"listed_on"`
	Heading  string  `json:"heading" example:"Listed"`
	Found    string  `json:"found" example:"8/9/26"`
	Proposed string  `json:"proposed" example:"mdy"` // "-": leave it out
	Text     string  `json:"text" example:"Is 8/9/26 August 9?"`
	Rows     int     `json:"rows" example:"12"` // that hang on it
	Answer   *string `json:"answer"`
}

// ImportSkipped is a row of the sheet that is no piece.
type ImportSkipped struct {
	Row  int    `json:"row" example:"121"`
	Code string `json:"code" enums:"totals,heading_again,section"`
}

// ImportPage is the member's sheets.
type ImportPage struct {
	Items []ImportItem `json:"items"`
}

// ImportItem is a sheet in the list of them.
type ImportItem struct {
	ID        uuid.UUID `json:"id" format:"uuid"`
	State     string    `json:"state" enums:"open,committed"`
	Name      string    `json:"name" example:"flips.xlsx"`
	CreatedAt time.Time `json:"created_at" format:"date-time"`
}

// ImportItemColumns are the list of sheets as CSV.
var ImportItemColumns = web.ColumnsOf[ImportItem]("id state name created_at")

// ImportPatch says what is right of a sheet.
type ImportPatch struct {
	Mapping      []ImportHeading `json:"mapping"`       // headings to take for another column
	Answers      []ImportReply   `json:"answers"`       // to questions
	TakeProposed bool            `json:"take_proposed"` // answer all other questions as proposed
}

// ImportHeading takes a heading for a column.
type ImportHeading struct {
	Heading string  `json:"heading" example:"Shelf"`
	Column  *string `json:"column" example:"notes"` // null: leave it out
}

// ImportReply answers a question.
type ImportReply struct {
	ID     string `json:"id" example:"q1"`
	Answer string `json:"answer" example:"mdy"`
}

// ImportCommit says how the rows are to land.
type ImportCommit struct {
	DryRun bool `json:"dry_run"` // the same answer, and nothing is kept
	Atomic bool `json:"atomic"`  // all or nothing
}

// ImportRow is a row of the sheet as it would land.
type ImportRow struct {
	Row      int             `json:"row" example:"17"` // of the sheet
	Ref      string          `json:"ref" example:"B-17"`
	Readings []ImportReading `json:"readings"`

	cells service.Cells
}

// ImportReading is a cell with what it is read as.
type ImportReading struct {
	Column string `json:"column" example:"ask"`
	Found  string `json:"found" example:"$380 obo"`
	Value  string `json:"value" example:"380"`
	Rule   string `json:"rule" example:"amount_obo"`
	IsOpen bool   `json:"is_open"` // a question about it is not answered
}

// ImportRowPage is the rows of a sheet.
type ImportRowPage struct {
	Items []ImportRow `json:"items"`
}

// ImportRowColumns are the rows of a sheet as CSV: the columns of a listing, as
// they can be imported.
var ImportRowColumns = func() []web.TableColumn[ImportRow] {
	var columns []web.TableColumn[ImportRow]
	for _, c := range service.Columns {
		if c.ReadOnly || c.InputOnly {
			continue
		}
		columns = append(columns, web.TableColumn[ImportRow]{Name: c.Name, Kind: web.TextCell, Value: func(r ImportRow) string { return r.cells[c.Name] }})
	}
	return columns
}()

// ImportResource shows a first look.
func ImportResource(i *imports.Import, others []string) Import {
	r := i.Result
	out := Import{
		ID: i.ID, State: i.State, Name: i.Name, CreatedAt: i.CreatedAt.UTC(), Sheet: i.Sheet, HeadingRow: i.Look.HeadingRow,
		OtherSheets: append([]string{}, others...), Received: r.Received, Created: r.Created, Updated: r.Updated, Unchanged: r.Unchanged,
		Rejected: r.Rejected, NewValues: []web.NewValue{}, Questions: []ImportQuestion{}, Skipped: []ImportSkipped{},
		Errors: append([]web.ProblemError{}, web.ProblemErrors(r.Errors)...),
	}
	for _, v := range r.NewValues {
		out.NewValues = append(out.NewValues, web.NewValue(v))
	}
	out.Doubts = []ImportDoubt{}
	doubtful := map[int]bool{}
	for _, d := range i.Doubts {
		doubtful[d.Row] = true
		out.Doubts = append(out.Doubts, ImportDoubt{Row: d.Row, Ref: d.Ref, Code: d.Code, Column: d.Column, Found: d.Found, Proposed: d.Proposed, Text: d.Text})
	}
	out.Doubtful = len(doubtful)
	out.Mapping = web.Each(i.Look.Mapping, importColumn)
	for _, q := range i.Look.Questions {
		out.Questions = append(out.Questions, ImportQuestion{ID: q.ID, Code: q.Code, Column: q.Column, Heading: q.Heading, Found: q.Found,
			Proposed: q.Proposed, Text: q.Text, Rows: q.Rows, Answer: q.Answer})
	}
	for _, s := range i.Look.Skipped {
		out.Skipped = append(out.Skipped, ImportSkipped{Row: s.At, Code: s.Why})
	}
	return out
}

func importColumn(t sheet.Taken) ImportColumn {
	c := ImportColumn{Heading: t.Heading, ChanceRight: t.ChanceRight, Rule: t.Rule, Examples: t.Examples}
	if t.Column != "" {
		c.Column = &t.Column
	}
	return c
}

// ImportItemResource shows a sheet in the list of them.
func ImportItemResource(s imports.Stored) ImportItem {
	return ImportItem{ID: s.ID, State: s.State, Name: s.Name, CreatedAt: s.CreatedAt.UTC()}
}

// ImportRowResource shows a row of a sheet, its cells in the order of the columns.
func ImportRowResource(r sheet.Row) ImportRow {
	out := ImportRow{Row: r.At, Ref: r.Cells["ref"], Readings: []ImportReading{}, cells: r.Cells}
	for _, c := range service.Columns {
		if read, ok := r.Read[c.Name]; ok {
			out.Readings = append(out.Readings, ImportReading{Column: c.Name, Found: read.Found, Value: read.Value, Rule: read.Rule, IsOpen: read.Open})
		}
	}
	return out
}

// Amendment is what the patch says.
func (p ImportPatch) Amendment() imports.Amendment {
	m := imports.Amendment{Columns: map[string]string{}, Answers: map[string]string{}, TakeProposed: p.TakeProposed}
	for _, h := range p.Mapping {
		m.Columns[h.Heading] = ""
		if h.Column != nil {
			m.Columns[h.Heading] = *h.Column
		}
	}
	for _, a := range p.Answers {
		m.Answers[a.ID] = a.Answer
	}
	return m
}

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
