// Package refinish reckons the work of a new look: surfaces, coats, products,
// hours and days, and which tasks are the best use of a week. What the look does
// to the price it leaves to pricing.
package refinish
