package service

import "github.com/google/uuid"

// AnswersIn are what was said to offers, by the offer's id: an answer, or a hold
// for its buyer, which is a yes.
func AnswersIn(events []Event) map[string]*Event {
	answers := make(map[string]*Event)
	for i := range events {
		e := &events[i]
		if (e.Kind == EventAnswer || e.Kind == EventHold) && e.VoidedBy == uuid.Nil && e.Details["offer"] != "" {
			answers[e.Details["offer"]] = e
		}
	}
	return answers
}
