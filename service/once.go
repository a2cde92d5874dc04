package service

import (
	"crypto/sha256"
	"errors"
	"time"
)

// OnceRequest is a request that a client may repeat because it does not know
// whether it arrived: it names the repetition by a key of its own.
type OnceRequest struct {
	Operation string            // method and path
	Key       string            // of the client's making, at most 255 bytes
	Sum       [sha256.Size]byte // of all that the answer depends on
	At        time.Time
}

// OnceAnswer is a kept answer.
type OnceAnswer struct {
	Status  int
	Headers map[string]string
	Body    []byte
}

// ErrAnotherRequest says that a key of a repetition belongs to another request.
var ErrAnotherRequest = errors.New("another request")
