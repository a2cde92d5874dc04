// Package app joins the components of the service over one store. It has no
// rule of its own.
package app

import (
	"cmp"
	"context"
	"log/slog"
	"math/rand/v2"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"

	"askwright/service/advice"
	"askwright/service/history"
	"askwright/service/imports"
	"askwright/service/members"
	"askwright/service/model"
	"askwright/service/profit"
	"askwright/service/recording"
	"askwright/service/track"
	"askwright/service/watch"
	"askwright/service/webhook"
)

// App is the components, each safe for concurrent use.
type App struct {
	Advice    *advice.Service
	Fits      *model.Cache
	History   *history.Service
	Imports   *imports.Service
	Members   *members.Service
	Profit    *profit.Service
	Recording *recording.Service
	Track     *track.Service
	Webhooks  *webhook.Service

	// Beside the requests, see Run.
	Reviewer *watch.Reviewer
	Sender   *webhook.Sender
	Shown    *track.Recorder
	Upkeep   *watch.Upkeep
}

// Store is what all components need of storage.
type Store interface {
	advice.Store
	history.Store
	imports.Store
	members.Store
	model.Store
	profit.Store
	recording.Store
	track.Store
	watch.PruneStore
	watch.ReviewStore
	webhook.SenderStore
	webhook.Store
}

// Options are what an App is made of.
type Options struct {
	Store  Store
	Now    func() time.Time // the clock; "today" is its day in the group's time zone
	Logger *slog.Logger
	AtOnce int // listings up to which rates are refitted before an answer; zero: model.AtOnce

	Registry      prometheus.Registerer // takes the components' metrics; nil: nobody does
	MetricsGroups bool                  // label metrics of listing age with the group's id

	Post   webhook.Post   // sends to webhooks; nil: they are off
	Random func() float64 // from 0 to 1, for the jitter of repetitions; nil: math/rand's
}

// New returns an App.
func New(o Options) *App {
	if o.Random == nil {
		o.Random = rand.Float64
	}
	a := &App{
		Fits:     model.NewCache(o.Store, o.Registry, cmp.Or(o.AtOnce, model.AtOnce)),
		Members:  members.New(o.Store, o.Now, o.Logger),
		Profit:   profit.New(o.Store),
		Shown:    track.NewRecorder(o.Store, o.Logger),
		Webhooks: webhook.New(o.Store, o.Now, o.Post != nil),
		Sender:   webhook.NewSender(o.Store, o.Now, o.Logger, o.Post, o.Random, o.Registry),
	}
	a.Recording = recording.New(o.Store, a.Shown, o.Registry)
	a.Imports = imports.New(o.Store, a.Recording)
	a.History = history.New(o.Store, a.Recording)
	a.Track = track.New(o.Store, a.Fits, a.Shown, o.Logger)
	a.Advice = advice.New(o.Store, a.Fits, a.Track, a.Shown, o.Registry)
	a.Reviewer = watch.NewReviewer(o.Store, o.Now, o.Logger, a.Advice, a.Fits, o.Registry, o.MetricsGroups)
	a.Upkeep = watch.NewUpkeep(o.Store, o.Now, o.Logger, a.Fits)
	return a
}

// Run does the work beside the requests until the context ends, and returns
// when all of it has stopped.
func (a *App) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	for _, run := range []func(context.Context) error{a.Shown.Run, a.Track.Run, a.Reviewer.Run, a.Upkeep.Run, a.Sender.Run} {
		group.Go(func() error { return run(ctx) })
	}
	return group.Wait()
}
