package sheet

import (
	"fmt"
	"strings"

	"askwright/service"
)

// mostQuestions bounds what a person can be asked about one sheet.
const mostQuestions = 200

// asking collects the questions of a sheet and knows the answers given.
type asking struct {
	answers map[string]string
	asked   map[string]int // key to its place in list
	list    []Question
	open    bool // the cell at hand hangs on a question without an answer
	row     int
	last    map[string]int // key to the last row that hung on it
}

func newAsking(answers map[string]string) *asking {
	return &asking{answers: answers, asked: make(map[string]int), last: make(map[string]int)}
}

// about returns the answer to a question, or the proposed one while there is
// none. A question is asked once, whatever number of cells it decides.
func (a *asking) about(q Question, parts ...string) string {
	q.Key = strings.Join(append([]string{q.Code, plain(q.Heading)}, parts...), "|")
	answer, told := a.answers[q.Key]
	at, known := a.asked[q.Key]
	if !known && len(a.list) >= mostQuestions {
		a.open = true
		return LeaveOut
	}
	if !known {
		at = len(a.list)
		q.ID = fmt.Sprintf("q%d", at+1)
		q.Found = service.Clip(q.Found)
		if told {
			q.Answer = &answer
		}
		a.list, a.asked[q.Key] = append(a.list, q), at
	}
	if a.row > 0 && a.last[q.Key] != a.row {
		a.list[at].Rows++
		a.last[q.Key] = a.row
	}
	if !told {
		a.open = true
		return a.list[at].Proposed
	}
	return answer
}

// IsOfWords reports whether an answer holds for other sheets, too: it is about
// a heading or a word rather than one row.
func (q *Question) IsOfWords() bool {
	switch q.Code {
	case "first_ask", "future_day", "unreadable", "no_ref", "merged", "each":
		return false
	}
	return true
}

// choices are what a question of a code can be answered with, beside leaving
// the value out.
var choices = map[string][]string{
	"range": {"low", "middle", "high"}, "changed_amount": {"first", "last"}, "date_order": {service.DateOrderMDY, service.DateOrderDMY},
	"kind_in_text": {"yes", "no"}, "serial_day": {"yes", "no"}, "no_ref": {"number"}, "merged": {"yes", "no"},
	"ended_without_price": {service.OutcomeSold, service.OutcomePulled, service.OutcomeOpen},
}

// Refuses says why a question cannot be answered so; "": it can.
func (q *Question) Refuses(answer string) string {
	if answer == LeaveOut || answer == q.Proposed {
		return ""
	}
	if few := choices[q.Code]; few != nil && !service.IsOneOf(answer, few) {
		return fmt.Sprintf("%q is not one of %s", service.Clip(answer), strings.Join(append(few, LeaveOut), ", "))
	}
	if (q.Code == "heading" || q.Code == "second_column") && !isField(answer) {
		return fmt.Sprintf("%q is no column", service.Clip(answer))
	}
	return ""
}
