// Package furniture describes a piece as it is offered and why an answer about
// one is refused. What a piece is worth, and what work on it takes, it leaves to
// pricing and refinish.
package furniture
