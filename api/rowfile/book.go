package rowfile

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/recording"
)

// A workbook's rows are read by what its cells are, not by how they look: a
// number in a date column is a serial day, text is text.

const (
	maxUnpacked  = 64 << 20 // of a workbook; a small file can unpack to a huge one
	headerWithin = 20       // rows in which a header is looked for, below a title
)

// BookRows are the rows of a workbook, with where each of them stands.
type BookRows struct {
	rows   []recording.Row
	sheets []bookSheet
}

// bookSheet is a sheet that has rows.
type bookSheet struct {
	name     string
	header   header
	headerAt int // row of the sheet, from 1
	first    int // number of the first data row, counted over all sheets
	merged   []excelize.MergeCell
	date1904 bool
}

// ReadBook reads every sheet that has a header with ref and another column; the
// rows are counted on from sheet to sheet. It stops when nobody waits any more.
func (f *RowFile) ReadBook(ctx context.Context) (b *BookRows, err error) {
	defer func() {
		if what := recover(); what != nil { // the library trusts its input in places
			b, err = nil, web.Refuse(web.Malformed, "the workbook is damaged")
		}
	}()
	book, err := f.openBook(ctx)
	if err != nil {
		return nil, err
	}
	defer book.Close()
	properties, err := book.GetWorkbookProps()
	if err != nil {
		return nil, web.Refuse(web.Malformed, "the workbook is damaged")
	}
	sheets := book.GetSheetList()
	if len(sheets) > maxSheets {
		return nil, tooLargeBook("more than %d sheets", maxSheets)
	}
	r := &bookReader{file: f, book: book, date1904: properties.Date1904 != nil && *properties.Date1904, found: &BookRows{}}
	var without []string
	for _, name := range sheets {
		found, err := r.readSheet(ctx, name)
		if err != nil {
			return nil, err
		}
		if !found {
			without = append(without, name)
		}
	}
	if len(r.found.sheets) == 0 {
		return nil, web.Refuse(web.Malformed, "no sheet has a header row with the column ref and others (looked at %s)",
			web.Clip(strings.Join(without, ", "), 200))
	}
	return r.found, nil
}

// openBook opens a workbook that holds no more than it may.
func (f *RowFile) openBook(ctx context.Context) (*excelize.File, error) {
	in, err := f.start()
	if err != nil {
		return nil, err
	}
	if err := checkBook(ctx, f.File); err != nil {
		return nil, err
	}
	book, err := excelize.OpenReader(in, excelize.Options{
		RawCellValue:      true,
		UnzipSizeLimit:    maxUnpacked,
		UnzipXMLSizeLimit: maxUnpacked,
	})
	if err != nil {
		if strings.Contains(err.Error(), "unzip size exceeds") {
			return nil, web.Refuse(web.TooLarge, "the workbook unpacks to more than %s; save the sheet as CSV",
				web.ByteCount(maxUnpacked))
		}
		return nil, web.Refuse(web.Malformed, "the body is no .xlsx workbook that can be read: %s",
			web.Clip(err.Error(), 100))
	}
	return book, nil
}

// bookReader reads the sheets of a workbook one after the other.
type bookReader struct {
	file     *RowFile
	book     *excelize.File
	date1904 bool
	cells    int // read so far
	found    *BookRows
}

// readSheet adds the rows of one sheet; false: it has no header.
func (r *bookReader) readSheet(ctx context.Context, name string) (bool, error) {
	rows, err := r.book.Rows(name)
	if err != nil {
		return false, unreadableSheet(name, err)
	}
	defer rows.Close()
	var s *bookSheet
	blank := 0 // rows since the last that has cells; those at the end do not count
	for at := 1; rows.Next(); at++ {
		if err := ctx.Err(); err != nil {
			return false, err
		}
		cells, err := rows.Columns()
		if err != nil {
			return false, unreadableSheet(name, err)
		}
		if r.cells += len(cells); r.cells > maxCells {
			return false, tooLargeBook("more than %d cells", maxCells)
		}
		cells = cells[:min(len(cells), maxColumns+1)]
		switch {
		case s == nil && r.file.isHeader(cells):
			if s, err = r.startSheet(name, at, cells); err != nil {
				return false, err
			}
		case s == nil && at >= headerWithin:
			return false, nil
		case s == nil:
		case len(cells) == 0:
			blank++
		default:
			for ; blank > 0; blank-- {
				if err := r.readRow(s, at-blank, nil); err != nil {
					return false, err
				}
			}
			if err := r.readRow(s, at, cells); err != nil {
				return false, err
			}
		}
	}
	if s == nil {
		return false, rows.Error()
	}
	r.found.sheets = append(r.found.sheets, *s)
	return true, rows.Error()
}

func unreadableSheet(name string, err error) error {
	return web.Refuse(web.Malformed, "the sheet %s cannot be read: %s", web.Clip(name, 40), web.Clip(err.Error(), 100))
}

// startSheet begins a sheet at its header.
func (r *bookReader) startSheet(name string, at int, cells []string) (*bookSheet, error) {
	s := &bookSheet{name: name, headerAt: at, first: r.file.Rows + 1, date1904: r.date1904}
	var err error
	if s.header, err = headerOf(r.file.Columns, cells, r.file.IgnoreUnknown); err != nil {
		return nil, inSheet(name, at, err)
	}
	if s.merged, err = r.book.GetMergeCells(name); err != nil {
		return nil, web.Refuse(web.Malformed, "the sheet %s is damaged", web.Clip(name, 40))
	}
	if len(s.merged) > maxMerged {
		return nil, tooLargeBook("more than %d merged cells", maxMerged)
	}
	return s, nil
}

