package refinish

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/internal/probe"
	"askwright/pricing/internal/reference"
)

// Spread rates, wet films and quantities against the published figures of
// testdata/paint.json: Joseph 2003, two manufacturers' sheets.
func TestPaintArithmetic(t *testing.T) {
	var file struct {
		Source string
		Cases  struct {
			Constant struct {
				Exact float64 `json:"ft2_mil_per_gallon"`
			}
			Theoretical []struct {
				Gallons, Litres float64
				Solids          float64  `json:"volume_solids"`
				Transfer        float64  `json:"transfer_efficiency"`
				Mil             float64  `json:"dry_film_mil"`
				Micrometres     float64  `json:"dry_film_um"`
				Feet            float64  `json:"area_ft2"`
				Metres          float64  `json:"area_m2"`
				Printed         *float64 `json:"published_ft2"`
				PrintedMetres   *float64 `json:"published_m2"`
				Where           string
			}
			WetFilm []struct {
				Mil     float64 `json:"dry_film_mil"`
				Solids  float64 `json:"volume_solids"`
				Thinner float64
				Wet     float64  `json:"wet_film_mil"`
				Printed *float64 `json:"published"`
				Where   string
			} `json:"wet_film"`
			Quantity []struct {
				Feet    float64 `json:"area_ft2"`
				Coats   int
				Rate    float64 `json:"coverage_ft2_per_gallon"`
				Waste   float64
				Gallons float64
				Quarts  float64 `json:"us_quarts"`
				Where   string
			}
			Ranges struct {
				New, Weathered, Repainted [][2]float64
			} `json:"practical_ranges_wood_ft2_per_gallon"`
		}
	}
	reference.Read(t, "paint.json", &file)
	t.Log(file.Source)
	const perGallon = litresPerGallon / squareMetresPerSquareFoot // ft²/gal in m²/L
	reference.WantRel(t, "ft²·mil a gallon", SpreadRate(1, MicrometresPerMil)*perGallon, file.Cases.Constant.Exact, 1e-12)
	for _, c := range file.Cases.Theoretical {
		if c.Litres > 0 {
			metres := c.Litres * c.Transfer * SpreadRate(c.Solids, c.Micrometres)
			reference.WantRel(t, c.Where, metres, c.Metres, 1e-12)
			reference.WantPrinted(t, c.Where, metres, *c.PrintedMetres, 1)
			continue
		}
		feet := c.Gallons * c.Transfer * SpreadRate(c.Solids, c.Mil*MicrometresPerMil) * perGallon
		reference.WantRel(t, c.Where, feet, c.Feet, 1e-12)
		// The sheets round the constant to 1604, 0.01 % less.
		reference.WantRel(t, c.Where+", printed", feet, *c.Printed, 0.005)
	}
	for _, c := range file.Cases.WetFilm {
		// A litre on so many square metres, with the thinner in it.
		wet := 1000 / SpreadRate(c.Solids, c.Mil*MicrometresPerMil) * (1 + c.Thinner) / MicrometresPerMil
		reference.WantRel(t, c.Where, wet, c.Wet, 1e-12)
		if c.Printed != nil {
			reference.WantPrinted(t, c.Where, wet, *c.Printed, 0)
		}
	}
	for _, c := range file.Cases.Quantity {
		litres := Litres(c.Feet*squareMetresPerSquareFoot, c.Coats, SquareMetresPerLitre(c.Rate), 1-c.Waste)
		reference.WantRel(t, c.Where, litres/litresPerGallon, c.Gallons, 1e-12)
		reference.WantRel(t, c.Where, litres/litresPerQuart, c.Quarts, 1e-12)
	}
	// The paint's spread rate lies in the Army's ranges for wood, those of all
	// its conditions taken together (TM 43-0139, table 3-2).
	low, high := math.Inf(1), 0.0
	for _, ranges := range [][][2]float64{file.Cases.Ranges.New, file.Cases.Ranges.Weathered, file.Cases.Ranges.Repainted} {
		for _, r := range ranges {
			low, high = min(low, r[0]), max(high, r[1])
		}
	}
	if rate := products[ProductPaint].spread; rate < low || rate > high {
		t.Errorf("paint covers %g ft²/gal; the Army has %g to %g", rate, low, high)
	}
}

