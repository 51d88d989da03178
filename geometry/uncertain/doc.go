// Package uncertain carries the ± of inputs through a calculation: to first
// order as the Guide to the Expression of Uncertainty in Measurement does it
// (GUM, JCGM 100:2008), by seeded Monte Carlo as its Supplement 1 does it
// (JCGM 101:2008), with a comparison of the two, and it says which input an
// answer rests on and which measurement would sharpen it most.
//
// A calculation is a Model, a function from input numbers to output numbers;
// the package knows nothing of their units. The same seed gives the same
// numbers. It starts no goroutines; Options.Run lets a caller do so.
package uncertain
