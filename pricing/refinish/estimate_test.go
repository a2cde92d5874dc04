package refinish

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/probe"
	"askwright/pricing/internal/reference"
)

// Whole-piece bench hours. Common practice, no source.
func TestBenchHours(t *testing.T) {
	painted, stripped, cleaned := Look{Finish: "painted", Color: "navy"}, Look{Finish: "clear"}, Look{Finish: "cleaned"}
	chest, dresser, sideboard := inches("chest_of_drawers", 35, 18, 46), inches("dresser", 54, 19, 33), inches("sideboard", 60, 18, 33)
	for _, tt := range []struct {
		what       string
		piece      furniture.Attributes
		look       Look
		low, high  float64
		conditions []int
	}{
		{"clean-up", dresser, cleaned, 1, 2, []int{0, 1, 3, 5}},
		{"clean-up", inches("nightstand", 22, 16, 26), cleaned, 1, 2, []int{3}},
		{"nightstand", inches("nightstand", 22, 16, 26), painted, 3, 5, []int{3, 4, 5}},
		{"dining chair", inches("dining_chair", 19, 20, 36), painted, 2, 4, []int{3, 4, 5}},
		{"bookcase", inches("bookcase", 36, 13, 62), painted, 5, 8, []int{3, 4, 5}},
		{"chest painted", chest, painted, 8, 14, []int{1, 2, 3, 4}},
		{"dresser painted", dresser, painted, 8, 14, []int{1, 2, 3, 4, 5}},
		{"sideboard painted", sideboard, painted, 8, 14, []int{1, 2, 3, 4}},
		{"full strip and clear", chest, stripped, 12, 25, []int{1, 2, 3, 4, 5}},
		{"full strip and clear", dresser, stripped, 12, 25, []int{1, 2, 3, 4, 5}},
		{"full strip and clear", inches("wardrobe", 42, 22, 74), stripped, 12, 25, []int{1, 2, 3, 4, 5}},
	} {
		for _, condition := range tt.conditions {
			tt.piece.Condition = condition
			got := shop.Estimate(Job{Attributes: tt.piece, Look: tt.look})
			if !(got.Hours >= tt.low && got.Hours <= tt.high) {
				t.Errorf("%s, condition %d: %.1f hours, usual are %g to %g", tt.what, condition, got.Hours, tt.low, tt.high)
			}
		}
	}
	// A drawer or door takes 20 to 30 minutes.
	for _, more := range []string{"drawer", "door"} {
		a := dresser
		three, four, none := 3, 4, 0
		a.Drawers, a.Doors = &three, &none
		before := shop.Estimate(Job{Attributes: a, Look: painted}).Hours
		if a.Drawers = &four; more == "door" {
			one := 1
			a.Drawers, a.Doors = &three, &one
		}
		if got := 60 * (shop.Estimate(Job{Attributes: a, Look: painted}).Hours - before); got < 20 || got > 45 {
			t.Errorf("one more %s takes %.0f minutes", more, got)
		}
	}
}

// stepsOf writes the plan of each part on a line.
func stepsOf(w Work) string {
	var out []string
	for _, s := range w.Steps {
		line := s.Name
		if s.Parts != nil {
			line += " [" + strings.Join(s.Parts, " ") + "]"
		}
		if s.Grits != "" {
			line += " " + s.Grits
		}
		if s.Coats > 0 {
			line += fmt.Sprintf(" %d × %s", s.Coats, s.Product)
		}
		out = append(out, line)
	}
	return strings.Join(out, "\n")
}

