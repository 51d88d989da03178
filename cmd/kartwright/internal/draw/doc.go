// Package draw makes the drawings that the page, the job card and learn share:
// the front end from three sides, curves against steering, and what a spanner
// does to an adjuster.
//
// Every function is pure and returns one complete SVG image as text. Images are
// laid out 320 px wide, the width of a small phone, and grow with the space they
// are given. They follow the reader's light or dark setting. Nothing is said by
// colour alone: what is now is solid, what would be is dashed, and both are
// named. The front end is drawn to scale; a change that would be too small to
// see is drawn larger than it is, and the drawing says how many times.
package draw