// readRow adds a row by its place in the sheet.
func (r *bookReader) readRow(s *bookSheet, at int, cells []string) error {
	f := r.file
	if err := f.count(); err != nil {
		return err
	}
	rec := record{cells: cells, tooLong: -1, broken: -1}
	if missing := len(s.header) - len(rec.cells); missing > 0 {
		rec.cells = append(rec.cells, make([]string, missing)...) // blank ones at the end
	}
	var wrong []service.FieldError
	for j, cell := range rec.cells {
		if cell == "" {
			continue
		}
		text, reason := s.text(r.book, at, j, cell)
		rec.cells[j] = text
		if reason != "" && s.header.at(j) != ignored {
			wrong = append(wrong, service.FieldError{Column: s.header.at(j), Reason: reason})
		}
	}
	row := s.header.cells(f.Rows, rec)
	f.Columns.readWords(row.Cells)
	row.Errors = append(row.Errors, append(wrong, s.mergedIn(at)...)...)
	for k := range row.Errors {
		row.Errors[k].Row, row.Errors[k].Ref = f.Rows, web.Clip(row.Cells["ref"], 100)
	}
	r.found.rows = append(r.found.rows, row)
	return nil
}

// isHeader reports whether a row names ref and another column.
func (f *RowFile) isHeader(cells []string) bool {
	known := 0
	hasRef := false
	for _, cell := range cells {
		name := f.Columns.today(headerName(cell))
		if _, ok := f.Columns.ByName(name); ok {
			known++
		}
		hasRef = hasRef || name == "ref"
	}
	return hasRef && known > 1
}

func inSheet(name string, row int, err error) error {
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		for i := range wrong.Fields {
			wrong.Fields[i].Reason += fmt.Sprintf(" (sheet %s, row %d)", web.Clip(name, 40), row)
		}
	}
	return err
}

// text is what a cell holds, as it would stand in a CSV, or why it cannot be
// taken.
func (s *bookSheet) text(book *excelize.File, row, column int, raw string) (text, reason string) {
	name, err := excelize.CoordinatesToCellName(column+1, row)
	if err != nil {
		return raw, "has no place in a sheet"
	}
	kind, err := book.GetCellType(s.name, name)
	if err != nil {
		return raw, "cannot be read"
	}
	switch kind {
	case excelize.CellTypeError:
		return "", fmt.Sprintf("the cell holds the spreadsheet's error %s", web.Clip(raw, 20))
	case excelize.CellTypeBool:
		return map[string]string{"1": "true", "0": "false"}[raw], ""
	case excelize.CellTypeDate: // ISO 8601
		day, _, _ := strings.Cut(raw, "T")
		return day, ""
	case excelize.CellTypeUnset, excelize.CellTypeNumber:
		x, err := strconv.ParseFloat(raw, 64)
		if err != nil {
			return raw, ""
		}
		if c, ok := service.FindColumn(s.header.at(column)); ok && c.Kind == service.KindDate {
			on, err := excelize.ExcelDateToTime(x, s.date1904)
			if err != nil || x < 1 {
				return raw, fmt.Sprintf("%s is no serial day number", web.Clip(raw, 20))
			}
			return on.Format("2006-01-02"), ""
		}
		return plainDecimal(x), ""
	}
	return raw, ""
}

// plainDecimal writes a number with the 15 digits that spreadsheets keep.
func plainDecimal(x float64) string {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 15, 64), 64)
	if err != nil {
		rounded = x
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// mergedIn names the merged cells that a row is part of: all but the first of
// them are empty, and nobody can tell whether that is meant.
func (s *bookSheet) mergedIn(row int) []service.FieldError {
	var wrong []service.FieldError
	for _, m := range s.merged {
		left, top, err1 := excelize.CellNameToCoordinates(m.GetStartAxis())
		_, bottom, err2 := excelize.CellNameToCoordinates(m.GetEndAxis())
		if err1 != nil || err2 != nil || row < top || row > bottom {
			continue
		}
		wrong = append(wrong, service.FieldError{
			Column: strings.TrimSuffix(s.header.at(left-1), ignored),
			Reason: fmt.Sprintf("the cells %s:%s are merged; split them and give each its own value", m.GetStartAxis(), m.GetEndAxis()),
		})
	}
	return wrong
}

// Place is where a value stands: Listings!D17.
func (b *BookRows) Place(row int, column string) string {
	for _, s := range slices.Backward(b.sheets) {
		if row < s.first {
			continue
		}
		at := slices.Index(s.header, column)
		if at < 0 || column == "" {
			at = max(0, slices.Index(s.header, "ref"))
		}
		name, err := excelize.CoordinatesToCellName(at+1, s.headerAt+1+row-s.first)
		if err != nil {
			return ""
		}
		return s.name + "!" + name
	}
	return ""
}

// Each yields the rows of the sheet in order.
func (b *BookRows) Each(yield func(recording.Row) error) error {
	for _, row := range b.rows {
		if err := yield(row); err != nil {
			return err
		}
	}
	return nil
}
