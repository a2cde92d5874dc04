package pricing

import (
	"math"

	"askwright/pricing/stats"
)

// cumulative is the baseline B(s, t) = Σ_j exp(η_j) |[s, s+t] ∩ bin j| from the
// active age s over t days. It is linear between the age edges.
func (f RateFit) cumulative(s, t float64) float64 {
	sum := 0.0
	for j, edge := range ageEdges {
		end := math.Inf(1)
		if j+1 < ageBins {
			end = ageEdges[j+1]
		}
		sum += math.Exp(f.Eta[j]) * math.Max(0, math.Min(end, s+t)-math.Max(edge, s))
	}
	return sum
}

// hazard is Σ λ E over rows.
func (f RateFit) hazard(levels rateLevels, rows []exposure, logTypical, premium float64) float64 {
	sum := 0.0
	for _, e := range rows {
		eta := f.base(levels, math.Log(e.ask), logTypical, premium) + f.Eta[e.bin]
		sum += e.days * f.season(e.stretch) * math.Exp(clamp(eta, stats.LinearMin, stats.LinearMax))
	}
	return sum
}

// survivalAt is the Lomax survival (1 + h/r)^−k for a cumulative hazard h.
func survivalAt(h, k, r float64) float64 { return math.Exp(-k * math.Log1p(h/r)) }

// soldBy is 1 − survivalAt, without cancellation.
func soldBy(h, k, r float64) float64 { return -math.Expm1(-k * math.Log1p(h/r)) }

// timeGrid is where the survival curve is integrated: every 2 days to 30, then
// every 6, the last step shortened to the horizon.
func timeGrid(horizon float64) []float64 {
	out := []float64{0}
	for t := 0.0; t < horizon; {
		if t < 30 {
			t += 2
		} else {
			t += 6
		}
		t = math.Min(t, horizon)
		out = append(out, t)
	}
	return out
}
