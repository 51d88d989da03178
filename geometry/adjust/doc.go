// Package adjust knows what a spanner turns: the adjusters of a corner, what
// each does to the corner's pivots and tie rod, how a mechanic says where it
// stands, and which settings give wanted figures.
//
// A kind of adjuster is one file of this package. It describes the fields that
// a kart profile gives it, builds the adjuster from them, and says its
// positions and moves in a mechanic's words. Nothing else in the project lists
// the kinds.
//
// A position is a number that means what the kind says: turns of tightening
// for a screw, holes for an indexed eccentric, the index of a bush position.
package adjust
