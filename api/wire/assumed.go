package wire

import (
	"askwright/api/web"
	"askwright/pricing"
)

// Money is what an answer assumes, and what to ask with other space.
type Money struct {
	Currency           string      `json:"currency" example:"USD"`
	FeeShare           Assumed     `json:"fee_share"`                                              // of the sale price
	HoldingPerDay      Assumed     `json:"holding_per_day"`                                        // for the space it takes
	HourValue          Assumed     `json:"hour_value"`                                             // of your work
	SalvageShare       Assumed     `json:"salvage_share"`                                          // of the typical ask, if it never sells
	AskAtHalfHolding   *web.Number `json:"ask_at_half_holding" swaggertype:"number" example:"400"` // today
	AskAtDoubleHolding *web.Number `json:"ask_at_double_holding" swaggertype:"number" example:"370"`
}

// Assumed is a figure with who told it.
type Assumed struct {
	Value  *web.Number `json:"value" swaggertype:"number" example:"12"` // null: not told, and nothing is assumed
	Origin string      `json:"origin" enums:"set,default"`
}

func (v Viewer) assumptions(m pricing.Money) Money {
	money := web.MoneyIn(v.Currency)
	share := func(x float64) web.Number { return web.Rounded(x, 4) }
	out := Money{
		Currency: v.Currency.Code, FeeShare: assumed(m.FeeShare, share), HoldingPerDay: assumed(m.HoldingPerDay, money),
		HourValue: assumed(m.HourValue, money), SalvageShare: assumed(m.SalvageShare, share),
		AskAtHalfHolding: web.Known(m.AskAtHalfHolding, money), AskAtDoubleHolding: web.Known(m.AskAtDoubleHolding, money),
	}
	if m.HourValue.Value == 0 {
		out.HourValue.Value = nil
	}
	return out
}

func assumed(a pricing.Assumed, show func(float64) web.Number) Assumed {
	out := Assumed{Value: new(show(a.Value)), Origin: "default"}
	if a.IsSet {
		out.Origin = "set"
	}
	return out
}
