package demo

// category is a kind of furniture in this market.
type category struct {
	name   string
	weight float64 // how often it turns up
	worth  float64 // dollars paid for one of usual size, in good condition
	size   float64 // exponent of the volume
	pace   float64 // log of how much faster than usual it sells

	width, depth, height float64 // usual, in inches
	drawers, doors       int
	hours                float64 // bench hours when painted
	sets                 []int   // sold together; nil: always alone
}

var categories = []category{
	{"dresser", 10, 310, 0.40, 0.10, 54, 19, 33, 6, 0, 10, nil},
	{"chest_of_drawers", 7, 225, 0.40, 0.10, 35, 18, 46, 5, 0, 9, nil},
	{"nightstand", 10, 88, 0.35, 0.35, 22, 16, 26, 2, 0, 3, []int{2, 2, 2, 1}},
	{"vanity", 3, 207, 0.35, -0.10, 44, 18, 30, 5, 0, 9, nil},
	{"sideboard", 9, 315, 0.40, 0.15, 60, 18, 33, 3, 2, 11, nil},
	{"hutch", 3, 261, -0.10, -0.35, 46, 17, 74, 2, 4, 14, nil},
	{"cabinet", 7, 171, 0.40, 0, 32, 16, 40, 1, 2, 7, nil},
	{"console_table", 5, 148, 0.35, 0.15, 48, 14, 31, 2, 0, 4, nil},
	{"coffee_table", 7, 117, 0.35, 0.10, 45, 24, 17, 0, 0, 4, nil},
	{"end_table", 5, 61, 0.35, 0, 22, 20, 24, 1, 0, 2.5, []int{2, 2, 1}},
	{"dining_table", 6, 270, 0.45, -0.15, 66, 38, 30, 0, 0, 8, nil},
	{"dining_chair", 6, 45, 0.20, -0.10, 19, 20, 36, 0, 0, 2.5, []int{4, 4, 6, 6, 2, 1}},
	{"bookcase", 7, 135, 0.45, 0.15, 36, 13, 62, 0, 0, 6, nil},
	{"desk", 8, 184, 0.35, 0, 48, 24, 30, 4, 0, 7, nil},
	{"secretary", 3, 230, 0.30, -0.20, 34, 18, 62, 4, 2, 12, nil},
	{"media_stand", 5, 176, 0.30, 0.05, 56, 17, 24, 1, 2, 7, nil},
	{"wardrobe", 3, 261, -0.05, -0.30, 42, 22, 74, 1, 2, 14, nil},
	{"bench", 4, 94, 0.35, 0.10, 46, 16, 19, 0, 0, 3, nil},
	{"trunk", 3, 108, 0.35, -0.05, 38, 20, 21, 0, 0, 4, nil},
	{"mirror", 4, 72, 0.40, 0, 28, 2, 40, 0, 0, 2, nil},
}

func categoryNamed(name string) *category {
	for i := range categories {
		if categories[i].name == name {
			return &categories[i]
		}
	}
	panic("demo: no category " + name)
}

// trait is one level of an attribute: how often it occurs, and what it does to
// the log of the worth and to the log of the pace of sale.
type trait struct {
	name                string
	weight, worth, pace float64
}

type traits []trait

// of returns the trait of that name; a name not listed has no effects.
func (t traits) of(name string) trait {
	for _, v := range t {
		if v.name == name {
			return v
		}
	}
	return trait{}
}

