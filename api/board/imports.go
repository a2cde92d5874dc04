package board

import (
	"errors"
	"net/http"
	"os"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/rowfile"
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/imports"
	"askwright/service/recording"
	"askwright/service/sheet"
)

// The pages on which a member's own sheet comes in: drop a file, look at what is
// made of it, correct, keep.

// importsPage asks for a file and lists those sent.
type importsPage struct {
	Wrong string // what the file is, where it is no sheet of pieces
	Items []wire.ImportItem
}

// importPage is what is made of a sheet.
type importPage struct {
	wire.Import
	Columns []importHeading
	Fields  []string // to choose from
	Rows    []wire.ImportRow
	More    int // rows that are not shown
	Wrong   []string
	Landed  bool // just now
	Open    int  // questions without an answer
}

// importHeading is a heading with its field's name on the page.
type importHeading struct {
	wire.ImportColumn
	Name  string
	Taken string
}

const rowsShown = 10

// GetBoardImports asks for a sheet, and lists those sent.
//
//	@Summary	The board: bring in a sheet
//	@Tags		board
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/imports [get]
func (s *Board) GetBoardImports(c *gin.Context, a *service.Actor) error {
	return s.importsPage(c, a, http.StatusOK, "")
}

func (s *Board) importsPage(c *gin.Context, a *service.Actor, status int, wrong string) error {
	found, err := s.app.Imports.List(c.Request.Context(), a)
	if err != nil {
		return err
	}
	page := importsPage{Wrong: wrong, Items: web.Each(found, wire.ImportItemResource)}
	return s.render(c, status, "imports", boardFrame{Title: "Bring in your sheet", At: "imports", Viewer: a, Page: page})
}

// PostBoardImport takes a file and shows what is made of it.
//
//	@Summary	The board: look at a sheet
//	@Tags		board
//	@Accept		mpfd
//	@Param		file	formData	file	true	"a CSV or .xlsx, as it is"
//	@Produce	html
//	@Success	303	"to what is made of it"
//	@Failure	400	"the file is no sheet of pieces; the form again"
//	@Router		/board/imports [post]
func (s *Board) PostBoardImport(c *gin.Context, a *service.Actor) error {
	found, err := s.lookAtFile(c, a)
	var refused *sheet.Refusal
	var malformed *web.RequestError
	switch {
	case errors.As(err, &refused):
		return s.importsPage(c, a, http.StatusBadRequest, refused.Text)
	case errors.As(err, &malformed) && malformed.Kind == web.Malformed:
		return s.importsPage(c, a, http.StatusBadRequest, malformed.Detail)
	case err != nil:
		return err
	}
	c.Redirect(http.StatusSeeOther, "/board/imports/"+found.ID.String())
	return nil
}

func (s *Board) lookAtFile(c *gin.Context, a *service.Actor) (*imports.Import, error) {
	part, err := c.FormFile("file")
	if err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return nil, err
		}
		return nil, web.Refuse(web.Malformed, "Choose a file first.")
	}
	in, err := part.Open()
	if err != nil {
		return nil, web.Refuse(web.Malformed, "The file did not arrive whole. Send it again.")
	}
	defer in.Close()
	end, err := s.Turn(c, a)
	if err != nil {
		return nil, err
	}
	defer end()
	var f rowfile.RowFile
	if f.File, err = web.Spool(in); err != nil {
		return nil, err
	}
	defer func(spooled *os.File) { spooled.Close() }(f.File)
	grid, _, err := f.Grid(c.Request.Context(), "")
	if err != nil {
		return nil, err
	}
	s.Owe(a, len(grid.Rows)/web.RowsPerUnit)
	return s.app.Imports.First(c.Request.Context(), a, part.Filename, grid)
}

