package advice_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

// finished are n rows of painted nightstands with the hours and materials that
// they took.
func finished(n int, ref string, hours, materials float64) string {
	rows := "ref,category,width,depth,height,material,wood,condition,finish,color,listed_on,ask,hours,materials_cost\n"
	for i := range n {
		rows += fmt.Sprintf("%s-%d,nightstand,22,16,26,solid_wood,maple,good,painted,navy,2026-02-01,90,%.2f,%.2f\n", ref, i, hours, materials)
	}
	return rows
}

func importAll(t *testing.T, f *servicetest.Fixture, member, rows string) {
	t.Helper()
	got, err := f.Recording.Import(t.Context(), f.Actor(t, member), servicetest.Rows(t, rows), recording.ImportOptions{Atomic: true})
	if err != nil || got.NothingLanded {
		t.Fatalf("%+v, %v", got, err)
	}
}

// A member's own pieces correct the estimates, from five on; nobody else's do.
func TestWorkshopLearnsFromItsOwnMember(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin", "Tamsin")
	plan := advice.Plan{Finish: "painted", Color: "navy"}
	usual, err := servicetest.Workshop(t, f, "Wilda").Estimate(servicetest.Nightstand(), plan)
	if err != nil || usual.Work.Refusal != nil || usual.Work.HoursRatio.Pieces != 0 {
		t.Fatalf("%+v, %v", usual, err)
	}
	importAll(t, f, "Wilda", finished(4, "W", 2*usual.Hours, 10))
	if got := servicetest.Workshop(t, f, "Wilda").Hours; got != (refinish.Ratio{Value: 1, Pieces: 4}) {
		t.Errorf("four pieces: %+v", got)
	}
	importAll(t, f, "Wilda", finished(1, "X", 2*usual.Hours, 10))
	importAll(t, f, "Orrin", finished(9, "O", usual.Hours/2, 40))
	learned, err := servicetest.Workshop(t, f, "Wilda").Estimate(servicetest.Nightstand(), plan)
	if err != nil || learned.Work.HoursRatio.Pieces != 5 || math.Abs(learned.Hours/usual.Hours-math.Sqrt2) > 0.01 {
		t.Errorf("five pieces of twice the hours: %.2f hours, usual %.2f (%+v, %v)", learned.Hours, usual.Hours, learned.Work.HoursRatio, err)
	}
	if ratio := 10 / usual.Materials.Major(usd); math.Abs(learned.Work.CostRatio.Value-math.Sqrt(ratio)) > 0.01 {
		t.Errorf("materials ratio %+v, want the root of %.3f", learned.Work.CostRatio, ratio)
	}
	if got := servicetest.Workshop(t, f, "Orrin").Hours; got.Pieces != 9 || got.Value >= 1 {
		t.Errorf("Orrin's own: %+v", got)
	}
	if got := servicetest.Workshop(t, f, "Tamsin").Hours; got != (refinish.Ratio{Value: 1}) {
		t.Errorf("Tamsin has no pieces, yet %+v", got)
	}
}

var usd, _ = service.CurrencyByCode("USD")

