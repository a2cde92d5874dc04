package hedonic

import (
	"slices"
	"strings"

	"askwright/pricing/furniture"
)

// Sizes enter the statistics as they were given: the logs of the known
// Dimensions, by category and by which ones are known. The others are filled in
// when a model is fitted, from the sums alone.

// Dimensions are the columns of the fit for sizes; SlopeIn those of a category.
var Dimensions = [...]string{"width", "depth", "height"}

const (
	dimensionLetters = "wdh"    // of Dimensions, to say which are known
	sizedBy          = "sized@" // + letters of the known ones + ":" + category

	sizePseudoRows = 5.0 // of the covariance within a category, each of the variance:
	sizePseudoVar  = 0.1
)

// SlopeIn names the term of a dimension within a category.
func SlopeIn(category string, dimension int) string {
	return Dimensions[dimension] + "_slope:" + category
}

// addSize adds the terms of a size: "width@wd:desk" is the log of the width of
// a desk of which width and depth are known, "sized@wd:desk" 1 for any such.
func addSize(add func(string, float64), a furniture.Attributes) {
	logs, known := a.LogDimensions()
	letters := ""
	for i, is := range known {
		if is {
			letters += dimensionLetters[i : i+1]
		}
	}
	add(sizedBy+letters+":"+a.Category, 1)
	for i, x := range logs {
		add(Dimensions[i]+"@"+letters+":"+a.Category, x)
	}
}

// sizeTerm is a term of a size, taken apart.
type sizeTerm struct {
	dimension int // of the value; −1: the term only says which are known
	known     [3]bool
	rest      string // letters and category
	category  string
}

func readSizeTerm(name string) (sizeTerm, bool) {
	dimension, rest, ok := strings.Cut(name, "@")
	letters, category, _ := strings.Cut(rest, ":")
	t := sizeTerm{dimension: slices.Index(Dimensions[:], dimension), rest: rest, category: category}
	for i := range t.known {
		t.known[i] = strings.Contains(letters, dimensionLetters[i:i+1])
	}
	return t, ok
}

// sizeFill is what sales tell of sizes: the means of the logs in each category,
// with one pseudo-row of the mean over all, and their covariance within one.
type sizeFill struct {
	means      map[string][3]float64
	overall    [3]float64
	covariance [3][3]float64 // of fully sized sales
}

func newSizeFill(s *Statistics, used []int) sizeFill {
	place := make(map[string]int, len(used))
	for _, i := range used {
		place[s.Names[i]] = i
	}
	product := func(a, b string) float64 {
		i, is := place[a]
		j, too := place[b]
		if !is || !too {
			return 0
		}
		return s.product(i, j)
	}
	f := sizeFill{means: map[string][3]float64{}}
	counts, rows := map[string][3]float64{}, sizePseudoRows
	var n [3]float64
	for _, i := range used {
		t, ok := readSizeTerm(s.Names[i])
		if !ok || t.dimension >= 0 {
			continue
		}
		weight := s.product(i, i)
		sums, count := f.means[t.category], counts[t.category]
		for j, is := range t.known {
			if is {
				sum := product(s.Names[i], Dimensions[j]+"@"+t.rest)
				sums[j], count[j] = sums[j]+sum, count[j]+weight
				f.overall[j], n[j] = f.overall[j]+sum, n[j]+weight
			}
		}
		f.means[t.category], counts[t.category] = sums, count
		if t.known == [3]bool{true, true, true} && weight > 1e-9 {
			rows += weight
			for j, a := range Dimensions {
				for k, b := range Dimensions {
					about := product(s.Names[i], a+"@"+t.rest) * product(s.Names[i], b+"@"+t.rest) / weight
					f.covariance[j][k] += product(a+"@"+t.rest, b+"@"+t.rest) - about
				}
			}
		}
	}
	for j := range f.overall {
		f.overall[j] /= max(n[j], 1e-9)
		f.covariance[j][j] += sizePseudoRows * sizePseudoVar
		for k := range f.covariance[j] {
			f.covariance[j][k] /= rows
		}
	}
	for category, sums := range f.means {
		for j := range sums {
			sums[j] = (sums[j] + f.overall[j]) / (counts[category][j] + 1)
		}
		f.means[category] = sums
	}
	return f
}

// slopes of the regression of an unknown dimension on the known ones within a
// category; zero at the others.
func (f sizeFill) slopes(unknown int, known [3]bool) (b [3]float64) {
	var at []int
	for j, is := range known {
		if is {
			at = append(at, j)
		}
	}
	c := f.covariance
	switch len(at) {
	case 1:
		b[at[0]] = c[unknown][at[0]] / c[at[0]][at[0]]
	case 2:
		i, j := at[0], at[1]
		determinant := c[i][i]*c[j][j] - c[i][j]*c[i][j]
		b[i] = (c[unknown][i]*c[j][j] - c[unknown][j]*c[i][j]) / determinant
		b[j] = (c[unknown][j]*c[i][i] - c[unknown][i]*c[i][j]) / determinant
	}
	return b
}

// factors are what one of a term adds to the log of each dimension: over the
// mean of all sales, and over that of the category for the category's slopes, so
// that an effect of a category is that at its usual size.
func (f sizeFill) factors(t sizeTerm) (overAll, inCategory [3]float64) {
	means, ok := f.means[t.category]
	if !ok {
		means = f.overall
	}
	for u, known := range t.known {
		filled := 0.0
		switch {
		case known && t.dimension == u:
			filled = 1
		case known:
		case t.dimension >= 0:
			filled = f.slopes(u, t.known)[t.dimension]
		default:
			filled = means[u]
			for k, b := range f.slopes(u, t.known) {
				filled -= b * means[k]
			}
		}
		overAll[u], inCategory[u] = filled, filled
		if t.dimension < 0 {
			overAll[u] -= f.overall[u]
			inCategory[u] -= means[u]
		}
	}
	return overAll, inCategory
}
