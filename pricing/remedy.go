package pricing

import "gonum.org/v1/gonum/stat/distuv"

// Remedy is one thing to do about a slow listing.
type Remedy struct {
	Action                  string // "wait", "renew", "reprice", "refinish", "withdraw"
	Ask                     float64
	Finish, Color           string
	ExpectedNet             float64
	Gain                    float64 // over waiting
	ChanceBetterThanWaiting float64
	Chance30                float64
	Cost                    float64
	Hours                   float64
	DaysOut                 int
}

// Actions of remedies.
const (
	ActionWait     = "wait"
	ActionRenew    = "renew"
	ActionReprice  = "reprice"
	ActionRefinish = "refinish"
	ActionWithdraw = "withdraw"
)

// priced is a remedy with its net at every frailty of the mid-quantiles.
type priced struct {
	Remedy
	nets []float64
}

// frailties are the 40 mid-quantiles (i − ½)/40 of Gamma(k', r').
func (o outlook) frailties() []float64 {
	z := make([]float64, midQuantiles)
	g := distuv.Gamma{Alpha: o.k, Beta: o.r}
	for i := range z {
		z[i] = g.Quantile((float64(i) + 0.5) / midQuantiles)
	}
	return z
}

// remedy prices an ask from now on, less a cost; waiting holds the nets of waiting.
func (o outlook) remedy(action string, ask, cost float64, zs, waiting []float64) priced {
	p := priced{
		Remedy: Remedy{
			Action: action, Ask: ask, Cost: cost,
			ExpectedNet: o.net(ask, o.holding) - cost,
			Chance30:    o.sold(ask, 30),
		},
		nets: make([]float64, len(zs)),
	}
	for i, z := range zs {
		p.nets[i] = o.netGiven(ask, z) - cost
	}
	p.ChanceBetterThanWaiting = shareAbove(p.nets, waiting)
	return p
}

// shareAbove is the share of pairs in which a is above b.
func shareAbove(a, b []float64) float64 {
	if len(b) == 0 {
		return 0
	}
	n := 0
	for i := range b {
		if a[i] > b[i] {
			n++
		}
	}
	return float64(n) / float64(len(b))
}

// withdrawal takes the salvage now.
func (o outlook) withdrawal(waiting []float64) Remedy {
	nets := make([]float64, len(waiting))
	for i := range nets {
		nets[i] = o.salvage
	}
	return Remedy{Action: ActionWithdraw, ExpectedNet: o.salvage, ChanceBetterThanWaiting: shareAbove(nets, waiting)}
}
