package pricing

import (
	"math"
	"sort"
	"strings"

	"gonum.org/v1/gonum/mat"

	"askwright/pricing/furniture"
	"askwright/pricing/stats"
)

// valueModel predicts the log of the sale price.
type valueModel struct {
	stats.Conjugate
	g           float64 // common scale of the starred blocks
	names       []string
	index       map[string]int
	counts      []int // sales that have the term
	sales       int
	lastSale    Date
	data        stats.Moments
	meanSize    map[string]float64 // log volume by category
	overallSize float64
	t80         float64
	middles     [midQuantiles]float64 // mid-quantiles (i − ½)/40 of the standard t
}

// fixedNames are the columns that exist without any sale.
var fixedNames = [...]string{
	"intercept", "size", "set", "items", "orphan", "condition", "trend", "season_cos", "season_sin",
}

// newValueModel fits the posterior for every g of the grid and keeps the one
// with the greatest evidence (empirical Bayes; ties: the smallest).
func newValueModel(s *Statistics) *valueModel {
	v := &valueModel{sales: s.Sales, lastSale: s.lastSale()}
	v.collect(s)
	means := make([]float64, len(v.names))
	precision := make([]float64, len(v.names))
	best := math.Inf(-1)
	for i := range 9 {
		g := math.Exp(-1.4 + 0.35*float64(i))
		for j, name := range v.names {
			b, _ := blocks(blockOf(name))
			means[j] = b.mean
			precision[j] = 1 / priorVariance(b, g)
		}
		c, ok := v.data.Posterior(means, precision, priorShape, priorShape*priorSpread*priorSpread)
		if !ok {
			continue
		}
		score := c.Evidence - math.Pow(math.Log(g)/scaleSD, 2)/2
		if score > best+1e-9 {
			best, v.g, v.Conjugate = score, g, c
		}
	}
	v.t80 = v.Quantile(0.5 + intervalLevel/2)
	for i := range v.middles {
		v.middles[i] = v.Quantile((float64(i) + 0.5) / midQuantiles)
	}
	return v
}

// priorVariance is that of a coefficient over σ².
func priorVariance(b block, g float64) float64 {
	sd := b.sd / priorSpread
	if b.scaled {
		sd *= g
	}
	return sd * sd
}

func blockOf(term string) string {
	name, _, _ := strings.Cut(term, ":")
	return name
}

// levelOf is what follows the block in a term.
func levelOf(term string) string {
	_, level, _ := strings.Cut(term, ":")
	return level
}

// collect maps the raw columns to those of the fit. The map T leaves every
// column as it is, save that size_unknown:c becomes the mean log volume of
// category c in the size column: X̃'X̃ = T'(X'X)T and X̃'y = T'(X'y), exactly.
func (v *valueModel) collect(s *Statistics) {
	used := s.used()
	v.sizes(s, used)
	set := map[string]bool{}
	for _, n := range fixedNames {
		set[n] = true
	}
	for _, i := range used {
		if !strings.HasPrefix(s.Names[i], sizeUnknown) {
			set[s.Names[i]] = true
		}
	}
	for n := range set {
		if _, ok := blocks(blockOf(n)); ok {
			v.names = append(v.names, n)
		}
	}
	sort.Strings(v.names)
	p := len(v.names)
	v.index = make(map[string]int, p)
	for j, n := range v.names {
		v.index[n] = j
	}
	v.counts = make([]int, p)
	v.data = stats.Moments{
		N:  s.Weight,
		XX: mat.NewSymDense(p, nil),
		XY: make([]float64, p),
		YY: s.YY,
	}
	columns := make([][]column, len(s.Names))
	for _, a := range used {
		columns[a] = v.mapped(s.Names[a])
	}
	for _, a := range used {
		for _, to := range columns[a] {
			v.counts[to.at] += s.Counts[a]
			v.data.XY[to.at] += to.factor * s.XY[a]
			for _, b := range used {
				for _, other := range columns[b] {
					if to.at <= other.at {
						sum := v.data.XX.At(to.at, other.at) + to.factor*other.factor*s.product(a, b)
						v.data.XX.SetSym(to.at, other.at, sum)
					}
				}
			}
		}
	}
}

