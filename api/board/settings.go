package board

import (
	"cmp"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// settingsPage is what the group settled, to change it.
type settingsPage struct {
	Money, Ways []formField
	Wrong       []string
	Token       string
	NeedsKey    bool // the session cannot administer: an admin key is typed with the form
	Saved       bool
}

// moneySettings are the amounts among the settings.
var moneySettings = []struct {
	name, label string
	of          func(*service.Group) *service.Money
}{
	{"hour_value", "Hourly rate (your pay)", func(g *service.Group) *service.Money { return &g.HourValue }},
	{"minimum_profit", "Least profit on any piece", func(g *service.Group) *service.Money { return &g.MinimumProfit }},
	{"space_price", "Space, a month", func(g *service.Group) *service.Money { return &g.SpacePrice }},
	{"distance_cost", "Driving", func(g *service.Group) *service.Money { return &g.DistanceCost }},
}

func settingsOf(a *service.Actor, sent url.Values) *settingsPage {
	g := a.Group
	page := &settingsPage{NeedsKey: !a.Can(service.ScopeAdmin), Token: service.NewID().String()}
	for _, m := range moneySettings {
		f := amountField(m.name, m.label, false)
		if amount := *m.of(g); amount != 0 {
			f.Value = wire.Trimmed(0, amount.Format(g.Currency))
		}
		switch {
		case m.name == "space_price" && g.Unit == service.UnitInch:
			f.Label += ", a square foot"
		case m.name == "space_price":
			f.Label += ", a square meter"
		case m.name == "distance_cost" && g.Unit == service.UnitInch:
			f.Label += ", a mile"
		case m.name == "distance_cost":
			f.Label += ", a kilometer"
		}
		page.Money = append(page.Money, f)
	}
	fee := formField{Name: "fee_percent", Label: "Venue fees, % of the sale price", Mode: "decimal", Value: strconv.FormatFloat(100*g.FeeRate, 'f', -1, 64)}
	currency := formField{Name: "currency", Label: "Currency", Value: g.Currency.Code, Required: true}
	page.Money = append(page.Money, fee, currency)
	page.Ways = []formField{
		{Name: "name", Label: "Name of the group", Value: g.Name, Required: true},
		{Name: "unit", Label: "Lengths in", Words: []string{service.UnitInch, service.UnitCentimetre}, Value: g.Unit, Required: true},
		{Name: "date_order", Label: "Dates like 8/9/2026 are", Words: []string{service.DateOrderMDY, service.DateOrderDMY}, Value: g.DateOrder},
		{Name: "timezone", Label: "Time zone", Value: g.TimeZone, Required: true},
	}
	for _, fields := range [][]formField{page.Money, page.Ways} {
		for i := range fields {
			if sent.Has(fields[i].Name) {
				fields[i].Value = strings.TrimSpace(sent.Get(fields[i].Name))
			}
		}
	}
	return page
}

// GetBoardSettings shows the group's settings.
//
//	@Summary	The board: settings
//	@Tags		board
//	@Param		saved	query	bool	false	"they were just saved"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/settings [get]
func (s *Board) GetBoardSettings(c *gin.Context, a *service.Actor) error {
	p := web.ParamsOf(c)
	page := settingsOf(a, url.Values{})
	page.Saved = p.Bool("saved")
	if err := p.Done(); err != nil {
		return err
	}
	return s.render(c, http.StatusOK, "settings", boardFrame{Title: "Settings", At: "settings", Viewer: a, Page: page})
}

// PostBoardSettings changes the group's settings. A session cannot administer, so
// an admin key comes with the form.
//
//	@Summary	The board: change settings
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		admin_key	formData	string	false	"a key that can administer"
//	@Param		hour_value	formData	string	false	"with the other settings"
//	@Produce	html
//	@Success	303	"saved"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/settings [post]
func (s *Board) PostBoardSettings(c *gin.Context, a *service.Actor) error {
	sent := c.Request.PostForm
	admin, err := s.adminOf(c, a)
	if err == nil {
		_, err = s.app.Members.UpdateGroup(c.Request.Context(), admin, func(g *service.Group) error { return applySettings(g, sent) })
	}
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		page := settingsOf(a, sent)
		page.Wrong = blame(wrong.Fields, func(column string) *formField {
			if column == "fee_rate" || column == "fee_share" {
				column = "fee_percent"
			}
			return fieldNamed(column, page.Money, page.Ways)
		})
		return s.render(c, http.StatusUnprocessableEntity, "settings", boardFrame{Title: "Settings", At: "settings", Viewer: a, Page: page})
	}
	if err == nil {
		c.Redirect(http.StatusSeeOther, "/board/settings?saved=true")
	}
	return err
}

// adminOf is who may change the settings: the viewer, or the holder of the admin
// key in the form.
func (s *Board) adminOf(c *gin.Context, a *service.Actor) (*service.Actor, error) {
	if a.Can(service.ScopeAdmin) {
		return a, nil
	}
	admin, err := s.app.Members.Authenticate(c.Request.Context(), strings.TrimSpace(c.Request.PostForm.Get("admin_key")))
	if errors.Is(err, service.ErrUnauthenticated) {
		err = s.CountFailure(c, err)
		return nil, cmp.Or[error](wrongKey(err), err)
	}
	if err == nil && (admin.Group.ID != a.Group.ID || !admin.Can(service.ScopeAdmin)) {
		err = service.Invalid("", "that key cannot change the settings; type an admin key of this group")
	}
	return admin, err
}

// wrongKey says on the form that a key is not valid; nil: it is another failure.
func wrongKey(err error) error {
	if !errors.Is(err, service.ErrUnauthenticated) {
		return nil
	}
	return service.Invalid("", "%s", web.Scrub(web.ProblemOf(err).Detail))
}

func applySettings(g *service.Group, sent url.Values) error {
	text := func(name string) string { return strings.TrimSpace(sent.Get(name)) }
	g.Name, g.Unit, g.DateOrder, g.TimeZone = text("name"), text("unit"), text("date_order"), text("timezone")
	if code := strings.ToUpper(text("currency")); code != g.Currency.Code {
		g.Currency, _ = service.CurrencyByCode(code)
	}
	var wrong []service.FieldError
	reader := &service.Reader{Currency: g.Currency, Unit: g.Unit}
	for _, m := range moneySettings {
		if text(m.name) == "" {
			*m.of(g) = 0
			continue
		}
		amount, err := reader.Cost(text(m.name), service.CostOther)
		if err != nil {
			wrong = append(wrong, service.FieldError{Column: m.name, Reason: err.Error()})
		}
		*m.of(g) = service.Money(amount)
	}
	percent, err := strconv.ParseFloat(cmp.Or(strings.TrimSpace(strings.TrimSuffix(text("fee_percent"), "%")), "0"), 64)
	if err != nil {
		wrong = append(wrong, service.FieldError{Column: "fee_percent", Reason: "expected a number such as 12"})
	}
	g.FeeRate = percent / 100
	if wrong != nil {
		return &service.InvalidError{Fields: wrong}
	}
	return nil
}
