package refinish

import (
	"fmt"
	"slices"

	"askwright/pricing/furniture"
)

// Look is what the surface is to become. An empty color means any.
type Look struct {
	Finish, Color string
	SecondFinish  string // of a two_tone piece: the part that is not painted; empty: clear
	SecondColor   string
	SecondPart    string // which part that is; empty: the top
	Topcoat       string // empty: the usual one
	Condition     int    // grade when done; 0: as it is
}

// Reasons why work is refused.
const (
	FinishNotPossible = "finish_not_possible" // on the material
	NoSuchFinish      = "no_such_finish"      // nobody knows how it is made
	SameLook          = "same_look"           // the piece has it
	CannotGoBack      = "cannot_go_back"      // an original finish does not come back
	TooCold           = "too_cold"            // for a water-based product
	PriceUnknown      = "price_unknown"       // of a product
	LevelsUnsold      = "too_few_of_look"     // too few sales of the finish or color
	WorkImpossible    = "work_impossible"     // no hours a week, no surface
)

// woodLooks show the wood; whitewash lets its grain show through.
var woodLooks = []string{"clear", "stained", "oiled", "waxed", "raw", "whitewashed"}

// paintLooks hide it, at least in part.
var paintLooks = []string{"painted", "distressed", "two_tone"}

// woodTones are those of wood left as it is, or stained.
var woodTones = []string{"natural", "light_wood", "mid_wood", "dark_wood"}

func showsWood(finish string) bool { return slices.Contains(woodLooks, finish) }

// IsPaint reports whether a finish hides the wood, at least in part.
func IsPaint(finish string) bool { return slices.Contains(paintLooks, finish) }

// IsWoodTone reports whether a color is that of wood left as it is, or stained.
func IsWoodTone(color string) bool { return slices.Contains(woodTones, color) }

// hasNoWood reports whether there is no wood to show: under laminate, foil,
// particle board or MDF, and in what is no wood at all.
func hasNoWood(material string) bool {
	switch material {
	case "laminate", "foil", "particle_board", "mdf", "metal", "glass", "stone", "upholstered":
		return true
	}
	return false
}

// WhyNot says why a look cannot be given to a piece; nil where it can. Every
// way to a look asks it before anything is ranked. Common practice, no source.
func WhyNot(a furniture.Attributes, look Look) *furniture.Refusal {
	refuse := func(reason, format string, args ...any) *furniture.Refusal {
		return &furniture.Refusal{Reason: reason, Detail: fmt.Sprintf(format, args...)}
	}
	f := look.Finish
	switch {
	case f == "":
		return refuse(NoSuchFinish, "Say which finish is planned.")
	case look.isOn(a):
		return refuse(SameLook, "The piece has that look already.")
	case f == "original":
		return refuse(CannotGoBack, "An original finish does not come back once it is gone.")
	case f == "cleaned" && !slices.Contains([]string{"", "original", "cleaned"}, a.Finish):
		return refuse(CannotGoBack, "Cleaning keeps the finish that is on the piece: it is %s.", furniture.Words(a.Finish))
	case showsWood(f) && hasNoWood(a.Material):
		return refuse(FinishNotPossible, "There is no wood to show: %s takes no %s finish.",
			furniture.Words(a.Material), furniture.Words(f))
	case IsPaint(f) && (a.Material == "glass" || a.Material == "stone"):
		return refuse(FinishNotPossible, "Paint does not last on %s.", furniture.Words(a.Material))
	case f == "two_tone" && hasNoWood(a.Material) && !IsPaint(look.SecondFinish):
		return refuse(FinishNotPossible, "There is no wood to show in the second part: on %s both parts have to be painted.", furniture.Words(a.Material))
	}
	return nil
}

// isOn reports whether a piece has the look already.
func (look Look) isOn(a furniture.Attributes) bool {
	same := func(wanted, present string) bool { return wanted == "" || wanted == present }
	return look.Finish == a.Finish && look.Condition <= a.Condition && same(look.Color, a.Color) &&
		same(look.SecondFinish, a.SecondFinish) && same(look.SecondColor, a.SecondColor)
}

