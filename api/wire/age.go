package wire

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/chart"
	"askwright/api/web"
	"askwright/pricing"
	"askwright/pricing/stats"
	"askwright/service/advice"
)

// AgeLine is how old the open listings of one category are, in active days.
type AgeLine struct {
	Category     string     `json:"category" example:"sideboard"`
	Listings     int        `json:"listings"`                         // open ones
	Paused       int        `json:"paused"`                           // of them
	MedianDays   web.Number `json:"median_days" swaggertype:"number"` // active days of the middle one
	OldestDays   int        `json:"oldest_days"`                      // active days of the oldest
	OldestRef    string     `json:"oldest_ref" example:"B-17"`        // which that is
	OldestMember string     `json:"oldest_member"`                    // whose
	Asked        web.Number `json:"asked" swaggertype:"number"`       // sum of the asks
	DaysTo14     int        `json:"days_0_14"`                        // listings of 0 to 14 active days
	DaysTo30     int        `json:"days_15_30"`                       // of 15 to 30
	DaysTo60     int        `json:"days_31_60"`                       // of 31 to 60
	DaysTo90     int        `json:"days_61_90"`                       // of 61 to 90
	DaysOver90   int        `json:"days_91_up"`                       // of more
}

// AgePage is the open listings by category, the one with most first.
type AgePage struct {
	Items []AgeLine `json:"items"`
	Next  *string   `json:"next"` // null: the list is whole
}

// AgeLine shows the ages of a category.
func (v Viewer) AgeLine(l advice.AgeLine) AgeLine {
	return AgeLine{
		Category: l.Category, Listings: l.Listings, Paused: l.Paused, MedianDays: web.Rounded(l.MedianAge, 1), OldestDays: l.OldestAge,
		OldestRef: l.Oldest.Ref, OldestMember: l.Oldest.Member, Asked: web.Exact(l.Asked, v.Currency),
		DaysTo14: l.Bands[0], DaysTo30: l.Bands[1], DaysTo60: l.Bands[2], DaysTo90: l.Bands[3], DaysOver90: l.Bands[4],
	}
}

// AgeColumns are the columns of the ages.
var AgeColumns = web.ColumnsOf[AgeLine](`
	category listings paused median_days oldest_days oldest_ref oldest_member asked days_0_14
	days_15_30 days_31_60 days_61_90 days_91_up`)

// AgeQuery is what the ages can be asked for.
type AgeQuery struct {
	Member string       `form:"member"`                                   // me, an id or a name
	AsOf   pricing.Date `form:"as_of" swaggertype:"string" format:"date"` // default: today
	web.TableQuery
}

// DaysToSell is how fast one category's own listings have sold, in active days
// (Kaplan–Meier: listings that are open or were pulled would have sold
// later).
type DaysToSell struct {
	Category string         `json:"category" example:"sideboard"` // empty: all together
	Listings int            `json:"listings"`                     // that it rests on
	Sold     int            `json:"sold"`                         // of them
	Median   *int           `json:"median_days"`                  // after which half are sold; null: fewer were ever seen to sell
	Low      *int           `json:"median_low"`                   // 80 % limits of the median
	High     *int           `json:"median_high"`
	LastDay  int            `json:"last_day"` // nothing is known beyond it
	Steps    []SurvivalStep `json:"steps"`    // the days with sales
}

// SurvivalStep is the share still unsold from a day on.
type SurvivalStep struct {
	Day    int         `json:"day"`
	AtRisk int         `json:"at_risk"` // listings that had stood so long
	Sold   int         `json:"sold"`    // of them, on that day
	Unsold web.Number  `json:"unsold" swaggertype:"number" example:"0.62"`
	Low    *web.Number `json:"low" swaggertype:"number"` // 80 % limits; null where all are sold
	High   *web.Number `json:"high" swaggertype:"number"`
}

// DaysToSellPage is all kinds together, then each category with 8 sales or
// more.
type DaysToSellPage struct {
	Items []DaysToSell `json:"items"`
	Next  *string      `json:"next"` // null: the list is whole
}

// SurvivalLevel is the level of the limits of a survival curve.
const SurvivalLevel = 0.8 // of the limits, as of all ranges that people are shown

// DaysToSellOf shows how fast a category sells.
func DaysToSellOf(c advice.CategorySpeed) DaysToSell {
	out := DaysToSell{
		Category: c.Category, Listings: c.N, Sold: c.Sales, LastDay: int(c.LastDay), Steps: make([]SurvivalStep, len(c.Steps)),
	}
	if days, ok := c.Median(); ok {
		out.Median = wholeDays(&days)
	}
	low, high := c.QuantileLimits(0.5, stats.LogLogLimits, SurvivalLevel)
	out.Low, out.High = wholeDays(low), wholeDays(high)
	for i, s := range c.Steps {
		step := SurvivalStep{Day: int(s.Day), AtRisk: s.AtRisk, Sold: s.Sales, Unsold: web.Chance(s.Survival)}
		if low, high, ok := s.Limits(stats.LogLogLimits, SurvivalLevel); ok {
			step.Low, step.High = Optional(&low, web.Chance), Optional(&high, web.Chance)
		}
		out.Steps[i] = step
	}
	return out
}

func wholeDays(x *float64) *int {
	if x == nil {
		return nil
	}
	n := int(*x)
	return &n
}

// DaysToSellColumns are the columns of the days to sell.
var DaysToSellColumns = web.ColumnsOf[DaysToSell](`
	category listings sold median_days median_low median_high last_day`)

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

// AnswerPicture draws in the form that the path asks for.
func AnswerPicture(c *gin.Context, p *chart.Picture) error {
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

// CurveOf is a suggestion as the drawing takes it.
func CurveOf(f advice.Suggestion, within int) chart.Curve {
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

// AgesOf are the ages as the drawing takes them.
func AgesOf(lines []advice.AgeLine) chart.Ages {
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
