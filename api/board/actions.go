package board

import (
	"maps"
	"slices"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/prose"
)

// action is something that can be recorded on a page.
type action struct {
	Kind     string
	Title    string // of its page
	Link     string // on a button that leads to the page
	Button   string // that records it
	Question string // with the row's name
	Day      string // label of the day on which it happened; empty: it has none
	Fields   []formField
	Ask      string // that its link fills in; empty: none
}

// Kinds of actions that are not kinds of events.
const (
	actionResume = "resume"
	actionReopen = "reopen"
	actionCost   = "cost"
	actionHours  = "work"
	actionRelist = "relist"
	actionPlan   = "plan"
	voidCost     = "void_cost"
	takeBack     = "take_back" // a row that was just made
	backOnSale   = "unrefinish"
)

func amountField(name, label string, required bool) formField {
	return formField{Name: name, Label: label, Mode: "decimal", Required: required}
}

func countField(name, label string) formField {
	return formField{Name: name, Label: label, Mode: "numeric"}
}

func wordField(name, label string, words []string) formField {
	return formField{Name: name, Label: label, Words: words, Required: true}
}

// columnField chooses a word of a column.
func columnField(name, label string) formField {
	c, _ := service.ColumnByName(name)
	f := formField{Name: name, Label: label, Words: slices.Clone(c.Words)}
	if !c.Closed {
		slices.Sort(f.Words)
	}
	return f
}

var (
	noteField  = formField{Name: "note", Label: "Note (if you like)"}
	venueField = formField{Name: "venues", Label: "Where you post it (if you like)"}
	costWords  = []string{
		string(service.CostMaterials), string(service.CostPurchase), string(service.CostPickup), string(service.CostOther), string(service.CostFees),
		string(service.CostDelivery), string(service.CostDeliveryCharged),
	}
	lookFields = []formField{
		columnField("finish", "Finish"), columnField("color", "Color"), columnField("condition", "Condition"), columnField("hardware", "Hardware"),
		columnField("topcoat", "Topcoat"),
	}
)

