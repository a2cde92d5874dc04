package recording

import (
	"context"

	"askwright/service"
)

// Changes reads a page of listings that changed or were deleted.
func (s *Service) Changes(ctx context.Context, a *service.Actor, q service.ChangeQuery) (changes []service.RowChange, more bool, err error) {
	return s.store.ListingChanges(ctx, a.Tenant(), q)
}
