package rules

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// bare returns verdicts without the lists of rules.
func bare(verdicts []Verdict) []Verdict {
	out := slices.Clone(verdicts)
	for i := range out {
		out[i].Fired, out[i].Contested = nil, nil
	}
	return out
}

// inc returns the normalised belief in an increase, whichever side wins.
func inc(v Verdict) float64 {
	if v.Direction < 0 {
		return v.Against
	}
	return v.For
}

// 1. The verdict is bit-identical for every order of the rules, of the readings,
// and of goroutines.
func TestPropertyPermutation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 0, 20, "r"), drawFacts(t)
		s := mustNew(t, list)
		want := mustEvaluate(t, s, f)
		shuffled := mustNew(t, rapid.Permutation(list).Draw(t, "order"))
		g := f
		g.Symptoms = rapid.Permutation(f.Symptoms).Draw(t, "readings")
		if diff := gocmp.Diff(want, mustEvaluate(t, shuffled, g)); diff != "" {
			t.Fatalf("another order gives another answer (-first +second):\n%s", diff)
		}
	})
}

func TestPropertyPermutationOfGoroutines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, f := mustNew(t, drawRules(t, 5, 20, "r")), drawFacts(t)
		c, err := s.Compile(f)
		if err != nil {
			t.Fatal(err)
		}
		var group sync.WaitGroup
		answers := make([][]Verdict, 4)
		for i := range answers {
			group.Go(func() {
				var buf Buffer
				s.Run(c, &buf)
				answers[i] = s.Run(c, &buf)
			})
		}
		group.Wait()
		want := bare(mustEvaluate(t, s, f).Verdicts)
		for i, got := range answers {
			if diff := gocmp.Diff(want, got); diff != "" {
				t.Fatalf("goroutine %d (-alone +together):\n%s", i, diff)
			}
		}
	})
}

// 2. Evidence of a union is the sum when no family is shared; with families it
// is pooled by the strongest first. Unions are associative.
func TestPropertyMerge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFacts(t)
		var parts [3][]Rule
		for i := range parts {
			parts[i] = drawRules(t, 0, 6, fmt.Sprint("p", i, "-"))
			for j := range parts[i] {
				if parts[i][j].Family != "" {
					parts[i][j].Family += fmt.Sprint("-", i)
				}
			}
		}
		all := mustEvaluate(t, mustNew(t, slices.Concat(parts[0], parts[1], parts[2])), f)
		for m := range all.Verdicts {
			var up, down int64
			for _, p := range parts {
				v := mustEvaluate(t, mustNew(t, p), f).Verdicts[m]
				up, down = up+v.EvidenceInc, down+v.EvidenceDec
			}
			if v := all.Verdicts[m]; v.EvidenceInc != up || v.EvidenceDec != down {
				t.Fatalf("%s: the union has %d and %d, the parts %d and %d", v.Move, v.EvidenceInc, v.EvidenceDec, up, down)
			}
		}
		again := mustNew(t, slices.Concat(parts[2], slices.Concat(parts[0], parts[1])))
		if diff := gocmp.Diff(all, mustEvaluate(t, again, f)); diff != "" {
			t.Fatalf("another grouping gives another answer:\n%s", diff)
		}
	})
}

func TestPropertyMergeOfFamilies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, f := mustNew(t, drawRules(t, 0, 20, "r")), drawFacts(t)
		accounts, err := s.Explain(f)
		if err != nil {
			t.Fatal(err)
		}
		type key struct {
			move, family string
			direction    int
		}
		strongest := map[key]int64{}
		sum := map[key]int64{}
		for _, a := range accounts {
			for _, sh := range a.Shares {
				k := key{sh.Move, a.Rule.Family, sh.Direction}
				if a.Rule.Family == "" {
					sum[k] += sh.Evidence
				} else {
					strongest[k] = max(strongest[k], sh.Evidence)
				}
			}
		}
		for k, e := range strongest {
			k.family = ""
			sum[k] += e
		}
		for _, v := range mustEvaluate(t, s, f).Verdicts {
			if up, down := sum[key{v.Move, "", 1}], sum[key{v.Move, "", -1}]; v.EvidenceInc != up || v.EvidenceDec != down {
				t.Fatalf("%s has %d and %d, pooling by hand %d and %d", v.Move, v.EvidenceInc, v.EvidenceDec, up, down)
			}
		}
	})
}

