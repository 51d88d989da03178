// Package advisor turns a complaint and the conditions at the track into
// changes of one kart's front end: which change to try first, exactly what to
// turn on each side, what else moves, what speaks against it, and the way back.
//
// It puts the votes of package rules together with the geometry of the kart
// and decides nothing that those two do not say. It reads no files and no
// clock.
package advisor
