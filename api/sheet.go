package api

import (
	"errors"
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/rowfile"
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/imports"
	"askwright/service/recording"
	"askwright/service/sheet"
)

// createImport looks at a sheet as it is, or with commit=true lets a file with
// the columns' own names land at once.
//
//	@Summary		Look at a sheet, or import rows
//	@Description	A sheet is taken as it is, with any headings: the answer says what is made of it and asks what is not certain; nothing lands before it is committed. With commit=true the rows of a file whose headings are the columns' own names land at once; so do rows in JSON.
//	@Tags			imports
//	@Accept			json,text/csv,application/vnd.openxmlformats-officedocument.spreadsheetml.sheet
//	@Param			query	query		wire.SheetQuery		false	"how"
//	@Param			rows	body		[]wire.ListingRow	true	"a CSV or workbook; with commit=true also an array of rows"
//	@Success		200		{object}	wire.ImportAnswer	"with commit=true"
//	@Success		201		{object}	wire.Import
//	@Failure		422		{object}	web.Problem	"nothing landed; with the same counts"
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/imports [post]
func (s *Server) createImport(c *gin.Context, a *service.Actor) error {
	if c.Query("commit") == "true" || web.MediaTypeOf(c) == "application/json" {
		return s.importListings(c, a)
	}
	if err := web.WantMediaType(c, "application/json", "text/csv", web.WorkbookMediaType); err != nil {
		return err
	}
	p := web.ParamsOf(c)
	for _, name := range []string{"atomic", "dry_run", "decimal", "revisions", "unknown_columns"} {
		if p.Has(name) {
			p.Refuse(name, "goes with commit=true; without it this is a first look, which asks")
		}
	}
	of, name := p.Text("sheet"), p.Text("name")
	p.OneOf("commit", "false")
	if err := p.Done(); err != nil {
		return err
	}
	f := &rowfile.RowFile{}
	var err error
	if f.File, err = web.Spool(c.Request.Body); err != nil {
		return err
	}
	defer f.File.Close() // its name is gone already
	grid, others, err := s.readGrid(c, a, f, of)
	if err != nil {
		return err
	}
	found, err := s.app.Imports.First(c.Request.Context(), a, name, grid)
	s.Owe(a, len(grid.Rows)/web.RowsPerUnit)
	if err != nil {
		return noSheet(err)
	}
	c.Header("Location", "/v1/imports/"+found.ID.String())
	return web.Answer(c, http.StatusCreated, wire.ImportResource(found, others))
}

func (s *Server) readGrid(c *gin.Context, a *service.Actor, f *rowfile.RowFile, of string) (*sheet.Grid, []string, error) {
	end, err := s.workbooks.Take(c.Request.Context(), a.Group.ID)
	if err != nil {
		return nil, nil, err
	}
	defer end()
	return f.Grid(c.Request.Context(), of)
}

// noSheet makes a problem of a sheet that is something else.
func noSheet(err error) error {
	var refused *sheet.Refusal
	if errors.As(err, &refused) {
		return web.Refuse(web.Malformed, "%s", refused.Text)
	}
	return err
}

// listImports answers with one's own sheets.
//
//	@Summary	List one's sheets
//	@Tags		imports
//	@Param		query	query	web.TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.ImportPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/imports [get]
//	@Router		/v1/imports.csv [get]
func (s *Server) listImports(r web.Request, _ web.TableQuery) ([]wire.ImportItem, error) {
	found, err := s.app.Imports.List(r.Request.Context(), r.Actor)
	return web.Each(found, wire.ImportItemResource), err
}

// getImport looks at a sheet again.
//
//	@Summary	Look at a sheet again
//	@Tags		imports
//	@Param		id		path		string	true	"id"
//	@Success	200		{object}	wire.Import
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/imports/{id} [get]
func (s *Server) getImport(r web.Request, _ struct{}) (wire.Import, error) {
	return importAnswer(s.app.Imports.Get(r.Request.Context(), r.Actor, r.ID))
}

func importAnswer(found *imports.Import, err error) (wire.Import, error) {
	if err != nil {
		return wire.Import{}, noSheet(err)
	}
	return wire.ImportResource(found, nil), nil
}

// patchImport takes what its member says of a sheet.
//
//	@Summary	Correct what is made of a sheet
//	@Tags		imports
//	@Param		id		path		string				true	"id"
//	@Param		patch	body		wire.ImportPatch	true	"headings and answers"
//	@Success	200		{object}	wire.Import
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/imports/{id} [patch]
func (s *Server) patchImport(r web.Request, in wire.ImportPatch) (wire.Import, error) {
	return importAnswer(s.app.Imports.Amend(r.Request.Context(), r.Actor, r.ID, in.Amendment()))
}

// deleteImport forgets a sheet; what landed stays.
//
//	@Summary	Forget a sheet
//	@Tags		imports
//	@Param		id	path	string	true	"id"
//	@Success	204
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/imports/{id} [delete]
func (s *Server) deleteImport(r web.Request) error {
	return s.app.Imports.Delete(r.Request.Context(), r.Actor, r.ID)
}

// listImportRows answers with the rows of a sheet as they would land.
//
//	@Summary	Read the rows of a sheet as they would land
//	@Tags		imports
//	@Param		id		path	string			true	"id"
//	@Param		query	query	web.TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.ImportRowPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/imports/{id}/rows [get]
//	@Router		/v1/imports/{id}/rows.csv [get]
func (s *Server) listImportRows(r web.Request, _ web.TableQuery) ([]wire.ImportRow, error) {
	found, err := s.app.Imports.Get(r.Request.Context(), r.Actor, r.ID)
	if err != nil {
		return nil, noSheet(err)
	}
	return web.Each(found.Look.Rows, wire.ImportRowResource), nil
}

// commitImport lets the rows of a sheet land.
//
//	@Summary	Let the rows of a sheet land
//	@Tags		imports
//	@Param		id		path		string				true	"id"
//	@Param		how		body		wire.ImportCommit	true	"how"
//	@Success	200		{object}	wire.Import
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/imports/{id}/commits [post]
func (s *Server) commitImport(r web.Request, in wire.ImportCommit) (wire.Import, error) {
	found, err := s.app.Imports.Commit(r.Request.Context(), r.Actor, r.ID, recording.ImportOptions{DryRun: in.DryRun, Atomic: in.Atomic})
	if err != nil {
		return wire.Import{}, noSheet(err)
	}
	s.Owe(r.Actor, found.Result.Received/web.RowsPerUnit)
	return wire.ImportResource(found, nil), nil
}