// 3. A rule that does not fire, for its conditions or for what was learned about
// it, changes nothing but the count of silent rules.
func TestPropertyIdentity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 1, 12, "r"), drawFacts(t)
		extra := drawRule(t, rapid.SampledFrom([]string{"a-first", "z-last"}).Draw(t, "id"))
		without := mustEvaluate(t, mustNew(t, list), f)
		both := mustNew(t, append(slices.Clone(list), extra))
		accounts, err := both.Explain(f)
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(accounts, func(a Account) bool { return a.Rule.ID == extra.ID })
		if accounts[i].Grade > 0 {
			both = both.WithLearned(map[string]float64{extra.ID: 0})
		}
		without.Silent++
		if diff := gocmp.Diff(without, mustEvaluate(t, both, f)); diff != "" {
			t.Fatalf("a rule that does not fire changes the answer:\n%s", diff)
		}
	})
}

// 4. Every number is within its bounds.
func TestPropertyBounds(t *testing.T) {
	check := func(t tester, v Verdict) {
		in := func(what string, x, low, high float64) {
			if !(x >= low && x < high) {
				t.Fatalf("%s: %s is %v, outside %v to %v", v.Move, what, x, low, high)
			}
		}
		in("belief in an increase", v.Inc, 0, 1)
		in("belief in a decrease", v.Dec, 0, 1)
		in("conflict", v.Conflict, 0, 1)
		in("the belief in holding", v.Hold, 0, 1)
		in("the size of net", math.Abs(v.Net), 0, 1)
		if math.Abs(v.Net) > max(v.Inc, v.Dec) {
			t.Fatalf("%s: net %v is more than both beliefs %v and %v", v.Move, v.Net, v.Inc, v.Dec)
		}
		if sum := v.For + v.Against + v.Undecided; !(math.Abs(sum-1) <= 1e-12) || v.For < 0 || v.Against < 0 || v.Undecided < 0 {
			t.Fatalf("%s: for %v, against %v and undecided %v add up to %v", v.Move, v.For, v.Against, v.Undecided, sum)
		}
		if v.Direction == 0 {
			if v.Amount != 0 || v.Least != 0 || v.Most != 0 || v.Status == Advice {
				t.Fatalf("%s: no direction, but %+v", v.Move, v)
			}
			return
		}
		d := float64(v.Direction)
		if !(d*v.Least > 0 && d*v.Least <= d*v.Amount && d*v.Amount <= d*v.Most) || d*v.Net < 0 || v.Status != Advice {
			t.Fatalf("%s: amount %v is not between %v and %v in direction %d, or net is %v", v.Move, v.Amount, v.Least, v.Most, v.Direction, v.Net)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		s, f := mustNew(t, drawRules(t, 0, 20, "r")), drawFacts(t)
		for _, v := range mustEvaluate(t, s, f).Verdicts {
			check(t, v)
			for _, firing := range v.Fired {
				if firing.Direction == v.Direction && v.Direction != 0 && firing.Counted {
					d := float64(v.Direction)
					if d*firing.Amount < d*v.Least || d*firing.Amount > d*v.Most {
						t.Fatalf("%s votes %v, outside %v to %v", firing.Rule.ID, firing.Amount, v.Least, v.Most)
					}
				}
			}
		}
	})
	// More evidence than a float64 can tell from certainty, on both sides.
	for _, n := range []int{1, 10, 500} {
		var many []float64
		for range n {
			many = append(many, 1, 1, -1)
		}
		check(t, pooled(t, many...))
		check(t, pooled(t, append(many, slices.Repeat([]float64{-1}, n)...)...))
	}
}

