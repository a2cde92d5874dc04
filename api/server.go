package api

import (
	"context"
	"log/slog"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"askwright/api/board"
	"askwright/api/web"
	"askwright/service/app"
)

// Server answers HTTP requests.
type Server struct {
	*web.Kit
	app      *app.App
	logger   *slog.Logger
	now      func() time.Time
	board    *board.Board
	registry *prometheus.Registry
	ready    func(context.Context) error
	build    string
	security string
	hosts    hosts
	limits   web.Limits

	workbooks *web.Shares // being read
	handler   http.Handler
}
