package db

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"askwright/service"
)

// openKey is the context key of the transaction of Once.
type openKey struct{}

// open is a transaction that statements of the same tenant join.
type open struct {
	tx     pgx.Tx
	tenant service.Tenant
	leave  *func() // gives up the group's turn to write; nil: not taken yet
}

// opened is the transaction of Once that the tenant's statements join.
func opened(ctx context.Context, t service.Tenant) (open, bool) {
	o, ok := ctx.Value(openKey{}).(open)
	return o, ok && o.tenant.Group == t.Group && o.tenant.Member == t.Member
}

// Once works on a request unless it has been answered; see recording.Store.
func (s *Store) Once(ctx context.Context, t service.Tenant, r service.OnceRequest, since time.Time, do func(context.Context) (*service.OnceAnswer, error)) (*service.OnceAnswer, error) {
	leave, err := s.keyed.enter(ctx, t.Group)
	if err != nil {
		return nil, err
	}
	defer leave()
	// While do runs it may need a further connection, for another tenant.
	if err := s.repeatable.Acquire(ctx, 1); err != nil {
		return nil, translate(err)
	}
	defer s.repeatable.Release(1)
	// The first write takes the turn in the database until this transaction
	// ends, so the place in the queue is kept as long.
	var leaveTurn func()
	defer func() {
		if leaveTurn != nil {
			leaveTurn()
		}
	}()
	var answer *service.OnceAnswer
	var refused error // by do, which speaks the service's errors
	take := func(tx pgx.Tx) (err error) {
		answer, err = takeKey(ctx, tx, t, r, since)
		return err
	}
	err = inTransaction(ctx, s.pool, pgx.TxOptions{}, take, func(tx pgx.Tx) error {
		if answer != nil {
			return nil
		}
		answer, refused = do(context.WithValue(ctx, openKey{}, open{tx, t, &leaveTurn}))
		if refused != nil {
			return refused
		}
		headers, err := json.Marshal(answer.Headers)
		if err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `update idempotency set status = $5, headers = $6, body = $7
			where group_id = $1 and member_id = $2 and operation = $3 and key = $4`,
			t.Group, t.Member, r.Operation, r.Key, answer.Status, headers, answer.Body)
		return err
	})
	if refused != nil {
		return nil, refused
	}
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// takeKey inserts the key, or returns what was answered under it. The insertion
// waits for another transaction with the same key, but not for long.
func takeKey(ctx context.Context, tx pgx.Tx, t service.Tenant, r service.OnceRequest, since time.Time) (*service.OnceAnswer, error) {
	key := []any{t.Group, t.Member, r.Operation, r.Key}
	var taken bool
	err := send(ctx, tx, tenantIs(t), statement{sql: "set local lock_timeout = '500ms'"}, statement{
		// Old ones go a few at a time, and never at the price of waiting.
		sql: `delete from idempotency where group_id = $1 and (member_id, operation, key) in (
			select member_id, operation, key from idempotency where group_id = $1 and made_at < $2
			order by made_at limit 100 for update skip locked)`,
		args: []any{t.Group, since},
	}, statement{
		sql: `insert into idempotency (group_id, member_id, operation, key, sum, made_at) values ($1, $2, $3, $4, $5, $6)
			on conflict (group_id, member_id, operation, key) do update set sum = excluded.sum, made_at = excluded.made_at
			where idempotency.made_at < $7 returning true`,
		args: append(key, r.Sum[:], r.At, since),
		read: oneOrNone(&taken),
	}, statement{sql: "set local lock_timeout = 0"})
	if hasCode(err, codeLockNotAvailable) {
		return nil, service.ErrInProgress
	}
	if err != nil || taken {
		return nil, err
	}
	return keptAnswer(ctx, tx, r, key)
}

func keptAnswer(ctx context.Context, tx pgx.Tx, r service.OnceRequest, key []any) (*service.OnceAnswer, error) {
	var sum, headers []byte
	answer := &service.OnceAnswer{}
	err := tx.QueryRow(ctx, `select sum, status, headers, body from idempotency
		where group_id = $1 and member_id = $2 and operation = $3 and key = $4`, key...).Scan(&sum, &answer.Status, &headers, &answer.Body)
	switch {
	case errors.Is(err, pgx.ErrNoRows): // deleted just now, being old
		return nil, fmt.Errorf("%w: %w", service.ErrUnavailable, err)
	case err != nil:
		return nil, err
	case string(sum) != string(r.Sum[:]):
		return nil, service.ErrAnotherRequest
	}
	return answer, json.Unmarshal(headers, &answer.Headers)
}
