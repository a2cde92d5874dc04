// Package buying says what to pay at most for a piece as it stands there: what
// it will bring once it is ready, less all that it costs until then, held
// against what is asked for it. A piece that is asked for less than such pieces
// usually are is cheap for a reason that no description holds, more often than
// not; how often, is learned from the prices that the group was asked and from
// what became of its purchases. It is pure.
package buying
