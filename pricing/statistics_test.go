package pricing

import (
	"bytes"
	"encoding/gob"
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/reference"
)

func saleRows(h History) []SaleRow {
	var out []SaleRow
	for _, l := range h.Listings {
		if r, ok := NewSaleRow(l); ok {
			out = append(out, r)
		}
	}
	return out
}

// wantSameValue checks that two models predict alike to 1e-9.
func wantSameValue(t rapid.TB, got, want *valueModel) {
	t.Helper()
	if math.Abs(got.Scale-want.Scale) > 1e-9*want.Scale || got.sales != want.sales || got.LastSale != want.LastSale {
		t.Errorf("scale %g, %d sales until %s; want %g, %d, %s", got.Scale, got.sales, got.LastSale, want.Scale, want.sales, want.LastSale)
	}
	for _, a := range probes {
		p, q := got.predict(got.describe(a, today)), want.predict(want.describe(a, today))
		if math.Abs(p.f-q.f) > 1e-9*math.Abs(q.f) || math.Abs(p.scale-q.scale) > 1e-9*q.scale {
			t.Errorf("%+v: predicts %v, want %v", a, p, q)
		}
	}
}

// probes are pieces with known, unknown and unseen attributes.
var probes = []furniture.Attributes{
	{Category: "desk"},
	{Category: "sideboard", Wood: "oak", Finish: "painted", Color: "white", Condition: 4, Width: 150, Depth: 45, Height: 80, SetSize: 1},
	{Category: "dining_chair", SetSize: 6, Finish: "clear", Condition: 2},
	{Category: "vanity", Wood: "mahogany", Finish: "oiled", Color: "natural"},
}

func TestStatisticsAreTheSameEitherWayBuilt(t *testing.T) {
	rows := saleRows(syntheticMarket(150, 1))
	batch := &Statistics{}
	for _, r := range rows {
		batch.Add(r)
	}
	want := newValueModel(batch, nil)
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		s := &Statistics{}
		extra := saleRows(syntheticMarket(20, rng.Uint64()))
		for _, i := range rng.Perm(len(rows)) {
			s.Add(rows[i])
			if i < len(extra) {
				s.Add(extra[i])
			}
		}
		for i, r := range extra {
			if i >= len(rows) {
				break
			}
			if err := s.Remove(r); err != nil {
				t.Fatal(err)
			}
		}
		wantSameValue(t, newValueModel(s, nil), want)
	})
}

func TestStatisticsSurviveStorage(t *testing.T) {
	rows := saleRows(syntheticMarket(80, 2))
	s := &Statistics{}
	for _, r := range rows[1:] {
		s.Add(r)
	}
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	var binary bytes.Buffer
	if err := gob.NewEncoder(&binary).Encode(s); err != nil {
		t.Fatal(err)
	}
	fromJSON, fromGob := &Statistics{}, &Statistics{}
	if err := json.Unmarshal(text, fromJSON); err != nil {
		t.Fatal(err)
	}
	if err := gob.NewDecoder(&binary).Decode(fromGob); err != nil {
		t.Fatal(err)
	}
	clone := s.Clone()
	s.Add(rows[0])
	for _, stored := range []*Statistics{fromJSON, fromGob, clone} {
		if !stored.Current() || stored.Sales != len(rows)-1 {
			t.Errorf("%d sales, version %d", stored.Sales, stored.Version)
		}
		stored.Add(rows[0])
		wantSameValue(t, newValueModel(stored, nil), newValueModel(s, nil))
	}
}

func TestRemoveRefusesWhatWasNotAdded(t *testing.T) {
	rows := saleRows(syntheticMarket(30, 2))
	s := &Statistics{}
	if err := s.Remove(rows[0]); err == nil {
		t.Error("removed a sale from nothing")
	}
	s.Add(rows[0])
	other := rows[0]
	other.On++
	if err := s.Remove(other); err == nil {
		t.Error("removed a sale of another day")
	}
	if s.Sales != 1 {
		t.Errorf("%d sales after refusals, want 1", s.Sales)
	}
}

