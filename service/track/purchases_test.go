package track_test

import (
	"strings"
	"testing"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/servicetest"
)

// What was bought is replayed from the asker's own ledger, and from nobody else's.
func TestOwnPurchasesAreReplayed(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	a := f.Actor(t, "Maren")
	a.Group.HourValue = 1200
	record, err := f.Track.Record(t.Context(), a)
	if err != nil {
		t.Fatal(err)
	}
	p := record.Purchases
	r := p.Ledger
	if r.Purchases < 20 || r.Within == 0 || r.Within > r.Purchases || r.Earned > r.Purchases || r.EarnedWithin > min(r.Earned, r.Within) {
		t.Errorf("replayed %+v", r)
	}
	if ratio := float64(r.Realized) / float64(r.Stated); ratio < 0.6 || ratio > 1.5 {
		t.Errorf("of what would have been stated %.2f came true", ratio)
	}
	if !strings.HasPrefix(pricing.Joined(p.Sentences), "Your ") || p.PricesAsked != 0 || p.Ratio != 1 {
		t.Errorf("said %v of %+v", p.Sentences, p)
	}
	feed := f.Actor(t, "Maren")
	feed.Scope = service.ScopeFeed
	if record, err := f.Track.Record(t.Context(), feed); err != nil || record.Purchases.Ledger.Purchases != 0 {
		t.Errorf("a feed reads the ledger: %+v, %v", record.Purchases, err)
	}
	t.Logf("%+v", r)
}
