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
	"askwright/pricing"
	"askwright/service"
	"askwright/service/prose"
)

// How figures and words are written on pages. A figure stands in a data
// element, whose value is what the API answers; what is seen is rounded for
// reading, as in the sentences.

// funcsIn are the functions of templates, for amounts in a currency.
func funcsIn(c service.Currency) template.FuncMap {
	voice := prose.In(c)
	money := func(n any, write func(float64) string) template.HTML {
		return figure(n, func(x float64, text string) string {
			if isCount(n) {
				return text
			}
			return write(x)
		})
	}
	return template.FuncMap{
		"word":   inWords,
		"amount": func(n any) template.HTML { return money(n, voice.Money) },
		"exact":  func(n any) template.HTML { return money(n, voice.Amount) },
		"plain": func(n any) template.HTML {
			return figure(n, func(x float64, _ string) string { return strconv.FormatFloat(x, 'f', -1, 64) })
		},
		"hours": func(n any) template.HTML {
			return figure(n, func(x float64, _ string) string { return prose.Hours(x) })
		},
		"signed": func(n any) template.HTML {
			return money(n, func(x float64) string { return withSign(x, voice.Money(x)) })
		},
		"points": func(n any) template.HTML {
			return figure(n, func(x float64, _ string) string { return withSign(x, fmt.Sprintf("%.0f", x)) + "%" })
		},
		"percent": func(n any) template.HTML {
			return figure(n, func(x float64, _ string) string { return fmt.Sprintf("%.0f%%", x) })
		},
		"share": func(n any) template.HTML {
			return figure(n, func(x float64, _ string) string { return fmt.Sprintf("%.0f%%", 100*x) })
		},
		"chance": func(n any) template.HTML {
			return figure(n, func(x float64, _ string) string { return prose.Chance(x) })
		},
		"day":      dayInWords,
		"glyph":    glyph,
		"task":     taskOf,
		"plan":     planOf,
		"above":    aboveFair,
		"said":     wire.Said,
		"some":     func(n web.Number) bool { return asFloat(n) != 0 },
		"why":      func(reason string) string { return prose.Causes[reason] },
		"minutes":  func(seconds int) int { return seconds / 60 },
		"balanced": balanced,
		"lengths":  lengthsIn,
		"undo":     undoOf,
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
}

// isCount tells a count from an amount of money.
func isCount(n any) bool {
	switch n.(type) {
	case int, *int:
		return true
	}
	return false
}

// wordsFor are what people say for words of lists, where the words themselves are
// not plain.
var wordsFor = map[string]string{
	"no_show": "they didn't come", "cancelled": "I called it off", "given_away": "donated or given away", "kept": "kept it", "broken_up": "parted out",
	"on_bench": "on the bench", "found": "find", "open": "listed", "gone": "already gone", "space": "no room",
	"purchase_cost": "the piece itself", "pickup_cost": "pickup", "materials_cost": "materials", "other_cost": "something else", "fees": "venue fees",
	"delivery_cost": "delivery, what it cost me", "delivery_charged": "delivery, what they paid me", "hours": "bench hours", "hours_other": "other hours",
	"take": "yes", "refuse": "no", "counter": "a counteroffer", "mdf": "MDF", "two_tone": "two-tone", "off_white": "off-white", "mid_century": "mid-century",
	"feed": "read-only link", "in": "inches", "cm": "centimeters", "mdy": "month/day/year", "dmy": "day/month/year", "own_price": "own price",
	"board session": "a signed-in device", "planned_finish": "finish", "planned_condition": "condition when done", "sale_price": "sale price", "transport": "pickup",
}

func inWords(s string) string {
	if words, ok := wordsFor[s]; ok {
		return words
	}
	if words, ok := prose.Checks[s]; ok {
		return words
	}
	return service.InWords(s)
}

// dayInWords writes a day as people do: Dec 12; of another year Dec 12, 2025.
func dayInWords(on any, today pricing.Date) template.HTML {
	day, known := on.(pricing.Date)
	if text := fmt.Sprint(on); !known {
		var err error
		if p, ok := on.(*string); ok && p != nil {
			text = *p
		}
		if day, err = pricing.ParseDate(text); err != nil {
			return ""
		}
	}
	if day.IsZero() {
		return ""
	}
	return template.HTML(`<time datetime="` + day.String() + `">` + prose.Day(day, today) + `</time>`) //nolint:gosec // of a day
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

// withSign puts + before what is above zero; money has its own −.
func withSign(x float64, text string) string {
	if strings.Trim(text, "-−0.$€£ABCDEFGHIJKLMNOPQRSTUVWXYZ ") == "" {
		return strings.TrimLeft(text, "-−")
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
	Text string      // empty: nothing today
	Gain *web.Number // over leaving it; nil: not known
	Next *string     // the day of the next step; nil: there is none
	Ask  *web.Number // then
}

// taskOf a review: what is due today, otherwise the next step.
func taskOf(r wire.Review) task {
	switch todo := r.Todo(); {
	case todo != "" && r.State == "stale":
		return task{Text: todo, Gain: &r.Gain}
	case todo != "":
		return task{Text: todo}
	case r.NextStepOn != nil && r.NextAsk != nil:
		return task{Next: r.NextStepOn, Ask: r.NextAsk}
	}
	return task{}
}

// planOf is what the plan of a listing says next.
func planOf(r listRow, _ pricing.Date) task { return taskOf(r.Review) }

func asFloat(n web.Number) float64 {
	x, err := strconv.ParseFloat(string(n), 64)
	if err != nil {
		return math.NaN()
	}
	return x
}
