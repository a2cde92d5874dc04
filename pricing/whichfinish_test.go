package pricing

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/probe"
	"askwright/pricing/internal/reference"
	"askwright/pricing/pricepoint"
	"askwright/pricing/refinish"
)

func workSettings() Settings {
	s := DefaultSettings()
	s.HourValue, s.Workshop = 18, refinish.Workshop{Prices: refinish.DefaultPrices(false)}
	return s
}

// subject is a piece to refinish: an oak desk in its original finish.
func subject() RefinishQuery {
	return RefinishQuery{Job: refinish.Job{Attributes: furniture.Attributes{
		Category: "desk", Width: 48 * 2.54, Depth: 24 * 2.54, Height: 30 * 2.54,
		Material: "solid_wood", Wood: "oak", Finish: "original", Condition: 3,
	}}}
}

// drawWork draws a look for any piece.
func drawWork(t *rapid.T) refinish.Job {
	word := func(name string, from ...string) string { return rapid.SampledFrom(from).Draw(t, name) }
	return refinish.Job{
		Attributes: furniture.Attributes{
			Category:  word("category", "dresser", "desk", "dining_table", "dining_chair", "mirror", "harmonium", ""),
			SetSize:   rapid.IntRange(0, 8).Draw(t, "set"),
			Width:     rapid.SampledFrom([]float64{0, 40, 150, 400}).Draw(t, "width"),
			Depth:     rapid.SampledFrom([]float64{0, 45, 90}).Draw(t, "depth"),
			Height:    rapid.SampledFrom([]float64{0, 75, 190}).Draw(t, "height"),
			Condition: rapid.IntRange(0, 5).Draw(t, "condition"),
			Material:  word("material", "", "solid_wood", "veneer", "laminate", "glass", "upholstered"),
			Wood:      word("wood", "", "oak", "pine", "teak"),
			Finish:    word("present", "", "original", "painted", "clear", "raw"),
		},
		Look: refinish.Look{
			Finish: word("finish", "painted", "clear", "stained", "oiled", "waxed", "two_tone", "distressed", "cleaned"),
			Color:  word("color", "", "white", "navy", "red"),
		},
		Method: word("method", refinish.Methods...),
	}
}

// The net of a look worked out the long way: the fit with the new levels, the
// best plan in the range, less materials, labor and holding meanwhile.
func TestRefinishAddsUp(t *testing.T) {
	m := Fit(syntheticMarket(400, 51), today)
	s := workSettings()
	q := subject()
	q.Look = refinish.Look{Finish: "painted", Color: "green"}
	got := m.Refinishes(q, today, s)
	if got.Refusal != nil || got.Planned == nil || !got.Planned.Priced {
		t.Fatalf("%+v", got)
	}
	p, w := got.Planned, workSettings().Workshop.Estimate(q.Job)
	before := m.outlook(q.Attributes, today, m.fitFor(q.Attributes, 0, today, s), 0, s)
	plan := m.Suggest(Query{Attributes: q.Attributes}, today, s, nil).Plan
	_, forGood := before.best(candidates(before.typical, 0), before.holding)
	net := plan.Net
	if got.AsItIs.Ask != plan.Steps[0].Ask || got.AsItIs.ExpectedNet != net || net < forGood {
		t.Errorf("as it is: %+v, suggested %+v, for good %g", got.AsItIs, plan, forGood)
	}
	after := q.Look.On(q.Attributes)
	at := m.fitFor(after, 0, today, s) - m.fitFor(q.Attributes, 0, today, s)
	reference.WantRel(t, "percent", p.Percent, 100*math.Expm1(at), 1e-9)
	o := m.outlook(after, today+Date(w.DaysOut), m.fitFor(after, 0, today, s), 0, s)
	o.holding = before.holding // of the piece as it stands there
	o.salvage = before.salvage
	cost := w.Materials + 18*w.Hours + before.holding*float64(w.DaysOut)
	reference.WantRel(t, "cost", p.Cost, cost, 1e-9)
	asks := pricepoint.Between(repriceLow*o.typical, askCap*o.typical)
	best := o.planner(thinned(asks, refinishAsks), s).Plan(o.holding, 0, math.Inf(1))
	if _, forGood := o.best(asks, o.holding); best.Net < forGood-0.5 {
		t.Errorf("the plan with the look brings %g, an ask for good %g", best.Net, forGood)
	}
	reference.WantRel(t, "net", p.ExpectedNet, best.Net-cost, 1e-9)
	reference.WantRel(t, "gain", p.Gain, p.ExpectedNet-net, 1e-9)
	reference.WantRel(t, "net per hour", *p.NetPerHour, (p.ExpectedNet+18*w.Hours-net)/w.Hours, 1e-9)
	reference.WantRel(t, "pace", p.Pace, o.pace(300)/m.outlook(q.Attributes, today, o.fit, 0, s).pace(300), 1e-9)
	if !(p.Low < p.Percent && p.Percent < p.High) || p.Sales < ProvenSales || p.ColorSales < ProvenSales {
		t.Errorf("%+v", p)
	}
}

