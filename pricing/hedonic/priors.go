package hedonic

const (
	// Design is the version of the columns and of what is made of them: see pricing.Design.
	Design = 4

	// PriorShape is a0 of the residual variance.
	PriorShape = 2.0
	// PriorSpread is s0, the residual standard deviation expected beforehand.
	PriorSpread = 0.20

	scaleSD = 0.7 // of the log of the common scale g

	errorDF     = 4.0 // ν of the errors of log sale prices
	errorRounds = 8   // of weighing sales
	leastWeight = 0.1 // below, a sale is left out

	leverageMax = 0.95 // of a sale in its own fit, where it is left out of it
)

// normal is the prior of a coefficient.
type normal struct{ mean, sd float64 }

// block is a kind of column of the value model with the prior of its
// coefficients; those of a scaled block share the scale g.
type block struct {
	normal
	scaled bool
}

// blocks are named as in the first part of a term.
func blocks(name string) (block, bool) {
	switch name {
	case "intercept":
		return block{normal{0, 10}, false}, true
	case "width":
		return block{normal{0.50, 0.15}, false}, true
	case "depth", "height":
		return block{normal{0.35, 0.15}, false}, true
	case "set":
		return block{normal{0.85, 0.15}, false}, true
	case "orphan":
		return block{normal{-0.10, 0.15}, false}, true // less than half a pair, which set alone makes 0.55
	case "items":
		return block{normal{0.20, 0.10}, false}, true
	case "with", "width_slope", "depth_slope", "height_slope":
		return block{normal{0, 0.15}, false}, true
	case "condition":
		return block{normal{0.12, 0.06}, false}, true
	case "trend":
		return block{normal{0, 0.05}, false}, true
	case "season_cos", "season_sin":
		return block{normal{0, 0.04}, false}, true
	case "category":
		return block{normal{0, 0.60}, true}, true
	case "material", "wood":
		return block{normal{0, 0.15}, true}, true
	case "finish":
		return block{normal{0, 0.08}, true}, true
	case "color", "hardware", "pair":
		return block{normal{0, 0.06}, true}, true
	}
	return block{}, false
}

// Prior is that of a column's coefficient, its variance over σ², with one common
// scale; false for what is no column.
func Prior(column string, scale float64) (mean, variance float64, ok bool) {
	b, ok := blocks(BlockOf(column))
	sd := b.sd / PriorSpread
	if b.scaled {
		sd *= scale
	}
	return b.mean, sd * sd, ok
}
