package web

import (
	"io"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/xuri/excelize/v2"

	"askwright/pricing"
	"askwright/service"
)

// WorkbookMediaType is that of a spreadsheet file.
const WorkbookMediaType = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet" // ECMA-376

// Workbook is written sheet by sheet, row by row.
type Workbook struct {
	File     *excelize.File
	currency service.Currency // of its amounts
	header   int
	styles   map[string]int // by number format
}

// NewWorkbook begins a workbook with amounts in a currency.
func NewWorkbook(c service.Currency) (*Workbook, error) {
	b := &Workbook{File: excelize.NewFile(), currency: c, styles: map[string]int{}}
	var err error
	b.header, err = b.File.NewStyle(&excelize.Style{
		Font: &excelize.Font{Bold: true},
		Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"DCE3EC"}},
	})
	return b, err
}

// style is the cell style of a number format.
func (b *Workbook) style(format string) (int, error) {
	if id, ok := b.styles[format]; ok {
		return id, nil
	}
	id, err := b.File.NewStyle(&excelize.Style{CustomNumFmt: &format})
	b.styles[format] = id
	return id, err
}

// Send answers with the whole workbook.
func (b *Workbook) Send(c *gin.Context, filename string) error {
	if err := b.File.DeleteSheet("Sheet1"); err != nil { // which every new file has
		return err
	}
	b.File.SetActiveSheet(0)
	return SendSpooled(c, WorkbookMediaType, filename, func(w io.Writer) error { return b.File.Write(w) })
}

// Sheet is one sheet of rows of T, with its header frozen and filters on it.
type Sheet[T any] struct {
	book    *Workbook
	name    string
	columns []TableColumn[T]
	out     *excelize.StreamWriter
	rows    int // with the header
}

// NewSheet adds a sheet and writes its header.
func NewSheet[T any](b *Workbook, name string, columns []TableColumn[T]) (*Sheet[T], error) {
	if _, err := b.File.NewSheet(name); err != nil {
		return nil, err
	}
	out, err := b.File.NewStreamWriter(name)
	if err != nil {
		return nil, err
	}
	s := &Sheet[T]{book: b, name: name, columns: columns, out: out}
	titles := make([]any, len(columns))
	for i, c := range columns {
		width := 13.0
		if c.Kind == TextCell {
			width = 18
		}
		if err := out.SetColWidth(i+1, i+1, max(width, float64(len(c.Name))+4)); err != nil {
			return nil, err
		}
		titles[i] = excelize.Cell{Value: c.Name, StyleID: b.header}
	}
	frozen := &excelize.Panes{Freeze: true, XSplit: 1, YSplit: 1, TopLeftCell: "B2", ActivePane: "bottomRight"}
	if err := out.SetPanes(frozen); err != nil {
		return nil, err
	}
	return s, s.put(titles)
}

func (s *Sheet[T]) put(cells []any) error {
	s.rows++
	return s.out.SetRow("A"+strconv.Itoa(s.rows), cells)
}

// Row writes one row: dates as dates, numbers as numbers, and text as text,
// which nothing runs as a formula.
func (s *Sheet[T]) Row(v T) error {
	cells := make([]any, len(s.columns))
	for i, c := range s.columns {
		var err error
		if cells[i], err = s.book.cell(c.Kind, c.Value(v)); err != nil {
			return err
		}
	}
	return s.put(cells)
}

func (b *Workbook) cell(kind CellKind, text string) (any, error) {
	if text == "" {
		return nil, nil
	}
	if on, err := pricing.ParseDate(text); err == nil && kind == PlainCell {
		style, err := b.style("yyyy-mm-dd")
		return excelize.Cell{Value: on.Time(), StyleID: style}, err
	}
	x, err := strconv.ParseFloat(text, 64)
	if isNumber := err == nil && (kind == NumberCell || kind == MoneyCell); !isNumber {
		return text, nil
	}
	format := "0"
	if _, decimals, ok := strings.Cut(text, "."); ok {
		format = "#,##0." + strings.Repeat("0", len(decimals))
	}
	if kind == MoneyCell {
		format = "[$" + b.currency.Code + "] #,##" + strings.TrimPrefix(format, "#,##") // ECMA-376 part 1, 18.8.31
	}
	style, err := b.style(format)
	return excelize.Cell{Value: x, StyleID: style}, err
}

// AddSheet adds a sheet with rows that are at hand.
func AddSheet[T any](b *Workbook, name string, columns []TableColumn[T], items []T) error {
	s, err := NewSheet(b, name, columns)
	if err != nil {
		return err
	}
	for _, item := range items {
		if err := s.Row(item); err != nil {
			return err
		}
	}
	return s.End()
}

// Choose offers the words of a closed list in a column's cells.
func (s *Sheet[T]) Choose(column int, words []string) error {
	name, err := excelize.ColumnNumberToName(column + 1)
	if err != nil {
		return err
	}
	list := excelize.NewDataValidation(true)
	list.SetSqref(name + "2:" + name + "10000")
	if err := list.SetDropList(words); err != nil {
		return err
	}
	return s.book.File.AddDataValidation(s.name, list)
}

// End sets the filters and writes what is buffered.
func (s *Sheet[T]) End() error {
	last, err := excelize.CoordinatesToCellName(len(s.columns), max(s.rows, 2))
	if err != nil {
		return err
	}
	if err := s.book.File.AutoFilter(s.name, "A1:"+last, nil); err != nil {
		return err
	}
	return s.out.Flush()
}