// A stripped clear top and a painted body are two plans on one piece, which dry
// side by side. Grits, coats and drying: common practice, no source.
func TestTwoPlansOnOnePiece(t *testing.T) {
	a := inches("nightstand", 22, 16, 26)
	a.Wood, a.Condition, a.Finish = "maple", 5, "stained"
	w := shop.Estimate(Job{Attributes: a, Look: Look{Finish: "two_tone", Color: "navy"}})
	want := `clean, remove and number drawers and hardware 1 × cleaner
ease drawer edges, runners and hinges
mask edges and drawer boxes
strip [top] 1 × stripper
sand bare wood [top] 80-100, 120, 180-220
clear coats [top] 320-400 3 × water_clear
scuff sand [sides drawer_fronts front legs] 180-220
color [sides drawer_fronts front legs] 220-320 2 × paint
clear coats [sides drawer_fronts front legs] 320-400 2 × water_clear
clean, polish, paint or replace hardware
unmask, wax and reassemble`
	if got := stepsOf(w); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if want := 12.0 + 3*2; w.DryHours != want { // of the top; the body dries meanwhile: 2·3 + 2·2
		t.Errorf("dries %g hours, want %g", w.DryHours, want)
	}
	legs := shop.Estimate(Job{Attributes: a, Look: Look{Finish: "two_tone", Color: "navy", SecondFinish: "oiled", SecondPart: PartLegs}})
	if got := stepsOf(legs); !strings.Contains(got, "oil [legs] 220-320 2 × oil") || strings.Contains(got, "clear coats [legs]") {
		t.Errorf("oiled legs:\n%s", got)
	}
	same := shop.Estimate(Job{Attributes: a, Look: Look{Finish: "two_tone", Color: "navy", SecondFinish: "painted", SecondColor: "navy"}})
	if got := stepsOf(same); strings.Count(got, "color [") != 2 {
		t.Errorf("both parts painted alike:\n%s", got)
	}
	frame := shop.Estimate(Job{Attributes: inches("mirror", 28, 2, 40), Look: Look{Finish: "two_tone", Color: "navy"}})
	if !slices.ContainsFunc(frame.Warnings, func(w Warning) bool { return w.Code == "one_part" }) {
		t.Errorf("a frame has one part: %+v", frame.Warnings)
	}
}

// coatsOf is the number of coats of a product in a plan.
func coatsOf(w Work, product string) (n int) {
	for _, s := range w.Steps {
		if s.Product == product {
			n += s.Coats
		}
	}
	return n
}

// Coats by finish, color, wood and method. Common practice, no source.
func TestCoats(t *testing.T) {
	for _, tt := range []struct {
		what                      string
		wood, material, present   string
		look                      Look
		method                    string
		prime, block, paint, coat int
	}{
		{"sound finish", "maple", "solid_wood", "clear", Look{Finish: "painted", Color: "navy"}, "", 0, 0, 2, 2},
		{"white", "maple", "solid_wood", "clear", Look{Finish: "painted", Color: "white"}, "", 0, 0, 3, 2},
		{"sprayed", "maple", "solid_wood", "clear", Look{Finish: "painted", Color: "navy"}, MethodSpray, 0, 0, 3, 2},
		{"bare wood", "maple", "solid_wood", "raw", Look{Finish: "painted", Color: "navy"}, "", 1, 0, 2, 2},
		{"laminate", "", "laminate", "original", Look{Finish: "painted", Color: "navy"}, "", 1, 0, 2, 2},
		{"oak under pale", "oak", "solid_wood", "clear", Look{Finish: "painted", Color: "off_white"}, "", 0, 1, 2, 2},
		{"oak under dark", "oak", "solid_wood", "clear", Look{Finish: "painted", Color: "navy"}, "", 0, 0, 2, 2},
		{"knots under dark", "knotty_pine", "solid_wood", "clear", Look{Finish: "painted", Color: "navy"}, "", 0, 1, 2, 2},
		{"knots under white", "knotty_pine", "solid_wood", "clear", Look{Finish: "painted", Color: "white"}, "", 0, 2, 3, 2},
		{"clear", "oak", "solid_wood", "painted", Look{Finish: "clear"}, "", 0, 0, 0, 3},
		{"stained", "oak", "solid_wood", "painted", Look{Finish: "stained", Color: "dark_wood"}, "", 0, 0, 0, 2},
		{"raw", "oak", "solid_wood", "painted", Look{Finish: "raw"}, "", 0, 0, 0, 0},
		{"no topcoat", "maple", "solid_wood", "clear", Look{Finish: "painted", Color: "navy", Topcoat: "none"}, "", 0, 0, 2, 0},
	} {
		a := inches("dresser", 54, 19, 33)
		a.Wood, a.Material, a.Finish = tt.wood, tt.material, tt.present
		w := shop.Estimate(Job{Attributes: a, Look: tt.look, Method: tt.method})
		got := []int{coatsOf(w, ProductPrimer), coatsOf(w, ProductStainBlocker), coatsOf(w, ProductPaint), coatsOf(w, ProductWaterClear)}
		if want := []int{tt.prime, tt.block, tt.paint, tt.coat}; w.Refusal != nil || !slices.Equal(got, want) {
			t.Errorf("%s: primer, blocker, paint, clear %v, want %v (%v)", tt.what, got, want, w.Refusal)
		}
	}
}

