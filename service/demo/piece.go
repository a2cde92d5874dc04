package demo

import (
	"fmt"
	"math"
	"math/rand/v2"

	"askwright/pricing"
)

// piece is the physical thing with what its owner paid for it, in dollars.
type piece struct {
	ref      string
	category *category
	setSize  int
	items    string  // of a mixed set
	extra    float64 // dollars of the mixed set's further items, in good condition

	width, depth, height float64 // inches
	centimetres          bool    // its owner measures in them
	ruler                bool    // its owner writes 35 1/2, not 35.5

	material, wood, style string
	year                  int
	drawers, doors        int
	maker, flaws, smell   string

	unseen float64 // log of the worth that no column tells
	demand float64 // multiplies its pace of sale; mean 1

	boughtOn         pricing.Date
	boughtFrom       string
	conditionFound   int
	purchase, pickup float64
}

// spent is what one stretch of offering a piece took, in dollars and hours:
// the work for its look, and its sale.
type spent struct {
	materials, other              float64
	hours, hoursOther             float64
	deliveryCharged, deliveryCost float64
	fees                          float64
}

// look is what a buyer sees of a piece: its surface and condition.
type look struct {
	finish, color       string
	second, secondColor string
	topcoat, sheen      string
	hardware            string
	condition           int
}

// choose draws one of the traits by weight.
func choose(r *rand.Rand, from traits) string {
	total := 0.0
	for _, t := range from {
		total += t.weight
	}
	x := r.Float64() * total
	for _, t := range from {
		if x -= t.weight; x < 0 {
			return t.name
		}
	}
	return from[len(from)-1].name
}

func oneOf[T any](r *rand.Rand, from []T) T { return from[r.IntN(len(from))] }

func between(r *rand.Rand, low, high float64) float64 { return low + r.Float64()*(high-low) }

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

// acquire draws a piece as it comes into a garage.
func (m *market) acquire() *piece {
	r := m.rng
	weights := make(traits, len(categories))
	for i, c := range categories {
		weights[i] = trait{name: c.name, weight: c.weight}
	}
	c := categoryNamed(choose(r, weights))
	p := &piece{category: c, setSize: 1, drawers: c.drawers, doors: c.doors}
	if c.sets != nil {
		p.setSize = oneOf(r, c.sets)
	}
	stretch := math.Exp(0.08 * r.NormFloat64())
	p.width = halfInch(c.width * stretch * math.Exp(0.10*r.NormFloat64()))
	p.depth = halfInch(c.depth * stretch * math.Exp(0.05*r.NormFloat64()))
	p.height = halfInch(c.height * stretch * math.Exp(0.06*r.NormFloat64()))
	p.material = choose(r, materials)
	if !boards[p.material] {
		p.wood = choose(r, woods)
	}
	p.style, p.year = choose(r, styles), 1925+5*r.IntN(15)
	switch {
	case boards[p.material]:
		p.style, p.year = "traditional", 1975+5*r.IntN(8)
	case p.style == "mid_century":
		p.year = 1950 + 5*r.IntN(5)
	case p.style == "art_deco":
		p.year = 1925 + 5*r.IntN(4)
	}
	p.unseen = 0.13 * r.NormFloat64()
	p.demand = erlang(r, 2)
	p.conditionFound = 1 + r.IntN(3)
	m.mixSet(p)
	m.describe(p)
	return p
}

// mixSet makes some tables and dressers the main item of a mixed set.
func (m *market) mixSet(p *piece) {
	switch {
	case p.category.name == "dining_table" && chance(m.rng, 0.6):
		n := oneOf(m.rng, []int{4, 6})
		p.items = fmt.Sprintf("dining_table:1;dining_chair:%d", n)
		p.extra = 0.85 * categoryNamed("dining_chair").worth * math.Pow(float64(n), setExponent)
	case p.category.name == "dresser" && chance(m.rng, 0.1):
		p.items = "dresser:1;nightstand:2"
		p.extra = 0.85 * categoryNamed("nightstand").worth * math.Pow(2, setExponent)
	}
}