// A price ten times the ask is a slip of the pen: it may hardly move the value
// of others, and it is named.
func TestOutlierCountsForLittle(t *testing.T) {
	h := syntheticMarket(60, 4)
	want := Fit(h, today)
	var id string
	for i, l := range h.Listings {
		if l.Outcome == Sold {
			h.Listings[i].SalePrice *= 10
			id = l.ID
			break
		}
	}
	got := Fit(h, today)
	for _, a := range probes[:3] {
		p, q := got.value.predict(got.value.describe(a, today)), want.value.predict(want.value.describe(a, today))
		if math.Abs(p.f-q.f) > 0.05 || p.scale > 1.15*q.scale {
			t.Errorf("%s: predicts %v with the slip, %v without", a.Category, p, q)
		}
	}
	suspicious := got.Suspicious()
	if len(suspicious) != 1 || suspicious[0].ID != id || suspicious[0].Weight > 0.05 {
		t.Errorf("suspicious sales %+v, want %s", suspicious, id)
	}
}

// Unknown dimensions are filled by the regression on the known ones within the
// category, worked out here from the pieces themselves.
func TestUnknownDimensionsAreFilled(t *testing.T) {
	h := syntheticMarket(200, 5)
	v := Fit(h, today).value
	type sums struct{ width, depth, n, widths float64 }
	category, all := map[string]*sums{}, &sums{}
	for _, l := range h.Listings {
		if _, isSale := NewSaleRow(l); !isSale {
			continue
		}
		logs, known := l.LogDimensions()
		if category[l.Category] == nil {
			category[l.Category] = &sums{}
		}
		for _, c := range []*sums{category[l.Category], all} {
			c.depth, c.n = c.depth+logs[1], c.n+1
			if known[0] {
				c.width, c.widths = c.width+logs[0], c.widths+1
			}
		}
	}
	mean := func(c string) (width, depth float64) {
		return (category[c].width + all.width/all.widths) / (category[c].widths + 1), (category[c].depth + all.depth/all.n) / (category[c].n + 1)
	}
	depths, both, rows := 0.5, 0.0, 5.0
	for c := range category {
		var w, d, ww, wd, n float64
		for _, l := range h.Listings {
			_, isSale := NewSaleRow(l)
			if logs, known := l.LogDimensions(); isSale && known[0] && l.Category == c {
				w, d, ww, wd, n = w+logs[0], d+logs[1], ww+logs[1]*logs[1], wd+logs[0]*logs[1], n+1
			}
		}
		depths, both, rows = depths+ww-d*d/n, both+wd-w*d/n, rows+n
	}
	w, d := mean("desk")
	size := func(width, depth float64) furniture.Attributes {
		return furniture.Attributes{Category: "desk", Width: width, Depth: depth, Height: 80}
	}
	filled := 100 * math.Exp(w+both/depths*(math.Log(30.0/50)-d))
	for name, pair := range map[string][2]furniture.Attributes{
		"width unknown":   {size(0, 30), size(filled, 30)},
		"nothing unknown": {size(110, 30), size(110, 30)},
		"all unknown":     {{Category: "desk"}, {Category: "desk", Width: 100 * math.Exp(w), Depth: 50 * math.Exp(d), Height: 80}},
	} {
		got, want := v.predict(v.describe(pair[0], today)), v.predict(v.describe(pair[1], today))
		reference.WantRel(t, name, got.f, want.f, 1e-9)
		reference.WantRel(t, name+": spread", got.scale, want.scale, 1e-9)
	}
	if wide, narrow := v.predict(v.describe(furniture.Attributes{Category: "desk", Width: 240}, today)), v.predict(v.describe(furniture.Attributes{Category: "desk", Width: 80}, today)); wide.f < narrow.f+0.2 {
		t.Errorf("a desk 240 cm wide fetches exp(%.3f), one of 80 cm exp(%.3f)", wide.f, narrow.f)
	}
}
