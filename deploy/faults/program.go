package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
)

// program is askwright in a process of its own, on a fixed address, so that it can
// be killed and started again.
type program struct {
	path, data, address string
	env                 []string

	mu  sync.Mutex
	cmd *exec.Cmd
}

// newProgram finds a free address for it.
func newProgram(path, data string, env []string) (*program, error) {
	l, err := new(net.ListenConfig).Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	address := l.Addr().String()
	return &program{path: path, data: data, address: address, env: append(os.Environ(), append(env,
		"DATABASE_URL=", "ASKWRIGHT_DATA="+data, "ASKWRIGHT_ADDR="+address, "ASKWRIGHT_OPS_ADDR=",
		"ASKWRIGHT_LOG_LEVEL=error")...)}, l.Close()
}

// run runs a command and returns the last line that it prints.
func (p *program) run(ctx context.Context, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, p.path, args...) //nolint:gosec // the program that is tried
	cmd.Env = p.env
	out, err := cmd.CombinedOutput()
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if err != nil {
		return "", fmt.Errorf("askwright %s: %w: %s", strings.Join(args, " "), err, out)
	}
	return lines[len(lines)-1], nil
}

// start starts it and waits until it is ready.
func (p *program) start(ctx context.Context) error {
	cmd := exec.CommandContext(ctx, p.path, "serve") //nolint:gosec // the program that is tried
	log, err := os.OpenFile(p.data+".log", os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	cmd.Env, cmd.Stderr = p.env, log
	if err := cmd.Start(); err != nil {
		return err
	}
	p.mu.Lock()
	p.cmd = cmd
	p.mu.Unlock()
	for began := time.Now(); time.Since(began) < time.Minute; time.Sleep(20 * time.Millisecond) {
		if status, _, err := p.send(ctx, http.MethodGet, "/readyz", "", "", ""); err == nil && status == http.StatusOK {
			return nil
		}
	}
	said, err := os.ReadFile(p.data + ".log")
	return errors.Join(err, fmt.Errorf("it is not ready after a minute; it said:\n%s", said))
}

// kill ends it at once and waits for its end.
func (p *program) kill() {
	p.mu.Lock()
	defer p.mu.Unlock()
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait() // it was killed
}

// stop ends it in order.
func (p *program) stop() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	return p.cmd.Wait()
}

// killPostgres ends its PostgreSQL at once.
func (p *program) killPostgres() error {
	text, err := os.Open(filepath.Join(p.data, "postgresql", "postmaster.pid"))
	if err != nil {
		return err
	}
	defer text.Close()
	var pid int
	if _, err := fmt.Fscan(bufio.NewReader(text), &pid); err != nil {
		return err
	}
	return syscall.Kill(pid, syscall.SIGKILL)
}

// client opens a connection for each request: a killed server leaves none behind.
var client = &http.Client{Timeout: time.Minute, Transport: &http.Transport{DisableKeepAlives: true}}

// send sends a request. once is an Idempotency-Key.
func (p *program) send(ctx context.Context, method, path, key, once, body string) (
	status int, answer string, err error) {
	r, err := http.NewRequestWithContext(ctx, method, "http://"+p.address+path, strings.NewReader(body))
	if err != nil {
		return 0, "", err
	}
	if key != "" {
		r.Header.Set("Authorization", "Bearer "+key)
	}
	if once != "" {
		r.Header.Set("Idempotency-Key", once)
	}
	if body != "" {
		r.Header.Set("Content-Type", "text/csv")
		if strings.ContainsAny(body[:1], "{[") {
			r.Header.Set("Content-Type", "application/json")
		}
	}
	response, err := client.Do(r)
	if err != nil {
		return 0, "", err
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	return response.StatusCode, string(text), err
}

// member is somebody of a group of their own.
type member struct {
	*program
	key string
}

func (p *program) newGroup(ctx context.Context, name string) (*member, error) {
	key, err := p.run(ctx, "group", "create", name,
		"--currency", "USD", "--unit", "in", "--timezone", "America/Chicago", "--member", "Wilda")
	return &member{p, key}, err
}

// fill imports open listings.
func (m *member) fill(ctx context.Context, prefix string, n int) error {
	const part = 2000
	for first := 0; first < n; first += part {
		body := rows(prefix, first, min(n, first+part))
		status, answer, err := m.send(ctx, http.MethodPost, "/v1/imports?commit=true", m.key, "", body)
		if err != nil || status != http.StatusOK {
			return fmt.Errorf("import: %d %.200s %w", status, answer, err)
		}
	}
	return nil
}

// rows are a CSV of open listings.
func rows(prefix string, from, to int) string {
	var out strings.Builder
	out.WriteString("ref,category,width,listed_on,ask\n")
	for i := from; i < to; i++ {
		fmt.Fprintf(&out, "%s-%d,desk,48,2026-01-05,%d\n", prefix, i, 200+i%100)
	}
	return out.String()
}

// ids are those of some of the member's listings.
func (m *member) ids(ctx context.Context) ([]string, error) {
	status, answer, err := m.send(ctx, http.MethodGet, "/v1/listings?limit=20", m.key, "", "")
	if err != nil || status != http.StatusOK {
		return nil, fmt.Errorf("list: %d %w", status, err)
	}
	var page struct{ Items []struct{ ID string } }
	if err := json.Unmarshal([]byte(answer), &page); err != nil {
		return nil, err
	}
	var ids []string
	for _, item := range page.Items {
		ids = append(ids, item.ID)
	}
	return ids, nil
}
