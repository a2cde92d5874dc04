package pricing

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"askwright/pricing/furniture"
	"askwright/pricing/hedonic"
)

// Description is the fitted model in plain words.
type Description struct {
	FittedOn   Date
	Sold       int // in the value model
	Unsold     int
	LastSale   Date
	SpreadLow  float64 // 80 % of sales of one description lie between these shares of the likely price
	SpreadHigh float64

	Effects []Effect // by block, then level
	Trend   Effect   // a year
	Season  []Effect // by month, against the year's mean

	MedianDays *int    // of a piece at its typical ask
	BaseRate   float64 // sales per active day at the typical ask from day 21 on
	Elasticity float64 // γ
	// ElasticityAssumed says that there are too few listings to have learned it:
	// it is what the trade in general is taken to have.
	ElasticityAssumed bool
	PaceTenDearer     float64 // 10 % dearer sells at this share of the pace
	EstimateWeight    float64 // δ/γ: how far buyers have agreed with the seller, 0 to 1
	OpeningPremium    float64 // share that estimates lie above the likely sale price
	NegotiationRatio  float64 // sale price over ask
	AgePace           []AgePace
	Paces             []Pace  // by category, finish, color, and by month against the year's mean
	MessagesPerDay    float64 // at the typical ask
	Pulse             float64 // messages of all in the last weeks against usual; zero: too few to tell

}

// Effect is what one level of an attribute does to the likely sale price.
type Effect struct {
	Block           string // "finish", "material", ...
	Level           string // "painted"
	Term            string // both, for people
	Percent         float64
	Low, High       float64 // 80 % interval of Percent
	Sales           int
	Distinguishable bool
}

// AgePace is the pace of sale in an age band against days 21 to 60.
type AgePace struct {
	FromDay, ToDay int // ToDay zero: no end
	Pace           float64
}

// Pace is how fast a level of an attribute sells against the average one of
// its block.
type Pace struct {
	Block           string // "category", "finish", "color", "month"
	Level           string
	Pace            float64
	Low, High       float64 // 80 % interval of Pace
	Listings        int
	Distinguishable bool
}

// Suspicious returns the sales of the fit that count for little. They are of
// all members, so a description, which anyone may see, does not hold them.
func (m *Model) Suspicious() []SuspiciousSale { return m.rates.Suspicious }

// Describe returns the coefficients in plain words.
func (m *Model) Describe() Description {
	v, r := m.value, m.rates
	width := v.t80 * v.Spread()
	d := Description{
		FittedOn: r.FittedOn, Sold: v.sales, Unsold: r.Unsold, LastSale: v.LastSale,
		SpreadLow: math.Exp(-width), SpreadHigh: math.Exp(width),
		Effects: v.effects(), Trend: v.single("trend", "a year later", 1), Season: v.seasons(),
		BaseRate: math.Exp(r.Sale.Alpha), Elasticity: r.Sale.gamma(), ElasticityAssumed: r.Listings < ElasticityListings,
		PaceTenDearer:  math.Pow(1.1, -r.Sale.gamma()),
		EstimateWeight: r.ownShare(),
		OpeningPremium: math.Expm1(r.Opening), NegotiationRatio: r.Negotiation,
		MessagesPerDay: math.Exp(r.Message.Alpha), Pulse: r.Pulse,
	}
	typical := m.outlook(furniture.Attributes{}, 0, 0, 0, DefaultSettings())
	d.MedianDays = typical.reached(typical.typical, evenOdds)
	for j, from := range ageEdges {
		a := AgePace{FromDay: int(from), Pace: math.Exp(r.Sale.Eta[j] - r.Sale.Eta[2])}
		if j+1 < ageBins {
			a.ToDay = int(ageEdges[j+1])
		}
		d.AgePace = append(d.AgePace, a)
	}
	d.Paces = r.paces()
	return d
}

// paces lists the levels by block and name, then the months.
func (r *Rates) paces() []Pace {
	z := distuv.UnitNormal.Quantile(0.9)
	pace := func(block, level string, at, se float64, listings int) Pace {
		p := Pace{
			Block: block, Level: level, Pace: math.Exp(at), Low: math.Exp(at - z*se), High: math.Exp(at + z*se),
			Listings:        listings,
			Distinguishable: listings > 0 && math.Abs(at) > z*se,
		}
		return p
	}
	var out []Pace
	for b, effects := range [...]map[string]float64{r.Sale.Category, r.Sale.Finish, r.Sale.Color} {
		for _, name := range slices.Sorted(maps.Keys(effects)) {
			term := rateBlocks[b] + ":" + name
			out = append(out, pace(rateBlocks[b], name, effects[name], r.Sale.SE[term], r.ByLevel[term]))
		}
	}
	for i := time.January; i <= time.December; i++ {
		cos, sin := month{month: i}.angle()
		c := r.Sale.SeasonCov
		variance := cos*cos*c[0] + sin*sin*c[1] + 2*cos*sin*c[2]
		at, se := math.Log(r.Sale.seasonal(month{month: i})), math.Sqrt(math.Max(0, variance))
		out = append(out, pace("month", i.String(), at, se, r.Listings))
	}
	return out
}

