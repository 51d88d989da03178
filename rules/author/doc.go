// Package author helps those who write rules: it finds rules that contradict
// each other, that can never fire or never count, and complaints that nothing
// answers; it surveys which situations a set answers, and compares two sets.
//
// It is pure: it works on sets that are loaded already.
package author

import "kartwright/rules/diag"

// The codes of what Check finds. All are warnings.
const (
	Contradicting diag.Code = "contradicting-rules"
	Outvoted      diag.Code = "outvoted-exception"
	NeverFires    diag.Code = "never-fires"
	NeverCounts   diag.Code = "never-counts"
	IdleCondition diag.Code = "idle-condition"
	UnusualPhase  diag.Code = "unusual-phase"
	IdleChange    diag.Code = "idle-change"
	Unanswered    diag.Code = "unanswered-symptom"
	Unspoken      diag.Code = "unspoken-word"
)

// Codes explains every code that Check can report.
func Codes() []diag.Explanation {
	return []diag.Explanation{
		{Code: Contradicting, Title: "two rules want the opposite of each other for the same complaint",
			Text: "There is a situation in which both hold fully, they vote for opposite changes of one move, and neither is a special case of the other, so whichever has the higher confidence wins and the driver never learns that there was a choice. If one of them is wrong, change it or switch it off. If each is right in its place, add the condition that tells the places apart. If experienced people disagree, give both the same \"contested\" name and say in \"decide\" which observation settles it: both sides are then shown. A rule that asks for everything that another asks for and for more is a special case, and is not reported; \"without\" alone makes none."},
		{Code: Outvoted, Title: "a special case never wins against the general rule",
			Text: "The rule asks for all that a general rule asks for and more, and votes the other way, so it is meant as an exception. But votes are pooled: the general rule fires as well, and where the exception holds, the answer is still the general one. Give the exception more confidence than the rules against it together, or keep the general rule away with \"without\" or a narrower condition, or switch it off there."},
		{Code: NeverFires, Title: "a rule can never fire",
			Text: "No complaint and no conditions meet all that the rule asks for: a range of numbers outside the scale, a symptom that its own \"without\" excludes, or a wet track with a dry grip."},
		{Code: NeverCounts, Title: "a rule never counts because its family always has a stronger one",
			Text: "Of a family only the strongest rule counts for each move and direction. Whenever this rule holds, another one of its family holds at least as well and has at least its confidence. Usually a special case was meant: give it more confidence than the general rule, or a family of its own."},
		{Code: IdleCondition, Title: "a part of a condition makes no difference",
			Text: "One of several alternatives can never be met, or is there twice, or \"any\" stands beside other words and lets everything pass, or \"with\" asks for the symptom that the rule is about anyway. The rule works without it; perhaps another word was meant."},
		{Code: UnusualPhase, Title: "a rule asks for a phase in which its symptom is not reported",
			Text: "The vocabulary lists the phases in which a symptom is normally reported. A rule that votes and asks for another one is hardly ever met; a symptom without phases is reported for the kart as a whole, and a condition on the phase then keeps the rule silent. Rules that only name checks may ask for odd complaints, and are not reported."},
		{Code: IdleChange, Title: "a change has no effect",
			Text: "The rule that it changes is switched off, here or in a file that this one extends. Remove the change, or switch the rule on again with off = false."},
		{Code: Unanswered, Title: "no rule answers a symptom",
			Text: "A complaint that the vocabulary knows gets no answer under any conditions: no rule that asks for it votes for a move or, for a symptom with check_first, names a check. 'kartwright rules gaps' shows under which conditions the other symptoms are not answered."},
		{Code: Unspoken, Title: "a driver's words cannot produce this word",
			Text: "No phrase of the word files stands for it, so a complaint in plain words never meets a rule that asks for it; it can only be given by its name, as with --symptom or --track. Add a phrase to a word file, or use a word that drivers' words lead to."},
	}
}
