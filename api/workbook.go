package api

import (
	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// exportWorkbook answers with listings, pieces in the yard and an explanation
// of the columns, a sheet for each. The import takes it back.
//
//	@Summary	Listings and pieces in the yard as a workbook
//	@Tags		listings
//	@Param		query	query	wire.ListingQuery	false	"filters, order and columns"
//	@Produce	application/vnd.openxmlformats-officedocument.spreadsheetml.sheet,application/problem+json
//	@Success	200		{file}		file
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings.xlsx [get]
func (s *Server) exportWorkbook(c *gin.Context, a *service.Actor) error {
	p, v := web.ParamsOf(c), wire.ViewerOf(a)
	query, err := s.listingQuery(c, a, p)
	if err != nil {
		return err
	}
	columns := v.Table()
	columns = web.Pick(columns, p.Fields(web.ColumnNames(columns)))
	if p.Has("limit") || p.Has("cursor") {
		p.Refuse("limit", "a workbook holds all rows")
	}
	if err := p.Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, "xlsx")) {
		return nil
	}
	book, err := web.NewWorkbook(a.Group.Currency)
	if err != nil {
		return err
	}
	defer book.File.Close() // and its temporary files
	rows := func(yield func(*service.Listing) error) error {
		return s.app.Recording.EachListing(c.Request.Context(), a, query, yield)
	}
	if err := wire.ListingSheets(book, columns, rows); err != nil {
		return err
	}
	return book.Send(c, "listings.xlsx")
}
