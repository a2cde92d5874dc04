package wire

import (
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/pricing"
	"askwright/pricing/stats"
	"askwright/service/advice"
	"askwright/service/track"
)

// Model is what the group's records say of prices and paces, in plain words.
type Model struct {
	Model     string     `json:"model" example:"4.412.2026-03-05"` // design, change number, day fitted; as in basis.model
	FittedOn  string     `json:"fitted_on" format:"date"`
	Sold      int        `json:"sold"` // sales in the value model
	Unsold    int        `json:"unsold"`
	LastSale  string     `json:"last_sale,omitempty" format:"date"` // the trend is never carried past it
	SpreadLow web.Number `json:"spread_low" swaggertype:"number" example:"0.78"`
	// SpreadLow and SpreadHigh: 80 % of the sales of one description lie between these shares of the likely price.
	SpreadHigh web.Number `json:"spread_high" swaggertype:"number" example:"1.28"`

	Effects []Effect `json:"effects"` // on the sale price, by block, then level
	Trend   Effect   `json:"trend"`   // of a year
	Season  []Effect `json:"season"`  // of the month of the sale, against the year's mean

	MedianDays        *int           `json:"median_days"`                                            // active days at the typical ask; null: not within the usual horizon
	BaseRate          web.Number     `json:"base_rate" swaggertype:"number" example:"0.0251"`        // sales per active day at the typical ask, from day 21 on
	Elasticity        web.Number     `json:"elasticity" swaggertype:"number" example:"5.1"`          // of the pace in the ask
	ElasticityAssumed bool           `json:"elasticity_assumed"`                                     // below 300 listings: what the trade in general is taken to have, not learned
	PaceTenDearer     web.Number     `json:"pace_ten_dearer" swaggertype:"number" example:"0.615"`   // 10 % dearer sells at this share of the pace
	EstimateWeight    web.Number     `json:"estimate_weight" swaggertype:"number" example:"0.58"`    // how far buyers have agreed with the seller, 0 to 1
	OpeningPercent    web.Number     `json:"opening_percent" swaggertype:"number" example:"5.2"`     // that estimates lie above the likely sale price
	NegotiationRatio  web.Number     `json:"negotiation_ratio" swaggertype:"number" example:"0.946"` // sale price over last ask
	MessagesPerDay    web.Number     `json:"messages_per_day" swaggertype:"number" example:"0.214"`  // at the typical ask
	AgePace           []AgePace      `json:"age_pace"`                                               // against days 21 to 60
	Paces             []Pace         `json:"paces"`                                                  // how fast each category, finish and color sells, and each month, at the same ask
	GroupPulse        *web.Number    `json:"group_pulse" swaggertype:"number" example:"0.8"`         // messages on all listings of the last 28 days against usual; null: too few to tell
	Suspicious        []OwnSuspicion `json:"suspicious"`                                             // sales of your own that count for little: check them
	Sentences         []Sentence     `json:"sentences"`
}

// Effect is what one level of an attribute does to the likely sale price.
type Effect struct {
	Block           string     `json:"block" example:"finish"`
	Level           string     `json:"level,omitempty" example:"painted"`
	Term            string     `json:"term" example:"finish painted"`
	Percent         web.Number `json:"percent" swaggertype:"number"` // points
	Low             web.Number `json:"low" swaggertype:"number"`     // of percent, 80 % interval
	High            web.Number `json:"high" swaggertype:"number"`
	Count           int        `json:"count"`           // sales that it rests on
	Distinguishable bool       `json:"distinguishable"` // the interval leaves out zero
}

// AgePace is the pace of sale in an age band.
type AgePace struct {
	FromDay int        `json:"from_day"`
	ToDay   *int       `json:"to_day"` // null: no end
	Pace    web.Number `json:"pace" swaggertype:"number" example:"1.4"`
}