// 5. More support for a rule that votes for an increase never lowers the belief
// in it, net, or the normalised belief, and leaves the other side alone.
func TestPropertyMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 1, 12, "r"), drawFacts(t)
		more := slices.Clone(list)
		changed := rapid.IntRange(0, len(list)).Draw(t, "which")
		if changed == len(list) {
			more = append(more, drawRule(t, "new"))
		} else {
			more[changed].Confidence = float64(rapid.IntRange(int(math.Round(100*list[changed].Confidence)), 100).Draw(t, "to")) / 100
		}
		for _, vote := range more[changed].Votes {
			before, after := list, more
			if vote.Amount < 0 { // look at it in a mirror
				before, after = negated(list), negated(more)
			}
			m := slices.Index(testMoves, vote.Move)
			b := mustEvaluate(t, mustNew(t, before), f).Verdicts[m]
			a := mustEvaluate(t, mustNew(t, after), f).Verdicts[m]
			if a.EvidenceInc < b.EvidenceInc || a.Inc < b.Inc || a.Net < b.Net || inc(a) < inc(b)-1e-12 {
				t.Fatalf("%s: from %+v to %+v", vote.Move, b, a)
			}
			if a.EvidenceDec != b.EvidenceDec || a.Dec != b.Dec {
				t.Fatalf("%s: the other side went from %v to %v", vote.Move, b.Dec, a.Dec)
			}
			if a.Direction < b.Direction {
				t.Fatalf("%s: more support turned the verdict round", vote.Move)
			}
		}
	})
}

// negated returns the rules with every vote the other way.
func negated(list []Rule) []Rule {
	out := slices.Clone(list)
	for i := range out {
		out[i].Votes = slices.Clone(out[i].Votes)
		for j := range out[i].Votes {
			out[i].Votes[j].Amount *= -1
		}
	}
	return out
}

// 6. Negating every amount swaps the sides, negates net, and keeps the conflict.
func TestPropertyAntisymmetry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 0, 20, "r"), drawFacts(t)
		want := bare(mustEvaluate(t, mustNew(t, list), f).Verdicts)
		for i := range want {
			v := &want[i]
			v.Inc, v.Dec, v.EvidenceInc, v.EvidenceDec = v.Dec, v.Inc, v.EvidenceDec, v.EvidenceInc
			v.Net, v.Direction, v.Amount, v.Least, v.Most = -v.Net, -v.Direction, -v.Amount, -v.Least, -v.Most
		}
		if diff := gocmp.Diff(want, bare(mustEvaluate(t, mustNew(t, negated(list)), f).Verdicts)); diff != "" {
			t.Fatalf("negated rules (-want +got):\n%s", diff)
		}
	})
}

// 7. What cancels shows: net is exactly 0, the conflict is s², and the status is
// not that of no advice.
func TestPropertyCancellationIsVisible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRule(t, "pro")
		r.Votes, r.Leave = []Vote{{Move: "caster", Amount: 1}}, nil
		con := r
		con.ID, con.Votes = "con", []Vote{{Move: "caster", Amount: -3}}
		v := mustEvaluate(t, mustNew(t, []Rule{r, con}), drawFacts(t)).Verdicts[0]
		if len(v.Fired) == 0 {
			if v.Status != None || v.Undecided != 1 {
				t.Fatalf("nothing fired, but the verdict is %+v", v)
			}
			return
		}
		s := v.Fired[0].Support
		if v.Net != 0 || v.Status != Conflict || math.Abs(v.Conflict-s*s) > 2*billionth || !(v.Conflict > 0) || v.For != v.Against {
			t.Fatalf("two equal rules of support %v cancel to %+v", s, v)
		}
	})
}

// 8. A duplicate in the same family changes nothing; in two families it raises
// belief from s to 1−(1−s)².
func TestPropertyIdempotentInsideAFamily(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 1, 10, "r"), drawFacts(t)
		for i := range list {
			if list[i].Family == "" {
				list[i].Family = "own-" + list[i].ID
			}
		}
		double := slices.Clone(list)
		for _, r := range list {
			r.ID = "copy-of-" + r.ID
			double = append(double, r)
		}
		want := bare(mustEvaluate(t, mustNew(t, list), f).Verdicts)
		if diff := gocmp.Diff(want, bare(mustEvaluate(t, mustNew(t, double), f).Verdicts)); diff != "" {
			t.Fatalf("every rule twice (-once +twice):\n%s", diff)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		s := float64(rapid.IntRange(1, 99).Draw(t, "s")) / 100
		wantWithin := 1 - (1-s)*(1-s)
		if v := pooled(t, s, s); math.Abs(v.Inc-wantWithin) > 2*billionth {
			t.Fatalf("two rules of support %v give belief %v, want %v", s, v.Inc, wantWithin)
		}
	})
}

