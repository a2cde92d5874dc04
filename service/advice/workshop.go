package advice

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/refinish"
	"askwright/service"
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
	Materials service.Money
	Hours     float64
	DaysOut   int // out of the market
	Quoted    bool
	Work      refinish.Work     // as the recipe has it, before quotes
	Cautions  []service.Caution // of the work
}

// Workshop turns a row and a plan into materials, hours and days for one
// member: with the group's prices and quotes, and the member's own record of
// hours and materials. It is got from Service.Workshop and holds for one request.
type Workshop struct {
	refinish.Workshop
	group *service.Group
}

// Workshop reads what the actor's own pieces took. For the group as a whole and
// for a feed, which never see a cost, nothing corrects the estimates.
func (s *Service) Workshop(ctx context.Context, a *service.Actor) (*Workshop, error) {
	w := &Workshop{Workshop: a.Group.Settings().Workshop, group: a.Group}
	if a.MemberID == uuid.Nil || !a.Can(service.ScopeRead) {
		return w, nil
	}
	record, err := s.records.of(a).current(ctx, s.store, a, w.Workshop)
	if err != nil {
		return nil, fmt.Errorf("read what your pieces took: %w", err)
	}
	w.Hours, w.Materials = record.hours, record.materials
	return w, nil
}

// Estimate says what a plan takes on a row. A plan that cannot be read is an
// *InvalidError; what cannot be done is a refusal in the answer.
func (w *Workshop) Estimate(l *service.Listing, p Plan) (*WorkEstimate, error) {
	j, wrong := p.job(l, w.group)
	if wrong != nil {
		return nil, &service.InvalidError{Fields: wrong}
	}
	settings := w.group.Settings()
	settings.Workshop = w.Workshop
	work, option, quoted := settings.Reckon(j)
	return &WorkEstimate{
		Materials: service.MoneyOf(option.Materials, w.group.Currency), Hours: option.Hours, DaysOut: option.DaysOut, Quoted: quoted, Work: work,
		Cautions: service.Occasion{Piece: l, Work: []*refinish.Work{&work}}.Cautions(),
	}, nil
}

// settings are the group's with the member's own record in them.
func (w *Workshop) settings(s pricing.Settings) pricing.Settings {
	s.Workshop = w.Workshop
	return s
}

var secondParts = []string{refinish.PartTop, refinish.PartDrawerFronts, refinish.PartLegs}

// job reads a plan for a row.
func (p Plan) job(l *service.Listing, g *service.Group) (j refinish.Job, wrong []service.FieldError) {
	refuse := func(column, format string, args ...any) {
		wrong = append(wrong, service.FieldError{Ref: l.Ref, Column: column, Reason: fmt.Sprintf(format, args...)})
	}
	word := func(column, text string, closed []string) string {
		w := service.Canonical(text)
		switch {
		case service.CheckText(text, 60) != nil:
			refuse(column, "%v", service.CheckText(text, 60))
		case w != "" && closed != nil && !service.IsOneOf(w, closed):
			fault := service.FaultOf(column, service.NotAllowed(text, closed))
			fault.Ref = l.Ref
			wrong = append(wrong, fault)
		}
		return w
	}
	j = refinish.Job{Attributes: l.Attributes(), Look: refinish.Look{
		Finish: word("planned_finish", p.Finish, nil), Color: word("planned_color", p.Color, nil),
		SecondFinish: word("planned_second_finish", p.SecondFinish, nil), SecondColor: word("planned_second_color", p.SecondColor, nil),
		SecondPart: word("planned_second_part", p.SecondPart, secondParts),
		Topcoat:    word("planned_topcoat", p.Topcoat, service.Topcoats),
		Condition:  slices.Index(service.Conditions, word("planned_condition", p.Condition, service.Conditions)) + 1,
	}, Method: word("method", p.Method, refinish.Methods)}
	for _, part := range p.Include {
		j.Include = append(j.Include, word("include", part, []string{refinish.PartBack, refinish.PartInsides}))
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
		unit, low, high, known := refinish.AssumptionRange(name)
		if !known {
			refuse("assumptions/"+name, "is no assumption%s; known are %s", service.DidYouMean(name, refinish.AssumptionNames()), strings.Join(refinish.AssumptionNames(), ", "))
			continue
		}
		si := g.ToMetric(value, unit)
		if !service.Between(si, low*(1-1e-9), high*(1+1e-9)) {
			from, shown := g.InUnit(low, unit)
			to, _ := g.InUnit(high, unit)
			refuse("assumptions/"+name, "expected %.4g to %.4g %s", from, to, shown)
			continue
		}
		j.Given[name] = min(max(si, low), high)
	}
	slices.SortFunc(wrong, func(a, b service.FieldError) int { return cmp.Compare(a.Column, b.Column) })
	return j, wrong
}
