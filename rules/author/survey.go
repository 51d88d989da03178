package author

import (
	"slices"

	"kartwright/rules"
)

// A State is what a set makes of a situation.
type State uint8

// The states, the better ones first.
const (
	Answered  State = iota // a move is proposed, or, for a symptom with check_first, a check
	Contested              // rules speak both ways about a move, and say that the trade is split
	Conflict               // rules speak both ways about a move and nothing explains it
	Silent                 // nothing is proposed
)

// String returns "answered", "contested", "conflict" or "silent".
func (s State) String() string {
	return [...]string{"answered", "contested", "conflict", "silent"}[s]
}

// A Case is one complaint under one set of conditions.
type Case struct {
	Symptom, Phase     string // the phase as the vocabulary lists it, "any" included
	Track, Grip, Tyres string
	Facts              rules.Facts
	State              State
	Moves              []string // on which the rules speak both ways
	Near               []Near   // of a silent case: what would have to be otherwise for an answer
}

// Near is a rule that one condition keeps from firing.
type Near struct{ Rule, Key, Wants string }

// A Survey is every symptom, in each phase that the vocabulary lists for it,
// under every kind of track, word of grip and word of tyres.
type Survey struct {
	Symptoms            []rules.SymptomWord
	Tracks, Grip, Tyres []string
	Cases               []Case // in the order of the vocabulary
	Count               [4]int // of cases, by State
}

// TakeSurvey surveys the symptoms of a set that want lets pass.
func TakeSurvey(set *rules.Set, want func(rules.SymptomWord) bool) Survey {
	v := set.Vocabulary()
	s := Survey{Grip: scaleWords(v.Grip, rules.Wet), Tyres: scaleWords(v.Tyres, rules.Wets)}
	for _, t := range v.Tracks {
		s.Tracks = append(s.Tracks, t.ID)
	}
	u := universeOf(set)
	spaces := map[string]*space{}
	for i := range set.Rules() {
		r := &set.Rules()[i]
		spaces[r.ID] = u.spaceOf(r)
	}
	for _, w := range v.Symptoms {
		if !want(w) {
			continue
		}
		s.Symptoms = append(s.Symptoms, w)
		phases := w.Phases
		if len(phases) == 0 {
			phases = []string{rules.Any}
		}
		for _, phase := range phases {
			s.each(func(track, grip, tyres string) {
				c := Case{Symptom: w.ID, Phase: phase, Track: track, Grip: grip, Tyres: tyres, Facts: rules.Facts{
					Symptoms: []rules.Symptom{{ID: w.ID, Phase: phase}}, Track: track, Grip: rules.Level{Word: grip}, Tyres: rules.Level{Word: tyres},
				}}
				c.judge(set, spaces, w.CheckFirst)
				s.Count[c.State]++
				s.Cases = append(s.Cases, c)
			})
		}
	}
	return s
}

func (s *Survey) each(visit func(track, grip, tyres string)) {
	for _, track := range s.Tracks {
		for _, grip := range s.Grip {
			for _, tyres := range s.Tyres {
				visit(track, grip, tyres)
			}
		}
	}
}

// scaleWords returns the words of a scale and the word off it.
func scaleWords(s rules.Scale, off string) []string {
	var out []string
	for _, w := range s.Words {
		out = append(out, w.Word)
	}
	return append(out, off)
}

// Cell returns the worst state of a symptom over its phases, and the phases that
// are in it.
func (s *Survey) Cell(symptom, track, grip, tyres string) (worst State, phases []string) {
	for _, c := range s.Cases {
		if c.Symptom != symptom || c.Track != track || c.Grip != grip || c.Tyres != tyres {
			continue
		}
		if c.State > worst {
			worst, phases = c.State, nil
		}
		if c.State == worst {
			phases = append(phases, c.Phase)
		}
	}
	return worst, phases
}

func (c *Case) judge(set *rules.Set, spaces map[string]*space, checkFirst bool) {
	c.State = Silent
	res, err := set.Evaluate(c.Facts)
	if err != nil {
		return // a vocabulary without scales has no words of grip and tyres to ask for
	}
	if checkFirst && len(res.Checks) > 0 {
		c.State = Answered
	}
	open, explained := false, false
	for _, v := range res.Verdicts {
		if Stance(v) != 0 {
			c.State = Answered
		}
		switch {
		case v.Inc == 0 || v.Dec == 0:
		case split(v):
			explained = true
			c.Moves = append(c.Moves, v.Move)
		case contrary(v, spaces):
			open = true
			c.Moves = append(c.Moves, v.Move)
		}
	}
	switch {
	case open:
		c.State = Conflict
	case explained:
		c.State = Contested
	}
	if c.State == Silent {
		c.near(set)
	}
}

// Stance returns the direction that a verdict proposes: 0 if there is none, or if
// the belief that the move should be left alone is greater.
func Stance(v rules.Verdict) int {
	if net := max(v.Net, -v.Net); v.Hold > net {
		return 0
	}
	return v.Direction
}

// contrary reports whether rules that count speak both ways and are not special
// cases of each other.
func contrary(v rules.Verdict, spaces map[string]*space) bool {
	for _, a := range v.Fired {
		for _, b := range v.Fired {
			if a.Direction > 0 && b.Direction < 0 && a.Counted && b.Counted {
				if x, y := spaces[a.Rule.ID], spaces[b.Rule.ID]; !narrower(x, y) && !narrower(y, x) {
					return true
				}
			}
		}
	}
	return false
}

// near finds the rules that would answer but for one condition.
func (c *Case) near(set *rules.Set) {
	accounts, err := set.Explain(c.Facts)
	if err != nil {
		return
	}
	for _, a := range accounts {
		if !a.Near || len(a.Rule.Votes) == 0 || !slices.Contains(a.Rule.When.Symptom, c.Symptom) {
			continue
		}
		for _, cond := range a.Conditions {
			if cond.Grade == 0 {
				c.Near = append(c.Near, Near{a.Rule.ID, cond.Key, cond.Wants})
			}
		}
	}
}
