package demo

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/app"
	"askwright/service/members"
	"askwright/service/recording"
)

// groupID is the demo group's own, so that it is made once.
var groupID = uuid.MustParse("0192d300-0000-7000-8000-6d696c6c7261")

// Seed is the demo group's own.
const Seed = 1

const keyDays = 30

// Today is the day in Otterford. It panics without the time zone, which a
// program brings with it (time/tzdata).
func Today(now time.Time) pricing.Date {
	zone, err := time.LoadLocation(TimeZone)
	if err != nil {
		panic(err)
	}
	return pricing.DateOf(now.In(zone))
}

// Install puts the demo group on file, where it is not yet, and returns the
// text of a new admin key of its first member. Its dates are relative to the
// day of the first time.
func Install(ctx context.Context, s *app.App, now time.Time) (key string, err error) {
	people := Generate(Today(now), Seed)
	first, err := s.Members.Operator(ctx, groupID, people[0].Name)
	if errors.Is(err, service.ErrNotFound) {
		first, err = create(ctx, s, people[0].Name)
	}
	if err != nil {
		return "", fmt.Errorf("the demo group: %w", err)
	}
	people = Generate(Today(first.Group.CreatedAt), Seed)
	for _, m := range people {
		if err := fill(ctx, s, first, m); err != nil {
			return "", fmt.Errorf("the demo rows of %s: %w", m.Name, err)
		}
	}
	_, key, err = s.Members.CreateKey(ctx, first, members.NewKey{Scope: service.ScopeAdmin, Label: "demo", ExpiresAt: now.AddDate(0, 0, keyDays)})
	return key, err
}

func create(ctx context.Context, s *app.App, firstMember string) (*service.Actor, error) {
	currency, _ := service.CurrencyByCode(Currency)
	g := service.NewGroup(GroupName, currency)
	g.ID, g.Unit, g.TimeZone = groupID, Unit, TimeZone
	g.VenueFees = []service.VenueFee{{Venue: checkout, Rate: checkoutFee}}
	var err error
	if g.HourValue, err = service.ParseMoney(fmt.Sprint(HourValue), currency, '.'); err != nil {
		return nil, err
	}
	if _, _, err := s.Members.CreateGroup(ctx, g, firstMember); err != nil {
		return nil, err
	}
	return s.Members.Operator(ctx, groupID, firstMember)
}

// fill adds a member with their rows. A member who has rows is left as is:
// visitors may have changed them.
func fill(ctx context.Context, s *app.App, first *service.Actor, m Member) error {
	actor, err := s.Members.Operator(ctx, groupID, m.Name)
	if errors.Is(err, service.ErrNotFound) {
		if _, err = s.Members.CreateMember(ctx, first, m.Name); err == nil {
			actor, err = s.Members.Operator(ctx, groupID, m.Name)
		}
	}
	if err != nil {
		return err
	}
	rows, _, err := s.Recording.Listings(ctx, actor, service.Query{Member: actor.MemberID, Limit: 1})
	if err != nil || len(rows) > 0 {
		return err
	}
	result, err := s.Recording.Import(ctx, actor, Source(m.Rows), recording.ImportOptions{Atomic: true})
	if err == nil && result.Rejected > 0 {
		err = fmt.Errorf("%d were rejected, the first because %s %s", result.Rejected, result.Errors[0].Column, result.Errors[0].Reason)
	}
	return err
}