// Days are the longer of drying and hours at so many a week; damp doubles
// drying; below 10 °C nothing water-based is done.
func TestDaysOut(t *testing.T) {
	a := inches("dresser", 54, 19, 33)
	painted := Job{Attributes: a, Look: Look{Finish: "painted", Color: "navy"}, HoursAWeek: 5}
	w := shop.Estimate(painted)
	if want := int(math.Ceil(w.Hours / 5 * 7)); w.DaysOut != want || w.DryHours >= 24*float64(want) {
		t.Errorf("%.1f hours at 5 a week: %d days, want %d", w.Hours, w.DaysOut, want)
	}
	oiled := Job{Attributes: inches("mirror", 28, 2, 40), Look: Look{Finish: "oiled"}, HoursAWeek: 40}
	w = shop.Estimate(oiled)
	if want := 12.0 + 2*24; w.DryHours != want || w.DaysOut != 3 {
		t.Errorf("dries %g hours, %d days; want %g, 3", w.DryHours, w.DaysOut, want)
	}
	oiled.Given = map[string]float64{"damp": 1}
	if damp := shop.Estimate(oiled); damp.DryHours != 2*w.DryHours {
		t.Errorf("damp: %g hours, dry %g", damp.DryHours, w.DryHours)
	}
	painted.Given = map[string]float64{"temperature": 8}
	if cold := shop.Estimate(painted); cold.Refusal == nil || cold.Refusal.Reason != TooCold {
		t.Errorf("paint at 8 °C: %+v", cold.Refusal)
	}
	oiled.Given = map[string]float64{"temperature": 8}
	if cold := shop.Estimate(oiled); cold.Refusal != nil {
		t.Errorf("oil at 8 °C: %+v", cold.Refusal)
	}
	for _, hours := range []float64{-1, math.NaN(), math.Inf(1), 169} {
		painted.HoursAWeek = hours
		if got := shop.Estimate(painted); got.Refusal == nil || got.Refusal.Reason != WorkImpossible {
			t.Errorf("%g hours a week: %+v", hours, got)
		}
	}
}

// The film that a caller asks for decides how much paint it takes.
func TestFilmDecides(t *testing.T) {
	j := Job{Attributes: inches("sideboard", 60, 18, 36), Look: Look{Finish: "painted", Color: "navy"}, Given: map[string]float64{"volume_solids": 0.35, "dry_film": 1.5 * MicrometresPerMil}}
	w := shop.Estimate(j)
	want := Litres(w.Area, 2, 1000*0.35/(1.5*25.4), 0.95)
	for _, p := range w.Products {
		if p.Name == ProductPaint {
			reference.WantRel(t, "litres of paint", p.Amount, want, 1e-12)
		}
	}
	if !containsAssumption(w.Assumptions, Assumption{Name: "dry_film", Value: 1.5 * MicrometresPerMil, Unit: "µm", Basis: "given"}) {
		t.Errorf("%+v", w.Assumptions)
	}
}