// 9. Shares of counted firings add up to the evidence exactly, and removing a
// rule takes away its share, less what it covered.
func TestPropertyAdditiveExplanation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 1, 12, "r"), drawFacts(t)
		gone := rapid.IntRange(0, len(list)-1).Draw(t, "gone")
		all := mustEvaluate(t, mustNew(t, list), f)
		rest := mustEvaluate(t, mustNew(t, slices.Delete(slices.Clone(list), gone, gone+1)), f)
		for m, v := range all.Verdicts {
			var up, down, share, covered int64
			direction := 0
			for _, firing := range v.Fired {
				switch {
				case !firing.Counted:
				case firing.Direction > 0:
					up += firing.Share
				case firing.Direction < 0:
					down += firing.Share
				}
				if firing.Rule.ID == list[gone].ID && firing.Counted {
					share, direction = firing.Share, firing.Direction
				}
				if firing.CoveredBy == list[gone].ID {
					covered = max(covered, firing.Share)
				}
			}
			if up != v.EvidenceInc || down != v.EvidenceDec {
				t.Fatalf("%s: shares add up to %d and %d, evidence is %d and %d", v.Move, up, down, v.EvidenceInc, v.EvidenceDec)
			}
			lostUp, lostDown := v.EvidenceInc-rest.Verdicts[m].EvidenceInc, v.EvidenceDec-rest.Verdicts[m].EvidenceDec
			wantUp, wantDown := int64(0), int64(0)
			if direction > 0 {
				wantUp = share - covered
			} else if direction < 0 {
				wantDown = share - covered
			}
			if lostUp != wantUp || lostDown != wantDown {
				t.Fatalf("%s: without the rule evidence falls by %d and %d, want %d and %d", v.Move, lostUp, lostDown, wantUp, wantDown)
			}
		}
	})
}

// 10. Net follows support with a slope of at most 1/(1−s); grades are Lipschitz
// with the reciprocal of their steepest edge; crossing a bound of a scale makes
// no jump.
func TestPropertyContinuity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 1, 10, "r"), drawFacts(t)
		i := rapid.IntRange(0, len(list)-1).Draw(t, "which")
		moved := slices.Clone(list)
		moved[i].Confidence = min(1, list[i].Confidence+rapid.Float64Range(0, 0.05).Draw(t, "step"))
		one, two := mustNew(t, list), mustNew(t, moved)
		before, err := one.Explain(f)
		if err != nil {
			t.Fatal(err)
		}
		after, err := two.Explain(f)
		if err != nil {
			t.Fatal(err)
		}
		j := slices.IndexFunc(before, func(a Account) bool { return a.Rule.ID == list[i].ID })
		s1, s2 := before[j].Support, after[j].Support
		b, a := mustEvaluate(t, one, f), mustEvaluate(t, two, f)
		for m := range b.Verdicts {
			if d := math.Abs(a.Verdicts[m].Net - b.Verdicts[m].Net); d > (s2-s1)/(1-s2)+2*billionth {
				t.Fatalf("support %v to %v moves net by %v", s1, s2, d)
			}
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		shape := *drawRange(t, 40, "corner")[0].Range
		steepest := min(shape[1]-shape[0], shape[3]-shape[2])
		x, y := rapid.Float64Range(-1, 45).Draw(t, "x"), rapid.Float64Range(-1, 45).Draw(t, "y")
		if d := math.Abs(shape.Grade(x) - shape.Grade(y)); d > math.Abs(x-y)/steepest+1e-12 {
			t.Fatalf("%v grades %v and %v as %v and %v", shape, x, y, shape.Grade(x), shape.Grade(y))
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 1, 10, "r"), drawFacts(t)
		const step = 1e-6
		s := mustNew(t, list)
		at := func(x float64) []Verdict {
			f.Grip, f.Wet = Level{Number: x, IsNumber: true}, Unknown
			return mustEvaluate(t, s, f).Verdicts
		}
		x := rapid.SampledFrom([]float64{3, 5, 6, 8, 1.25, 4.5}).Draw(t, "bound")
		low, high := at(x-step), at(x+step)
		for m := range low {
			// no edge is narrower than a quarter; −ln(1−s) is steepest at the cap
			most := float64(len(list))*(2*step/0.25)/(1-maxSupport) + float64(len(list))*billionth
			if d := math.Abs(high[m].Net - low[m].Net); d > most {
				t.Fatalf("at grip %v net of %s jumps by %v", x, low[m].Move, d)
			}
		}
	})
}

