package rowfile

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/sheet"
)

// A first look takes a file as it is: which cells it has, whatever they mean.

const (
	mostGridBytes = 16 << 20
	mostGridRows  = 20_000
)

// Grid reads the cells of a CSV or a workbook. of is the sheet wanted; empty:
// the first that has headings. others are those that have some, too.
func (f *RowFile) Grid(ctx context.Context, of string) (g *sheet.Grid, others []string, err error) {
	in, err := f.start()
	if err != nil {
		return nil, nil, err
	}
	head, err := io.ReadAll(io.LimitReader(in, mostGridBytes+1))
	if err != nil {
		return nil, nil, err
	}
	if len(head) > mostGridBytes {
		return nil, nil, web.Refuse(web.TooLarge, "a first look takes files up to %s; give the sheet the columns' own names as headings and import it with commit=true",
			web.ByteCount(mostGridBytes))
	}
	kind, refused := identify(head)
	switch {
	case refused != nil:
		return nil, nil, refused
	case kind == kindBook:
		return f.bookGrid(ctx, of)
	}
	g, err = csvGrid(head)
	return g, nil, err
}

type fileKind uint8

const (
	kindText fileKind = iota
	kindBook
)

// signatures are the first bytes of files that are often sent for a sheet (file
// signatures: PNG RFC 2083, JPEG ITU-T T.81, PDF ISO 32000, ZIP APPNOTE,
// compound files [MS-CFB]).
var signatures = []struct{ start, what string }{
	{"\x89PNG", "a picture (PNG)"}, {"\xff\xd8\xff", "a picture (JPEG)"}, {"GIF8", "a picture (GIF)"}, {"RIFF", "a picture or a sound"},
	{"%PDF", "a PDF"}, {"\x1f\x8b", "a packed file (gzip)"}, {"{\\rtf", "a text document (RTF)"}, {"<!DOCTYPE", "a web page"}, {"<html", "a web page"},
}

// identify says what a file is by its bytes, whatever it is called.
func identify(head []byte) (fileKind, error) {
	const save = "Save the sheet as CSV or .xlsx and send that."
	for _, s := range signatures {
		if bytes.HasPrefix(head, []byte(s.start)) {
			return 0, web.Refuse(web.Malformed, "This is %s, not a sheet. %s", s.what, save)
		}
	}
	switch {
	case bytes.HasPrefix(head, []byte("\xd0\xcf\x11\xe0")):
		if bytes.Contains(head, wide("EncryptedPackage")) {
			return 0, web.Refuse(web.Malformed, "The workbook is protected by a password. Save a copy without one, or the sheet as CSV, and send that.")
		}
		return 0, web.Refuse(web.Malformed, "This is a workbook of the old kind (.xls). %s", save)
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		first := head[:min(len(head), 200)]
		switch {
		case bytes.Contains(first, []byte("opendocument")):
			return 0, web.Refuse(web.Malformed, "This is an OpenDocument file (.ods). In the spreadsheet choose Save as, then .xlsx or CSV, and send that.")
		case !bytes.Contains(head, []byte("xl/workbook.xml")):
			return 0, web.Refuse(web.Malformed, "This is a packed file, but no workbook. %s", save)
		}
		return kindBook, nil
	case bytes.HasPrefix(bytes.TrimSpace(head), []byte("[{")) || bytes.HasPrefix(bytes.TrimSpace(head), []byte("{")):
		return 0, web.Refuse(web.Malformed, "This is JSON. Send its rows with Content-Type application/json and commit=true.")
	}
	return kindText, nil
}

// wide is text in UTF-16, as directories of compound files have it.
func wide(s string) []byte {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = append(b, byte(u), byte(u>>8))
	}
	return b
}

