package api

import (
	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// listingAge tells how old the open listings are, by category.
//
//	@Summary	How old the open listings are
//	@Tags		reports
//	@Param		query	query	wire.AgeQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.AgePage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/listing-age [get]
//	@Router		/v1/reports/listing-age.csv [get]
func (s *Server) listingAge(r web.Request, in wire.AgeQuery) ([]wire.AgeLine, error) {
	q, err := s.ageQuery(r, in)
	if err != nil {
		return nil, err
	}
	lines, err := s.app.Advice.ListingAge(r.Request.Context(), r.Actor, q)
	return web.Each(lines, wire.ViewerOf(r.Actor).AgeLine), err
}

func (s *Server) ageQuery(r web.Request, in wire.AgeQuery) (advice.AgeQuery, error) {
	member, err := s.MemberNamed(r, in.Member)
	return advice.AgeQuery{AsOf: in.AsOf, Member: member}, err
}

// listDaysToSell tells how fast the group's own listings have sold: the share
// still unsold after so many active days.
//
//	@Summary	How many days listings take to sell
//	@Tags		reports
//	@Param		query	query	web.TableQuery	false	"form"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.DaysToSellPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/days-to-sell [get]
//	@Router		/v1/reports/days-to-sell.csv [get]
func (s *Server) listDaysToSell(r web.Request, _ web.TableQuery) ([]wire.DaysToSell, error) {
	speeds, err := s.app.Advice.DaysToSell(r.Request.Context(), r.Actor)
	return web.Each(speeds, wire.DaysToSellOf), err
}

// getCurve draws what asks lead to, for a listing on file.
//
//	@Summary	A picture of the price curve
//	@Tags		pictures
//	@Param		id		path	string		true	"id of the listing"
//	@Param		query	query	wire.CurveQuery	false	"size"
//	@Produce	image/svg+xml,png,application/problem+json
//	@Success	200		{file}		file
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/curve.svg [get]
//	@Router		/v1/listings/{id}/curve.png [get]
func (s *Server) getCurve(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	var in wire.CurveQuery
	if err := web.ReadQuery(c, &in); err != nil {
		return err
	}
	if _, err := s.app.Recording.Listing(c.Request.Context(), a, id); err != nil {
		return err // before the tag, which knows nothing of the id
	}
	c.Header("Cache-Control", "private, max-age=60")
	if web.NotModified(c, s.ListTag(c, a, "")) {
		return nil
	}
	found, err := s.app.Advice.SuggestFor(c.Request.Context(), a, id, in.WithinDays)
	if err != nil {
		return err
	}
	return wire.AnswerPicture(c, wire.CurveOf(*found, in.WithinDays).Draw(in.Width, in.Height))
}

// getAgePicture draws how old the open listings are.
//
//	@Summary	A picture of how old the open listings are
//	@Tags		pictures
//	@Param		query	query	wire.AgePictureQuery	false	"filters and size"
//	@Produce	image/svg+xml,png,application/problem+json
//	@Success	200		{file}		file
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/listing-age.svg [get]
//	@Router		/v1/reports/listing-age.png [get]
func (s *Server) getAgePicture(c *gin.Context, a *service.Actor) error {
	var in wire.AgePictureQuery
	if err := web.ReadQuery(c, &in); err != nil {
		return err
	}
	q, err := s.ageQuery(web.Request{Context: c, Actor: a}, wire.AgeQuery{Member: in.Member, AsOf: in.AsOf})
	if err != nil {
		return err
	}
	c.Header("Cache-Control", "private, max-age=60")
	if web.NotModified(c, s.ListTag(c, a, "")) {
		return nil
	}
	lines, err := s.app.Advice.ListingAge(c.Request.Context(), a, q)
	if err != nil {
		return web.InQuery(err)
	}
	return wire.AnswerPicture(c, wire.AgesOf(lines).Draw(in.Width, in.Height))
}
