package api

import (
	"askwright/pricing"
	"askwright/service/advice"
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
	Items []AgeLine `json:"items"`
}

func (v viewer) ageLine(l advice.AgeLine) AgeLine {
	return AgeLine{
		Category: l.Category, Listings: l.Listings, Paused: l.Paused, MedianDays: rounded(l.MedianAge, 1), OldestDays: l.OldestAge,
		OldestRef: l.Oldest.Ref, OldestMember: l.Oldest.Member, Asked: exact(l.Asked, v.currency),
		DaysTo14: l.Bands[0], DaysTo30: l.Bands[1], DaysTo60: l.Bands[2], DaysTo90: l.Bands[3], DaysOver90: l.Bands[4],
	}
}

var ageColumns = columnsOf[AgeLine](`
	category listings paused median_days oldest_days oldest_ref oldest_member asked days_0_14
	days_15_30 days_31_60 days_61_90 days_91_up`)

// AgeQuery is what the ages can be asked for.
type AgeQuery struct {
	Member string       `form:"member"`                                   // me, an id or a name
	AsOf   pricing.Date `form:"as_of" swaggertype:"string" format:"date"` // default: today
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
func (s *Server) listingAge(r request, in AgeQuery) ([]AgeLine, error) {
	q, err := s.ageQuery(r, in)
	if err != nil {
		return nil, err
	}
	lines, err := s.service.Advice.ListingAge(r.Request.Context(), r.actor, q)
	return each(lines, viewerOf(r.actor).ageLine), err
}

func (s *Server) ageQuery(r request, in AgeQuery) (advice.AgeQuery, error) {
	member, err := s.memberNamed(r, in.Member)
	return advice.AgeQuery{AsOf: in.AsOf, Member: member}, err
}