// Constants against 24 FR 5348 (1959), NIST SP 811 and Handbook 44
// (testdata/units.json).
func TestUnits(t *testing.T) {
	var file struct {
		Source string
		Cases  struct{ Exact map[string]string }
	}
	reference.Read(t, "units.json", &file)
	t.Log(file.Source)
	for name, got := range map[string]float64{
		"us_gallon_litres": litresPerGallon, "us_quart_litres": litresPerQuart, "square_foot_m2": squareMetresPerSquareFoot, "mil_um": MicrometresPerMil,
	} {
		want, err := strconv.ParseFloat(file.Cases.Exact[name], 64)
		if err != nil || got != want {
			t.Errorf("%s: got %.12g, published %s", name, got, file.Cases.Exact[name])
		}
	}
}

// The shares that reach the piece: low-pressure spray at least 65 % (South
// Coast Air Quality Management District rules); brush and roller 0.95, common
// practice, no source.
func TestTransferEfficiency(t *testing.T) {
	for method, want := range map[string]float64{MethodSpray: 0.65, MethodBrush: 0.95, MethodRoller: 0.95} {
		if got := transferOf(method); got != want {
			t.Errorf("%s: %g, want %g", method, got, want)
		}
	}
}

func TestWholeContainers(t *testing.T) {
	prices := []Price{
		{Product: ProductPaint, Money: 26, Size: litresPerQuart, Basis: "group"},
		{Product: ProductPaint, Money: 60, Size: litresPerGallon, Basis: "group"},
		{Product: ProductWax, Money: 0, Size: 0.4, Basis: "group"}, // a gift
	}
	for _, tt := range []struct {
		quarts      float64
		containers  int
		size        float64
		toBuy, cost float64
	}{
		{0.5, 1, litresPerQuart, 26, 13},
		{1, 1, litresPerQuart, 26, 26},
		{2.1, 1, litresPerGallon, 60, 31.5}, // three quarts are 78
		{4.5, 2, litresPerGallon, 120, 67.5},
	} {
		shelf := cabinet{}
		shelf.take(ProductPaint, tt.quarts*litresPerQuart, 2)
		got := shelf.buy(prices)[0]
		if got.Containers != tt.containers || got.Size != tt.size || got.ToBuy != tt.toBuy || !probe.Near(got.Cost, tt.cost, 9) || !got.Priced {
			t.Errorf("%g quarts: %+v, want %+v", tt.quarts, got, tt)
		}
	}
	shelf := cabinet{}
	shelf.take(ProductWax, 0.1, 1)
	shelf.take(ProductStain, 0.1, 1)
	shelf.take(ProductOil, 0, 1)
	got := shelf.buy(prices)
	if len(got) != 2 || got[0].Name != ProductStain || got[0].Priced || !got[1].Priced || got[1].Containers != 1 {
		t.Errorf("%+v", got)
	}
}

// More coats, a larger area, a lower transfer and a thicker film never take
// less.
func TestQuantitiesGrow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		area := rapid.Float64Range(0.01, 50).Draw(t, "area")
		coats := rapid.IntRange(1, 6).Draw(t, "coats")
		solids := rapid.Float64Range(0.1, 1).Draw(t, "solids")
		film := rapid.Float64Range(10, 300).Draw(t, "film")
		transfer := rapid.Float64Range(0.1, 1).Draw(t, "transfer")
		base := Litres(area, coats, SpreadRate(solids, film), transfer)
		for what, more := range map[string]float64{
			"area": Litres(area*1.1, coats, SpreadRate(solids, film), transfer), "coats": Litres(area, coats+1, SpreadRate(solids, film), transfer),
			"film": Litres(area, coats, SpreadRate(solids, film*1.1), transfer), "losses": Litres(area, coats, SpreadRate(solids, film), transfer*0.9),
		} {
			if !(more > base) || math.IsInf(more, 0) {
				t.Errorf("more %s: %g litres instead of %g", what, more, base)
			}
		}
	})
	for name, got := range map[string]float64{
		"no film": SpreadRate(0.4, 0), "NaN solids": SpreadRate(math.NaN(), 40), "no solids": SpreadRate(0, 40),
		"no spread": Litres(1, 2, 0, 0.9), "no transfer": Litres(1, 2, 9, 0),
	} {
		if got != 0 {
			t.Errorf("%s: %g", name, got)
		}
	}
}
