package service

import "github.com/google/uuid"

// RowChange is a listing that was changed or deleted, at the group's change number
// of its newest change.
type RowChange struct {
	ID       uuid.UUID
	ChangeNo int64
	Listing  *Listing // as it is now; nil: it was deleted
}

// ChangeQuery selects changes by their numbers, then by id.
type ChangeQuery struct {
	After   int64     // the change number
	AfterID uuid.UUID // of several listings with that number; the greatest id: none of them any more
	Limit   int
}
