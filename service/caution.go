package service

import (
	"slices"

	"askwright/pricing"
)

// Caution is a usual warning that an answer carries when it applies. The
// reader's own local codes and licensed practice decide.
type Caution struct {
	Code   string
	Text   string
	Source string
}

// The cautions, short, each with its source. Statutes and regulations are
// those of the United States; elsewhere the local ones apply.
var (
	cautionLead = Caution{
		"lead", "An old finish may hold lead, above all before 1980 or of unknown age: have it tested by a laboratory or treat it as lead, and contain the dust. Local codes and licensed practice decide.",
		"16 CFR 1303",
	}
	cautionStripper = Caution{
		"stripper", "Use no stripper with methylene chloride; ventilate, and wear a respirator that fits the product.",
		"40 CFR 751 subpart B; 29 CFR 1910.134 (workplaces)",
	}
	cautionSpray = Caution{
		"spraying", "Spray with ventilation and a respirator that fits the product; no solvent spray near a pilot light or spark.",
		"29 CFR 1910.134 (workplaces)",
	}
	cautionRags = Caution{
		"rags", "Rags with oil, stain or solvent can ignite by themselves: lay them flat outdoors or keep them under water in a closed metal can.",
		"common practice",
	}
	cautionTip = Caution{
		"tip_over", "This kind of piece can tip over: give an anchor with it and say so to the buyer; units made since 2023-09-01 fall under the stability rule.",
		"16 CFR 1261",
	}
	cautionRecall = Caution{
		"recall", "Recalled goods may not be sold: check before listing.",
		"15 U.S.C. 2068",
	}
	cautionUpholstery = Caution{
		"upholstery", "Look for bed bugs; state law on bedding applies; reupholstering falls under the flammability standard.",
		"16 CFR 1640",
	}
	cautionBuyers = Caution{
		"buyers", "Meet buyers in public or accompanied; an overpayment or a courier sent by the buyer is a trick.",
		"common practice",
	}
	cautionPooling = Caution{
		"own_price", "Members share evidence; each decides prices alone: no price agreement.",
		"common practice; ask a lawyer",
	}
	cautionTaxes = Caution{
		"no_tax_advice", "This is a record of what was entered, no tax advice: what counts as income, cost or stock, and when, is for your tax adviser to say.",
		"common practice",
	}
)

var tippingCategories = []string{"dresser", "chest_of_drawers", "wardrobe", "bookcase", "hutch", "cabinet"}

const leadLimitYear = 1980 // the limit of 1978 and a margin

// mayHoldLead reports whether an old finish is to be treated as lead.
func (l *Listing) mayHoldLead() bool { return l.YearMade == 0 || l.YearMade < leadLimitYear }

// workCautions are those for doing some work. They change no figure.
func workCautions(l *Listing, w *pricing.Work) (cautions []Caution) {
	add := func(applies bool, c Caution) {
		if applies {
			cautions = append(cautions, c)
		}
	}
	uses := func(products ...string) bool {
		return slices.ContainsFunc(w.Products, func(p pricing.Product) bool { return slices.Contains(products, p.Name) })
	}
	add(uses(pricing.ProductSandpaper, pricing.ProductStripper) && l.mayHoldLead(), cautionLead)
	add(uses(pricing.ProductStripper), cautionStripper)
	add(w.Method == pricing.MethodSpray && w.Look.Finish != "cleaned", cautionSpray)
	add(uses(pricing.ProductOil, pricing.ProductStain, pricing.ProductOilClear, pricing.ProductWax), cautionRags)
	return cautions
}

// pieceCautions are those for the kind of piece, whatever is done with it.
func pieceCautions(l *Listing) (cautions []Caution) {
	if slices.Contains(tippingCategories, l.Category) {
		cautions = append(cautions, cautionTip)
	}
	if l.Material == "upholstered" || l.Category == "armchair" {
		cautions = append(cautions, cautionUpholstery)
	}
	return cautions
}

// sellingCautions are those for offering a piece.
func sellingCautions(l *Listing) []Caution {
	return append([]Caution{cautionPooling, cautionRecall, cautionBuyers}, pieceCautions(l)...)
}

// remedyCautions are those for what the remedies lead to.
func remedyCautions(l *Listing, remedies []pricing.Remedy) []Caution {
	var cautions []Caution
	for _, r := range remedies {
		if r.Action != "refinish" {
			continue
		}
		if l.mayHoldLead() {
			cautions = append(cautions, cautionLead)
		}
		cautions = append(cautions, cautionStripper, cautionRags)
		break
	}
	return append(cautions, cautionPooling)
}
