package pricing_test

import (
	"fmt"
	"time"

	"askwright/pricing"
	"askwright/pricing/furniture"
)

// A group of two years' sales of desks: dearer when larger and better kept.
func deskSales(today pricing.Date) pricing.History {
	var h pricing.History
	for i := range 40 {
		listed := today - pricing.Date(20+15*i)
		width, grade := 90+float64(i%5)*15, 2+i%4
		price := 120 + 0.8*width + 25*float64(grade)
		h.Listings = append(h.Listings, pricing.Listing{
			ID: fmt.Sprintf("D-%02d", i),
			Attributes: furniture.Attributes{
				Category: "desk", Width: width, Depth: 60, Height: 75,
				Wood: "oak", Finish: "painted", Condition: grade,
			},
			ListedOn: listed, Asks: []pricing.Ask{{On: listed, Amount: pricing.PricePoint(1.08 * price)}},
			Estimate: pricing.PricePoint(1.06 * price),
			Outcome:  pricing.Sold, EndedOn: listed + pricing.Date(5+i%30), SalePrice: price,
		})
	}
	return h
}

func ExampleModel_Suggest() {
	today := pricing.NewDate(2026, time.March, 5)
	model := pricing.Fit(deskSales(today), today)
	desk := furniture.Attributes{
		Category: "desk", Width: 120, Depth: 60, Height: 75,
		Wood: "oak", Finish: "painted", Condition: 4,
	}
	s := model.Suggest(pricing.Query{Attributes: desk, Estimate: 330}, today, pricing.DefaultSettings(), nil)
	fmt.Printf("likely %.0f, from %.0f to %.0f\n", s.SalePrice.Likely, s.SalePrice.Low, s.SalePrice.High)
	for _, c := range s.Choices {
		fmt.Printf("%s: ask %.0f\n", c.Name, c.Ask)
	}
	// Output:
	// likely 314, from 304 to 324
	// quick: ask 370
	// balanced: ask 370
	// patient: ask 370
}

func ExampleModel_Review() {
	today := pricing.NewDate(2026, time.March, 5)
	model := pricing.Fit(deskSales(today), today)
	slow := pricing.Listing{
		ID: "D-99",
		Attributes: furniture.Attributes{
			Category: "desk", Width: 120, Depth: 60, Height: 75,
			Wood: "oak", Finish: "painted", Condition: 3,
		},
		ListedOn: today - 50, Asks: []pricing.Ask{{On: today - 50, Amount: 380}}, Estimate: 340,
		Pauses:   []pricing.Interval{{From: today - 40, To: today - 33}},
		Messages: []pricing.Reading{{On: today, Count: 1}},
	}
	r := model.Review(pricing.Standing{Listing: slow}, today, pricing.DefaultSettings())
	fmt.Println(r.State, r.Reason, r.Action, r.NextStepOn)
	for _, step := range r.Plan.Steps {
		fmt.Printf("%v: ask %.0f\n", step.On, step.Ask)
	}
	// Output:
	// slow look wait 2026-03-26
	// 2026-03-05: ask 380
	// 2026-03-26: ask 340
	// 2026-05-28: ask 310
	// 2026-07-09: ask 270
	// 2026-07-30: ask 230
	// 2026-08-20: ask 190
}

func ExamplePricePoint() {
	for _, amount := range []float64{47.3, 193, 487, 1212} {
		fmt.Println(pricing.PricePoint(amount))
	}
	// Output:
	// 47
	// 195
	// 490
	// 1200
}
