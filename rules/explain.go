package rules

import (
	"slices"
	"strings"
)

// An Account says what one rule made of the facts.
type Account struct {
	Rule       *Rule
	Fired      bool
	Grade      float64 // μ, the least grade of its conditions
	Limit      string  // key of the condition with that grade; "" when all are 1
	Learned    float64 // ℓ
	Support    float64 // s = min(0.99, μ·w·ℓ)
	Conditions []Condition
	Shares     []Share // one for each vote and hold, if it fired
	Near       bool    // exactly one condition is not met at all
}

// A Condition is one condition of a rule, and what the facts say about it.
type Condition struct {
	Key    string  // as in the rule file: "symptom", "phase", "grip", …
	Wants  string  // "low or medium"
	Has    string  // "6/10"; "" when the facts do not say
	Grade  float64 // 0 when the facts do not say
	Silent bool    // the facts do not say: the rule needs it to be known
}

// A Share is what a rule that fired adds to one side of one move.
type Share struct {
	Move      string
	Direction int     // +1 increase, −1 decrease, 0 leave it alone
	Amount    float64 // signed, in the move's unit
	Evidence  int64   // nano-nats
	Counted   bool    // false: CoveredBy, of the same family, stands for it
	CoveredBy string
}

// Explain accounts for every rule, in order of ID. It tests each rule by itself
// and so also tells about those that evaluation never looked at.
func (s *Set) Explain(f Facts) ([]Account, error) {
	c, err := s.Compile(f)
	if err != nil {
		return nil, err
	}
	var buf Buffer
	s.scan(c.situation, &buf, true)
	accounts := make([]Account, len(s.rules))
	for i := range accounts {
		a := &accounts[i]
		*a = Account{Rule: &s.rules[i], Grade: s.gate(int32(i)).grade(c.situation), Learned: s.learned[i], Conditions: s.conditions(int32(i), c.situation)}
		a.Support = support(a.Grade, s.strength[s.gateAt[i]].weight)
		if a.Grade < 1 {
			a.Limit = limiting(a.Conditions)
		}
		unmet := 0
		for _, cond := range a.Conditions {
			if cond.Grade == 0 {
				unmet++
			}
		}
		a.Near = unmet == 1
	}
	for _, h := range buf.hits {
		a := &accounts[h.rule]
		a.Fired = true
		for _, b := range s.ballots(s.gate(h.rule)) {
			sh := Share{Move: s.vocabulary.Moves[b.move].ID, Direction: b.side.direction(), Amount: b.amount, Evidence: h.evidence, Counted: true}
			if b.slot >= 0 && buf.slots[b.slot].rule != h.rule {
				sh.Counted, sh.CoveredBy = false, s.rules[buf.slots[b.slot].rule].ID
			}
			a.Shares = append(a.Shares, sh)
		}
	}
	return accounts, nil
}

// limiting returns the key of the first condition with the least grade.
func limiting(conditions []Condition) string {
	least := Condition{Grade: 1}
	for _, c := range conditions {
		if c.Grade < least.Grade {
			least = c
		}
	}
	return least.Key
}