// unplanned refuses also what nobody has a plan for.
func unplanned(look Look) *furniture.Refusal {
	if look.Finish == "cleaned" || showsWood(look.Finish) || IsPaint(look.Finish) {
		return nil
	}
	const detail = "There is no plan for %s: give it a price of your own in refinish_options."
	return &furniture.Refusal{Reason: NoSuchFinish, Detail: fmt.Sprintf(detail, furniture.Words(look.Finish))}
}

// Warning is something to mind that changes no figure. The figures of an
// unusual size are lengths in centimetres.
type Warning struct {
	Code, Text      string
	Subject         string // of an unusual size: which
	Have, Low, High float64
}

// warnings are what to mind with a look on a piece. Common practice, no source.
func warnings(a furniture.Attributes, look Look) []Warning {
	var out []Warning
	warn := func(applies bool, code, text string) {
		if applies {
			out = append(out, Warning{Code: code, Text: text})
		}
	}
	paints, strips := IsPaint(look.Finish) || look.Finish == "whitewashed", look.strips(a.Finish)
	warn(a.Material == "veneer" && (strips || paints), "sand_through", "Veneer is thin: sand by hand and stop before the edges go through.")
	warn(look.Finish != "cleaned" && slices.Contains(waxed, a.Finish), "wax_or_silicone",
		"Nothing sticks on wax, oil or silicone polish until it is off: clean with a solvent first and try a small spot.")
	warn(paints && isPale(look.Color) && slices.Contains(yellowing, look.Topcoat), "yellowing", "An oil-based clear coat yellows over white: take a water-based one.")
	warn(paints && look.bleeds(a), "bleed_through", "This wood bleeds through pale paint: block it first, knots twice.")
	warn(paints && slices.Contains(prized, a.Wood), "paint_lowers_value",
		"Paint on sought-after wood can lower its value for good.")
	warn(paints && a.Maker != "", "maker", "Paint can lower the value of a good maker's piece: find out first.")
	warn(a.Material == "upholstered", "upholstered", "Only the wood that shows is reckoned; the cover is masked.")
	warn(a.Material == "" && (showsWood(look.Finish) || look.Finish == "two_tone"), "material_unknown", "The material is unknown: on laminate, foil or board there is no wood to show.")
	warn(a.Material == "rattan_cane" && strips, "cane", "Cane does not bear stripper or sanding: only its frame does.")
	return out
}

var (
	waxed     = []string{"", "original", "cleaned", "waxed", "oiled"} // or polished, as far as is known
	yellowing = []string{"oil", "oil_clear"}
	prized    = []string{"teak", "walnut", "rosewood"}
	pale      = []string{"white", "off_white", "beige", "pink", "yellow", "grey"}
	knotty    = []string{"pine", "knotty_pine", "cedar"}
	bleeding  = []string{"cherry", "mahogany", "oak", "rosewood"}
)

func isPale(color string) bool { return slices.Contains(pale, color) }

// bleeds reports whether the wood comes through the paint: knots through any,
// tannin and dye through a pale one.
func (look Look) bleeds(a furniture.Attributes) bool {
	return slices.Contains(knotty, a.Wood) || (slices.Contains(bleeding, a.Wood) && isPale(look.Color))
}

// strips reports whether the old finish has to go.
func (look Look) strips(present string) bool { return showsWood(look.Finish) && present != "raw" }

// On is a piece in this look.
func (look Look) On(a furniture.Attributes) furniture.Attributes {
	a.Finish, a.Color, a.SecondFinish, a.SecondColor = look.Finish, look.Color, look.SecondFinish, look.SecondColor
	if look.Condition > 0 {
		a.Condition = look.Condition
	}
	return a
}

// Planned is a look with what the plan says of all: the topcoat, the condition
// that repairs make of the piece, and the second part of a two_tone one.
func (look Look) Planned(plan Look) Look {
	if look.Finish == "cleaned" {
		return look // nothing is repaired
	}
	look.Topcoat, look.Condition = plan.Topcoat, plan.Condition
	if look.Finish == "two_tone" {
		look.SecondFinish, look.SecondColor, look.SecondPart = plan.SecondFinish, plan.SecondColor, plan.SecondPart
	}
	return look
}
