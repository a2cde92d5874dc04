package api

import (
	"cmp"
	"context"
	"net/http"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/rowfile"
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/recording"
)

// importListings keeps the good rows of a file whose headings are the columns'
// own names, or with atomic all or none. Headings and words of earlier exports are
// read as well.
func (s *Server) importListings(c *gin.Context, a *service.Actor) error {
	if err := web.WantMediaType(c, "application/json", "text/csv", web.WorkbookMediaType); err != nil {
		return err
	}
	kind := web.MediaTypeOf(c)
	p := web.ParamsOf(c)
	p.Bool("commit") // decided which handler this is
	o := recording.ImportOptions{Atomic: p.Bool("atomic"), DryRun: p.Bool("dry_run"), Revisions: p.Bool("revisions")}
	decimal := p.OneOf("decimal", ".", ",")
	o.Decimal = []rune(cmp.Or(decimal, "."))[0]
	if o.Decimal != '.' && kind != "text/csv" {
		p.Refuse("decimal", "is for CSV; elsewhere numbers are numbers")
	}
	f := &rowfile.RowFile{Columns: rowfile.ImportColumns, IsDecimalTold: decimal != "", IgnoreUnknown: p.OneOf("unknown_columns", "refuse", "ignore") == "ignore", MostRows: s.limits.ImportRows}
	if err := p.Done(); err != nil {
		return err
	}
	var err error
	if f.File, err = web.Spool(c.Request.Body); err != nil {
		return err
	}
	defer f.File.Close() // its name is gone already
	rows, book := f.JSONRows, &rowfile.BookRows{}
	switch kind {
	case "text/csv":
		rows = f.CSVRows
	case web.WorkbookMediaType:
		if book, err = s.readBook(c.Request.Context(), a.Group.ID, f); err != nil {
			return err
		}
		rows = book.Each
	}
	result, err := s.app.Recording.Import(c.Request.Context(), a, rows, o)
	s.Owe(a, f.Rows/web.RowsPerUnit)
	if err != nil {
		return err
	}
	return answerImport(c, result, book)
}

// readBook reads one workbook of a group at a time: it takes many times the
// file's size of memory.
func (s *Server) readBook(ctx context.Context, group uuid.UUID, f *rowfile.RowFile) (*rowfile.BookRows, error) {
	end, err := s.workbooks.Take(ctx, group)
	if err != nil {
		return nil, err
	}
	defer end()
	return f.ReadBook(ctx)
}

func answerImport(c *gin.Context, r *recording.ImportResult, book *rowfile.BookRows) error {
	wrong := web.ProblemErrors(r.Errors)
	for i, e := range wrong {
		wrong[i].Cell = book.Place(e.Row, e.Column)
	}
	counts := web.ImportCounts{Received: r.Received, Created: r.Created, Updated: r.Updated, Unchanged: r.Unchanged, Rejected: r.Rejected}
	for _, v := range r.NewValues {
		counts.NewValues = append(counts.NewValues, web.NewValue(v))
	}
	if r.NothingLanded {
		detail := web.OneLine(&service.InvalidError{Fields: r.Errors})
		return &web.RequestError{Kind: web.NothingLanded, Detail: detail, Errors: wrong, Counts: &counts}
	}
	return web.Answer(c, http.StatusOK, wire.ImportAnswer{ImportCounts: counts, Errors: wrong, Revisions: r.Revisions})
}