func TestMissingPricesAreNamed(t *testing.T) {
	w := Workshop{Prices: []Price{{Product: ProductPaint, Money: 900, Size: 1, Basis: "group"}}}
	got := w.Estimate(Job{Attributes: inches("dresser", 54, 19, 33), Look: Look{Finish: "painted", Color: "navy"}})
	if got.Refusal == nil || got.Refusal.Reason != PriceUnknown || !strings.Contains(got.Refusal.Detail, "water clear") || strings.Contains(got.Refusal.Detail, " paint") {
		t.Errorf("%+v", got.Refusal)
	}
	if got.Hours < 5 || len(got.Steps) == 0 {
		t.Errorf("the work is told all the same: %+v", got)
	}
	for _, p := range DefaultPrices(true) {
		if p.Basis != CommonPractice || !(p.Money > 0) || !(p.Size > 0) {
			t.Errorf("%+v", p)
		}
	}
}

// drawJob draws any work on any piece.
func drawJob(t *rapid.T) Job {
	length := rapid.Custom(func(t *rapid.T) float64 {
		if rapid.IntRange(0, 4).Draw(t, "known") == 0 {
			return 0
		}
		return rapid.Float64Range(1, 400).Draw(t, "cm")
	})
	word := func(name string, from ...string) string { return rapid.SampledFrom(from).Draw(t, name) }
	j := Job{Attributes: furniture.Attributes{
		Category: word("category", append(slices.Sorted(maps.Keys(builds)), "harmonium", "")...), SetSize: rapid.IntRange(0, 8).Draw(t, "set"),
		Width: length.Draw(t, "width"), Depth: length.Draw(t, "depth"), Height: length.Draw(t, "height"), Condition: rapid.IntRange(0, 5).Draw(t, "condition"),
		Material: word("material", "", "solid_wood", "veneer", "laminate", "glass", "upholstered"), Wood: word("wood", "", "oak", "pine", "teak"),
		Finish: word("present", "", "original", "painted", "clear", "raw"),
	}}
	j.Look = Look{Finish: word("finish", "painted", "clear", "stained", "oiled", "waxed", "raw", "two_tone", "distressed", "whitewashed", "cleaned"), Color: word("color", "", "white", "navy", "red")}
	j.Method = word("method", Methods...)
	if n := rapid.IntRange(-1, 12).Draw(t, "drawers"); n >= 0 {
		j.Drawers = &n
	}
	return j
}

// Whatever the piece: figures are finite and not negative, hours and materials
// are the sums of their steps and products, more of a set takes more, and the
// same question gives the same answer.
func TestEstimateLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJob(t)
		w := shop.Estimate(j)
		if found := probe.NonFinite("Work", reflect.ValueOf(w)); found != "" {
			t.Fatal(found)
		}
		if w.Refusal != nil {
			if w.Refusal.Detail == "" {
				t.Errorf("refused without a word: %+v", w.Refusal)
			}
			return
		}
		hours, materials := 0.0, 0.0
		for _, s := range w.Steps {
			if s.Hours < 0 || s.Dry < 0 {
				t.Errorf("%+v", s)
			}
			hours += s.Hours
		}
		for _, p := range w.Products {
			if p.Amount <= 0 || p.Cost < 0 || p.ToBuy < p.Cost-1e-9 || float64(p.Containers)*p.Size < p.Amount-1e-9 {
				t.Errorf("%+v", p)
			}
			materials += p.Cost
		}
		if !probe.Near(hours, w.Hours, 9) || !probe.Near(materials, w.Materials, 9) || w.Hours <= 0 || w.DaysOut < 1 {
			t.Errorf("%+v", w)
		}
		if !reflect.DeepEqual(w, shop.Estimate(j)) {
			t.Error("the same question, another answer")
		}
		j.SetSize = int(j.Count()) + 1
		if more := shop.Estimate(j); more.Hours <= w.Hours || more.Materials <= w.Materials {
			t.Errorf("one more of a set: %g hours instead of %g", more.Hours, w.Hours)
		}
		slow := shop
		slow.Hours, slow.Materials = Ratio{Value: 1.5, Pieces: 9}, Ratio{Value: 0.5, Pieces: 9}
		j.SetSize--
		if got := slow.Estimate(j); !probe.Near(got.Hours, 1.5*w.Hours, 9) || !probe.Near(got.Materials, 0.5*w.Materials, 9) || got.ToBuy != w.ToBuy {
			t.Errorf("with a record: %+v", got)
		}
	})
}

