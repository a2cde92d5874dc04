package pricing

import (
	"fmt"
	"math"
	"math/rand/v2"

	"askwright/pricing/furniture"
	"askwright/pricing/hedonic"
)

// syntheticMarket invents the listings of a group over two years up to today.
// Buyers follow the sale-rate model, with a quality that the description does
// not show and that sellers see in part.
func syntheticMarket(n int, seed uint64) History {
	rng := rand.New(rand.NewPCG(seed, 7))
	h := History{Listings: make([]Listing, n)}
	for i := range h.Listings {
		h.Listings[i] = syntheticListing(rng, fmt.Sprintf("L%05d", i))
	}
	return h
}

type levelEffect struct {
	name   string
	effect float64
}

var (
	syntheticCategories = []levelEffect{{"sideboard", 0.35}, {"dresser", 0.3}, {"desk", 0}, {"nightstand", -0.6}, {"coffee_table", -0.3}, {"bookcase", -0.1}, {"wardrobe", 0.2}, {"dining_chair", -0.8}}
	syntheticWoods      = []levelEffect{{"pine", -0.15}, {"oak", 0.05}, {"walnut", 0.2}, {"teak", 0.22}, {"", 0}}
	syntheticFinishes   = []levelEffect{{"painted", 0}, {"clear", 0.08}, {"original", -0.08}, {"stained", 0.02}}
	syntheticColors     = []levelEffect{{"white", 0.03}, {"green", 0.05}, {"grey", -0.06}, {"natural", 0.02}, {"", 0}}
)

const syntheticOrphan = -0.1

func pick(rng *rand.Rand, from []levelEffect) levelEffect { return from[rng.IntN(len(from))] }

func syntheticListing(rng *rand.Rand, id string) Listing {
	c, w, f, k := pick(rng, syntheticCategories), pick(rng, syntheticWoods), pick(rng, syntheticFinishes), pick(rng, syntheticColors)
	a := furniture.Attributes{Category: c.name, Material: "solid_wood", Wood: w.name, Finish: f.name, Color: k.name, Condition: 2 + rng.IntN(4), SetSize: 1}
	size := math.Exp(0.25 * rng.NormFloat64())
	a.Width, a.Depth, a.Height = 100*size, 45*size, 80
	if rng.IntN(12) == 0 {
		a.Width = 0
	}
	if (c.name == "nightstand" || c.name == "dining_chair") && rng.IntN(2) == 0 {
		a.SetSize = 2
	}
	mu := math.Log(300) + c.effect + w.effect + f.effect + k.effect + 0.12*float64(a.Condition-3) +
		0.45*2*math.Log(size) + 0.85*math.Log(float64(a.SetSize))
	if hedonic.IsOrphan(a) {
		mu += syntheticOrphan
	}
	quality := 0.18 * rng.NormFloat64()
	estimate := math.Exp(mu + 0.05 + 0.7*quality + 0.1*rng.NormFloat64())
	l := Listing{ID: id, Piece: "P" + id, Attributes: a, ListedOn: today - Date(rng.IntN(730)), Estimate: math.Round(estimate)}
	l.Asks = []Ask{{l.ListedOn, PricePoint(estimate * math.Exp(0.08*rng.NormFloat64()))}}
	if rng.IntN(4) == 0 {
		from := l.ListedOn + Date(rng.IntN(20))
		l.Pauses = []Interval{{from, from + Date(1+rng.IntN(14))}}
	}
	l.live(rng, mu+quality+0.05, rng.ExpFloat64()/2+rng.ExpFloat64()/2)
	return l
}

// live lets buyers come day by day.
func (l *Listing) live(rng *rand.Rand, logTypical, frailty float64) {
	age, ask, messages := 0.0, l.Asks[0].Amount, 0
	for day := l.ListedOn; day < today; day++ {
		if paused, _ := l.pausedOn(day); paused {
			continue
		}
		pace := frailty * math.Exp(-5*(math.Log(ask)-logTypical)+priorRate(salePriors()).Eta[ageBin(age)])
		if rng.Float64() < 0.2*pace {
			messages++
			l.Messages = append(l.Messages, Reading{day, messages})
		}
		if rng.Float64() < pace/40 {
			l.Outcome, l.EndedOn = Sold, day+1
			l.SalePrice = math.Round(ask * math.Exp(-0.07+0.05*rng.NormFloat64()))
			l.Messages = append(l.Messages, Reading{day + 1, messages + 1})
			break
		}
		age++
		switch {
		case age > 120 && rng.IntN(20) == 0:
			l.Outcome, l.EndedOn = Withdrawn, day+1
		case age > 25 && rng.IntN(25) == 0:
			if p := PricePoint(ask * 0.9); p < ask && day > l.Asks[len(l.Asks)-1].On {
				ask = p
				l.Asks = append(l.Asks, Ask{day + 1, ask})
			}
		}
		if l.Outcome != Open {
			break
		}
	}
	if l.Messages == nil {
		l.Messages = []Reading{{l.ListedOn, 0}}
	}
	for i, p := range l.Pauses {
		if l.Outcome != Open {
			l.Pauses[i].To = min(p.To, l.EndedOn)
		}
	}
}
