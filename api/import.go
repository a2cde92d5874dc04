package api

import (
	"bufio"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"os"
	"slices"
	"strconv"
	"unicode/utf8"

	"github.com/gin-gonic/gin"

	"askwright/service"
	"askwright/service/recording"
)

// ImportCounts is what became of the rows of a file.
type ImportCounts struct {
	Received  int        `json:"received" example:"312"`
	Created   int        `json:"created" example:"300"`
	Updated   int        `json:"updated" example:"9"`
	Unchanged int        `json:"unchanged" example:"1"`
	Rejected  int        `json:"rejected" example:"2"`
	NewValues []NewValue `json:"new_values,omitempty"` // words that no list knew; they were taken
}

// ImportAnswer is the counts with what was wrong.
type ImportAnswer struct {
	ImportCounts
	Errors    []ProblemError   `json:"errors"`
	Revisions map[string]int64 `json:"revisions,omitempty"` // with revisions=true: by ref, of the rows that landed
}

// NewValue is a word that no list knew.
type NewValue struct {
	Column  string `json:"column" example:"color"`
	Value   string `json:"value" example:"gren"`
	Nearest string `json:"nearest,omitempty" example:"green"` // the known word that may have been meant
}

// ImportQuery is how a file is taken.
type ImportQuery struct {
	Atomic         bool   `form:"atomic"`                                // all or nothing
	DryRun         bool   `form:"dry_run"`                               // the same answer, and nothing is kept
	Decimal        string `form:"decimal" default:"."`                   // of a CSV: a point or a comma; must be told where ; is between the cells and a number has a comma
	Revisions      bool   `form:"revisions"`                             // tell the revisions that the rows are at now
	UnknownColumns string `form:"unknown_columns" enums:"refuse,ignore"` // default: refuse
}

// importListings keeps the good rows of a file, or with atomic all or none.
//
//	@Summary	Import rows
//	@Tags		listings
//	@Accept		json,text/csv,application/vnd.openxmlformats-officedocument.spreadsheetml.sheet
//	@Param		query	query		ImportQuery		false	"how"
//	@Param		rows	body		[]ListingRow	true	"an array of rows, or a CSV or workbook with a header"
//	@Success	200		{object}	ImportAnswer
//	@Failure	422		{object}	Problem	"nothing landed; with the same counts"
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/import [post]
func (s *Server) importListings(c *gin.Context, a *service.Actor) error {
	if err := wantMediaType(c, "application/json", "text/csv", workbookMediaType); err != nil {
		return err
	}
	kind := mediaTypeOf(c)
	p := paramsOf(c)
	o := recording.ImportOptions{Atomic: p.bool("atomic"), DryRun: p.bool("dry_run"), Revisions: p.bool("revisions")}
	decimal := p.oneOf("decimal", ".", ",")
	o.Decimal = []rune(cmp.Or(decimal, "."))[0]
	if o.Decimal != '.' && kind != "text/csv" {
		p.refuse("decimal", "is for CSV; elsewhere numbers are numbers")
	}
	f := &rowFile{columns: rowColumns, isDecimalTold: decimal != "", ignoreUnknown: p.oneOf("unknown_columns", "refuse", "ignore") == "ignore", mostRows: s.limits.ImportRows}
	if err := p.done(); err != nil {
		return err
	}
	var err error
	if f.file, err = spool(c.Request.Body); err != nil {
		return err
	}
	defer f.file.Close() // its name is gone already
	rows, book := f.jsonRows, &bookRows{}
	switch kind {
	case "text/csv":
		rows = f.csvRows
	case workbookMediaType:
		if book, err = s.readBook(c.Request.Context(), f); err != nil {
			return err
		}
		rows = book.each
	}
	result, err := s.service.Recording.Import(c.Request.Context(), a, rows, o)
	s.requests.owe(a.KeyID.String(), f.rows/rowsPerUnit)
	if err != nil {
		return err
	}
	return answerImport(c, result, book)
}

// readBook reads one workbook at a time: it takes many times the file's size
// of memory.
func (s *Server) readBook(ctx context.Context, f *rowFile) (*bookRows, error) {
	if err := s.workbooks.Acquire(ctx, 1); err != nil {
		return nil, err
	}
	defer s.workbooks.Release(1)
	return f.readBook()
}

func answerImport(c *gin.Context, r *recording.ImportResult, book *bookRows) error {
	wrong := problemErrors(r.Errors)
	for i, e := range wrong {
		wrong[i].Cell = book.place(e.Row, e.Column)
	}
	counts := ImportCounts{Received: r.Received, Created: r.Created, Updated: r.Updated, Unchanged: r.Unchanged, Rejected: r.Rejected}
	for _, v := range r.NewValues {
		counts.NewValues = append(counts.NewValues, NewValue(v))
	}
	if r.NothingLanded {
		detail := oneLine(&service.InvalidError{Fields: r.Errors})
		return &requestError{kind: nothingLanded, detail: detail, errors: wrong, counts: &counts}
	}
	return answer(c, http.StatusOK, ImportAnswer{ImportCounts: counts, Errors: wrong, Revisions: r.Revisions})
}

