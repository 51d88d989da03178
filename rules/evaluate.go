package rules

import (
	"cmp"
	"slices"
)

// A Result is the answer of a set to facts.
type Result struct {
	Verdicts []Verdict // one for each move, in the order of the vocabulary
	Checks   []Check   // what to look at before any setting, best supported first
	Fired    int       // rules that fired
	Silent   int       // rules that did not
}

// A Check is something to look at before any setting is changed. Rules that ask
// for it in the same words share one.
type Check struct {
	Text    string
	Support float64  // the best support among its rules
	Rules   []string // IDs, in order
}

// A Firing is one rule's part in a verdict.
type Firing struct {
	Rule      *Rule
	Direction int     // +1 increase, −1 decrease, 0 leave it alone
	Amount    float64 // signed, in the move's unit; 0 with Direction 0
	Grade     float64 // μ, above 0
	Limit     string  // the condition with the least grade, by its key; "" when all are 1
	Support   float64 // s = min(0.99, μ·w·ℓ)
	// Its evidence, nano-nats. Shares of counted firings of one side add up to
	// the verdict's evidence exactly.
	Share     int64
	Counted   bool
	CoveredBy string // if not counted: the rule of the same family that stands for it
}

// A Dispute is a contested point on which rules fired.
type Dispute struct {
	Point  string
	Decide string   // the observation that decides it
	Inc    []string // IDs of the rules that fired for an increase, in order
	Dec    []string // for a decrease
	Leave  []string // for leaving the move alone
}

// Evaluate answers facts. The error says which facts are not in the vocabulary
// or contradict each other; it is not an error that no rule fires.
func (s *Set) Evaluate(f Facts) (Result, error) {
	c, err := s.Compile(f)
	if err != nil {
		return Result{}, err
	}
	var buf Buffer
	return s.result(c.situation, &buf, s.run(c.situation, &buf, true)), nil
}

func (s *Set) result(c *situation, buf *Buffer, verdicts []Verdict) Result {
	slices.SortFunc(buf.hits, func(a, b hit) int { return cmp.Compare(a.rule, b.rule) })
	res := Result{Verdicts: verdicts, Fired: len(buf.hits), Silent: len(s.rules) - len(buf.hits)}
	checks := map[string]int{}
	for _, h := range buf.hits {
		r := &s.rules[h.rule]
		limit := ""
		if h.grade < 1 {
			limit = limiting(s.conditions(h.rule, c))
		}
		for _, b := range s.ballots(s.gate(h.rule)) {
			f := Firing{Rule: r, Direction: b.side.direction(), Amount: b.amount, Grade: h.grade, Limit: limit,
				Support: h.support, Share: h.evidence, Counted: true}
			if b.slot >= 0 {
				if chosen := buf.slots[b.slot].rule; chosen != h.rule {
					f.Counted, f.CoveredBy = false, s.rules[chosen].ID
				}
			}
			v := &verdicts[b.move]
			v.Fired = append(v.Fired, f)
			if r.Contested != "" {
				v.dispute(r, b.side)
			}
		}
		for _, text := range r.Checks {
			i, known := checks[text]
			if !known {
				i = len(res.Checks)
				checks[text] = i
				res.Checks = append(res.Checks, Check{Text: text})
			}
			ch := &res.Checks[i]
			ch.Support = max(ch.Support, h.support)
			if n := len(ch.Rules); n == 0 || ch.Rules[n-1] != r.ID {
				ch.Rules = append(ch.Rules, r.ID)
			}
		}
	}
	slices.SortFunc(res.Checks, func(a, b Check) int {
		return cmp.Or(cmp.Compare(b.Support, a.Support), cmp.Compare(a.Text, b.Text))
	})
	return res
}

func (s side) direction() int { return [...]int{+1, -1, 0}[s] }

func (v *Verdict) dispute(r *Rule, sd side) {
	i := slices.IndexFunc(v.Contested, func(d Dispute) bool { return d.Point == r.Contested })
	if i < 0 {
		i = len(v.Contested)
		v.Contested = append(v.Contested, Dispute{Point: r.Contested, Decide: r.Decide})
	}
	d := &v.Contested[i]
	camp := []*[]string{&d.Inc, &d.Dec, &d.Leave}[sd]
	*camp = append(*camp, r.ID)
}
