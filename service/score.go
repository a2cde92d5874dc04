package service

import (
	"fmt"
	"math"
	"slices"

	"askwright/pricing"
)

// Scores say how promises turned out. Prices are judged by the sales, chances
// once their days are over, and the asks by all that ended.
type Scores struct {
	Listings    int // promises that something of is known by now
	Sold        int // with a price that was promised
	MedianError *float64
	Level       float64 // of the ranges
	Inside      pricing.Share
	Ratio       *pricing.RatioStudy
	Chances     *pricing.Calibration
	Unjudged    int // chances: withdrawn before their days were over
	Followed    []Followed
	Sentences   []string
}

// The ways of following a suggested ask.
const (
	AskedNear  = "near"  // within nearAsk of what was suggested
	AskedAbove = "above" //
	AskedBelow = "below"
)

const nearAsk = 0.05 // common practice, no source: about one price point

// Followed is what became of the listings whose seller asked so.
type Followed struct {
	Asked      string
	Listings   int
	Sold       pricing.Share
	MedianDays float64 // active days until the end
	NetPercent float64 // mean of what was left after fees and holding, of the likely price
	StdError   float64 // of NetPercent; zero below two
}

// promised is one promise and what came of it.
type promised struct {
	price  *pricing.Range // nil: none was told
	ask    float64        // suggested; zero: none
	likely float64        // sale price told beside the ask; zero: none
	chance float64        // within days, at the ask really used
	within int

	listing pricing.Listing
	used    float64      // the ask really used
	usedOn  pricing.Date // since when
}

// soldWithin tells whether the chance was kept; false where that cannot be told
// yet, or never.
func (p promised) soldWithin(today pricing.Date) (kept, known, lost bool) {
	if p.ask == 0 || p.usedOn+pricing.Date(p.within) > today {
		return false, false, false // its days are not over: counting the early sales alone would flatter
	}
	l := p.listing
	days := l.ActiveDays(today) - l.ActiveDays(p.usedOn)
	switch {
	case l.Outcome == pricing.Sold:
		return days <= p.within, true, false
	case days >= p.within:
		return false, true, false
	}
	return false, false, l.Outcome == pricing.Withdrawn
}

// net is what an ended listing left, after fees and holding, in points of the
// likely price.
func (p promised) net(s pricing.Settings) float64 {
	likely, l := p.likely, p.listing
	holding := s.HoldingRate * likely
	if floor := l.Width * l.Depth / 1e4; floor > 0 && s.SpacePrice > 0 {
		holding = 2 * floor * s.SpacePrice // the aisle takes as much again
	}
	brought := s.SalvageRate * likely
	if l.Outcome == pricing.Sold {
		brought = (1 - s.FeeRate) * l.SalePrice
	}
	return 100 * (brought - holding*float64(l.ActiveDays(l.EndedOn))) / likely
}

// calibrationEdges part the chances into fifths.
var calibrationEdges = []float64{0.2, 0.4, 0.6, 0.8}

// score judges promises as known on a day.
func score(all []promised, today pricing.Date, s pricing.Settings) Scores {
	var out Scores
	var likely, prices []float64
	var ranges []pricing.Range
	var chances []pricing.Promise
	var ended []promised
	for _, p := range all {
		kept, known, lost := p.soldWithin(today)
		isSold := p.price != nil && p.listing.Outcome == pricing.Sold && p.listing.SalePrice > 0
		hasEnded := p.likely > 0 && p.ask > 0 && ((p.listing.Outcome == pricing.Sold && p.listing.SalePrice > 0) || p.listing.Outcome == pricing.Withdrawn)
		if known || isSold || hasEnded {
			out.Listings++
		}
		if lost {
			out.Unjudged++
		}
		if known {
			chances = append(chances, pricing.Promise{Chance: p.chance, Kept: kept})
		}
		if isSold {
			likely, prices, ranges = append(likely, p.price.Likely), append(prices, p.listing.SalePrice), append(ranges, *p.price)
			out.Level = p.price.Level
		}
		if hasEnded {
			ended = append(ended, p)
		}
	}
	out.Sold = len(prices)
	out.Inside = pricing.Coverage(ranges, prices)
	if e, err := pricing.MedianAbsolutePercentError(likely, prices); err == nil {
		out.MedianError = &e
	}
	if r, err := pricing.NewRatioStudy(likely, prices); err == nil {
		out.Ratio = r
	}
	if c, err := pricing.Calibrate(chances, calibrationEdges...); err == nil {
		out.Chances = c
	}
	out.Followed = follow(ended, s)
	out.Sentences = out.explain()
	return out
}

