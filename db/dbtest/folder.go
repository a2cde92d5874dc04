package dbtest

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"askwright/db/private"
)

// folderPrefix begins the names of the private servers' folders; the test
// binary's process number follows.
const folderPrefix = "askwright-dbtest-"

// startPrivate starts a server whose data need not outlive a power cut.
func (s *server) startPrivate(ctx context.Context) error {
	removeAbandoned()
	folder, err := os.MkdirTemp("", fmt.Sprintf("%s%d-", folderPrefix, os.Getpid()))
	if err != nil {
		return fmt.Errorf("folder of the test server: %w", err)
	}
	s.folder = folder
	s.private, err = private.Start(ctx, private.Options{
		DataDir:  folder,
		BinDir:   os.Getenv("ASKWRIGHT_POSTGRES_BIN"),
		Settings: map[string]string{"fsync": "off", "full_page_writes": "off", "max_connections": "200"},
		Logger:   slog.New(slog.DiscardHandler),
	})
	if err != nil {
		return errors.Join(err, os.RemoveAll(folder))
	}
	s.admin = s.private.AdminDSN()
	return nil
}

// removeAbandoned removes the folders of test binaries that have ended without
// calling Stop. What another user owns stays.
func removeAbandoned() {
	folders, _ := filepath.Glob(filepath.Join(os.TempDir(), folderPrefix+"*")) // the pattern is well-formed
	for _, folder := range folders {
		var pid int
		_, err := fmt.Sscanf(strings.TrimPrefix(filepath.Base(folder), folderPrefix), "%d-", &pid)
		if err == nil && errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
			_ = os.RemoveAll(folder)
		}
	}
}
