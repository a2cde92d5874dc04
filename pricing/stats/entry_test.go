package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"askwright/pricing/internal/reference"
)

// Residents of a retirement center who came at different ages (J. Hyde 1977,
// Biometrika 64, 225-230): the months before they came count for nothing in the
// hazards, although they were survived.
func TestHazardsWithDelayedEntry(t *testing.T) {
	type hazards struct{ From, To, Exposure, Events, Hazard []float64 }
	var ref struct {
		Cases struct {
			Female hazards `json:"hazards_female"`
			Male   hazards `json:"hazards_male"`
		}
	}
	reference.Read(t, "delayed_entry.json", &ref)
	columns := reference.Columns(t, "channing.csv")
	entry, exit := reference.Numbers(t, columns["entry"]), reference.Numbers(t, columns["exit"])
	died := reference.Numbers(t, columns["died"])
	for sex, want := range map[string]hazards{"female": ref.Cases.Female, "male": ref.Cases.Male} {
		bins := len(want.From)
		d := NewCountModel(bins, 0)
		exposure, events := make([]float64, bins), make([]float64, bins)
		add := func(j int, from, to, y float64, before bool, cluster int) {
			from, to = math.Max(from, want.From[j]), math.Min(to, want.To[j])
			if to <= from {
				return
			}
			d.Add(CountRow{At: []int{j}, X: []float64{1}, Exposure: to - from, Events: y, Cluster: cluster, Before: before})
			if !before {
				exposure[j], events[j] = exposure[j]+to-from, events[j]+y
			}
		}
		for i, s := range columns["sex"] {
			if s != sex || exit[i] <= entry[i] {
				continue
			}
			for j := range bins {
				add(j, 0, entry[i], 0, true, i)
				add(j, entry[i], exit[i], died[i]*indicator(want.From[j] < exit[i] && exit[i] <= want.To[j]), false, i)
			}
		}
		start := make([]float64, bins)
		for j := range start {
			start[j] = -6
		}
		s := d.Maximize(start)
		for j := range bins {
			reference.WantRel(t, sex+": exposure", exposure[j], want.Exposure[j], 1e-12)
			reference.WantRel(t, sex+": events", events[j], want.Events[j], 1e-12)
			reference.WantRel(t, sex+": hazard", math.Exp(s.Theta[j]), want.Hazard[j], 1e-10)
		}
	}
}

// With a frailty the likelihood is that of the time after entry given the time
// before: Lomax density over Lomax survival. What was survived tells of the
// frailty all the same.
func TestFrailtyWithDelayedEntryIsConditional(t *testing.T) {
	t.Parallel()
	const k, rate, before, after = 2.0, 0.03, 40.0, 25.0
	row := func(exposure, events float64, early bool) CountRow {
		return CountRow{At: []int{0}, X: []float64{1}, Exposure: exposure, Events: events, Before: early}
	}
	for _, events := range []float64{0, 1} {
		d := NewCountModel(1, k)
		d.Add(row(before, 0, true))
		d.Add(row(after, events, false))
		survival := func(t float64) float64 { return math.Pow(1+rate*t/k, -k) }
		want := math.Log(survival(before+after) / survival(before))
		if events > 0 {
			density := rate * math.Pow(1+rate*(before+after)/k, -k-1)
			want = math.Log(density / survival(before))
		}
		reference.WantRel(t, "log likelihood", d.objective([]float64{math.Log(rate)}), want, 1e-12)
		const h = 1e-5
		theta := math.Log(rate)
		gradient, full, _ := d.derivatives([]float64{theta})
		up, down := d.objective([]float64{theta + h}), d.objective([]float64{theta - h})
		reference.WantRel(t, "gradient", gradient[0], (up-down)/(2*h), 1e-6)
		above, _, _ := d.derivatives([]float64{theta + h})
		below, _, _ := d.derivatives([]float64{theta - h})
		reference.WantRel(t, "Hessian", full.At(0, 0), (below[0]-above[0])/(2*h), 1e-6)
	}
}

// What is on the shelf when recording begins sells slower than what comes new:
// taken as observed from its first day it pulls the rate down, entered when
// recording began it does not.
func TestStockOnTheShelfDoesNotBiasTheRate(t *testing.T) {
	t.Parallel()
	const k, rate, begins, ends = 2.0, 0.025, 400.0, 700.0
	rng := rand.New(rand.NewPCG(4, 9))
	entered, naive := NewCountModel(1, k), NewCountModel(1, k)
	cluster := 0
	for range 12_000 {
		listed := ends * rng.Float64()
		z := (rng.ExpFloat64() + rng.ExpFloat64()) / k
		sold := listed + rng.ExpFloat64()/(z*rate)
		if sold < begins {
			continue // nobody recorded it
		}
		cluster++
		add := func(d *CountModel, from, to, events float64, before bool) {
			if to > from {
				d.Add(CountRow{At: []int{0}, X: []float64{1}, Exposure: to - from, Events: events, Cluster: cluster, Before: before})
			}
		}
		event := indicator(sold < ends)
		add(entered, listed, begins, 0, true)
		add(entered, math.Max(listed, begins), math.Min(sold, ends), event, false)
		add(naive, listed, math.Min(sold, ends), event, false)
	}
	start := []float64{math.Log(rate)}
	if got := math.Exp(entered.Maximize(start).Theta[0]); math.Abs(got/rate-1) > 0.04 {
		t.Errorf("rate %.4f with delayed entry, want %.4f", got, rate)
	}
	if got := math.Exp(naive.Maximize(start).Theta[0]); got > 0.9*rate {
		t.Errorf("rate %.4f as if all had been seen from its first day: nothing is shown", got)
	}
}
