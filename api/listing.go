package api

import (
	"encoding/json"
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
)

// listListings answers with rows, as JSON a page, as CSV all of them.
//
//	@Summary	List listings and pieces in the yard
//	@Tags		listings
//	@Param		query	query	wire.ListingQuery	false	"filters, order and form"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.ListingPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings [get]
//	@Router		/v1/listings.csv [get]
func (s *Server) listListings(c *gin.Context, a *service.Actor) error {
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	p, v := web.ParamsOf(c), wire.ViewerOf(a)
	query, err := s.listingQuery(c, a, p)
	if err != nil {
		return err
	}
	columns := v.Table()
	options := web.TableParams(p, web.ColumnNames(columns))
	v.Fields = options.Fields
	if err := p.Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, form)) {
		return nil
	}
	if form == web.FormCSV && !p.Values.Has("limit") {
		return s.exportListings(c, a, query, columns, options)
	}
	rows, more, err := s.app.Recording.Listings(c.Request.Context(), a, query)
	if err != nil {
		return err
	}
	var next *string
	if more {
		next = new(wire.NextListing(c, a, query, rows[len(rows)-1]))
		web.LinkNext(c, *next)
	}
	if form == web.FormCSV {
		return web.WriteTable(c, "listings.csv", columns, options, rows)
	}
	return web.Answer(c, http.StatusOK, web.Page[json.RawMessage]{Items: v.Rows(rows), Next: next})
}

// exportListings answers with every row. They are read at one moment, into a
// file: no connection to the database waits for the client.
func (s *Server) exportListings(c *gin.Context, a *service.Actor, q service.Query,
	columns []web.TableColumn[*service.Listing], o web.TableOptions) error {
	end, err := s.Turn(c, a)
	if err != nil {
		return err
	}
	defer end()
	return web.SpoolTable(c, "listings.csv", columns, o, func(yield func(*service.Listing) error) error {
		return s.app.Recording.EachListing(c.Request.Context(), a, q, yield)
	})
}

// listingQuery reads filters, order and position.
func (s *Server) listingQuery(c *gin.Context, a *service.Actor, p *web.Params) (service.Query, error) {
	q := service.Query{
		Words: map[string][]string{}, From: map[string]pricing.Date{}, To: map[string]pricing.Date{},
		Min: map[string]float64{}, Max: map[string]float64{},
	}
	for _, name := range service.WordFilters {
		if words := wire.ReadWords(p, name); words != nil {
			q.Words[name] = words
		}
	}
	for _, name := range service.DateFilters {
		if d := p.Date(name + "_from"); !d.IsZero() {
			q.From[name] = d
		}
		if d := p.Date(name + "_to"); !d.IsZero() {
			q.To[name] = d
		}
	}
	for _, name := range service.NumberFilters {
		if n, ok := p.Number(name + "_min"); ok {
			q.Min[name] = n
		}
		if n, ok := p.Number(name + "_max"); ok {
			q.Max[name] = n
		}
	}
	if text := p.Text("piece"); text != "" {
		id, err := web.ParseID(text)
		if err != nil {
			p.Refuse("piece", "%q is not an id", web.Clip(text, 40))
		}
		q.Piece = &id
	}
	if word := p.OneOf("unlisted", "true", "false"); word != "" {
		only := word == "true"
		q.InTheYard = &only
	}
	q.Sort = wire.ReadSort(p)
	q.Limit = p.Count("limit", web.PageDefault, web.PageMost)
	wire.ReadPosition(p, &q)
	var err error
	q.Member, err = s.MemberFilter(c, a, p)
	return q, err
}

// createListing keeps one row: a new one, or the row with that ref in its new
// state.
//
//	@Summary	Record a listing, or a piece in the yard
//	@Tags		listings
//	@Param		row		body		wire.ListingRow	true	"ref, category, listed_on and ask; or ref, category and stage"
//	@Success	200		{object}	wire.ListingRow	"a row with this ref was there"
//	@Success	201		{object}	wire.ListingRow	"it is new"
//	@Failure	default	{object}	web.Problem		"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings [post]
func (s *Server) createListing(r web.Request, in wire.Cells) (json.RawMessage, error) {
	change, err := s.app.Recording.Record(r.Request.Context(), r.Actor, service.Cells(in))
	if err != nil {
		return nil, err
	}
	if change.Old == nil {
		r.Status(http.StatusCreated)
		r.Header("Location", "/v1/listings/"+change.New.ID.String())
	}
	return shownListing(r, change.New), nil
}