// effects lists every level that has sales against the average of its block,
// weighted by sales, and the columns that have no levels by a fixed step.
func (v *valueModel) effects() []Effect {
	out := []Effect{
		v.dimension(0, "10 % wider"),
		v.dimension(1, "10 % deeper"),
		v.dimension(2, "10 % taller"),
		v.single("set", "a pair instead of one", math.Ln2),
		v.single("condition", "one grade better", 1),
	}
	for _, b := range [...]string{"category", "material", "wood", "finish", "color", "hardware"} {
		mean := make([]float64, len(v.Names))
		total := 0.0
		for j, name := range v.Names {
			if hedonic.BlockOf(name) == b {
				mean[j] = v.Data.XX.At(j, j)
				total += mean[j]
			}
		}
		for j, name := range v.Names {
			if mean[j] == 0 || v.Counts[j] == 0 {
				continue
			}
			d := make([]float64, len(mean))
			for i := range d {
				d[i] = -mean[i] / total
			}
			d[j]++
			out = append(out, v.described(d, b, hedonic.LevelOf(name), furniture.Words(name), v.Counts[j]))
		}
	}
	for j, name := range v.Names {
		d := make([]float64, len(v.Names))
		level := hedonic.LevelOf(name)
		switch hedonic.BlockOf(name) {
		case "pair":
			d[j] = 1
			out = append(out, v.described(d, "pair", level, furniture.Words(level)+", beyond both", v.Counts[j]))
		case "width_slope": // the others stand beside it
			for i, dimension := range hedonic.Dimensions {
				d[v.Index[dimension]], d[v.Index[hedonic.SlopeIn(level, i)]] = math.Log(1.1)/3, math.Log(1.1)/3
			}
			out = append(out, v.described(d, "size", level, "10 % more volume, "+furniture.Words(level), v.Counts[j]))
		case "with":
			d[j], d[v.Index["items"]] = math.Log(5), math.Log(5)
			out = append(out, v.described(d, "with", level, "together with four: "+furniture.Words(level), v.Counts[j]))
		case "orphan":
			if v.Counts[j] > 0 {
				out = append(out, v.single("orphan", "one alone of a usual pair", 1))
			}
		}
	}
	return out
}

// single is the effect of one column changed by a step.
func (v *valueModel) single(block, term string, step float64) Effect {
	d := make([]float64, len(v.Names))
	j := v.Index[block]
	d[j] = step
	return v.described(d, block, "", term, v.Counts[j])
}

// dimension is the effect of a tenth more of one.
func (v *valueModel) dimension(i int, term string) Effect {
	e := v.single(hedonic.Dimensions[i], term, math.Log(1.1))
	e.Block = "size"
	return e
}

func (v *valueModel) described(d []float64, block, level, term string, sales int) Effect {
	at, half := v.effect(d)
	return Effect{
		Block: block, Level: level, Term: term,
		Percent: percent(at), Low: percent(at - half), High: percent(at + half),
		Sales: sales, Distinguishable: sales > 0 && math.Abs(at) > half,
	}
}

// seasons are the effects of the months against the year's mean.
func (v *valueModel) seasons() []Effect {
	out := make([]Effect, 0, 12)
	for month := time.January; month <= time.December; month++ {
		d := make([]float64, len(v.Names))
		for _, t := range hedonic.Terms(furniture.Attributes{}, NewDate(2020, month, 15)) {
			if t.Name == "season_cos" || t.Name == "season_sin" {
				d[v.Index[t.Name]] = t.Value
			}
		}
		out = append(out, v.described(d, "season", month.String(), "sold in "+month.String(), v.sales))
	}
	return out
}

// drivers are the effects of a piece's attributes against the typical sold
// piece of its category, the strongest first. Levels without sales are left out.
func (m *Model) drivers(a furniture.Attributes, r row, likely float64) []Driver {
	v := m.value
	mean, sales := v.Typical(a.Category)
	var out []Driver
	for _, line := range gridLines {
		if line == "category" {
			continue
		}
		d := make([]float64, len(r.X))
		term, count, has := line, sales, false
		for j, name := range v.Names {
			if gridLine(name) != line {
				continue
			}
			d[j] = r.X[j] - mean[j]
			if strings.Contains(name, ":") && r.X[j] != 0 && hedonic.BlockOf(name) == line {
				term, count, has = furniture.Words(name), v.Counts[j], true
			}
		}
		switch _, sized := a.LogDimensions(); {
		case line == "size" && sized != [3]bool{}, line == "condition" && a.Condition > 0, line == "set", line == "date":
			has = true
		}
		at, half := v.effect(d)
		if !has || count == 0 || math.Abs(at) < 1e-9 {
			continue
		}
		out = append(out, Driver{
			Term: term, Percent: percent(at), Low: percent(at - half), High: percent(at + half),
			Money: -likely * math.Expm1(-at), Sales: count, Distinguishable: math.Abs(at) > half,
		})
	}
	slices.SortStableFunc(out, func(a, b Driver) int { return cmp.Compare(math.Abs(b.Percent), math.Abs(a.Percent)) })
	return out
}

func tooFewSales(have, need int) *furniture.Refusal {
	return &furniture.Refusal{
		Reason: TooFewSales, Have: float64(have), Need: float64(need),
		Detail: fmt.Sprintf("No price yet: %d sales recorded, %d needed. Add sales or your own price.", have, need),
	}
}
