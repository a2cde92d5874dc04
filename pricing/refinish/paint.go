package refinish

import (
	"cmp"
	"math"
	"slices"
)

// Exact, from the inch of 25.4 mm and the U.S. gallon of 231 cubic inches.
const (
	litresPerGallon           = 3.785411784
	litresPerQuart            = litresPerGallon / 4
	squareMetresPerSquareFoot = 0.09290304
	// MicrometresPerMil is the thousandth of an inch in micrometres.
	MicrometresPerMil = 25.4
)

// SquareMetresPerLitre turns a spread rate in square feet per U.S. gallon into
// square metres per litre.
func SquareMetresPerLitre(squareFeetPerGallon float64) float64 {
	return squareFeetPerGallon * squareMetresPerSquareFoot / litresPerGallon
}

// SpreadRate is the theoretical spread rate in square metres per litre of a
// coating with a share of solids by volume, at a dry film in micrometres:
//
//	spread = 1000 · solids / film
//
// which is 231/144/0.001 = 1604.2 square feet per U.S. gallon at one mil.
func SpreadRate(volumeSolids, dryFilm float64) float64 {
	if !(dryFilm > 0) || !(volumeSolids > 0) {
		return 0
	}
	return 1000 * volumeSolids / dryFilm
}

// Litres is how much of a coating an area takes: area · coats / (spread rate ·
// transfer efficiency), in square metres and square metres per litre.
func Litres(area float64, coats int, spreadRate, transfer float64) float64 {
	if !(spreadRate > 0) || !(transfer > 0) {
		return 0
	}
	return area * float64(coats) / (spreadRate * transfer)
}

// Methods of putting a coating on.
const (
	MethodBrush  = "brush"
	MethodRoller = "roller"
	MethodSpray  = "spray"
)

// Methods lists all.
var Methods = []string{MethodBrush, MethodRoller, MethodSpray}

// transferOf is the share of the coating that reaches the piece. Brush and
// roller: common practice, no source. Low-pressure spray: the least that the
// South Coast Air Quality Management District's rules ask of it.
func transferOf(method string) float64 {
	if method == MethodSpray {
		return 0.65
	}
	return 0.95
}

// Products that estimates buy.
const (
	ProductCleaner      = "cleaner"
	ProductFiller       = "filler"
	ProductStripper     = "stripper"
	ProductSandpaper    = "sandpaper"
	ProductTape         = "tape"
	ProductPrimer       = "primer"
	ProductStainBlocker = "stain_blocker"
	ProductPaint        = "paint"
	ProductStain        = "stain"
	ProductOil          = "oil"
	ProductWax          = "wax"
	ProductWaterClear   = "water_clear"
	ProductOilClear     = "oil_clear"
	ProductLacquer      = "lacquer"
	ProductShellac      = "shellac"
)

// product is what is known of one product beforehand.
type product struct {
	unit    string  // "L", "sheet" or "roll"
	spread  float64 // ft²/gal, of a coating
	dry     float64 // hours until the next coat at 21 °C and 50 % humidity
	isWater bool    // not below 10 °C
	price   float64 // US dollars a container
	size    float64 // of the container, in unit; litres of a quart where zero
}

// products: spread rates, drying and prices are common practice, no source.
// Prices are rough shop prices in US dollars.
var products = map[string]product{
	ProductCleaner:      {"L", 1000, 0, false, 8, 0},
	ProductFiller:       {"L", 0, 2, false, 9, litresPerQuart / 4},
	ProductStripper:     {"L", 150, 12, false, 22, 0}, // the wood dries overnight after the wash
	ProductSandpaper:    {"sheet", 0, 0, false, 1, 1},
	ProductTape:         {"roll", 0, 0, false, 7, 1},
	ProductPrimer:       {"L", 350, 3, true, 18, 0},
	ProductStainBlocker: {"L", 350, 1, false, 24, 0},
	ProductPaint:        {"L", 375, 3, true, 26, 0},
	ProductStain:        {"L", 550, 48, false, 14, 0},
	ProductOil:          {"L", 500, 24, false, 30, 0},
	ProductWax:          {"L", 1100, 1, false, 20, litresPerQuart / 2},
	ProductWaterClear:   {"L", 500, 2, true, 27, 0},
	ProductOilClear:     {"L", 500, 14, false, 24, 0},
	ProductLacquer:      {"L", 500, 1, false, 26, 0},
	ProductShellac:      {"L", 500, 1, false, 28, 0},
}

// ProductNames lists all products.
func ProductNames() []string {
	names := make([]string, 0, len(products))
	for name := range products {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// ProductUnit is "L", "sheet" or "roll"; false for a name that is not known.
func ProductUnit(name string) (string, bool) {
	p, ok := products[name]
	return p.unit, ok
}

// Price is what one container of a product costs.
type Price struct {
	Product string
	Money   float64
	Size    float64 // litres; sheets or rolls
	Basis   string  // "group", or CommonPractice
}

// DefaultPrices are rough shop prices in US dollars, in quarts or in litres.
func DefaultPrices(metric bool) []Price {
	out := make([]Price, 0, len(products))
	for _, name := range ProductNames() {
		p := products[name]
		size := cmp.Or(p.size, litresPerQuart)
		if metric && p.unit == "L" {
			size = math.Round(size/litresPerQuart*100) / 100
		}
		out = append(out, Price{Product: name, Money: p.price, Size: size, Basis: CommonPractice})
	}
	return out
}

// Product is how much of something the work takes.
type Product struct {
	Name       string
	Amount     float64 // litres, sheets or rolls
	Unit       string  // "L", "sheet", "roll"
	Coats      int     // of a coating
	Containers int     // whole ones to buy
	Size       float64 // of a container, in Unit
	ToBuy      float64 // money, whole containers
	Cost       float64 // money, the share used
	Priced     bool    // there is a price
	Basis      string  // of the price
}

// cabinet is what the work has taken so far.
type cabinet map[string]*Product

func (c cabinet) take(name string, amount float64, coats int) {
	if !(amount > 0) {
		return
	}
	p := c[name]
	if p == nil {
		p = &Product{Name: name, Unit: products[name].unit}
		c[name] = p
	}
	p.Amount += amount
	p.Coats = max(p.Coats, coats)
}

// buy prices what was taken: of the sizes on offer the one whose whole
// containers cost least.
func (c cabinet) buy(prices []Price) []Product {
	out := make([]Product, 0, len(c))
	for _, name := range ProductNames() {
		p := c[name]
		if p == nil {
			continue
		}
		for _, price := range prices {
			if price.Product != name || !(price.Size > 0) || !(price.Money >= 0) {
				continue
			}
			n := math.Ceil(p.Amount/price.Size - 1e-9)
			if cost := n * price.Money; !p.Priced || cost < p.ToBuy {
				p.Priced, p.Containers, p.Size, p.ToBuy = true, int(n), price.Size, cost
				p.Cost, p.Basis = p.Amount/price.Size*price.Money, price.Basis
			}
		}
		out = append(out, *p)
	}
	return out
}
