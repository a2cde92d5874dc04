package service

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// OneLine takes line breaks out of what somebody typed.
func OneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// Rows in plain words, for stories and for the text of a listing. What is
// unknown is left out; an open list's new word is written as it is.

// InWords writes a word of a list: mid_century becomes mid century.
func InWords(word string) string { return strings.ReplaceAll(word, "_", " ") }

// Plural is the English plural of a piece's name.
func Plural(name string) string {
	switch {
	case strings.HasPrefix(name, "chest of"):
		return "chests" + strings.TrimPrefix(name, "chest")
	case strings.HasSuffix(name, "ch"), strings.HasSuffix(name, "s"):
		return name + "es"
	case strings.HasSuffix(name, "y") && !strings.HasSuffix(name, "ay"):
		return strings.TrimSuffix(name, "y") + "ies"
	}
	return name + "s"
}

// Joined puts the parts that are not empty together.
func Joined(mark string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, mark)
}

// UpperFirst begins a sentence.
func UpperFirst(s string) string {
	_, size := utf8.DecodeRuneInString(s)
	return strings.ToUpper(s[:size]) + s[size:]
}

// LowerFirst goes on with a sentence.
func LowerFirst(s string) string {
	_, size := utf8.DecodeRuneInString(s)
	return strings.ToLower(s[:size]) + s[size:]
}

// Count writes a number of things: 1 day, 2 days.
func Count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// HoursText writes hours for a sentence.
func HoursText(hours float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.2f", hours), "0"), ".")
}
