package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"askwright/pricing"
)

// markets are the own listings of several demos, so that the dice even out.
func markets() []*listing {
	var all []*listing
	for seed := range uint64(12) {
		today := pricing.NewDate(2026, 1, 10) + pricing.Date(30*seed)
		m := &market{rng: rand.New(rand.NewPCG(seed, 1)), start: today - 730, today: today}
		for i := range sellers {
			for _, l := range m.trade(&sellers[i]) {
				l.venue = sellers[i].name
				all = append(all, l)
			}
		}
	}
	return all
}

// The trade's usual figures. Common practice, no source.
func TestMarketIsPlausible(t *testing.T) {
	var days, ratios, discounts []float64
	closed, sold := 0.0, 0.0
	for _, l := range markets() {
		if l.outcome == "open" {
			continue
		}
		closed++
		if l.outcome != "sold" {
			continue
		}
		sold++
		days = append(days, float64(l.endedOn-l.listedOn))
		ratios = append(ratios, l.salePrice/l.ask())
		discounts = append(discounts, l.salePrice/l.asks[0].Amount)
	}
	within(t, "share sold", sold/closed, 0.65, 0.80)
	within(t, "median days on market of the sold", median(days), 20, 40)
	within(t, "mean sale price to last ask", mean(ratios), 0.92, 0.945)
	within(t, "mean sale price to first ask", mean(discounts), 0.82, 0.92)
}

// Medians of what the usual pieces fetch, in dollars. Common practice, no source.
func TestPricesAreSensible(t *testing.T) {
	tests := []struct {
		category  string
		set       int
		low, high float64
	}{
		{"dresser", 1, 250, 450}, {"chest_of_drawers", 1, 180, 340}, {"sideboard", 1, 275, 475},
		{"nightstand", 2, 140, 260}, {"nightstand", 1, 50, 120}, {"dining_table", 1, 200, 425},
		{"dining_chair", 4, 120, 260}, {"dining_chair", 6, 170, 360}, {"bookcase", 1, 100, 220},
		{"desk", 1, 130, 280}, {"coffee_table", 1, 80, 190}, {"mirror", 1, 50, 120},
	}
	all := markets()
	for _, tt := range tests {
		var prices []float64
		for _, l := range all {
			if p := l.piece; l.outcome == "sold" && p.category.name == tt.category && p.setSize == tt.set && p.items == "" {
				prices = append(prices, l.salePrice)
			}
		}
		if len(prices) < 10 {
			t.Errorf("%s, set of %d: %d sold, want at least 10", tt.category, tt.set, len(prices))
			continue
		}
		within(t, tt.category, median(prices), tt.low, tt.high)
	}
}

// What a fit can learn: a price scatters about what its description promises
// by 0.15 to 0.2 in the log, without much bias.
func TestMarketIsLearnable(t *testing.T) {
	m := &market{today: pricing.NewDate(2026, 6, 1)}
	var residuals []float64
	for _, l := range markets() {
		if l.outcome == "sold" {
			described := math.Log(m.worth(l.piece, l.look, l.endedOn)) - l.piece.unseen
			residuals = append(residuals, math.Log(l.salePrice)-described)
		}
	}
	within(t, "mean of log sale price about its description", mean(residuals), -0.05, 0.05)
	sd := 0.0
	for _, r := range residuals {
		sd += (r - mean(residuals)) * (r - mean(residuals))
	}
	within(t, "its standard deviation", math.Sqrt(sd/float64(len(residuals)-1)), 0.15, 0.20)
}

// Dearer asks sell less often, and members differ in how they ask and cut.
func TestBuyersAndSellersDiffer(t *testing.T) {
	m := &market{today: pricing.NewDate(2026, 6, 1)}
	premium, firstCut := map[string][]float64{}, map[string][]float64{}
	var cheap, dear []float64
	for _, l := range markets() {
		asked := math.Log(l.asks[0].Amount / m.worth(l.piece, l.look, l.listedOn))
		premium[l.venue] = append(premium[l.venue], asked)
		if len(l.asks) > 1 {
			firstCut[l.venue] = append(firstCut[l.venue], float64(l.asks[1].On-l.listedOn))
		}
		if l.endedOn.IsZero() && m.today-l.listedOn < 30 {
			continue
		}
		early := 0.0
		if l.outcome == "sold" && l.endedOn-l.listedOn < 30 {
			early = 1
		}
		switch {
		case asked < 0:
			cheap = append(cheap, early)
		case asked > 0.2:
			dear = append(dear, early)
		}
	}
	if c, d := mean(cheap), mean(dear); c < 2*d {
		t.Errorf("sold within 30 days: %.2f of the cheap, %.2f of the dear; want at least twice", c, d)
	}
	if tolliver, maren := mean(premium["Tolliver"]), mean(premium["Maren"]); tolliver < maren+0.07 {
		t.Errorf("first ask over worth: Tolliver %.2f, Maren %.2f; want 0.07 apart", tolliver, maren)
	}
	if junia, maren := median(firstCut["Junia"]), median(firstCut["Maren"]); junia > maren-7 {
		t.Errorf("days to the first cut: Junia %g, Maren %g; want a week apart", junia, maren)
	}
}

