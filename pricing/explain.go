package pricing

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"
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

	MedianDays       *int    // of a piece at its typical ask
	BaseRate         float64 // sales per active day at the typical ask from day 21 on
	Elasticity       float64 // γ
	PaceTenDearer    float64 // 10 % dearer sells at this share of the pace
	EstimateWeight   float64 // δ/γ: how far buyers have agreed with the seller, 0 to 1
	OpeningPremium   float64 // share that estimates lie above the likely sale price
	NegotiationRatio float64 // sale price over ask
	AgePace          []AgePace
	CategoryPace     []Pace
	FinishPace       []LevelPace
	ColorPace        []LevelPace
	MonthPace        []LevelPace
	MessagesPerDay   float64 // at the typical ask
	Pulse            float64 // messages of all in the last weeks against usual; zero: too few to tell

	Suspicious []SuspiciousSale
	Sentences  []string
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

// Pace is the pace of sale of a category against the average one.
type Pace struct {
	Category string
	Pace     float64
	Listings int
}

// LevelPace is the pace of sale of a level against the average one.
type LevelPace struct {
	Level string
	Pace  float64
}

// SuspiciousSale is a sale whose price is so far from its ask that it counts
// for little in the value model.
type SuspiciousSale struct {
	ID        string
	SalePrice float64
	Ask       float64
	Weight    float64 // 0 to 1
}

// Describe returns the coefficients in plain words.
func (m *Model) Describe() Description {
	v, r := m.value, m.rates
	width := v.t80 * v.spread()
	d := Description{
		FittedOn: r.FittedOn, Sold: v.sales, Unsold: r.Unsold, LastSale: v.lastSale,
		SpreadLow: math.Exp(-width), SpreadHigh: math.Exp(width),
		Effects: v.effects(), Trend: v.single("trend", "a year later", 1), Season: v.seasons(),
		BaseRate: math.Exp(r.Sale.Alpha), Elasticity: r.Sale.gamma(),
		PaceTenDearer:  math.Pow(1.1, -r.Sale.gamma()),
		EstimateWeight: clamp(r.Sale.Delta/r.Sale.gamma(), 0, 1),
		OpeningPremium: math.Expm1(r.Opening), NegotiationRatio: r.Negotiation,
		MessagesPerDay: math.Exp(r.Message.Alpha), Pulse: r.Pulse,
		Suspicious: r.Suspicious,
	}
	typical := m.outlook(Attributes{}, 0, 0, 0, DefaultSettings())
	d.MedianDays = typical.reached(typical.typical, evenOdds)
	for j, from := range ageEdges {
		a := AgePace{FromDay: int(from), Pace: math.Exp(r.Sale.Eta[j] - r.Sale.Eta[2])}
		if j+1 < ageBins {
			a.ToDay = int(ageEdges[j+1])
		}
		d.AgePace = append(d.AgePace, a)
	}
	for name, kappa := range r.Sale.Category {
		d.CategoryPace = append(d.CategoryPace, Pace{Category: name, Pace: math.Exp(kappa), Listings: r.ByCategory[name]})
	}
	slices.SortFunc(d.CategoryPace, func(a, b Pace) int { return cmp.Compare(a.Category, b.Category) })
	d.FinishPace, d.ColorPace = levelPaces(r.Sale.Finish), levelPaces(r.Sale.Color)
	for i := time.January; i <= time.December; i++ {
		d.MonthPace = append(d.MonthPace, LevelPace{i.String(), r.Sale.seasonal(month{month: i})})
	}
	d.Sentences = d.explain()
	return d
}

// levelPaces lists levels by name.
func levelPaces(effects map[string]float64) []LevelPace {
	out := make([]LevelPace, 0, len(effects))
	for _, name := range slices.Sorted(maps.Keys(effects)) {
		out = append(out, LevelPace{name, math.Exp(effects[name])})
	}
	return out
}

