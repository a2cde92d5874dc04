package model_test

import (
	"os"
	"testing"

	"askwright/db/dbtest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	dbtest.Stop()
	os.Exit(code)
}
