package api

import (
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

// AgeLine is how old the open listings of one category are, in active days.
type AgeLine struct {
	Category     string `json:"category" example:"sideboard"`
	Listings     int    `json:"listings"`                         // open ones
	Paused       int    `json:"paused"`                           // of them
	MedianDays   number `json:"median_days" swaggertype:"number"` // active days of the middle one
	OldestDays   int    `json:"oldest_days"`                      // active days of the oldest
	OldestRef    string `json:"oldest_ref" example:"B-17"`        // which that is
	OldestMember string `json:"oldest_member"`                    // whose
	Asked        number `json:"asked" swaggertype:"number"`       // sum of the asks
	DaysTo14     int    `json:"days_0_14"`                        // listings of 0 to 14 active days
	DaysTo30     int    `json:"days_15_30"`                       // of 15 to 30
	DaysTo60     int    `json:"days_31_60"`                       // of 31 to 60
	DaysTo90     int    `json:"days_61_90"`                       // of 61 to 90
	DaysOver90   int    `json:"days_91_up"`                       // of more
}

// AgePage is the open listings by category, the one with most first.
type AgePage struct {
	AsOf  string    `json:"as_of" format:"date"`
	Items []AgeLine `json:"items"`
}

func (v viewer) ageLine(l service.AgeLine) AgeLine {
	return AgeLine{
		Category: l.Category, Listings: l.Listings, Paused: l.Paused, MedianDays: rounded(l.MedianAge, 1), OldestDays: l.OldestAge,
		OldestRef: l.Oldest.Ref, OldestMember: l.Oldest.Member, Asked: exact(l.Asked, v.currency),
		DaysTo14: l.Bands[0], DaysTo30: l.Bands[1], DaysTo60: l.Bands[2], DaysTo90: l.Bands[3], DaysOver90: l.Bands[4],
	}
}

var ageColumns = []tableColumn[AgeLine]{
	{"category", textCell, func(v AgeLine) string { return v.Category }},
	{"listings", numberCell, func(v AgeLine) string { return strconv.Itoa(v.Listings) }},
	{"paused", numberCell, func(v AgeLine) string { return strconv.Itoa(v.Paused) }},
	{"median_days", numberCell, func(v AgeLine) string { return string(v.MedianDays) }},
	{"oldest_days", numberCell, func(v AgeLine) string { return strconv.Itoa(v.OldestDays) }},
	{"oldest_ref", textCell, func(v AgeLine) string { return v.OldestRef }},
	{"oldest_member", textCell, func(v AgeLine) string { return v.OldestMember }},
	{"asked", numberCell, func(v AgeLine) string { return string(v.Asked) }},
	{"days_0_14", numberCell, func(v AgeLine) string { return strconv.Itoa(v.DaysTo14) }},
	{"days_15_30", numberCell, func(v AgeLine) string { return strconv.Itoa(v.DaysTo30) }},
	{"days_31_60", numberCell, func(v AgeLine) string { return strconv.Itoa(v.DaysTo60) }},
	{"days_61_90", numberCell, func(v AgeLine) string { return strconv.Itoa(v.DaysTo90) }},
	{"days_91_up", numberCell, func(v AgeLine) string { return strconv.Itoa(v.DaysOver90) }},
}

// AgeQuery is what the ages can be asked for.
type AgeQuery struct {
	Member string `form:"member"`              // me, an id or a name
	AsOf   string `form:"as_of" format:"date"` // default: today
	TableQuery
}

// listingAge tells how old the open listings are, by category.
//
//	@Summary	How old the open listings are
//	@Tags		reports
//	@Param		query	query	AgeQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	AgePage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/listing-age [get]
//	@Router		/v1/reports/listing-age.csv [get]
//	@Router		/v1/listing-age.csv [get]
func (s *Server) listingAge(c *gin.Context, a *service.Actor) error {
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	q, err := s.ageQuery(c, a, p)
	if err != nil {
		return err
	}
	options := tableParams(p, columnNames(ageColumns))
	if form == formJSON && len(options.Fields) > 0 {
		p.refuse("fields", "is for CSV here")
	}
	if err := p.done(); err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, form)) {
		return nil
	}
	lines, err := s.service.ListingAge(c.Request.Context(), a, q)
	if err != nil {
		return inQuery(err)
	}
	items, v := make([]AgeLine, len(lines)), viewerOf(a)
	for i, l := range lines {
		items[i] = v.ageLine(l)
	}
	if form == formJSON {
		asOf := q.AsOf
		if asOf.IsZero() {
			asOf = a.Today
		}
		return answer(c, http.StatusOK, AgePage{AsOf: asOf.String(), Items: items})
	}
	return writeTable(c, "listing-age.csv", ageColumns, options, items)
}

func (s *Server) ageQuery(c *gin.Context, a *service.Actor, p *params) (service.AgeQuery, error) {
	q := service.AgeQuery{AsOf: p.date("as_of")}
	var err error
	q.Member, err = s.memberFilter(c, a, p)
	return q, err
}