// csvGrid reads the cells of a CSV in UTF-8, UTF-16 or Windows-1252.
func csvGrid(text []byte) (*sheet.Grid, error) {
	text = inUTF8(text)
	if bytes.IndexByte(text, 0) >= 0 {
		return nil, web.Refuse(web.Malformed, "This is no text. Save the sheet as CSV or .xlsx and send that.")
	}
	r := &csvReader{in: bufio.NewReader(bytes.NewReader(text)), delimiter: sniffBetween(text)}
	g := &sheet.Grid{Semicolon: r.delimiter == ';'}
	for {
		rec, err := r.next()
		if errors.Is(err, io.EOF) {
			return g, nil
		}
		if err != nil {
			return nil, inRow(len(g.Rows)+1, err)
		}
		if len(g.Rows) >= mostGridRows {
			return nil, tooManyRows()
		}
		row := make([]sheet.Cell, min(len(rec.cells), maxColumns))
		for i := range row {
			row[i].Text = web.ShowFormula(strings.TrimSpace(service.ClipTo(rec.cells[i], maxCellBytes)))
		}
		g.Rows = append(g.Rows, row)
	}
}

func tooManyRows() error {
	return web.Refuse(web.TooLarge, "a first look takes up to %d rows; give the sheet the columns' own names as headings and import it with commit=true", mostGridRows)
}

// sniffBetween finds what stands between cells: the first lines may be a title,
// so that of the most lines counts.
func sniffBetween(text []byte) byte {
	best, most := byte(','), 0
	for _, d := range []byte{',', ';', '\t'} {
		lines := 0
		for line := range bytes.SplitSeq(text[:min(len(text), 16<<10)], []byte("\n")) {
			if sniffDelimiter(line) == d && bytes.IndexByte(line, d) >= 0 {
				lines++
			}
		}
		if lines > most {
			best, most = d, lines
		}
	}
	return best
}

// inUTF8 is text in UTF-8. What is no UTF-8 is taken for Windows-1252, which
// spreadsheets still write.
func inUTF8(text []byte) []byte {
	switch {
	case bytes.HasPrefix(text, []byte("\xff\xfe")):
		return fromWide(text[2:], func(b []byte) uint16 { return uint16(b[0]) | uint16(b[1])<<8 })
	case bytes.HasPrefix(text, []byte("\xfe\xff")):
		return fromWide(text[2:], func(b []byte) uint16 { return uint16(b[1]) | uint16(b[0])<<8 })
	}
	text = bytes.TrimPrefix(text, []byte(web.ByteOrderMark))
	if utf8.Valid(text) {
		return text
	}
	var out []rune
	for _, b := range text {
		if b >= 0x80 && b < 0xa0 {
			out = append(out, windows1252[b-0x80])
			continue
		}
		out = append(out, rune(b))
	}
	return []byte(string(out))
}

func fromWide(text []byte, unit func([]byte) uint16) []byte {
	units := make([]uint16, 0, len(text)/2)
	for i := 0; i+1 < len(text); i += 2 {
		units = append(units, unit(text[i:]))
	}
	return []byte(string(utf16.Decode(units)))
}

// windows1252 is 0x80 to 0x9f of the code page (Unicode's mapping CP1252.TXT).
var windows1252 = []rune("€\u0081‚ƒ„…†‡ˆ‰Š‹Œ\u008dŽ\u008f\u0090‘’“”•–—˜™š›œ\u009džŸ")

// bookGrid reads the cells of a workbook's sheet.
func (f *RowFile) bookGrid(ctx context.Context, of string) (g *sheet.Grid, others []string, err error) {
	defer func() {
		if what := recover(); what != nil { // the library trusts its input in places
			g, err = nil, web.Refuse(web.Malformed, "the workbook is damaged")
		}
	}()
	book, err := f.openBook(ctx)
	if err != nil {
		return nil, nil, err
	}
	defer book.Close()
	names := book.GetSheetList()
	if len(names) > maxSheets {
		return nil, nil, tooLargeBook("more than %d sheets", maxSheets)
	}
	if of != "" && !slices.Contains(names, of) {
		return nil, nil, web.BadParameter("sheet", "the workbook has no sheet %q; it has %s", web.Clip(of, 40), web.Clip(strings.Join(names, ", "), 200))
	}
	var first *sheet.Grid
	for _, name := range names {
		if of != "" && name != of {
			continue
		}
		found, err := readGrid(ctx, book, name)
		if err != nil {
			return nil, nil, err
		}
		if first == nil {
			first = found
		}
		switch {
		case !sheet.HasHeadings(found) && name != of:
		case g == nil:
			g = found
		default:
			others = append(others, name)
		}
	}
	if g == nil {
		g = first
	}
	if g == nil {
		return nil, nil, web.Refuse(web.Malformed, "the workbook has no sheet")
	}
	return g, others, nil
}