// Pace is how fast a level of an attribute sells against the average one of
// its block; a month against the year's mean.
type Pace struct {
	Block           string     `json:"block" enums:"category,finish,color,month"`
	Level           string     `json:"level" example:"painted"`
	Pace            web.Number `json:"pace" swaggertype:"number" example:"1.1"`
	Low             web.Number `json:"low" swaggertype:"number"` // of pace, 80 % interval
	High            web.Number `json:"high" swaggertype:"number"`
	Count           int        `json:"count"`           // listings that it rests on
	Distinguishable bool       `json:"distinguishable"` // the interval leaves out 1
}

// OwnSuspicion is a sale whose price is so far from its ask that it counts for
// little; shown to its owner only.
type OwnSuspicion struct {
	ID        uuid.UUID  `json:"id" format:"uuid"`
	Ref       string     `json:"ref"`
	SalePrice web.Number `json:"sale_price" swaggertype:"number"`
	Ask       web.Number `json:"ask" swaggertype:"number"`
	Weight    web.Number `json:"weight" swaggertype:"number" example:"0.2"` // 0 to 1
}

// TrackRecord says how far the suggestions can be trusted.
type TrackRecord struct {
	Model    string   `json:"model" example:"4.412.2026-03-05"`
	Kept     Scores   `json:"kept"`     // of the suggestions that were shown
	Backtest Backtest `json:"backtest"` // of those that would have been made
	// Purchases: stated against realized.
	Purchases PurchaseRecord `json:"purchases"`
}

// Backtest replays the group's history: in each of the last 24 months the model
// is fitted on what was known before it and asked about what came.
type Backtest struct {
	Scores
	Months []BacktestMonth `json:"months"` // oldest first; where sales could be predicted
}

// BacktestMonth is one month of a backtest.
type BacktestMonth struct {
	Month       string      `json:"month" example:"2026-02"`
	FittedOn    string      `json:"fitted_on" format:"date"`
	Sold        int         `json:"sold"`
	MedianError *web.Number `json:"median_error_percent" swaggertype:"number"`
	Inside      Share       `json:"inside"` // of the ranges
}

// Scores say how promises turned out. Prices are judged by the sales, chances
// once their days are over, whatever came of them.
type Scores struct {
	Listings    int         `json:"listings"`
	Sold        int         `json:"sold"`
	MedianError *web.Number `json:"median_error_percent" swaggertype:"number"` // of the likely price; null: no sale yet
	Level       *web.Number `json:"level" swaggertype:"number" example:"0.8"`  // that the ranges promise
	Inside      Share       `json:"inside"`                                    // of the sales, inside their ranges
	Ratio       *RatioStudy `json:"ratio"`                                     // likely price over sale price, as appraisers study it
	Chances     *Chances    `json:"chances"`                                   // null: none can be judged yet
	Unjudged    int         `json:"unjudged"`                                  // chances of listings pulled before their days were over
	Followed    []Followed  `json:"followed"`                                  // by how they were asked: different pieces, so no comparison of asks
	Hindsight   *Hindsight  `json:"hindsight"`                                 // the same pieces at the suggested asks; null: none ended
	Sentences   []Sentence  `json:"sentences"`                                 // among them: would following have earned more?
}

// Share is a proportion with its 95 % Wilson limits.
type Share struct {
	Hits  int         `json:"hits"`
	N     int         `json:"n"`
	Value *web.Number `json:"value" swaggertype:"number"` // null: of nothing
	Low   web.Number  `json:"low" swaggertype:"number"`
	High  web.Number  `json:"high" swaggertype:"number"`
}

// RatioStudy describes ratios after the International Association of Assessing
// Officers (2013), Standard on Ratio Studies.
type RatioStudy struct {
	Median    web.Number  `json:"median" swaggertype:"number"`
	COD       web.Number  `json:"cod" swaggertype:"number"` // coefficient of dispersion, percent
	PRD       web.Number  `json:"prd" swaggertype:"number"` // price-related differential
	PRB       *web.Number `json:"prb" swaggertype:"number"` // price-related bias; null: cannot be told
	PRBStdErr *web.Number `json:"prb_std_error" swaggertype:"number"`
}

