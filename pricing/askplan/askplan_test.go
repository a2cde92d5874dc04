package askplan

import (
	"math"
	"math/rand/v2"
	"testing"

	"askwright/pricing/internal/probe"
)

// drawn is a piece on some market, with about so many asks.
func drawn(rng *rand.Rand, asks int) Market {
	typical := 5 * math.Exp(6*rng.Float64())
	m := Market{
		Shape: 2, Rate: 2, Holding: 0.015 * rng.Float64() * typical, Salvage: 0.3 * rng.Float64() * typical,
		Horizon: 30 + 300*rng.Float64(), First: 21, Step: 21,
	}
	if rng.IntN(2) == 0 {
		m.Shape, m.Rate, m.First = 2+3*rng.Float64(), 2+8*rng.Float64(), 1+20*rng.Float64()
	}
	wave := 0.4 * rng.Float64()
	m.Ahead = func(t float64) float64 { return t + 0.5*math.Min(t, 7) + 20*wave*(1-math.Cos(t/20)) }
	elasticity, fee := 2+8*rng.Float64(), 0.2*rng.Float64()
	for i := range asks {
		a := math.Exp(-0.5 + 0.6*float64(i)/float64(asks-1))
		m.Asks = append(m.Asks, a*typical)
		m.Paces = append(m.Paces, math.Pow(a, -elasticity)/40)
		m.Sales = append(m.Sales, (1-fee)*0.95*a*typical)
	}
	return m
}

func (m Market) typical() float64 { return m.Asks[len(m.Asks)-1] }

// paths calls do with each path of asks that a plan may take.
func (p *Planner) paths(do func(path []int)) {
	path := make([]int, p.stretches())
	var from func(j int)
	from = func(j int) {
		if j == len(path) {
			do(path)
			return
		}
		for i := range p.Asks {
			if j == 0 || follows(p.Asks[path[j-1]], p.Asks[i]) {
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
		m := drawn(rng, 12)
		m.Horizon = 40 + 60*rng.Float64()
		p := New(m)
		best := math.Inf(-1)
		p.paths(func(path []int) { best = math.Max(best, p.net(path, m.Holding)) })
		got := p.Plan(m.Holding, 0, math.Inf(1)).Net
		if got > best+1e-9*math.Abs(best) || got < best-0.002*m.typical() {
			t.Errorf("of %.0f: the plan brings %.4f, the best of all paths %.4f", m.typical(), got, best)
		}
	}
}

func TestAPlanFallsByStepsAndBringsAtLeastAnyAskForGood(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	for range 200 {
		m := drawn(rng, 25)
		p := New(m)
		got := p.Plan(m.Holding, 0, math.Inf(1))
		for i, a := range p.Asks {
			single := p.net(p.flat(i), m.Holding)
			later := p.Plan(m.Holding, a, a)
			if later.Steps[0].Ask != a || later.Net > got.Net {
				t.Errorf("beginning with %v: %+v, better than the best, %v", a, later, got.Net)
			}
			if later.Net < single {
				t.Errorf("%v with the right to cut later brings %v, for good %v", a, later.Net, single)
			}
		}
		for i := 1; i < len(got.Steps); i++ {
			a, b := got.Steps[i-1], got.Steps[i]
			if b.Ask > 0.92*a.Ask+1e-6 || b.Ask < 0.75*a.Ask-1e-6 || b.FromDay <= a.FromDay || b.ChanceStillHere > a.ChanceStillHere {
				t.Errorf("step from %+v to %+v", a, b)
			}
		}
	}
}

// The nodes between decision days against a thousand; asks at which nearly all
// is gone within a day or two are the hardest.
func TestTheAreaIsThatOfTheCurve(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for range 100 {
		m := drawn(rng, 10)
		p := New(m)
		for i, a := range p.Asks {
			const n = 1000
			got := p.net(p.flat(i), m.Holding)
			area := 0.0
			for d := range n {
				area += m.Horizon / n * p.left(m.Paces[i]*m.Ahead((float64(d)+0.5)*m.Horizon/n)/m.Rate)
			}
			left := p.left(m.Paces[i] * m.Ahead(m.Horizon) / m.Rate)
			if want := m.Sales[i]*(1-left) + m.Salvage*left - m.Holding*area; math.Abs(got-want) > 0.015*m.typical() {
				t.Errorf("ask %v of %v: %v, want %v", a, m.typical(), got, want)
			}
		}
	}
}

func TestPlansScaleWithMoney(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	for range 30 {
		m := drawn(rng, 25)
		one := New(m).Plan(m.Holding, 0, math.Inf(1))
		const factor = 1000
		dear := m
		dear.Holding, dear.Salvage, dear.Asks, dear.Sales = factor*m.Holding, factor*m.Salvage, nil, nil
		for i, a := range m.Asks {
			dear.Asks, dear.Sales = append(dear.Asks, factor*a), append(dear.Sales, factor*m.Sales[i])
		}
		other := New(dear).Plan(dear.Holding, 0, math.Inf(1))
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

// FuzzPlan plans on any market: what comes is finite and never rises.
func FuzzPlan(f *testing.F) {
	f.Add([]byte{200, 1, 2, 3, 4, 5, 6, 7, 8, 9})
	f.Fuzz(func(t *testing.T, data []byte) {
		read := probe.Tape(data)
		byteShare := func() float64 { return float64(read.Byte()) / 256 }
		m := Market{
			Shape: 2 + 100*byteShare(), Rate: 2 + 1000*byteShare(), Holding: 100 * byteShare(), Salvage: 1000 * byteShare(),
			Horizon: 1 + 730*byteShare(), First: 28 * byteShare(), Step: 14 + 14*byteShare(),
		}
		speed := math.Exp(20*byteShare() - 10)
		m.Ahead = func(t float64) float64 { return speed * t }
		pace := 5.0
		for ask := 1.0; len(m.Asks) < 1+read.Byte()%40; ask *= 1 + 2*byteShare() {
			m.Asks, m.Sales, m.Paces = append(m.Asks, ask), append(m.Sales, ask*byteShare()), append(m.Paces, math.Exp(pace))
			pace = math.Max(-14, pace-10*byteShare())
		}
		got := New(m).Plan(m.Holding, 0, math.Inf(1))
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
	m := drawn(rand.New(rand.NewPCG(5, 1)), 25)
	for b.Loop() {
		New(m).Plan(m.Holding, 0, math.Inf(1))
	}
}
