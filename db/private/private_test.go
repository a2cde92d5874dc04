package private

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

func TestFirstStart(t *testing.T) {
	s := start(t, Options{DataDir: tempDir(t)})
	if s.Attached() {
		t.Error("Attached() = true on a server just started")
	}
	for _, c := range []struct{ dsn, sql, want string }{
		{s.AdminDSN(), "SELECT current_user || ' ' || current_database()", "postgres askwright"},
		{s.DSN(), "SELECT current_user || ' ' || current_database()", "askwright askwright"},
		{s.DSN(), "SELECT (rolsuper OR rolbypassrls OR rolcreaterole OR rolcreatedb OR rolreplication)::text FROM pg_roles WHERE rolname = current_user", "false"},
		{s.DSN(), "SHOW server_encoding", "UTF8"},
		{s.DSN(), "SHOW data_checksums", "on"},
		{s.DSN(), "SHOW synchronous_commit", "on"},
		{s.DSN(), "SHOW timezone", "UTC"},
		{s.DSN(), "SHOW fsync", "off"}, // of Settings
		{s.AdminDSN(), "SHOW listen_addresses", ""},
		{s.AdminDSN(), "SELECT coalesce(inet_server_addr()::text, 'socket')", "socket"},
		// Text sorts by code point: capitals before small letters.
		{s.DSN(), "SELECT string_agg(x, '' ORDER BY x) FROM unnest(array['b', 'a', 'B', 'é']) x", "Babé"},
	} {
		if got := query(t, c.dsn, c.sql); got != c.want {
			t.Errorf("%s: got %q, want %q", c.sql, got, c.want)
		}
	}
	select {
	case <-s.Exited():
		t.Error("Exited() is closed while the server runs")
	default:
	}
}

// Whoever reaches the socket is let in, so nobody else may reach it.
func TestSocketFolderIsClosedToOthers(t *testing.T) {
	dir := tempDir(t)
	start(t, Options{DataDir: dir})
	for path, want := range map[string]os.FileMode{
		"run": 0o700, "run/" + socketName: 0o700, "postgresql": 0o700, "postgresql.log": 0o600, "askwright.lock": 0o600,
	} {
		info, err := os.Stat(filepath.Join(dir, path))
		if err != nil {
			t.Fatal(err)
		}
		if got := info.Mode().Perm(); got != want {
			t.Errorf("%s: mode %o, want %o", path, got, want)
		}
	}
	if err := os.Chmod(filepath.Join(dir, "run"), 0o755); err != nil {
		t.Fatal(err)
	}
	f := mustFolder(t, dir)
	if err := f.makeSocketDir(filepath.Join(dir, "run")); err == nil {
		t.Error("a socket folder open to others is accepted")
	}
}

func TestRestartKeepsData(t *testing.T) {
	dir := tempDir(t)
	s := start(t, Options{DataDir: dir})
	exec1(t, s.AdminDSN(), "CREATE TABLE kept AS SELECT 'oak sideboard' AS piece")
	// Rights taken by hand do not outlive a restart.
	exec1(t, s.AdminDSN(), "ALTER ROLE askwright BYPASSRLS")
	stop(t, s)
	stop(t, s) // a second one does nothing
	select {
	case <-s.Exited():
		t.Error("Exited() is closed after Stop")
	default:
	}

	s = start(t, Options{DataDir: dir})
	if got := query(t, s.AdminDSN(), "SELECT piece FROM kept"); got != "oak sideboard" {
		t.Errorf("got %q after a restart", got)
	}
	if got := query(t, s.AdminDSN(), "SELECT rolbypassrls::text FROM pg_roles WHERE rolname = 'askwright'"); got != "false" {
		t.Error("the login role bypasses row-level security after a restart")
	}
}