// Chances set stated chances against what came.
type Chances struct {
	N     int          `json:"n"`
	Brier web.Number   `json:"brier" swaggertype:"number"` // mean squared error, lower being better
	Bands []ChanceBand `json:"bands"`
}

// ChanceBand is the chances from From to below To.
type ChanceBand struct {
	From       web.Number `json:"from" swaggertype:"number"`
	To         web.Number `json:"to" swaggertype:"number"`
	MeanChance web.Number `json:"mean_chance" swaggertype:"number"`
	Kept       Share      `json:"kept"`
}

// Hindsight sets what ended listings left, after fees and holding and as a
// mean in percent of the likely price, against what they would have left at
// the suggested asks: by the model as it is now, given what came of each.
type Hindsight struct {
	Listings        int        `json:"listings"`
	LeftPercent     web.Number `json:"left_percent" swaggertype:"number"`
	FollowedPercent web.Number `json:"followed_percent" swaggertype:"number"`
	StdError        web.Number `json:"std_error" swaggertype:"number"` // of the difference
}

// Followed is what became of the ended listings whose seller asked so.
type Followed struct {
	Asked      string     `json:"asked" enums:"near,above,below"` // near: within 5 % of what was suggested
	Listings   int        `json:"listings"`
	Sold       Share      `json:"sold"`
	MedianDays web.Number `json:"median_days" swaggertype:"number"` // active days until the end
	NetPercent web.Number `json:"net_percent" swaggertype:"number"` // left after fees and holding, of the likely price
	StdError   web.Number `json:"std_error" swaggertype:"number"`   // of net_percent
}

// Model shows the fitted model.
func (v Viewer) Model(d *advice.Description) Model {
	out := Model{
		Model: d.Version, FittedOn: d.FittedOn.String(), Sold: d.Sold, Unsold: d.Unsold, LastSale: d.LastSale.String(),
		SpreadLow: web.Rounded(d.SpreadLow, 3), SpreadHigh: web.Rounded(d.SpreadHigh, 3),
		Effects: effects(d.Effects), Trend: effect(d.Trend), Season: effects(d.Season), MedianDays: d.MedianDays,
		BaseRate: web.Rounded(d.BaseRate, 5), Elasticity: web.Rounded(d.Elasticity, 2), ElasticityAssumed: d.ElasticityAssumed, PaceTenDearer: web.Chance(d.PaceTenDearer),
		EstimateWeight: web.Chance(d.EstimateWeight), OpeningPercent: web.Percentage(100 * d.OpeningPremium), NegotiationRatio: web.Chance(d.NegotiationRatio),
		MessagesPerDay: web.Rounded(d.MessagesPerDay, 3), AgePace: []AgePace{}, Paces: make([]Pace, len(d.Paces)), Suspicious: []OwnSuspicion{},
		GroupPulse: Pulse(d.Pulse),
		Sentences:  Sentences(d.Sentences),
	}
	for _, a := range d.AgePace {
		band := AgePace{FromDay: a.FromDay, Pace: web.Rounded(a.Pace, 2)}
		if a.ToDay > 0 {
			band.ToDay = &a.ToDay
		}
		out.AgePace = append(out.AgePace, band)
	}
	for i, p := range d.Paces {
		out.Paces[i] = Pace{
			Block: p.Block, Level: p.Level, Pace: web.Rounded(p.Pace, 2), Low: web.Rounded(p.Low, 2), High: web.Rounded(p.High, 2), Count: p.Listings,
			Distinguishable: p.Distinguishable,
		}
	}
	money := web.MoneyIn(v.Currency)
	for _, s := range d.Suspicious {
		out.Suspicious = append(out.Suspicious, OwnSuspicion{
			ID: s.Row.ID, Ref: s.Row.Ref, SalePrice: money(s.SalePrice), Ask: money(s.Ask), Weight: web.Rounded(s.Weight, 2),
		})
	}
	return out
}

