// Package rules decides, from a complaint and the conditions at the track,
// which settings of the front end to change, which way and by how much.
//
// Rules vote. A rule whose conditions are met to the grade μ supports its votes
// with s = min(0.99, μ·w·ℓ), w being its author's confidence and ℓ what has been
// learned about it. Supports for one direction of one move are pooled as the sum
// of −ln(1−s), kept as a whole number of nano-nats so that no order of rules,
// files or goroutines can change a bit of the answer; the two directions are
// pooled apart, and what they disagree about is reported, never averaged away.
// The pooling is the certainty-factor combination of EMYCIN (van Melle 1980)
// and the amount is the centre of gravity of singletons of IEC 61131-7.
//
// The package is pure: it reads no files, no clock and no environment, starts
// no goroutines and holds no global state.
package rules
