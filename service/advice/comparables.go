package advice

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
)

// Comparables returns the n nearest listings to a described piece, or to one
// on file, adjusted to it.
func (s *Service) Comparables(ctx context.Context, a *service.Actor, sub Subject, n int) ([]Comparable, error) {
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	read, err := s.readSubjects(ctx, a, []Subject{sub})
	if err != nil {
		return nil, err
	}
	nearest, err := s.nearest(ctx, a, fit, []*service.Listing{read[0].row}, nearestOf{n, false})
	if err != nil {
		return nil, err
	}
	found := fit.Model.Comparables(read[0].row.Attributes(), a.Today, nearest[0].facts(a.Group.Currency), n)
	return nearest[0].rows(found), nil
}

// near are the rows that are nearest to one subject.
type near []*service.Listing

// nearestOf says how many are wanted, and of which.
type nearestOf struct {
	n        int
	soldOnly bool
}

// searchedAtOnce bounds the candidates in memory.
const searchedAtOnce = 50 // subjects

// nearest finds the listings that are nearest to each subject: it ranks candidates
// by little of each and reads the rows of those alone that are shown.
func (s *Service) nearest(ctx context.Context, a *service.Actor, fit *model.Fit, subjects []*service.Listing, of nearestOf) ([]near, error) {
	out := make([]near, 0, len(subjects))
	for some := range slices.Chunk(subjects, searchedAtOnce) {
		search := make([]model.CompQuery, len(some))
		for i, l := range some {
			d := l.Attributes()
			search[i] = model.CompQuery{
				Category: l.Category, Piece: l.PieceID, Volume: d.Width * d.Depth * d.Height,
				FewEnough: model.FewComparable, SoldOnly: of.soldOnly,
			}
		}
		candidates, err := s.store.Nearest(ctx, a.Tenant(), search)
		if err != nil {
			return nil, fmt.Errorf("look for comparables: %w", err)
		}
		ids := make([][]uuid.UUID, len(some))
		for i, l := range some {
			for _, at := range fit.Model.Nearest(l.Attributes(), a.Today, candidates[i], of.n) {
				id, err := uuid.Parse(candidates[i][at].ID)
				if err != nil {
					return nil, err
				}
				ids[i] = append(ids[i], id)
			}
		}
		found, err := s.nearRows(ctx, a, ids)
		if err != nil {
			return nil, err
		}
		out = append(out, found...)
	}
	return out, nil
}

// nearRows reads the rows with ids, for each subject in their order. One that was
// deleted meanwhile is left out.
func (s *Service) nearRows(ctx context.Context, a *service.Actor, ids [][]uuid.UUID) ([]near, error) {
	rows, err := s.store.NearRows(ctx, a.Tenant(), slices.Concat(ids...))
	if err != nil {
		return nil, fmt.Errorf("read the comparables: %w", err)
	}
	byID := make(map[uuid.UUID]*service.Listing, len(rows))
	for _, l := range rows {
		byID[l.ID] = l
	}
	out := make([]near, len(ids))
	for i, some := range ids {
		for _, id := range some {
			if l := byID[id]; l != nil {
				out[i] = append(out[i], l)
			}
		}
	}
	return out, nil
}

func (n near) facts(c service.Currency) []pricing.Listing {
	facts := make([]pricing.Listing, len(n))
	for i, l := range n {
		facts[i] = l.Facts(c, nil, nil)
	}
	return facts
}

// rows puts the rows beside the engine's comparables.
func (n near) rows(found []pricing.Comparable) []Comparable {
	byID := make(map[string]*service.Listing, len(n))
	for _, l := range n {
		byID[l.ID.String()] = l
	}
	out := make([]Comparable, 0, len(found))
	for _, c := range found {
		out = append(out, Comparable{Comparable: c, Row: byID[c.ID]})
	}
	return out
}
