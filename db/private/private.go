// Package private runs a PostgreSQL server that belongs to the program alone:
// the machine's own PostgreSQL binaries, a cluster in the program's data
// folder, reachable through a Unix socket in a folder nobody else may enter.
//
// A data folder looks like this:
//
//	askwright.lock    locked by the program whose server runs; names it
//	postgresql/       the cluster (PGDATA)
//	postgresql.log    the server's own log; the previous one is postgresql.log.1
//	run/              the socket, mode 0700
//
// It speaks only to Unix-like systems. PostgreSQL refuses to run as root, so a
// program run by root starts it as the user postgres.
package private

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"
)

// Options says where a private server lives and how it is run.
type Options struct {
	// DataDir is the folder owned by the program. It is created when missing.
	DataDir string

	// BinDir holds the programs postgres and initdb. Empty: the one in PATH
	// whose version suits the cluster, else one of the usual folders.
	BinDir string

	// Settings are further postgresql.conf settings; they win over the
	// package's own, except for those that keep the server private.
	Settings map[string]string

	// Logger is told of starts, stops and recoveries. Nil: slog.Default().
	Logger *slog.Logger

	// Wait is how long Start waits for another program to let go of the
	// folder, and Attach for a server that is starting. 0: not at all.
	Wait time.Duration
}

// Server is a running private PostgreSQL, started or attached to.
type Server struct {
	socketDir string
	exited    chan struct{}

	// A server attached to has none of these.
	lock       *folderLock
	logger     *slog.Logger
	endWatch   context.CancelFunc // no more starting again
	watched    chan struct{}      // closed when nobody starts it again
	isAttached bool

	mu       sync.Mutex
	process  *process // the present one
	stopping bool
}

// Start takes the data folder's lock, creates the cluster when there is none,
// starts PostgreSQL and returns once it accepts connections and holds the
// database and the login role that the DSNs name.
//
// ctx bounds the start only. On Linux the server ends with the program, however
// the program ends; elsewhere the next Start ends a server left behind.
//
// Errors: *InUseError, *MissingBinariesError, *VersionMismatchError.
func Start(ctx context.Context, o Options) (*Server, error) {
	found, err := installed(ctx, o.BinDir)
	if err != nil {
		return nil, err
	}
	f, err := createFolder(o.DataDir)
	if err != nil {
		return nil, err
	}
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	lock, err := takeLock(ctx, f, o.Wait)
	if err != nil {
		return nil, err
	}
	s, err := startLocked(ctx, f, found, o)
	if err != nil {
		return nil, errors.Join(err, lock.release())
	}
	s.lock = lock
	return s, nil
}

// startLocked does the work of Start while the caller holds the folder's lock.
func startLocked(ctx context.Context, f folder, found []binaries, o Options) (*Server, error) {
	bin, err := choose(found, f)
	if err != nil {
		return nil, err
	}
	socketDir, err := f.prepare(ctx, bin)
	if err != nil {
		return nil, err
	}
	if err := createCluster(ctx, f, bin, o); err != nil {
		return nil, err
	}
	start := func(ctx context.Context) (*process, error) {
		return startServer(ctx, f, bin, serverSettings(socketDir, o.Settings), o.Logger)
	}
	p, err := start(ctx)
	if err != nil {
		return nil, err
	}
	watching, endWatch := context.WithCancel(context.WithoutCancel(ctx))
	s := &Server{
		socketDir: socketDir, logger: o.Logger, exited: make(chan struct{}), process: p,
		endWatch: endWatch, watched: make(chan struct{}),
	}
	if err := bootstrap(ctx, socketDir); err != nil {
		endWatch()
		return nil, errors.Join(err, p.stop(context.WithoutCancel(ctx)))
	}
	go s.watch(watching, f, start)
	o.Logger.Info("private PostgreSQL started", "data", f.cluster, "binaries", bin.dir, "version", bin.major, "pid", p.pid())
	return s, nil
}

// Attach returns the server that another program has started on the data
// folder, for a command run beside it. It waits up to o.Wait for one that is
// starting.
//
// Errors: ErrNotRunning.
func Attach(ctx context.Context, o Options) (*Server, error) {
	for deadline := time.Now().Add(o.Wait); ; {
		socketDir, err := findRunning(ctx, o.DataDir)
		if err == nil {
			return &Server{socketDir: socketDir, exited: make(chan struct{}), isAttached: true}, nil
		}
		if !errors.Is(err, ErrNotRunning) || time.Now().After(deadline) {
			return nil, err
		}
		if err := sleep(ctx, 50*time.Millisecond); err != nil {
			return nil, err
		}
	}
}

// AdminDSN is the URL of a superuser's connection to the database askwright.
func (s *Server) AdminDSN() string { return dsn(s.socketDir, superuser, database) }

// DSN is the URL of a connection to the database askwright as the login role
// askwright, which has no rights but those granted to it.
func (s *Server) DSN() string { return dsn(s.socketDir, LoginRole, database) }

// Attached tells whether another program started the server.
func (s *Server) Attached() bool { return s.isAttached }

// Exited is closed when PostgreSQL ended without being asked to and could not be
// started again. It stays open on a server that was stopped or attached to.
func (s *Server) Exited() <-chan struct{} { return s.exited }

// Stop shuts the server down, ending open connections and keeping all that was
// committed, and lets go of the data folder. When ctx ends first, the server is
// made to end at once and recovers at its next start. A second Stop, and one of
// a server attached to, does nothing.
func (s *Server) Stop(ctx context.Context) error {
	s.mu.Lock()
	done := s.isAttached || s.stopping
	s.stopping = true
	s.mu.Unlock()
	if done {
		return nil
	}
	s.endWatch()
	err := s.current().stop(ctx)
	<-s.watched // a start that was under way has ended, or left another process
	if err = errors.Join(err, s.current().stop(ctx), s.lock.release()); err != nil {
		return fmt.Errorf("stopping the private PostgreSQL: %w", err)
	}
	s.logger.Info("private PostgreSQL stopped")
	return nil
}

// sleep waits for d or until ctx ends, and then says why.
func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-time.After(d):
		return nil
	}
}
