package rules

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Facts are what is known when advice is asked for. The zero value of each
// field means that it was not stated. A condition on something that was not
// stated is not met: unknown is not a value.
type Facts struct {
	Symptoms []Symptom
	Track    string
	Grip     Level
	Tyres    Level
	Wet      Tri // the track; follows from Grip when that is stated, and the other way round
}

// A Symptom is one reading of a complaint.
type Symptom struct {
	ID       string
	Phase    string // "" or "any": not said
	Corner   string // "" or "any": not said
	Severity string // "": not said, which counts as normal
	Absent   bool   // the driver says that it is not there (any more)
}

// A Level is a value of a scale, in words or as a number.
type Level struct {
	Word     string
	Number   float64
	IsNumber bool
}

// stated reports whether the level says anything.
func (l Level) stated() bool { return l.IsNumber || l.Word != "" }

// Tri is a yes or no that may not have been said.
type Tri uint8

const (
	Unknown Tri = iota
	No
	Yes
)

// ParseSymptom reads a reading in the form [!]id[/phase][@corner][:severity],
// for example "understeer/entry:strong", "hop@fast" or "!bind". It checks the
// form and the words that are fixed in code, not the symptom's name.
func ParseSymptom(text string) (Symptom, error) {
	var s Symptom
	rest, absent := strings.CutPrefix(strings.TrimSpace(text), "!")
	s.Absent = absent
	rest, severity, hasSeverity := strings.Cut(rest, ":")
	rest, corner, hasCorner := strings.Cut(rest, "@")
	id, phase, hasPhase := strings.Cut(rest, "/")
	s.ID, s.Phase, s.Corner, s.Severity = id, phase, corner, severity
	if id == "" {
		return Symptom{}, fmt.Errorf("%q names no symptom (write symptom/phase@corner:severity, the last three only if known)", text)
	}
	for _, part := range []struct {
		has   bool
		word  string
		name  string
		words []string
	}{
		{hasPhase, phase, "phase after /", PhaseWords()},
		{hasCorner, corner, "corner after @", CornerWords()},
		{hasSeverity, severity, "severity after :", SeverityWords()},
	} {
		if part.has && !slices.Contains(part.words, part.word) {
			return Symptom{}, fmt.Errorf("%q has %q as %s; expected %s", text, part.word, part.name, strings.Join(part.words, ", "))
		}
	}
	return s, nil
}

// String writes the reading in the form that ParseSymptom reads.
func (s Symptom) String() string {
	var b strings.Builder
	if s.Absent {
		b.WriteByte('!')
	}
	b.WriteString(s.ID)
	if s.Phase != "" && s.Phase != Any {
		b.WriteString("/" + s.Phase)
	}
	if s.Corner != "" && s.Corner != Any {
		b.WriteString("@" + s.Corner)
	}
	if s.Severity != "" {
		b.WriteString(":" + s.Severity)
	}
	return b.String()
}

// settle checks facts against the vocabulary and against each other, and fills
// in what follows: a wet grip is a wet track, any other grip is a dry one.
func (v *Vocabulary) settle(f Facts) (Facts, error) {
	var errs []error
	fail := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }

	for i, s := range f.Symptoms {
		if !slices.ContainsFunc(v.Symptoms, func(w SymptomWord) bool { return w.ID == s.ID }) {
			fail("symptom %q is not in the vocabulary of these rules", s.ID)
		}
		if s.Phase != "" && !slices.Contains(PhaseWords(), s.Phase) {
			fail("symptom %s: phase %q is not one of %s", s.ID, s.Phase, strings.Join(PhaseWords(), ", "))
		}
		if s.Corner != "" && !slices.Contains(CornerWords(), s.Corner) {
			fail("symptom %s: corner %q is not one of %s", s.ID, s.Corner, strings.Join(CornerWords(), ", "))
		}
		if s.Severity != "" && !slices.Contains(SeverityWords(), s.Severity) {
			fail("symptom %s: severity %q is not one of %s", s.ID, s.Severity, strings.Join(SeverityWords(), ", "))
		}
		for _, t := range f.Symptoms[:i] {
			if s.ID == t.ID && said(s.Phase) == said(t.Phase) && said(s.Corner) == said(t.Corner) && s.Absent != t.Absent {
				s.Absent, s.Severity = false, ""
				fail("%s is reported both as there and as not there", s)
			}
		}
	}
	if f.Track != "" && !slices.ContainsFunc(v.Tracks, func(t Track) bool { return t.ID == f.Track }) {
		fail("track %q is not in the vocabulary of these rules", f.Track)
	}
	for _, l := range []struct {
		name, off string
		level     Level
		scale     Scale
	}{{"grip", Wet, f.Grip, v.Grip}, {"tyres", Wets, f.Tyres, v.Tyres}} {
		if l.level.IsNumber && len(l.scale.Words) == 0 {
			fail("%s: these rules have no scale for numbers", l.name)
		} else if err := l.scale.check(l.level); err != nil {
			fail("%s: %w", l.name, err)
		} else if l.level.Word != "" && !l.level.IsNumber && l.scale.word(l.level.Word, l.off) < 0 {
			fail("%s: %q is not a word of the scale", l.name, l.level.Word)
		}
	}
	switch wetGrip := !f.Grip.IsNumber && f.Grip.Word == Wet; {
	case f.Wet > Yes:
		fail("wet is neither yes, no nor unknown")
	case wetGrip && f.Wet == No:
		fail("the track is said to be dry, but its grip is said to be wet")
	case f.Wet == Yes && f.Grip.stated() && !wetGrip:
		fail("the track is said to be wet, but its grip is given as %s, which is a grip of a dry track", v.Grip.Format(f.Grip))
	case wetGrip:
		f.Wet = Yes
	case f.Wet == Yes:
		f.Grip = Level{Word: Wet}
	case f.Grip.stated():
		f.Wet = No
	}
	return f, errors.Join(errs...)
}

// said returns "" for a word that says nothing.
func said(word string) string {
	if word == Any {
		return ""
	}
	return word
}