var (
	materials = traits{
		{"solid_wood", 60, 0.08, 0}, {"veneer", 24, 0, 0}, {"laminate", 6, -0.20, -0.1},
		{"mdf", 5, -0.15, 0}, {"particle_board", 5, -0.28, -0.1},
	}
	woods = traits{
		{"pine", 20, -0.06, 0}, {"oak", 26, 0.03, 0.05}, {"walnut", 13, 0.16, 0.1},
		{"mahogany", 12, 0.06, 0}, {"maple", 10, 0.03, 0}, {"teak", 4, 0.22, 0.1},
		{"cherry", 6, 0.06, 0}, {"birch", 5, -0.02, 0}, {"unknown_hardwood", 8, 0, 0},
	}
	woodFinishes = traits{
		{"original", 6, -0.08, -0.2}, {"cleaned", 22, -0.01, 0}, {"clear", 26, 0.09, 0.15},
		{"stained", 14, 0.02, 0}, {"oiled", 12, 0.07, 0.05}, {"waxed", 14, 0.03, 0},
		{"raw", 3, -0.10, -0.1},
	}
	paintFinishes = traits{
		{"painted", 64, -0.01, 0}, {"two_tone", 22, 0.06, 0.1},
		{"distressed", 9, -0.10, -0.5}, {"whitewashed", 5, -0.03, -0.1},
	}
	paints = traits{
		{"white", 20, 0.02, 0.05}, {"off_white", 14, 0.02, 0.05}, {"black", 14, 0.03, 0},
		{"grey", 16, -0.05, -0.3}, {"navy", 13, 0.05, 0.1}, {"green", 13, 0.06, 0.15},
		{"blue", 5, -0.01, 0}, {"pink", 2, -0.11, -0.6}, {"yellow", 2, -0.09, -0.5},
		{"beige", 4, -0.01, 0},
	}
	fittings = traits{
		{"original", 46, 0, 0}, {"polished", 18, 0.02, 0}, {"painted", 10, -0.02, -0.05},
		{"replaced", 22, 0.05, 0.1}, {"missing", 4, -0.12, -0.2},
	}
	styles = traits{
		{"mid_century", 26, 0, 0}, {"traditional", 26, 0, 0}, {"farmhouse", 18, 0, 0},
		{"shaker", 12, 0, 0}, {"art_deco", 8, 0, 0}, {"cottage", 10, 0, 0},
	}
	sources = traits{
		{"private", 38, 0, 0}, {"estate_sale", 20, 0, 0}, {"thrift", 18, 0, 0},
		{"auction", 8, 0, 0}, {"kerb", 10, 0, 0}, {"dealer", 3, 0, 0}, {"other", 3, 0, 0},
	}
	sheens   = traits{{"matte", 12, 0, 0}, {"eggshell", 14, 0, 0}, {"satin", 58, 0, 0}, {"semi_gloss", 16, 0, 0}}
	topcoats = traits{{"water_clear", 60, 0, 0}, {"oil_clear", 16, 0, 0}, {"wax", 14, 0, 0}, {"none", 10, 0, 0}}
)

var (
	woodTones = map[string]string{
		"walnut": "dark_wood", "mahogany": "dark_wood", "cherry": "mid_wood", "teak": "mid_wood",
		"oak": "mid_wood", "unknown_hardwood": "mid_wood", "pine": "light_wood", "maple": "light_wood", "birch": "natural",
	}
	prizedWoods = map[string]bool{"walnut": true, "teak": true, "mahogany": true, "cherry": true}
	boards      = map[string]bool{"laminate": true, "mdf": true, "particle_board": true}
	painted     = map[string]bool{"painted": true, "two_tone": true, "distressed": true, "whitewashed": true}

	conditions = [...]string{1: "poor", 2: "fair", 3: "good", 4: "very_good", 5: "excellent"}

	venues = []string{
		"local classifieds; porch sale board", "local classifieds", "neighborhood group",
		"local classifieds; neighborhood group", "flea market stall",
	}
	areas  = []string{"Otterford", "Otterford", "Otterford north bank", "Lower Otterford"}
	flaws  = []string{"one drawer sticks", "veneer chip at the back edge", "water ring under the finish", "old repair on one leg", "slight wobble", "scratch on the left side"}
	smells = []string{"slight musty smell inside", "smoke smell", "moth balls"}
	makers = []string{"unsigned", "paper label, unreadable", "stamped number only"}
)

// finishOnWood is what buyers pay beside the effects of finish and wood alone:
// paint hides what a prized wood is bought for and lifts a plain one.
func finishOnWood(finish, wood, material string) float64 {
	switch {
	case painted[finish] && prizedWoods[wood]:
		return -0.12
	case painted[finish] && (wood == "pine" || boards[material]):
		return 0.08
	case finish == "clear" && wood == "oak":
		return 0.05
	}
	return 0
}
