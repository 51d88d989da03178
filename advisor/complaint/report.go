package complaint

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

func phaseOf(p phases) string {
	for i, name := range phaseNames {
		if p == 1<<i {
			return name
		}
	}
	return "any"
}

// readings turns the mentions into readings, one for each phase, and joins those
// that speak of the same thing.
func (r *reader) readings() {
	slices.SortStableFunc(r.mentions, func(a, b mention) int { return cmp.Compare(a.at, b.at) })
	var out []reading
	for _, m := range r.mentions {
		if m.negated {
			m.severity = normal
		}
		parts := []phases{0}
		if m.phase != 0 {
			parts = parts[:0]
			for i := range phaseNames {
				if p := phases(1 << i); m.phase&p != 0 {
					parts = append(parts, p)
				}
			}
		}
		if m.phase == straight {
			m.corner = anyCorner // "the faster I go"
		}
		for _, p := range parts {
			out = merge(out, reading{m.symptom, p, m.corner, m.severity, m.negated, m.side, m.from, m.to})
		}
	}
	// The same symptom and phase both there and not: what is there comes last.
	for i := range out {
		for j := i + 1; j < len(out); j++ {
			if a, b := out[i], out[j]; a.symptom == b.symptom && a.phase == b.phase && !a.negated && b.negated {
				out = append(append(append(out[:i:i], out[i+1:j+1]...), a), out[j+1:]...)
			}
		}
	}
	for _, g := range out {
		x := Reading{Symptom: symptomNames[g.symptom], Phase: phaseOf(g.phase), Severity: severityNames[g.severity],
			Corner: cornerNames[g.corner], Negated: g.negated, Side: sideNames[g.side], Words: r.text[g.from:g.to]}
		if g.symptom.balance() {
			x.Balance = x.Symptom
		}
		r.report.Readings = append(r.report.Readings, x)
		if g.symptom == asymmetric && !g.negated || g.side != 0 {
			r.report.Note = "compare the left and right side of the kart before any set-up change"
		}
	}
}

type reading struct {
	symptom  symptom
	phase    phases
	corner   corner
	severity severity
	negated  bool
	side     side
	from, to int
}

// merge adds a reading to those before it. The same symptom said twice is one
// reading; said first to be there and then not, it is not there any more.
func merge(out []reading, n reading) []reading {
	for i := range out {
		o := &out[i]
		if o.symptom != n.symptom || o.phase != 0 && n.phase != 0 && o.phase != n.phase ||
			o.corner != 0 && n.corner != 0 && o.corner != n.corner || o.side != 0 && n.side != 0 && o.side != n.side {
			continue
		}
		same := o.phase == n.phase && o.corner == n.corner && o.side == n.side
		switch {
		case o.negated == n.negated:
			o.severity = worse(o.severity, n.severity)
		case n.negated && (n.phase == 0 && n.corner == 0 && n.side == 0 || same):
			o.negated, o.severity = true, normal
			return out
		case same:
			o.negated, o.severity = n.negated, n.severity
		default:
			continue
		}
		o.phase, o.corner, o.side = o.phase|n.phase, max(o.corner, n.corner), max(o.side, n.side)
		return out
	}
	return append(out, n)
}

// worse joins two severities of one symptom: what was said counts more than what
// was not, and strong more than slight.
func worse(a, b severity) severity {
	if a == unsaid || a == normal {
		return max(b, a)
	}
	if b == unsaid || b == normal {
		return a
	}
	return max(a, b)
}

// conditions reads track, grip and tyres. What is said last counts.
func (r *reader) conditions() {
	c := &r.report.Conditions
	set := func(to *string, v string, n int) {
		*to = v
		r.took[n] = true
	}
	dry, wetNow := false, false // it is, at one time that is spoken of
	for n := range r.hits {
		h := &r.hits[n]
		if h.track == "" && h.grip == "" && h.tyres == "" || r.denied(n) {
			continue
		}
		value := 0.0
		for i := h.from; i < h.to; i++ {
			if r.t[i].isNumber && h.own>>(i-h.from)&1 == 1 && value == 0 {
				value = r.t[i].number
				if r.t[i].isRatio {
					value *= 10
				}
			}
		}
		if h.track != "" {
			set(&c.Track, h.track, n)
		}
		switch h.grip {
		case "":
		case "dry":
			dry = true
			r.took[n] = true
		case "tenths":
			c.GripTenths = value
			set(&c.Grip, gripWord(value), n)
		default:
			set(&c.Grip, h.grip, n)
			wetNow = h.grip == "wet" && r.says(r.clauseAt(h.from), roleNow)
		}
		switch h.tyres {
		case "":
		case "laps", "sessions", "days":
			if h.tyres == "laps" {
				c.TyreLaps = value
			}
			if c.Tyres != "wets" {
				set(&c.Tyres, tyreWord(h.tyres, value), n)
			}
		default:
			if c.Tyres != "wets" {
				set(&c.Tyres, h.tyres, n)
			}
		}
	}
	if dry && c.Grip == "wet" && !wetNow {
		c.Grip = "" // the wet of another time
	}
}

