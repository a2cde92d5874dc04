package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"

	"askwright/api"
	"askwright/api/web"
	"askwright/db"
	"askwright/db/private"
	"askwright/service/app"
)

// serve runs until the context ends, then stops in reverse order: not ready,
// no new requests, those under way finish, the pool closes, the private server
// stops.
func serve(ctx context.Context, p *program, args []string) error {
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	withDemo := flags.Bool("demo", false, "make the demo group once, and print a key for it")
	if err := onlyFlags(flags, args); err != nil {
		return err
	}
	// The addresses first: where one is taken, nothing is started or made.
	listener, err := listen(ctx, "ASKWRIGHT_ADDR", p.config.Addr)
	if err != nil {
		return err
	}
	defer listener.Close()
	var ops net.Listener
	if p.config.OpsAddr != "" {
		if ops, err = listen(ctx, "ASKWRIGHT_OPS_ADDR", p.config.OpsAddr); err != nil {
			return err
		}
		defer ops.Close()
	}
	logger := p.config.logger()
	database, err := openDatabase(ctx, p.config, logger, ownServer)
	if err != nil {
		return err
	}
	defer database.close(ctx)
	if *withDemo {
		if err := installDemo(ctx, p, app.New(app.Options{Store: database.store, Now: time.Now, Logger: logger})); err != nil {
			return err
		}
	}
	return serveOn(ctx, p.config, database, listener, ops, logger)
}

// listen takes an address, which the variable names.
func listen(ctx context.Context, variable, address string) (net.Listener, error) {
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", address)
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("%s: something already serves on %s, perhaps Askwright itself; stop it, or choose another address (%s=127.0.0.1:8090)", variable, address, variable)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", variable, err)
	}
	return listener, nil
}

// serveOn serves on listeners that it closes; ops may be nil.
func serveOn(ctx context.Context, c *config, database *database, listener, ops net.Listener, logger *slog.Logger) error {
	var stopping atomic.Bool
	registry := newRegistry(c, database.store)
	options := app.Options{Store: database.store, Now: time.Now, Logger: logger, Registry: registry, MetricsGroups: c.MetricsGroups}
	if c.Webhooks {
		options.Post = api.PostWebhooks()
	}
	askwright := app.New(options)
	server := newServer(c, askwright, logger, database.store, registry, &stopping) //nolint:contextcheck // handlers take the context of their request
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
	group.Go(func() error { return askwright.Run(ctx) })
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
		if database.isUp() {
			time.Sleep(min(drainTime, c.StopTimeout/10))
		}
		shutDown(context.WithoutCancel(ctx), all, c.StopTimeout, logger)
		return nil
	})
	err := waitAtMost(ctx, group, c.StopTimeout, logger)
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), flushTimeout)
	defer cancel()
	if flushed := askwright.Shown.Flush(last); flushed != nil {
		logger.Warn("the last suggestions shown were not kept", "error", flushed)
	}
	return err
}

// running is one server.
type running struct {
	server   *http.Server
	listener net.Listener
}

// shutDown lets requests under way finish for the time given.
func shutDown(ctx context.Context, all []running, timeout time.Duration, logger *slog.Logger) {
	deadline, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	for _, r := range all {
		if r.server.Shutdown(deadline) != nil {
			logger.WarnContext(ctx, "requests under way were cut off",
				"address", r.listener.Addr().String(), "after", timeout.String())
			_ = r.server.Close() // which ends their contexts
		}
	}
}

// drainTime is how long new requests are still taken after the program said that
// it is not ready, for a balancer to notice.
const drainTime = time.Second

// waitAtMost waits for the group's work until its context has been over for the
// time given. What still runs then, such as the fit of a large group, is left to
// end with the program: nothing of it is kept before it is done.
func waitAtMost(ctx context.Context, group *errgroup.Group, after time.Duration, logger *slog.Logger) error {
	done := make(chan error, 1)
	go func() { done <- group.Wait() }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	select {
	case err := <-done:
		return err
	case <-time.After(after + closeTime):
		logger.Warn("work beside the requests was cut off", "after", after.String())
	}
	if err := context.Cause(ctx); !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}

// newServer makes the API, which is not ready once stopping is set.
func newServer(c *config, askwright *app.App, logger *slog.Logger, store *db.Store, registry *prometheus.Registry, stopping *atomic.Bool) *api.Server {
	return api.New(api.Options{
		App:      askwright,
		Logger:   logger,
		Registry: registry,
		Ready: func(ctx context.Context) error {
			if stopping.Load() {
				return errors.New("stopping")
			}
			return store.Ready(ctx)
		},
		Build:          version(),
		Security:       c.Security,
		Hosts:          c.Hosts,
		TrustedProxies: c.TrustedProxies,
		Now:            time.Now,
		Limits:         web.Limits{RequestsPerMinute: c.RateLimit, ImportBytes: int64(c.ImportBytes), ImportRows: c.ImportRows},
	})
}

// How long the steps after the requests may take.
const (
	closeTime    = 500 * time.Millisecond // for what ends with the requests
	flushTimeout = time.Second            // to keep the last suggestions
	poolTimeout  = time.Second            // to give back connections
)

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

// isUp reports whether the private server, if there is one, has not ended.
func (d *database) isUp() bool {
	select {
	case <-d.exited():
		return false
	default:
		return true
	}
}

func (d *database) close(ctx context.Context) {
	if d.store != nil {
		closed := make(chan struct{})
		go func() {
			defer close(closed)
			d.store.Close()
		}()
		select {
		case <-closed:
		case <-time.After(poolTimeout): // the server takes back what is still held
		}
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