// The interest of a stuck listing must show its trouble.
func TestStuckListingsShowWhy(t *testing.T) {
	today := pricing.NewDate(2026, 6, 15)
	m := &market{rng: rand.New(rand.NewPCG(1, 1)), start: today - 730, today: today}
	stuck := map[string][]*listing{}
	for i := range sellers {
		stuck[sellers[i].name] = m.stuck(&sellers[i])
	}
	for _, p := range plights {
		if len(stuck[p.seller]) == 0 {
			t.Fatalf("%s has too few stuck listings", p.seller)
		}
		l := stuck[p.seller][0]
		stuck[p.seller] = stuck[p.seller][1:]
		name := fmt.Sprintf("%s, %d days", p.seller, p.age)
		perDay := float64(l.views) / float64(today-l.listedOn)
		perView := float64(l.messages) / float64(l.views)
		switch {
		case p.dear > 0.1:
			within(t, name+": dear: ask to estimate", l.ask()/l.estimate, 1.15, 1.4)
			within(t, name+": dear: messages", float64(l.messages), 8, 60)
		case p.views < 0.5:
			within(t, name+": hidden: views a day", perDay, 0.5, 4)
		case p.messages < 0.5:
			within(t, name+": unloved: messages a view", perView, 0.001, 0.015)
		case p.paused > 0:
			within(t, name+": paused: days", float64(today-l.pauses[len(l.pauses)-1].From), float64(p.paused), float64(p.paused))
		default:
			within(t, name+": unlucky: messages a view", perView, 0.015, 0.05)
			within(t, name+": unlucky: ask to estimate", l.ask()/l.estimate, 0.9, 1.1)
		}
	}
}

// The mean and variance of a Poisson count both equal its rate, and none comes
// with chance exp(-rate) (NIST/SEMATECH e-Handbook, 1.3.6.6.19, from memory).
func TestPoisson(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	const n = 40_000
	for _, rate := range []float64{0.05, 0.24, 1, 7, 19} {
		sum, squares, none := 0.0, 0.0, 0.0
		for range n {
			x := float64(poisson(r, rate))
			sum, squares = sum+x, squares+x*x
			if x == 0 {
				none++
			}
		}
		average := sum / n
		tolerance := 5 * math.Sqrt(rate/n)
		within(t, "mean", average, rate-tolerance, rate+tolerance)
		spread := 5 * math.Sqrt((rate+2*rate*rate)/n)
		within(t, "variance", squares/n-average*average, rate-spread, rate+spread)
		p := math.Exp(-rate)
		within(t, "share of none", none/n, p-5*math.Sqrt(p/n)-1e-9, p+5*math.Sqrt(p/n)+1e-9)
	}
}

func TestLength(t *testing.T) {
	// An inch is 2.54 cm exactly (international yard and pound agreement, 1959).
	tests := []struct {
		piece  piece
		inches float64
		want   string
	}{
		{piece{}, 35.5, "35.5"}, {piece{}, 35, "35"}, {piece{}, 0, ""},
		{piece{ruler: true}, 35.5, "35 1/2"}, {piece{ruler: true}, 35, "35"},
		{piece{centimetres: true}, 50, "127"}, {piece{centimetres: true}, 35.5, "90"},
	}
	for _, tt := range tests {
		if got := tt.piece.length(tt.inches); got != tt.want {
			t.Errorf("%g in, ruler %v, centimetres %v: %q, want %q", tt.inches, tt.piece.ruler, tt.piece.centimetres, got, tt.want)
		}
	}
}

func within(t *testing.T, what string, got, low, high float64) {
	t.Helper()
	if !(got >= low && got <= high) {
		t.Errorf("%s: %.3f, want %g to %g", what, got, low, high)
	}
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	return s[len(s)/2]
}
