package ruleset

import (
	"slices"

	"kartwright/rules/diag"
	"kartwright/rules/tables"
)

// The codes of findings in rule files, beside those of any TOML file.
const (
	Unreadable      diag.Code = "unreadable-file"
	NewerFormat     diag.Code = "newer-format"
	ExtendsMissing  diag.Code = "extends-missing"
	ExtendsCycle    diag.Code = "extends-cycle"
	BadID           diag.Code = "bad-id"
	DuplicateID     diag.Code = "duplicate-id"
	DuplicateWord   diag.Code = "duplicate-word"
	UnknownSymptom  diag.Code = "unknown-symptom"
	UnknownMove     diag.Code = "unknown-move"
	UnknownPhase    diag.Code = "unknown-phase"
	UnknownTrack    diag.Code = "unknown-track"
	UnknownWord     diag.Code = "unknown-word"
	UnknownRule     diag.Code = "unknown-rule"
	ClashingChange  diag.Code = "clashing-change"
	MissingUnit     diag.Code = "missing-unit"
	MissingSign     diag.Code = "missing-sign"
	ZeroAmount      diag.Code = "zero-amount"
	BadAmount       diag.Code = "bad-amount"
	OutOfRange      diag.Code = "out-of-range"
	BadShape        diag.Code = "bad-shape"
	SaysNothing     diag.Code = "says-nothing"
	SelfContrary    diag.Code = "self-contrary"
	MissingDecide   diag.Code = "missing-decide"
	MissingBecause  diag.Code = "missing-because"
	UnusualAmount   diag.Code = "unusual-amount"
	FamilyOfOne     diag.Code = "family-of-one"
	DecideNoContest diag.Code = "decide-without-contest"
)

// Codes explains every code that Load can report.
func Codes() []diag.Explanation {
	return slices.Concat(tables.Codes(), []diag.Explanation{
		{Code: Unreadable, Title: "a file cannot be read",
			Text: "The name is not there, or the file may not be read. Names are relative to the folder of the rule files; those that are there are listed."},
		{Code: NewerFormat, Title: "the file is written for a newer kartwright",
			Text: "The key \"format\" says which version of the file format the author used. A newer one may mean things that this program would misread, so it refuses. Update kartwright."},
		{Code: ExtendsMissing, Title: "a file that is to be extended is not there",
			Text: "\"extends\" names files in the same folder as the file that extends them. Until they are found, nothing is said about words and rules that they may define."},
		{Code: ExtendsCycle, Title: "files extend each other in a circle",
			Text: "What is extended is loaded first, so a circle has no beginning. Move what both files need into a third one that both extend."},
		{Code: BadID, Title: "a name is not in the expected form",
			Text: "The id of a rule, and the name of a family or of a contested point, is made of small letters, digits and hyphens: entry-push-tight-more-caster. It appears in journals and tests and should not change."},
		{Code: DuplicateID, Title: "two rules have the same id",
			Text: "Ids are unique over all files that are loaded together. To alter a rule of an extended file use [[change]]."},
		{Code: DuplicateWord, Title: "a word is defined twice",
			Text: "A symptom, move, kind of track or scale is defined in one place only, usually in base.toml."},
		{Code: UnknownSymptom, Title: "a symptom is not in the vocabulary",
			Text: "A rule can only ask for symptoms that a [symptom.…] table defines, in this file or in one that it extends."},
		{Code: UnknownMove, Title: "a move is not in the vocabulary",
			Text: "A rule can only vote on moves that a [move.…] table defines, in this file or in one that it extends."},
		{Code: UnknownPhase, Title: "a phase is not known",
			Text: "The phases are fixed: entry, mid, exit, straight, braking, and any for one that does not matter."},
		{Code: UnknownTrack, Title: "a kind of track is not in the vocabulary",
			Text: "A rule can only ask for kinds of track that a [track.…] table defines, in this file or in one that it extends."},
		{Code: UnknownWord, Title: "a word is not one of those that can stand here",
			Text: "Grip is low, medium, high or wet; tyres are new, used, worn or wets; a corner is slow, fast or any; a severity is slight, normal or strong. \"not\" in front of a word means every value to which it does not apply."},
		{Code: UnknownRule, Title: "a change is of a rule that does not exist",
			Text: "[[change]] alters a rule of a file that this one extends, found by its id. A rule of the same file is altered where it stands."},
		{Code: ClashingChange, Title: "two files change the same key of a rule",
			Text: "Neither file extends the other, so neither change comes after the other, and the order in which files are named must not matter. Let one file extend the other."},
		{Code: MissingUnit, Title: "an amount has no unit",
			Text: "Half a degree and half a millimetre are different changes. Write the unit behind the number, in quotes: \"+0.5 deg\". A toe change may also be written over a length, \"-1 mm over 255 mm\", and is meant per wheel."},
		{Code: MissingSign, Title: "an amount has no sign",
			Text: "A vote says which way: + increases the move and - decreases it. More caster is +; camber toward more negative is -; toe-in is + and toe-out is -, per wheel."},
		{Code: ZeroAmount, Title: "an amount is zero",
			Text: "A vote for no change is no vote. To ask that a move is left alone use leave = [\"…\"]."},
		{Code: BadAmount, Title: "an amount cannot be read",
			Text: "An amount is a number and a unit that suits the move: an angle, a length, a pressure, or steps."},
		{Code: OutOfRange, Title: "a number is outside its range",
			Text: "A confidence and a grade lie above 0 and are at most 1. The confidence of a rule is how sure its author is that it helps when all its conditions hold; pooled support never exceeds 0.99 for one rule."},
		{Code: BadShape, Title: "the numbers of a scale do not rise",
			Text: "A word of a scale is four numbers [a, b, c, d] that do not fall: it does not apply up to a, applies fully from b to c, and no longer applies from d. Equal neighbours make an upright edge."},
		{Code: SaysNothing, Title: "a rule advises nothing",
			Text: "A rule votes for a move (vote), asks that one is left alone (leave), or names things to look at first (checks)."},
		{Code: SelfContrary, Title: "a rule contradicts itself",
			Text: "It votes for a move and asks that it is left alone, or asks for something and its opposite, so it can never do what it says."},
		{Code: MissingDecide, Title: "a contested rule does not say what decides",
			Text: "Where experienced people disagree, the rules of both camps name the observation that decides between them: decide = \"does the inside rear wheel lift?\""},
		{Code: MissingBecause, Title: "a rule gives no reason",
			Text: "Advice without a reason cannot be weighed. Give one sentence that a novice understands."},
		{Code: UnusualAmount, Title: "an amount is outside the usual size of one step",
			Text: "The vocabulary says how large one step of this move usually is. A larger or smaller one can be right; more often it is a slip of the decimal point or the unit. For toe, remember that amounts are per wheel."},
		{Code: FamilyOfOne, Title: "a family has only one rule",
			Text: "A family joins rules that rest on the same reasoning, so that it counts once. With one rule it does nothing; the name is probably misspelt."},
		{Code: DecideNoContest, Title: "a rule says what decides, but not what is contested",
			Text: "\"decide\" is the observation that settles the disputed point named by \"contested\", and is shown only with it."},
	})
}
