package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"askwright/db/dbtest"
)

// asProgram turns the test binary into the program itself.
const asProgram = "ASKWRIGHT_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	code := m.Run()
	dbtest.Stop()
	os.Exit(code)
}

// dataFolder returns a path for a data folder that PostgreSQL's user can reach.
func dataFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "askwright-run-") //nolint:usetesting // PostgreSQL's user must get in
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		// The private server of a program that was killed ends a moment later.
		err := os.RemoveAll(dir)
		for deadline := time.Now().Add(10 * time.Second); err != nil && time.Now().Before(deadline); err = os.RemoveAll(dir) {
			time.Sleep(50 * time.Millisecond)
		}
		if err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o711); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "data")
}

// runCommand runs a command in this process, as main does, and returns what it
// printed.
func runCommand(t *testing.T, env map[string]string, args ...string) (string, error) {
	t.Helper()
	var out bytes.Buffer
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	err := run(ctx, args, environment(env), &out)
	return out.String(), err
}

// mustRun runs a command and returns its last line.
func mustRun(t *testing.T, env map[string]string, args ...string) (lastLine string) {
	t.Helper()
	out, err := runCommand(t, env, args...)
	if err != nil {
		t.Fatalf("askwright %s: %v", strings.Join(args, " "), err)
	}
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	return lines[len(lines)-1]
}

// child is the program in a process of its own.
type child struct {
	cmd  *exec.Cmd
	data string
	urls []string // as it serves them
	done chan struct{}

	mu  sync.Mutex
	log strings.Builder
}

// startChild starts the program; waiting for it to serve is the caller's.
func startChild(t *testing.T, data string, args ...string) *child {
	t.Helper()
	return startChildWith(t, data, nil, args...)
}

// startChildWith is startChild with more variables in the environment.
func startChildWith(t *testing.T, data string, env []string, args ...string) *child {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := &child{cmd: exec.Command(self, args...), data: data, done: make(chan struct{})}
	c.cmd.Env = append(os.Environ(), asProgram+"=1", "DATABASE_URL=", "ASKWRIGHT_DATA="+data, "ASKWRIGHT_ADDR=127.0.0.1:0",
		"ASKWRIGHT_OPS_ADDR=127.0.0.1:0", "ASKWRIGHT_LOG_LEVEL=info", "ASKWRIGHT_LOG_FORMAT=json", "ASKWRIGHT_RATE_LIMIT=100000")
	c.cmd.Env = append(c.cmd.Env, env...)
	stderr, err := c.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	serving := make(chan string, 2)
	go func() {
		defer close(c.done)
		for lines := bufio.NewScanner(stderr); lines.Scan(); {
			c.mu.Lock()
			c.log.WriteString(lines.Text() + "\n")
			c.mu.Unlock()
			var line struct{ Msg, Address string }
			if json.Unmarshal(lines.Bytes(), &line) == nil && line.Msg == "serving" {
				serving <- line.Address
			}
		}
		_ = c.cmd.Wait() // its ExitCode is looked at
	}()
	t.Cleanup(func() {
		_ = c.cmd.Process.Kill()
		<-c.done
	})
	if args[0] != "serve" {
		return c
	}
	for len(c.urls) < 2 {
		select {
		case address := <-serving:
			c.urls = append(c.urls, "http://"+address)
		case <-c.done:
			t.Logf("the program ended with %d", c.cmd.ProcessState.ExitCode())
			return c
		case <-time.After(time.Minute):
			t.Fatalf("the program does not serve:\n%s", c.logged())
		}
	}
	// The two start together: the one with metrics is for operations.
	if status, _ := get(t, c.urls[0]+"/metrics", ""); status == http.StatusOK {
		c.urls[0], c.urls[1] = c.urls[1], c.urls[0]
	}
	return c
}

func (c *child) logged() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.log.String()
}

// end sends a signal and waits for the end.
func (c *child) end(t *testing.T, signal syscall.Signal) int {
	t.Helper()
	if err := c.cmd.Process.Signal(signal); err != nil {
		t.Fatal(err)
	}
	select {
	case <-c.done:
	case <-time.After(30 * time.Second):
		t.Fatalf("the program does not end:\n%s", c.logged())
	}
	return c.cmd.ProcessState.ExitCode()
}

// postgresPID is the process of the private server of a data folder.
func postgresPID(t *testing.T, data string) (pid int) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(data, "postgresql", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Sscan(string(text), &pid); err != nil {
		t.Fatal(err)
	}
	return pid
}

// wantGone waits until a process has ended.
func wantGone(t *testing.T, pid int) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); !errors.Is(syscall.Kill(pid, 0), syscall.ESRCH); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("process %d still runs", pid)
		}
	}
}

func get(t *testing.T, url, key string) (status int, body string) {
	t.Helper()
	return do(t, http.MethodGet, url, key, "")
}

func do(t *testing.T, method, url, key, sent string) (status int, body string) {
	t.Helper()
	status, body, err := send(t.Context(), method, url, key, sent)
	if err != nil {
		t.Fatal(err)
	}
	return status, body
}

func send(ctx context.Context, method, url, key, sent string) (status int, body string, err error) {
	request, err := http.NewRequestWithContext(ctx, method, url, strings.NewReader(sent))
	if err != nil {
		return 0, "", err
	}
	if key != "" {
		request.Header.Set("Authorization", "Bearer "+key)
	}
	if sent != "" {
		request.Header.Set("Content-Type", "text/csv")
		if strings.ContainsAny(sent[:1], "{[") {
			request.Header.Set("Content-Type", "application/json")
		}
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return 0, "", err
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	return response.StatusCode, string(text), err
}