// 11. Every rule is either silent or fires, and one that fires is listed with
// every move it speaks of, on the losing side too.
func TestPropertyTotality(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 0, 20, "r"), drawFacts(t)
		s := mustNew(t, list)
		res := mustEvaluate(t, s, f)
		accounts, err := s.Explain(f)
		if err != nil {
			t.Fatal(err)
		}
		if len(accounts) != len(list) || res.Fired+res.Silent != len(list) {
			t.Fatalf("%d rules: %d accounts, %d fired, %d silent", len(list), len(accounts), res.Fired, res.Silent)
		}
		listed := map[string]int{}
		for _, v := range res.Verdicts {
			if !slices.IsSortedFunc(v.Fired, func(a, b Firing) int { return cmp.Compare(a.Rule.ID, b.Rule.ID) }) {
				t.Fatalf("%s: the rules are not in order", v.Move)
			}
			for _, firing := range v.Fired {
				listed[firing.Rule.ID]++
			}
		}
		fired := 0
		for _, a := range accounts {
			if a.Fired {
				fired++
			}
			if want := len(a.Shares); listed[a.Rule.ID] != want || a.Fired && want != len(a.Rule.Votes)+len(a.Rule.Leave) {
				t.Fatalf("%s speaks of %d moves and is listed with %d", a.Rule.ID, want, listed[a.Rule.ID])
			}
		}
		if fired != res.Fired {
			t.Fatalf("%d rules fired by their accounts, %d by the result", fired, res.Fired)
		}
	})
}

// 12. Net is the pairwise fold in any order: to 1e-12 of the supports as they are
// stored, and to a billionth for each rule of the supports themselves.
func TestPropertyFoldOracle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 0, 12, "r"), drawFacts(t)
		for _, v := range mustEvaluate(t, mustNew(t, list), f).Verdicts {
			fired := rapid.Permutation(v.Fired).Draw(t, "order")
			stored, exact, n := 0.0, 0.0, 0
			for _, firing := range fired {
				if firing.Counted {
					stored = Fold(stored, float64(firing.Direction)*-math.Expm1(-float64(firing.Share)/1e9))
					exact = Fold(exact, float64(firing.Direction)*firing.Support)
					n++
				}
			}
			if math.Abs(stored-v.Net) > 1e-12 || math.Abs(exact-v.Net) > float64(n)*billionth {
				t.Fatalf("%s: net is %v, the fold of stored supports %v, of exact ones %v", v.Move, v.Net, stored, exact)
			}
		}
	})
}

