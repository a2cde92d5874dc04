package service

import (
	"slices"
)

// Inspection is something to look at before paying for a find.
type Inspection struct {
	Code   string
	Text   string
	Source string
}

const commonPractice = "common practice, no source"

// inspections is the one table of them, in the order in which answers list
// them. What was told of the piece is not asked again.
var inspections = []struct {
	Inspection
	kinds   []string // of which it is asked; nil: of all
	applies func(*Listing) bool
}{
	{Inspection{"condition", "Its condition, part by part, also where it stood against the wall", commonPractice}, nil, func(l *Listing) bool { return l.Condition == 0 }},
	{Inspection{"material", "What it is made of: look under and behind, and at the edges", commonPractice}, nil, func(l *Listing) bool { return l.Material == "" }},
	{Inspection{"smell", "Its smell, with drawers and doors open: smoke and damp come back through paint", commonPractice}, nil, func(l *Listing) bool { return l.Smell == "" }},
	{Inspection{"lifting_veneer", "Veneer that lifts or is missing: press the edges and the foot", commonPractice}, nil, func(l *Listing) bool { return l.Flaws == "" && l.Material == "veneer" }},
	{Inspection{"woodworm", "Small round holes with fresh dust: woodworm", commonPractice}, nil, func(l *Listing) bool {
		return l.Flaws == "" && (l.Material == "" || l.Material == "solid_wood")
	}},
	{Inspection{"drawers_run", "Every drawer: whether it runs, its bottom holds and its joints are tight", commonPractice},
		[]string{"dresser", "chest_of_drawers", "nightstand", "vanity", "sideboard", "desk", "secretary"}, noFlawsTold},
	{Inspection{"doors_close", "Every door: whether it hangs straight, closes and stays closed", commonPractice},
		[]string{"cabinet", "hutch", "wardrobe", "media_stand"}, noFlawsTold},
	{Inspection{"loose_joints", "Its joints: lean on it and rock it on all legs", commonPractice},
		[]string{"dining_chair", "armchair", "stool", "bench", "dining_table", "bed_frame"}, noFlawsTold},
	{Inspection{"top", "Its top: sight along it for a warp; look for burns, rings and worn veneer", commonPractice},
		[]string{"dining_table", "coffee_table", "console_table", "end_table", "bar_cart"}, noFlawsTold},
	{Inspection{"leaves", "Its leaves: whether they are there, fit, and match the top", commonPractice}, []string{"dining_table"}, noFlawsTold},
	{Inspection{"shelves", "Its shelves: whether they are all there and do not sag", commonPractice}, []string{"bookcase", "hutch"}, noFlawsTold},
	{Inspection{"comes_apart", "Whether it comes apart, and fits stairs, doors and your car", commonPractice}, []string{"wardrobe", "hutch"}, always},
	{Inspection{"rails", "Rails, slats and bolts: whether all are there, and which mattress fits", commonPractice}, []string{"bed_frame", "headboard"}, always},
	{Inspection{"glass", "The glass: chips at its edge, black spots in its silver", commonPractice}, []string{"mirror"}, noFlawsTold},
	{Inspection{"lid", "Its lid: whether it stays open by itself and its hinges hold", commonPractice}, []string{"trunk"}, noFlawsTold},
	{Inspection{"seams", "Seams and underside, for bed bugs: leave it where there is any sign", commonPractice}, nil, func(l *Listing) bool {
		return l.Material == "upholstered" || (l.Material == "" && l.Category == "armchair")
	}},
	{Inspection{"fellow", "Where its fellow is: one alone brings less than half of what a pair does", commonPractice},
		[]string{"nightstand", "end_table", "dining_chair", "stool"}, func(l *Listing) bool { return l.SetSize < 2 }},
	{Inspection{"hardware_complete", "Pulls, hinges and locks: all there, all alike", commonPractice}, nil, func(l *Listing) bool { return l.Hardware == "" }},
}

func always(*Listing) bool { return true }

func noFlawsTold(l *Listing) bool { return l.Flaws == "" }

// Inspect is what to look at before paying for the piece as it stands.
func (l *Listing) Inspect() []Inspection {
	var out []Inspection
	for _, one := range inspections {
		if (one.kinds == nil || slices.Contains(one.kinds, l.Category)) && one.applies(l) {
			out = append(out, one.Inspection)
		}
	}
	return out
}