// conditions grades each condition of a rule by itself.
func (s *Set) conditions(rule int32, c *situation) []Condition {
	r, g, f := &s.rules[rule], s.gate(rule), &c.facts
	var out []Condition
	if g.needsReading {
		out = append(out, s.readingConditions(r, g, c)...)
	}
	for _, id := range r.When.With {
		cond := Condition{Key: "with", Wants: id, Grade: reported(c, s.symptoms[id])}
		cond.Has, cond.Silent = s.hasSymptom(f, id)
		out = append(out, cond)
	}
	for _, id := range r.When.Without {
		cond := Condition{Key: "without", Wants: "no " + id}
		cond.Has, _ = s.hasSymptom(f, id)
		if reported(c, s.symptoms[id]) == 0 {
			cond.Grade = 1
		}
		out = append(out, cond)
	}
	if g.track != anyOf {
		cond := Condition{Key: "track", Wants: r.When.Track.String(), Has: f.Track, Grade: gradeOf(c.tracks, g.track), Silent: f.Track == ""}
		if g.track == oneOf {
			cond.Grade = g.lists.track.grade(c.tracks)
		}
		out = append(out, cond)
	}
	scale := func(key string, terms Terms, g *levelGate, l *level, sc Scale, value Level) {
		if !g.asked {
			return
		}
		cond := Condition{Key: key, Wants: terms.String(), Has: sc.Format(value), Grade: g.grade(l)}
		cond.Silent = !value.stated() && cond.Grade == 0
		if cond.Silent && l.known != 0 && (g.is|g.not)&^l.known == 0 && len(g.ranges) == 0 {
			cond.Silent, cond.Has = false, "not "+Wet // a dry track is all it takes to say no
		}
		out = append(out, cond)
	}
	scale("grip", r.When.Grip, &g.grip, &c.grip, s.vocabulary.Grip, f.Grip)
	scale("tyres", r.When.Tyres, &g.tyres, &c.tyres, s.vocabulary.Tyres, f.Tyres)
	if r.When.Wet != Unknown {
		cond := Condition{Key: "wet", Wants: r.When.Wet.String(), Silent: f.Wet == Unknown}
		if f.Wet != Unknown {
			cond.Has = f.Wet.String()
		}
		if f.Wet == r.When.Wet {
			cond.Grade = 1
		}
		out = append(out, cond)
	}
	return out
}

// String returns "unknown", "no" or "yes".
func (t Tri) String() string {
	if t > Yes {
		return "unknown"
	}
	return [...]string{"unknown", "no", "yes"}[t]
}

// hasSymptom returns how a symptom is reported; silent if it is not mentioned.
func (s *Set) hasSymptom(f *Facts, id string) (has string, silent bool) {
	var there []string
	for _, r := range f.Symptoms {
		if r.ID == id {
			there = append(there, r.String())
		}
	}
	return strings.Join(there, ", "), len(there) == 0
}

// readingConditions grades the conditions on symptom, phase, corner and severity
// by the reading that meets most of them: they have to be met by one reading.
func (s *Set) readingConditions(r *Rule, g *gate, c *situation) []Condition {
	var best []Condition
	bestMet, bestGrade := -1, 0.0
	for i := range c.readings {
		rd := &c.readings[i]
		if !g.names(rd.symptom) {
			continue
		}
		conds, met := s.judge(r, g, rd, c.facts.Symptoms[rd.source]), 0
		grade := 1.0
		for _, cond := range conds {
			if cond.Grade > 0 {
				met++
			}
			grade = min(grade, cond.Grade)
		}
		if met > bestMet || met == bestMet && grade > bestGrade {
			best, bestMet, bestGrade = conds, met, grade
		}
	}
	if best != nil {
		return best
	}
	best = s.judge(r, g, nil, Symptom{})
	if len(r.When.Symptom) > 0 {
		var has []string
		silent := true
		for _, id := range r.When.Symptom {
			if text, unsaid := s.hasSymptom(&c.facts, id); !unsaid {
				has, silent = append(has, text), false
			}
		}
		best[0].Has, best[0].Silent = strings.Join(has, ", "), silent
	}
	return best
}

// judge grades what a rule asks of one reading; without a reading nothing is met.
func (s *Set) judge(r *Rule, g *gate, rd *reading, symptom Symptom) []Condition {
	var out []Condition
	carry := 0.0
	if rd != nil {
		carry = rd.grade
	}
	if len(r.When.Symptom) > 0 {
		has := ""
		if rd != nil {
			has = symptom.String()
		}
		out = append(out, Condition{Key: "symptom", Wants: join(r.When.Symptom), Has: has, Grade: carry, Silent: rd == nil})
	}
	fixed := func(key string, terms Terms, mask uint8, bit func(*reading) uint8, has string) {
		if mask&1 != 0 {
			return
		}
		cond := Condition{Key: key, Wants: terms.String(), Has: said(has), Silent: said(has) == ""}
		if rd != nil && mask>>bit(rd)&1 == 1 {
			cond.Grade = 1
			if len(r.When.Symptom) == 0 {
				cond.Grade = carry // there is no condition on the symptom to carry its grade
			}
		}
		out = append(out, cond)
	}
	fixed("phase", r.When.Phase, g.phases, func(r *reading) uint8 { return r.phase }, symptom.Phase)
	fixed("corner", r.When.Corner, g.corners, func(r *reading) uint8 { return r.corner }, symptom.Corner)
	fixed("severity", r.When.Severity, g.severities, func(r *reading) uint8 { return r.severity }, symptom.Severity)
	return out
}

