package author

import (
	"math/bits"
	"slices"
	"sort"

	"kartwright/rules"
)

// A universe is every value of a condition that can make a difference to a set:
// the words, the numbers at which a grade begins or stops to rise or fall, and
// numbers between those. Grades are straight lines between corners, so two rules
// that hold fully together anywhere do so at one of these values.
type universe struct {
	vocabulary rules.Vocabulary
	tracks     []string // "" first: not said
	grips      []grip
	tyres      []rules.Level // the zero level first: not said
}

// A grip is a level and the track it is on: wet, dry or not said.
type grip struct {
	level rules.Level
	wet   rules.Tri
}

func universeOf(set *rules.Set) *universe {
	v := set.Vocabulary()
	u := &universe{vocabulary: v, tracks: []string{""}}
	for _, t := range v.Tracks {
		u.tracks = append(u.tracks, t.ID)
	}
	var gripRanges, tyreRanges []rules.Terms
	for _, r := range set.Rules() {
		gripRanges, tyreRanges = append(gripRanges, r.When.Grip), append(tyreRanges, r.When.Tyres)
	}
	u.grips = []grip{{}, {wet: rules.No}, {rules.Level{Word: rules.Wet}, rules.Yes}}
	for _, l := range levels(v.Grip, gripRanges) {
		u.grips = append(u.grips, grip{l, rules.No})
	}
	u.tyres = append([]rules.Level{{}, {Word: rules.Wets}}, levels(v.Tyres, tyreRanges)...)
	return u
}

// levels returns the words of a scale and the numbers that matter.
func levels(s rules.Scale, conditions []rules.Terms) []rules.Level {
	var out []rules.Level
	var corners []float64
	add := func(t rules.Trapezoid) { corners = append(corners, t[:]...) }
	for _, w := range s.Words {
		out = append(out, rules.Level{Word: w.Word})
		add(w.Shape)
	}
	if len(s.Words) == 0 {
		return out
	}
	for _, terms := range conditions {
		for _, t := range terms {
			if t.Range != nil {
				add(*t.Range)
			}
		}
	}
	corners = append(corners, 0)
	if s.Of > 0 {
		corners = append(corners, s.Of)
	}
	sort.Float64s(corners)
	corners = slices.Compact(corners)
	for i, x := range corners {
		if x >= 0 && (s.Of == 0 || x <= s.Of) {
			out = append(out, rules.Level{Number: x, IsNumber: true})
		}
		if i > 0 {
			if m := (corners[i-1] + x) / 2; m > 0 && (s.Of == 0 || m < s.Of) {
				out = append(out, rules.Level{Number: m, IsNumber: true})
			}
		}
	}
	return out
}

// A space is the situations in which a rule holds, as grades over a universe.
type space struct {
	rule                    *rules.Rule
	phase, corner, severity uint16 // bit 0: not said; bit i+1: word i
	track, grip, tyres      []float64
}

func (u *universe) spaceOf(r *rules.Rule) *space {
	s := &space{
		rule:     r,
		phase:    mask(r.When.Phase, rules.PhaseWords()),
		corner:   mask(r.When.Corner, rules.CornerWords()),
		severity: mask(r.When.Severity, rules.SeverityWords()),
	}
	for _, t := range u.tracks {
		s.track = append(s.track, u.trackGrade(r.When.Track, t))
	}
	for _, g := range u.grips {
		x := levelGrade(r.When.Grip, u.vocabulary.Grip, rules.Wet, g.level, g.wet == rules.No)
		if r.When.Wet != rules.Unknown && r.When.Wet != g.wet {
			x = 0
		}
		s.grip = append(s.grip, x)
	}
	for _, l := range u.tyres {
		s.tyres = append(s.tyres, levelGrade(r.When.Tyres, u.vocabulary.Tyres, rules.Wets, l, false))
	}
	return s
}

// mask returns which of the fixed words meet a condition.
func mask(terms rules.Terms, all []string) uint16 {
	if len(terms) == 0 || anyOf(terms) {
		return 1<<(len(all)+1) - 1
	}
	var m uint16
	for i, w := range all {
		for _, t := range terms {
			if w != rules.Any && (t.Word == w) != t.Not {
				m |= 1 << (i + 1)
			}
		}
	}
	return m
}

func anyOf(terms rules.Terms) bool {
	return slices.ContainsFunc(terms, func(t rules.Term) bool { return t.Word == rules.Any && !t.Not })
}

func (u *universe) trackGrade(terms rules.Terms, track string) float64 {
	if len(terms) == 0 || anyOf(terms) {
		return 1
	}
	best := 0.0
	for _, t := range terms {
		if track == "" {
			break
		}
		g := 0.0
		if t.Word == track {
			g = 1
		}
		for _, w := range u.vocabulary.Tracks {
			for _, as := range w.CountsAs {
				if w.ID == track && as.Track == t.Word && t.Word != track {
					g = as.Grade
				}
			}
		}
		if t.Not {
			g = 1 - g
		}
		best = max(best, g)
	}
	return best
}

// levelGrade grades a condition on a scale; notOff says that the value, though
// not said, is not the word off the scale.
func levelGrade(terms rules.Terms, s rules.Scale, off string, l rules.Level, notOff bool) float64 {
	if len(terms) == 0 || anyOf(terms) {
		return 1
	}
	best := 0.0
	for _, t := range terms {
		switch {
		case t.Range != nil:
			x, ok := l.Number, l.IsNumber
			if !ok {
				x, ok = s.Typical(l.Word)
			}
			if ok {
				best = max(best, t.Range.Grade(x))
			}
		case !l.IsNumber && l.Word == "":
			if notOff && t.Not && t.Word == off {
				best = 1
			}
		default:
			g := member(s, t.Word, l)
			if t.Not {
				g = 1 - g
			}
			best = max(best, g)
		}
	}
	return best
}

