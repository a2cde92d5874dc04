package track

import (
	"fmt"
	"slices"

	"askwright/pricing"
	"askwright/pricing/stats"
)

// Scores say how promises turned out. Prices are judged by the sales, chances
// once their days are over, and the asks by all that ended.
type Scores struct {
	Listings    int // promises that something of is known by now
	Sold        int // with a price that was promised
	MedianError *float64
	Level       float64 // of the ranges
	Inside      stats.Share
	Ratio       *stats.RatioStudy
	Chances     *stats.Calibration
	Unjudged    int        // chances: pulled before their days were over
	Followed    []Followed // those with listings
	Hindsight   *Hindsight // nil: nothing ended
	Sentences   []pricing.Sentence
}

// Hindsight sets what ended listings left against what they would have left at
// the suggested asks, by the model as it is now and given what came of each;
// after fees and holding. See pricing.Prospects.
type Hindsight struct {
	Listings        int
	LeftPercent     float64 // mean, of the likely price
	FollowedPercent float64
	StdError        float64 // of the difference
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
	Sold       stats.Share
	MedianDays float64 // active days until the end
	NetPercent float64 // mean of what was left after fees and holding, of the likely price
	StdError   float64 // of NetPercent; zero below two
}

// promised is one promise and what came of it.
type promised struct {
	price  *stats.Range // nil: none was told
	ask    float64      // suggested; zero: none
	likely float64      // sale price told beside the ask; zero: none
	chance float64      // within days, at the ask really used
	within int

	listing pricing.Listing
	used    float64            // the ask really used
	usedOn  pricing.Date       // since when
	now     *pricing.Prospects // by the newest model; nil: none
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

// calibrationEdges part the chances into fifths.
var calibrationEdges = []float64{0.2, 0.4, 0.6, 0.8}

// score judges promises as known on a day.
func score(all []promised, today pricing.Date) Scores {
	var out Scores
	var likely, prices []float64
	var ranges []stats.Range
	var chances []stats.Promise
	var ended []promised
	for _, p := range all {
		kept, known, lost := p.soldWithin(today)
		isSold := p.price != nil && p.listing.Outcome == pricing.Sold && p.listing.SalePrice > 0
		hasEnded := p.likely > 0 && p.ask > 0 && p.now != nil && ((p.listing.Outcome == pricing.Sold && p.listing.SalePrice > 0) || p.listing.Outcome == pricing.Withdrawn)
		if known || isSold || hasEnded {
			out.Listings++
		}
		if lost {
			out.Unjudged++
		}
		if known {
			chances = append(chances, stats.Promise{Chance: p.chance, Kept: kept})
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
	out.Inside = stats.Coverage(ranges, prices)
	if e, err := stats.MedianAbsolutePercentError(likely, prices); err == nil {
		out.MedianError = &e
	}
	if r, err := stats.NewRatioStudy(likely, prices); err == nil {
		out.Ratio = r
	}
	if c, err := stats.Calibrate(chances, calibrationEdges...); err == nil {
		out.Chances = c
	}
	out.Followed, out.Hindsight = follow(ended), hindsight(ended)
	out.Sentences = out.explain()
	return out
}

// follow parts ended listings by how they were asked.
func follow(ended []promised) []Followed {
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
			nets = append(nets, 100*p.now.Left(p.listing)/p.likely)
		}
		if len(nets) == 0 {
			continue
		}
		slices.Sort(days)
		f.Listings, f.Sold = len(nets), stats.NewShare(sold, len(nets))
		f.MedianDays = (days[len(days)/2] + days[(len(days)-1)/2]) / 2
		f.NetPercent, f.StdError = stats.MeanAndError(nets)
		out = append(out, f)
	}
	return out
}

// hindsight is nil where nothing ended.
func hindsight(ended []promised) *Hindsight {
	if len(ended) == 0 {
		return nil
	}
	out := &Hindsight{Listings: len(ended)}
	gains := make([]float64, len(ended))
	for i, p := range ended {
		left, followed := 100*p.now.Left(p.listing)/p.likely, 100*p.now.Hindsight(p.listing, p.ask)/p.likely
		out.LeftPercent += left / float64(len(ended))
		out.FollowedPercent += followed / float64(len(ended))
		gains[i] = followed - left
	}
	_, out.StdError = stats.MeanAndError(gains)
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

// fewToCompare is below what no comparison is drawn.
const fewToCompare = 8

// explain answers for people: how far off, and whether following paid.
func (s *Scores) explain() []pricing.Sentence {
	if s.MedianError == nil {
		return []pricing.Sentence{{Kind: pricing.SaidScore, Text: "Too early: nothing priced here has sold."}}
	}
	t := []pricing.Sentence{pricing.Say(pricing.SaidScore, "%d sales: typical miss %.0f%%; %.0f%% inside the range, goal %.0f%%.",
		s.Sold, *s.MedianError, 100*float64(s.Inside.Hits)/float64(s.Sold), 100*s.Level)}
	return append(t, s.compareFollowed()...)
}

// compareFollowed answers "would I have earned more had I followed it?".
func (s *Scores) compareFollowed() []pricing.Sentence {
	h := s.Hindsight
	if h == nil || h.Listings < fewToCompare {
		n := 0
		if h != nil {
			n = h.Listings
		}
		return []pricing.Sentence{pricing.Say(pricing.SaidFollowing, "Whether following it would have earned more cannot be told yet: %d listings with a suggested ask have ended, and at least %d are needed.", n, fewToCompare)}
	}
	gain, unsure := h.FollowedPercent-h.LeftPercent, 2*h.StdError
	verdict := fmt.Sprintf("that is too close to tell whether following earns more (give or take %.0f points).", unsure)
	switch {
	case gain > unsure:
		verdict = fmt.Sprintf("so following would have earned more, by %.0f points, give or take %.0f.", gain, unsure)
	case gain < -unsure:
		verdict = fmt.Sprintf("so following would have earned less, by %.0f points, give or take %.0f.", -gain, unsure)
	}
	return []pricing.Sentence{
		pricing.Say(pricing.SaidFollowing, "The %d ended listings left %.0f %% of the likely price after fees and holding; at the suggested asks they would have left about %.0f %%: %s",
			h.Listings, h.LeftPercent, h.FollowedPercent, verdict),
		pricing.Say(pricing.SaidDoubt, "That is the model's own account of sales that nobody saw: it rests on how strongly the ask moves the pace, and a seller may have known what the description leaves out."),
	}
}
