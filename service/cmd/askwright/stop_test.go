package main

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"askwright/db/dbtest"
)

// A write that the database does not let through, and reviews that wait with it,
// do not keep the program from ending.
func TestTheProgramEndsInTimeWhateverIsUnderWay(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	env := map[string]string{"DATABASE_URL": d.DSN, "ASKWRIGHT_LOG_LEVEL": "error"}
	key := mustRun(t, env, "group", "create", "G",
		"--currency", "EUR", "--unit", "cm", "--timezone", "UTC", "--member", "Tamsin")
	c := startChildWith(t, dataFolder(t), []string{"DATABASE_URL=" + d.DSN, "ASKWRIGHT_STOP_TIMEOUT=3s"}, "serve")
	admin, err := pgx.Connect(t.Context(), d.AdminDSN)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close(context.WithoutCancel(t.Context()))
	tx, err := admin.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), "lock table askwright.listing in access exclusive mode"); err != nil {
		t.Fatal(err)
	}
	cut := make(chan error, 1)
	go func() {
		_, _, err := send(t.Context(), http.MethodPost, c.urls[0]+"/v1/listings", key,
			`{"ref":"N-1","category":"desk","stage":"found"}`)
		cut <- err
	}()
	waitForLock(t, d.AdminDSN)
	began := time.Now()
	if code := c.end(t, syscall.SIGTERM); code != 0 {
		t.Errorf("the program ends with %d, want 0:\n%s", code, c.logged())
	}
	if took := time.Since(began); took < 3*time.Second || took > 12*time.Second {
		t.Errorf("it ended after %s, want 3 s and a little", took)
	}
	if err := <-cut; err == nil {
		t.Error("the write was answered, want it cut off")
	}
	if !strings.Contains(c.logged(), "cut off") {
		t.Errorf("the log does not say what was cut off:\n%s", c.logged())
	}
}

// waitForLock waits until somebody waits for a lock.
func waitForLock(t *testing.T, dsn string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		var waiting bool
		err := conn.QueryRow(t.Context(), `select exists (select from pg_stat_activity
			where datname = current_database() and wait_event_type = 'Lock')`).Scan(&waiting)
		if err != nil {
			t.Fatal(err)
		}
		if waiting {
			return
		}
	}
	t.Fatal("nobody waits for the lock")
}

// While the last requests are taken, readiness says that the program stops.
func TestReadinessSaysStoppingBeforeTheDoorCloses(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	c := startChildWith(t, dataFolder(t), []string{"DATABASE_URL=" + d.DSN}, "serve")
	if err := c.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for {
		status, _, err := send(t.Context(), http.MethodGet, c.urls[0]+"/readyz", "", "")
		if err != nil {
			t.Fatalf("the door closed before readiness said so: %v", err)
		}
		if status == http.StatusServiceUnavailable {
			break
		}
	}
	if <-c.done; c.cmd.ProcessState.ExitCode() != 0 {
		t.Errorf("the program ends with %d", c.cmd.ProcessState.ExitCode())
	}
}

// Work that looks at no context is left behind, and the reason of the end stays.
func TestWorkThatDoesNotEndIsLeftBehind(t *testing.T) {
	t.Parallel()
	broken := errors.New("broken")
	for _, reason := range []error{nil, broken} {
		parent, stop := context.WithCancel(t.Context())
		group, ctx := errgroup.WithContext(parent)
		group.Go(func() error { select {} })
		group.Go(func() error { return reason })
		if reason == nil {
			stop()
		}
		if err := waitAtMost(ctx, group, 0, slog.New(slog.DiscardHandler)); !errors.Is(err, reason) {
			t.Errorf("ends with %v, want %v", err, reason)
		}
		stop()
	}
}
