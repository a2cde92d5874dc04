package pricing

import (
	"math"
	"math/rand/v2"
	"testing"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/probe"
)

// planOutlook draws a piece on some market.
func planOutlook(rng *rand.Rand) outlook {
	s := DefaultSettings()
	s.FeeRate, s.HoldingRate, s.HorizonDays = 0.2*rng.Float64(), 0.015*rng.Float64(), 30+rng.IntN(300)
	m := Fit(History{}, today)
	m.rates.Sale.Season = [2]float64{0.4 * rng.NormFloat64(), 0.4 * rng.NormFloat64()}
	m.rates.Sale.Gamma = 2 + 8*rng.Float64()
	value := 5 * math.Exp(6*rng.Float64())
	o := m.outlook(furniture.Attributes{Category: "desk"}, today+Date(rng.IntN(365)), math.Log(value), value*math.Exp(0.3*rng.NormFloat64()), s)
	if rng.IntN(2) == 0 {
		o.k, o.r = frailtyShape+3*rng.Float64(), frailtyShape+8*rng.Float64()
		o = o.from(120 * rng.Float64())
	}
	return o
}

// paths calls do with each path of asks that a plan may take.
func (p *planner) paths(do func(path []int)) {
	path := make([]int, p.stretches())
	var from func(j int)
	from = func(j int) {
		if j == len(path) {
			do(path)
			return
		}
		for i := range p.asks {
			if j == 0 || follows(p.asks[path[j-1]], p.asks[i]) {
				path[j] = i
				from(j + 1)
			}
		}
	}
	from(0)
}

func TestThePlanIsTheBestOfAllPaths(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 60 {
		o := planOutlook(rng)
		o.horizon = 40 + 60*rng.Float64()
		o = o.from(o.age)
		p := o.planner(thinned(candidates(o.typical, o.estimate), 12), 14+7*rng.Float64(), 21)
		best := math.Inf(-1)
		p.paths(func(path []int) { best = math.Max(best, p.net(path, o.holding)) })
		got := p.plan(o.holding, 0, math.Inf(1)).Net
		if got > best+1e-9*math.Abs(best) || got < best-0.002*o.typical {
			t.Errorf("typical ask %.0f: the plan brings %.4f, the best of all paths %.4f", o.typical, got, best)
		}
	}
}

func TestAPlanFallsByStepsAndBringsAtLeastAnyAskForGood(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	for range 200 {
		o := planOutlook(rng)
		p := o.planner(candidates(o.typical, o.estimate), 21, 21)
		got := p.plan(o.holding, 0, math.Inf(1))
		for i, a := range p.asks {
			if single := p.net(p.flat(i), o.holding); single > got.Net {
				t.Errorf("%v for good brings %v, the plan %v", a, single, got.Net)
			}
			forced := p.plan(o.holding, a, a)
			if forced.Steps[0].Ask != a || forced.Net > got.Net {
				t.Errorf("beginning with %v: %+v, better than the best, %v", a, forced, got.Net)
			}
			if single := p.net(p.flat(i), o.holding); forced.Net < single {
				t.Errorf("%v with the right to cut later brings %v, for good %v", a, forced.Net, single)
			}
		}
		for i := 1; i < len(got.Steps); i++ {
			a, b := got.Steps[i-1], got.Steps[i]
			if b.Ask > 0.92*a.Ask+1e-6 || b.Ask < 0.75*a.Ask-1e-6 || b.FromDay < a.FromDay+21 || b.ChanceStillHere > a.ChanceStillHere {
				t.Errorf("step from %+v to %+v", a, b)
			}
		}
	}
}

// Simpson's rule between decision days against two days at a time.
func TestAnAskForGoodBringsWhatTheCurveSays(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for range 100 {
		o := planOutlook(rng)
		p := o.planner(candidates(o.typical, o.estimate), 21, 21)
		for i, a := range p.asks {
			if got, want := p.net(p.flat(i), o.holding), o.net(a, o.holding); math.Abs(got-want) > 0.004*o.typical {
				t.Errorf("ask %v of %v: %v, want %v", a, o.typical, got, want)
			}
		}
	}
}

func TestPlansScaleWithMoney(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	for range 30 {
		o := planOutlook(rng)
		asks := candidates(o.typical, o.estimate)
		one := o.planner(asks, 21, 21).plan(o.holding, 0, math.Inf(1))
		const factor = 1000
		o.typical, o.holding, o.salvage = factor*o.typical, factor*o.holding, factor*o.salvage
		dear := make([]float64, len(asks))
		for i, a := range asks {
			dear[i] = factor * a
		}
		other := o.planner(dear, 21, 21).plan(o.holding, 0, math.Inf(1))
		if math.Abs(other.Net-factor*one.Net) > 1e-6*other.Net || len(other.Steps) != len(one.Steps) {
			t.Fatalf("%+v, a thousand times as dear %+v", one, other)
		}
		for i, s := range one.Steps {
			if other.Steps[i].Ask != factor*s.Ask || other.Steps[i].FromDay != s.FromDay {
				t.Errorf("step %+v, a thousand times as dear %+v", s, other.Steps[i])
			}
		}
	}
}

func FuzzPlan(f *testing.F) {
	f.Add([]byte{200, 1, 2, 3, 4, 5, 6, 7, 8, 9})
	f.Fuzz(func(t *testing.T, data []byte) {
		read := probe.Tape(data)
		value, estimate := read.Number(), read.Number()
		if !validPrice(value) {
			value = 200
		}
		if !validPrice(estimate) {
			estimate = 0
		}
		s := DefaultSettings()
		s.FeeRate, s.HoldingRate = float64(read.Byte())/256, float64(read.Byte())/2560
		s.HorizonDays = 14 + 3*read.Byte()
		o := Fit(History{}, today).outlook(furniture.Attributes{}, today-Date(read.Byte()), math.Log(value), estimate, s)
		o.k, o.r = frailtyShape+float64(read.Byte()), frailtyShape+float64(read.Byte())
		p := o.from(float64(read.Byte())).planner(candidates(o.typical, estimate), float64(read.Byte()), float64(14+read.Byte()%15))
		got := p.plan(o.holding, 0, math.Inf(1))
		if len(got.Steps) == 0 || math.IsNaN(got.Net) || math.IsInf(got.Net, 0) {
			t.Fatalf("%+v", got)
		}
		for i := 1; i < len(got.Steps); i++ {
			if got.Steps[i].Ask >= got.Steps[i-1].Ask {
				t.Errorf("%+v rises", got)
			}
		}
	})
}

func BenchmarkPlan(b *testing.B) {
	o := planOutlook(rand.New(rand.NewPCG(5, 1)))
	asks := candidates(o.typical, o.estimate)
	for b.Loop() {
		o.planner(asks, 21, 21).plan(o.holding, 0, math.Inf(1))
	}
	b.ReportMetric(float64(len(asks)), "asks")
}
