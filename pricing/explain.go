package pricing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"askwright/pricing/furniture"
	"askwright/pricing/stats"
)

// drivers are the effects of a piece's attributes against the typical sold
// piece of its category, the strongest first. Levels without sales are left out.
func (m *Model) drivers(a furniture.Attributes, r row, likely float64) []Driver {
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
				term, count, has = furniture.Words(name), v.counts[j], true
			}
		}
		if _, sized := a.LogVolume(); line == "size" && sized || line == "condition" && a.Condition > 0 || line == "set" || line == "date" {
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

func tooFewSales(have, need int) *furniture.Refusal {
	return &furniture.Refusal{
		Reason: TooFewSales, Have: float64(have), Need: float64(need),
		Detail: fmt.Sprintf("%d sold %s on file; %d more are needed, or your own estimate.", have, plural(have, "listing is", "listings are"), need-have),
	}
}

func wideDetail(r stats.Range) string {
	return fmt.Sprintf("Pieces described like this sell for anything from %s to %s; too little is known of them for an ask. Give your own estimate, or more of the description.", money(r.Low), money(r.High))
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// explain writes the suggestion in two or three sentences.
func (out *Suggestion) explain(m *Model, q Query, s Settings) []Sentence {
	var t []Sentence
	if r := out.SalePrice; r != nil {
		t = append(t, Say(SaidPrice, "Pieces described like this sell for about %s, eight in ten of them between %s and %s.", money(r.Likely), money(r.Low), money(r.High)))
	}
	if out.Refusal != nil {
		return append(t, saidRefusal(out.Refusal.Detail)...)
	}
	wait := fmt.Sprintf("probably not within %d active days", s.HorizonDays)
	if out.MedianDays != nil {
		wait = fmt.Sprintf("as likely as not within %d active %s", *out.MedianDays, plural(*out.MedianDays, "day", "days"))
	}
	t = append(t, Say(SaidAsk, "Ask %s: after haggling it should bring about %s, %s.", money(out.Ask), money(out.Choices[1].LikelySale), wait))
	switch {
	case slices.Contains(out.Labels, LabelFromEstimate):
		t = append(t, Say(SaidBasis, "This rests on your estimate and on general assumptions, for only %d sold %s on file.", out.Basis.Sold, plural(out.Basis.Sold, "listing is", "listings are")))
	case slices.Contains(out.Labels, LabelLowConfidence):
		t = append(t, Say(SaidDoubt, "The range is wide, so take the ask as a rough guide."))
	case q.Estimate > 0:
		share := clamp(m.rates.Sale.Delta/m.rates.Sale.gamma(), 0, 1)
		t = append(t, Say(SaidOwnPrice, "%s of %s counts for %.0f %% where it differs from the records.", q.judgement(), money(q.Estimate), 100*share))
	}
	return append(t, demandSentence(out.Demand)...)
}

// demandSentence says how a listing has drawn so far, where that moves the ask.
func demandSentence(demand float64) []Sentence {
	switch {
	case demand > 0 && demand < 0.75:
		return []Sentence{Say(SaidDemand, "By its days and messages so far it draws about %.0f %% of what pieces like it draw, which lowers the ask.", 100*demand)}
	case demand > 1.25:
		return []Sentence{Say(SaidDemand, "By its days and messages so far it draws about %.0f %% of what pieces like it draw, which raises the ask.", 100*demand)}
	}
	return nil
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
func (out *Review) explain(ask float64) []Sentence {
	t := []Sentence{Say(SaidDays, "Up for %d active %s; at what was asked, %s like it would have sold by now.", out.ActiveDays, plural(out.ActiveDays, "day", "days"), chance(out.ChanceSoldByNow))}
	if out.MessagesSeen != nil && out.MessagesUsual >= 1 {
		seen := "no messages"
		if n := *out.MessagesSeen; n > 0 {
			seen = fmt.Sprintf("%d %s", n, plural(n, "message", "messages"))
		}
		t = append(t, Say(SaidMessages, "It has had %s where about %.0f %s usual.", seen, out.MessagesUsual, plural(int(math.Round(out.MessagesUsual)), "is", "are")))
	}
	if out.Reason == "season" {
		t = append(t, Say(SaidSeason, "The whole group is slow: it has had about %.0f %% of its usual messages lately, so few messages say little of this piece.", 100*out.GroupPulse))
	}
	switch {
	case out.State == StatePaused:
		t = append(t, Say(SaidState, "The clock stands still while it is paused; renew the post when it is back."))
	case out.Refusal != nil:
		t = append(t, saidRefusal(out.Refusal.Detail)...)
	case out.State == StateStale:
		best := out.Remedies[0]
		sure := "worth trying"
		if out.Clear {
			sure = "clearly better than waiting"
		}
		t = append(t, Say(SaidMove, "%s is %s: about %s more on average.", best.phrase(ask), sure, money(out.Gain)))
	case out.State == StateSlow:
		t = append(t, Say(SaidState, "It is slow, but nothing clearly beats waiting yet."))
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
		look := furniture.Words(strings.TrimSpace(r.Color + " " + r.Finish))
		return fmt.Sprintf("Refinishing it (%s) and asking %s", look, money(r.Ask))
	case ActionWithdraw:
		return "Taking it down"
	}
	return "Waiting"
}