// Pulse writes the messages of a group against usual; zero: too few to tell.
func Pulse(x float64) *web.Number {
	if x == 0 {
		return nil
	}
	return Optional(&x, web.Chance)
}

func effects(list []pricing.Effect) []Effect {
	out := make([]Effect, len(list))
	for i, e := range list {
		out[i] = effect(e)
	}
	return out
}

func effect(e pricing.Effect) Effect {
	return Effect{
		Block: e.Block, Level: e.Level, Term: e.Term, Percent: web.Percentage(e.Percent), Low: web.Percentage(e.Low), High: web.Percentage(e.High),
		Count: e.Sales, Distinguishable: e.Distinguishable,
	}
}

// ScoresOf shows how advice did.
func ScoresOf(s track.Scores) Scores {
	out := Scores{
		Listings: s.Listings, Sold: s.Sold, MedianError: Optional(s.MedianError, web.Percentage), Inside: ShareOf(s.Inside), Unjudged: s.Unjudged,
		Followed: make([]Followed, len(s.Followed)), Sentences: Sentences(s.Sentences),
	}
	if s.Sold > 0 {
		out.Level = Optional(&s.Level, web.Chance)
	}
	if r := s.Ratio; r != nil {
		out.Ratio = &RatioStudy{
			Median: web.Chance(r.Median), COD: web.Percentage(r.COD), PRD: web.Chance(r.PRD), PRB: Optional(r.PRB, web.Chance), PRBStdErr: Optional(r.PRBStdErr, web.Chance),
		}
	}
	if c := s.Chances; c != nil {
		out.Chances = &Chances{N: c.N, Brier: web.Chance(c.Brier), Bands: make([]ChanceBand, len(c.Bands))}
		for i, b := range c.Bands {
			out.Chances.Bands[i] = ChanceBand{From: web.Chance(b.From), To: web.Chance(b.To), MeanChance: web.Chance(b.MeanChance), Kept: ShareOf(b.Kept)}
		}
	}
	if h := s.Hindsight; h != nil {
		out.Hindsight = &Hindsight{
			Listings: h.Listings, LeftPercent: web.Percentage(h.LeftPercent), FollowedPercent: web.Percentage(h.FollowedPercent), StdError: web.Percentage(h.StdError),
		}
	}
	for i, f := range s.Followed {
		out.Followed[i] = Followed{
			Asked: f.Asked, Listings: f.Listings, Sold: ShareOf(f.Sold), MedianDays: web.Rounded(f.MedianDays, 1), NetPercent: web.Percentage(f.NetPercent),
			StdError: web.Percentage(f.StdError),
		}
	}
	return out
}

// ShareOf shows a share with its count.
func ShareOf(s stats.Share) Share {
	out := Share{Hits: s.Hits, N: s.N, Low: web.Chance(s.Low), High: web.Chance(s.High)}
	if s.N > 0 {
		out.Value = Optional(&s.Value, web.Chance)
	}
	return out
}

// Optional writes a figure that may be missing.
func Optional(x *float64, write func(float64) web.Number) *web.Number {
	if x == nil {
		return nil
	}
	n := write(*x)
	return &n
}

// TrackRecord shows how the suggestions turned out.
func (v Viewer) TrackRecord(r *track.Record) TrackRecord {
	months := web.Each(r.Replay.Months, func(m track.ReplayMonth) BacktestMonth {
		return BacktestMonth{
			Month: m.Month, FittedOn: m.FittedOn.String(), Sold: m.Sold,
			MedianError: Optional(m.MedianError, web.Percentage), Inside: ShareOf(m.Inside),
		}
	})
	return TrackRecord{
		Model:    r.Model,
		Kept:     ScoresOf(r.Kept),
		Backtest: Backtest{Scores: ScoresOf(r.Replay.Scores), Months: months},

		Purchases: v.purchaseRecord(&r.Purchases),
	}
}
