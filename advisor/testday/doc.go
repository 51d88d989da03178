// Package testday plans a day of trying changes on a kart and judges it
// afterwards, although track and tyres drift all day long.
//
// A day has a base setting and up to MaxChanges changes. An Order says which of
// them are on the kart in which run; Options compares orders by what they cost
// in runs and spanner minutes and by what they can prove. A Day is the file
// that holds the plan and what came of it; Replan changes the rest of it after
// a missed run, rain or a lost tyre set, and Judge says what each change was
// worth.
//
// Times are seconds, effects are changed minus base, so a negative effect is
// quicker. A spread is one standard deviation between runs on the same setting,
// which is not the spread between laps.
package testday