// actions are all of them, in the order of their buttons.
var actions = []action{
	{Kind: service.EventBought, Title: "Bought", Link: "Bought", Button: "It's mine", Question: "You bought %s.", Day: "Bought on", Fields: []formField{
		amountField("purchase_cost", "What you paid", true), amountField("pickup_cost", "What pickup cost (if you know)", false),
		{Name: "bought_from", Label: "Where you bought it (if you like)"},
	}},
	{Kind: service.EventPassed, Title: "Pass", Link: "Pass", Button: "Pass", Question: "Pass on %s? It stays saved, so the group knows why.", Day: "Passed on", Fields: []formField{
		wordField("reason", "Why not", service.PassedFor), noteField,
	}},
	{Kind: service.EventOnBench, Title: "Start work", Link: "Start work", Button: "It's on the bench", Question: "%s goes on the bench.", Day: "Started on"},
	{Kind: actionPlan, Title: "Plan the work", Link: "Plan", Button: "Plan this", Question: "What becomes of %s?", Fields: []formField{
		columnField("planned_finish", "Finish"), columnField("planned_color", "Color"), amountField("own_price", "Your own price for it (before you look)", false),
	}},
	{Kind: service.EventListed, Title: "List it", Link: "List it", Button: "List it", Question: "%s goes up for sale, as it is now.", Day: "Listed on", Fields: slices.Concat(
		[]formField{amountField("ask", "Ask", true), venueField}, lookFields)},
	{Kind: service.EventAsk, Title: "Change ask", Link: "Change ask", Button: "Ask this", Question: "%s asks:", Day: "From", Fields: []formField{amountField("ask", "New ask", true)}},
	{Kind: service.EventOffer, Title: "Offer", Link: "Offer", Button: "What should I say?", Question: "Somebody offers for %s:", Day: "Offered on", Fields: []formField{
		amountField("amount", "They offer", true), {Name: "comes", Label: "They come on", Type: "date"}, {Name: "cash", Label: "Cash in hand", Type: "checkbox"},
		amountField("deposit", "Deposit paid (if any)", false), noteField,
	}},
	{Kind: service.EventAnswer, Title: "Answer an offer", Button: "Save", Question: "What did you say to the offer for %s?", Day: "On", Fields: []formField{
		wordField("answer", "You said", service.Answers), amountField("amount", "Your counteroffer (if you made one)", false), {Name: "offer", Type: "hidden", Required: true},
	}},
	{Kind: service.EventHold, Title: "Hold", Link: "Hold", Button: "Hold it", Question: "Hold %s for a buyer. The clock stops until then.", Day: "From", Fields: []formField{
		{Name: "until", Label: "Through", Type: "date", Required: true}, amountField("deposit", "Deposit paid (if any)", false), {Name: "offer", Type: "hidden"},
	}},
	{Kind: service.EventRelease, Title: "Release", Link: "Release", Button: "Release it", Question: "%s is free again.", Day: "On", Fields: []formField{
		wordField("why", "Why", service.ReleaseReasons),
	}},
	{Kind: service.EventSold, Title: "Sold", Link: "Sold", Button: "It's sold", Question: "%s is sold.", Day: "Sold on", Fields: []formField{
		amountField("sale_price", "Sale price, without delivery", true), {Name: "sold_venue", Label: "Where it sold (if you like)"},
	}},
	{Kind: service.EventPause, Title: "Pause", Link: "Pause", Button: "Pause it", Question: "Nobody can have %s for now, so these days don't count.", Day: "From", Fields: []formField{
		{Name: "until", Label: "First day back (empty: not known yet)", Type: "date"},
	}},
	{Kind: actionResume, Title: "Back on sale", Link: "Back on sale", Button: "It's back", Question: "%s is back. Repost it and answer the messages that wait.", Day: "Back on"},
	{Kind: service.EventInterest, Title: "Messages and showings", Link: "Messages", Button: "Save", Question: "How many has %s had so far, in all?", Day: "Counted on", Fields: []formField{
		countField("messages", "Messages"), countField("showings", "Showings"), countField("views", "Views"), countField("saves", "Saves"),
	}},
	{
		Kind: service.EventCheck, Title: "Tried first", Link: "Tried", Button: "Done", Question: "What did you do for %s?", Day: "Done on",
		Fields: []formField{wordField("check", "You did", slices.Sorted(maps.Keys(prose.Checks)))},
	},
	{Kind: actionHours, Title: "Hours", Link: "Hours", Button: "Add hours", Question: "Work on %s:", Day: "Worked on", Fields: []formField{
		amountField("hours", "Hours", true), {Name: "kind_of_hours", Label: "Which", Words: []string{string(service.CostHours), string(service.CostHoursOther)}, Required: true},
		{Name: "step", Label: "What you did (if you like)"},
	}},
	{Kind: actionCost, Title: "Cost", Link: "Cost", Button: "Add cost", Question: "Money for %s:", Day: "Paid on", Fields: []formField{
		amountField("amount", "Amount", true), wordField("cost", "For", costWords), noteField,
	}},
	{Kind: service.EventRefinish, Title: "Refinish", Link: "Refinish", Button: "Back to the bench", Question: "%s comes off the market and gets another finish. Fill in what changes.", Day: "On", Fields: lookFields},
	{Kind: service.EventPulled, Title: "Pull", Link: "Pull", Button: "Pull it", Question: "%s comes off the market unsold.", Day: "Pulled on"},
	{Kind: actionReopen, Title: "Back on the market", Link: "Back on the market", Button: "It's back", Question: "%s goes on as if it had not ended.", Day: "On"},
	{Kind: actionRelist, Title: "Relist", Link: "Relist", Button: "Relist it", Question: "%s as it is, in a new listing.", Day: "Listed on", Fields: []formField{amountField("ask", "Ask", true), venueField}},
	{Kind: service.EventRetired, Title: "Retire", Link: "Retire", Button: "Retire it", Question: "%s leaves without a sale.", Day: "On", Fields: []formField{
		wordField("reason", "What became of it", service.LetGoAs), noteField,
	}},
}

func actionOf(kind string) (action, bool) {
	i := slices.IndexFunc(actions, func(a action) bool { return a.Kind == kind })
	if i < 0 {
		return action{}, false
	}
	return actions[i], true
}

// possible are the kinds of actions for a row of one's own as it stands; held:
// for a buyer.
func possible(l *service.Listing, today pricing.Date, held bool) []action {
	var kinds []string
	switch {
	case l.IsObserved():
	case l.ClosedAs != "":
		kinds = []string{actionReopen}
	case l.Stage == service.StageFound:
		kinds = []string{service.EventBought, service.EventPassed}
	case !l.IsOffered():
		kinds = []string{actionPlan, service.EventListed, actionHours, actionCost, service.EventRetired}
		if l.Stage == service.StageBought {
			kinds = append(kinds, service.EventOnBench)
		}
	case l.Outcome == service.OutcomeSold:
		kinds = []string{actionCost, actionReopen}
	case l.Outcome == service.OutcomePulled:
		kinds = []string{actionReopen, actionRelist, service.EventRefinish, actionHours, actionCost, service.EventRetired}
	default:
		kinds = []string{
			service.EventSold, service.EventAsk, service.EventOffer, service.EventInterest, service.EventCheck, actionHours, actionCost, service.EventRefinish, service.EventPulled,
		}
		switch {
		case held:
			kinds = append(kinds, service.EventRelease)
		case l.PausedOn(today):
			kinds = append(kinds, actionResume, service.EventHold)
		default:
			kinds = append(kinds, service.EventPause, service.EventHold)
		}
	}
	return slices.DeleteFunc(slices.Clone(actions), func(a action) bool { return !slices.Contains(kinds, a.Kind) })
}