func readGrid(ctx context.Context, book *excelize.File, name string) (*sheet.Grid, error) {
	rows, err := book.Rows(name)
	if err != nil {
		return nil, unreadableSheet(name, err)
	}
	defer rows.Close()
	g := &sheet.Grid{Name: name}
	days := &dayStyles{book: book, known: map[int]bool{}}
	for at := 1; rows.Next(); at++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if at > mostGridRows {
			return nil, tooManyRows()
		}
		texts, err := rows.Columns()
		if err != nil {
			return nil, unreadableSheet(name, err)
		}
		row := make([]sheet.Cell, min(len(texts), maxColumns))
		for i := range row {
			if texts[i] != "" {
				row[i] = days.cell(name, at, i, texts[i])
			}
		}
		g.Rows = append(g.Rows, row)
	}
	merged, err := book.GetMergeCells(name)
	if err != nil || len(merged) > maxMerged {
		return nil, tooLargeBook("more than %d merged cells", maxMerged)
	}
	for _, m := range merged {
		left, top, err1 := excelize.CellNameToCoordinates(m.GetStartAxis())
		right, bottom, err2 := excelize.CellNameToCoordinates(m.GetEndAxis())
		if err1 == nil && err2 == nil {
			g.Merged = append(g.Merged, sheet.Merge{Top: top - 1, Left: left - 1, Bottom: bottom - 1, Right: right - 1})
		}
	}
	return g, rows.Error()
}

// dayStyles knows which styles of a workbook show days.
type dayStyles struct {
	book  *excelize.File
	known map[int]bool
}

// cell is a cell as text: a number that is shown as a day is one.
func (d *dayStyles) cell(name string, row, column int, raw string) sheet.Cell {
	at, err := excelize.CoordinatesToCellName(column+1, row)
	if err != nil {
		return sheet.Cell{Text: raw}
	}
	kind, err := d.book.GetCellType(name, at)
	if err != nil {
		return sheet.Cell{Text: raw}
	}
	switch kind {
	case excelize.CellTypeBool:
		return sheet.Cell{Text: map[string]string{"1": "yes", "0": "no"}[raw]}
	case excelize.CellTypeError:
		return sheet.Cell{Text: raw}
	case excelize.CellTypeDate:
		day, _, _ := strings.Cut(raw, "T")
		return sheet.Cell{Text: day}
	case excelize.CellTypeUnset, excelize.CellTypeNumber:
		x, err := strconv.ParseFloat(raw, 64)
		if err != nil {
			return sheet.Cell{Text: raw}
		}
		if x >= 1 && d.isDay(name, at) {
			if on, err := excelize.ExcelDateToTime(x, d.is1904()); err == nil {
				return sheet.Cell{Text: on.Format("2006-01-02")}
			}
		}
		return sheet.Cell{Text: plainDecimal(x), Number: true}
	}
	return sheet.Cell{Text: strings.TrimSpace(raw)}
}

func (d *dayStyles) is1904() bool {
	p, err := d.book.GetWorkbookProps()
	return err == nil && p.Date1904 != nil && *p.Date1904
}

// isDay reports whether a cell's format is one of days (ECMA-376, part 1,
// 18.8.30: the built-in formats 14 to 17 and 22, and those with y or d).
func (d *dayStyles) isDay(name, at string) bool {
	id, err := d.book.GetCellStyle(name, at)
	if err != nil {
		return false
	}
	is, ok := d.known[id]
	if ok {
		return is
	}
	if style, err := d.book.GetStyle(id); err == nil {
		n := style.NumFmt
		is = (n >= 14 && n <= 17) || n == 22
		if style.CustomNumFmt != nil {
			is = strings.ContainsAny(withoutColors.Replace(strings.ToLower(*style.CustomNumFmt)), "yd")
		}
	}
	d.known[id] = is
	return is
}

// withoutColors takes colors out of a format.
var withoutColors = strings.NewReplacer("[red]", "", "[yellow]", "")
