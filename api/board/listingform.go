package board

import (
	"context"
	"net/url"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// listingText is what to post: a title and a description.
type listingText struct{ Title, Description string }

// proposeListing fills in the look that was planned, and asks what such a piece
// should ask, with its plan.
func (s *Board) proposeListing(ctx context.Context, a *service.Actor, page *confirmPage, given map[string]string) error {
	row := page.Row
	given["venues"] = row.Venue
	for _, f := range lookFields {
		given[f.Name] = valueOf(a, row, f.Name)
	}
	subject := service.Cells{"id": row.ID.String()}
	if row.PlannedFinish != "" && !row.IsOffered() {
		given["finish"], given["color"] = row.PlannedFinish, row.PlannedColor
		subject["finish"], subject["color"] = row.PlannedFinish, row.PlannedColor
	}
	found, err := s.app.Advice.Suggest(ctx, a, []service.Cells{subject}, wire.WithinDefault)
	if err != nil {
		return err
	}
	suggestion := wire.ViewerOf(a).Suggestion(found[0], wire.WithinDefault)
	page.Advice = &suggestion
	if suggestion.Ask != nil {
		given["ask"] = wire.Trimmed(0, suggestion.Ask.Text())
	}
	fill(page.Fields, given)
	return nil
}

// list puts a piece up for sale in the look that the form tells.
func (s *Board) list(ctx context.Context, a *service.Actor, row *service.Listing, sent url.Values, revision *int64) (to string, err error) {
	day := strings.TrimSpace(sent.Get("on"))
	if day == "" {
		day = a.Today.String()
	}
	cells := service.Cells{"listed_on": day}
	do, _ := actionOf(service.EventListed)
	for _, f := range do.Fields {
		value := strings.TrimSpace(sent.Get(f.Name))
		if value == "" && f.Required {
			return "", service.Invalid(f.Name, "is missing")
		}
		if value != "" {
			cells[f.Name] = value
		}
	}
	if row.IsOffered() {
		return "", service.Refuse(service.ErrConflict, "%s is listed already", row.Ref)
	}
	change, err := s.app.Recording.Patch(ctx, a, row.ID, cells, revision)
	if err != nil {
		return "", onDay(err, "listed_on")
	}
	return doneAt(change, service.EventListed), nil
}

// plan notes what a piece is to become.
func (s *Board) plan(ctx context.Context, a *service.Actor, row *service.Listing, sent url.Values, revision *int64) (to string, err error) {
	do, _ := actionOf(actionPlan)
	cells := service.Cells{}
	for _, f := range do.Fields {
		if value := strings.TrimSpace(sent.Get(f.Name)); value != "" {
			cells[f.Name] = value
		}
	}
	change, err := s.app.Recording.Patch(ctx, a, row.ID, cells, revision)
	if err != nil {
		return "", err
	}
	return doneAt(change, service.EventCorrection), nil
}

// relist offers a piece as it is in a new listing.
func (s *Board) relist(ctx context.Context, a *service.Actor, row *service.Listing, sent url.Values) (to string, err error) {
	fields := map[string]string{"listed_on": strings.TrimSpace(sent.Get("on")), "ask": sent.Get("ask")}
	if venue := strings.TrimSpace(sent.Get("venues")); venue != "" {
		fields["venues"] = venue
	}
	change, err := s.app.Recording.Relist(ctx, a, row.ID, fields)
	if err != nil {
		return "", onDay(err, "listed_on")
	}
	events, err := s.app.Recording.Events(ctx, a, change.New.ID)
	if err != nil || len(events) == 0 {
		return pageOf(change.New), err
	}
	return pageOf(change.New) + "?done=" + events[0].ID.String(), nil
}

// onDay puts what is wrong with a column beside the day of the form.
func onDay(err error, column string) error {
	if wrong, ok := err.(*service.InvalidError); ok { //nolint:errorlint // fields are changed in place
		for i := range wrong.Fields {
			if wrong.Fields[i].Column == column {
				wrong.Fields[i].Column = "on"
			}
		}
	}
	return err
}

// takeBack undoes what made a row: the row goes, and after a refinish the
// listing before it is as it was.
func (s *Board) takeBack(ctx context.Context, a *service.Actor, row *service.Listing, kind string, sent url.Values) (to string, err error) {
	piece, err := s.app.Recording.Piece(ctx, a, row.PieceID)
	if err != nil {
		return "", err
	}
	made := piece.Newest()
	if (kind == takeBack) != (made.ID == row.ID) {
		return "", web.Refuse(web.Conflict, "%s went on in the meantime; undo the later entries first", row.Ref)
	}
	if events, err := s.app.Recording.Events(ctx, a, made.ID); err != nil {
		return "", err
	} else if len(events) > 1 {
		return "", web.Refuse(web.Conflict, "%s has later entries by now; undo those first", made.Ref)
	}
	if err := s.app.Recording.Delete(ctx, a, made.ID, nil); err != nil {
		return "", err
	}
	if kind == takeBack {
		if n := len(piece.Listings); n > 1 {
			return pageOf(piece.Listings[n-2]), nil
		}
		return "/board/pieces", nil
	}
	return s.unrefinish(ctx, a, row, sent)
}

// unrefinish undoes a refinish whose next row is gone: the event, and the end of
// the listing that came with it.
func (s *Board) unrefinish(ctx context.Context, a *service.Actor, row *service.Listing, sent url.Values) (to string, err error) {
	event, err := eventOf(service.EventVoid, sent)
	if err != nil {
		return "", err
	}
	events, err := s.app.Recording.Events(ctx, a, row.ID)
	if err != nil {
		return "", err
	}
	change, err := s.app.Recording.AddEvent(ctx, a, row.ID, event, nil)
	if err != nil {
		return "", err
	}
	at := slices.IndexFunc(events, func(e service.Event) bool { return e.ID == event.Voids })
	for _, e := range events {
		if at >= 0 && e.Kind == service.EventPulled && e.ChangeNo == events[at].ChangeNo && e.VoidedBy == uuid.Nil {
			change, err = s.app.Recording.AddEvent(ctx, a, row.ID, service.NewEvent{Kind: service.EventVoid, Voids: e.ID}, nil)
			if err != nil {
				return "", err
			}
		}
	}
	return doneAt(change, service.EventVoid), nil
}