// 13. The grades of conditions obey De Morgan, a double negation is the grade
// itself wherever 1−x is exact, and outside its corners a grade is clamped.
func TestPropertyDeMorganAndClamping(t *testing.T) {
	gradeOf := rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(0, 1<<20).Draw(t, "grade")) / (1 << 20) })
	rapid.Check(t, func(t *rapid.T) {
		l := level{known: 0b111}
		l.words[0], l.words[1] = gradeOf.Draw(t, "a"), gradeOf.Draw(t, "b")
		either := (&levelGate{is: 0b11}).grade(&l)
		notA, notB := (&levelGate{not: 0b01}).grade(&l), (&levelGate{not: 0b10}).grade(&l)
		if 1-either != min(notA, notB) {
			t.Fatalf("not (a or b) is %v, (not a) and (not b) is %v", 1-either, min(notA, notB))
		}
		if notBoth := (&levelGate{not: 0b11}).grade(&l); notBoth != 1-min(l.words[0], l.words[1]) {
			t.Fatalf("(not a) or (not b) is %v, not (a and b) is %v", notBoth, 1-min(l.words[0], l.words[1]))
		}
		twice := level{known: 1}
		twice.words[0] = notA
		if got := (&levelGate{not: 1}).grade(&twice); got != l.words[0] {
			t.Fatalf("not not %v is %v", l.words[0], got)
		}
		tracks := []trackGrade{{0, l.words[0]}, {1, l.words[1]}}
		if got := (&trackGate{not: []int32{0, 1}}).grade(tracks); got != 1-min(l.words[0], l.words[1]) {
			t.Fatalf("not one track or not the other is %v", got)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		shape := *drawRange(t, 40, "corner")[0].Range
		x := rapid.Float64().Draw(t, "x")
		g := shape.Grade(x)
		switch {
		case (x <= shape[0] || x >= shape[3]) && g != 0, x >= shape[1] && x <= shape[2] && g != 1, !(g >= 0 && g <= 1):
			t.Fatalf("%v grades %v as %v", shape, x, g)
		}
	})
	// The same through whole rules: "low or high", "not low" and "not high".
	rapid.Check(t, func(t *rapid.T) {
		word := func(w string, not bool) Term { return Term{Word: w, Not: not} }
		list := []Rule{
			{ID: "either", When: When{Grip: Terms{word("low", false), word("high", false)}}},
			{ID: "not-low", When: When{Grip: Terms{word("low", true)}}},
			{ID: "not-high", When: When{Grip: Terms{word("high", true)}}},
		}
		for i := range list {
			list[i].Confidence, list[i].Votes = 1, []Vote{{Move: "toe", Amount: 1}}
		}
		x := float64(rapid.IntRange(0, 40).Draw(t, "grip")) / 4
		a, err := mustNew(t, list).Explain(Facts{Grip: Level{Number: x, IsNumber: true}})
		if err != nil {
			t.Fatal(err)
		}
		if 1-a[0].Grade != min(a[1].Grade, a[2].Grade) {
			t.Fatalf("grip %v: either %v, not high %v, not low %v", x, a[0].Grade, a[1].Grade, a[2].Grade)
		}
	})
}

// The index skips rules, never verdicts: it finds the same rules and answers the
// same bits as trying every rule.
func TestIndexEqualsScan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, f := mustNew(t, drawRules(t, 0, 25, "r")), drawFacts(t)
		c, err := s.Compile(f)
		if err != nil {
			t.Fatal(err)
		}
		var a, b Buffer
		indexed, scanned := s.run(c.situation, &a, true), s.scan(c.situation, &b, true)
		if diff := gocmp.Diff(scanned, indexed); diff != "" {
			t.Fatalf("verdicts (-scan +index):\n%s", diff)
		}
		for _, buf := range []*Buffer{&a, &b} {
			slices.SortFunc(buf.hits, func(x, y hit) int { return cmp.Compare(x.rule, y.rule) })
		}
		if !slices.Equal(a.hits, b.hits) {
			t.Fatalf("the index finds %v, the scan %v", a.hits, b.hits)
		}
	})
}

