package refinish

import (
	"math"
	"slices"
	"strings"
)

// layer is one plan on some parts of a piece: a stripped clear top and a
// painted body are two.
type layer struct {
	parts []string // nil: all
	look  Look
	area  float64
	share float64 // of the hours that a coat on the whole piece takes
}

// layers are the plans of a look.
func (p *planner) layers() []layer {
	whole := layer{look: p.look, area: p.work.Area, share: 1}
	if p.look.Finish != "two_tone" {
		return []layer{whole}
	}
	second := p.second()
	isSecond := func(part string) bool { return slices.Contains(second, part) }
	body, part := p.look, p.look
	body.Finish = "painted"
	part.Finish, part.Color = p.look.SecondFinish, p.look.SecondColor
	if part.Finish == "" {
		part.Finish = "clear"
	}
	part.Topcoat = p.job.Look.Topcoat
	if part.Topcoat == "" {
		part.Topcoat = usualTopcoat(part.Finish)
	}
	var out []layer
	for i, l := range []layer{{look: part}, {look: body}} {
		l.parts, l.area = p.named(func(name string) bool { return isSecond(name) == (i == 0) })
		if l.area > 0 {
			l.share = math.Max(l.area/p.work.Area, leastShare)
			out = append(out, l)
		}
	}
	return out
}

// leastShare: brushes are fetched and washed for a small part, too. Common
// practice, no source.
const leastShare = 0.25

// layer adds the steps of one plan and returns the hours that its coats dry.
func (p *planner) layer(l layer) (dry float64) {
	from := len(p.work.Steps)
	switch {
	case showsWood(l.look.Finish):
		p.bareWood(l)
	case l.look.Finish == "cleaned":
		p.coat(l, "touch up and polish", ProductWax, 1)
	default:
		p.paint(l)
	}
	p.clearCoats(l)
	for _, s := range p.work.Steps[from:] {
		dry += s.Dry * math.Max(1, float64(s.Coats))
	}
	return dry
}

// bareWood strips, sands and colors wood that is to show.
func (p *planner) bareWood(l layer) {
	isRaw := p.job.Finish == "raw"
	p.strip(l, 1)
	grits := "80-100, 120, 180-220"
	if isRaw {
		grits = "120, 180-220"
	}
	p.sand(l, "sand bare wood", grits, 2)
	switch l.look.Finish {
	case "stained":
		p.coat(l, "stain", ProductStain, p.coats("color_coats", 1))
	case "oiled":
		p.coat(l, "oil", ProductOil, p.coats("color_coats", 2))
	case "waxed":
		p.coat(l, "wax", ProductWax, p.coats("color_coats", 2))
	case "whitewashed":
		p.coat(l, "wash of thinned paint", ProductPaint, p.coats("color_coats", 1))
	}
}

// strip takes the old finish off. A top takes 2 to 4 hours, the rest 2.5 for
// a square metre.
func (p *planner) strip(l layer, usual float64) {
	if p.job.Finish == "raw" {
		usual = 0
	}
	if p.made.take("strip", usual) == 0 {
		return
	}
	flat := func(name string) bool {
		isFlat := name == PartTop || name == PartSeat || name == PartHeadboard
		return isFlat && (l.parts == nil || slices.Contains(l.parts, name))
	}
	_, top := p.named(flat)
	hours := 2.5 * (l.area - top)
	if top > 0 {
		hours += p.count * spread(2, 4, (top/p.count-0.3)/0.9)
	}
	if top > 0 && top/p.count < 0.3 { // a small top takes its share
		hours -= p.count * 2 * (1 - top/p.count/0.3)
	}
	p.step(Step{
		Name:    "strip",
		Parts:   l.parts,
		Product: ProductStripper,
		Coats:   1,
		Hours:   hours,
		Dry:     products[ProductStripper].dry,
	}, l.area)
}

// paint scuffs or sands, primes where it must and colors.
func (p *planner) paint(l layer) {
	p.strip(l, 0)
	isBare := p.job.Finish == "raw" || p.job.Given["strip"] > 0
	if isBare {
		p.sand(l, "sand bare wood", "80-100, 120, 150", 2)
	} else {
		p.sand(l, "scuff sand", "180-220", 1)
	}
	product, coats := ProductPrimer, 0.0
	switch {
	case l.look.bleeds(p.job.Attributes):
		product, coats = ProductStainBlocker, 1
		if slices.Contains(knotty, p.job.Wood) && isPale(l.look.Color) {
			coats = 2
		}
	case isBare, hasNoWood(p.job.Material):
		coats = 1
	}
	if n := p.coats("prime_coats", coats); n > 0 {
		p.coat(l, "prime", product, n)
	}
	usual := 2.0
	if p.work.Method == MethodSpray || slices.Contains([]string{"white", "red", "yellow"}, l.look.Color) {
		usual = 3
	}
	p.coat(l, "color", ProductPaint, p.coats("color_coats", usual))
	if l.look.Finish == "distressed" {
		p.step(Step{Name: "rub through the edges", Parts: l.parts, Grits: "180-220", Hours: 0.5 * p.count * l.share}, 0)
	}
}

// coats is a number of coats: as given, else the usual one.
func (p *planner) coats(name string, usual float64) int {
	return int(math.Round(p.made.take(name, usual)))
}

// sand adds sanding: once over the piece takes half an hour to an hour and a
// half; a sheet does half a square metre in each grit.
func (p *planner) sand(l layer, name, grits string, times float64) {
	p.step(Step{
		Name:    name,
		Parts:   l.parts,
		Grits:   grits,
		Product: ProductSandpaper,
		Hours:   p.count * times * spread(0.5, 1.5, p.large) * l.share,
	}, 0)
	p.shelf.take(ProductSandpaper, 2*l.area*float64(1+strings.Count(grits, ",")), 0)
}

// coat adds coats with the sanding between them.
func (p *planner) coat(l layer, name, product string, n int) {
	low, high, grits := 0.5, 1.0, "220-320"
	if strings.HasPrefix(name, "clear") {
		low, high, grits = 0.3, 0.7, "320-400"
	}
	if n < 2 {
		grits = ""
	} else {
		p.shelf.take(ProductSandpaper, 0.5*l.area*float64(n-1), 0)
	}
	dry := products[product].dry
	if product == ProductStain && l.look.Topcoat != "water_clear" {
		dry /= 2 // 24 hours unless a water-based clear follows
	}
	p.step(Step{
		Name: name, Parts: l.parts, Grits: grits, Product: product, Coats: n, Dry: dry,
		Hours: p.count * float64(n) * spread(low, high, p.large) * l.share,
	}, l.area)
}

// clearCoats protect: 2 over paint, 3 on bare wood.
func (p *planner) clearCoats(l layer) {
	usual := 2.0
	if l.look.Finish == "clear" {
		usual = 3
	}
	name := "clear coats"
	switch l.look.Topcoat {
	case "water_clear", "oil_clear", "lacquer", "shellac":
	case "wax":
		name, usual = "wax", 1
	case "oil":
		name, usual = "oil", 1
	default:
		return
	}
	if n := p.coats("clear_coats", usual); n > 0 {
		p.coat(l, name, l.look.Topcoat, n)
	}
}
