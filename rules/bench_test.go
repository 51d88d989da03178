package rules

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/vm"
)

// field describes a random rule set: n rules, each asking for one of the
// symptoms, one of the tracks, a range of grip and one of laps.
type field struct {
	n, symptoms, tracks int
	wild                int // one rule in so many asks for any symptom and track; 0: none
	same                bool
}

// fixed is the vocabulary that does not grow with the rules: about one rule in
// 200 passes the equality conditions.
func fixed(n int) field { return field{n: n, symptoms: 20, tracks: 10} }

// build makes a set with a fixed seed.
func (f field) build(t tester) *Set {
	rng := rand.New(rand.NewPCG(42, uint64(f.n)))
	v := Vocabulary{
		Moves: []Move{{ID: "caster"}, {ID: "camber"}, {ID: "toe"}, {ID: "width"}, {ID: "height"}},
		Grip:  Scale{Of: 10, Words: []ScaleWord{{"low", Trapezoid{0, 0, 3, 5}}, {"medium", Trapezoid{3, 5, 6, 8}}, {"high", Trapezoid{6, 8, 10, 10}}}},
		Tyres: Scale{Unit: "laps", Words: []ScaleWord{{"new", Trapezoid{0, 0, 20, 30}}, {"used", Trapezoid{20, 30, 70, 90}}, {"worn", Trapezoid{70, 90, 1e9, 1e9}}}},
	}
	for i := range f.symptoms {
		v.Symptoms = append(v.Symptoms, SymptomWord{ID: fmt.Sprint("s", i)})
	}
	for i := range f.tracks {
		v.Tracks = append(v.Tracks, Track{ID: fmt.Sprint("t", i)})
	}
	list := make([]Rule, f.n)
	for i := range list {
		grip, laps := rng.Float64()*7, rng.Float64()*60
		amount := float64(rng.IntN(8)-4) / 4
		if amount == 0 {
			amount = 1
		}
		r := Rule{
			ID: fmt.Sprintf("r%06d", i), Confidence: 0.3 + 0.6*rng.Float64(),
			When: When{
				Symptom: []string{v.Symptoms[rng.IntN(f.symptoms)].ID},
				Track:   word(v.Tracks[rng.IntN(f.tracks)].ID),
				Grip:    Terms{{Range: &Trapezoid{grip, grip + 0.5, grip + 4, grip + 5}}},
				Tyres:   Terms{{Range: &Trapezoid{laps, laps + 5, laps + 50, laps + 60}}},
			},
			Votes: []Vote{{Move: v.Moves[rng.IntN(len(v.Moves))].ID, Amount: amount}},
		}
		if i%3 == 0 {
			r.Family = fmt.Sprint("f", rng.IntN(20))
		}
		switch {
		case f.same:
			r.When = When{Symptom: []string{"s0"}, Track: word("t0")}
		case f.wild > 0 && i%f.wild == 0:
			r.When.Symptom, r.When.Track = nil, nil
		}
		list[i] = r
	}
	s, err := New(v, list)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func benchFacts(rng *rand.Rand, f field) Facts {
	return Facts{
		Symptoms: []Symptom{{ID: fmt.Sprint("s", rng.IntN(f.symptoms)), Phase: "entry"}},
		Track:    fmt.Sprint("t", rng.IntN(f.tracks)),
		Grip:     numberLevel(float64(rng.IntN(100)) / 10),
		Tyres:    numberLevel(float64(rng.IntN(100))),
	}
}

// typical are facts in the middle of everything.
func typical() Facts {
	return Facts{Symptoms: []Symptom{{ID: "s3", Phase: "entry"}}, Track: "t4", Grip: numberLevel(5), Tyres: numberLevel(40)}
}

func compileFacts(t tester, s *Set, f Facts) Compiled {
	c, err := s.Compile(f)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// fastest returns the time of one call of f in the fastest of 200 batches. What
// else the machine does only ever adds to a time, and seldom to every batch.
func fastest(batch int, f func()) time.Duration {
	best := time.Duration(1<<63 - 1)
	for range 200 {
		start := time.Now()
		for range batch {
			f()
		}
		best = min(best, time.Since(start)/time.Duration(batch))
	}
	return best
}

// within fails a benchmark if f takes longer than it may.
func within(b *testing.B, limit time.Duration, f func()) {
	got := fastest(int(max(1, 50*time.Microsecond/limit)), f)
	b.ReportMetric(float64(got), "fastest-ns")
	if got > limit {
		b.Errorf("one evaluation takes %v, the limit is %v", got, limit)
	}
}

func BenchmarkRun(b *testing.B) {
	for _, bb := range []struct {
		name  string
		f     field
		facts Facts
		limit time.Duration
	}{
		{"few/10", fixed(10), typical(), 0},
		{"few/1000", fixed(1000), typical(), time.Microsecond},
		{"few/100000", fixed(100_000), typical(), 50 * time.Microsecond},
		{"none/1000", fixed(1000), Facts{}, time.Microsecond},
		{"none/100000", fixed(100_000), Facts{}, 50 * time.Microsecond},
		{"all/10", field{n: 10, symptoms: 20, tracks: 10, same: true}, Facts{Symptoms: []Symptom{{ID: "s0"}}, Track: "t0"}, 0},
		{"all/1000", field{n: 1000, symptoms: 20, tracks: 10, same: true}, Facts{Symptoms: []Symptom{{ID: "s0"}}, Track: "t0"}, 0},
		{"all/100000", field{n: 100_000, symptoms: 20, tracks: 10, same: true}, Facts{Symptoms: []Symptom{{ID: "s0"}}, Track: "t0"}, 0},
		{"growing/1000", field{n: 1000, symptoms: 20, tracks: 10}, typical(), time.Microsecond},
		{"growing/100000", field{n: 100_000, symptoms: 2000, tracks: 10}, typical(), 50 * time.Microsecond},
		{"wild/1000", field{n: 1000, symptoms: 20, tracks: 10, wild: 100}, typical(), 2 * time.Microsecond}, // eight hits
		{"wild/100000", field{n: 100_000, symptoms: 20, tracks: 10, wild: 1000}, typical(), 50 * time.Microsecond},
	} {
		b.Run(bb.name, func(b *testing.B) {
			s := bb.f.build(b)
			c := compileFacts(b, s, bb.facts)
			var buf Buffer
			s.run(c.situation, &buf, true)
			hits := float64(len(buf.hits))
			b.ReportAllocs()
			for b.Loop() {
				s.Run(c, &buf)
			}
			b.ReportMetric(hits, "hits")
			if bb.limit > 0 {
				within(b, bb.limit, func() { s.Run(c, &buf) })
			}
		})
	}
}

// Facts that change with every evaluation, so that nothing is warm.
func BenchmarkRunCold(b *testing.B) {
	for n, limit := range map[int]time.Duration{10: time.Microsecond, 1000: time.Microsecond, 100_000: 50 * time.Microsecond} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			f := fixed(n)
			s := f.build(b)
			rng := rand.New(rand.NewPCG(1, 2))
			facts := make([]Compiled, 4096)
			for i := range facts {
				facts[i] = compileFacts(b, s, benchFacts(rng, f))
			}
			var buf Buffer
			s.Run(facts[0], &buf)
			i := 0
			b.ReportAllocs()
			for b.Loop() {
				s.Run(facts[i%len(facts)], &buf)
				i++
			}
			const some = 256
			got := fastest(1, func() {
				for _, c := range facts[:some] {
					s.Run(c, &buf)
				}
			}) / some
			b.ReportMetric(float64(got), "fastest-ns")
			if got > limit {
				b.Errorf("one evaluation takes %v, the limit is %v", got, limit)
			}
		})
	}
}

