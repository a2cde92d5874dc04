package prose

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"askwright/pricing"
	"askwright/service"
)

// Model says the fitted model in a few sentences.
func Model(d *pricing.Description) []pricing.Sentence {
	wait := "longer than the horizon"
	if d.MedianDays != nil {
		wait = "about " + service.Count(*d.MedianDays, "day", "days")
	}
	t := []pricing.Sentence{pricing.Say(pricing.SaidBasis, "Based on %d sold and %d unsold listings.",
		d.Sold, d.Unsold)}
	if d.Sold >= pricing.FewSales {
		t = append(t, pricing.Sentence{Kind: pricing.SaidFactors, Text: dearer(d)})
	}
	t = append(t, pricing.Say(pricing.SaidPace, "At the usual ask a piece takes %s.", wait))
	if d.ElasticityAssumed {
		t = append(t, pricing.Say(pricing.SaidPace,
			"Assumed until %d listings are recorded: one asked 10%% higher sells at about %.0f%% of the pace.",
			pricing.ElasticityListings, 100*d.PaceTenDearer))
	} else {
		t = append(t, pricing.Say(pricing.SaidPace,
			"One asked 10%% higher sells at %.0f%% of the pace.", 100*d.PaceTenDearer))
	}
	if text := faster(d); text != "" {
		t = append(t, pricing.Sentence{Kind: pricing.SaidPace, Text: text})
	}
	return append(t, pricing.Say(pricing.SaidHaggling, "Sales close at %.0f%% of the last ask on average.",
		100*d.NegotiationRatio))
}

// mostNamed bounds the levels that a sentence lists.
const mostNamed = 6

// dearer tells which looks and makes show in the price, strongest first.
func dearer(d *pricing.Description) string {
	var shown []pricing.Effect
	for _, e := range d.Effects {
		switch e.Block {
		case "material", "wood", "finish", "color", "hardware", "orphan":
			if e.Distinguishable {
				shown = append(shown, e)
			}
		}
	}
	slices.SortStableFunc(shown, func(a, b pricing.Effect) int {
		return cmp.Compare(math.Abs(b.Percent), math.Abs(a.Percent))
	})
	if len(shown) == 0 {
		return "Beyond category, size and condition, nothing clearly moves the price yet."
	}
	named := make([]string, 0, mostNamed)
	for _, e := range shown[:min(len(shown), mostNamed)] {
		named = append(named, fmt.Sprintf("%s %+.0f%%", effectName(e), e.Percent))
	}
	return fmt.Sprintf("Beyond category, size and condition, these move the price most: %s.",
		strings.Join(named, ", "))
}

// effectName is the level as a sentence calls it.
func effectName(e pricing.Effect) string {
	switch e.Block {
	case "orphan":
		return e.Term
	case "finish", "hardware":
		return service.InWords(e.Level) + " " + e.Block
	}
	return service.InWords(e.Level)
}

// faster tells which finishes, colors and months show in the pace, fastest
// first; empty where none does.
func faster(d *pricing.Description) string {
	var shown []pricing.Pace
	for _, p := range d.Paces {
		if p.Distinguishable && p.Block != "category" {
			shown = append(shown, p)
		}
	}
	if len(shown) == 0 {
		return ""
	}
	slices.SortStableFunc(shown, func(a, b pricing.Pace) int {
		return cmp.Compare(math.Abs(math.Log(b.Pace)), math.Abs(math.Log(a.Pace)))
	})
	shown = shown[:min(len(shown), mostNamed)]
	slices.SortStableFunc(shown, func(a, b pricing.Pace) int { return cmp.Compare(b.Pace, a.Pace) })
	named := make([]string, len(shown))
	for i, p := range shown {
		named[i] = fmt.Sprintf("%s %+.0f%%", service.InWords(p.Level), 100*(p.Pace-1))
	}
	return fmt.Sprintf("At the same ask these sell faster or slower than average: %s.", strings.Join(named, ", "))
}