// follow parts ended listings by how they were asked.
func follow(ended []promised, s pricing.Settings) []Followed {
	var out []Followed
	for _, asked := range []string{AskedNear, AskedAbove, AskedBelow} {
		f := Followed{Asked: asked}
		sold := 0
		var days, nets []float64
		for _, p := range ended {
			if p.asked() != asked {
				continue
			}
			if p.listing.Outcome == pricing.Sold {
				sold++
			}
			days = append(days, float64(p.listing.ActiveDays(p.listing.EndedOn)))
			nets = append(nets, p.net(s))
		}
		f.Listings, f.Sold = len(nets), pricing.NewShare(sold, len(nets))
		f.NetPercent, f.StdError = meanAndError(nets)
		if len(days) > 0 {
			slices.Sort(days)
			f.MedianDays = (days[len(days)/2] + days[(len(days)-1)/2]) / 2
		}
		out = append(out, f)
	}
	return out
}

func (p promised) asked() string {
	switch off := p.used/p.ask - 1; {
	case off > nearAsk:
		return AskedAbove
	case off < -nearAsk:
		return AskedBelow
	}
	return AskedNear
}

// meanAndError returns the mean with its standard error.
func meanAndError(x []float64) (mean, se float64) {
	n := float64(len(x))
	if n == 0 {
		return 0, 0
	}
	for _, v := range x {
		mean += v / n
	}
	if n < 2 {
		return mean, 0
	}
	for _, v := range x {
		se += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(se / (n - 1) / n)
}

// fewToCompare is below what no comparison is drawn.
const fewToCompare = 8

// explain answers for people: how far off, and whether following paid.
func (s *Scores) explain() []string {
	if s.MedianError == nil {
		return []string{"Nothing can be judged yet: no listing with a suggested price has sold."}
	}
	t := []string{fmt.Sprintf("Over %d sales the likely price was off by %.0f %% at the median; %d of them fell inside the stated range, where %.0f in 100 were promised.",
		s.Sold, *s.MedianError, s.Inside.Hits, 100*s.Level)}
	return append(t, s.compareFollowed()...)
}

// compareFollowed answers "would I have earned more had I followed it?".
func (s *Scores) compareFollowed() []string {
	near, rest := s.Followed[0], s.Followed[1].and(s.Followed[2])
	if near.Listings < fewToCompare || rest.Listings < fewToCompare {
		return []string{fmt.Sprintf("Whether following it would have earned more cannot be told yet: %d ended listings asked within 5 %% of what was suggested and %d asked otherwise; at least %d of each are needed.",
			near.Listings, rest.Listings, fewToCompare)}
	}
	gain, unsure := near.NetPercent-rest.NetPercent, 2*math.Hypot(near.StdError, rest.StdError)
	verdict := fmt.Sprintf("So following it went with earning more, by %.0f points of the likely price, give or take %.0f.", gain, unsure)
	switch {
	case gain < -unsure:
		verdict = fmt.Sprintf("So following it went with earning less, by %.0f points of the likely price, give or take %.0f.", -gain, unsure)
	case gain <= unsure:
		verdict = fmt.Sprintf("The difference is within what chance alone makes (give or take %.0f points), so it cannot be told whether following it earns more.", unsure)
	}
	return []string{
		fmt.Sprintf("The %d listings that asked within 5 %% of what was suggested left %.0f %% of the likely price after fees and holding; the %d that asked otherwise left %.0f %%. %s",
			near.Listings, near.NetPercent, rest.Listings, rest.NetPercent, verdict),
		"These are different pieces, not one piece at two asks: a seller who asked otherwise may have known something that the description leaves out.",
	}
}

// and joins two ways of asking into one; the median of days is not kept.
func (f Followed) and(g Followed) Followed {
	n := f.Listings + g.Listings
	if n == 0 {
		return Followed{}
	}
	out := Followed{Listings: n, Sold: pricing.NewShare(f.Sold.Hits+g.Sold.Hits, n)}
	out.NetPercent = (float64(f.Listings)*f.NetPercent + float64(g.Listings)*g.NetPercent) / float64(n)
	sum := f.squares(out.NetPercent) + g.squares(out.NetPercent)
	if n > 1 {
		out.StdError = math.Sqrt(sum / float64(n-1) / float64(n))
	}
	return out
}

// squares is the sum of squares about a mean other than one's own.
func (f Followed) squares(about float64) float64 {
	n := float64(f.Listings)
	off := f.NetPercent - about
	return f.StdError*f.StdError*n*(n-1) + n*off*off
}
