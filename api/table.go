package api

import (
	"bufio"
	"cmp"
	"io"
	"net/http"
	"regexp"
	"strings"

	"github.com/gin-gonic/gin"
)

const csvMediaType = "text/csv; charset=utf-8; header=present" // RFC 4180, RFC 7111

// tableOptions are how a client wants its CSV.
type tableOptions struct {
	Delimiter string // default ","
	Decimal   string // default "."
	BOM       bool   // for a spreadsheet that opens the file by double click
	Fields    []string
}

// tableParams reads the options of a table that has these columns.
func tableParams(p *params, columns []string) tableOptions {
	var q TableQuery
	bindQuery(p, &q)
	p.checkFields(q.Fields, columns)
	return tableOptions{Delimiter: string(q.Delimiter), Decimal: string(q.Decimal), BOM: q.BOM, Fields: q.Fields}
}

// csvParams is tableParams where JSON comes whole.
func csvParams(p *params, form string, columns []string) tableOptions {
	o := tableParams(p, columns)
	if form == formJSON && len(o.Fields) > 0 {
		p.refuse("fields", "is for CSV here")
	}
	return o
}

// each shows every item.
func each[S, T any](from []S, show func(S) T) []T {
	out := make([]T, len(from))
	for i, one := range from {
		out[i] = show(one)
	}
	return out
}

// writeTable writes items that are at hand.
func writeTable[T any](c *gin.Context, filename string, columns []tableColumn[T], o tableOptions, items []T) error {
	t := startTable(c, filename, columns, o)
	for _, item := range items {
		if err := t.row(item); err != nil {
			return err
		}
	}
	return t.end()
}

// cellKind is how a cell is written.
type cellKind uint8

const (
	textCell     cellKind = iota // may begin like a formula
	plainCell                    // written by us: dates, ids, words
	numberCell                   // with a decimal mark
	moneyCell                    // an amount in the group's currency
	embeddedCell                 // text with amounts in it, such as asks
)

// tableColumn is one column of a table of T.
type tableColumn[T any] struct {
	name  string
	kind  cellKind
	value func(T) string
}

func columnNames[T any](columns []tableColumn[T]) []string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	return names
}

// pick returns the wanted columns in the wanted order; none: all.
func pick[T any](columns []tableColumn[T], wanted []string) []tableColumn[T] {
	if len(wanted) == 0 {
		return columns
	}
	out := make([]tableColumn[T], 0, len(wanted))
	for _, name := range wanted {
		for _, c := range columns {
			if c.name == name {
				out = append(out, c)
			}
		}
	}
	return out
}

// tableWriter streams rows of T as CSV.
type tableWriter[T any] struct {
	out     *bufio.Writer
	columns []tableColumn[T]
	options tableOptions
	err     error // the first of the connection
}

const byteOrderMark = "\uFEFF"

// startTable begins a CSV answer with its header row.
func startTable[T any](c *gin.Context, filename string, columns []tableColumn[T], o tableOptions) *tableWriter[T] {
	c.Header("Content-Type", csvMediaType)
	c.Header("Content-Disposition", `attachment; filename="`+filename+`"`)
	c.Status(http.StatusOK)
	return newTable(c.Writer, columns, o)
}

func newTable[T any](w io.Writer, columns []tableColumn[T], o tableOptions) *tableWriter[T] {
	t := &tableWriter[T]{out: bufio.NewWriterSize(w, 32<<10), columns: pick(columns, o.Fields), options: o}
	if o.BOM {
		t.put(byteOrderMark)
	}
	for i, column := range t.columns {
		t.cell(i, column.name)
	}
	t.put("\r\n")
	return t
}

func (t *tableWriter[T]) put(text string) {
	if t.err == nil {
		_, t.err = t.out.WriteString(text)
	}
}

// row writes one row.
func (t *tableWriter[T]) row(v T) error {
	for i, column := range t.columns {
		cell := column.value(v)
		switch column.kind {
		case textCell:
			cell = hideFormula(cell)
		case embeddedCell:
			cell = hideFormula(strings.ReplaceAll(cell, ".", t.options.Decimal))
		case numberCell, moneyCell:
			cell = strings.ReplaceAll(cell, ".", t.options.Decimal)
		}
		t.cell(i, cell)
	}
	t.put("\r\n")
	return t.err
}

// end writes what is buffered.
func (t *tableWriter[T]) end() error { return cmp.Or(t.err, t.out.Flush()) }

// cell writes a cell after RFC 4180. encoding/csv is not used because with
// CRLF it rewrites line breaks inside of cells.
func (t *tableWriter[T]) cell(i int, text string) {
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
// so that the pair is exact for any text.
var (
	formulaOut = regexp.MustCompile(`^'*[=+\-@]`)
	formulaIn  = regexp.MustCompile(`^'+[=+\-@]`)
)

func hideFormula(s string) string {
	if formulaOut.MatchString(s) {
		return "'" + s
	}
	return s
}

func showFormula(s string) string {
	if formulaIn.MatchString(s) {
		return s[1:]
	}
	return s
}