func mediaTypeOf(c *gin.Context) string {
	t, _, err := mime.ParseMediaType(c.GetHeader("Content-Type"))
	if err != nil {
		return ""
	}
	return t
}

// spool keeps a body in a file without a name, so that a slow client holds no
// transaction and a transaction can read it again.
func spool(body io.Reader) (*os.File, error) {
	if f, ok := body.(*os.File); ok {
		return f, nil // it was, to be repeated
	}
	f, err := os.CreateTemp("", "askwright-import-")
	if err != nil {
		return nil, spoolError(err)
	}
	err = os.Remove(f.Name())
	if err == nil {
		_, err = io.Copy(f, body)
	}
	if err == nil {
		return f, nil
	}
	f.Close()
	return nil, spoolError(err)
}

// spoolError tells our own full or missing folder from a body that broke off.
func spoolError(err error) error {
	var path *os.PathError
	if errors.As(err, &path) {
		return fmt.Errorf("spool the import: %w: %w", service.ErrUnavailable, err)
	}
	return bodyError(err)
}

// rowFile reads the rows of a spooled file, one at a time.
type rowFile struct {
	file          *os.File
	columns       columnSet
	ignoreUnknown bool
	isDecimalTold bool
	mostRows      int
	rows          int // seen so far
}

// start goes back to the beginning.
func (f *rowFile) start() (io.Reader, error) {
	f.rows = 0
	_, err := f.file.Seek(0, io.SeekStart)
	return f.file, err
}

func (f *rowFile) count() error {
	f.rows++
	if f.rows > f.mostRows {
		return refuse(tooLarge, "there are more than %d rows", f.mostRows)
	}
	return nil
}

func (f *rowFile) csvRows(yield func(recording.Row) error) error {
	in, err := f.start()
	if err != nil {
		return err
	}
	r, err := newCSVReader(in)
	if err != nil {
		return err
	}
	r.columns = f.columns
	names, err := readHeader(r, f.ignoreUnknown)
	if err != nil {
		return err
	}
	for {
		rec, err := r.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return inRow(f.rows+1, err)
		}
		if err := f.count(); err != nil {
			return err
		}
		row := names.row(f.rows, rec)
		if r.delimiter == ';' && !f.isDecimalTold {
			refuseCommas(&row)
		}
		if err := yield(row); err != nil {
			return err
		}
	}
}

// inRow says where a file cannot be read further.
func inRow(row int, err error) error {
	var own *requestError
	if errors.As(err, &own) && own.kind == malformed {
		return refuse(malformed, "row %d: %s", row, own.detail)
	}
	return err
}

// jsonRows reads an array of rows without holding more than one.
func (f *rowFile) jsonRows(yield func(recording.Row) error) error {
	in, err := f.start()
	if err != nil {
		return err
	}
	p := newParser(&utf8Reader{in: bufio.NewReaderSize(in, 64<<10)})
	t, err := p.token("")
	if err != nil {
		return err
	}
	if t != json.Delim('[') {
		return refuse(malformed, "the body is not an array of rows")
	}
	for p.decoder.More() {
		if err := f.count(); err != nil {
			return err
		}
		n, err := p.value("/"+strconv.Itoa(f.rows-1), 1)
		if err != nil {
			return err
		}
		row, err := f.jsonRow(n)
		if err != nil {
			return err
		}
		if err := yield(row); err != nil {
			return err
		}
	}
	if _, err := p.token(""); err != nil {
		return err
	}
	if _, err := p.decoder.Token(); !errors.Is(err, io.EOF) {
		return refuse(malformed, "more text follows the array of rows")
	}
	return nil
}

// jsonRow reads one object. A value of the wrong kind rejects the row, an
// unknown column the file, as in a CSV.
func (f *rowFile) jsonRow(n node) (recording.Row, error) {
	row := recording.Row{Number: f.rows, Cells: make(service.Cells, len(n.members))}
	pointer := "/" + strconv.Itoa(f.rows-1)
	wrong := func(m string, format string, args ...any) service.FieldError {
		return service.FieldError{Pointer: pointer + "/" + escapePointer(m), Row: f.rows, Ref: clip(row.Cells["ref"], 100), Column: clip(m, 60), Reason: fmt.Sprintf(format, args...)}
	}
	if n.kind != objectNode {
		row.Errors = []service.FieldError{{Pointer: pointer, Row: f.rows, Reason: "is " + n.kind.String() + "; expected an object"}}
		return row, nil
	}
	for _, m := range n.members {
		_, known := f.columns.byName(m.name)
		switch {
		case !known && f.ignoreUnknown:
		case !known:
			return row, &service.InvalidError{Fields: []service.FieldError{wrong(m.name, "is no column%s", didYouMean(f.columns.nearest(clip(m.name, 60))))}}
		case m.value.kind == nullNode || m.value.kind == numberNode || m.value.kind == stringNode:
			row.Cells[m.name] = m.value.text
		default:
			row.Errors = append(row.Errors, wrong(m.name, "is %s; expected a number or a string", m.value.kind))
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
			return 0, refuse(malformed, "the body is not valid UTF-8 at byte %d", r.at)
		}
		text, r.at = text[size:], r.at+int64(size)
	}
	r.rest = slices.Clone(text)
	return n, err
}
