package testday

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// A FieldError is a fault in one thing that was asked or entered: Field is the
// command line's flag for it without its dashes, and the page's field.
type FieldError struct {
	Field string
	Err   error
}

func (e *FieldError) Error() string { return e.Err.Error() }
func (e *FieldError) Unwrap() error { return e.Err }

func fieldf(field, format string, args ...any) error {
	return &FieldError{field, fmt.Errorf(format, args...)}
}

// Entry is what is recorded at the track: the result of the run that is next,
// what happened to the rest of the day, or both.
type Entry struct {
	// Run is the run that the entry is about, from 1: for a page or a person
	// that may look at an older state of the day. 0 means the run that is next,
	// with TakeBack the one before.
	Run int

	// At most one of these is the result.
	Laps     string  // as ParseLaps reads them
	Time     float64 // the run's one figure, seconds
	Missed   bool
	Rain     bool // rained off; later runs are compared among themselves
	TakeBack bool // the last run is planned again

	OutIn  bool   // the first lap is the out-lap and the last the in-lap
	Says   string // the driver's words
	Feel   Feel
	Why    string // of a missed run
	Fitted bool   // the kart was set up already for the run that was missed or rained off

	LostTyres    bool // the rest is on another set
	TrackChanged bool // the track is another from the next run on
	Left         *int // there is time for so many runs more; nil: as planned
}

// Entered is what Enter did.
type Entered struct {
	Said    string // what was recorded, in a sentence or two; "" if nothing was
	Anew    bool   // the rest of the day is ordered anew
	Changed bool   // the day is another than before
}

// Enter records e and orders the rest of the day anew where that helps. What is
// wrong with the entry itself is a *FieldError; after any error the day must not
// be used further.
func (d *Day) Enter(w *Work, e Entry) (Entered, error) {
	var out Entered
	if e.Left != nil && (*e.Left < 0 || *e.Left > MaxRuns) {
		return out, fieldf("left", "%d runs more are not possible; expected 0 to %d", *e.Left, MaxRuns)
	}
	var err error
	if out.Said, err = d.record(e); err != nil {
		return out, err
	}
	next := d.Next()
	if e.LostTyres {
		d.NewTyres(next)
	}
	if e.TrackChanged && next < len(d.Runs) {
		d.Runs[next].Break = true
	}
	if e.Missed || e.Rain || e.LostTyres || e.TrackChanged || e.Left != nil {
		left := -1
		if e.Left != nil {
			left = *e.Left
		}
		if out.Anew, err = d.Replan(w, left); err != nil {
			return out, err
		}
	}
	out.Changed = out.Said != "" || out.Anew || e.LostTyres || e.TrackChanged
	return out, nil
}

