package db_test

import (
	"context"
	"errors"
	"io"
	"net"
	"net/url"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"askwright/db"
	"askwright/service"
	"askwright/service/recording"
	"askwright/service/servicetest"
	"askwright/service/track"
)

// proxy is a way to the server that can be cut.
type proxy struct {
	dsn string

	mu    sync.Mutex
	conns []*net.TCPConn
}

func newProxy(t *testing.T, dsn string) *proxy {
	t.Helper()
	u, err := url.Parse(dsn)
	if err != nil {
		t.Fatal(err)
	}
	network, address := "tcp", u.Host
	if socket := u.Query().Get("host"); socket != "" {
		network, address = "unix", socket+"/.s.PGSQL.5432"
	}
	listener, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { listener.Close() })
	u.Host = listener.Addr().String()
	query := u.Query()
	query.Del("host")
	query.Del("port")
	query.Set("sslmode", "disable")
	u.RawQuery = query.Encode()
	p := &proxy{dsn: u.String()}
	go func() {
		for {
			client, err := listener.Accept()
			if err != nil {
				return
			}
			server, err := new(net.Dialer).DialContext(context.Background(), network, address)
			if err != nil {
				client.Close()
				continue
			}
			p.mu.Lock()
			p.conns = append(p.conns, client.(*net.TCPConn)) //nolint:forcetypeassert // of a TCP listener
			p.mu.Unlock()
			for _, way := range [][2]net.Conn{{client, server}, {server, client}} {
				go func() {
					io.Copy(way[0], way[1])
					way[0].Close()
				}()
			}
		}
	}()
	return p
}

// cut resets all connections.
func (p *proxy) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.conns {
		c.SetLinger(0)
		c.Close()
	}
	p.conns = nil
}

func TestALostConnectionIsMadeAnewForReadsAndMeansUnavailableToWrites(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	importRows(t, f, "Wilda", someRows)
	p := newProxy(t, f.DB.DSN)
	store, err := db.Open(t.Context(), p.dsn, db.Options{MaxConns: 8})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	admin := connect(t, f.DB.AdminDSN, "")
	tenant := f.Actor(t, "Wilda").Tenant()
	for what, lose := range map[string]func(){
		"a reset": p.cut,
		"the end of the server's processes": func() {
			mustExec(t, admin, `select pg_terminate_backend(pid) from pg_stat_activity
				where datname = current_database() and usename not in ('postgres') and pid <> pg_backend_pid()`)
		},
	} {
		for name, read := range map[string]func() error{
			"a batch":       func() error { _, err := store.Group(t.Context(), tenant); return err },
			"one moment":    func() error { _, err := store.StoredModel(t.Context(), tenant, 1); return err },
			"no row at all": func() error { return store.Ready(t.Context()) },
			"a write": func() error {
				return store.Write(t.Context(), tenant, func(recording.Writer) error { return nil })
			},
		} {
			if err := read(); err != nil {
				t.Fatal(err)
			}
			lose()
			if err := read(); err != nil {
				t.Errorf("%s after %s: %v", name, what, err)
			}
		}
		err := store.Write(t.Context(), tenant, func(w recording.Writer) error {
			lose()
			_, err := w.ListingsByRef(t.Context(), tenant.Member, []string{"R-1"})
			return err
		})
		if !errors.Is(err, service.ErrUnavailable) {
			t.Errorf("%s in the middle of a write: %v, want that the database is away", what, err)
		}
	}
}

// Many writers of one group wait while one writes for long: the others of the
// group read, other groups write, and the program is ready.
func TestWritersOfOneGroupDoNotShutOutOthers(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	first := f.Actor(t, "Wilda").Tenant()
	f.AddGroup(t, "Tamsin")
	second := f.Actor(t, "Tamsin").Tenant()
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 4})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	nothing := func(recording.Writer) error { return nil }
	writing, end := make(chan struct{}), make(chan struct{})
	var work errgroup.Group
	work.Go(func() error {
		return store.Write(t.Context(), first, func(recording.Writer) error {
			close(writing)
			<-end
			return nil
		})
	})
	<-writing
	const writers = 40
	refused := make(chan error, writers)
	for range writers {
		work.Go(func() error {
			err := store.Write(t.Context(), first, nothing)
			if errors.Is(err, service.ErrUnavailable) {
				refused <- err
				return nil
			}
			return err
		})
	}
	for range writers - db.MaxWaiting { // beyond the queue there is no waiting
		<-refused
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	for what, do := range map[string]func() error{
		"the sign of life":         func() error { return store.Ready(ctx) },
		"a read of the same group": func() error { _, err := store.Group(ctx, first); return err },
		"a read of another group":  func() error { _, err := store.Group(ctx, second); return err },
		"a write of another group": func() error { return store.Write(ctx, second, nothing) },
	} {
		if err := do(); err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	if n := store.Pool().Stat().AcquiredConns(); n != 1 {
		t.Errorf("%d connections are in use, want the one that writes", n)
	}
	close(end)
	if err := work.Wait(); err != nil {
		t.Error(err)
	}
	if n := len(refused); n != 0 {
		t.Errorf("%d more than the queue is too short for were refused", n)
	}
}

// What reads note of a listing that is being deleted is left out.
func TestADeletionMeanwhileFailsNoRead(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	importRows(t, f, "Wilda", someRows)
	tenant := f.Actor(t, "Wilda").Tenant()
	id := rowByRef(t, f, "Wilda", "R-1").ID
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 4})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	admin, watch := connect(t, f.DB.AdminDSN, ""), connect(t, f.DB.AdminDSN, "")
	tx, err := admin.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), "delete from listing where listing_id = $1", id); err != nil {
		t.Fatal(err)
	}
	var work errgroup.Group
	work.Go(func() error {
		open := []service.ListingState{{ListingID: id, State: "fresh"}}
		return store.NoteStates(t.Context(), tenant.Group, f.Clock.Now(), open,
			func([]service.ListingState) []service.Notice { return nil })
	})
	work.Go(func() error {
		return store.KeepSuggestions(t.Context(), tenant.Group, []track.Shown{{
			ID: uuid.Must(uuid.NewV7()), MemberID: tenant.Member, Ref: "R-1", ListingID: id,
			On: servicetest.Today, At: f.Clock.Now(), Model: "1.1.1",
		}})
	})
	for waiting := 0; waiting < 2; time.Sleep(20 * time.Millisecond) {
		if err := watch.QueryRow(t.Context(), `select count(*) from pg_stat_activity
			where datname = current_database() and wait_event_type = 'Lock'`).Scan(&waiting); err != nil {
			t.Fatal(err)
		}
	}
	if err := tx.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := work.Wait(); err != nil {
		t.Errorf("a deletion meanwhile: %v", err)
	}
}
