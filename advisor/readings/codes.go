package readings

import (
	"kartwright/geometry/fit"
	"kartwright/rules/diag"
)

// The codes of what can be wrong with a readings file.
const (
	badFormat  diag.Code = "readings-format"
	badCSV     diag.Code = "csv-syntax"
	unknownKey diag.Code = "unknown-column"
	twice      diag.Code = "column-twice"
	badSide    diag.Code = "bad-side"
	badStand   diag.Code = "bad-stand"
	badReading diag.Code = "bad-reading"
	badSpread  diag.Code = "bad-spread"
	badDate    diag.Code = "bad-date"
	otherKart  diag.Code = "other-kart"
	noReadings diag.Code = "no-readings"
)

// faultCodes are the codes of what only all readings together show.
var faultCodes = map[fit.FaultKind]diag.Code{
	fit.NotANumber:   "not-a-number",
	fit.BadSetting:   "no-such-setting",
	fit.TooFew:       "too-few-readings",
	fit.OneSetting:   "one-setting",
	fit.UnitMixUp:    "unit-mix-up",
	fit.WrongSign:    "wrong-sign",
	fit.SidesSwapped: "sides-swapped",
}

// Codes explains the codes of this package.
func Codes() []diag.Explanation {
	return []diag.Explanation{
		{Code: badFormat, Title: "the file is not of a known format", Text: "A readings file begins with format = 1. A higher number is of a newer kartwright."},
		{Code: badCSV, Title: "the file is not a table of comma-separated values", Text: "The usual cause is a quote inside a cell: a cell with a quote in it is put in quotes and the quote is written twice. Inches can be written in instead."},
		{Code: unknownKey, Title: "a column or key has no meaning here", Text: "A row holds the side, the adjusters by the names that the profile gives them, how the steering was turned, and readings. What is not known would be ignored, and with it what was measured."},
		{Code: twice, Title: "a column is there twice", Text: "Two columns for one thing leave open which of them counts. A reading that was repeated gets a row of its own."},
		{Code: badSide, Title: "a row does not say which side it is of", Text: "A row is of the left or the right side of the kart. Total toe and front track belong to both: they stand in a row whose side is both, and there alone."},
		{Code: badStand, Title: "the kart cannot stand like that", Text: "Positions are written as in the profile: turns from standard for a screw, a clock hour or holes for an eccentric, a name for a bush. The steering is turned by an angle with its direction, 20 deg left."},
		{Code: badReading, Title: "a reading cannot be read", Text: "A reading has its unit, -0.6 deg, and may carry its ±. In a CSV file the column's title may name the unit instead, camber (deg)."},
		{Code: badSpread, Title: "a ± is missing or not positive", Text: "Every reading may be off. How far, about 95 % of the time, says how much it counts."},
		{Code: badDate, Title: "the date cannot be read", Text: "A date is written year, month, day: 2026-05-31."},
		{Code: otherKart, Title: "the readings are of another kart", Text: "Readings of one kart would teach another one false dimensions, even if both have the same adjusters."},
		{Code: noReadings, Title: "nothing was read", Text: "Every reading of the file is empty."},
		{Code: faultCodes[fit.NotANumber], Title: "a number is not finite", Text: "A reading and its ± must be ordinary numbers."},
		{Code: faultCodes[fit.BadSetting], Title: "the kart cannot be brought there", Text: "The adjusters or the steering of this profile do not reach this stand."},
		{Code: faultCodes[fit.TooFew], Title: "there are too few readings", Text: "A fit needs more readings than numbers that nothing is known of, and at least two."},
		{Code: faultCodes[fit.OneSetting], Title: "all readings are of one setting", Text: "What an adjuster does shows only when it is moved. Move it and read again, or learn only what the readings bear on."},
		{Code: faultCodes[fit.UnitMixUp], Title: "a reading looks like one in another unit", Text: "It is far from what this kart can show, and a slipped decimal point, inches for millimetres or degrees for radians would explain it."},
		{Code: faultCodes[fit.WrongSign], Title: "a reading looks as if its sign were wrong", Text: "It is far from what this kart can show, and fits with its sign turned round: toe-in is +, camber is + with the top of the wheel outward, steer is + to the left."},
		{Code: faultCodes[fit.SidesSwapped], Title: "left and right look swapped", Text: "The readings contradict the kart as they are and fit with the sides exchanged. Left is the driver's left."},
	}
}