// effects lists every level that has sales against the average of its block,
// weighted by sales, and the columns that have no levels by a fixed step.
func (v *valueModel) effects() []Effect {
	out := []Effect{
		v.single("size", "10 % more volume", math.Log(1.1)),
		v.single("set", "a pair instead of one", math.Ln2),
		v.single("condition", "one grade better", 1),
	}
	for _, b := range [...]string{"category", "material", "wood", "finish", "color", "hardware"} {
		mean := make([]float64, len(v.names))
		total := 0.0
		for j, name := range v.names {
			if blockOf(name) == b {
				mean[j] = v.data.xx.At(j, j)
				total += mean[j]
			}
		}
		for j, name := range v.names {
			if mean[j] == 0 || v.counts[j] == 0 {
				continue
			}
			d := make([]float64, len(mean))
			for i := range d {
				d[i] = -mean[i] / total
			}
			d[j]++
			out = append(out, v.described(d, b, levelOf(name), words(name), v.counts[j]))
		}
	}
	for j, name := range v.names {
		d := make([]float64, len(v.names))
		level := levelOf(name)
		switch blockOf(name) {
		case "pair":
			d[j] = 1
			out = append(out, v.described(d, "pair", level, words(level)+", beyond both", v.counts[j]))
		case "size_slope":
			d[j], d[v.index["size"]] = math.Log(1.1), math.Log(1.1)
			out = append(out, v.described(d, "size", level, "10 % more volume, "+words(level), v.counts[j]))
		case "with":
			d[j], d[v.index["items"]] = math.Log(5), math.Log(5)
			out = append(out, v.described(d, "with", level, "together with four: "+words(level), v.counts[j]))
		case "orphan":
			if v.counts[j] > 0 {
				out = append(out, v.single("orphan", "one alone of a usual pair", 1))
			}
		}
	}
	return out
}

// single is the effect of one column changed by a step.
func (v *valueModel) single(block, term string, step float64) Effect {
	d := make([]float64, len(v.names))
	j := v.index[block]
	d[j] = step
	return v.described(d, block, "", term, v.counts[j])
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
		d := make([]float64, len(v.names))
		for _, t := range (Attributes{}).terms(NewDate(2020, month, 15)) {
			if t.Name == "season_cos" || t.Name == "season_sin" {
				d[v.index[t.Name]] = t.Value
			}
		}
		out = append(out, v.described(d, "season", month.String(), "sold in "+month.String(), v.sales))
	}
	return out
}

