package pricing

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"askwright/pricing/furniture"
	"askwright/pricing/stats"
)

// RateFit holds the coefficients of a rate model,
//
//	log λ = α + κ_category + κ_finish + κ_color + η_bin + season − γ log(ask / typical ask) + δ (d − d̄),
//
// per active day, at the posterior mode. The season is that of the month's middle.
type RateFit struct {
	Alpha, Gamma, Delta float64
	Eta                 [ageBins]float64
	Season              [2]float64 // of cos and sin of the year's angle
	Category            map[string]float64
	Finish, Color       map[string]float64
	// SE are of alpha, gamma, delta and the levels ("finish:painted"), from the
	// curvature at the mode.
	SE        map[string]float64
	SeasonCov [3]float64 // of cos and sin: two variances, covariance
	Converged bool
}

// priorRate is the fit without any listing.
func priorRate(p ratePriors) RateFit {
	f := RateFit{Alpha: p.alpha.mean, Gamma: p.gamma.mean, Delta: p.delta.mean, Converged: true}
	for j, e := range p.eta {
		f.Eta[j] = e.mean
	}
	return f
}

// Places of the coefficients that every rate model has; levels follow.
const (
	atAlpha = iota
	atGamma
	atDelta
	atEta
	atSeason = atEta + ageBins
	atLevels = atSeason + 2
)

// market is a listing as the rate models see it.
type market struct {
	piece   string
	levels  rateLevels
	rows    []exposure
	logTyp  float64 // log of the typical ask
	premium float64 // d − d̄
	known   bool    // messages are
	weight  float64 // of its days and events

	told     bool    // sold, at a known price, with an own price
	off      float64 // log of the sale price over the fit
	leverage float64 // variance of the fit over s²
	ended    bool
}

// fitRate fits one rate model; messages instead of sales where asked.
func fitRate(listings []market, p ratePriors, messages bool) RateFit {
	places := levels(listings)
	shape := frailtyShape
	if messages {
		shape = 0
	}
	d := stats.NewCountModel(atLevels+len(places), shape)
	setPriors(d, p, places)
	cluster, piece := -1, ""
	for _, l := range listings {
		if messages && !l.known {
			continue
		}
		if cluster < 0 || l.piece == "" || l.piece != piece { // consecutive listings of one piece share a cluster
			cluster++
		}
		piece = l.piece
		addRows(d, l, cluster, places, messages)
	}
	s := d.Maximize(nil)
	f := RateFit{Alpha: s.Theta[atAlpha], Gamma: s.Theta[atGamma], Delta: s.Theta[atDelta], Converged: s.Converged}
	copy(f.Eta[:], s.Theta[atEta:])
	copy(f.Season[:], s.Theta[atSeason:])
	f.Category, f.Finish, f.Color = map[string]float64{}, map[string]float64{}, map[string]float64{}
	for l, j := range places {
		[...]map[string]float64{f.Category, f.Finish, f.Color}[l.block][l.name] = s.Theta[j]
	}
	f.setErrors(s.Hessian, places)
	return f
}

// setErrors takes the covariance of the coefficients from the negative Hessian
// at the mode; none where that is not positive definite.
func (f *RateFit) setErrors(h *mat.SymDense, places map[level]int) {
	var chol mat.Cholesky
	var cov mat.SymDense
	if h == nil || !chol.Factorize(h) || chol.InverseTo(&cov) != nil {
		return
	}
	f.SE = map[string]float64{}
	se := func(name string, j int) { f.SE[name] = math.Sqrt(math.Max(0, cov.At(j, j))) }
	se("alpha", atAlpha)
	se("gamma", atGamma)
	se("delta", atDelta)
	for l, j := range places {
		se(rateBlocks[l.block]+":"+l.name, j)
	}
	f.SeasonCov = [3]float64{cov.At(atSeason, atSeason), cov.At(atSeason+1, atSeason+1), cov.At(atSeason, atSeason+1)}
}

// rateLevels are a piece's category, finish and color.
type rateLevels [3]string

// rateBlocks name the places in rateLevels.
var rateBlocks = [...]string{"category", "finish", "color"}

// level is one level of a block of a rate model, by its place in rateLevels.
type level struct {
	block int
	name  string
}

// levels gives each level its place, by block and name. An unknown finish or
// color has none: it counts as the average one.
func levels(listings []market) map[level]int {
	found := map[level]bool{}
	for _, l := range listings {
		for b, name := range l.levels {
			if b == 0 || name != "" {
				found[level{b, name}] = true
			}
		}
	}
	out := make(map[level]int, len(found))
	byName := func(a, b level) int { return cmp.Or(cmp.Compare(a.block, b.block), cmp.Compare(a.name, b.name)) }
	for i, l := range slices.SortedFunc(maps.Keys(found), byName) {
		out[l] = atLevels + i
	}
	return out
}

// setPriors sets those of all coefficients.
func setPriors(d *stats.CountModel, p ratePriors, places map[level]int) {
	set := func(j int, n normal) { d.SetPrior(j, n.mean, n.sd) }
	set(atAlpha, p.alpha)
	set(atGamma, p.gamma)
	set(atDelta, p.delta)
	for j, e := range p.eta {
		set(atEta+j, e)
	}
	set(atSeason, p.season)
	set(atSeason+1, p.season)
	for l, j := range places {
		if l.block == 0 {
			set(j, p.category)
		} else {
			set(j, p.look)
		}
	}
}

// addRows adds the rows of one listing, cut at month ends.
func addRows(d *stats.CountModel, l market, cluster int, places map[level]int, messages bool) {
	premium := clamp(l.premium, -maxLogPremium, maxLogPremium)
	for _, e := range l.rows {
		at := []int{atAlpha, atGamma, atDelta, atEta + e.bin}
		x := []float64{1, -clamp(math.Log(e.ask)-l.logTyp, -maxLogAsk, maxLogAsk), premium, 1}
		for b, name := range l.levels {
			if j, ok := places[level{b, name}]; ok {
				at, x = append(at, j), append(x, 1)
			}
		}
		e.days *= l.weight
		events := e.messages
		if !messages {
			events = 0
			if e.sold {
				events = 1
			}
		}
		addMonths(d, e, stats.CountRow{At: at, X: x, Cluster: cluster}, l.weight*events, messages)
	}
}

// addMonths adds one row for each month of a stretch: messages in
// proportion to its days, a sale at its end.
func addMonths(d *stats.CountModel, e exposure, r stats.CountRow, events float64, messages bool) {
	months := monthsOf(e.stretch)
	for i, m := range months {
		row := stats.CountRow{Cluster: r.Cluster, Exposure: m.share * e.days, Before: e.before}
		cos, sin := m.angle()
		row.At = append(slices.Clone(r.At), atSeason, atSeason+1)
		row.X = append(slices.Clone(r.X), cos, sin)
		switch {
		case messages:
			row.Events = m.share * events
		case i == len(months)-1:
			row.Events = events
		}
		d.Add(row)
	}
}

// base is log λ without age and season: at an ask, the typical one of which is
// known. The elasticity is kept within its bounds.
func (f RateFit) base(levels rateLevels, logAsk, logTypical, premium float64) float64 {
	look := f.Category[levels[0]] + f.Finish[levels[1]] + f.Color[levels[2]]
	return f.Alpha + look - f.gamma()*(logAsk-logTypical) + f.Delta*premium
}

func (f RateFit) gamma() float64 { return clamp(f.Gamma, gammaMin, gammaMax) }

// levelsOf a piece are those of the rate models.
func levelsOf(a furniture.Attributes) rateLevels { return rateLevels{a.Category, a.Finish, a.Color} }
