package history

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/profit"
	"askwright/service/prose"
)

// What a story tells of money. Amounts are told to the piece's owner only.

// bought tells the purchase on its day, to others on the day it was recorded.
func (t *teller) bought(recorded pricing.Date) {
	g := &t.row.Ledger
	on := cmp.Or(g.BoughtOn, notAfter(recorded, t.row.ListedOn, t.row.ClosedOn))
	price, known := g.Costs[service.CostPurchase]
	if on.IsZero() && g.BoughtFrom == "" && !known {
		return
	}
	text := "bought: " + prose.What(t.row)
	if g.BoughtFrom != "" {
		text += ", " + fromWords[g.BoughtFrom]
		if fromWords[g.BoughtFrom] == "" {
			text += "from " + service.InWords(g.BoughtFrom)
		}
	}
	if known {
		text += ", for " + service.Money(price).Short(t.currency)
	}
	if pickup := g.Costs.Money(service.CostPickup); pickup != 0 {
		text += " and " + pickup.Short(t.currency) + " for pickup"
	}
	if grade := prose.GradeInWords(g.ConditionFound); grade != "" {
		text += "; in " + grade
	}
	t.add(on, StoryBought, text, t.costs(service.CostPurchase, service.CostPickup)...)
}

var fromWords = map[string]string{
	"private": "from a private seller", "estate_sale": "at an estate sale", "thrift": "at a thrift shop",
	"auction": "at an auction", "kerb": "found at the curb", "dealer": "from a dealer", "other": "from elsewhere",
}

// costs are the known totals of the row, of those kinds.
func (t *teller) costs(kinds ...service.CostKind) []Figure {
	var figures []Figure
	for _, kind := range kinds {
		if c, ok := service.ColumnByName(string(kind)); ok {
			figures = append(figures, Figure{c.Name, c.Value(t.row, t.currency)})
		}
	}
	return figures
}

type costWords struct {
	kind service.CostKind
	text string
}

// spent tells cost lines of the row, those of a day together. What buying the
// piece cost is told with the purchase.
func (t *teller) spent(what string, words ...costWords) {
	byDay := make(map[pricing.Date][]service.CostLine)
	for _, l := range t.lines {
		isTold := t.before == nil && (l.Kind == service.CostPurchase || l.Kind == service.CostPickup)
		isOne := slices.ContainsFunc(words, func(w costWords) bool { return w.kind == l.Kind })
		if l.ListingID == t.row.ID && l.Voids == uuid.Nil && l.VoidedBy == uuid.Nil && isOne && !isTold {
			byDay[l.On] = append(byDay[l.On], l)
		}
	}
	for _, day := range slices.Sorted(maps.Keys(byDay)) {
		if text, figures := t.sums(byDay[day], words); text != "" {
			t.add(day, StoryCost, what+": "+text, figures...)
		}
	}
}

// sums tells lines by kind, with what was done or noted.
func (t *teller) sums(lines []service.CostLine, words []costWords) (string, []Figure) {
	var parts []string
	var figures []Figure
	for _, w := range words {
		var sum service.Amount
		var notes []string
		for _, l := range lines {
			if l.Kind == w.kind {
				sum += l.Amount
				notes = append(notes, service.Joined(": ", service.InWords(l.Step), l.Note))
			}
		}
		if sum == 0 {
			continue
		}
		figures = append(figures, Figure{string(w.kind), service.FormatCost(w.kind, sum, t.currency)})
		text := service.Money(sum).Short(t.currency)
		if w.kind.IsHours() {
			text = service.FormatCost(w.kind, sum, t.currency) + " hours"
		}
		text += " " + w.text
		if note := service.Joined(", ", notes...); note != "" {
			text += " (" + note + ")"
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, ", "), figures
}

// result sums a piece that left up for its owner: what it brought, what it cost
// and what an hour of work came to, as the profit report has it.
func (t *teller) result(g *service.Group, p *service.Piece) {
	last, sale := p.Newest(), profit.SaleOf(p)
	if !t.isOwner || last.IsObserved() || (last.Outcome != service.OutcomeSold && last.Left() != service.LeftRetired) {
		return
	}
	var costs profit.PieceCosts
	for _, row := range p.Listings {
		costs.Total.Add(row.Ledger.Costs)
	}
	f := profit.Figures{Costs: costs.Total}
	if sale != nil {
		f = profit.FiguresOf(g, sale, costs)
	}
	came, went := f.Revenue+f.Amount(service.CostDeliveryCharged), f.Cost()+f.Amount(service.CostDelivery)
	text := fmt.Sprintf("in all %s came in and %s went out", came.Short(t.currency), went.Short(t.currency))
	if f.FeesEstimated > 0 {
		text += fmt.Sprintf(" (fees of %s estimated)", f.FeesEstimated.Short(t.currency))
	}
	text += ": " + left(f.Profit(), t.currency)
	figures := []Figure{{"profit", f.Profit().Format(t.currency)}}
	if hours := f.Hours().Format(); f.Hours() > 0 {
		text += " for " + hours + " hours of work"
		figures = append(figures, Figure{"hours", hours})
	}
	if hourly, ok := f.PerHour(); ok && sale != nil {
		text += fmt.Sprintf(", %s an hour", service.Money(hourly).Format(t.currency))
		figures = append(figures, Figure{"profit_per_hour", service.Money(hourly).Format(t.currency)})
	}
	if days := p.DaysOwned(t.today); days > 0 {
		text += "; owned " + service.Count(days, "day", "days")
		figures = append(figures, number("days_owned", days))
	}
	t.add(max(last.EndedOn, last.ClosedOn), StoryResult, text, figures...)
}

func left(profit service.Money, c service.Currency) string {
	if profit < 0 {
		return "a loss of " + (-profit).Short(c)
	}
	return profit.Short(c) + " left"
}
