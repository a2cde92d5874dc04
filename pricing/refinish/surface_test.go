package refinish

import (
	"math"
	"strings"
	"testing"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/reference"
)

// areas sums the parts of a job by name, in square feet.
func areas(t *testing.T, j Job) (map[string]float64, Work) {
	t.Helper()
	w := shop.Estimate(j)
	if w.Refusal != nil {
		t.Fatalf("%+v: %+v", j, w.Refusal)
	}
	out, sum := map[string]float64{}, 0.0
	for _, p := range w.Parts {
		out[p.Name] += p.Area / squareMetresPerSquareFoot
		sum += p.Area
	}
	reference.WantRel(t, "sum of the parts", w.Area, sum, 1e-12)
	return out, w
}

var shop = Workshop{Prices: DefaultPrices(false)}

// inches makes attributes of a size in inches.
func inches(category string, w, d, h float64) furniture.Attributes {
	return furniture.Attributes{Category: category, Width: 2.54 * w, Depth: 2.54 * d, Height: 2.54 * h}
}

// Surfaces against solid geometry, worked by hand in square inches beside each.
func TestSurfaces(t *testing.T) {
	const inch, foot = 2.54, 144.0
	two, none := 2, 0
	sideboard := inches("sideboard", 60, 18, 36)
	sideboard.Drawers, sideboard.Doors = &none, &two
	painted := Look{Finish: "painted", Color: "navy"}
	for _, tt := range []struct {
		name string
		job  Job
		want map[string]float64 // square inches
	}{
		{
			"a box without legs: 60 × 18 × 36",
			Job{Attributes: sideboard, Look: painted, Given: map[string]float64{"leg_height": 0}},
			// 60·18, 2·18·36, 60·36; together 4536 in² = 31.5 ft²
			map[string]float64{PartTop: 1080, PartSides: 1296, PartFront: 2160},
		},
		{
			"on 6 in legs of 2 in, with back and insides",
			Job{Attributes: sideboard, Look: painted, Include: []string{PartBack, PartInsides}, Given: map[string]float64{"leg_height": 6 * inch, "leg_width": 2 * inch}},
			map[string]float64{
				PartTop: 1080, PartSides: 2 * 18 * 30, PartFront: 60 * 30,
				PartLegs: 4 * 4 * 2 * 6, // four faces each
				PartBack: 60 * 36, PartInsides: 60*30 + 2*18*30 + 2*60*18,
			},
		},
		{
			"a table: 60 × 36 × 30, top 1 in, apron 4 in, legs 2 in",
			Job{Attributes: inches("dining_table", 60, 36, 30), Look: painted, Given: map[string]float64{"top_thickness": inch, "apron_height": 4 * inch, "leg_width": 2 * inch}},
			map[string]float64{PartTop: 60*36 + 2*(60+36)*1, PartApron: 2 * (60 + 36) * 4, PartLegs: 4 * 4 * 2 * 29},
		},
		{
			"a frame: 30 × 40, 3 in wide",
			Job{Attributes: inches("mirror", 30, 1, 40), Look: painted, Given: map[string]float64{"frame_width": 3 * inch}},
			map[string]float64{PartFrame: 30*40 - 24*34},
		},
		{
			"a bookcase: 36 × 12 × 60 with 4 shelves",
			Job{Attributes: inches("bookcase", 36, 12, 60), Look: painted, Given: map[string]float64{"shelves": 4}},
			// face frame 2 cm wide: two uprights and five rails
			map[string]float64{PartTop: 36 * 12, PartSides: 2 * 12 * 60, PartShelves: 2 * 4 * 36 * 12, PartInsides: 2*12*60 + 36*60, PartFront: (2*60 + 36*5) * 2 / inch},
		},
		{
			"a headboard: 60 × 3 × 48",
			Job{Attributes: inches("headboard", 60, 3, 48), Look: painted},
			map[string]float64{PartFront: 60 * 48, PartSides: 2 * 48 * 3, PartTop: 60 * 3},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, _ := areas(t, tt.job)
			for part, want := range tt.want {
				reference.WantRel(t, part, got[part], want/foot, 1e-9)
			}
			if len(got) != len(tt.want) {
				t.Errorf("parts %v, want %v", got, tt.want)
			}
		})
	}
}

