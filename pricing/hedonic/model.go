// Package hedonic predicts the log of what a piece sells for from its
// description: regression with weak priors, one common scale of all level effects
// and Student t errors. What it is fitted on are sums, kept one sale at a time.
package hedonic

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"askwright/pricing/civil"
	"askwright/pricing/furniture"
	"askwright/pricing/stats"
)

// Model predicts the log of the sale price.
type Model struct {
	stats.Conjugate
	Names    []string       // of the columns, sorted
	Index    map[string]int // their places
	Counts   []int          // sales that have the column
	Sales    int
	LastSale civil.Date
	Data     stats.Moments
	Scale    float64 // g, common to the starred blocks

	sizes   sizeFill
	columns map[string][]column // of the terms that sales have
	weights map[string]float64  // of the sales, by listing, as Student t errors weigh them; nil: as they were added
}

// fixedNames are the columns that exist without any sale.
var fixedNames = [...]string{
	"intercept", "width", "depth", "height", "set", "items", "orphan", "condition", "trend", "season_cos", "season_sin",
}

// New fits the posterior of the sales in the statistics; rows are the same sales
// one by one, where they are at hand.
func New(s *Statistics, rows []SaleRow) *Model {
	v := &Model{Sales: s.Sales, LastSale: s.lastSale()}
	v.collect(s)
	v.weigh(rows)
	v.Scale = v.commonScale()
	v.Conjugate, _ = v.posterior(v.Data, v.Scale)
	return v
}

// weigh takes the errors as Student t, so that no sale moves everybody: each
// counts by how far it lies from what the others say. Rows are those of the
// statistics; without them their sums are taken as they are.
func (v *Model) weigh(rows []SaleRow) {
	if len(rows) == 0 {
		return
	}
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b SaleRow) int {
		return cmp.Or(cmp.Compare(a.Listing, b.Listing), cmp.Compare(a.On, b.On), cmp.Compare(a.Y, b.Y))
	})
	sparse := make([]stats.SparseRow, len(rows))
	for i, r := range rows {
		sparse[i] = v.sparse(r)
	}
	g := v.commonScale()
	robust := stats.Robust{DF: errorDF, Rounds: errorRounds, Least: leastWeight}
	fit := func(d stats.Moments) (stats.Conjugate, bool) { return v.posterior(d, g) }
	weights := robust.Weigh(sparse, len(v.Names), fit)
	v.weights = make(map[string]float64, len(rows))
	for i, r := range rows {
		v.weights[r.Listing] = weights[i]
	}
	v.Data = stats.Gather(sparse, weights, len(v.Names))
}

// sparse is a sale in the columns of the fit.
func (v *Model) sparse(s SaleRow) stats.SparseRow {
	out := stats.SparseRow{Y: s.Y, Weight: s.Weight}
	for _, t := range s.Terms {
		for _, c := range v.columns[t.Name] {
			at := slices.Index(out.At, c.at)
			if at < 0 {
				at = len(out.At)
				out.At, out.X = append(out.At, c.at), append(out.X, 0)
			}
			out.X[at] += c.factor * t.Value
		}
	}
	return out
}

// WeightOf a sale is what it has in the fit.
func (v *Model) WeightOf(s SaleRow) float64 {
	if w, ok := v.weights[s.Listing]; ok {
		return w
	}
	return s.Weight
}

// Quantile is that of a sale price about its location: with Student t errors
// theirs, which are wider than what is not known of the coefficients.
func (v *Model) Quantile(p float64) float64 {
	if v.weights == nil {
		return v.Conjugate.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: errorDF}.Quantile(p)
}

// commonScale is the mean of log g over a grid, weighted by the evidence
// (empirical Bayes): no small change of the sales makes it jump.
func (v *Model) commonScale() float64 {
	const step, points = 0.35, 13
	var logs, scores []float64
	for i := range points {
		logG := -2.8 + step*float64(i)
		if c, ok := v.posterior(v.Data, math.Exp(logG)); ok {
			logs = append(logs, logG)
			scores = append(scores, c.Evidence-logG/scaleSD*(logG/scaleSD)/2)
		}
	}
	sum, mean := 0.0, 0.0
	for i, score := range scores {
		w := math.Exp(score - slices.Max(scores))
		sum, mean = sum+w, mean+w*logs[i]
	}
	return math.Exp(mean / max(sum, 1e-300))
}

// posterior is that of the coefficients with one common scale.
func (v *Model) posterior(d stats.Moments, g float64) (stats.Conjugate, bool) {
	means, precision := make([]float64, len(v.Names)), make([]float64, len(v.Names))
	for j, name := range v.Names {
		mean, variance, _ := Prior(name, g)
		means[j], precision[j] = mean, 1/variance
	}
	return d.Posterior(means, precision, PriorShape, PriorShape*PriorSpread*PriorSpread)
}

