package demo

import (
	"math"
	"strconv"
	"strings"

	"askwright/pricing"
)

// row writes the listing as its owner's spreadsheet holds it.
func (l *listing) row() Row {
	r := Row{"ref": l.ref, "category": l.piece.category.name}
	if l.piece.ref != l.ref {
		r["piece_ref"] = l.piece.ref
	}
	l.piece.put(r)
	l.look.put(r)
	if l.stage != "" {
		r["stage"] = l.stage
	} else {
		l.putOffer(r)
		l.putEnd(r)
	}
	if l.first {
		l.piece.putPurchase(r)
	}
	l.putSpent(r)
	r.text("notes", l.notes)
	return r
}

func (p *piece) put(r Row) {
	if p.setSize > 1 {
		r.number("set_size", float64(p.setSize))
	}
	r.text("set_items", p.items)
	r.text("width", p.length(p.width))
	r.text("depth", p.length(p.depth))
	r.text("height", p.length(p.height))
	if p.centimetres && p.width > 0 {
		r["unit"] = "cm"
	}
	r.text("material", p.material)
	r.text("wood", p.wood)
	r.text("style", p.style)
	r.number("year_made", float64(p.year))
	r.number("drawers", float64(p.drawers))
	r.number("doors", float64(p.doors))
	r.text("maker", p.maker)
	r.text("flaws", p.flaws)
	r.text("smell", p.smell)
}

func (k look) put(r Row) {
	r.text("finish", k.finish)
	r.text("color", k.color)
	r.text("second_finish", k.second)
	r.text("second_color", k.secondColor)
	r.text("topcoat", k.topcoat)
	r.text("sheen", k.sheen)
	r.text("hardware", k.hardware)
	r.text("condition", conditions[k.condition])
}

func (l *listing) putOffer(r Row) {
	if l.observed {
		r["source"] = "observed"
		r.date("last_seen_on", l.lastSeen)
	}
	r.text("venues", l.venue)
	r.text("area", l.area)
	r.date("listed_on", l.listedOn)
	r.money("ask", l.ask())
	r.money("own_price", l.estimate)
	if len(l.asks) > 1 {
		var history []string
		for _, a := range l.asks {
			history = append(history, a.On.String()+":"+dollars(a.Amount))
		}
		r["ask_history"] = strings.Join(history, ";")
	}
	var pauses []string
	for _, p := range l.pauses {
		to := ".."
		if !p.To.IsZero() {
			to = p.To.String()
		}
		pauses = append(pauses, p.From.String()+"/"+to)
	}
	r.text("pauses", strings.Join(pauses, ";"))
	if l.counted {
		r["views"], r["saves"] = strconv.Itoa(l.views), strconv.Itoa(l.saves)
		r["messages"], r["showings"] = strconv.Itoa(l.messages), strconv.Itoa(l.showings)
	}
}

func (l *listing) putEnd(r Row) {
	r.text("outcome", l.outcome)
	r.date("ended_on", l.endedOn)
	r.money("sale_price", l.salePrice)
	r.text("sold_venue", l.soldVenue)
}

func (p *piece) putPurchase(r Row) {
	r.text("condition_found", conditions[p.conditionFound])
	r.date("bought_on", p.boughtOn)
	r.text("bought_from", p.boughtFrom)
	r.money("pickup_cost", p.pickup)
	if !p.boughtOn.IsZero() {
		r["purchase_cost"] = dollars(p.purchase) // zero is known: it lay at the kerb
	}
}

func (s *spent) putSpent(r Row) {
	r.money("materials_cost", s.materials)
	r.money("other_cost", s.other)
	r.money("fees", s.fees)
	r.money("delivery_charged", s.deliveryCharged)
	r.money("delivery_cost", s.deliveryCost)
	r.number("hours", s.hours)
	r.number("hours_other", s.hoursOther)
}

// length writes inches in the owner's way, or in centimetres to half a one.
func (p *piece) length(inches float64) string {
	const centimetresPerInch = 2.54
	whole, fraction := math.Modf(inches)
	switch {
	case inches == 0:
		return ""
	case p.centimetres:
		return plain(math.Round(2*inches*centimetresPerInch) / 2)
	case fraction == 0.5 && p.ruler:
		return plain(whole) + " 1/2"
	}
	return plain(inches)
}

// The following leave a cell empty where there is nothing to say.

func (r Row) text(column, text string) {
	if text != "" {
		r[column] = text
	}
}

func (r Row) date(column string, d pricing.Date) { r.text(column, d.String()) }

func (r Row) number(column string, x float64) {
	if x != 0 {
		r[column] = plain(x)
	}
}

func (r Row) money(column string, x float64) {
	if x != 0 {
		r[column] = dollars(x)
	}
}

func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func dollars(x float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(x, 'f', 2, 64), ".00")
}
