package db

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"askwright/service"
)

// acquireTime is how long anybody waits for a connection.
const acquireTime = 2 * time.Second

// take takes a connection, and refuses where none comes free soon.
func take(ctx context.Context, pool *pgxpool.Pool) (*pgxpool.Conn, error) {
	limited, cancel := context.WithTimeout(ctx, acquireTime)
	defer cancel()
	conn, err := pool.Acquire(limited)
	if err != nil && limited.Err() != nil && ctx.Err() == nil {
		return nil, fmt.Errorf("%w: no connection came free in %s", service.ErrUnavailable, acquireTime)
	}
	return conn, err
}

// attempt does something on a connection. fresh reports whether it may be done
// again from the beginning.
type attempt func(conn *pgxpool.Conn) (fresh bool, err error)

// onConnection makes an attempt, and a second one on a new connection where the
// first was lost before anything came of it: the server may have started again
// since the connection was used last.
func onConnection(ctx context.Context, pool *pgxpool.Pool, try attempt) error {
	for isSecond := false; ; isSecond = true {
		conn, err := take(ctx, pool)
		if err != nil {
			return translate(err)
		}
		fresh, err := try(conn)
		conn.Release()
		if !isLost(err) {
			return translate(err)
		}
		pool.Reset() // what befell one connection mostly befell all
		if !fresh || isSecond {
			return translate(err)
		}
	}
}

// inTransaction is onConnection in a transaction. Until begin is through, all of
// it can be done again.
func inTransaction(ctx context.Context, pool *pgxpool.Pool, options pgx.TxOptions, begin, do func(pgx.Tx) error) error {
	return onConnection(ctx, pool, func(conn *pgxpool.Conn) (bool, error) {
		fresh := true
		err := pgx.BeginTxFunc(ctx, conn, options, func(tx pgx.Tx) error {
			if err := begin(tx); err != nil {
				return err
			}
			fresh = false
			return do(tx)
		})
		return fresh, err
	})
}

// isLost reports whether an error is the end of a connection. Nobody knows then
// whether a commit under way came through.
func isLost(err error) bool {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return false
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return strings.HasPrefix(pg.Code, "57P") || strings.HasPrefix(pg.Code, "08")
	}
	var network net.Error
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		errors.As(err, &network) || pgconn.SafeToRetry(err)
}

// isNoRead reports whether a statement may change something.
func isNoRead(st statement) bool {
	return !strings.HasPrefix(strings.TrimSpace(st.sql), "select ")
}
