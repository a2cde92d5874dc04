package service

import (
	"strings"
)

// KeyPrefix begins the text of every key.
const (
	KeyPrefix = "ask_"
)

// ScopeLetters stand for the scope in the text of a key.
var ScopeLetters = map[string]string{ScopeFeed: "f", ScopeRead: "r", ScopeWrite: "w", ScopeAdmin: "a"}

// IsFeedKey reports whether the text is written as a feed key.
func IsFeedKey(text string) bool { return strings.HasPrefix(text, KeyPrefix+ScopeLetters[ScopeFeed]) }