// A Flip is another value of one condition under which a verdict would change.
type Flip struct {
	Key     string // "track", "grip", "tyres", "wet", "phase", "corner", "severity" or "symptom"
	Symptom string // the reading meant, in the form of ParseSymptom; "" for conditions of the track
	Was     string // the present value; "" when it was not stated
	To      string // the other value, in words: "high", "7/10", "yes", "over_lift"
	Bound   int    // for a number: +1 from To upward, −1 from To downward; 0 for a word
	Facts   Facts  // the facts with that value, for which Changes hold
	Changes []Change
}

// A Change is a move whose verdict turns round or comes into being.
type Change struct {
	Move string
	Was  int // direction before: +1, −1 or 0
	Now  int // direction after: +1 or −1
}

// Flips returns, for each condition that rules ask about, the other values that
// turn a verdict round or create advice where there was none. Numbers are tried
// in hundredths of a scale that ends and in single units of one that does not;
// of those that bring about the same change, the nearest is returned. Adding a
// symptom counts only where a rule asks for it beside those reported.
func (s *Set) Flips(f Facts) ([]Flip, error) {
	c, err := s.Compile(f)
	if err != nil {
		return nil, err
	}
	var buf Buffer
	before := directions(s.run(c.situation, &buf, false))
	f = c.facts
	x := &flipper{set: s, before: before}

	for i, r := range f.Symptoms {
		if r.Absent {
			continue
		}
		with := func(change func(*Symptom)) Facts {
			g := f
			g.Symptoms = slices.Clone(f.Symptoms)
			change(&g.Symptoms[i])
			return g
		}
		for _, p := range PhaseWords()[:phaseCells-1] {
			x.word(Flip{Key: "phase", Symptom: r.String(), Was: said(r.Phase), To: p}, with(func(s *Symptom) { s.Phase = p }))
		}
		for _, w := range CornerWords()[:2] {
			x.word(Flip{Key: "corner", Symptom: r.String(), Was: said(r.Corner), To: w}, with(func(s *Symptom) { s.Corner = w }))
		}
		for _, w := range SeverityWords() {
			x.word(Flip{Key: "severity", Symptom: r.String(), Was: r.Severity, To: w}, with(func(s *Symptom) { s.Severity = w }))
		}
	}
	for _, t := range s.vocabulary.Tracks {
		g := f
		g.Track = t.ID
		x.word(Flip{Key: "track", Was: f.Track, To: t.ID}, g)
	}
	x.scale("grip", s.vocabulary.Grip, f.Grip, Wet, func(l Level) Facts {
		g := f
		g.Grip, g.Wet = l, Unknown
		return g
	})
	x.scale("tyres", s.vocabulary.Tyres, f.Tyres, Wets, func(l Level) Facts {
		g := f
		g.Tyres = l
		return g
	})
	if !f.Grip.stated() {
		// with a stated grip, wet follows from it and was tried with it
		for _, w := range []Tri{No, Yes} {
			g := f
			g.Wet = w
			was := ""
			if f.Wet != Unknown {
				was = f.Wet.String()
			}
			x.word(Flip{Key: "wet", Was: was, To: w.String()}, g)
		}
	}
	if len(f.Symptoms) > 0 {
		x.companions(f)
	}
	return x.flips, nil
}

type flipper struct {
	set    *Set
	before []int
	buf    Buffer
	flips  []Flip
}

func directions(verdicts []Verdict) []int {
	out := make([]int, len(verdicts))
	for i, v := range verdicts {
		out[i] = v.Direction
	}
	return out
}

// changes returns what other facts change; nil for facts that cannot be.
func (x *flipper) changes(f Facts) []Change {
	c, err := x.set.Compile(f)
	if err != nil {
		return nil
	}
	var out []Change
	for i, v := range x.set.run(c.situation, &x.buf, true) {
		if v.Direction != 0 && v.Direction != x.before[i] {
			out = append(out, Change{Move: v.Move, Was: x.before[i], Now: v.Direction})
		}
	}
	return out
}

