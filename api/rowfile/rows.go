// Package rowfile reads files of rows, one at a time: CSV, JSON and workbooks.
package rowfile

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"unicode/utf8"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/recording"
)

// RowFile reads the rows of a spooled file, one at a time.
type RowFile struct {
	File          *os.File
	Columns       ColumnSet
	IgnoreUnknown bool
	IsDecimalTold bool
	MostRows      int
	Rows          int // seen so far
}

// start goes back to the beginning.
func (f *RowFile) start() (io.Reader, error) {
	f.Rows = 0
	_, err := f.File.Seek(0, io.SeekStart)
	return f.File, err
}

func (f *RowFile) count() error {
	f.Rows++
	if f.Rows > f.MostRows {
		return web.Refuse(web.TooLarge, "there are more than %d rows", f.MostRows)
	}
	return nil
}

// CSVRows reads a CSV with a header.
func (f *RowFile) CSVRows(yield func(recording.Row) error) error {
	in, err := f.start()
	if err != nil {
		return err
	}
	r, err := newCSVReader(in)
	if err != nil {
		return err
	}
	r.columns = f.Columns
	names, err := readHeader(r, f.IgnoreUnknown)
	if err != nil {
		return err
	}
	for {
		rec, err := r.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return inRow(f.Rows+1, err)
		}
		if err := f.count(); err != nil {
			return err
		}
		row := names.row(f.Rows, rec)
		f.Columns.readWords(row.Cells)
		if r.delimiter == ';' && !f.IsDecimalTold {
			refuseCommas(&row)
		}
		if err := yield(row); err != nil {
			return err
		}
	}
}

// inRow says where a file cannot be read further.
func inRow(row int, err error) error {
	var own *web.RequestError
	if errors.As(err, &own) && own.Errors == nil { // one with a pointer says it already
		return web.Refuse(own.Kind, "row %d: %s", row, own.Detail)
	}
	return err
}

// JSONRows reads an array of rows without holding more than one.
func (f *RowFile) JSONRows(yield func(recording.Row) error) error {
	in, err := f.start()
	if err != nil {
		return err
	}
	p := web.NewParser(&utf8Reader{in: bufio.NewReaderSize(in, 64<<10)})
	t, err := p.Token("")
	if err != nil {
		return err
	}
	if t != json.Delim('[') {
		return web.Refuse(web.Malformed, "the body is not an array of rows")
	}
	for p.Decoder.More() {
		if err := f.count(); err != nil {
			return err
		}
		n, err := p.Value("/"+strconv.Itoa(f.Rows-1), 1)
		if err != nil {
			return inRow(f.Rows, err)
		}
		row, err := f.jsonRow(n)
		if err != nil {
			return err
		}
		if err := yield(row); err != nil {
			return err
		}
	}
	if _, err := p.Token(""); err != nil {
		return err
	}
	if _, err := p.Decoder.Token(); !errors.Is(err, io.EOF) {
		return web.Refuse(web.Malformed, "more text follows the array of rows")
	}
	return nil
}

// jsonRow reads one object. A value of the wrong kind rejects the row, an
// unknown column the file, as in a CSV.
func (f *RowFile) jsonRow(n web.Node) (recording.Row, error) {
	row := recording.Row{Number: f.Rows, Cells: make(service.Cells, len(n.Members))}
	pointer := "/" + strconv.Itoa(f.Rows-1)
	wrong := func(m string, format string, args ...any) service.FieldError {
		return service.FieldError{Pointer: pointer + "/" + web.EscapePointer(m), Row: f.Rows, Ref: web.Clip(row.Cells["ref"], 100), Column: web.Clip(m, 60), Reason: fmt.Sprintf(format, args...)}
	}
	if n.Kind != web.ObjectNode {
		row.Errors = []service.FieldError{{Pointer: pointer, Row: f.Rows, Reason: "is " + n.Kind.String() + "; expected an object"}}
		return row, nil
	}
	for _, m := range n.Members {
		m.Name = f.Columns.today(m.Name)
		column, known := f.Columns.ByName(m.Name)
		switch {
		case !known && f.IgnoreUnknown:
		case !known:
			unknown := f.Columns.Unknown(m.Name)
			unknown.Pointer, unknown.Row, unknown.Ref = pointer+"/"+web.EscapePointer(m.Name), f.Rows, web.Clip(row.Cells["ref"], 100)
			return row, &service.InvalidError{Fields: []service.FieldError{unknown}}
		default:
			text, inside, reason := CellOf(column, m.Value)
			if reason != "" {
				fault := wrong(m.Name, "%s", reason)
				fault.Pointer += inside
				row.Errors = append(row.Errors, fault)
				continue
			}
			row.Cells[m.Name] = f.Columns.word(m.Name, text)
		}
	}
	return row, nil
}

// utf8Reader passes bytes on and fails at the first that is no UTF-8.
type utf8Reader struct {
	in   io.Reader
	rest []byte // of a character cut off by the last read
	at   int64
}

func (r *utf8Reader) Read(p []byte) (int, error) {
	n, err := r.in.Read(p)
	text := slices.Concat(r.rest, p[:n])
	for len(text) > 0 {
		if err == nil && !utf8.FullRune(text) {
			break
		}
		c, size := utf8.DecodeRune(text)
		if c == utf8.RuneError && size == 1 {
			return 0, web.Refuse(web.Malformed, "the body is not valid UTF-8 at byte %d", r.at)
		}
		text, r.at = text[size:], r.at+int64(size)
	}
	r.rest = slices.Clone(text)
	return n, err
}
