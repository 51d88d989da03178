package author

import (
	"fmt"
	"slices"
	"strings"

	"kartwright/rules"
	"kartwright/rules/diag"
)

// conditions reports a rule that can never fire, or else the parts of its
// conditions that make no difference.
func (c *checker) conditions(s *space) {
	r := s.rule
	never := func(why, help string, key ...string) {
		if !c.dead[r.ID] {
			c.dead[r.ID] = true
			c.report(diag.Warnf(NeverFires, c.written.value(c.loaded, r.ID, append([]string{"when"}, key...)...), "%s can never fire: %s", r.ID, why).WithHelp(help))
		}
	}
	idle := func(key string, i int, help, format string, args ...any) {
		c.report(diag.Warnf(IdleCondition, c.written.element(c.loaded, r.ID, i, "when", key), format, args...).WithHelp(help))
	}
	w := r.When

	excluded := func(id string) bool { return slices.Contains(w.Without, id) }
	if len(w.Symptom) > 0 && !slices.ContainsFunc(w.Symptom, func(id string) bool { return !excluded(id) }) {
		never("every symptom that it asks for is excluded by its own \"without\"", "", "without")
	}
	v := c.universe.vocabulary
	reported := w.Symptom
	if len(reported) == 0 {
		for _, x := range v.Symptoms {
			reported = append(reported, x.ID)
		}
	}
	var possible []string // phases
	for _, x := range v.Symptoms {
		if slices.Contains(reported, x.ID) && !excluded(x.ID) {
			possible = append(possible, x.Phases...)
		}
	}
	if len(r.Votes)+len(r.Leave) > 0 { // a complaint that is odd can still be answered with a check
		for i, t := range w.Phase {
			if !t.Not && t.Word != rules.Any && !slices.Contains(possible, t.Word) {
				c.report(diag.Warnf(UnusualPhase, c.written.element(c.loaded, r.ID, i, "when", "phase"), "%s asks for the phase %s, in which %s",
					r.ID, t, isNotReported(w.Symptom)).WithHelp("it is reported " + phaseList(possible)))
			}
		}
	}
	grip, tyres := func(t rules.Term) []float64 { return c.grades(rules.When{Grip: rules.Terms{t}, Wet: w.Wet}).grip },
		func(t rules.Term) []float64 { return c.grades(rules.When{Tyres: rules.Terms{t}}).tyres }
	track := func(t rules.Term) []float64 { return c.grades(rules.When{Track: rules.Terms{t}}).track }
	if none(s.track) {
		never("no kind of track meets its condition", "", "track")
	}
	if none(s.grip) {
		never(gripReason(w, v.Grip), "", "grip")
	}
	if none(s.tyres) {
		never("no age of tyres is "+w.Tyres.String(), "", "tyres")
	}
	if c.dead[r.ID] {
		return
	}

	for i, id := range w.Symptom {
		switch {
		case excluded(id):
			idle("symptom", i, "", "%s: %q is excluded by the rule's own \"without\"", r.ID, id)
		case slices.Contains(w.Symptom[:i], id):
			idle("symptom", i, "", "%s asks for %q twice", r.ID, id)
		}
	}
	for i, id := range w.With {
		if len(w.Symptom) == 1 && w.Symptom[0] == id {
			idle("with", i, "name the other symptom that has to be reported", "%s asks for %q beside itself", r.ID, id)
		}
	}
	for _, l := range []struct {
		key    string
		terms  rules.Terms
		grades func(rules.Term) []float64
	}{
		{"phase", w.Phase, nil}, {"corner", w.Corner, nil}, {"severity", w.Severity, nil},
		{"track", w.Track, track}, {"grip", w.Grip, grip}, {"tyres", w.Tyres, tyres},
	} {
		for i, t := range l.terms {
			same := func(o rules.Term) bool { return o.String() == t.String() }
			switch {
			case t.Word == rules.Any && len(l.terms) > 1:
				idle(l.key, i, "leave the condition out, or leave \"any\" out", "%s: \"any\" makes the other words of %s idle", r.ID, l.key)
			case slices.ContainsFunc(l.terms[:i], same):
				idle(l.key, i, "", "%s asks for %s %q twice", r.ID, l.key, t)
			case slices.ContainsFunc(l.terms, func(o rules.Term) bool { return o.Word == t.Word && t.Not && !o.Not && o.Range == nil }):
				idle(l.key, i, "leave the condition out", "%s: %q or %q is always met once the %s is known", r.ID, t.Word, t, l.key)
			case l.grades != nil && none(l.grades(t)):
				idle(l.key, i, "", "%s: no %s is ever %s", r.ID, strings.TrimSuffix(l.key, "s"), t)
			}
		}
	}
}

func (c *checker) grades(w rules.When) *space { return c.universe.spaceOf(&rules.Rule{When: w}) }

func none(grades []float64) bool {
	return !slices.ContainsFunc(grades, func(g float64) bool { return g > 0 })
}

func gripReason(w rules.When, s rules.Scale) string {
	if w.Wet != rules.Unknown && len(w.Grip) > 0 {
		return fmt.Sprintf("grip %s and wet = %t exclude each other", w.Grip, w.Wet == rules.Yes)
	}
	text := "no grip is " + w.Grip.String()
	if s.Of > 0 {
		text += fmt.Sprintf("; the scale goes from 0 to %g", s.Of)
	}
	return text
}

func phaseList(phases []string) string {
	var named []string
	for _, p := range rules.PhaseWords() {
		if p != rules.Any && slices.Contains(phases, p) {
			named = append(named, p)
		}
	}
	if len(named) == 0 {
		return "without a phase; leave \"phase\" out"
	}
	return "in the phases " + strings.Join(named, ", ")
}

func isNotReported(symptoms []string) string {
	if len(symptoms) == 0 {
		return "no symptom is reported"
	}
	return strings.Join(symptoms, " or ") + " is not reported"
}
