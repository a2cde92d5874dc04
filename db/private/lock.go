package private

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/gofrs/flock"
)

// folderLock is held by the program whose server runs on the data folder. The
// operating system drops it when the program ends. The file stays: removing it
// would let two programs lock two files of one name.
type folderLock struct{ file *flock.Flock }

// takeLock locks the folder and writes into the lock file who holds it, for
// those who are refused. It waits up to wait for another holder.
func takeLock(ctx context.Context, f folder, wait time.Duration) (*folderLock, error) {
	file := flock.New(f.lock, flock.SetFlag(os.O_CREATE|os.O_RDWR|syscall.O_NOFOLLOW))
	waiting, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	ok, err := file.TryLock()
	if err == nil && !ok {
		ok, err = file.TryLockContext(waiting, 50*time.Millisecond)
	}
	if ctx.Err() != nil {
		return nil, errors.Join(context.Cause(ctx), file.Close())
	}
	if err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return nil, fmt.Errorf("locking the data folder: %w", err)
	}
	if !ok {
		pid, command := readHolder(f)
		return nil, errors.Join(&InUseError{DataDir: f.dir, PID: pid, Command: command}, file.Close())
	}
	lock := &folderLock{file: file}
	if err := lock.write(fmt.Sprintf("%d\n%s\n", os.Getpid(), ownCommand())); err != nil {
		return nil, errors.Join(err, lock.release())
	}
	return lock, nil
}

func (l *folderLock) write(holder string) error {
	if err := os.WriteFile(l.file.Path(), []byte(holder), 0o600); err != nil {
		return fmt.Errorf("lock file: %w", err)
	}
	return nil
}

func (l *folderLock) release() error {
	return errors.Join(l.write(""), l.file.Unlock())
}

// readHolder returns the process that wrote itself into the lock file, or 0
// when it has ended.
func readHolder(f folder) (pid int, command string) {
	file, err := os.Open(f.lock)
	if err != nil {
		return 0, ""
	}
	defer file.Close()
	lines := bufio.NewReader(file)
	if _, err := fmt.Fscanf(lines, "%d\n", &pid); err != nil || !alive(pid) {
		return 0, ""
	}
	command, err = lines.ReadString('\n')
	if err != nil {
		return 0, ""
	}
	return pid, strings.TrimSpace(command)
}

// ownCommand is the program's name and its command word. Further arguments are
// left out, as they may hold a secret.
func ownCommand() string {
	name := filepath.Base(os.Args[0])
	if len(os.Args) > 1 && !strings.HasPrefix(os.Args[1], "-") {
		name += " " + os.Args[1]
	}
	return name
}

// alive tells whether a process exists, whoever owns it.
func alive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, fs.ErrPermission)
}