func TestLearnRatio(t *testing.T) {
	repeat := func(n int, estimated, actual float64) []Logged {
		return slices.Repeat([]Logged{{estimated, actual}}, n)
	}
	for _, tt := range []struct {
		name   string
		pieces []Logged
		want   Ratio
	}{
		{"nothing", nil, Ratio{1, 0}},
		{"too few", repeat(4, 5, 10), Ratio{1, 4}},
		{"five, half believed", repeat(5, 5, 10), Ratio{math.Sqrt2, 5}},
		{"many, nearly believed", repeat(95, 5, 10), Ratio{math.Pow(2, 0.95), 95}},
		{"as estimated", repeat(20, 5, 5), Ratio{1, 20}},
		{"not both figures", append(repeat(5, 5, 10), Logged{0, 3}, Logged{4, 0}, Logged{math.NaN(), 1}), Ratio{math.Sqrt2, 5}},
		{"a slip of the pen", append(repeat(4, 5, 5), Logged{5, 5000}), Ratio{math.Pow(4, 0.1), 5}},
	} {
		got := LearnRatio(tt.pieces)
		if got.Pieces != tt.want.Pieces || !probe.Near(got.Value, tt.want.Value, 12) {
			t.Errorf("%s: %+v, want %+v", tt.name, got, tt.want)
		}
	}
}

// odd is any piece, however absurd.
func odd(t *probe.Tape) furniture.Attributes {
	return furniture.Attributes{
		Category: t.Word(), SetSize: t.Byte() - 5, Width: t.Number(), Depth: t.Number(), Height: t.Number(),
		Material: t.Word(), Wood: t.Word(), Condition: t.Byte()%8 - 1,
		Finish: t.Word(), Color: t.Word(), Hardware: t.Word(),
	}
}

// FuzzEstimate asks for any work, however absurd: it is refused in words or
// finite.
func FuzzEstimate(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte("a dresser of six drawers with a stripped top and a body in navy"))
	f.Fuzz(func(t *testing.T, data []byte) {
		read := probe.Tape(data)
		j := Job{Attributes: odd(&read), HoursAWeek: read.Number(), Given: map[string]float64{}}
		from := func(words []string) string { return words[read.Byte()%len(words)] }
		j.Category = from(append(slices.Sorted(maps.Keys(builds)), ""))
		j.Look = Look{Finish: from(append(slices.Concat(woodLooks, paintLooks), "cleaned", "original", "")), Color: from([]string{"", "white", "navy"})}
		j.Look.SecondFinish, j.Look.SecondPart = from([]string{"", "oiled", "painted", "odd"}), from([]string{"", PartLegs, "odd"})
		j.Method = from(append(Methods, "", "odd"))
		for range read.Byte() % 5 {
			j.Given[from(append(AssumptionNames(), "odd"))] = read.Number()
		}
		n := read.Byte() - 100
		j.Drawers, j.Doors = &n, &n
		w := shop.Estimate(j)
		if found := probe.NonFinite("Work", reflect.ValueOf(w)); found != "" && !math.IsNaN(j.HoursAWeek) && !math.IsInf(j.HoursAWeek, 0) {
			t.Error(found)
		}
		if w.Refusal != nil && w.Refusal.Detail == "" || w.Refusal == nil && !(w.Hours > 0 && w.Area > 0) {
			t.Errorf("%+v", w)
		}
	})
}
