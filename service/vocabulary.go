package service

import (
	"slices"
	"strings"
)

// Closed lists: no other value is taken.
var (
	sources    = []string{SourceOwn, SourceObserved}
	stages     = []string{StageFound, StageBought, StageOnBench}
	outcomes   = []string{OutcomeOpen, OutcomeSold, OutcomePulled}
	LetGoAs    = []string{"given_away", "kept", "broken_up", "other"} // how an own piece left without a sale
	units      = []string{UnitInch, UnitCentimetre}
	Conditions = []string{"poor", "fair", "good", "very_good", "excellent"} // grades 1 to 5
)

// PassedFor are the reasons for which a find is not bought.
var PassedFor = []string{"price", "condition", "space", "gone", "other"}

// letGoReasons are all of both.
var letGoReasons = slices.Concat(PassedFor[:len(PassedFor)-1], LetGoAs)

// Open lists: these are known, others are taken and reported as new.
// Common practice, no source.
var (
	Categories = []string{
		"dresser", "chest_of_drawers", "nightstand", "vanity", "sideboard", "hutch", "cabinet", "console_table",
		"coffee_table", "end_table", "dining_table", "dining_chair", "armchair", "stool", "bench", "bookcase", "desk",
		"secretary", "media_stand", "wardrobe", "headboard", "bed_frame", "trunk", "mirror", "bar_cart",
	}
	materials = []string{
		"solid_wood", "veneer", "laminate", "particle_board", "mdf", "metal", "rattan_cane", "glass", "stone",
		"upholstered", "mixed",
	}
	woods = []string{
		"pine", "knotty_pine", "oak", "walnut", "mahogany", "cherry", "maple", "birch", "teak", "rosewood", "ash",
		"beech", "elm", "cedar", "unknown_hardwood",
	}
	finishes = []string{
		"original", "cleaned", "clear", "stained", "oiled", "waxed", "painted", "distressed", "whitewashed", "raw",
		"two_tone",
	}
	Topcoats = []string{"none", "wax", "oil", "water_clear", "oil_clear", "lacquer", "shellac"}
	sheens   = []string{"matte", "eggshell", "satin", "semi_gloss", "gloss"}
	colors   = []string{
		"white", "off_white", "black", "grey", "navy", "blue", "green", "beige", "brown", "red", "pink", "yellow",
		"natural", "light_wood", "mid_wood", "dark_wood",
	}
	hardware    = []string{"original", "polished", "painted", "replaced", "missing", "none"}
	boughtFroms = []string{"private", "estate_sale", "thrift", "auction", "kerb", "dealer", "other"}
)

// aliases keep one thing from splintering over several words.
var aliases = map[string]string{
	"buffet": "sideboard", "credenza": "sideboard", "tallboy": "chest_of_drawers", "bedside_table": "nightstand",
	"armoire": "wardrobe", "tv_stand": "media_stand", "gray": "grey", "ivory": "off_white",
}

// Canonical turns a word as people type it into lower_snake and applies
// the aliases.
func Canonical(s string) string {
	fields := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return r == ' ' || r == '-' || r == '_' })
	word := strings.Join(fields, "_")
	if known, ok := aliases[word]; ok {
		return known
	}
	return word
}

// CanonicalWord is how a word of a list is written on file.
func CanonicalWord(s string) string { return Canonical(s) }

// Nearest returns the known word that was probably meant by s, or "".
func Nearest(s string, known []string) string { return nearest(s, known) }

// nearest returns the known word with the fewest edits to s, or "" where none
// is near enough to be meant.
func nearest(s string, known []string) string {
	best, bestEdits := "", len(s)/3+1
	for _, k := range known {
		if edits := editDistance(s, k); edits <= bestEdits && (best == "" || edits < bestEdits) {
			best, bestEdits = k, edits
		}
	}
	return best
}

// Edits counts the edits between two words.
func Edits(a, b string) int { return editDistance(a, b) }

// editDistance is the Levenshtein distance in bytes.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			substitute := diagonal
			if a[i-1] != b[j-1] {
				substitute++
			}
			diagonal = row[j]
			row[j] = min(substitute, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}

// IsOneOf reports whether a word is among those allowed.
func IsOneOf(word string, allowed []string) bool { return slices.Contains(allowed, word) }