// The range of a look's effect is that of the model's own explanation of the
// same difference, where all its levels were sold.
func TestLookRangeIsTheModels(t *testing.T) {
	m := Fit(syntheticMarket(400, 51), today)
	a := subject().Attributes
	b := refinish.Look{Finish: "painted", Color: "green"}.On(a)
	d := make([]float64, len(m.value.Names))
	x, y := m.value.describe(a, today).X, m.value.describe(b, today).X
	for j := range d {
		d[j] = y[j] - x[j]
	}
	wantAt, wantHalf := m.value.effect(d)
	at, scale := m.change(a, b, today)
	reference.WantRel(t, "location", at, wantAt, 1e-12)
	reference.WantRel(t, "half width", m.value.t80*scale, wantHalf, 1e-9)
	_, unseen := m.change(a, refinish.Look{Finish: "gilded", Color: "green"}.On(a), today)
	if !(unseen > scale) {
		t.Errorf("a finish never sold is as certain (%g) as one that was (%g)", unseen, scale)
	}
}

// Best first by net per hour; every look is feasible, has sales enough, and
// beats its range's worst as often as is said; nothing depends on the order.
func TestRankingLaws(t *testing.T) {
	PlaysForLong(t)
	rapid.Check(t, func(t *rapid.T) {
		m := Fit(syntheticMarket(rapid.IntRange(10, 150).Draw(t, "listings"), rapid.Uint64().Draw(t, "market")), today)
		s := workSettings()
		if rapid.Bool().Draw(t, "no hour value") {
			s.HourValue = 0
		}
		q := RefinishQuery{Job: drawWork(t), Estimate: rapid.SampledFrom([]float64{0, 250}).Draw(t, "estimate")}
		got := m.Refinishes(q, today, s)
		if found := probe.NonFinite("answer", reflect.ValueOf(got)); found != "" {
			t.Fatal(found)
		}
		if got.Planned == nil || !reflect.DeepEqual(got.Planned.Work, workSettings().Workshop.Estimate(q.Job)) {
			t.Error("the planned work is not what it is reckoned at")
		}
		if (got.Refusal == nil) != (got.AsItIs != nil) || (got.Refusal != nil && got.Compared > 0) {
			t.Errorf("refusal %+v beside %+v", got.Refusal, got.AsItIs)
		}
		if slices.Contains(got.Labels, LabelHourValueUnknown) != (s.HourValue == 0) {
			t.Errorf("labels %v", got.Labels)
		}
		for i, f := range got.Finishes {
			if refinish.WhyNot(q.Attributes, f.Look) != nil || f.Work.Refusal != nil || f.Priced != (got.AsItIs != nil) {
				t.Errorf("%+v", f)
			}
			if !f.Priced {
				continue
			}
			if i > 0 && f.perHour() > got.Finishes[i-1].perHour() {
				t.Errorf("%+v is better than what stands before it", f.Look)
			}
			if f.Sales < ProvenSales || f.ChanceBetterThanWaiting < 0 || f.ChanceBetterThanWaiting > 1 || f.Hours <= 0 {
				t.Errorf("%+v", f)
			}
		}
	})
}

// A review and the ranking tell one story of an open listing.
func TestReviewAndRankingAgree(t *testing.T) {
	m := Fit(syntheticMarket(300, 52), today)
	s := workSettings()
	rapid.Check(t, func(t *rapid.T) {
		l := openListing(t)
		st := Standing{Listing: l}
		review := m.Review(st, today, s)
		ranking := m.Refinishes(RefinishQuery{Job: refinish.Job{Attributes: l.Attributes}, Standing: &st}, today, s)
		told := 0
		for _, r := range review.Remedies {
			if r.Action != ActionRefinish {
				continue
			}
			told++
			i := slices.IndexFunc(ranking.Finishes, func(f Refinish) bool { return f.Finish == r.Finish && f.Color == r.Color })
			if i < 0 {
				t.Fatalf("%s %s is not in the ranking", r.Finish, r.Color)
			}
			if f := ranking.Finishes[i]; f.Ask != r.Ask || !probe.Near(f.ExpectedNet, r.ExpectedNet, 6) || f.DaysOut != r.DaysOut {
				t.Errorf("the review says %+v, the ranking %+v", r, f.Remedy)
			}
		}
		if told > reviewRemedies {
			t.Errorf("%d looks in a review", told)
		}
	})
}

