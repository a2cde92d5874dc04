package advice

import (
	"context"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/prose"
)

// Description is the fitted model in plain words.
type Description struct {
	Version string
	pricing.Description
	Sentences  []pricing.Sentence
	Suspicious []SuspiciousSale // the actor's own alone
}

// SuspiciousSale is a sale of the actor's that counts for little.
type SuspiciousSale struct {
	pricing.SuspiciousSale
	Row *service.Listing
}

// Describe tells what the group's model says.
func (s *Service) Describe(ctx context.Context, a *service.Actor) (*Description, error) {
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	d := &Description{Version: fit.Version(), Description: fit.Model.Describe()}
	d.Sentences = prose.Model(&d.Description)
	suspicious := fit.Model.Suspicious()
	var which model.Selection
	for _, sale := range suspicious {
		if id, err := uuid.Parse(sale.ID); err == nil {
			which.IDs = append(which.IDs, id)
		}
	}
	rows, err := s.fits.Records(ctx, a, which)
	if err != nil {
		return nil, err
	}
	for _, sale := range suspicious {
		id, err := uuid.Parse(sale.ID)
		r := rows.ByID[id]
		if err != nil || r == nil || r.MemberID != a.MemberID || r.SalePrice.Major(a.Group.Currency) != sale.SalePrice {
			continue // also where it was corrected since the fit
		}
		d.Suspicious = append(d.Suspicious, SuspiciousSale{SuspiciousSale: sale, Row: r.Listing})
	}
	return d, nil
}
