package private

import (
	"context"
	"os"
	"os/exec"
	"runtime"
	"syscall"
	"time"
)

// process is a child that the program waits for in the background.
type process struct {
	cmd  *exec.Cmd
	done chan struct{} // closed when the child has ended
	err  error         // how it ended, nil: with exit code 0; read only after done
}

// spawn starts a child that receives SIGINT when the program dies, where the
// system can do that. The kernel ties this to the thread that started the
// child, so one thread is kept for starting it and waiting for it.
func spawn(cmd *exec.Cmd) (*process, error) {
	p := &process{cmd: cmd, done: make(chan struct{})}
	started := make(chan error)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			p.err = cmd.Wait()
			close(p.done)
		}
	}()
	return p, <-started
}

func (p *process) pid() int { return p.cmd.Process.Pid }

// signal tells the child something; a child that has ended does not mind.
func (p *process) signal(s syscall.Signal) { _ = p.cmd.Process.Signal(s) }

// stop ends a PostgreSQL server: politely (SIGINT, "fast shutdown"), and at once
// when ctx ends or has ended (SIGQUIT, "immediate shutdown"; PostgreSQL 15
// documentation, 19.5).
func (p *process) stop(ctx context.Context) error {
	p.signal(syscall.SIGINT)
	select {
	case <-p.done:
		return nil
	case <-ctx.Done():
	}
	p.signal(syscall.SIGQUIT)
	select {
	case <-p.done:
	case <-time.After(10 * time.Second): // its children get 5 s before SIGKILL
		p.signal(syscall.SIGKILL)
		<-p.done
	}
	return context.Cause(ctx)
}

// command prepares a program of PostgreSQL's to be run as the server's account
// in the data folder. The environment is a short list: PGDATA, PGOPTIONS and the
// like would change what it does, and the program's secrets are not its concern.
func (f folder) command(path string, args ...string) *exec.Cmd {
	cmd := exec.Command(path, args...) //nolint:gosec,noctx // PostgreSQL's own programs; the server outlives the call
	cmd.Dir = f.dir
	cmd.Env = []string{"LC_ALL=C"} // messages in English; startServer reads them
	for _, name := range []string{"PATH", "TMPDIR", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH"} {
		if value, ok := os.LookupEnv(name); ok {
			cmd.Env = append(cmd.Env, name+"="+value)
		}
	}
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Credential: f.account.credential,
		Setsid:     true, // Ctrl-C in a terminal is for the program, which stops the server last
	}
	endWithProgram(cmd.SysProcAttr)
	cmd.WaitDelay = 5 * time.Second
	return cmd
}