func TestStopEndsOpenConnections(t *testing.T) {
	s := start(t, Options{DataDir: tempDir(t)})
	conn := connect(t, s.DSN())
	defer conn.Close(context.Background())
	began := time.Now()
	stop(t, s)
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("Stop took %v with a connection open", took)
	}
	if err := conn.Ping(context.Background()); err == nil {
		t.Error("the connection outlives the server")
	}
}

// Out of time, Stop still ends the server; what was committed is there later.
func TestStopOutOfTime(t *testing.T) {
	dir := tempDir(t)
	s := start(t, Options{DataDir: dir})
	exec1(t, s.AdminDSN(), "CREATE TABLE kept AS SELECT 'beech stool' AS piece")
	pid := pidOf(t, dir)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Stop(ctx); err != nil && !errors.Is(err, context.Canceled) {
		t.Errorf("got error %v", err)
	}
	if alive(pid) {
		t.Error("the server runs on")
	}
	s = start(t, Options{DataDir: dir})
	if got := query(t, s.AdminDSN(), "SELECT piece FROM kept"); got != "beech stool" {
		t.Errorf("got %q", got)
	}
}

func TestTwoPrograms(t *testing.T) {
	dir := tempDir(t)
	p := startProgram(t, self(t), dir, nil)

	_, err := Start(t.Context(), Options{DataDir: dir, Settings: fast})
	var inUse *InUseError
	if !errors.As(err, &inUse) {
		t.Fatalf("got error %v, want an InUseError", err)
	}
	if want := filepath.Base(self(t)) + " serve"; inUse.PID != p.cmd.Process.Pid || inUse.Command != want {
		t.Errorf("got holder %q (pid %d), want %q (pid %d)", inUse.Command, inUse.PID, want, p.cmd.Process.Pid)
	}
	wantText(t, err, dir, "used by another program: ", " serve (pid ", "ASKWRIGHT_DATA")
	if strings.Contains(readFile(t, filepath.Join(dir, "askwright.lock")), "secret") {
		t.Error("the lock file holds the program's further arguments")
	}

	began := time.Now()
	if _, err = Start(t.Context(), Options{DataDir: dir, Settings: fast, Wait: 300 * time.Millisecond}); !errors.As(err, &inUse) {
		t.Fatalf("got error %v, want an InUseError", err)
	}
	if took := time.Since(began); took < 300*time.Millisecond {
		t.Errorf("refused after %v, want a wait of 300 ms", took)
	}

	// One that waits gets the folder when the first program ends in good order.
	time.AfterFunc(200*time.Millisecond, func() { _ = p.input.Close() })
	s := start(t, Options{DataDir: dir, Wait: 20 * time.Second})
	if got := query(t, s.AdminDSN(), "SELECT (count(*) > 0)::text FROM kept"); got != "true" {
		t.Error("the first program's rows are gone")
	}
}