// drivers are the effects of a piece's attributes against the typical sold
// piece of its category, the strongest first. Levels without sales are left out.
func (m *Model) drivers(a Attributes, r row, likely float64) []Driver {
	v := m.value
	mean, sales := v.typical(a.Category)
	var out []Driver
	for _, line := range gridLines {
		if line == "category" {
			continue
		}
		d := make([]float64, len(r.x))
		term, count, has := line, sales, false
		for j, name := range v.names {
			if gridLine(name) != line {
				continue
			}
			d[j] = r.x[j] - mean[j]
			if strings.Contains(name, ":") && r.x[j] != 0 && blockOf(name) == line {
				term, count, has = words(name), v.counts[j], true
			}
		}
		if _, sized := a.logVolume(); line == "size" && sized || line == "condition" && a.Condition > 0 || line == "set" || line == "date" {
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

// words turns a term into words: "finish:two_tone" into "finish two tone".
func words(term string) string {
	return strings.NewReplacer(":", " ", "_", " ").Replace(term)
}

// money writes an amount for a sentence.
func money(x float64) string {
	if math.Abs(x) < 10 {
		return fmt.Sprintf("%.2f", x)
	}
	return fmt.Sprintf("%.0f", x)
}

// chance writes a probability for a sentence: "62 in 100".
func chance(p float64) string {
	return fmt.Sprintf("%d in 100", int(math.Round(100*clamp(p, 0.01, 0.99))))
}

func tooFewSales(have, need int) *Refusal {
	return &Refusal{
		Reason: TooFewSales, Have: float64(have), Need: float64(need),
		Detail: fmt.Sprintf("%d sold %s on file; %d more are needed, or your own estimate.", have, plural(have, "listing is", "listings are"), need-have),
	}
}

func wideDetail(r Range) string {
	return fmt.Sprintf("Pieces described like this sell for anything from %s to %s; too little is known of them for an ask. Give your own estimate, or more of the description.", money(r.Low), money(r.High))
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// explain writes the suggestion in two or three sentences.
func (out *Suggestion) explain(m *Model, q Query, s Settings) []string {
	var t []string
	if r := out.SalePrice; r != nil {
		t = append(t, fmt.Sprintf("Pieces described like this sell for about %s, eight in ten of them between %s and %s.", money(r.Likely), money(r.Low), money(r.High)))
	}
	if out.Refusal != nil {
		return append(t, out.Refusal.Detail)
	}
	wait := fmt.Sprintf("probably not within %d active days", s.HorizonDays)
	if out.MedianDays != nil {
		wait = fmt.Sprintf("as likely as not within %d active %s", *out.MedianDays, plural(*out.MedianDays, "day", "days"))
	}
	t = append(t, fmt.Sprintf("Ask %s: after haggling it should bring about %s, %s.", money(out.Ask), money(out.Choices[1].LikelySale), wait))
	switch {
	case slices.Contains(out.Labels, LabelFromEstimate):
		t = append(t, fmt.Sprintf("This rests on your estimate and on general assumptions, for only %d sold %s on file.", out.Basis.Sold, plural(out.Basis.Sold, "listing is", "listings are")))
	case slices.Contains(out.Labels, LabelLowConfidence):
		t = append(t, "The range is wide, so take the ask as a rough guide.")
	case q.Estimate > 0:
		share := clamp(m.rates.Sale.Delta/m.rates.Sale.gamma(), 0, 1)
		t = append(t, fmt.Sprintf("%s of %s counts for %.0f %% where it differs from the records.", q.judgement(), money(q.Estimate), 100*share))
	}
	return t
}

// judgement names what q.Estimate is: the seller's own, or the first ask that
// stands in for it.
func (q Query) judgement() string {
	if q.Standing != nil && q.Standing.Listing.Estimate == 0 && len(q.Standing.Listing.Asks) > 0 && q.Estimate == q.Standing.Listing.Asks[0].Amount {
		return "The first ask"
	}
	return "Your own estimate"
}

// explain writes the review in two or three sentences.
func (out *Review) explain(ask float64) []string {
	t := []string{fmt.Sprintf("Up for %d active %s; by now %s like it would have sold.", out.ActiveDays, plural(out.ActiveDays, "day", "days"), chance(out.ChanceSoldByNow))}
	if out.MessagesSeen != nil && out.MessagesUsual >= 1 {
		seen := "no messages"
		if n := *out.MessagesSeen; n > 0 {
			seen = fmt.Sprintf("%d %s", n, plural(n, "message", "messages"))
		}
		t = append(t, fmt.Sprintf("It has had %s where about %.0f %s usual.", seen, out.MessagesUsual, plural(int(math.Round(out.MessagesUsual)), "is", "are")))
	}
	if out.Reason == "season" {
		t = append(t, fmt.Sprintf("The whole group is slow: it has had about %.0f %% of its usual messages lately. The piece is not the trouble; waiting is no mistake.", 100*out.GroupPulse))
	}
	switch {
	case out.State == StatePaused:
		t = append(t, "The clock stands still while it is paused; renew the post when it is back.")
	case out.Refusal != nil:
		t = append(t, out.Refusal.Detail)
	case out.State == StateStale:
		best := out.Remedies[0]
		sure := "worth trying"
		if out.Clear {
			sure = "clearly better than waiting"
		}
		t = append(t, fmt.Sprintf("%s is %s: about %s more on average.", best.phrase(ask), sure, money(out.Gain)))
	case out.State == StateSlow:
		t = append(t, "It is slow, but nothing clearly beats waiting yet.")
	}
	return t
}

// phrase names a remedy at the beginning of a sentence.
func (r Remedy) phrase(ask float64) string {
	switch r.Action {
	case ActionReprice:
		return fmt.Sprintf("Lowering the ask from %s to %s", money(ask), money(r.Ask))
	case ActionRenew:
		return "Posting it afresh at the same ask"
	case ActionRefinish:
		look := words(strings.TrimSpace(r.Color + " " + r.Finish))
		return fmt.Sprintf("Refinishing it (%s) and asking %s", look, money(r.Ask))
	case ActionWithdraw:
		return "Taking it down"
	}
	return "Waiting"
}

// explain writes the limit in two or three sentences.
func (out *PurchaseLimit) explain() []string {
	var t []string
	if out.MostToPay != nil {
		if *out.MostToPay > 0 {
			t = append(t, fmt.Sprintf("Pay at most %s; %s would be right if it sells as expected, and at %s nothing is earned.", money(*out.MostToPay), money(math.Max(0, *out.AtLikely)), money(math.Max(0, *out.BreakEven))))
		} else {
			t = append(t, "Leave it: with caution, there is no price at which the work is paid.")
		}
		t = append(t, "Pieces that look cheap are often cheap for a reason that the description leaves out, so the first figure is the one to keep to.")
	}
	if out.Refusal != nil {
		t = append(t, out.Refusal.Detail)
	}
	return t
}

// explain writes the model in three sentences.
func (d *Description) explain() []string {
	wait := "more than the horizon"
	if d.MedianDays != nil {
		wait = fmt.Sprintf("about %d active days", *d.MedianDays)
	}
	return []string{
		fmt.Sprintf("The model rests on %d sold and %d unsold %s.", d.Sold, d.Unsold, plural(d.Unsold, "listing", "listings")),
		fmt.Sprintf("At the usual ask a piece takes %s; one that is 10 %% dearer sells at %.0f %% of the pace.", wait, 100*d.PaceTenDearer),
		fmt.Sprintf("The sale price is on average %.0f %% of the last ask.", 100*d.NegotiationRatio),
	}
}
