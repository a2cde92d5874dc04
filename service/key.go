package service

import (
	"strings"
)

const (
	KeyPrefix = "ask_"
)

var ScopeLetters = map[string]string{ScopeFeed: "f", ScopeRead: "r", ScopeWrite: "w", ScopeAdmin: "a"}

// IsFeedKey reports whether the text is written as a feed key.
func IsFeedKey(text string) bool { return strings.HasPrefix(text, KeyPrefix+ScopeLetters[ScopeFeed]) }