// describe writes down what an owner says in words; flaws go with the worth
// that no other column tells.
func (m *market) describe(p *piece) {
	r := m.rng
	if p.unseen < -0.10 && chance(r, 0.7) {
		p.flaws = oneOf(r, flaws)
	}
	if p.unseen < -0.16 && chance(r, 0.4) {
		p.smell = oneOf(r, smells)
	}
	if chance(r, 0.12) {
		p.maker = oneOf(r, makers)
	}
}

// dress draws the look that a seller gives a piece.
func (m *market) dress(s *seller, p *piece) look {
	r := m.rng
	k := look{condition: min(5, p.conditionFound+1+r.IntN(2)), hardware: "none"}
	paint := chance(r, s.paint) || boards[p.material]
	if prizedWoods[p.wood] && chance(r, 0.5) {
		paint = false
	}
	if boards[p.material] && chance(r, 0.25) {
		k.finish, k.color = "cleaned", "mid_wood"
	} else {
		m.surface(&k, p, paint)
	}
	if p.drawers+p.doors > 0 {
		k.hardware = choose(r, fittings)
	}
	return k
}

// surface draws a finish with its colours and coats.
func (m *market) surface(k *look, p *piece, paint bool) {
	r := m.rng
	k.finish, k.color = choose(r, woodFinishes), woodTones[p.wood]
	k.second, k.secondColor, k.topcoat, k.sheen = "", "", "", ""
	if paint {
		k.finish, k.color = choose(r, paintFinishes), choose(r, paints)
		if boards[p.material] {
			k.finish = "painted"
		}
	}
	if k.finish == "two_tone" {
		k.second, k.secondColor = "clear", woodTones[p.wood]
	}
	if k.finish == "whitewashed" {
		k.color = "white"
	}
	if painted[k.finish] || k.finish == "clear" || k.finish == "stained" {
		k.topcoat, k.sheen = choose(r, topcoats), choose(r, sheens)
	}
}

// pay fills in what buying the piece of a listing and working on it cost, given
// its worth.
func (m *market) pay(l *listing, worth float64, listedOn pricing.Date) {
	r, p := m.rng, l.piece
	p.boughtOn = listedOn - pricing.Date(4+r.IntN(32))
	p.boughtFrom = choose(r, sources)
	if p.boughtFrom != "kerb" {
		p.purchase = 5 * math.Round(worth*between(r, 0.08, 0.34)/5)
	}
	if chance(r, 0.6) {
		p.pickup = 5 * math.Round(between(r, 5, 40)/5)
	}
	m.work(l)
	l.hoursOther = halfHour(between(r, 2, 6))
	if chance(r, 0.1) {
		l.other = 5 * math.Round(between(r, 5, 35)/5)
	}
}

// work fills in the hours and materials of a listing's look.
func (m *market) work(l *listing) {
	r, p, k := m.rng, l.piece, l.look
	share := 1.0
	switch k.finish {
	case "original":
		share = 0.1
	case "cleaned", "waxed":
		share = 0.25
	case "clear", "stained", "oiled":
		share = 1.5
	}
	pieces := math.Pow(float64(p.setSize), 0.9)
	l.hours = halfHour(p.category.hours*share*pieces*between(r, 0.8, 1.25) + 0.5)
	l.materials = cents((6 + 3*p.category.hours*math.Min(share, 1)*math.Sqrt(pieces)) * between(r, 0.7, 1.3))
	if k.hardware == "replaced" {
		l.materials += cents(float64(2*p.drawers+p.doors) * between(r, 2, 4))
	}
}

func halfInch(x float64) float64 { return math.Max(1, math.Round(2*x)/2) }
func halfHour(x float64) float64 { return math.Max(0.5, math.Round(2*x)/2) }
func cents(x float64) float64    { return math.Round(100*x) / 100 }

// erlang draws from a gamma distribution with a whole shape and mean 1.
func erlang(r *rand.Rand, shape int) float64 {
	sum := 0.0
	for range shape {
		sum += r.ExpFloat64()
	}
	return sum / float64(shape)
}

// poisson draws a count with the given mean, by Knuth's product of uniforms
// (The Art of Computer Programming, vol. 2, 3.4.1); means here stay below 20.
func poisson(r *rand.Rand, mean float64) int {
	n, product := 0, r.Float64()
	for limit := math.Exp(-mean); product > limit; n++ {
		product *= r.Float64()
	}
	return n
}
