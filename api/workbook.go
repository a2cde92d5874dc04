package api

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/xuri/excelize/v2"

	"askwright/pricing"
	"askwright/service"
)

const workbookMediaType = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet" // ECMA-376

// workbook is written sheet by sheet, row by row.
type workbook struct {
	file     *excelize.File
	currency service.Currency // of its amounts
	header   int
	styles   map[string]int // by number format
}

func newWorkbook(c service.Currency) (*workbook, error) {
	b := &workbook{file: excelize.NewFile(), currency: c, styles: map[string]int{}}
	var err error
	b.header, err = b.file.NewStyle(&excelize.Style{
		Font: &excelize.Font{Bold: true},
		Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"DCE3EC"}},
	})
	return b, err
}

// style is the cell style of a number format.
func (b *workbook) style(format string) (int, error) {
	if id, ok := b.styles[format]; ok {
		return id, nil
	}
	id, err := b.file.NewStyle(&excelize.Style{CustomNumFmt: &format})
	b.styles[format] = id
	return id, err
}

// send answers with the whole workbook.
func (b *workbook) send(c *gin.Context, filename string) error {
	if err := b.file.DeleteSheet("Sheet1"); err != nil { // which every new file has
		return err
	}
	b.file.SetActiveSheet(0)
	c.Header("Content-Type", workbookMediaType)
	c.Header("Content-Disposition", `attachment; filename="`+filename+`"`)
	c.Status(http.StatusOK)
	return b.file.Write(c.Writer)
}

// sheet is one sheet of rows of T, with its header frozen and filters on it.
type sheet[T any] struct {
	book    *workbook
	name    string
	columns []tableColumn[T]
	out     *excelize.StreamWriter
	rows    int // with the header
}

func newSheet[T any](b *workbook, name string, columns []tableColumn[T]) (*sheet[T], error) {
	if _, err := b.file.NewSheet(name); err != nil {
		return nil, err
	}
	out, err := b.file.NewStreamWriter(name)
	if err != nil {
		return nil, err
	}
	s := &sheet[T]{book: b, name: name, columns: columns, out: out}
	titles := make([]any, len(columns))
	for i, c := range columns {
		width := 13.0
		if c.kind == textCell {
			width = 18
		}
		if err := out.SetColWidth(i+1, i+1, max(width, float64(len(c.name))+4)); err != nil {
			return nil, err
		}
		titles[i] = excelize.Cell{Value: c.name, StyleID: b.header}
	}
	frozen := &excelize.Panes{Freeze: true, XSplit: 1, YSplit: 1, TopLeftCell: "B2", ActivePane: "bottomRight"}
	if err := out.SetPanes(frozen); err != nil {
		return nil, err
	}
	return s, s.put(titles)
}

func (s *sheet[T]) put(cells []any) error {
	s.rows++
	return s.out.SetRow("A"+strconv.Itoa(s.rows), cells)
}

// row writes one row: dates as dates, numbers as numbers, and text as text,
// which nothing runs as a formula.
func (s *sheet[T]) row(v T) error {
	cells := make([]any, len(s.columns))
	for i, c := range s.columns {
		var err error
		if cells[i], err = s.book.cell(c.kind, c.value(v)); err != nil {
			return err
		}
	}
	return s.put(cells)
}

func (b *workbook) cell(kind cellKind, text string) (any, error) {
	if text == "" {
		return nil, nil
	}
	if on, err := pricing.ParseDate(text); err == nil && kind == plainCell {
		style, err := b.style("yyyy-mm-dd")
		return excelize.Cell{Value: on.Time(), StyleID: style}, err
	}
	x, err := strconv.ParseFloat(text, 64)
	if isNumber := err == nil && (kind == numberCell || kind == moneyCell); !isNumber {
		return text, nil
	}
	format := "0"
	if _, decimals, ok := strings.Cut(text, "."); ok {
		format = "#,##0." + strings.Repeat("0", len(decimals))
	}
	if kind == moneyCell {
		format = "[$" + b.currency.Code + "] #,##" + strings.TrimPrefix(format, "#,##") // ECMA-376 part 1, 18.8.31
	}
	style, err := b.style(format)
	return excelize.Cell{Value: x, StyleID: style}, err
}