// The shortlist of a review holds the look with the greatest net, nearly always.
func TestShortlistFindsTheBest(t *testing.T) {
	m := Fit(syntheticMarket(300, 53), today)
	s := workSettings()
	rng := rand.New(rand.NewPCG(9, 9))
	missed, n := 0, 0
	for range 60 {
		l := syntheticListing(rng, "subject")
		l.ListedOn, l.Outcome, l.EndedOn, l.SalePrice, l.Pauses, l.Messages = today-40, Open, 0, 0, nil, nil
		l.Asks = []Ask{{today - 40, l.Asks[0].Amount}}
		st := Standing{Listing: l}
		best := math.Inf(-1)
		for _, f := range m.Refinishes(RefinishQuery{Job: refinish.Job{Attributes: l.Attributes}, Standing: &st}, today, s).Finishes {
			best = max(best, f.ExpectedNet)
		}
		for _, r := range m.Review(st, today, s).Remedies {
			if r.Action == ActionRefinish { // the first is the best
				n++
				if r.ExpectedNet < best-1e-6 {
					missed++
				}
				break
			}
		}
	}
	if n < 50 || missed > n/10 {
		t.Errorf("of %d reviews %d miss the look with the greatest net", n, missed)
	}
}

// The group's own price of a look overrides what it was reckoned at; one
// without a color holds for all.
func TestQuotesOverride(t *testing.T) {
	m := Fit(syntheticMarket(400, 54), today)
	s := workSettings()
	s.RefinishOptions = []refinish.Option{
		{Finish: "painted", Materials: 40, Hours: 9, DaysOut: 12}, {Finish: "painted", Color: "green", Materials: 10, Hours: 2, DaysOut: 3},
		{Finish: "gilded", Materials: 90, Hours: 4, DaysOut: 2}, {Finish: "clear", Hours: 0},
	}
	got := m.Refinishes(subject(), today, s)
	for _, f := range got.Finishes {
		want, quoted := s.quoted(f.Look)
		if f.Quoted != quoted || quoted && (f.Materials != want.Materials || f.Hours != want.Hours || f.DaysOut != want.DaysOut) {
			t.Errorf("%+v: %g, %g, %d", f.Look, f.Materials, f.Hours, f.DaysOut)
		}
		if (f.NetPerHour == nil) != (f.Hours == 0) {
			t.Errorf("%+v: %g hours and %v an hour", f.Look, f.Hours, f.NetPerHour)
		}
	}
	find := func(finish, color string) *Refinish {
		for i := range got.Finishes {
			if f := &got.Finishes[i]; f.Finish == finish && f.Color == color {
				return f
			}
		}
		t.Fatalf("no %s %s among %d", finish, color, len(got.Finishes))
		return nil
	}
	if f := find("painted", "green"); f.Hours != 2 || f.Work.Hours == 2 {
		t.Errorf("painted green: %+v", f)
	}
	if f := find("gilded", ""); f.Hours != 4 || !f.Priced || f.Work.Refusal != nil {
		t.Errorf("what only the group can do: %+v", f)
	}
	find("painted", "grey")
	find("stained", "natural")
}

// Without sales enough the work is told and nothing is ranked.
func TestWorkWithoutSales(t *testing.T) {
	m := Fit(History{}, today)
	q := subject()
	q.Look = refinish.Look{Finish: "painted", Color: "navy"}
	got := m.Refinishes(q, today, workSettings())
	if got.Refusal == nil || got.Refusal.Reason != TooFewSales || got.Planned == nil || got.Planned.Priced || got.Planned.Hours < 5 || len(got.Finishes) < 5 || got.Compared != 0 {
		t.Errorf("%+v", got)
	}
	q.Material = "laminate"
	got = m.Refinishes(q, today, workSettings())
	if len(got.Refused) < 4 || slices.ContainsFunc(got.Finishes, func(f Refinish) bool {
		return slices.Contains([]string{"clear", "stained", "oiled", "waxed"}, f.Finish)
	}) {
		t.Errorf("on laminate: %+v", got.Refused)
	}
}

// Purely noisy looks: the best of many is no better than leaving it, and the
// answer does not promise much.
func TestBestOfManyIsNotBelieved(t *testing.T) {
	h := syntheticMarket(250, 55)
	rng := rand.New(rand.NewPCG(3, 3))
	colors := []string{"white", "green", "grey", "navy", "black", "blue", "red", "beige"}
	for i := range h.Listings {
		h.Listings[i].Finish, h.Listings[i].Color = "painted", colors[rng.IntN(len(colors))] // whatever it was
	}
	m := Fit(h, today)
	q := subject()
	q.Finish, q.Color = "painted", "white"
	for _, f := range m.Refinishes(q, today, workSettings()).Finishes {
		if f.Percent > 12 || f.Distinguishable && f.Low > 3 {
			t.Errorf("%s is believed to bring %.1f %% (%.1f to %.1f)", f.Color, f.Percent, f.Low, f.High)
		}
	}
}

func BenchmarkRefinishes(b *testing.B) {
	m := Fit(syntheticMarket(5000, 1), today)
	s := workSettings()
	for b.Loop() {
		m.Refinishes(subject(), today, s)
	}
}

func BenchmarkReviewWithEstimates(b *testing.B) {
	m := Fit(syntheticMarket(5000, 1), today)
	s := workSettings()
	l := unsold(3)
	for b.Loop() {
		m.Review(Standing{Listing: l}, today, s)
	}
}