func BenchmarkScan(b *testing.B) {
	for _, n := range []int{10, 1000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s := fixed(n).build(b)
			c := compileFacts(b, s, typical())
			var buf Buffer
			for b.Loop() {
				s.scan(c.situation, &buf, false)
			}
		})
	}
}

func BenchmarkEvaluate(b *testing.B) {
	s := fixed(1000).build(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := s.Evaluate(typical()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCompileAndRun(b *testing.B) {
	s := fixed(1000).build(b)
	var buf Buffer
	b.ReportAllocs()
	for b.Loop() {
		c, err := s.Compile(typical())
		if err != nil {
			b.Fatal(err)
		}
		s.Run(c, &buf)
	}
}

func BenchmarkNew(b *testing.B) {
	for _, n := range []int{1000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s := fixed(n).build(b)
			for b.Loop() {
				if _, err := New(s.vocabulary, s.rules); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkFlips(b *testing.B) {
	s := fixed(1000).build(b)
	for b.Loop() {
		if _, err := s.Flips(typical()); err != nil {
			b.Fatal(err)
		}
	}
}

// An expression engine, given the same rules in the way it is meant to be used:
// one compiled program a rule, one virtual machine, a map as environment. It
// decides which rules fire; pooling is not even counted.
type expressions struct {
	programs []*vm.Program
	machine  vm.VM
	env      map[string]any
}

func newExpressions(t tester, s *Set, f Facts) *expressions {
	e := &expressions{env: map[string]any{
		"symptom": f.Symptoms[0].ID, "track": f.Track, "grip": f.Grip.Number, "laps": f.Tyres.Number,
	}}
	for _, r := range s.rules {
		g, l := r.When.Grip[0].Range, r.When.Tyres[0].Range
		code := fmt.Sprintf(`symptom == %q && track == %q && grip > %v && grip < %v && laps > %v && laps < %v`,
			r.When.Symptom[0], r.When.Track[0].Word, g[0], g[3], l[0], l[3])
		p, err := expr.Compile(code, expr.Env(e.env), expr.AsBool())
		if err != nil {
			t.Fatal(err)
		}
		e.programs = append(e.programs, p)
	}
	return e
}

func (e *expressions) fired(t tester) (n int) {
	for _, p := range e.programs {
		out, err := e.machine.Run(p, e.env)
		if err != nil {
			t.Fatal(err)
		}
		if out.(bool) {
			n++
		}
	}
	return n
}

// The expression engine and ours fire the same rules: only then can their speed
// be compared.
func TestExpressionEngineAgrees(t *testing.T) {
	f := fixed(1000)
	s := f.build(t)
	rng := rand.New(rand.NewPCG(3, 4))
	total := 0
	facts := typical()
	e := newExpressions(t, s, facts)
	for range 50 {
		e.env["symptom"], e.env["track"], e.env["grip"], e.env["laps"] = facts.Symptoms[0].ID, facts.Track, facts.Grip.Number, facts.Tyres.Number
		c := compileFacts(t, s, facts)
		var buf Buffer
		s.run(c.situation, &buf, true)
		if got := e.fired(t); got != len(buf.hits) {
			t.Errorf("%+v: the expression engine fires %d rules, ours %d", facts, got, len(buf.hits))
		}
		total += len(buf.hits)
		facts = benchFacts(rng, f)
	}
	if total < 20 {
		t.Errorf("only %d rules fired in all: the comparison says nothing", total)
	}
}

func BenchmarkExpressions(b *testing.B) {
	s := fixed(1000).build(b)
	e := newExpressions(b, s, typical())
	for b.Loop() {
		e.fired(b)
	}
}

// BenchmarkRatios times the index against a plain scan and against the
// expression engine in one run, which a slow machine cannot spoil.
func BenchmarkRatios(b *testing.B) {
	s := fixed(1000).build(b)
	large := fixed(100_000).build(b)
	c, cl := compileFacts(b, s, typical()), compileFacts(b, large, typical())
	e := newExpressions(b, s, typical())
	var buf, bufLarge Buffer
	var run, scan, engine, runLarge time.Duration
	for b.Loop() {
		run = fastest(100, func() { s.Run(c, &buf) })
		scan = fastest(5, func() { s.scan(c.situation, &buf, false) })
		engine = fastest(1, func() { e.fired(b) })
		runLarge = fastest(5, func() { large.Run(cl, &bufLarge) })
	}
	for _, r := range []struct {
		name        string
		ratio       float64
		least, most float64
	}{
		{"scan/index", float64(scan) / float64(run), 10, 0},
		{"expr/index", float64(engine) / float64(run), 100, 0},
		{"100000/1000", float64(runLarge) / float64(run), 0, 150},
	} {
		b.ReportMetric(r.ratio, r.name)
		if r.ratio < r.least || r.most > 0 && r.ratio > r.most {
			b.Errorf("%s is %.1f, which is outside %v to %v", r.name, r.ratio, r.least, r.most)
		}
	}
}

func TestRunDoesNotAllocate(t *testing.T) {
	for _, f := range []field{fixed(10), fixed(1000), {n: 1000, symptoms: 20, tracks: 10, same: true}, {n: 1000, symptoms: 20, tracks: 10, wild: 10}} {
		s := f.build(t)
		rng := rand.New(rand.NewPCG(1, 2))
		facts := make([]Compiled, 64)
		for i := range facts {
			facts[i] = compileFacts(t, s, benchFacts(rng, f))
		}
		var buf Buffer
		for i := range facts {
			s.Run(facts[i], &buf)
		}
		i := 0
		if n := testing.AllocsPerRun(1000, func() { s.Run(facts[i%len(facts)], &buf); i++ }); n != 0 {
			t.Errorf("%+v: a run allocates %v times", f, n)
		}
	}
}

func TestRunRefusesFactsOfAnotherSet(t *testing.T) {
	s, other := mustNew(t, nil), mustNew(t, nil)
	c := compileFacts(t, s, Facts{})
	var buf Buffer
	s.WithLearned(nil).Run(c, &buf)
	defer func() {
		if recover() == nil {
			t.Error("facts of another set are evaluated")
		}
	}()
	other.Run(c, &buf)
}