// An account tells the same as evaluation: conditions whose least grade is the
// rule's, the same rules fired, the same shares.
func TestExplainEqualsEvaluate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, f := mustNew(t, drawRules(t, 0, 20, "r")), drawFacts(t)
		res := mustEvaluate(t, s, f)
		accounts, err := s.Explain(f)
		if err != nil {
			t.Fatal(err)
		}
		byRule := map[string]Account{}
		for _, a := range accounts {
			byRule[a.Rule.ID] = a
			least, unmet := 1.0, 0
			for _, c := range a.Conditions {
				least = min(least, c.Grade)
				if c.Grade == 0 {
					unmet++
				}
				if c.Silent && c.Grade > 0 {
					t.Fatalf("%s: %+v is both unknown and met", a.Rule.ID, c)
				}
				if c.Wants == "" || c.Key == "" {
					t.Fatalf("%s: a condition says nothing: %+v", a.Rule.ID, c)
				}
			}
			if least != a.Grade || a.Near != (unmet == 1) || a.Fired != (a.Grade > 0) || (a.Limit == "") != (a.Grade == 1) {
				t.Fatalf("%s has grade %v and limit %q, its conditions %+v", a.Rule.ID, a.Grade, a.Limit, a.Conditions)
			}
		}
		for _, v := range res.Verdicts {
			for _, firing := range v.Fired {
				a := byRule[firing.Rule.ID]
				i := slices.IndexFunc(a.Shares, func(sh Share) bool { return sh.Move == v.Move })
				want := Share{v.Move, firing.Direction, firing.Amount, firing.Share, firing.Counted, firing.CoveredBy}
				if i < 0 || a.Shares[i] != want || a.Grade != firing.Grade || a.Support != firing.Support || a.Limit != firing.Limit {
					t.Fatalf("%s: the account %+v does not tell of the firing %+v", firing.Rule.ID, a, firing)
				}
			}
		}
	})
}

// Every flip is true when its facts are evaluated, and no reversal by another
// word is missed.
func TestFlipsAreTrueAndComplete(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, f := mustNew(t, drawRules(t, 1, 15, "r")), drawFacts(t)
		flips, err := s.Flips(f)
		if err != nil {
			t.Fatal(err)
		}
		before := mustEvaluate(t, s, f).Verdicts
		direction := func(verdicts []Verdict, move string) int {
			return verdicts[slices.Index(testMoves, move)].Direction
		}
		for _, fl := range flips {
			after := mustEvaluate(t, s, fl.Facts).Verdicts
			if len(fl.Changes) == 0 || fl.To == "" || fl.To == fl.Was {
				t.Fatalf("an empty flip: %+v", fl)
			}
			for _, ch := range fl.Changes {
				if ch.Was == ch.Now || direction(before, ch.Move) != ch.Was || direction(after, ch.Move) != ch.Now {
					t.Fatalf("%+v is not true of %s", fl, ch.Move)
				}
			}
		}
		missed := func(key, to string, g Facts) {
			res, err := s.Evaluate(g)
			if err != nil {
				return
			}
			for _, v := range res.Verdicts {
				now := v.Direction
				if now == 0 || now == direction(before, v.Move) {
					continue
				}
				if !slices.ContainsFunc(flips, func(fl Flip) bool {
					return fl.Key == key && fl.To == to && slices.ContainsFunc(fl.Changes, func(ch Change) bool { return ch.Move == v.Move && ch.Now == now })
				}) {
					t.Fatalf("with %s %s, %s would go %+d; the flips are %+v", key, to, v.Move, now, flips)
				}
			}
		}
		for _, track := range testTracks {
			g := f
			g.Track = track
			missed("track", track, g)
		}
		if !f.Grip.IsNumber {
			for _, w := range []string{"low", "medium", "high"} {
				g := f
				g.Grip, g.Wet = Level{Word: w}, Unknown
				missed("grip", w, g)
			}
		}
		if f.Tyres.IsNumber {
			for x := f.Tyres.Number + 1; x <= 130; x++ {
				g := f
				g.Tyres.Number = x
				res := mustEvaluate(t, s, g)
				for _, v := range res.Verdicts {
					if v.Direction != 0 && v.Direction != direction(before, v.Move) && !slices.ContainsFunc(flips, func(fl Flip) bool {
						return fl.Key == "tyres" && fl.Bound > 0 && fl.Facts.Tyres.Number <= x && slices.ContainsFunc(fl.Changes, func(ch Change) bool { return ch.Move == v.Move && ch.Now == v.Direction })
					}) {
						t.Fatalf("from %v laps %s would go %+d; the flips are %+v", x, v.Move, v.Direction, flips)
					}
				}
			}
		}
	})
}