func TestAttach(t *testing.T) {
	dir := tempDir(t)
	if _, err := Attach(t.Context(), Options{DataDir: dir}); !errors.Is(err, ErrNotRunning) {
		t.Fatalf("no folder: got error %v, want ErrNotRunning", err)
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("Attach has made a data folder")
	}
	first := start(t, Options{DataDir: dir})
	exec1(t, first.AdminDSN(), "CREATE TABLE kept AS SELECT 'pine dresser' AS piece")

	s, err := Attach(t.Context(), Options{DataDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if !s.Attached() {
		t.Error("Attached() = false")
	}
	if got := query(t, s.AdminDSN(), "SELECT piece FROM kept"); got != "pine dresser" {
		t.Errorf("got %q through the attached server", got)
	}
	if got := query(t, s.DSN(), "SELECT current_user::text"); got != "askwright" {
		t.Errorf("attached as %q", got)
	}
	stop(t, s)
	if got := query(t, first.AdminDSN(), "SELECT piece FROM kept"); got != "pine dresser" {
		t.Error("stopping an attached server has stopped the other program's")
	}
	stop(t, first)
	if _, err := Attach(t.Context(), Options{DataDir: dir}); !errors.Is(err, ErrNotRunning) {
		t.Errorf("after a stop: got error %v, want ErrNotRunning", err)
	}
}

// A command started together with the service waits for its first start.
func TestAttachWaits(t *testing.T) {
	dir := tempDir(t)
	attached := make(chan error, 1)
	go func() {
		s, err := Attach(t.Context(), Options{DataDir: dir, Wait: 30 * time.Second})
		if err == nil {
			var conn *pgx.Conn
			if conn, err = pgx.Connect(t.Context(), s.DSN()); err == nil {
				err = conn.Close(t.Context())
			}
		}
		attached <- err
	}()
	start(t, Options{DataDir: dir})
	if err := <-attached; err != nil {
		t.Fatal(err)
	}
}

func TestPostgresThatDiesIsStartedAgain(t *testing.T) {
	dir := tempDir(t)
	s := start(t, Options{DataDir: dir})
	exec1(t, s.AdminDSN(), "CREATE TABLE kept AS SELECT 'elm chair' AS piece")
	for range 2 {
		killed, began := pidOf(t, dir), time.Now()
		if err := syscall.Kill(killed, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
		for {
			conn, err := pgx.Connect(t.Context(), s.DSN())
			if err == nil {
				conn.Close(t.Context())
				if pidOf(t, dir) != killed {
					break
				}
			}
			if time.Since(began) > 10*time.Second {
				t.Fatalf("not back after 10 s: %v", err)
			}
			time.Sleep(10 * time.Millisecond)
		}
		t.Logf("back after %v", time.Since(began))
		if got := query(t, s.AdminDSN(), "SELECT piece FROM kept"); got != "elm chair" {
			t.Errorf("got %q after a crash", got)
		}
	}
	select {
	case <-s.Exited():
		t.Error("it is given up although it runs")
	default:
	}
	stop(t, s)
	if _, err := Attach(t.Context(), Options{DataDir: dir}); !errors.Is(err, ErrNotRunning) {
		t.Errorf("attaching to a stopped server: got error %v, want ErrNotRunning", err)
	}
}

func TestPostgresThatCannotBeStartedAgainIsGivenUp(t *testing.T) {
	dir := tempDir(t)
	s := start(t, Options{DataDir: dir})
	version := filepath.Join(mustFolder(t, dir).cluster, "PG_VERSION")
	if err := os.Rename(version, version+".away"); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pidOf(t, dir), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	select {
	case <-s.Exited():
	case <-time.After(30 * time.Second):
		t.Fatal("Exited() is open 30 s after the server was killed")
	}
	if err := os.Rename(version+".away", version); err != nil {
		t.Fatal(err)
	}
	stop(t, s)
	start(t, Options{DataDir: dir})
}

func TestStoppingWhileItIsStartedAgain(t *testing.T) {
	dir := tempDir(t)
	for _, after := range []time.Duration{0, 20 * time.Millisecond, 100 * time.Millisecond} {
		s := start(t, Options{DataDir: dir})
		if err := syscall.Kill(pidOf(t, dir), syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
		time.Sleep(after)
		stop(t, s)
		if _, err := Attach(t.Context(), Options{DataDir: dir}); !errors.Is(err, ErrNotRunning) {
			t.Errorf("stopped %v after the kill: attaching gives %v, want ErrNotRunning", after, err)
		}
	}
}

func TestCancelledStart(t *testing.T) {
	dir := tempDir(t)
	for _, after := range []time.Duration{0, 50 * time.Millisecond, 200 * time.Millisecond} {
		ctx, cancel := context.WithTimeout(t.Context(), after)
		_, err := Start(ctx, Options{DataDir: dir, Settings: fast, Logger: testLogger(t)})
		cancel()
		if err == nil {
			t.Fatalf("started within %v", after)
		}
		if left, _ := filepath.Glob(filepath.Join(dir, "postgresql.new-*")); len(left) > 0 {
			t.Errorf("left behind: %v", left)
		}
	}
	start(t, Options{DataDir: dir})
}
