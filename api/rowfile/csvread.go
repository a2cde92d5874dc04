package rowfile

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/recording"
)

const (
	maxCellBytes = 64 << 10
	maxColumns   = 500
)

// csvReader reads records after RFC 4180, with LF or CRLF between them and
// line breaks inside of quoted cells kept as they are. A quote inside of an
// unquoted cell stands for itself: people write 36". encoding/csv is not used
// because it rewrites line breaks inside of cells and has no bound for them.
type csvReader struct {
	in        *bufio.Reader
	delimiter byte
	columns   ColumnSet
}

// record is one line of a table. tooLong is the place of a cell over the
// bound, broken of one with text after its closing quote; -1: none. Cells
// beyond the bound of columns are only counted.
type record struct {
	cells           []string
	beyond          int
	tooLong, broken int
}

// newCSVReader drops a byte order mark and finds the delimiter in the header
// line.
func newCSVReader(r io.Reader) (*csvReader, error) {
	in := bufio.NewReaderSize(r, 64<<10)
	head, err := in.Peek(64 << 10)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if strings.HasPrefix(string(head), "\xff\xfe") || strings.HasPrefix(string(head), "\xfe\xff") {
		return nil, web.Refuse(web.Malformed, "the file is UTF-16; save it as CSV UTF-8")
	}
	if strings.HasPrefix(string(head), web.ByteOrderMark) {
		head = head[len(web.ByteOrderMark):]
		if _, err := in.Discard(len(web.ByteOrderMark)); err != nil {
			return nil, err
		}
	}
	return &csvReader{in: in, delimiter: sniffDelimiter(head), columns: RowColumns}, nil
}

// sniffDelimiter counts the candidates outside of quotes in the first line.
func sniffDelimiter(head []byte) byte {
	counts := map[byte]int{}
	quoted := false
	for _, b := range head {
		if b == '"' {
			quoted = !quoted
		}
		if quoted {
			continue
		}
		if b == '\n' || b == '\r' {
			break
		}
		counts[b]++
	}
	best := byte(',')
	for _, d := range []byte{';', '\t'} {
		if counts[d] > counts[best] {
			best = d
		}
	}
	return best
}

// cellState is where in a cell the reader is.
type cellState uint8

const (
	atStart cellState = iota
	unquoted
	quoted
	closed // after the closing quote
)

// next reads one record; io.EOF at the end.
func (r *csvReader) next() (record, error) {
	rec := record{tooLong: -1, broken: -1}
	var cell []byte
	state := atStart
	flush := func() {
		if len(rec.cells) > maxColumns {
			rec.beyond++
		} else {
			rec.cells = append(rec.cells, string(cell))
		}
		cell, state = cell[:0], atStart
	}
	for first := true; ; first = false {
		b, err := r.in.ReadByte()
		if err != nil {
			if errors.Is(err, io.EOF) && !first {
				err = endsIn(state)
				flush()
			}
			return rec, err
		}
		switch {
		case state == quoted && b == '"':
			state = closed
			continue
		case state == quoted: // any byte
		case state == closed && b == '"':
			state = quoted
		case state == atStart && b == '"':
			state = quoted
			continue
		case state == closed && b == ' ':
			continue
		case b == r.delimiter:
			flush()
			continue
		case b == '\n':
			flush()
			return rec, nil
		case b == '\r' && r.skipLineFeed():
			flush()
			return rec, nil
		case state == closed:
			rec.broken = len(rec.cells)
		default:
			state = unquoted
		}
		if len(cell) >= maxCellBytes {
			rec.tooLong = len(rec.cells)
			continue
		}
		cell = append(cell, b)
	}
}

// skipLineFeed reports whether the CR just read ends the line; a CR alone is
// an old line end, too, where it is the last byte.
func (r *csvReader) skipLineFeed() bool {
	b, err := r.in.Peek(1)
	if err != nil {
		return true
	}
	if b[0] != '\n' {
		return false
	}
	_, err = r.in.Discard(1)
	return err == nil
}

// endsIn says whether a file may end in a state.
func endsIn(state cellState) error {
	if state == quoted {
		return web.Refuse(web.Malformed, "a quoted cell never ends: its closing quote is missing")
	}
	return nil
}

// header is the columns of a file by position; "" has no name.
type header []string

// ignored stands for a column that the client wants to be passed over.
const ignored = "-"