// Sets: a pair is twice one, a mixed set the sum of its items; drawer fronts
// and the rest of the front are the front.
func TestSurfacesOfSets(t *testing.T) {
	look := Look{Finish: "painted", Color: "green"}
	one := inches("nightstand", 22, 16, 26)
	pair := one
	pair.SetSize = 2
	single, a := areas(t, Job{Attributes: one, Look: look})
	_, b := areas(t, Job{Attributes: pair, Look: look})
	reference.WantRel(t, "a pair", b.Area, 2*a.Area, 1e-12)
	reference.WantRel(t, "its hours", b.Hours, 2*a.Hours, 1e-12)
	reference.WantRel(t, "front", single[PartFront]+single[PartDrawerFronts], 22*(26-10/2.54)/144, 1e-9)
	set := inches("dining_table", 66, 38, 30)
	set.Items = []furniture.Item{{Category: "dining_table", Count: 1}, {Category: "dining_chair", Count: 6}}
	_, table := areas(t, Job{Attributes: inches("dining_table", 66, 38, 30), Look: look})
	_, chair := areas(t, Job{Attributes: furniture.Attributes{Category: "dining_chair"}, Look: look})
	_, all := areas(t, Job{Attributes: set, Look: look})
	reference.WantRel(t, "a table and six chairs", all.Area, table.Area+6*chair.Area, 1e-9)
	if all.Parts[0].Item != "dining_table" {
		t.Errorf("parts of a set without their item: %+v", all.Parts)
	}
}

// What is not known is assumed and told, and a caller may say otherwise.
func TestAssumptionsAreTold(t *testing.T) {
	look := Look{Finish: "painted", Color: "navy"}
	w := shop.Estimate(Job{Attributes: furniture.Attributes{Category: "dresser"}, Look: look})
	basis := map[string]string{}
	for _, a := range w.Assumptions {
		basis[a.Name] = a.Basis
	}
	for _, name := range []string{"width", "depth", "height", "drawers", "leg_height", "transfer_efficiency", "temperature", "damp", "color_coats"} {
		if basis[name] != CommonPractice {
			t.Errorf("%s: basis %q, want %q", name, basis[name], CommonPractice)
		}
	}
	more := shop.Estimate(Job{Attributes: furniture.Attributes{Category: "dresser"}, Look: look, Given: map[string]float64{"color_coats": 4, "pulls": 6}})
	if got := more.Assumptions; !containsAssumption(got, Assumption{Name: "color_coats", Value: 4, Unit: "count", Basis: "given"}) {
		t.Errorf("%+v", got)
	}
	for _, name := range AssumptionNames() {
		if _, low, high, ok := AssumptionRange(name); !ok || !(low < high) {
			t.Errorf("%s: %g to %g", name, low, high)
		}
	}
	for name, b := range builds {
		for _, s := range []span{b.width, b.depth, b.height} {
			if !(0 < s.low && s.low < s.usual && s.usual < s.high) {
				t.Errorf("%s: usual size %+v", name, s)
			}
		}
	}
}

func containsAssumption(all []Assumption, want Assumption) bool {
	for _, a := range all {
		if a == want {
			return true
		}
	}
	return false
}

// A size that such pieces hardly have is told with the usual span, and reckoned
// all the same.
func TestUnusualSizes(t *testing.T) {
	a := inches("nightstand", 22, 16, 26)
	a.Width = 250 // inches taken for centimetres, say
	w := shop.Estimate(Job{Attributes: a, Look: Look{Finish: "painted", Color: "navy"}})
	if w.Refusal != nil || len(w.Warnings) == 0 || w.Warnings[0].Code != "unusual_size" || w.Warnings[0].Subject != "width" || w.Warnings[0].High != builds["nightstand"].width.high {
		t.Errorf("%+v", w)
	}
	if !strings.Contains(w.Warnings[0].Text, "nightstand") || !(w.Area > 1) {
		t.Errorf("%+v", w.Warnings)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), -5, 1e300} {
		a.Width = bad
		if w := shop.Estimate(Job{Attributes: a, Look: Look{Finish: "painted"}}); !(w.Area > 0.5 && w.Area < 5) {
			t.Errorf("width %g counts as unknown: area %g", bad, w.Area)
		}
	}
}