// addSheet adds a sheet with rows that are at hand.
func addSheet[T any](b *workbook, name string, columns []tableColumn[T], items []T) error {
	s, err := newSheet(b, name, columns)
	if err != nil {
		return err
	}
	for _, item := range items {
		if err := s.row(item); err != nil {
			return err
		}
	}
	return s.end()
}

// choose offers the words of a closed list in a column's cells.
func (s *sheet[T]) choose(column int, words []string) error {
	name, err := excelize.ColumnNumberToName(column + 1)
	if err != nil {
		return err
	}
	list := excelize.NewDataValidation(true)
	list.SetSqref(name + "2:" + name + "10000")
	if err := list.SetDropList(words); err != nil {
		return err
	}
	return s.book.file.AddDataValidation(s.name, list)
}

// end sets the filters and writes what is buffered.
func (s *sheet[T]) end() error {
	last, err := excelize.CoordinatesToCellName(len(s.columns), max(s.rows, 2))
	if err != nil {
		return err
	}
	if err := s.book.file.AutoFilter(s.name, "A1:"+last, nil); err != nil {
		return err
	}
	return s.out.Flush()
}

// aboutColumns explain the columns in the workbook itself.
var aboutColumns = []tableColumn[service.Column]{
	{name: "column", kind: textCell, value: func(c service.Column) string { return c.Name }},
	{name: "kind", kind: plainCell, value: func(c service.Column) string { return c.Kind.String() }},
	{name: "seen_by", kind: plainCell, value: func(c service.Column) string {
		if c.OwnerOnly {
			return "owner"
		}
		return "group"
	}},
	{name: "blank_cell", kind: plainCell, value: func(c service.Column) string {
		if c.Keeps {
			return "leaves it as it is"
		}
		return "unknown"
	}},
	{name: "words", kind: textCell, value: func(c service.Column) string {
		words := strings.Join(c.Words, ", ")
		if len(c.Words) > 0 && !c.Closed {
			words += "; others are taken"
		}
		return words
	}},
}

// exportWorkbook answers with listings, pieces in the yard and an explanation
// of the columns, a sheet for each. The import takes it back.
//
//	@Summary	Listings and pieces in the yard as a workbook
//	@Tags		listings
//	@Param		query	query	ListingQuery	false	"filters, order and columns"
//	@Produce	application/vnd.openxmlformats-officedocument.spreadsheetml.sheet,application/problem+json
//	@Success	200		{file}		file
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings.xlsx [get]
func (s *Server) exportWorkbook(c *gin.Context, a *service.Actor) error {
	p, v := paramsOf(c), viewerOf(a)
	query, err := s.listingQuery(c, a, p)
	if err != nil {
		return err
	}
	columns := v.table()
	columns = pick(columns, p.fields(columnNames(columns)))
	if p.has("limit") || p.has("cursor") {
		p.refuse("limit", "a workbook holds all rows")
	}
	if err := p.done(); err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, "xlsx")) {
		return nil
	}
	book, err := newWorkbook(a.Group.Currency)
	if err != nil {
		return err
	}
	defer book.file.Close() // and its temporary files
	rows := func(yield func(*service.Listing) error) error {
		return s.service.Recording.EachListing(c.Request.Context(), a, query, yield)
	}
	if err := book.listings(columns, rows); err != nil {
		return err
	}
	return book.send(c, "listings.xlsx")
}

// listings writes the sheets of an export.
func (b *workbook) listings(columns []tableColumn[*service.Listing], rows func(func(*service.Listing) error) error) error {
	offered, err := newSheet(b, "Listings", columns)
	if err != nil {
		return err
	}
	yard, err := newSheet(b, "Yard", columns)
	if err != nil {
		return err
	}
	about, err := newSheet(b, "Columns", aboutColumns)
	if err != nil {
		return err
	}
	for i, column := range columns {
		known, ok := service.ColumnByName(column.name)
		if !ok {
			continue
		}
		if err := about.row(*known); err != nil {
			return err
		}
		if known.Closed {
			if err := offered.choose(i, known.Words); err != nil {
				return err
			}
		}
	}
	err = rows(func(l *service.Listing) error {
		if l.IsOffered() {
			return offered.row(l)
		}
		return yard.row(l)
	})
	if err != nil {
		return err
	}
	for _, end := range []func() error{offered.end, yard.end, about.end} {
		if err := end(); err != nil {
			return err
		}
	}
	return nil
}
