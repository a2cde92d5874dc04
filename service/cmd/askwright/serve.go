package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"

	"askwright/api"
	"askwright/db"
	"askwright/db/private"
	"askwright/docs"
	"askwright/service"
)

// serve runs until the context ends, then stops in reverse order: not ready,
// no new requests, those under way finish, the pool closes, the private server
// stops.
func serve(ctx context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	logger := p.config.logger()
	database, err := openDatabase(ctx, p.config, logger, ownServer)
	if err != nil {
		return err
	}
	defer database.close(ctx)
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", p.config.Addr)
	if err != nil {
		return fmt.Errorf("ASKWRIGHT_ADDR: %w", err)
	}
	var ops net.Listener
	if p.config.OpsAddr != "" {
		if ops, err = new(net.ListenConfig).Listen(ctx, "tcp", p.config.OpsAddr); err != nil {
			listener.Close()
			return fmt.Errorf("ASKWRIGHT_OPS_ADDR: %w", err)
		}
	}
	return serveOn(ctx, p.config, database, listener, ops, logger)
}

// serveOn serves on listeners that it closes; ops may be nil.
func serveOn(ctx context.Context, c *config, database *database, listener, ops net.Listener, logger *slog.Logger) error {
	var stopping atomic.Bool
	registry := newRegistry(c, database.store)
	askwright := service.New(service.Options{Store: database.store, Now: time.Now, Logger: logger, Registry: registry, MetricsGroups: c.MetricsGroups})
	server := newServer(c, askwright, logger, database.store, registry, &stopping) //nolint:contextcheck // handlers take the context of their request
	type running struct {
		server   *http.Server
		listener net.Listener
	}
	all := []running{{api.NewHTTPServer(server.Handler(), logger), listener}}
	if ops != nil {
		all = append(all, running{api.NewHTTPServer(server.OpsHandler(), logger), ops})
	}
	group, ctx := errgroup.WithContext(ctx)
	for _, r := range all {
		group.Go(func() error {
			logger.Info("serving", "address", r.listener.Addr().String())
			if err := r.server.Serve(r.listener); !errors.Is(err, http.ErrServerClosed) {
				return fmt.Errorf("serve on %s: %w", r.listener.Addr(), err)
			}
			return nil
		})
	}
	group.Go(func() error { return askwright.RunRecorder(ctx) })
	group.Go(func() error { return askwright.RunReviews(ctx) })
	group.Go(func() error {
		select {
		case <-ctx.Done():
			return nil
		case <-database.exited():
			return errors.New("the private PostgreSQL ended by itself; its log is in the data folder")
		}
	})
	group.Go(func() error {
		<-ctx.Done()
		stopping.Store(true)
		logger.Info("stopping")
		deadline, cancel := context.WithTimeout(context.WithoutCancel(ctx), c.StopTimeout)
		defer cancel()
		var failed error
		for _, r := range all {
			failed = errors.Join(failed, r.server.Shutdown(deadline))
		}
		return failed
	})
	err := group.Wait()
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), flushTimeout)
	defer cancel()
	return errors.Join(err, askwright.FlushSuggestions(last))
}

// newServer makes the API, which is not ready once stopping is set.
func newServer(c *config, askwright *service.Service, logger *slog.Logger, store *db.Store, registry *prometheus.Registry, stopping *atomic.Bool) *api.Server {
	return api.New(api.Options{
		Service:  askwright,
		Logger:   logger,
		Registry: registry,
		Ready: func(ctx context.Context) error {
			if stopping.Load() {
				return errors.New("stopping")
			}
			return store.Ready(ctx)
		},
		Build:          version(),
		OpenAPI:        docs.OpenAPI,
		TrustedProxies: c.TrustedProxies,
		Now:            time.Now,
		Limits:         api.Limits{RequestsPerMinute: c.RateLimit, ImportBytes: int64(c.ImportBytes), ImportRows: c.ImportRows},
	})
}

// flushTimeout is how long the last suggestions may take to be kept.
const flushTimeout = 5 * time.Second

// database is an open store, with the private server behind it where there is
// one.
type database struct {
	store  *db.Store
	server *private.Server // nil with DATABASE_URL
	logger *slog.Logger
}

// How a command may get at the private server.
const (
	ownServer    = false // start it; another program with it is an error
	sharedServer = true  // attach to a running one, else start it for the while
)

// openDatabase opens the store. The private server is migrated on the way; a
// DATABASE_URL must have been.
func openDatabase(ctx context.Context, c *config, logger *slog.Logger, share bool) (*database, error) {
	options := db.Options{MaxConns: int32(c.MaxConns)}
	if c.DatabaseURL != "" {
		store, err := db.Open(ctx, c.DatabaseURL, options)
		if err != nil {
			return nil, err
		}
		return &database{store: store, logger: logger}, nil
	}
	server, err := privateServer(ctx, c, logger, share)
	if err != nil {
		return nil, err
	}
	d := &database{server: server, logger: logger}
	if err := db.Migrate(ctx, server.AdminDSN(), private.LoginRole); err != nil {
		d.close(ctx)
		return nil, err
	}
	if d.store, err = db.Open(ctx, server.DSN(), options); err != nil {
		d.close(ctx)
		return nil, err
	}
	return d, nil
}

func privateServer(ctx context.Context, c *config, logger *slog.Logger, share bool) (*private.Server, error) {
	const patience = 10 * time.Second
	options := private.Options{DataDir: c.Data, BinDir: c.PostgresBin, Logger: logger}
	if share {
		server, err := private.Attach(ctx, options)
		if !errors.Is(err, private.ErrNotRunning) {
			return server, err
		}
		server, err = private.Start(ctx, options)
		var inUse *private.InUseError
		if !errors.As(err, &inUse) {
			return server, err
		}
		options.Wait = patience // another program's is starting or stopping
		if server, err = private.Attach(ctx, options); !errors.Is(err, private.ErrNotRunning) {
			return server, err
		}
	}
	options.Wait = patience
	return private.Start(ctx, options)
}

func (d *database) exited() <-chan struct{} {
	if d.server == nil {
		return nil
	}
	return d.server.Exited()
}

func (d *database) close(ctx context.Context) {
	if d.store != nil {
		d.store.Close()
	}
	if d.server != nil {
		if err := d.server.Stop(context.WithoutCancel(ctx)); err != nil {
			d.logger.Error("the private PostgreSQL did not stop", "error", err)
		}
	}
}

// version is the module's version and the revision that it was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			v += " " + s.Value[:12]
		}
	}
	return v
}
