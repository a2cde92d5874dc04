package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// A little of what run.sh does: nothing acknowledged is lost or doubled by kills,
// and nobody sees rows of another group or is shut out by it.
func TestKillsLoseNothingAndNobodyIsShutOut(t *testing.T) {
	folder, err := os.MkdirTemp("", "askwright-faults-") //nolint:usetesting // PostgreSQL's user must get in
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(folder) })
	if err := os.Chmod(folder, 0o711); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, "askwright")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", path, "askwright/service/cmd/askwright").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	little := plan{rows: 300, readers: 12, writers: 12, commas: 1 << 20, flood: 3 * time.Second, kills: 1}
	r, err := try(t.Context(), little, path, folder, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.print(t.Output())
	if !r.isSound() {
		t.Errorf("%+v", r)
	}
	if r.loud > 5*time.Second {
		t.Errorf("the neighbor waits %v", r.loud)
	}
}
