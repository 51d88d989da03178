// Package readings reads what was measured on a kart at several settings of its
// adjusters, and poses it as a fit of the kart's dimensions.
//
// A readings file is a table with a row for each side and stand of the kart: how
// the adjusters stood, how the steering was turned, and what was read. It is
// written as TOML, a [[row]] each, or as CSV, whose header may name the units so
// that the cells hold bare numbers. A reading that is left empty was not taken; a
// row without a reading is ignored.
//
// A ± in a file means about 95 % sure, two standard deviations. Package fit works
// in one: what this package hands out as SD is converted already.
package readings
