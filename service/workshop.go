package service

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
)

// Plan is a look planned for a piece, and how it is to be done. Words are as
// in the row; lengths, films and temperatures of the assumptions are in the
// group's units (inches, mils and °F, or centimetres, micrometres and °C).
type Plan struct {
	Finish, Color             string
	SecondFinish, SecondColor string // of a two_tone piece: what is not painted; default: clear
	SecondPart                string // where that is: "top" (the default), "drawer_fronts" or "legs"
	Topcoat                   string
	Condition                 string // when done; default: as it is
	Method                    string // "brush" (the default), "roller" or "spray"
	Include                   []string
	Assumptions               map[string]float64
	HoursAWeek                *float64 // for the work; default 10
}

// WorkEstimate is what a plan takes, for one member: figures that the group
// quotes itself, else reckoned and corrected by the member's own record.
type WorkEstimate struct {
	Materials Money
	Hours     float64
	DaysOut   int // out of the market
	Quoted    bool
	pricing.Work
	Cautions []Caution // of the work
}

// Workshop turns a row and a plan into materials, hours and days for one
// member: with the group's prices and quotes, and the member's own record of
// hours and materials. It is got from Service.Workshop and holds for one request.
type Workshop struct {
	pricing.Workshop
	group *Group
}

// Workshop reads what the actor's own pieces took. For the group as a whole and
// for a feed, which never see a cost, nothing corrects the estimates.
func (s *Service) Workshop(ctx context.Context, a *Actor) (*Workshop, error) {
	w := &Workshop{Workshop: a.Group.Settings().Workshop, group: a.Group}
	if a.MemberID == uuid.Nil || !a.Can(ScopeRead) {
		return w, nil
	}
	var hours, materials []pricing.Logged
	err := s.store.EachListing(ctx, a.Tenant(), Query{Member: a.MemberID}, func(l *Listing) error {
		_, isTimed := l.Ledger.Costs[CostHours]
		_, isPaid := l.Ledger.Costs[CostMaterials]
		if l.IsObserved() || (!isTimed && !isPaid) {
			return nil
		}
		done := w.Workshop.Estimate(doneJob(l))
		if done.Refusal == nil && isTimed {
			hours = append(hours, pricing.Logged{Estimated: done.Hours, Actual: l.Ledger.Costs.Hours().Float()})
		}
		if done.Refusal == nil && isPaid {
			materials = append(materials, pricing.Logged{Estimated: done.Materials, Actual: l.Ledger.Costs.Money(CostMaterials).Major(a.Group.Currency)})
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read what your pieces took: %w", err)
	}
	w.Hours, w.Materials = pricing.LearnRatio(hours), pricing.LearnRatio(materials)
	return w, nil
}

// doneJob is the work that must have led to the look of a row: what the piece
// was before is not known.
func doneJob(l *Listing) pricing.Job {
	a := l.Attributes()
	a.Finish, a.Color, a.SecondFinish, a.SecondColor, a.Topcoat = "", "", "", "", ""
	a.Condition = cmp.Or(l.Ledger.ConditionFound, a.Condition)
	return pricing.Job{Attributes: a, Look: pricing.Look{
		Finish: l.Finish, Color: l.Color, SecondFinish: l.SecondFinish, SecondColor: l.SecondColor, Topcoat: l.Topcoat,
	}}
}

// Estimate says what a plan takes on a row. A plan that cannot be read is an
// *InvalidError; what cannot be done is a refusal in the answer.
func (w *Workshop) Estimate(l *Listing, p Plan) (*WorkEstimate, error) {
	j, wrong := p.job(l, w.group)
	if wrong != nil {
		return nil, &InvalidError{Fields: wrong}
	}
	settings := w.group.Settings()
	settings.Workshop = w.Workshop
	work, option, quoted := settings.Reckon(j)
	return &WorkEstimate{
		Materials: MoneyOf(option.Materials, w.group.Currency), Hours: option.Hours, DaysOut: option.DaysOut, Quoted: quoted, Work: work,
		Cautions: occasion{piece: l, work: []*pricing.Work{&work}}.cautions(),
	}, nil
}

// settings are the group's with the member's own record in them.
func (w *Workshop) settings(s pricing.Settings) pricing.Settings {
	s.Workshop = w.Workshop
	return s
}

var secondParts = []string{pricing.PartTop, pricing.PartDrawerFronts, pricing.PartLegs}

// job reads a plan for a row.
func (p Plan) job(l *Listing, g *Group) (j pricing.Job, wrong []FieldError) {
	refuse := func(column, format string, args ...any) {
		wrong = append(wrong, FieldError{Ref: l.Ref, Column: column, Reason: fmt.Sprintf(format, args...)})
	}
	word := func(column, text string, closed []string) string {
		w := canonicalWord(text)
		switch {
		case checkText(text, 60) != nil:
			refuse(column, "%v", checkText(text, 60))
		case w != "" && closed != nil && !oneOf(w, closed):
			refuse(column, "%v", notAllowed(text, closed))
		}
		return w
	}
	j = pricing.Job{Attributes: l.Attributes(), Look: pricing.Look{
		Finish: word("planned_finish", p.Finish, nil), Color: word("planned_color", p.Color, nil),
		SecondFinish: word("planned_second_finish", p.SecondFinish, nil), SecondColor: word("planned_second_color", p.SecondColor, nil),
		SecondPart: word("planned_second_part", p.SecondPart, secondParts),
		Topcoat:    word("planned_topcoat", p.Topcoat, topcoats),
		Condition:  slices.Index(conditions, word("planned_condition", p.Condition, conditions)) + 1,
	}, Method: word("method", p.Method, pricing.Methods)}
	for _, part := range p.Include {
		j.Include = append(j.Include, word("include", part, []string{pricing.PartBack, pricing.PartInsides}))
	}
	if j.Look.Finish == "" && j.Look.Color != "" {
		refuse("planned_finish", "is missing: say which finish takes the planned color")
	}
	if p.HoursAWeek != nil {
		j.HoursAWeek = *p.HoursAWeek
		if !(j.HoursAWeek > 0 && j.HoursAWeek <= 168) {
			refuse("hours_a_week", "expected more than 0 and at most 168 hours")
		}
	}
	j.Given = make(map[string]float64, len(p.Assumptions))
	for name, value := range p.Assumptions {
		unit, low, high, known := pricing.AssumptionRange(name)
		if !known {
			refuse("assumptions/"+name, "is no assumption%s; known are %s", didYouMean(name, pricing.AssumptionNames()), strings.Join(pricing.AssumptionNames(), ", "))
			continue
		}
		si := g.toMetric(value, unit)
		if !between(si, low*(1-1e-9), high*(1+1e-9)) {
			from, shown := g.InUnit(low, unit)
			to, _ := g.InUnit(high, unit)
			refuse("assumptions/"+name, "expected %.4g to %.4g %s", from, to, shown)
			continue
		}
		j.Given[name] = min(max(si, low), high)
	}
	slices.SortFunc(wrong, func(a, b FieldError) int { return cmp.Compare(a.Column, b.Column) })
	return j, wrong
}

const centimetresPerInch = millimetresPerInch / 10

// InUnit is a figure of pricing in the group's units, with the unit's name.
func (g *Group) InUnit(x float64, unit string) (value float64, name string) {
	if g.isMetric() {
		return x, unit
	}
	switch unit {
	case "cm":
		return x / centimetresPerInch, "in"
	case "m2":
		return x / squareMetresPerSquareFoot, "ft2"
	case "L":
		return x / litresIn["qt"], "qt"
	case "µm":
		return x / pricing.MicrometresPerMil, "mil"
	case "°C":
		return x*9/5 + 32, "°F"
	}
	return x, unit
}

// toMetric is the way back.
func (g *Group) toMetric(x float64, unit string) float64 {
	if g.isMetric() {
		return x
	}
	switch unit {
	case "cm":
		return x * centimetresPerInch
	case "µm":
		return x * pricing.MicrometresPerMil
	case "°C":
		return (x - 32) * 5 / 9
	}
	return x
}
