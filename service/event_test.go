package service

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"askwright/pricing"
)

func TestAStoredFactThatCannotBeReadIsAnErrorNamingItsEvent(t *testing.T) {
	t.Parallel()
	a := &Actor{Group: &Group{Currency: usd(t)}, Today: march31}
	l := &Listing{ID: uuid.New()}
	for name, stored := range map[string]struct {
		kind    string
		details map[string]string
	}{
		"amount":  {EventOffer, map[string]string{"amount": "two hundred"}},
		"deposit": {EventOffer, map[string]string{"amount": "200.00", "deposit": "1.234"}},
		"comes":   {EventOffer, map[string]string{"amount": "200.00", "comes": "tomorrow"}},
		"until":   {EventHold, map[string]string{"until": "2026-02-30"}},
	} {
		e := Event{ID: uuid.New(), ListingID: l.ID, Kind: stored.kind, On: march31, Details: stored.details}
		var err error
		if stored.kind == EventOffer {
			_, err = OfferOf(a, l, &e)
		} else {
			_, err = HoldsOf([]Event{e})
		}
		if err == nil || !strings.Contains(err.Error(), e.ID.String()) || !strings.Contains(err.Error(), stored.details[name]) {
			t.Errorf("%s %q: %v; want an error with the event's id and the text", name, stored.details[name], err)
		}
	}
	for _, missing := range []Event{{Kind: EventHold}, {Kind: EventOffer}} {
		_, held := HoldsOf([]Event{missing})
		_, offered := OfferOf(a, l, &missing)
		if held == nil && missing.Kind == EventHold || offered == nil {
			t.Errorf("a %s without its facts is taken", missing.Kind)
		}
	}
}

func TestADescriptionIsCopiedColumnByColumn(t *testing.T) {
	t.Parallel()
	r := &Reader{Currency: usd(t), Unit: UnitCentimetre, Today: march31}
	whole, wrong := r.Change(nil, Cells{
		"ref": "B-17", "stage": StageOnBench, "category": "sideboard", "set_size": "2", "set_items": "dining_table:1;dining_chair:6",
		"width": "150.5", "depth": "45", "height": "80", "unit": "cm", "material": "wood", "wood": "oak", "style": "plain",
		"year_made": "1962", "condition": "good", "finish": "two_tone", "color": "white", "topcoat": "wax", "sheen": "matte",
		"hardware": "replaced", "second_finish": "clear", "second_color": "mid_wood", "drawers": "0", "doors": "2",
		"maker": "unknown joiner", "flaws": "a scratch", "smell": "none",
	}, ChangeOptions{})
	if wrong != nil {
		t.Fatal(wrong)
	}
	var next Listing
	for i := range DescriptionColumns {
		c := &DescriptionColumns[i]
		c.Copy(&next, whole.New)
		if got, want := c.Value(&next, r.Currency), c.Value(whole.New, r.Currency); got != want || want == "" {
			t.Errorf("%s is %q, want %q", c.Name, got, want)
		}
	}
	next.Items[0].Count = 9
	if whole.New.Items[0].Count != 1 {
		t.Error("the copy shares its items with the row that it came from")
	}
}

func TestAHistoryOfPausesIsBoundedHoweverItComes(t *testing.T) {
	t.Parallel()
	r := &Reader{Currency: usd(t), Unit: UnitInch, Today: march31}
	first := march31 - 2*maxDated - 10
	row, wrong := r.Change(nil, Cells{"ref": "B-17", "category": "sideboard", "listed_on": first.String(), "ask": "300"}, ChangeOptions{})
	if wrong != nil {
		t.Fatal(wrong)
	}
	for n, isTaken := range map[int]bool{maxDated: true, maxDated + 1: false} {
		_, wrong := r.Change(row.New, nil, Applying(func(d *Draft) {
			var pauses []pricing.Interval
			for i := range pricing.Date(n) {
				pauses = append(pauses, pricing.Interval{From: first + 2*i, To: first + 2*i + 1})
			}
			d.SetPauses(pauses)
		}))
		if (wrong == nil) != isTaken {
			t.Errorf("%d pauses: %v", n, wrong)
		}
	}
	if _, wrong := r.Change(row.New, nil, Ending(OutcomeSold, march31)); len(wrong) != 1 || wrong[0].Column != "sale_price" || wrong[0].Ref != "B-17" {
		t.Errorf("sold without a price: %v", wrong)
	}
}
