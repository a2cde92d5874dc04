package doubt_test

import (
	"testing"
	"time"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/demo"
	"askwright/service/doubt"
	"askwright/service/recording"
)

var today = pricing.NewDate(2026, time.March, 31)

// demoRows are the sound rows of the demo group.
func demoRows(t *testing.T) ([]*service.Listing, service.Currency) {
	t.Helper()
	usd, _ := service.CurrencyByCode("USD")
	reader := &service.Reader{Currency: usd, Unit: service.UnitInch, Today: today, Decimal: '.'}
	var all []*service.Listing
	for _, m := range demo.Generate(today, 1) {
		if err := demo.Source(m.Rows)(func(row recording.Row) error {
			change, wrong := reader.Change(nil, row.Cells, service.ChangeOptions{})
			if wrong != nil {
				t.Fatal(wrong)
			}
			change.New.Member = m.Name
			all = append(all, change.New)
			return nil
		}); err != nil {
			t.Fatal(err)
		}
	}
	return all, usd
}

func TestFewSoundRowsAreDoubted(t *testing.T) {
	all, usd := demoRows(t)
	doubted := 0
	for i, found := range doubt.Judge(all, nil, usd, today) {
		if len(found) > 0 {
			doubted++
			t.Logf("%s %s: %+v", all[i].Member, all[i].Ref, found)
		}
	}
	t.Logf("%d of %d sound rows doubted", doubted, len(all))
	if 100*doubted >= 2*len(all) {
		t.Errorf("%d of %d sound rows are doubted", doubted, len(all))
	}
}

func scaled(m service.Money, by float64) service.Money { return service.Money(float64(m) * by) }

func TestSlipsAreCaught(t *testing.T) {
	all, usd := demoRows(t)
	slips := map[string]struct {
		fits func(l *service.Listing) bool
		slip func(l *service.Listing)
	}{
		"a zero too many in the ask": {listed, func(l *service.Listing) { l.Asks[len(l.Asks)-1].Amount *= 10 }},
		"a hundred times both":       {sold, func(l *service.Listing) { l.Asks[len(l.Asks)-1].Amount *= 100; l.SalePrice *= 100 }},
		"a zero lost in both":        {sold, func(l *service.Listing) { l.Asks[len(l.Asks)-1].Amount /= 10; l.SalePrice /= 10 }},
		"three decimals in both":     {sold, func(l *service.Listing) { l.Asks[len(l.Asks)-1].Amount /= 1000; l.SalePrice /= 1000 }},
		"a sale of ten times":        {sold, func(l *service.Listing) { l.SalePrice *= 10 }},
		"a sale of a third":          {sold, func(l *service.Listing) { l.SalePrice = scaled(l.SalePrice, 0.25) }},
		"centimetres for inches":     {sized, func(l *service.Listing) { l.Width, l.Depth, l.Height = l.Width*2.54, l.Depth*2.54, l.Height*2.54 }},
		"a word with a slip":         {dresser, func(l *service.Listing) { l.Category = "dreser" }},
		"the same piece again":       {sized, nil},
		"the wrong decade":           {listed, func(l *service.Listing) { l.ListedOn -= 3653 + 31 }},
		"a sale after years":         {oneAsk, func(l *service.Listing) { l.EndedOn += 400 }},
	}
	for name, s := range slips {
		tried, caught := 0, 0
		for i, l := range all {
			if !s.fits(l) || i%3 != 0 {
				continue
			}
			wrong := l.Clone()
			wrong.Ref += "-again"
			rest := append(append([]*service.Listing{}, all[:i]...), all[i+1:]...)
			if s.slip == nil {
				rest = all
			} else {
				wrong.Ref = l.Ref
				s.slip(wrong)
			}
			tried++
			if len(doubt.Judge([]*service.Listing{wrong}, rest, usd, today)[0]) > 0 {
				caught++
			}
		}
		t.Logf("%s: %d of %d", name, caught, tried)
		if tried < 5 || 10*caught < 9*tried {
			t.Errorf("%s: %d of %d caught", name, caught, tried)
		}
	}
}

func listed(l *service.Listing) bool { return l.IsOffered() }
func sold(l *service.Listing) bool   { return l.SalePrice > 0 }
func sized(l *service.Listing) bool {
	return l.IsOffered() && l.Width > 0 && l.Height > 0 && !l.IsObserved()
}
func dresser(l *service.Listing) bool { return l.Category == "dresser" }
func oneAsk(l *service.Listing) bool  { return sold(l) && len(l.Asks) == 1 }
