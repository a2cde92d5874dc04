package profit

import (
	"fmt"
	"slices"
	"strings"

	"askwright/pricing"
	"askwright/service"
)

// What a verdict needs. Common practice, no source.
const (
	enoughPieces = 5    // sold, with hours
	muchLess     = 0.75 // of what an hour brings elsewhere
)

// judge says which sources or categories to leave alone, hours being what is
// scarce: those whose hours earn nothing, or much less than the member's other
// hours and less than an hour is worth to the group.
func (p *Report) judge(a *service.Actor, by string) {
	if by != "source" && by != "category" {
		return
	}
	for i := range p.Items {
		item := &p.Items[i]
		perHour, ok := item.PerHour()
		elsewhere, known := p.elsewhere(item)
		isWorthIt := a.Group.HourValue > 0 && service.Money(perHour) >= a.Group.HourValue
		switch {
		case item.Group == groupUnknown:
		case !ok || item.Timed < enoughPieces:
			item.Verdict = VerdictTooFew
		case perHour <= 0 || (!isWorthIt && known && float64(perHour) < muchLess*float64(elsewhere)):
			item.Verdict = VerdictStop
		default:
			item.Verdict = VerdictKeep
		}
	}
}

// elsewhere is what an hour on all pieces but the item's earned.
func (p *Report) elsewhere(item *Item) (int64, bool) {
	return service.Quotient(int64(p.Total.timedProfit-item.timedProfit), service.Hundredths, int64(p.Total.Hours()-item.Hours()))
}

// sentences tell the report in words.
func (p *Report) sentences(a *service.Actor, q Query) []pricing.Sentence {
	c := a.Group.Currency
	if p.Total.Pieces == 0 {
		return append([]pricing.Sentence{pricing.Say(pricing.SaidProfit, "Nothing was sold%s.", period(q))}, p.unsoldSentences(c)...)
	}
	first := fmt.Sprintf("%s sold%s for %s: profit %s", pieces(p.Total.Pieces), period(q), p.Total.Revenue.Format(c), p.Total.Profit().Format(c))
	if perHour, ok := p.Total.PerHour(); ok {
		first += fmt.Sprintf(", %s an hour over %s hours", service.Money(perHour).Format(c), p.Total.Hours().Format())
		if worth := a.Group.HourValue; service.Money(perHour) < worth {
			first += fmt.Sprintf(", less than the %s that an hour is worth to the group", worth.Format(c))
		}
	}
	out := []pricing.Sentence{{Kind: pricing.SaidProfit, Text: first + "."}}
	if n := p.Total.Pieces - p.Total.Timed; n > 0 {
		out = append(out, pricing.Say(pricing.SaidMissing, "%s without hours on file: not in the earning per hour.", pieces(n)))
	}
	if n := p.Total.PurchaseUnknown; n > 0 {
		out = append(out, pricing.Say(pricing.SaidMissing, "%s without a purchase cost on file: their profit is too high by what was paid.", pieces(n)))
	}
	if n := p.Total.FeesUntold; n > 0 {
		out = append(out, pricing.Say(pricing.SaidMissing, "The fees of %s are estimated from the venue's rate, %s in all; record what was paid.", pieces(n), p.Total.FeesEstimated.Format(c)))
	}
	out = append(out, p.unsoldSentences(c)...)
	if n := len(p.QuickSales); n > 0 {
		refs := make([]string, n)
		for i, l := range p.QuickSales {
			refs[i] = l.Ref
		}
		out = append(out, pricing.Say(pricing.SaidQuick, "%s gone by the day after listing at the full first ask (%s): perhaps asked too little.", pieces(n), firstOf(refs)))
	}
	return append(out, p.verdictSentences(c, q.By)...)
}

// unsoldSentences tell what the profit has no part of.
func (p *Report) unsoldSentences(c service.Currency) []pricing.Sentence {
	var out []pricing.Sentence
	if n := p.LetGoTotal.Pieces; n > 0 {
		out = append(out, pricing.Say(pricing.SaidInventory, "%s let go without a sale, at a cost of %s that is not in the profit.", pieces(n), p.LetGoTotal.Cost().Format(c)))
	}
	if n := p.StockTotal.Pieces; n > 0 {
		out = append(out, pricing.Say(pricing.SaidInventory, "%s unsold on %s, at a cost of %s.", pieces(n), p.StockOn, p.StockTotal.Cost().Format(c)))
	}
	return out
}

// verdictSentences tell what to stop buying, with the counts that it rests on.
func (p *Report) verdictSentences(c service.Currency, by string) []pricing.Sentence {
	where := "of that kind"
	if by == "source" {
		where = "there"
	}
	var out []pricing.Sentence
	var few []string
	for i := range p.Items {
		item := &p.Items[i]
		perHour, _ := item.PerHour()
		switch item.Verdict {
		case VerdictTooFew:
			few = append(few, fmt.Sprintf("%s (%d)", item.Group, item.Timed))
		case VerdictStop:
			text := fmt.Sprintf("%s: %s an hour on %s, %d at a loss", item.Group, service.Money(perHour).Format(c), pieces(item.Pieces), item.Lost)
			if elsewhere, ok := p.elsewhere(item); ok {
				text += fmt.Sprintf("; your other pieces bring %s", service.Money(elsewhere).Format(c))
			}
			out = append(out, pricing.Say(pricing.SaidVerdict, "%s. Think about buying no more %s.", text, where))
		}
	}
	if few != nil {
		slices.Sort(few)
		out = append(out, pricing.Say(pricing.SaidVerdict, "Too few pieces with hours to judge, fewer than %d: %s.", enoughPieces, strings.Join(few, ", ")))
	}
	return out
}

func period(q Query) string {
	text := ""
	if !q.From.IsZero() {
		text += " from " + q.From.String()
	}
	if !q.To.IsZero() {
		text += " until " + q.To.String()
	}
	return text
}

func pieces(n int) string { return service.Count(n, "piece", "pieces") }

// firstOf names the first few of many.
func firstOf(refs []string) string {
	const most = 10
	if n := len(refs) - most; n > 0 {
		return strings.Join(refs[:most], ", ") + fmt.Sprintf(" and %d more", n)
	}
	return strings.Join(refs, ", ")
}