func (x *flipper) add(fl Flip, f Facts, changes []Change) {
	if len(changes) > 0 {
		fl.Facts, fl.Changes = f, changes
		x.flips = append(x.flips, fl)
	}
}

func (x *flipper) word(fl Flip, f Facts) {
	if fl.Was != fl.To {
		x.add(fl, f, x.changes(f))
	}
}

// scale tries the words of a scale, or, for a value given as a number, the other
// numbers in both ways and the word off the scale.
func (x *flipper) scale(key string, s Scale, value Level, offScale string, with func(Level) Facts) {
	fl := Flip{Key: key, Was: s.Format(value)}
	words := []string{}
	if !value.IsNumber {
		for _, w := range s.Words {
			words = append(words, w.Word)
		}
	}
	if key != "grip" || value.stated() { // a grip that is not stated is left to "wet"
		words = append(words, offScale)
	}
	for _, w := range words {
		fl.To = w
		x.word(fl, with(Level{Word: w}))
	}
	if !value.IsNumber {
		return
	}
	step, end := 1.0, s.Of
	if s.Of > 0 {
		step = s.Of / 100
	} else {
		for _, w := range s.Words {
			for _, corner := range w.Shape {
				if corner < endless {
					end = max(end, corner)
				}
			}
		}
		end = max(end, value.Number) + step
	}
	for _, fl.Bound = range []int{-1, +1} {
		var seen []Change
		for n := 1; ; n++ {
			to := snap(value.Number, step, fl.Bound*n)
			if to < 0 || to > end {
				break
			}
			l := Level{Number: to, IsNumber: true}
			fl.To = s.Format(l)
			f := with(l)
			var fresh []Change
			for _, ch := range x.changes(f) {
				if !slices.Contains(seen, ch) {
					fresh = append(fresh, ch)
				}
			}
			seen = append(seen, fresh...)
			x.add(fl, f, fresh)
		}
	}
}

// snap returns the n-th multiple of step above (n > 0) or below (n < 0) x.
func snap(x, step float64, n int) float64 {
	per := 1 / step
	k := x * per
	base := float64(int64(k))
	if n < 0 && base < k {
		n++
	}
	return (base + float64(n)) / per
}

// companions tries each symptom that a rule asks for beside another.
func (x *flipper) companions(f Facts) {
	s := x.set
	asked := make([]bool, len(s.symptoms))
	for i := range s.rules {
		for _, list := range [][]string{s.rules[i].When.With, s.rules[i].When.Without} {
			for _, id := range list {
				asked[s.symptoms[id]] = true
			}
		}
	}
	for id, w := range s.vocabulary.Symptoms {
		if !asked[id] || slices.ContainsFunc(f.Symptoms, func(r Symptom) bool { return r.ID == w.ID && !r.Absent }) {
			continue
		}
		g := f
		g.Symptoms = append(slices.Clone(f.Symptoms), Symptom{ID: w.ID})
		fl := Flip{Key: "symptom", Symptom: w.ID, To: w.ID}
		if i := slices.IndexFunc(f.Symptoms, func(r Symptom) bool { return r.ID == w.ID }); i >= 0 {
			fl.Was = f.Symptoms[i].String()
			g.Symptoms = slices.DeleteFunc(g.Symptoms, func(r Symptom) bool { return r.ID == w.ID && r.Absent })
		}
		changes := slices.DeleteFunc(x.changes(g), func(ch Change) bool {
			return ch.Was == 0 && !x.companionVotes(w.ID, ch)
		})
		x.add(fl, g, changes)
	}
}

// companionVotes reports whether, in the evaluation just made, a rule that asks
// for a companion voted for a change.
func (x *flipper) companionVotes(symptom string, ch Change) bool {
	s := x.set
	return slices.ContainsFunc(x.buf.hits, func(h hit) bool {
		return slices.Contains(s.rules[h.rule].When.With, symptom) &&
			slices.ContainsFunc(s.rules[h.rule].Votes, func(v Vote) bool { return v.Move == ch.Move && v.Amount*float64(ch.Now) > 0 })
	})
}
