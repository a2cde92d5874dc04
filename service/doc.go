// Package service is the domain: rows, listings, pieces, events, money, groups
// and who asks, with the rules that hold for them. It is pure: it knows neither
// storage nor HTTP, neither clock nor log. What is done with it stands in the
// packages below it, one for each part of the group's work, each with the small
// piece of storage that it needs declared beside its use.
//
// Everything belongs to one group. An Actor, found from a key, names the group
// and the member that a call acts for, and each call to storage runs as them.
package service
