package db

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"askwright/service"
)

// SQLSTATE codes (PostgreSQL documentation, appendix A).
const (
	codeUniqueViolation  = "23505"
	codeCheckViolation   = "23514"
	codeDuplicateObject  = "42710"
	codeUndefinedObject  = "42704"
	codeUndefinedTable   = "42P01"
	codeInvalidSchema    = "3F000"
	codeNotPermitted     = "42501"
	codeInvalidParameter = "22023"
	codeQueryCanceled    = "57014"
	codeLockNotAvailable = "55P03"
	codeSerialization    = "40001"
)

// busyClasses are codes and classes that mean: try again later.
var busyClasses = []string{"08", "53", "57P", codeSerialization, "40P01", codeLockNotAvailable, codeQueryCanceled}

// constraintColumns names the column at fault and the reason, by constraint.
// The service checks all of this before; here it is the last line.
var constraintColumns = map[string][2]string{
	"ended_after_listed":   {"ended_on", "is before listed_on"},
	"ended_has_day":        {"ended_on", "an ended listing needs the day it ended"},
	"sold_has_price":       {"sale_price", "a sold listing needs its price"},
	"price_is_sold":        {"sale_price", "only a sold listing has one"},
	"pauses_inside":        {"pauses", "lie outside the listing"},
	"asks_positive":        {"ask", "must be more than zero"},
	"asks_from_listed":     {"ask_history", "must start on listed_on"},
	"asks_until_end":       {"ask_history", "lie after the end"},
	"amounts_positive":     {"sale_price", "amounts must be more than zero"},
	"size_positive":        {"width", "dimensions must be more than zero"},
	"condition_is_grade":   {"condition", "expected 1 to 5"},
	"stage_until_listed":   {"stage", "is of a piece not yet offered"},
	"listing_ref_once":     {"ref", "is taken by another row"},
	"listing_offered_once": {"piece_ref", "the piece is still offered by another listing"},

	"cost_line_voided_once": {"voids", "that line was undone already"},
	"step_is_of_hours":      {"step", "is for hours only"},
}

// translate turns the driver's errors into the service's, by SQLSTATE and
// constraint name, never by text. Other errors pass.
func translate(err error) error {
	var pg *pgconn.PgError
	var refused *service.Error
	var invalid *service.InvalidError
	switch {
	case err == nil || errors.As(err, &refused) || errors.As(err, &invalid):
		return err
	case errors.Is(err, pgx.ErrNoRows):
		return fmt.Errorf("%w (%w)", service.ErrNotFound, err)
	case errors.As(err, &pg):
		return translatePg(pg)
	case errors.Is(err, context.DeadlineExceeded), isConnectError(err), isLost(err):
		return fmt.Errorf("%w: %w", service.ErrUnavailable, err)
	}
	return err
}

func translatePg(pg *pgconn.PgError) error {
	column, known := constraintColumns[pg.ConstraintName]
	switch {
	case pg.Code == codeCheckViolation && known:
		return service.Invalid(column[0], "%s", column[1])
	case pg.Code == codeUniqueViolation && known:
		return &service.Error{Kind: service.ErrConflict, Detail: column[0] + " " + column[1]}
	case pg.Code == codeUniqueViolation:
		return fmt.Errorf("%w: %w", service.ErrConflict, pg)
	case slices.ContainsFunc(busyClasses, func(c string) bool { return strings.HasPrefix(pg.Code, c) }):
		return fmt.Errorf("%w: %w", service.ErrUnavailable, pg)
	}
	return pg
}

func isConnectError(err error) bool {
	var connect *pgconn.ConnectError
	return errors.As(err, &connect)
}

func hasCode(err error, codes ...string) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && slices.Contains(codes, pg.Code)
}