// collect maps the raw columns to those of the fit. The map T leaves every
// column as it is, save that the Dimensions of a size go to their own columns
// and their category's, unknown ones as they are filled in:
// X̃'X̃ = T'(X'X)T and X̃'y = T'(X'y), exactly.
func (v *Model) collect(s *Statistics) {
	used := s.used()
	v.sizes = newSizeFill(s, used)
	set := map[string]bool{}
	for _, n := range fixedNames {
		set[n] = true
	}
	targets := make([][]target, len(s.Names))
	for _, i := range used {
		targets[i] = v.targets(s.Names[i])
		for _, to := range targets[i] {
			set[to.name] = true
		}
	}
	for n := range set {
		if _, _, ok := Prior(n, 1); ok {
			v.Names = append(v.Names, n)
		}
	}
	sort.Strings(v.Names)
	p := len(v.Names)
	v.Index = make(map[string]int, p)
	for j, n := range v.Names {
		v.Index[n] = j
	}
	v.Counts = make([]int, p)
	v.Data = stats.Moments{
		N:  s.Weight,
		XX: mat.NewSymDense(p, nil),
		XY: make([]float64, p),
		YY: s.YY,
	}
	columns := make([][]column, len(s.Names))
	v.columns = make(map[string][]column, len(used))
	for _, a := range used {
		for _, to := range targets[a] {
			if j, ok := v.Index[to.name]; ok {
				columns[a] = append(columns[a], column{j, to.factor})
			}
		}
		v.columns[s.Names[a]] = columns[a]
	}
	for _, a := range used {
		for _, to := range columns[a] {
			v.Data.XY[to.at] += to.factor * s.XY[a]
			for _, b := range used {
				for _, other := range columns[b] {
					if to.at <= other.at {
						sum := v.Data.XX.At(to.at, other.at) + to.factor*other.factor*s.product(a, b)
						v.Data.XX.SetSym(to.at, other.at, sum)
					}
				}
			}
		}
	}
	v.count(s, used)
}

// count counts the sales that have a column, a size in the columns of all its
// Dimensions where one of them is known.
func (v *Model) count(s *Statistics, used []int) {
	for _, i := range used {
		t, isSize := readSizeTerm(s.Names[i])
		if !isSize {
			if j, ok := v.Index[s.Names[i]]; ok {
				v.Counts[j] += s.Counts[i]
			}
			continue
		}
		if t.dimension >= 0 || t.known == [3]bool{} {
			continue
		}
		for d, name := range Dimensions {
			v.Counts[v.Index[name]] += s.Counts[i]
			v.Counts[v.Index[SlopeIn(t.category, d)]] += s.Counts[i]
		}
	}
}

// target is a column of the fit that a raw term goes to, and its factor there.
type target struct {
	name   string
	factor float64
}

// column is that by its place.
type column struct {
	at     int
	factor float64
}

// targets of a raw term.
func (v *Model) targets(name string) []target {
	t, isSize := readSizeTerm(name)
	if !isSize {
		return []target{{name, 1}}
	}
	out := make([]target, 0, 2*len(Dimensions))
	overAll, inCategory := v.sizes.factors(t)
	for d, name := range Dimensions {
		out = append(out, target{name, overAll[d]}, target{SlopeIn(t.category, d), inCategory[d]})
	}
	return out
}

// Row is a piece in the columns of the fit.
type Row struct {
	X      []float64
	Unseen float64 // Σ (τ g / s0)² of its levels that no sale has
}

// Row maps terms to columns.
func (v *Model) Row(terms []Term) Row {
	r := Row{X: make([]float64, len(v.Names))}
	var unseen map[string]float64
	for _, t := range terms {
		to, sold := v.columns[t.Name]
		for _, c := range to {
			r.X[c.at] += c.factor * t.Value
		}
		if sold {
			continue
		}
		for _, to := range v.targets(t.Name) {
			if j, ok := v.Index[to.name]; ok {
				r.X[j] += to.factor * t.Value
			} else {
				if unseen == nil {
					unseen = map[string]float64{}
				}
				unseen[to.name] += to.factor * t.Value
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(unseen)) {
		if _, variance, known := Prior(name, v.Scale); known {
			r.Unseen += variance * unseen[name] * unseen[name]
		}
	}
	return r
}

// Describe is the row of a piece offered on a day. The trend stops at the
// last sale: it is never extrapolated.
func (v *Model) Describe(a furniture.Attributes, on civil.Date) Row {
	raw := Terms(a, on)
	if v.LastSale.IsZero() || on <= v.LastSale {
		return v.Row(raw)
	}
	last := Terms(a, v.LastSale)
	r := v.Row(raw)
	j := v.Index["trend"]
	r.X[j] = 0
	for _, t := range last {
		if t.Name == "trend" {
			r.X[j] = t.Value
		}
	}
	return r
}

// WithoutSale is the fit of a sale by all the others, and the variance of that
// over σ², with the leverage limited to 0.95: f_i = (x'β̂ − h y)/(1 − h), h = w ‖L⁻¹x‖².
func (v *Model) WithoutSale(s SaleRow) (at, variance float64) {
	r := v.Row(s.Terms)
	w, leverage := v.WeightOf(s), v.Leverage(r.X)
	h := math.Min(w*leverage, leverageMax)
	return (v.Location(r.X) - h*s.Y) / (1 - h), leverage / (1 - h)
}

// Typical is the mean row of the sales of a category, of all sales where the
// category has none, and the number of sales in it.
func (v *Model) Typical(category string) (mean []float64, sales int) {
	j, ok := v.Index["category:"+category]
	if !ok || v.Counts[j] == 0 {
		j = v.Index["intercept"]
	}
	mean = make([]float64, len(v.Names))
	n := v.Data.XX.At(j, j)
	if n <= 0 {
		return mean, 0
	}
	for i := range mean {
		mean[i] = v.Data.XX.At(i, j) / n
	}
	return mean, v.Counts[j]
}

// InCategory is the number of sales of a category.
func (v *Model) InCategory(category string) int {
	if j, ok := v.Index["category:"+category]; ok {
		return v.Counts[j]
	}
	return 0
}