func member(s rules.Scale, word string, l rules.Level) float64 {
	if !l.IsNumber {
		if l.Word == word {
			return 1
		}
		return 0
	}
	for _, w := range s.Words {
		if w.Word == word {
			return w.Shape.Grade(l.Number)
		}
	}
	return 0
}

// meet returns a situation in which two rules hold fully together, stated with as
// little as will do. With alike, the two have to be about the same complaint:
// what one asks to be reported is what the other does. A complaint of push and of
// looseness at once is two wishes, and no fault of the rules that answer one each.
func (u *universe) meet(a, b *space, alike bool) (f rules.Facts, ok bool) {
	track, grip, tyres := together(a.track, b.track), together(a.grip, b.grip), together(a.tyres, b.tyres)
	if track < 0 || grip < 0 || tyres < 0 {
		return f, false
	}
	f = rules.Facts{Track: u.tracks[track], Grip: u.grips[grip].level, Wet: u.grips[grip].wet, Tyres: u.tyres[tyres]}
	for _, sa := range carriers(a, b) {
		for _, sb := range carriers(b, a) {
			ra, rb := reported(sa, a), reported(sb, b)
			if alike && (!subset(ra, rb) || !subset(rb, ra)) {
				continue
			}
			without := slices.Concat(a.rule.When.Without, b.rule.When.Without)
			if slices.ContainsFunc(without, func(w string) bool { return slices.Contains(ra, w) || slices.Contains(rb, w) }) {
				continue
			}
			readings := u.readings(a, b, sa, sb, without)
			if readings == nil && (sa != "" || a.phase&b.phase&1 == 0 || a.corner&b.corner&1 == 0 || a.severity&b.severity&1 == 0) {
				continue
			}
			f.Symptoms = readings
			for _, id := range slices.Concat(ra, rb) {
				if id != "" && !slices.ContainsFunc(f.Symptoms, func(s rules.Symptom) bool { return s.ID == id }) {
					f.Symptoms = append(f.Symptoms, rules.Symptom{ID: id})
				}
			}
			return f, true
		}
	}
	return f, false
}

// readings returns the readings that carry two rules, one if they share it; nil
// if there are none.
func (u *universe) readings(a, b *space, sa, sb string, without []string) []rules.Symptom {
	if sa != sb {
		return []rules.Symptom{reading(sa, a.phase, a.corner, a.severity), reading(sb, b.phase, b.corner, b.severity)}
	}
	phase, corner, severity := a.phase&b.phase, a.corner&b.corner, a.severity&b.severity
	if phase == 0 || corner == 0 || severity == 0 {
		return nil
	}
	if sa == "" {
		if phase&corner&severity&1 == 1 {
			return nil
		}
		i := slices.IndexFunc(u.vocabulary.Symptoms, func(w rules.SymptomWord) bool { return !slices.Contains(without, w.ID) })
		if i < 0 {
			return nil
		}
		sa = u.vocabulary.Symptoms[i].ID
	}
	return []rules.Symptom{reading(sa, phase, corner, severity)}
}

// reading returns a reading with the first word of each mask, "not said" before all.
func reading(id string, phase, corner, severity uint16) rules.Symptom {
	first := func(m uint16, all []string) string {
		if i := bits.TrailingZeros16(m); i > 0 {
			return all[i-1]
		}
		return ""
	}
	return rules.Symptom{ID: id, Phase: first(phase, rules.PhaseWords()), Corner: first(corner, rules.CornerWords()), Severity: first(severity, rules.SeverityWords())}
}

// carriers returns the symptoms that can carry a rule; those of the other, or
// "", for one that takes any.
func carriers(s, other *space) []string {
	switch {
	case len(s.rule.When.Symptom) > 0:
		return s.rule.When.Symptom
	case len(other.rule.When.Symptom) > 0:
		return other.rule.When.Symptom
	}
	return []string{""}
}

func reported(carrier string, s *space) []string {
	return append([]string{carrier}, s.rule.When.With...)
}

// together returns the first place at which both are 1, or −1.
func together(a, b []float64) int {
	for i := range a {
		if a[i] == 1 && b[i] == 1 {
			return i
		}
	}
	return -1
}

func subset(a, b []string) bool {
	return !slices.ContainsFunc(a, func(x string) bool { return !slices.Contains(b, x) })
}

// narrower reports whether a asks for all that b asks for and for something
// beside: a is then a special case of b, and meant to differ from it. What must
// not be reported makes no special case.
func narrower(a, b *space) bool { return within(a, b) && !within(b, a) }

// within reports whether a fully holding means b fully holding, but for what
// must not be reported. A rule for a pair of complaints is within those for
// either.
func within(a, b *space) bool {
	wa, wb := a.rule.When, b.rule.When
	reported := wa.With
	if len(wa.Symptom) == 1 {
		reported = slices.Concat(wa.Symptom, wa.With)
	}
	switch {
	case len(wb.Symptom) == 0 || len(wa.Symptom) > 0 && subset(wa.Symptom, wb.Symptom):
		if a.phase&^b.phase != 0 || a.corner&^b.corner != 0 || a.severity&^b.severity != 0 {
			return false
		}
	case b.phase&b.corner&b.severity&1 == 0 || !slices.ContainsFunc(wb.Symptom, func(s string) bool { return slices.Contains(wa.With, s) }):
		return false
	}
	return subset(wb.With, reported) && inside(a.track, b.track) && inside(a.grip, b.grip) && inside(a.tyres, b.tyres)
}

func inside(a, b []float64) bool {
	for i := range a {
		if a[i] == 1 && b[i] < 1 {
			return false
		}
	}
	return true
}
