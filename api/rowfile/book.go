package rowfile

import (
	"archive/zip"
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
// rows are counted on from sheet to sheet.
func (f *RowFile) ReadBook() (b *BookRows, err error) {
	defer func() {
		if what := recover(); what != nil { // the library trusts its input in places
			b, err = nil, web.Refuse(web.Malformed, "the workbook is damaged")
		}
	}()
	in, err := f.start()
	if err != nil {
		return nil, err
	}
	if f.unpacksTo() > maxUnpacked {
		return nil, web.Refuse(web.TooLarge, "the workbook unpacks to more than %s; save the sheet as CSV", web.ByteCount(maxUnpacked))
	}
	book, err := excelize.OpenReader(in, excelize.Options{RawCellValue: true, UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: maxUnpacked})
	if err != nil {
		return nil, web.Refuse(web.Malformed, "the body is no .xlsx workbook that can be read: %s", web.Clip(err.Error(), 100))
	}
	defer book.Close()
	properties, err := book.GetWorkbookProps()
	if err != nil {
		return nil, web.Refuse(web.Malformed, "the workbook is damaged")
	}
	b = &BookRows{}
	var without []string
	for _, name := range book.GetSheetList() {
		found, err := f.readSheet(b, book, name, properties.Date1904 != nil && *properties.Date1904)
		if err != nil {
			return nil, err
		}
		if !found {
			without = append(without, name)
		}
	}
	if len(b.sheets) == 0 {
		return nil, web.Refuse(web.Malformed, "no sheet has a header row with the column ref and others (looked at %s)", web.Clip(strings.Join(without, ", "), 200))
	}
	return b, nil
}

// unpacksTo is how large the parts of the file say that they are; the archive is
// not read beyond that. 0: it is no archive.
func (f *RowFile) unpacksTo() (size uint64) {
	info, err := f.File.Stat()
	if err != nil {
		return 0
	}
	archive, err := zip.NewReader(f.File, info.Size())
	if err != nil {
		return 0
	}
	for _, part := range archive.File {
		size += min(part.UncompressedSize64, maxUnpacked+1)
	}
	return size
}

// readSheet adds the rows of one sheet; false: it has no header.
func (f *RowFile) readSheet(b *BookRows, book *excelize.File, name string, date1904 bool) (bool, error) {
	cells, err := book.GetRows(name)
	if err != nil {
		return false, web.Refuse(web.Malformed, "the sheet %s cannot be read: %s", web.Clip(name, 40), web.Clip(err.Error(), 100))
	}
	at := f.findHeader(cells)
	if at < 0 {
		return false, nil
	}
	s := bookSheet{name: name, headerAt: at + 1, first: f.Rows + 1, date1904: date1904}
	if s.header, err = headerOf(f.Columns, cells[at], f.IgnoreUnknown); err != nil {
		return false, inSheet(name, at+1, err)
	}
	if s.merged, err = book.GetMergeCells(name); err != nil {
		return false, web.Refuse(web.Malformed, "the sheet %s is damaged", web.Clip(name, 40))
	}
	for i := at + 1; i < len(cells); i++ {
		if err := f.count(); err != nil {
			return false, err
		}
		rec := record{cells: cells[i], tooLong: -1, broken: -1}
		if missing := len(s.header) - len(rec.cells); missing > 0 {
			rec.cells = append(rec.cells, make([]string, missing)...) // blank ones at the end
		}
		var wrong []service.FieldError
		for j, cell := range rec.cells {
			if cell == "" {
				continue
			}
			text, reason := s.text(book, i+1, j, cell)
			rec.cells[j] = text
			if reason != "" && s.header.at(j) != ignored {
				wrong = append(wrong, service.FieldError{Column: s.header.at(j), Reason: reason})
			}
		}
		row := s.header.cells(f.Rows, rec)
		row.Errors = append(row.Errors, append(wrong, s.mergedIn(i+1)...)...)
		for k := range row.Errors {
			row.Errors[k].Row, row.Errors[k].Ref = f.Rows, web.Clip(row.Cells["ref"], 100)
		}
		b.rows = append(b.rows, row)
	}
	b.sheets = append(b.sheets, s)
	return true, nil
}

// findHeader finds the first row that names ref and another column; -1: none.
func (f *RowFile) findHeader(cells [][]string) int {
	for i, row := range cells[:min(len(cells), headerWithin)] {
		known := 0
		hasRef := false
		for _, cell := range row {
			name := headerName(cell)
			if _, ok := f.Columns.ByName(name); ok {
				known++
			}
			hasRef = hasRef || name == "ref"
		}
		if hasRef && known > 1 {
			return i
		}
	}
	return -1
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

func (b *BookRows) Each(yield func(recording.Row) error) error {
	for _, row := range b.rows {
		if err := yield(row); err != nil {
			return err
		}
	}
	return nil
}
