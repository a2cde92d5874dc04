// Package pricing turns what a group of furniture flippers knows of its
// listings, sold and unsold, into an asking price, a time to sale, a judgement
// of slow listings and a limit for buying. It is pure: no input or output, no
// clock, no randomness; the same arguments give the same bytes.
//
// # The model
//
// Three regressions are fitted, all Bayesian with weak priors, so that an
// answer never hangs on a handful of rows:
//
//   - value: the log of the sale price on the description of a sold piece
//     (hedonic regression), with a conjugate normal-inverse-gamma prior and one
//     scale for all level effects by empirical Bayes and Student t errors; see hedonic.
//   - sale rate: sales per active day, piecewise constant in age, log-linear in
//     the ask against the typical ask and in the seller's own estimate, with a
//     gamma frailty that the listings of one piece share; see stats.CountModel.
//   - message rate: the same for messages, without frailty.
//
// An unsold listing acts through the rates only: at that ask, in that time,
// nobody took it. The asking price begins the plan of falling asks with the
// greatest expected net, the sale price after fees less the cost of holding; see
// askplan. A slow listing is judged by the net of one ask for good over every
// remedy; see Model.Review.
//
// Fit does everything from a History. A caller that keeps Statistics and Rates
// adds and removes sales one at a time and joins both with NewModel; the
// answers are the same.
//
// # Units
//
// Money is in the group's unit as float64, lengths are in centimetres, time is
// in days. A listing's age is its active age: days in which it was paused do not
// count. Logs are natural, percent effects are in points, chances lie in [0, 1].
//
// # Limits
//
// Below 8 sales there is no value, and an ask only from the seller's own
// estimate and general assumptions. An 80 % interval wider than a factor of three
// refuses an ask without an estimate. Nothing above 1.10 of the larger of
// typical ask and estimate is suggested: a constant elasticity is too hopeful
// where nobody has tried. The trend is never carried past the last sale. A piece that
// is better or worse than its description is priced as described; that is what
// the estimate is for.
package pricing
