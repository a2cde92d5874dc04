package imports

import (
	"askwright/service"
	"askwright/service/sheet"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"
)

// Amendment is what a member says of a sheet.
type Amendment struct {
	Columns      map[string]string // by heading: the field, or "" to leave it out
	Answers      map[string]string // by the question's id
	TakeProposed bool              // for all other questions
}

// Amend takes what the member says and looks again.
func (s *Service) Amend(ctx context.Context, a *service.Actor, id uuid.UUID, m Amendment) (*Import, error) {
	if err := a.NeedWrite(); err != nil {
		return nil, err
	}
	kept, g, err := s.kept(ctx, a, id)
	if err != nil {
		return nil, err
	}
	now, err := s.look(ctx, a, *kept, g)
	if err != nil {
		return nil, err
	}
	if err := takeColumns(kept, now.Look, m.Columns); err != nil {
		return nil, err
	}
	if err := takeAnswers(kept, now.Look, m); err != nil {
		return nil, err
	}
	const rounds = 3 // an answer may bring up another question
	for i := 0; ; i++ {
		if now, err = s.look(ctx, a, *kept, g); err != nil {
			return nil, err
		}
		if !m.TakeProposed || now.Look.Open() == 0 || i == rounds {
			break
		}
		takeProposed(kept, now.Look)
	}
	if err := s.store.ChangeSheet(ctx, a.Tenant(), *kept); err != nil {
		return nil, fmt.Errorf("keep what was said of the sheet: %w", err)
	}
	return now, nil
}

func takeColumns(kept *Stored, look *sheet.Look, columns map[string]string) error {
	if len(columns) > mostColumns {
		return service.Invalid("mapping", "has more than %d headings", mostColumns)
	}
	var wrong []service.FieldError
	for _, heading := range slices.Sorted(maps.Keys(columns)) {
		field := columns[heading]
		known := slices.ContainsFunc(look.Mapping, func(t sheet.Taken) bool { return sheet.SameHeading(t.Heading, heading) })
		switch {
		case !known:
			wrong = append(wrong, service.FieldError{Column: "mapping", Reason: fmt.Sprintf("the sheet has no heading %q", service.Clip(heading))})
		case field != "" && !slices.Contains(sheet.Fields(), field):
			wrong = append(wrong, service.FieldError{Column: "mapping", Reason: fmt.Sprintf("%q is no column%s", service.Clip(field), didYouMean(field))})
		default:
			kept.Columns[sheet.HeadingKey(heading)] = field
		}
	}
	if wrong != nil {
		return &service.InvalidError{Fields: wrong}
	}
	return nil
}

func didYouMean(field string) string {
	if near := service.Nearest(field, sheet.Fields()); near != "" {
		return fmt.Sprintf("; did you mean %s?", near)
	}
	return ""
}

func takeAnswers(kept *Stored, look *sheet.Look, m Amendment) error {
	var wrong []service.FieldError
	for _, id := range slices.Sorted(maps.Keys(m.Answers)) {
		at := slices.IndexFunc(look.Questions, func(q sheet.Question) bool { return q.ID == id })
		switch answer := strings.TrimSpace(m.Answers[id]); {
		case at < 0:
			wrong = append(wrong, service.FieldError{Column: "answers", Reason: fmt.Sprintf("there is no question %q", service.Clip(id))})
		case answer == "" || len(answer) > nameLength:
			wrong = append(wrong, service.FieldError{Column: "answers", Reason: fmt.Sprintf("the answer to %s is empty or too long; %q leaves the value out", id, sheet.LeaveOut)})
		default:
			if reason := look.Questions[at].Refuses(answer); reason != "" {
				wrong = append(wrong, service.FieldError{Column: "answers", Reason: id + ": " + reason})
				continue
			}
			kept.Answers[look.Questions[at].Key] = answer
		}
	}
	if wrong != nil {
		return &service.InvalidError{Fields: wrong}
	}
	return nil
}

func takeProposed(kept *Stored, look *sheet.Look) {
	for _, q := range look.Questions {
		if q.Answer == nil {
			kept.Answers[q.Key] = q.Proposed
		}
	}
}