// shownListing is a row as it goes out, with its revision.
func shownListing(r web.Request, l *service.Listing) json.RawMessage {
	r.Header("ETag", web.RevisionTag(l.Revision))
	return wire.ViewerOf(r.Actor).Row(l)
}

// getListing answers with the facts on file, no ages and no states: those are
// of /v1/reviews.
//
//	@Summary	Read a listing
//	@Tags		listings
//	@Param		id		path		string	true	"id"
//	@Success	200		{object}	wire.ListingRow
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id} [get]
func (s *Server) getListing(c *gin.Context, a *service.Actor) error {
	if err := web.WantJSON(c); err != nil {
		return err
	}
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	l, err := s.app.Recording.Listing(c.Request.Context(), a, id)
	if err != nil || web.NotModified(c, web.RevisionTag(l.Revision)) {
		return err
	}
	return web.Answer(c, http.StatusOK, wire.ViewerOf(a).Row(l))
}

// patchListing changes some columns (RFC 7396: what is absent stays, null is
// unknown).
//
//	@Summary	Change a listing
//	@Tags		listings
//	@Param		id			path		string		true	"id"
//	@Param		If-Match	header		string		false	"the revision seen"
//	@Param		row			body		wire.ListingRow	true	"the columns to change"
//	@Success	200			{object}	wire.ListingRow
//	@Failure	default		{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id} [patch]
func (s *Server) patchListing(r web.Request, in wire.Cells) (json.RawMessage, error) {
	want, err := web.WantedRevision(r.Context)
	if err != nil {
		return nil, err
	}
	change, err := s.app.Recording.Patch(r.Request.Context(), r.Actor, r.ID, service.Cells(in), want)
	if err != nil {
		return nil, err
	}
	return shownListing(r, change.New), nil
}

// deleteListing removes a mistaken entry; the audit keeps it.
//
//	@Summary	Remove a mistaken listing
//	@Tags		listings
//	@Param		id			path	string	true	"id"
//	@Param		If-Match	header	string	false	"the revision seen"
//	@Success	204
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id} [delete]
func (s *Server) deleteListing(r web.Request) error {
	want, err := web.WantedRevision(r.Context)
	if err != nil {
		return err
	}
	return s.app.Recording.Delete(r.Request.Context(), r.Actor, r.ID, want)
}

// getListingText writes a title and a description from the row.
//
//	@Summary		Write the text of a listing
//	@Description	Of a listing, or of a piece in the yard that is bought: only what the row says, in JSON or, with Accept: text/plain, as the title, an empty line and the description.
//	@Tags			listings
//	@Param			id	path	string	true	"id of the listing"
//	@Produce		json,text/plain,application/problem+json
//	@Success		200		{object}	wire.ListingText
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/listings/{id}/text [get]
func (s *Server) getListingText(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	accept := c.GetHeader("Accept")
	json, plain := web.AcceptWeight(accept, "application", "json"), web.AcceptWeight(accept, "text", "plain")
	if json == 0 && plain == 0 {
		return web.Refuse(web.NotAcceptable, "Accept is %q; this comes as application/json or text/plain", web.Clip(accept, 60))
	}
	text, err := s.app.History.ListingText(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	shown := wire.ListingText{Title: text.Title, Description: text.Description, Cautions: wire.Cautions(text.Cautions)}
	if json >= plain {
		return web.AnswerTagged(c, shown)
	}
	if web.NotModified(c, web.HashTag(shown, "plain")) {
		return nil
	}
	c.Header("Content-Type", "text/plain; charset=utf-8")
	c.Status(http.StatusOK)
	_, err = c.Writer.WriteString(shown.Title + "\n\n" + shown.Description + "\n")
	return err
}
