package service

import (
	"slices"

	"askwright/pricing/refinish"
)

// Caution is a usual warning that an answer carries when it applies. The
// reader's own local codes and licensed practice decide. It changes no figure.
type Caution struct {
	Code   string
	Text   string
	Source string // of the rule, or "common practice"
}

// cautionRule is a caution with when it applies, in words.
type cautionRule struct {
	Caution
	When    string
	applies func(Occasion) bool
}

// Occasion is what an answer leads its reader to do with a piece.
type Occasion struct {
	Piece *Listing         // nil: with none in particular
	Work  []*refinish.Work // on it
	Deeds deed
}

type deed uint8

// ToPrice and the others are what an answer may lead to.
const (
	ToPrice    deed = 1 << iota // set what is asked
	ToSell                      // sell what was used before
	ToMeet                      // meet a buyer
	ToHandOver                  // have the piece in a home, one's own or a buyer's
	ToAccount                   // reckon what was earned

	ToOffer = ToPrice | ToSell | ToMeet | ToHandOver
)

// cautionRules is the one table of them, in the order in which answers list
// them.
// Statutes and regulations are those of the United States; elsewhere the local
// ones apply.
var cautionRules = []cautionRule{
	{
		Caution{
			"lead", "An old finish may hold lead, above all before 1980 or of unknown age, and swab kits miss some: have it tested by a laboratory or treat it as lead, and contain the dust. Local codes and licensed practice decide.",
			"16 CFR 1303",
		},
		"sanding or stripping a finish made before 1980 or of unknown age",
		func(o Occasion) bool {
			return o.mayHoldLead() && o.uses(refinish.ProductSandpaper, refinish.ProductStripper)
		},
	},
	{
		Caution{
			"stripper", "Use no stripper with methylene chloride; ventilate, and wear a respirator that fits the product; no pilot light or spark near solvents.",
			"40 CFR 751 subpart B; 29 CFR 1910.134 (workplaces)",
		},
		"stripping",
		func(o Occasion) bool { return o.uses(refinish.ProductStripper) },
	},
	{
		Caution{
			"spraying", "Spray with ventilation and a respirator that fits the product; no solvent spray near a pilot light or spark.",
			"29 CFR 1910.134 (workplaces)",
		},
		"spraying a coat",
		func(o Occasion) bool {
			return o.does(func(w *refinish.Work) bool { return w.Method == refinish.MethodSpray && w.Look.Finish != "cleaned" })
		},
	},
	{
		Caution{
			"rags", "Rags with oil, stain or solvent can ignite by themselves: lay them flat outdoors or keep them under water in a closed metal can.",
			"common practice",
		},
		"work with oil, stain, wax or a clear coat thinned with solvent",
		func(o Occasion) bool {
			return o.uses(refinish.ProductOil, refinish.ProductStain, refinish.ProductOilClear, refinish.ProductWax)
		},
	},
	{
		Caution{"own_price", "Members share evidence; each decides prices alone: no price agreement.", "common practice; ask a lawyer"},
		"any suggestion of what to ask",
		func(o Occasion) bool { return o.Deeds&ToPrice != 0 },
	},
	{
		Caution{"recall", "Recalled goods may not be sold: check before listing.", "15 U.S.C. 2068"},
		"buying to sell again, offering",
		func(o Occasion) bool { return o.Deeds&ToSell != 0 },
	},
	{
		Caution{"buyers", "Meet buyers in public or accompanied; an overpayment or a courier sent by the buyer is a trick.", "common practice"},
		"offering a piece, answering an offer",
		func(o Occasion) bool { return o.Deeds&ToMeet != 0 },
	},
	{
		Caution{
			"tip_over", "This kind of piece can tip over, the more on taller legs or casters: give an anchor with it and say so to the buyer; units made since September 1, 2023 fall under the stability rule.",
			"16 CFR 1261",
		},
		"dressers, chests of drawers, wardrobes, bookcases, hutches and cabinets that will stand in a home",
		func(o Occasion) bool {
			return o.Deeds&ToHandOver != 0 && slices.Contains(tippingCategories, o.Piece.Category)
		},
	},
	{
		Caution{
			"upholstery", "Look for bed bugs; state law on bedding applies; what is reupholstered since 2021-06-25 falls under the flammability standard.",
			"16 CFR 1640",
		},
		"armchairs and other upholstered pieces that will stand in a home",
		func(o Occasion) bool {
			return o.Deeds&ToHandOver != 0 && (o.Piece.Material == "upholstered" || o.Piece.Category == "armchair")
		},
	},
	{
		Caution{
			"no_tax_advice", "This is a record of what was entered, no tax advice: what counts as income, cost or stock, and when, is for your tax adviser to say.",
			"common practice",
		},
		"the profit report",
		func(o Occasion) bool { return o.Deeds&ToAccount != 0 },
	},
}

var tippingCategories = []string{"dresser", "chest_of_drawers", "wardrobe", "bookcase", "hutch", "cabinet"}

// Cautions are those that apply.
func (o Occasion) Cautions() (out []Caution) {
	for _, rule := range cautionRules {
		if rule.applies(o) {
			out = append(out, rule.Caution)
		}
	}
	return out
}

const leadLimitYear = 1980 // the limit of 1978 and a margin

// mayHoldLead reports whether an old finish is to be treated as lead; a year
// that is not known is 0.
func (o Occasion) mayHoldLead() bool { return o.Piece != nil && o.Piece.YearMade < leadLimitYear }

func (o Occasion) does(what func(*refinish.Work) bool) bool {
	return slices.ContainsFunc(o.Work, what)
}

// uses reports whether some of the work takes one of the products. Work that
// cannot be reckoned may take any.
func (o Occasion) uses(products ...string) bool {
	return o.does(func(w *refinish.Work) bool {
		return w.Refusal != nil || slices.ContainsFunc(w.Products, func(p refinish.Product) bool { return slices.Contains(products, p.Name) })
	})
}