// sizes computes the mean log volume of each category over its sales of known size.
func (v *valueModel) sizes(s *Statistics, used []int) {
	place := map[string]int{}
	for _, i := range used {
		place[s.Names[i]] = i
	}
	v.meanSize = map[string]float64{}
	size, sized := place["size"]
	one, some := place["intercept"]
	if !sized || !some {
		return
	}
	unknown := 0.0
	for _, i := range used {
		if strings.HasPrefix(s.Names[i], sizeUnknown) {
			unknown += s.product(i, i)
		}
	}
	if known := s.product(one, one) - unknown; known > 1e-9 {
		v.overallSize = s.product(one, size) / known
	}
	for name, i := range place {
		if blockOf(name) != "category" {
			continue
		}
		known := s.product(i, i)
		if u, ok := place[sizeUnknown+levelOf(name)]; ok {
			known -= s.product(u, u)
		}
		if known > 1e-9 {
			v.meanSize[levelOf(name)] = s.product(i, size) / known
		}
	}
}

// column is where a raw term goes, and its factor there.
type column struct {
	at     int
	factor float64
}

// mapped returns the columns that a raw term goes to: none where no sale has it.
func (v *valueModel) mapped(name string) []column {
	category, unknown := strings.CutPrefix(name, sizeUnknown)
	if !unknown {
		if j, ok := v.index[name]; ok {
			return []column{{j, 1}}
		}
		return nil
	}
	out := []column{{v.index["size"], v.sizeOf(category)}}
	if j, ok := v.index[sizeSlope+category]; ok {
		out = append(out, column{j, v.sizeOf(category)})
	}
	return out
}

func (v *valueModel) sizeOf(category string) float64 {
	if m, ok := v.meanSize[category]; ok {
		return m
	}
	return v.overallSize
}

// row is a piece in the columns of the fit.
type row struct {
	x      []float64
	unseen float64 // Σ (τ g / s0)² of its levels that no sale has
}

// row maps terms to columns.
func (v *valueModel) row(terms []Term) row {
	r := row{x: make([]float64, len(v.names))}
	for _, t := range terms {
		to := v.mapped(t.Name)
		for _, c := range to {
			r.x[c.at] += c.factor * t.Value
		}
		if b, known := blocks(blockOf(t.Name)); known && len(to) == 0 {
			r.unseen += priorVariance(b, v.g) * t.Value * t.Value
		}
	}
	return r
}

// describe is the row of a piece offered on a day. The trend stops at the
// last sale: it is never extrapolated.
func (v *valueModel) describe(a furniture.Attributes, on Date) row {
	raw := terms(a, on)
	if v.lastSale.IsZero() || on <= v.lastSale {
		return v.row(raw)
	}
	last := terms(a, v.lastSale)
	r := v.row(raw)
	j := v.index["trend"]
	r.x[j] = 0
	for _, t := range last {
		if t.Name == "trend" {
			r.x[j] = t.Value
		}
	}
	return r
}

// prediction is the t predictive of the log sale price of one piece.
type prediction struct {
	f     float64 // location: exp(f) is the median sale price
	scale float64 // s √(1 + h)
}

func (v *valueModel) predict(r row) prediction {
	h := v.Leverage(r.x) + r.unseen
	return prediction{f: v.Location(r.x), scale: v.Spread() * math.Sqrt(1+h)}
}

// interval is the equal-tailed 80 % range of the sale price.
func (v *valueModel) interval(p prediction) stats.Range {
	return stats.Range{
		Likely: bounded(p.f),
		Low:    bounded(p.f - v.t80*p.scale),
		High:   bounded(p.f + v.t80*p.scale),
		Level:  intervalLevel,
	}
}

// withoutSale is the fit of a sale by all the others, with the leverage
// limited to 0.95: f_i = (x'β̂ − h y)/(1 − h), h = w ‖L⁻¹x‖².
func (v *valueModel) withoutSale(s SaleRow) float64 {
	r := v.row(s.Terms)
	h := math.Min(s.Weight*v.Leverage(r.x), 0.95)
	return (v.Location(r.x) - h*s.Y) / (1 - h)
}

// effect is the change of the log price between two rows: its location and
// the half width of its 80 % interval.
func (v *valueModel) effect(d []float64) (at, half float64) {
	return v.Location(d), v.t80 * v.Spread() * math.Sqrt(v.Leverage(d))
}

// typical is the mean row of the sales of a category, of all sales where the
// category has none, and the number of sales in it.
func (v *valueModel) typical(category string) (mean []float64, sales int) {
	j, ok := v.index["category:"+category]
	if !ok || v.counts[j] == 0 {
		j = v.index["intercept"]
	}
	mean = make([]float64, len(v.names))
	n := v.data.XX.At(j, j)
	if n <= 0 {
		return mean, 0
	}
	for i := range mean {
		mean[i] = v.data.XX.At(i, j) / n
	}
	return mean, v.counts[j]
}

// inCategory is the number of sales of a category.
func (v *valueModel) inCategory(category string) int {
	if j, ok := v.index["category:"+category]; ok {
		return v.counts[j]
	}
	return 0
}
