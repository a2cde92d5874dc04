package board

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"askwright/api/chart"
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service/prose"
)

// How figures and words are written on pages. A figure stands in a data
// element, whose value is what the API answers; what is seen is rounded for
// reading, as in the sentences.

var boardFuncs = template.FuncMap{
	"word":   func(s string) string { return strings.ReplaceAll(s, "_", " ") },
	"amount": func(n any) template.HTML { return figure(n, readable) },
	"exact":  func(n any) template.HTML { return figure(n, wire.Trimmed) },
	"plain": func(n any) template.HTML {
		return figure(n, func(x float64, _ string) string { return strconv.FormatFloat(x, 'f', -1, 64) })
	},
	"signed": func(n any) template.HTML {
		return figure(n, func(x float64, s string) string { return withSign(x, readable(x, s)) })
	},
	"points": func(n any) template.HTML {
		return figure(n, func(x float64, _ string) string { return withSign(x, fmt.Sprintf("%.0f", x)) })
	},
	"percent": func(n any) template.HTML {
		return figure(n, func(x float64, _ string) string { return fmt.Sprintf("%.0f", x) })
	},
	"share": func(n any) template.HTML {
		return figure(n, func(x float64, _ string) string { return fmt.Sprintf("%.0f", 100*x) })
	},
	"glyph":    glyph,
	"task":     taskOf,
	"above":    aboveFair,
	"said":     wire.Said,
	"some":     func(n web.Number) bool { return asFloat(n) != 0 },
	"why":      func(reason string) string { return prose.Causes[reason] },
	"check":    func(name string) string { return wire.CheckWords[name] },
	"minutes":  func(seconds int) int { return seconds / 60 },
	"balanced": balanced,
	"lengths":  lengthsIn,
	"undo":     func(p *storyPage, h happening) undoForm { return undoForm{p.Row.ID, h.ID, h.Text} },
	"signs":    func() template.HTML { return chart.Signs },
	"chart":    ageChart,
	"fair":     fairChart,
	"survival": survivalChart,
	"plural": func(n int, one, many string) string {
		if n == 1 {
			return one
		}
		return many
	},
}

// figure writes a number of the API, or nothing where there is none.
func figure(n any, show func(float64, string) string) template.HTML {
	var text string
	switch n := n.(type) {
	case web.Number:
		text = string(n)
	case *web.Number:
		text = n.Text()
	case int:
		text = strconv.Itoa(n)
	case *int:
		text = wire.OptionalCount(n)
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return ""
	}
	return template.HTML(`<data value="` + text + `">` + show(x, text) + `</data>`) //nolint:gosec // text was read as a number
}

// readable rounds an amount as the sentences do.
func readable(x float64, _ string) string {
	if math.Abs(x) < 10 && x != math.Trunc(x) {
		return fmt.Sprintf("%.2f", x)
	}
	return fmt.Sprintf("%.0f", math.Round(x)+0) // no -0
}

func withSign(x float64, text string) string {
	if strings.Trim(text, "-0.") == "" {
		return "0"
	}
	if x > 0 {
		return "+" + text
	}
	return strings.Replace(text, "-", "−", 1)
}

// glyph draws a state so that its shape tells it.
func glyph(state string) template.HTML {
	switch state {
	case "stale", "slow", "fresh", "paused":
		return template.HTML(`<svg class="g" aria-hidden="true"><use href="#` + state + `"/></svg>`) //nolint:gosec // one of four words
	}
	return ""
}

// balanced is the choice that the ask of an answer is.
func balanced(s *wire.Suggestion) *wire.Choice {
	for i := range s.Choices {
		if s.Choices[i].Name == "balanced" {
			return &s.Choices[i]
		}
	}
	return nil
}

// task is the one thing to do about a listing today.
type task struct {
	Text string      // empty: nothing
	Gain *web.Number // over waiting; nil: not known
}

// taskOf a review: the best remedy of a stale listing; otherwise a cheap thing
// to check, where there is one.
func taskOf(r wire.Review) task {
	if r.State == "stale" && len(r.Remedies) > 0 {
		return task{Text: r.Best().Text, Gain: &r.Gain}
	}
	if (r.State == "slow" || r.State == "paused") && len(r.Checks) > 0 {
		return task{Text: wire.CheckWords[r.Checks[0]]}
	}
	return task{}
}

func asFloat(n web.Number) float64 {
	x, err := strconv.ParseFloat(string(n), 64)
	if err != nil {
		return math.NaN()
	}
	return x
}