// readHeader reads and checks the header line.
func readHeader(r *csvReader, ignoreUnknown bool) (header, error) {
	rec, err := r.next()
	if errors.Is(err, io.EOF) {
		return nil, web.Refuse(web.Malformed, "the file is empty; its first line must name the columns")
	}
	if err != nil {
		return nil, err
	}
	return headerOf(r.columns, rec.cells, ignoreUnknown)
}

// headerName is a column's name as people write it in a header: Listed on.
func headerName(cell string) string {
	return strings.Join(strings.Fields(strings.ToLower(cell)), "_")
}

// headerOf checks the names of columns.
func headerOf(columns ColumnSet, cells []string, ignoreUnknown bool) (header, error) {
	if len(cells) > maxColumns {
		return nil, web.Refuse(web.Malformed, "the header names more than %d columns", maxColumns)
	}
	var wrong []service.FieldError
	names := make(header, len(cells))
	for i, cell := range cells {
		name := columns.today(headerName(cell))
		_, known := columns.ByName(name)
		switch {
		case name == "":
		case !known && ignoreUnknown:
			name = ignored
		case !known:
			wrong = append(wrong, columns.Unknown(name))
		case slices.Contains(names, name):
			wrong = append(wrong, service.FieldError{Column: name, Reason: "stands twice in the header"})
		}
		names[i] = name
	}
	if wrong != nil {
		return nil, &service.InvalidError{Fields: wrong}
	}
	if strings.Trim(strings.Join(names, ""), ignored) == "" {
		return nil, web.Refuse(web.Malformed, "the first line names no column that is known")
	}
	return names, nil
}

// row names the cells of a CSV's record.
func (h header) row(number int, rec record) recording.Row {
	row := h.cells(number, rec)
	for name, cell := range row.Cells {
		row.Cells[name] = importedCell(name, cell)
	}
	return row
}

// cells names the cells of a record. Cells beyond the header, and ones without
// a name, must be empty.
func (h header) cells(number int, rec record) recording.Row {
	row := recording.Row{Number: number, Cells: make(service.Cells, len(rec.cells))}
	for i, cell := range rec.cells {
		switch name, cell := h.at(i), strings.TrimSpace(cell); {
		case name == ignored:
		case name != "":
			row.Cells[name] = cell
		case cell != "" && i < len(h):
			row.Errors = append(row.Errors, service.FieldError{Reason: fmt.Sprintf("there is text in column %d, which has no name", i+1)})
		case cell != "" && len(row.Errors) == 0:
			row.Errors = append(row.Errors, service.FieldError{Reason: fmt.Sprintf("the row has %d cells, the header %d: is a comma in a text without quotes around it?", len(rec.cells), len(h))})
		}
	}
	if rec.beyond > 0 {
		row.Errors = append(row.Errors, service.FieldError{Reason: fmt.Sprintf(
			"the row has %d cells; at most %d are read", len(rec.cells)+rec.beyond, maxColumns)})
	}
	if rec.tooLong >= 0 {
		row.Errors = append(row.Errors, service.FieldError{Column: h.at(rec.tooLong), Reason: fmt.Sprintf("the cell is longer than %d bytes", maxCellBytes)})
	}
	if rec.broken >= 0 {
		row.Errors = append(row.Errors, service.FieldError{Column: h.at(rec.broken), Reason: "text follows the closing quote of the cell; write a quote inside of a quoted cell twice"})
	}
	for i := range row.Errors {
		row.Errors[i].Row, row.Errors[i].Ref = number, web.Clip(row.Cells["ref"], 100)
	}
	return row
}

// refuseCommas refuses numbers with a comma: a file with ; between its cells
// comes from where that mostly is the decimal mark, so 1,250 may be either.
func refuseCommas(row *recording.Row) {
	for _, c := range service.Columns {
		if cell := row.Cells[c.Name]; (c.Kind.IsNumeric() || c.Name == "ask_history") && strings.Contains(cell, ",") {
			row.Errors = append(row.Errors, service.FieldError{Row: row.Number, Ref: web.Clip(row.Cells["ref"], 100), Column: c.Name,
				Reason: fmt.Sprintf("%q has a comma, and ; is between the cells: say with decimal=, or decimal=. in the address which is the decimal mark", web.Clip(cell, 40))})
		}
	}
}

func (h header) at(i int) string {
	if i < len(h) {
		return h[i]
	}
	return ""
}

// importedCell undoes what export does to text.
func importedCell(name, cell string) string {
	if c, _ := service.FindColumn(name); c.Kind == service.KindText || c.Kind == service.KindWord {
		return web.ShowFormula(cell)
	}
	return cell
}
