package api

import (
	"encoding/xml"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// reviewFeed tells which listings need a hand, for feed readers.
//
//	@Summary	Listings to see to as an Atom feed
//	@Description	An entry keeps its id for as long as the listing is offered; it is updated when its state or what to do about it changes.
//	@Tags		advice
//	@Param		query	query	wire.FeedQuery	false	"filters"
//	@Produce	application/atom+xml,application/problem+json
//	@Success	200		{string}	string	"RFC 4287"
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reviews.atom [get]
func (s *Server) reviewFeed(c *gin.Context, a *service.Actor) error {
	var in wire.FeedQuery
	if err := web.ReadQuery(c, &in); err != nil {
		return err
	}
	q := advice.ReviewQuery{States: in.State}
	if len(q.States) == 0 {
		q.States = []string{"stale"}
	}
	var err error
	if q.Member, err = s.MemberNamed(web.Request{Context: c, Actor: a}, in.Member); err != nil {
		return err
	}
	c.Header("Cache-Control", "private, max-age=60")
	if web.NotModified(c, s.ListTag(c, a, "")) {
		return nil
	}
	entries, updated, err := s.app.Reviewer.Feed(c.Request.Context(), a, q)
	if err != nil {
		return err
	}
	self := *c.Request.URL
	query := self.Query()
	query.Del("key") // a link goes further than an address
	self.RawQuery = query.Encode()
	feed := wire.AtomFeed{
		// Its id is the group's and the filters' own.
		ID:       uuid.NewSHA1(a.Group.ID, []byte(self.String())).URN(),
		Title:    a.Group.Name + ": listings that need a hand",
		Subtitle: strings.Join(q.States, ", "),
		Updated:  web.Instant(updated),
		Links:    []wire.AtomLink{{Rel: "self", Type: "application/atom+xml", Href: self.String()}},
		Entries:  web.Each(entries, wire.ViewerOf(a).AtomEntry),
	}
	body, err := xml.MarshalIndent(feed, "", " ")
	if err != nil {
		return err
	}
	c.Header("Content-Type", "application/atom+xml; charset=utf-8")
	c.Status(http.StatusOK)
	_, err = c.Writer.Write(append([]byte(xml.Header), body...))
	return err
}

// listReviews reviews the open listings, the most urgent first.
//
//	@Summary	Review open listings
//	@Tags		advice
//	@Param		query	query	wire.ReviewQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.ReviewPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reviews [get]
//	@Router		/v1/reviews.csv [get]
func (s *Server) listReviews(r web.Request, in wire.ReviewQuery) ([]wire.Review, *web.Cursor, error) {
	member, err := s.MemberNamed(r, in.Member)
	if err != nil {
		return nil, nil, err
	}
	reviews, err := s.app.Advice.Reviews(r.Request.Context(), r.Actor, advice.ReviewQuery{AsOf: in.AsOf, States: in.State, Member: member})
	if err != nil {
		return nil, nil, web.InQuery(err)
	}
	if !in.Cursor.IsStart() {
		place, err := wire.ReviewPlace(in.Cursor)
		if err != nil {
			return nil, nil, err
		}
		reviews = advice.ReviewsAfter(reviews, place)
	}
	var next *web.Cursor
	if len(reviews) > in.Limit {
		reviews = reviews[:in.Limit]
		next = wire.CursorAfter(reviews[in.Limit-1].Place())
	}
	return web.Each(reviews, wire.ViewerOf(r.Actor).Review), next, nil
}
