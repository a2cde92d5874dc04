package private

import (
	"context"
	"time"
)

// A server that ends by itself is started again at once: its program is its only
// supervisor, and the connections come back by themselves.

// revivals are how long is waited before each further try to start it.
var revivals = []time.Duration{0, 300 * time.Millisecond, 2 * time.Second}

// After a life shorter than livesLong it is given longer and longer, up to
// longestRest, before it is started again.
const (
	livesLong   = 30 * time.Second
	longestRest = 30 * time.Second
)

// watch starts the server again whenever it ends before anybody stops it, and
// closes exited when that can not be done.
func (s *Server) watch(ctx context.Context, f folder, start func(context.Context) (*process, error)) {
	defer close(s.watched)
	rest := time.Duration(0)
	for {
		began := time.Now()
		p := s.current()
		<-p.done
		if ctx.Err() != nil {
			return
		}
		s.logger.Error("private PostgreSQL ended by itself; starting it again", "error", p.err, "log", f.log)
		if time.Since(began) > livesLong {
			rest = 0
		}
		if sleep(ctx, rest) != nil {
			return
		}
		rest = min(longestRest, 2*rest+100*time.Millisecond)
		if !s.revive(ctx, f, start) {
			return
		}
	}
}

// revive tries to start the server, some times.
func (s *Server) revive(ctx context.Context, f folder, start func(context.Context) (*process, error)) bool {
	began := time.Now()
	for _, wait := range revivals {
		if sleep(ctx, wait) != nil {
			return false
		}
		p, err := start(ctx)
		if ctx.Err() != nil {
			if err == nil {
				s.replace(p) // for Stop to stop
			}
			return false
		}
		if err == nil {
			s.replace(p)
			s.logger.Info("private PostgreSQL runs again", "after", time.Since(began).Round(time.Millisecond).String(), "pid", p.pid())
			return true
		}
		s.logger.Error("private PostgreSQL could not be started again", "error", err, "log", f.log)
	}
	close(s.exited)
	return false
}

func (s *Server) current() *process {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.process
}

func (s *Server) replace(p *process) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.process = p
}
