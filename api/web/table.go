package web

import (
	"bufio"
	"cmp"
	"io"
	"regexp"
	"strings"

	"github.com/gin-gonic/gin"
)

// TableQuery is how a table is written.
type TableQuery struct {
	Fields    ColumnList     `form:"fields" swaggertype:"string" example:"ref,ask"` // which columns, in this order
	Delimiter fieldDelimiter `form:"delimiter" swaggertype:"string" default:","`    // of CSV: a comma, a semicolon or tab
	Decimal   decimalMark    `form:"decimal" swaggertype:"string" default:"."`      // of CSV: a point or a comma
	BOM       bool           `form:"bom"`                                           // of CSV: for a spreadsheet that opens the file by double click
	Key       string         `form:"key"`                                           // of a .csv feed: a feed key
}

const csvMediaType = "text/csv; charset=utf-8; header=present" // RFC 4180, RFC 7111

// TableOptions are how a client wants its CSV.
type TableOptions struct {
	Delimiter string // default ","
	Decimal   string // default "."
	BOM       bool   // for a spreadsheet that opens the file by double click
	Fields    []string
}

// TableParams reads the options of a table that has these columns.
func TableParams(p *Params, columns []string) TableOptions {
	var q TableQuery
	BindQuery(p, &q)
	p.checkFields(q.Fields, columns)
	return TableOptions{Delimiter: string(q.Delimiter), Decimal: string(q.Decimal), BOM: q.BOM, Fields: q.Fields}
}

// CsvParams is TableParams where JSON comes whole.
func CsvParams(p *Params, form string, columns []string) TableOptions {
	o := TableParams(p, columns)
	if form == FormJSON && len(o.Fields) > 0 {
		p.Refuse("fields", "is for CSV here")
	}
	return o
}

// WriteTable writes items that are at hand.
func WriteTable[T any](c *gin.Context, filename string, columns []TableColumn[T], o TableOptions, items []T) error {
	startFile(c, csvMediaType, filename)
	t := NewTable(c.Writer, columns, o)
	for _, item := range items {
		if err := t.Row(item); err != nil {
			return err
		}
	}
	return t.End()
}

// CellKind is how a cell is written.
type CellKind uint8

// TextCell and the others are the kinds of cells.
const (
	TextCell     CellKind = iota // may begin like a formula
	PlainCell                    // written by us: dates, ids, words
	NumberCell                   // with a decimal mark
	MoneyCell                    // an amount in the group's currency
	EmbeddedCell                 // text with amounts in it, such as asks
)

// TableColumn is one column of a table of T.
type TableColumn[T any] struct {
	Name  string
	Kind  CellKind
	Value func(T) string
}

// ColumnNames are the headings of a table.
func ColumnNames[T any](columns []TableColumn[T]) []string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.Name
	}
	return names
}

// Pick returns the wanted columns in the wanted order; none: all.
func Pick[T any](columns []TableColumn[T], wanted []string) []TableColumn[T] {
	if len(wanted) == 0 {
		return columns
	}
	out := make([]TableColumn[T], 0, len(wanted))
	for _, name := range wanted {
		for _, c := range columns {
			if c.Name == name {
				out = append(out, c)
			}
		}
	}
	return out
}

// TableWriter streams rows of T as CSV.
type TableWriter[T any] struct {
	out     *bufio.Writer
	columns []TableColumn[T]
	options TableOptions
	err     error // the first of the connection
}

// ByteOrderMark begins a file for spreadsheets that want one.
const ByteOrderMark = "\uFEFF"

// NewTable begins a table with its header row.
func NewTable[T any](w io.Writer, columns []TableColumn[T], o TableOptions) *TableWriter[T] {
	t := &TableWriter[T]{out: bufio.NewWriterSize(w, 32<<10), columns: Pick(columns, o.Fields), options: o}
	if o.BOM {
		t.put(ByteOrderMark)
	}
	for i, column := range t.columns {
		t.cell(i, column.Name)
	}
	t.put("\r\n")
	return t
}

func (t *TableWriter[T]) put(text string) {
	if t.err == nil {
		_, t.err = t.out.WriteString(text)
	}
}

// Row writes one row.
func (t *TableWriter[T]) Row(v T) error {
	for i, column := range t.columns {
		cell := column.Value(v)
		switch column.Kind {
		case TextCell:
			cell = HideFormula(cell)
		case EmbeddedCell:
			cell = HideFormula(strings.ReplaceAll(cell, ".", t.options.Decimal))
		case NumberCell, MoneyCell:
			cell = strings.ReplaceAll(cell, ".", t.options.Decimal)
		}
		t.cell(i, cell)
	}
	t.put("\r\n")
	return t.err
}

// End writes what is buffered.
func (t *TableWriter[T]) End() error { return cmp.Or(t.err, t.out.Flush()) }

// cell writes a cell after RFC 4180. encoding/csv is not used because with
// CRLF it rewrites line breaks inside of cells.
func (t *TableWriter[T]) cell(i int, text string) {
	if i > 0 {
		t.put(t.options.Delimiter)
	}
	if text == "" && len(t.columns) == 1 {
		t.put(`""`) // else an empty line
		return
	}
	if !strings.ContainsAny(text, "\"\r\n"+t.options.Delimiter) {
		t.put(text)
		return
	}
	t.put(`"` + strings.ReplaceAll(text, `"`, `""`) + `"`)
}

// A cell that begins like a formula would be run by a spreadsheet (OWASP, "CSV
// Injection"): it goes out with one more quote, and one is taken off on import,
// so that the pair is exact for any text. Some spreadsheets read full-width signs
// as the plain ones, and pass over characters of no width before them.
const formulaSign = "[\uFEFF\u200B-\u200F\u2060]*[=+\\-@＝＋－＠]"

var (
	formulaOut = regexp.MustCompile(`^'*` + formulaSign)
	formulaIn  = regexp.MustCompile(`^'+` + formulaSign)
)

// HideFormula keeps a spreadsheet from running a cell.
func HideFormula(s string) string {
	if formulaOut.MatchString(s) {
		return "'" + s
	}
	return s
}

// ShowFormula takes back what HideFormula does.
func ShowFormula(s string) string {
	if formulaIn.MatchString(s) {
		return s[1:]
	}
	return s
}