// Quotes of the group override hours, materials and days; cautions follow the
// steps and change no figure.
func TestWorkshopQuotesAndCautions(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	admin := f.Actor(t, "Wilda")
	if _, err := f.Members.UpdateGroup(t.Context(), admin, func(g *service.Group) error {
		g.RefinishOptions = []service.RefinishOption{{Finish: "Waxed", Materials: 900, Hours: 2.5, DaysOut: 3}}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	w := servicetest.Workshop(t, f, "Wilda")
	for _, tt := range []struct {
		year   int
		plan   advice.Plan
		quoted bool
		codes  string
	}{
		{0, advice.Plan{Finish: "waxed"}, true, "lead stripper rags"},
		{1950, advice.Plan{Finish: "painted", Color: "navy"}, false, "lead"},
		{1995, advice.Plan{Finish: "painted", Color: "navy"}, false, ""},
		{1995, advice.Plan{Finish: "painted", Color: "navy", Method: "spray"}, false, "spraying"},
		{1995, advice.Plan{Finish: "stained"}, false, "stripper rags"},
		{1950, advice.Plan{Finish: "cleaned"}, false, "rags"},
	} {
		l := servicetest.Nightstand()
		l.YearMade = tt.year
		got, err := w.Estimate(l, tt.plan)
		if err != nil || got.Work.Refusal != nil || got.Quoted != tt.quoted {
			t.Fatalf("%+v: %+v, %v", tt.plan, got, err)
		}
		if tt.quoted && (got.Materials != 900 || got.Hours != 2.5 || got.DaysOut != 3) {
			t.Errorf("quoted: %s, %g hours, %d days", got.Materials.Format(usd), got.Hours, got.DaysOut)
		}
		var codes []string
		for _, c := range got.Cautions {
			codes = append(codes, c.Code)
		}
		if strings.Join(codes, " ") != tt.codes {
			t.Errorf("%d, %+v: cautions %v, want %s", tt.year, tt.plan, codes, tt.codes)
		}
	}
	old, recent := servicetest.Nightstand(), servicetest.Nightstand()
	old.YearMade, recent.YearMade = 1950, 1995
	a, _ := w.Estimate(old, advice.Plan{Finish: "clear"})
	b, _ := w.Estimate(recent, advice.Plan{Finish: "clear"})
	if a.Hours != b.Hours || a.Materials != b.Materials || len(a.Cautions) == len(b.Cautions) {
		t.Error("a caution changes a figure, or does not come")
	}
}

// Rough shop prices fill in for what the group has no price of, where there
// are such in its currency; the group's own come first.
func TestMaterialPrices(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	g := f.Actor(t, "Wilda").Group
	before := g.Prices()
	if len(before) != len(refinish.ProductNames()) || slices.ContainsFunc(before, func(p service.MaterialPrice) bool { return !p.Default }) {
		t.Errorf("%+v", before)
	}
	changed, err := f.Members.UpdateGroup(t.Context(), f.Actor(t, "Wilda"), func(g *service.Group) error {
		g.MaterialPrices = append(slices.Clone(before), service.MaterialPrice{Product: "Paint", Price: 5200, Size: 1, Unit: "gal"})
		return nil
	})
	if err != nil || len(changed.MaterialPrices) != 1 || changed.MaterialPrices[0].Product != "paint" {
		t.Fatalf("%+v, %v", changed, err)
	}
	dear, err := servicetest.Workshop(t, f, "Wilda").Estimate(servicetest.Nightstand(), advice.Plan{Finish: "painted", Color: "navy"})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range dear.Work.Products {
		if p.Name == refinish.ProductPaint && (p.Basis != "group" || p.ToBuy != 52 || math.Abs(p.Size-3.785411784) > 1e-12) {
			t.Errorf("the group's own paint: %+v", p)
		}
		if p.Name == refinish.ProductTape && p.Basis != refinish.CommonPractice {
			t.Errorf("tape: %+v", p)
		}
	}
	jpy, _ := service.CurrencyByCode("JPY")
	if _, err := f.Members.UpdateGroup(t.Context(), f.Actor(t, "Wilda"), func(g *service.Group) error { g.Currency = jpy; return nil }); !errors.Is(err, service.ErrConflict) {
		t.Errorf("another currency with a price on file: %v", err)
	}
	if yen := service.NewGroup("Yen", jpy); len(yen.Prices()) != 0 {
		t.Errorf("rough prices in yen: %+v", yen.Prices())
	}
	for _, bad := range []struct {
		price  service.MaterialPrice
		reason string
	}{
		{service.MaterialPrice{Product: "pant", Price: 1, Size: 1, Unit: "qt"}, "did you mean paint"},
		{service.MaterialPrice{Product: "paint", Price: 1, Size: 1, Unit: "sheet"}, "expected gal, qt"},
		{service.MaterialPrice{Product: "tape", Price: 1, Size: 1, Unit: "l"}, "expected roll"},
		{service.MaterialPrice{Product: "paint", Price: 1, Size: 0, Unit: "l"}, "container"},
		{service.MaterialPrice{Product: "paint", Price: 1, Size: math.NaN(), Unit: "l"}, "container"},
		{service.MaterialPrice{Product: "paint", Price: -1, Size: 1, Unit: "l"}, "negative"},
	} {
		_, err := f.Members.UpdateGroup(t.Context(), f.Actor(t, "Wilda"), func(g *service.Group) error {
			g.MaterialPrices = []service.MaterialPrice{bad.price}
			return nil
		})
		var wrong *service.InvalidError
		if !errors.As(err, &wrong) || wrong.Fields[0].Column != "material_prices" || !strings.Contains(err.Error(), bad.reason) {
			t.Errorf("%+v: %v, want %q", bad.price, err, bad.reason)
		}
	}
}

// The same piece in inches and in centimetres takes the same work, told in the
// group's own units.
func TestEstimatesInTheGroupsUnits(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	us, err := servicetest.Workshop(t, f, "Wilda").Estimate(servicetest.Nightstand(), advice.Plan{Finish: "painted", Color: "navy", Assumptions: map[string]float64{"leg_height": 6, "temperature": 60, "dry_film": 1.5, "volume_solids": 0.4}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Members.UpdateGroup(t.Context(), f.Actor(t, "Wilda"), func(g *service.Group) error { g.Unit = service.UnitCentimetre; return nil }); err != nil {
		t.Fatal(err)
	}
	metric, err := servicetest.Workshop(t, f, "Wilda").Estimate(servicetest.Nightstand(), advice.Plan{Finish: "painted", Color: "navy", Assumptions: map[string]float64{"leg_height": 15.24, "temperature": 140. / 9, "dry_film": 38.1, "volume_solids": 0.4}})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(us.Work.Area-metric.Work.Area) > 1e-9 || math.Abs(us.Hours-metric.Hours) > 1e-9 || len(us.Work.Products) != len(metric.Work.Products) {
		t.Errorf("%g m² and %g hours, in metric %g and %g", us.Work.Area, us.Hours, metric.Work.Area, metric.Hours)
	}
	for i, p := range us.Work.Products {
		if math.Abs(p.Amount-metric.Work.Products[i].Amount) > 1e-9 {
			t.Errorf("%s: %g L, in metric %g", p.Name, p.Amount, metric.Work.Products[i].Amount)
		}
	}
	g := f.Actor(t, "Wilda").Group
	if v, unit := g.InUnit(2, "L"); v != 2 || unit != "L" {
		t.Errorf("%g %s", v, unit)
	}
	g.Unit = service.UnitInch
	for _, tt := range []struct {
		x    float64
		unit string
		want float64
		name string
	}{{0.946352946, "L", 1, "qt"}, {2.54, "cm", 1, "in"}, {0.09290304, "m2", 1, "ft2"}, {21, "°C", 69.8, "°F"}, {25.4, "µm", 1, "mil"}, {3, "sheet", 3, "sheet"}} {
		if v, unit := g.InUnit(tt.x, tt.unit); math.Abs(v-tt.want) > 1e-12 || unit != tt.name {
			t.Errorf("%g %s: %g %s, want %g %s", tt.x, tt.unit, v, unit, tt.want, tt.name)
		}
	}
}