// GetBoardImport shows what is made of a sheet.
//
//	@Summary	The board: what is made of a sheet
//	@Tags		board
//	@Param		id	path	string	true	"id"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/imports/{id} [get]
func (s *Board) GetBoardImport(c *gin.Context, a *service.Actor) error {
	id, err := importID(c)
	if err != nil {
		return err
	}
	found, err := s.app.Imports.Get(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	return s.importPage(c, a, http.StatusOK, found, nil, false)
}

func importID(c *gin.Context) (uuid.UUID, error) {
	id, err := web.ParseID(c.Param("id"))
	if err != nil {
		return id, web.Refuse(web.Malformed, "%q is not an id", web.Clip(c.Param("id"), 40))
	}
	return id, nil
}

func (s *Board) importPage(c *gin.Context, a *service.Actor, status int, found *imports.Import, wrong []string, landed bool) error {
	page := importPage{Import: wire.ImportResource(found, nil), Fields: sheet.Fields(), Wrong: wrong, Landed: landed, Open: found.Look.Open()}
	for _, column := range page.Mapping {
		h := importHeading{ImportColumn: column, Name: "column:" + column.Heading}
		if column.Column != nil {
			h.Taken = *column.Column
		}
		page.Columns = append(page.Columns, h)
	}
	shown := min(rowsShown, len(found.Look.Rows))
	page.Rows, page.More = web.Each(found.Look.Rows[:shown], wire.ImportRowResource), len(found.Look.Rows)-shown
	return s.render(c, status, "import", boardFrame{Title: "Your sheet", At: "imports", Viewer: a, Page: page})
}

// PostBoardImportChange takes what the member says of a sheet, and with do=keep
// lets its rows land.
//
//	@Summary	The board: correct and keep a sheet
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		id	path		string	true	"id"
//	@Param		do	formData	string	true	"look or keep"
//	@Produce	html
//	@Success	200
//	@Failure	422	"something is wrong; the page again"
//	@Router		/board/imports/{id} [post]
func (s *Board) PostBoardImportChange(c *gin.Context, a *service.Actor) error {
	id, err := importID(c)
	if err != nil {
		return err
	}
	now, err := s.app.Imports.Get(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	found, err := s.app.Imports.Amend(c.Request.Context(), a, id, amendmentOf(c, now))
	if err == nil && c.PostForm("do") == "keep" && found.Look.Open() == 0 {
		found, err = s.app.Imports.Commit(c.Request.Context(), a, id, recording.ImportOptions{})
	}
	var wrong *service.InvalidError
	var refused *sheet.Refusal
	switch {
	case errors.As(err, &wrong):
		reasons := make([]string, len(wrong.Fields))
		for i, w := range wrong.Fields {
			reasons[i] = w.Reason
		}
		return s.importPage(c, a, http.StatusUnprocessableEntity, now, reasons, false)
	case errors.As(err, &refused):
		return s.importPage(c, a, http.StatusUnprocessableEntity, now, []string{refused.Text}, false)
	case err != nil:
		return err
	}
	if open := found.Look.Open(); open > 0 && c.PostForm("do") == "keep" {
		return s.importPage(c, a, http.StatusOK, found, []string{service.Count(open, "question", "questions") + " came up: nothing is saved yet."}, false)
	}
	return s.importPage(c, a, http.StatusOK, found, nil, c.PostForm("do") == "keep" && found.State == imports.StateCommitted)
}

// amendmentOf is what the form says other than the page did: columns that were
// taken for another field, and answers that were ticked or typed.
func amendmentOf(c *gin.Context, now *imports.Import) imports.Amendment {
	m := imports.Amendment{Columns: map[string]string{}, Answers: map[string]string{}}
	for _, t := range now.Look.Mapping {
		sent, has := c.GetPostForm("column:" + t.Heading)
		if has && sent != t.Column && (sent == "" || slices.Contains(sheet.Fields(), sent)) {
			m.Columns[t.Heading] = sent
		}
	}
	for _, q := range now.Look.Questions {
		answer := strings.TrimSpace(c.PostForm("answer:" + q.ID))
		_, moved := m.Columns[q.Heading]
		isOfHeading := q.Code == "heading" || q.Code == "second_column"
		if answer != "" && (!moved || !isOfHeading) {
			m.Answers[q.ID] = answer
		}
	}
	return m
}
