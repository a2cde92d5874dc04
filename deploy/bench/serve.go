package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/api"
	"askwright/api/web"
	"askwright/db"
	"askwright/service/app"
)

// served is the child in which the API is measured, beside a handler with the
// libraries alone. It is a process of its own, so that what the client takes is
// not counted.
type served struct {
	url     string
	command *exec.Cmd
}

// startServer runs this program once more, as the server.
func startServer(ctx context.Context, dsn string) (*served, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	s := &served{command: exec.CommandContext(ctx, self, "serve", dsn)} //nolint:gosec // itself
	s.command.Stderr = os.Stderr
	out, err := s.command.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := s.command.Start(); err != nil {
		return nil, err
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return nil, errors.Join(fmt.Errorf("the measured server did not start: %w", err), s.stop())
	}
	s.url = strings.TrimSpace(line)
	return s, nil
}

func (s *served) stop() error {
	if err := s.command.Process.Kill(); err != nil {
		return err
	}
	var killed *exec.ExitError
	if err := s.command.Wait(); !errors.As(err, &killed) {
		return err
	}
	return nil
}

// allocated is what a Go program has allocated so far.
type allocated struct{ Objects, Bytes uint64 }

// allocations asks the child.
func (s *served) allocations(ctx context.Context) (a allocated, err error) {
	body, err := get(ctx, s.url+"/allocations")
	if err != nil {
		return a, err
	}
	return a, json.Unmarshal(body, &a)
}

func get(ctx context.Context, url string) ([]byte, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return nil, err
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, err
	}
	defer response.Body.Close()
	return io.ReadAll(response.Body)
}

// serve is the child: it prints its address and serves until it is killed.
func serve(ctx context.Context, dsn string) error {
	store, err := db.Open(ctx, dsn, db.Options{MaxConns: 8})
	if err != nil {
		return err
	}
	defer store.Close()
	bare, err := bareHandler(ctx, dsn)
	if err != nil {
		return err
	}
	registry := prometheus.NewRegistry()
	logger := slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))
	const noLimit = 1e9
	server := api.New(api.Options{ //nolint:contextcheck // requests bring their own
		App:    app.New(app.Options{Store: store, Now: time.Now, Logger: logger, Registry: registry}),
		Logger: logger, Registry: registry, Build: "bench",
		Limits: web.Limits{RequestsPerMinute: noLimit, FailuresPerMinute: noLimit, ImportBytes: 1 << 30, ImportRows: noLimit},
	})
	mux := http.NewServeMux()
	mux.Handle("/", server.Handler())
	mux.Handle("/bare/", bare)
	mux.Handle("/debug/pprof/", server.OpsHandler())
	mux.HandleFunc("/allocations", func(w http.ResponseWriter, _ *http.Request) {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		_ = json.NewEncoder(w).Encode(allocated{Objects: m.Mallocs, Bytes: m.TotalAlloc})
	})
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	fmt.Println("http://" + listener.Addr().String())
	return api.NewHTTPServer(mux, logger).Serve(listener)
}

// bareRow is what a row by its id takes with the libraries alone.
const bareRow = "select row_to_json(l)::text from askwright.listing l where group_id = $1 and listing_id = $2"

// bareHandler reads a listing with gin and pgx alone, inside row-level security:
// no keys, no rules, no limits, no metrics.
func bareHandler(ctx context.Context, dsn string) (http.Handler, error) {
	config, err := pgxpool.ParseConfig(dsn)
	if err != nil {
		return nil, err
	}
	config.ConnConfig.RuntimeParams["role"] = "askwright_app"
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, err
	}
	gin.SetMode(gin.ReleaseMode)
	engine := gin.New()
	engine.GET("/bare/:group/:id", func(c *gin.Context) { //nolint:contextcheck // requests bring their own
		var batch pgx.Batch
		batch.Queue("select set_config('app.group_id', $1, true)", c.Param("group"))
		batch.Queue(bareRow, c.Param("group"), c.Param("id"))
		results := pool.SendBatch(c.Request.Context(), &batch)
		defer results.Close()
		var row string
		_, err := results.Exec()
		if err == nil {
			err = results.QueryRow().Scan(&row)
		}
		if err != nil {
			c.String(http.StatusInternalServerError, "%v", err)
			return
		}
		c.Data(http.StatusOK, "application/json", []byte(row))
	})
	return engine, nil
}
