// Package measure turns what gauges, lasers, rules and scales read into the
// figures of a front end, and wanted figures into the reading to look for.
//
// Signs are those of package frontend, in each corner's own frame, so that
// both sides read alike: caster + with the top of the kingpin rearward, KPI +
// with its top inboard, camber + with the top of the wheel outward, toe + is
// toe-in, steer + with the front of the wheel outboard (the inner wheel of a
// turn). Column angles are + to the left.
//
// Every reading may carry a ±, and every result carries its own: to first
// order, root of the sum of squares, the readings' errors being independent
// (GUM, JCGM 100:2008, 5.1.2). A result's ± means what its readings' ± mean: if
// those are never exceeded by more than one reading in twenty, so is it.
package measure
