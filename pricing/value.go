package pricing

import (
	"math"

	"askwright/pricing/furniture"
	"askwright/pricing/hedonic"
	"askwright/pricing/stats"
)

// valueModel predicts the log of the sale price.
type valueModel struct {
	*hedonic.Model
	sales   int
	t80     float64               // of effects
	middles [midQuantiles]float64 // mid-quantiles (i − ½)/40 of a sale price about its location
}

func newValueModel(s *Statistics, rows []SaleRow) *valueModel {
	v := &valueModel{Model: hedonic.New(s, rows), sales: s.Sales}
	v.t80 = v.Conjugate.Quantile(0.5 + intervalLevel/2)
	for i := range v.middles {
		v.middles[i] = v.Quantile((float64(i) + 0.5) / midQuantiles)
	}
	return v
}

// row is a piece in the columns of the fit.
type row = hedonic.Row

func (v *valueModel) describe(a furniture.Attributes, on Date) row { return v.Describe(a, on) }

// prediction is the t predictive of the log sale price of one piece.
type prediction struct {
	f     float64 // location: exp(f) is the median sale price
	h     float64 // variance of the location over s²
	scale float64 // s √(1 + h)
}

func (v *valueModel) predict(r row) prediction {
	h := v.Leverage(r.X) + r.Unseen
	return prediction{f: v.Location(r.X), h: h, scale: v.Spread() * math.Sqrt(1+h)}
}

// interval is the equal-tailed 80 % range of the sale price.
func (v *valueModel) interval(p prediction) stats.Range {
	half := v.Quantile(0.5+intervalLevel/2) * p.scale
	return stats.Range{
		Likely: bounded(p.f),
		Low:    bounded(p.f - half),
		High:   bounded(p.f + half),
		Level:  intervalLevel,
	}
}

// effect is the change of the log price between two rows: its location and
// the half width of its 80 % interval.
func (v *valueModel) effect(d []float64) (at, half float64) {
	return v.Location(d), v.t80 * v.Spread() * math.Sqrt(v.Leverage(d))
}
