package api

import (
	"encoding/xml"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/advice"
	"askwright/service/watch"
)

// atomFeed is a feed document (RFC 4287).
type atomFeed struct {
	XMLName  xml.Name    `xml:"http://www.w3.org/2005/Atom feed"`
	ID       string      `xml:"id"`
	Title    string      `xml:"title"`
	Subtitle string      `xml:"subtitle"`
	Updated  string      `xml:"updated"`
	Links    []atomLink  `xml:"link"`
	Entries  []atomEntry `xml:"entry"`
}

type atomLink struct {
	Rel  string `xml:"rel,attr"`
	Type string `xml:"type,attr"`
	Href string `xml:"href,attr"`
}

type atomEntry struct {
	ID       string       `xml:"id"`
	Title    string       `xml:"title"`
	Updated  string       `xml:"updated"`
	Author   atomAuthor   `xml:"author"`
	Category atomCategory `xml:"category"`
	Links    []atomLink   `xml:"link"`
	Content  atomText     `xml:"content"`
}

type atomAuthor struct {
	Name string `xml:"name"`
}

type atomCategory struct {
	Term string `xml:"term,attr"`
}

type atomText struct {
	Type string `xml:"type,attr"`
	Text string `xml:",chardata"`
}

// FeedQuery is what the feed can be asked for.
type FeedQuery struct {
	State  openStates `form:"state" swaggertype:"string" default:"stale" example:"stale,slow"` // several with commas between
	Member string     `form:"member"`                                                          // me, an id or a name
	Key    string     `form:"key"`                                                             // a feed key
}

// staleFeed tells which listings need a hand, for feed readers.
//
//	@Summary	Stale listings as an Atom feed
//	@Description	An entry keeps its id for as long as the listing is offered; it is updated when its state or what to do about it changes.
//	@Tags		advice
//	@Param		query	query	FeedQuery	false	"filters"
//	@Produce	application/atom+xml,application/problem+json
//	@Success	200		{string}	string	"RFC 4287"
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/stale.atom [get]
func (s *Server) staleFeed(c *gin.Context, a *service.Actor) error {
	var in FeedQuery
	if err := readQuery(c, &in); err != nil {
		return err
	}
	q := advice.ReviewQuery{States: in.State}
	if len(q.States) == 0 {
		q.States = []string{"stale"}
	}
	var err error
	if q.Member, err = s.memberNamed(request{Context: c, actor: a}, in.Member); err != nil {
		return err
	}
	c.Header("Cache-Control", "private, max-age=60")
	if notModified(c, s.listTag(c, a, "")) {
		return nil
	}
	entries, updated, err := s.service.Reviewer.Feed(c.Request.Context(), a, q)
	if err != nil {
		return err
	}
	self := *c.Request.URL
	query := self.Query()
	query.Del("key") // a link goes further than an address
	self.RawQuery = query.Encode()
	feed := atomFeed{
		// Its id is the group's and the filters' own.
		ID:       uuid.NewSHA1(a.Group.ID, []byte(self.String())).URN(),
		Title:    a.Group.Name + ": listings that need a hand",
		Subtitle: strings.Join(q.States, ", "),
		Updated:  instant(updated),
		Links:    []atomLink{{Rel: "self", Type: "application/atom+xml", Href: self.String()}},
		Entries:  each(entries, viewerOf(a).atomEntry),
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

func (v viewer) atomEntry(e watch.FeedEntry) atomEntry {
	address := "/v1/listings/" + e.Row.ID.String()
	return atomEntry{
		ID: e.Row.ID.URN(), Title: e.Row.Ref + ", " + e.What() + ": " + e.State, Updated: instant(e.UpdatedAt),
		Author: atomAuthor{Name: e.Row.Member}, Category: atomCategory{Term: e.State},
		Links:   []atomLink{{Rel: "alternate", Type: "application/json", Href: address}},
		Content: atomText{Type: "text", Text: "Asked " + string(exact(e.Ask, v.currency)) + " " + v.currency.Code + ". " + strings.Join(e.Sentences, " ")},
	}
}

func instant(t time.Time) string { return t.UTC().Format(time.RFC3339) }
