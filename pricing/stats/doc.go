// Package stats holds the statistical methods of the pricing engine with their
// published sources: regressions, count models with frailty, survival curves and
// scores. What is counted and regressed, and with which priors, it leaves to
// pricing.
package stats
