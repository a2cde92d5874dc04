package api

import (
	"askwright/pricing/stats"
	"askwright/service/advice"
)

// DaysToSell is how fast one category's own listings have sold, in active days
// (Kaplan–Meier: listings that are open or were withdrawn would have sold
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
	Day    int     `json:"day"`
	AtRisk int     `json:"at_risk"` // listings that had stood so long
	Sold   int     `json:"sold"`    // of them, on that day
	Unsold number  `json:"unsold" swaggertype:"number" example:"0.62"`
	Low    *number `json:"low" swaggertype:"number"` // 80 % limits; null where all are sold
	High   *number `json:"high" swaggertype:"number"`
}

// DaysToSellPage is all kinds together, then each category with 8 sales or
// more.
type DaysToSellPage struct {
	Items []DaysToSell `json:"items"`
}

const survivalLevel = 0.8 // of the limits, as of all ranges that people are shown

func daysToSell(c advice.CategorySpeed) DaysToSell {
	out := DaysToSell{
		Category: c.Category, Listings: c.N, Sold: c.Sales, LastDay: int(c.LastDay), Steps: make([]SurvivalStep, len(c.Steps)),
	}
	if days, ok := c.Median(); ok {
		out.Median = wholeDays(&days)
	}
	low, high := c.QuantileLimits(0.5, stats.LogLogLimits, survivalLevel)
	out.Low, out.High = wholeDays(low), wholeDays(high)
	for i, s := range c.Steps {
		step := SurvivalStep{Day: int(s.Day), AtRisk: s.AtRisk, Sold: s.Sales, Unsold: chance(s.Survival)}
		if low, high, ok := s.Limits(stats.LogLogLimits, survivalLevel); ok {
			step.Low, step.High = optional(&low, chance), optional(&high, chance)
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

var daysToSellColumns = columnsOf[DaysToSell](`
	category listings sold median_days median_low median_high last_day`)

// listDaysToSell tells how fast the group's own listings have sold: the share
// still unsold after so many active days.
//
//	@Summary	How many days listings take to sell
//	@Tags		reports
//	@Param		query	query	TableQuery	false	"form"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	DaysToSellPage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/days-to-sell [get]
//	@Router		/v1/reports/days-to-sell.csv [get]
func (s *Server) listDaysToSell(r request, _ TableQuery) ([]DaysToSell, error) {
	speeds, err := s.service.Advice.DaysToSell(r.Request.Context(), r.actor)
	return each(speeds, daysToSell), err
}