// denied reports whether a negator stands right before a hit: "no rain".
func (r *reader) denied(n int) bool {
	for o := range r.hits {
		if h := &r.hits[o]; h.role == roleNot && h.to <= r.hits[n].from && r.words(h.to, r.hits[n].from) == 0 &&
			r.clauseAt(h.from) == r.clauseAt(r.hits[n].from) {
			return true
		}
	}
	return false
}

// gripWord says a grip of 0 to 10 as the word it is nearest to; the bounds are
// the middles of the usual scale's edges, 3 to 5 and 6 to 8.
func gripWord(tenths float64) string {
	switch {
	case tenths < 4:
		return "low"
	case tenths <= 7:
		return "medium"
	}
	return "high"
}

// tyreWord says an age as a word. New is at most one session or 20 laps, used at
// most four sessions or 80 laps; a day is taken to be more than four sessions
// (from memory).
func tyreWord(unit string, n float64) string {
	newest, usedUp := 20.0, 80.0
	switch unit {
	case "sessions":
		newest, usedUp = 1, 4
	case "days":
		newest, usedUp = 0, 0.5
	}
	switch {
	case n <= newest:
		return "new"
	case n <= usedUp:
		return "used"
	}
	return "worn"
}

// unused lists the stretches of text that led to nothing.
func (r *reader) unused() {
	used := make([]bool, len(r.t))
	for n := range r.hits {
		h := &r.hits[n]
		if !r.took[n] && !h.lists() && h.role != roleNow && h.role != roleMainly && h.role != roleOnly && h.role != roleAnd {
			continue
		}
		for i := h.from; i < h.to; i++ {
			if h.own>>(i-h.from)&1 == 1 {
				used[i] = true
			}
		}
	}
	var run [2]int // first and last content token
	open := false
	flush := func() {
		if open {
			r.report.Unused = append(r.report.Unused, strings.TrimSpace(r.text[r.t[run[0]].from:r.t[run[1]].to]))
		}
		open = false
	}
	for i := range r.t {
		switch t := &r.t[i]; {
		case t.mark != 0 || used[i]:
			flush()
		case r.l.is(t.word, empty):
		default:
			if !open {
				run[0], open = i, true
			}
			run[1] = i
		}
	}
	flush()
}

// fine finds out whether anything is said to be well, or to have been put right.
func (r *reader) fine() {
	for c := range r.clauses {
		r.report.Fine = r.report.Fine || r.clauses[c].fine || r.says(c, roleCure)
	}
}

// Nothing reports whether nothing at all was understood: nothing that is wrong,
// nothing that is well, no conditions and nothing to ask about.
func (r Report) Nothing() bool {
	return len(r.Readings) == 0 && len(r.Unsure) == 0 && r.Conditions == Conditions{} && !r.Fine
}

// Say returns what was understood as sentences for a person: one for each
// reading, then the conditions, the questions, the note and what was not used.
func (r Report) Say() []string {
	var out []string
	for _, x := range r.Readings {
		out = append(out, "understood: "+x.say())
	}
	var c []string
	for _, p := range [][2]string{{"track", r.Conditions.Track}, {"grip", r.Conditions.Grip}, {"tyres", r.Conditions.Tyres}} {
		if p[1] != "" {
			c = append(c, p[0]+" "+p[1])
		}
	}
	if len(c) > 0 {
		out = append(out, "conditions: "+strings.Join(c, ", "))
	}
	for _, q := range r.Unsure {
		out = append(out, fmt.Sprintf("not sure: %q: %s (%s)", q.Words, q.Question, strings.Join(q.Candidates, " or ")))
	}
	if r.Note != "" {
		out = append(out, "first: "+r.Note)
	}
	if len(r.Unused) > 0 {
		quoted := make([]string, len(r.Unused))
		for i, u := range r.Unused {
			quoted[i] = "'" + u + "'"
		}
		out = append(out, "not used: "+strings.Join(quoted, ", "))
	}
	switch {
	case r.Nothing():
		out = append([]string{"nothing understood; say it in other words"}, out...)
	case len(r.Readings)+len(r.Unsure) == 0:
		out = append([]string{"understood: no complaint"}, out...)
	}
	return out
}

var phaseSaid = map[string]string{"entry": " on entry", "mid": " in the middle", "exit": " on exit", "straight": " on the straight", "braking": " under braking"}

func (x Reading) say() string {
	s := symptomTitles[slices.Index(symptomNames, x.Symptom)]
	if x.Symptom != "slow_straight" {
		s += phaseSaid[x.Phase]
	}
	if x.Corner != "any" {
		s += ", " + x.Corner + " corners"
	}
	if x.Side != "" {
		s += ", " + x.Side + "-hand turns"
	}
	if x.Negated {
		return s + ": not there, or no longer"
	}
	return s + " (" + x.Severity + ")"
}
