package advice

import (
	"slices"

	"askwright/service"
	"askwright/service/model"
	"askwright/service/track"
)

// promise takes the answers that are promises to a seller: those that name a ref
// or a listing of the actor's own that has not ended, as it is on file. What a
// feed reads and what is only tried out are none.
func (s *Service) promise(a *service.Actor, fit *model.Fit, subjects []subject, answers []Suggestion) {
	c := a.Group.Currency
	for i, sub := range subjects {
		answer := answers[i]
		k := track.Shown{
			ID: service.NewID(), MemberID: a.MemberID, On: a.Today, Model: answer.Model, At: a.Now,
			Category: sub.row.Category, Asks: sub.told(a, &answer),
		}
		if !sub.isPromise(a) {
			if len(k.Asks) > 0 {
				s.recorder.Add(a.Group.ID, k)
			}
			continue
		}
		k.Ref, k.ListingID, k.Estimate = sub.row.Ref, sub.row.ID, sub.estimate
		if r := answer.SalePrice; r != nil {
			k.SalePrice = &track.ShownRange{Likely: service.MoneyOf(r.Likely, c), Low: service.MoneyOf(r.Low, c), High: service.MoneyOf(r.High, c), Level: r.Level}
		}
		outline := fit.Model.Outline(sub.query(c, 0), a.Today, a.Group.SettingsFor(sub.row.Venue, a.Today))
		if chance := answer.ChanceSold; chance != nil && outline.Prospects != nil {
			k.Promise = &track.ShownAsk{Ask: service.MoneyOf(answer.Ask, c), WithinDays: chance.WithinDays, Chance: chance.Probability, Prospects: *outline.Prospects}
		}
		s.recorder.Add(a.Group.ID, k)
	}
}

// told are the asks that a member who may yet list the piece was told.
func (s *subject) told(a *service.Actor, answer *Suggestion) []service.Money {
	if a.Scope == service.ScopeFeed || answer.Ask == 0 || s.onFile != nil && s.onFile.IsOffered() {
		return nil
	}
	asks := []service.Money{service.MoneyOf(answer.AskForGood, a.Group.Currency)}
	for _, choice := range answer.Choices {
		if ask := service.MoneyOf(choice.Ask, a.Group.Currency); !slices.Contains(asks, ask) {
			asks = append(asks, ask)
		}
	}
	return asks
}

// isPromise reports whether what is suggested is told to the seller of a piece
// that can still be priced.
func (s *subject) isPromise(a *service.Actor) bool {
	if a.Scope == service.ScopeFeed {
		return false // it is read by anybody
	}
	isMine := s.onFile == nil || s.onFile.MemberID == a.MemberID
	isOver := s.row.Outcome == service.OutcomeSold || s.row.Outcome == service.OutcomePulled
	return s.row.Ref != "" && isMine && !isOver && !s.row.IsObserved() && len(s.changed) == 0
}

// askForEstimate is told before the suggestion to a seller who gave none.
const askForEstimate = "Record your own price before you look: it helps most, and one given afterwards does not count."