// record enters a run's result and says what was entered, "" if nothing was.
func (d *Day) record(e Entry) (string, error) {
	given := 0
	for _, g := range []bool{e.Laps != "", e.Time != 0, e.Missed, e.Rain, e.TakeBack} {
		if g {
			given++
		}
	}
	switch {
	case given > 1:
		return "", fieldf("laps", "give one of lap times, one time, missed, rained off and taken back: a run cannot be several of them")
	case (e.Says != "" || e.Feel != NoWord) && (given == 0 || e.Missed || e.TakeBack):
		return "", fieldf("says", "the driver's words and better, same or worse go with the result of a run that was driven: lap times or one time")
	case e.Fitted && !e.Missed && !e.Rain:
		return "", fieldf("changed", "that the kart was set up already goes with a run that was missed or rained off")
	case e.OutIn && e.Laps == "":
		return "", fieldf("out-in", "an out-lap and an in-lap go with lap times")
	case !slices.Contains([]Feel{NoWord, Better, Same, Worse}, e.Feel):
		return "", fieldf("feel", "it is %q, expected better, same or worse", e.Feel)
	}
	i := d.Next()
	about := i
	if e.TakeBack {
		about = i - 1
	}
	if e.Run != 0 && e.Run != about+1 {
		return "", d.overtaken(e, about)
	}
	if e.TakeBack {
		if i == 0 {
			return "", errors.New("no run is recorded that could be taken back")
		}
		was := d.Runs[i-1]
		d.TakeBack()
		said := fmt.Sprintf("Run %d is taken back. It was: ", i)
		if len(was.Laps) == 0 {
			return said + d.Result(was), nil
		}
		for _, l := range was.Laps { // in full, so that they can be entered again
			said += l.String() + ", "
		}
		if words := was.Words(); words != "" {
			said += "driver " + words + ", "
		}
		return strings.TrimSuffix(said, ", ") + ".", nil
	}
	if given == 0 {
		return "", nil
	}
	if i == len(d.Runs) {
		return "", fmt.Errorf("all %d runs of the day are recorded; say that there is time for one more to add it", len(d.Runs))
	}
	r := &d.Runs[i]
	switch {
	case e.Missed:
		r.State, r.Why, r.Fitted = Missed, e.Why, e.Fitted
		return fmt.Sprintf("Run %d is missed.", i+1), nil
	case e.Rain:
		r.State, r.Says, r.Feel, r.Fitted = Rain, e.Says, e.Feel, e.Fitted
		if i+1 < len(d.Runs) {
			d.Runs[i+1].Break = true
		}
		return fmt.Sprintf("Run %d is rained off; later runs are compared among themselves.", i+1), nil
	case e.Time != 0:
		if !(e.Time >= shortestLap && e.Time <= longestLap) {
			return "", fieldf("time", "run %d: %g s is no lap; it takes between %d and %d s", i+1, e.Time, shortestLap, longestLap)
		}
		r.State, r.Value, r.Says, r.Feel = Done, e.Time, e.Says, e.Feel
		return fmt.Sprintf("Run %d: %.3f s.", i+1, e.Time), nil
	}
	laps, err := ParseLaps(e.Laps)
	var slip *LapError
	if errors.As(err, &slip) {
		return "", fieldf("laps", "run %d, lap %d (line %d of the lap times, %q): %s", i+1, slip.Lap, slip.Line, slip.Text, slip.Message)
	}
	if err != nil {
		return "", fieldf("laps", "run %d: %w", i+1, err)
	}
	if e.OutIn {
		if len(laps) < 3 {
			return "", fieldf("out-in", "run %d: %s leave none between the out-lap and the in-lap", i+1, count(len(laps), "lap"))
		}
		laps[0].Flag, laps[len(laps)-1].Flag = OutLap, InLap
	}
	s, err := Summarise(laps, d.Figure)
	if err != nil {
		return "", fieldf("laps", "run %d: %w", i+1, err)
	}
	r.State, r.Laps, r.Says, r.Feel = Done, laps, e.Says, e.Feel
	return fmt.Sprintf("Run %d: ", i+1) + s.Say(len(laps)), nil
}

// overtaken says that the day has gone on since the entry was begun.
func (d *Day) overtaken(e Entry, about int) error {
	if e.Run < 1 || e.Run > len(d.Runs) {
		return fieldf("run", "there is no run %d; the day has %d", e.Run, len(d.Runs))
	}
	what := fmt.Sprintf("now comes run %d", about+1)
	switch {
	case e.TakeBack && about < 0:
		what = "none is recorded any more"
	case e.TakeBack:
		what = fmt.Sprintf("the last that is recorded is run %d", about+1)
	case about == len(d.Runs):
		what = "no run is left"
	}
	r := d.Runs[e.Run-1]
	was := "is " + string(r.State) + " by now"
	if r.State == Done {
		was = "was recorded meanwhile"
		if len(r.Laps) > 0 {
			if s, err := Summarise(r.Laps, d.Figure); err == nil {
				was += fmt.Sprintf(" with %.3f s", s.Value)
			}
		} else {
			was += fmt.Sprintf(" with %.3f s", r.Value)
		}
	}
	return fieldf("run", "this was meant for run %d, which %s; %s. Nothing of this was recorded", e.Run, was, what)
}

// Say says what a run of so many laps comes to, and what of it does not count.
func (s *Summary) Say(laps int) string {
	said := fmt.Sprintf("%.3f s from %d of %d laps.", s.Value, len(s.Kept), laps)
	for _, l := range s.Left {
		said += " " + capital(l.Say()) + "."
	}
	for _, x := range s.Doubts {
		said += " " + capital(x) + "."
	}
	return said
}

// Say is "lap 5, 49.88: traffic".
func (l Left) Say() string {
	return fmt.Sprintf("lap %d, %s: %s", l.Number, strings.Fields(l.Lap.String())[0], l.Why)
}
