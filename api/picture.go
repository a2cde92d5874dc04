package api

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/chart"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// PictureQuery is how large a picture is to be.
type PictureQuery struct {
	Width  int    `form:"width" default:"480" min:"40" max:"1600"`  // pixels, 40 to 1600
	Height int    `form:"height" default:"270" min:"16" max:"1200"` // pixels, 16 to 1200; a small one has no axes
	Key    string `form:"key"`                                      // a feed key
}

// CurveQuery is what the curve of a listing can be asked for.
type CurveQuery struct {
	WithinDays int `form:"within_days" default:"30" max:"730"` // 1 to 730
	PictureQuery
}

// AgePictureQuery is what the picture of ages can be asked for.
type AgePictureQuery struct {
	Member string       `form:"member"`                                   // me, an id or a name
	AsOf   pricing.Date `form:"as_of" swaggertype:"string" format:"date"` // default: today
	PictureQuery
}

// answerPicture draws in the form that the path asks for.
func answerPicture(c *gin.Context, p *chart.Picture) error {
	body, kind := p.SVG(), "image/svg+xml"
	if strings.HasSuffix(c.Request.URL.Path, ".png") {
		var err error
		if body, err = p.PNG(); err != nil {
			return err
		}
		kind = "image/png"
	}
	c.Header("Content-Type", kind)
	c.Status(http.StatusOK)
	_, err := c.Writer.Write(body)
	return err
}

// getCurve draws what asks lead to, for a listing on file.
//
//	@Summary	A picture of the price curve
//	@Tags		pictures
//	@Param		id		path	string		true	"id of the listing"
//	@Param		query	query	CurveQuery	false	"size"
//	@Produce	image/svg+xml,png,application/problem+json
//	@Success	200		{file}		file
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/curve.svg [get]
//	@Router		/v1/listings/{id}/curve.png [get]
func (s *Server) getCurve(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	var in CurveQuery
	if err := readQuery(c, &in); err != nil {
		return err
	}
	if _, err := s.service.Recording.Listing(c.Request.Context(), a, id); err != nil {
		return err // before the tag, which knows nothing of the id
	}
	c.Header("Cache-Control", "private, max-age=60")
	if notModified(c, s.listTag(c, a, "")) {
		return nil
	}
	found, err := s.service.Advice.SuggestFor(c.Request.Context(), a, id, in.WithinDays)
	if err != nil {
		return err
	}
	return answerPicture(c, curveOf(*found, in.WithinDays).Draw(in.Width, in.Height))
}

func curveOf(f advice.Suggestion, within int) chart.Curve {
	curve := chart.Curve{Title: f.Ref, WithinDays: within, Now: f.PresentAsk}
	if f.Refusal != nil && len(f.Curve) == 0 {
		curve.Refusal = f.Refusal.Detail
	}
	if r := f.SalePrice; r != nil {
		curve.Low, curve.Likely, curve.High = r.Low, r.Likely, r.High
	}
	for _, point := range f.Curve {
		curve.Points = append(curve.Points, chart.Chance{Ask: point.Ask, Sold: point.ChanceSold})
	}
	for _, choice := range f.Choices {
		curve.Choices = append(curve.Choices, chart.Choice{Name: choice.Name, Chance: chart.Chance{Ask: choice.Ask, Sold: choice.ChanceSold}})
	}
	return curve
}

// getAgePicture draws how old the open listings are.
//
//	@Summary	A picture of how old the open listings are
//	@Tags		pictures
//	@Param		query	query	AgePictureQuery	false	"filters and size"
//	@Produce	image/svg+xml,png,application/problem+json
//	@Success	200		{file}		file
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/listing-age.svg [get]
//	@Router		/v1/reports/listing-age.png [get]
func (s *Server) getAgePicture(c *gin.Context, a *service.Actor) error {
	var in AgePictureQuery
	if err := readQuery(c, &in); err != nil {
		return err
	}
	q, err := s.ageQuery(request{Context: c, actor: a}, AgeQuery{Member: in.Member, AsOf: in.AsOf})
	if err != nil {
		return err
	}
	c.Header("Cache-Control", "private, max-age=60")
	if notModified(c, s.listTag(c, a, "")) {
		return nil
	}
	lines, err := s.service.Advice.ListingAge(c.Request.Context(), a, q)
	if err != nil {
		return inQuery(err)
	}
	return answerPicture(c, agesOf(lines).Draw(in.Width, in.Height))
}

func agesOf(lines []advice.AgeLine) chart.Ages {
	bands := make([]chart.AgeBand, len(advice.AgeBands)+1)
	from := 0
	for i, last := range advice.AgeBands {
		bands[i].Label = fmt.Sprintf("%d–%d", from, last)
		from = last + 1
	}
	bands[len(bands)-1].Label = fmt.Sprintf("over %d", from-1)
	all := 0
	for _, l := range lines {
		all += l.Listings
		for i, n := range l.Bands {
			bands[i].Count += n
		}
	}
	return chart.Ages{Title: fmt.Sprintf("%d open listings", all), Bands: bands}
}
