package profile

import "kartwright/rules/diag"

// The codes of what can be wrong with a profile.
const (
	newerFormat  diag.Code = "newer-format"
	badQuantity  diag.Code = "bad-quantity"
	implausible  diag.Code = "implausible"
	unknownKind  diag.Code = "unknown-kind"
	unknownName  diag.Code = "unknown-adjuster"
	doubleName   diag.Code = "adjuster-twice"
	badPosition  diag.Code = "bad-position"
	badAdjuster  diag.Code = "bad-adjuster"
	badLimit     diag.Code = "bad-limit"
	outsideLimit diag.Code = "outside-limit"
	impossible   diag.Code = "impossible-kart"
	twoForms     diag.Code = "two-forms"
)

// Codes explains the codes of this package.
func Codes() []diag.Explanation {
	return []diag.Explanation{
		{Code: badQuantity, Title: "a number cannot be read", Text: "Every measured number is text in quotes with its unit, \"105 mm\" or \"12 deg\", and may carry its uncertainty, \"105 mm ± 0.5 mm\". A number without a unit is refused because a slip between millimetres and inches would set the kart wrong."},
		{Code: implausible, Title: "a number is far from what a kart has", Text: "The range is wide enough for any kart. A value outside it is nearly always a wrong unit or a slipped decimal point."},
		{Code: unknownKind, Title: "an adjuster has an unknown kind", Text: "The kinds and their fields are listed by \"kartwright kart kinds\"."},
		{Code: badAdjuster, Title: "an adjuster's field is wrong", Text: "The fields of each kind, with examples, are listed by \"kartwright kart kinds\"."},
		{Code: unknownName, Title: "a position is given for an adjuster that is not there", Text: "[present] sets adjusters by the name that [[adjuster]] gives them, in quotes if the name has spaces."},
		{Code: doubleName, Title: "two adjusters of one side have the same name", Text: "Positions and instructions name adjusters, so each needs its own name. An adjuster with side = \"both\" stands on both sides."},
		{Code: badPosition, Title: "an adjuster cannot stand there", Text: "Positions are written as a mechanic says them: turns from standard for a screw, a clock hour or holes for an eccentric, a name for a bush, shims below the stub axle, turns longer or shorter for a tie rod."},
		{Code: badLimit, Title: "a limit is not a range", Text: "A limit is a list of the least and the most, [\"8 deg\", \"16 deg\"]."},
		{Code: outsideLimit, Title: "the kart stands outside a limit", Text: "Advice keeps inside the limits; a kart that already stands outside gets none for that figure until it is brought back or the limit is changed."},
		{Code: impossible, Title: "these dimensions cannot be one kart", Text: "The points or dimensions contradict each other: for example a tie rod that cannot reach its lug in some setting."},
		{Code: twoForms, Title: "the same thing is given twice", Text: "A profile gives its corners either by [corner] and [steering] or by [points]; and in [mass] either what scales show or what follows from them, either front_share or cg_behind, either frame_torsion or the frame rates; never both."},
		{Code: newerFormat, Title: "the file is written for a newer kartwright", Text: "Its format number is higher than this program knows. Update kartwright; older files stay readable."},
	}
}
