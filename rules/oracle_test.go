package rules

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// The labels C-1, D-1, … are those of testdata/oracle/inference.md, which gives
// the source of each number.

// billionth is what storing evidence in nano-nats leaves of a belief.
const billionth = 1e-9

func wantNear(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.15g, want %.15g ± %g", what, got, want, tol)
	}
}

// pooled evaluates rules without conditions whose supports are the absolute
// values given, a negative one voting for a decrease.
func pooled(t tester, supports ...float64) Verdict {
	t.Helper()
	var list []Rule
	for i, s := range supports {
		list = append(list, Rule{ID: fmt.Sprint("r", i), Confidence: math.Abs(s), Votes: []Vote{{Move: "m", Amount: math.Copysign(1, s)}}})
	}
	set, err := New(Vocabulary{Moves: []Move{{ID: "m"}}}, list)
	if err != nil {
		t.Fatal(err)
	}
	res, err := set.Evaluate(Facts{})
	if err != nil {
		t.Fatal(err)
	}
	return res.Verdicts[0]
}

// permutations calls f with every order of xs.
func permutations(xs []float64, f func([]float64)) {
	var rec func(n int)
	rec = func(n int) {
		if n == len(xs) {
			f(xs)
			return
		}
		for i := n; i < len(xs); i++ {
			xs[n], xs[i] = xs[i], xs[n]
			rec(n + 1)
			xs[n], xs[i] = xs[i], xs[n]
		}
	}
	rec(0)
}

func TestCertaintyFactors(t *testing.T) {
	for _, tt := range []struct {
		label string
		in    []float64
		want  float64
		sum   float64 // of logarithms, 0 if not given
	}{
		{"C-2", []float64{0.5, 0.6}, 4. / 5, 0},
		{"C-4", []float64{-0.5, -0.6}, -4. / 5, 0},
		{"C-5", []float64{0.8, -0.3}, 5. / 7, 0},
		{"C-6", []float64{0.6, -0.4}, 1. / 3, 0},
		{"C-7", []float64{0.4, 0.6, -0.2}, 7. / 10, 1.203972804325936},
		{"C-8", []float64{0.8, -0.8}, 0, 0},
		{"C-9", []float64{0.9, 0.9, -0.9}, 9. / 10, 0},
		{"C-10", []float64{0.7, 0.2, -0.5, 0.1}, 71. / 125, 0.8393296907380267},
		{"C-12", []float64{0.99, 0.9, -0.799}, 0.995024875621891, 0},
	} {
		t.Run(tt.label, func(t *testing.T) {
			permutations(tt.in, func(order []float64) {
				fold := 0.0
				for _, x := range order {
					fold = Fold(fold, x)
				}
				wantNear(t, fmt.Sprint("the fold of ", order), fold, tt.want, 1e-12)
				v := pooled(t, order...)
				wantNear(t, fmt.Sprint("the net belief of ", order), v.Net, tt.want, float64(len(order))*billionth)
				if tt.sum != 0 {
					wantNear(t, "the evidence", float64(v.EvidenceInc-v.EvidenceDec)/1e9, tt.sum, float64(len(order))*0.5*billionth)
				}
			})
		})
	}
}

func TestCertaintyFactorsNineAgainstOne(t *testing.T) { // C-11
	v := pooled(t, .8, .8, .8, .8, .8, .8, .8, .8, .8, -.8)
	wantNear(t, "belief", v.Inc, 0.999999488, 0.5e-9)
	wantNear(t, "disbelief", v.Dec, 0.8, billionth)
	wantNear(t, "net", v.Net, 0.99999744, 0.5e-8)
	if old := v.Inc - v.Dec; math.Abs(v.Net-old) < 0.5 {
		t.Errorf("net is %v, as in the bookkeeping of 1975", v.Net)
	}
}

// What a fold must not be: dependent on order (C-13), or another one (C-14).
func TestFoldIsNotTheOthers(t *testing.T) {
	wrong := func(x, y float64) float64 {
		if x*y < 0 {
			return x + y
		}
		return Fold(x, y)
	}
	var seen []float64
	permutations([]float64{0.4, 0.6, -0.2}, func(o []float64) {
		y := math.Round(wrong(wrong(o[0], o[1]), o[2])*25) / 25
		if !slices.Contains(seen, y) {
			seen = append(seen, y)
		}
	})
	slices.Sort(seen)
	if want := []float64{14. / 25, 16. / 25, 17. / 25}; !slices.Equal(seen, want) {
		t.Errorf("the wrong fold gives %v, the note says %v", seen, want)
	}
	for _, tt := range []struct{ x, y, prospector float64 }{{0.5, 0.6, 11. / 13}, {0.8, -0.3, 25. / 38}} {
		wantNear(t, "the formula of the note", (tt.x+tt.y)/(1+tt.x*tt.y), tt.prospector, 1e-15)
		if math.Abs(Fold(tt.x, tt.y)-tt.prospector) < 0.01 {
			t.Errorf("Fold(%v, %v) is PROSPECTOR's", tt.x, tt.y)
		}
	}
}

// bench is a vocabulary with two scales, x (grip) and y (tyres), for examples
// from other fields.
func bench(x, y []ScaleWord, moves ...string) Vocabulary {
	v := Vocabulary{
		Symptoms: []SymptomWord{{ID: "s"}},
		Grip:     Scale{Words: x}, Tyres: Scale{Words: y},
		Severity: SeverityScale{Slight: 0.6, Normal: 0.8, Strong: 1},
	}
	for _, m := range moves {
		v.Moves = append(v.Moves, Move{ID: m})
	}
	return v
}

func at(x, y float64) Facts {
	return Facts{Grip: Level{Number: x, IsNumber: true}, Tyres: Level{Number: y, IsNumber: true}}
}

func word(w string) Terms { return Terms{{Word: w}} }

func TestPremises(t *testing.T) {
	v := bench([]ScaleWord{{"b", Trapezoid{0, 10, 20, 20}}}, []ScaleWord{{"c", Trapezoid{0, 10, 20, 20}}}, "m")
	set, err := New(v, []Rule{
		{ID: "c-1", Confidence: 0.7, When: When{Symptom: []string{"s"}, Grip: word("b"), Tyres: word("c")}, Votes: []Vote{{Move: "m", Amount: 1}}},
		{ID: "c-3", Confidence: 0.7, When: When{Symptom: []string{"s"}}, Votes: []Vote{{Move: "m", Amount: 1}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	f := at(3, 4)
	f.Symptoms = []Symptom{{ID: "s", Severity: "slight"}} // 0.6
	accounts, err := set.Explain(f)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "C-1: 0.6 and 0.3 and 0.4, times 0.7,", accounts[0].Support, 0.21, 1e-15)
	if accounts[0].Limit != "grip" {
		t.Errorf("C-1 is held back by %q, want grip", accounts[0].Limit)
	}
	f.Symptoms[0].Severity = "normal" // 0.8
	if accounts, err = set.Explain(f); err != nil {
		t.Fatal(err)
	}
	wantNear(t, "C-3: 0.8 times 0.7", accounts[1].Support, 0.56, 1e-15)
}

func TestDempster(t *testing.T) {
	for _, tt := range []struct {
		label                                    string
		x, y, conflict, forX, against, undecided float64
	}{
		{"D-1", .8, .6, 12. / 25, 8. / 13, 3. / 13, 2. / 13},
		{"D-2", .8, .3, 6. / 25, 14. / 19, 3. / 38, 7. / 38},
	} {
		v := pooled(t, tt.x, -tt.y)
		wantNear(t, tt.label+": conflict", v.Conflict, tt.conflict, 2*billionth)
		wantNear(t, tt.label+": for", v.For, tt.forX, 2*billionth)
		wantNear(t, tt.label+": against", v.Against, tt.against, 2*billionth)
		wantNear(t, tt.label+": undecided", v.Undecided, tt.undecided, 2*billionth)
		against := pooled(t, -tt.x, tt.y)
		if against.For != v.For || against.Against != v.Against {
			t.Errorf("%s: the winning side is not the one called For when it is the decrease", tt.label)
		}
	}
}

func TestWholeScheme(t *testing.T) { // D-3
	rule := func(id, family string, w, amount float64) Rule {
		return Rule{ID: id, Family: family, Confidence: w, Votes: []Vote{{Move: "m", Amount: amount}}}
	}
	list := []Rule{rule("a", "f1", .5, 2), rule("b", "f1", .4, 1), rule("c", "f2", .3, 1), rule("d", "", .35, -1)}
	v := Vocabulary{Moves: []Move{{ID: "m"}}}
	set, err := New(v, list)
	if err != nil {
		t.Fatal(err)
	}
	res, err := set.Evaluate(Facts{})
	if err != nil {
		t.Fatal(err)
	}
	got := res.Verdicts[0]
	if got.EvidenceInc != 693147181+356674944 || got.EvidenceDec != 430782916 || got.EvidenceInc-got.EvidenceDec != 619039209 {
		t.Errorf("evidence is %d for and %d against, want 1049822125 and 430782916", got.EvidenceInc, got.EvidenceDec)
	}
	wantNear(t, "belief in an increase", got.Inc, 0.65, billionth)
	wantNear(t, "belief in a decrease", got.Dec, 0.35, billionth)
	wantNear(t, "net", got.Net, 6./13, billionth)
	wantNear(t, "conflict", got.Conflict, 0.2275, billionth)
	wantNear(t, "for", got.For, 0.5469255663, billionth)
	wantNear(t, "against", got.Against, 0.1585760518, billionth)
	wantNear(t, "undecided", got.Undecided, 0.2944983819, billionth)
	if got.Amount != 1.625 || got.Least != 1 || got.Most != 2 {
		t.Errorf("the amount is %v from %v to %v, want 1.625 from 1 to 2", got.Amount, got.Least, got.Most)
	}
	if f := got.Fired[1]; f.Rule.ID != "b" || f.Counted || f.CoveredBy != "a" {
		t.Errorf("the weaker rule of the family is %+v, want it covered by a", f)
	}
	for i := range list {
		list[i].Family = ""
	}
	if set, err = New(v, list); err != nil {
		t.Fatal(err)
	}
	if res, err = set.Evaluate(Facts{}); err != nil {
		t.Fatal(err)
	}
	wantNear(t, "belief without families", res.Verdicts[0].Inc, 0.79, 2*billionth)
}

func TestGrades(t *testing.T) {
	for _, tt := range []struct {
		label    string
		shape    Trapezoid
		at, want []float64
	}{
		{"G-1", Trapezoid{.2, .4, .6, .8}, []float64{.2, .25, .3, .4, .5, .6, .65, .7, .8}, []float64{0, .25, .5, 1, 1, 1, .75, .5, 0}},
		{"G-2", Trapezoid{5, 10, 40, 60}, []float64{5, 7, 10, 40, 45, 55, 60}, []float64{0, .4, 1, 1, .75, .25, 0}},
		{"shoulders", Trapezoid{0, 0, 3, 5}, []float64{-1, 0, 3, 4, 5, math.Inf(1), math.NaN()}, []float64{0, 1, 1, .5, 0, 0, 0}},
		{"one point", Trapezoid{2, 2, 2, 2}, []float64{1.999, 2, 2.001}, []float64{0, 1, 0}},
	} {
		for i, x := range tt.at {
			wantNear(t, fmt.Sprintf("%s: the grade of %v", tt.label, x), tt.shape.Grade(x), tt.want[i], 1e-12)
		}
	}
}

// control runs rules of a fuzzy controller: its activations come from the
// conditions of the engine, accumulation by maximum from families, and the
// output, the centre of gravity of singletons, from the engine's pools. The
// engine itself never mixes the two directions; the test does, as the standard
// asks. Singletons at 0 are kept as a move of their own.
type control struct {
	x, y    string
	output  float64
	with    float64
	wantAct float64
}

func runControl(t *testing.T, label string, v Vocabulary, cs []control, f Facts, want float64) {
	t.Helper()
	var list []Rule
	for i, c := range cs {
		vote, family := Vote{Move: "out", Amount: c.output}, fmt.Sprint("singleton", c.output)
		if c.output == 0 {
			vote = Vote{Move: "zero", Amount: 1}
		}
		list = append(list, Rule{ID: fmt.Sprint("r", i), Confidence: c.with, Family: family, Votes: []Vote{vote}, When: When{Grip: word(c.x), Tyres: word(c.y)}})
	}
	set, err := New(v, list)
	if err != nil {
		t.Fatal(err)
	}
	accounts, err := set.Explain(f)
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range cs {
		wantNear(t, fmt.Sprintf("%s: activation of rule %d", label, i+1), accounts[i].Grade*c.with, c.wantAct, 1e-12)
	}
	c, err := set.Compile(f)
	if err != nil {
		t.Fatal(err)
	}
	var buf Buffer
	set.Run(c, &buf)
	moment, weight := 0.0, 0.0
	for i := range buf.pools {
		p := &buf.pools[i]
		if p.weight == 0 {
			continue
		}
		weight += float64(p.weight)
		if v.Moves[i/int(sides)].ID == "out" {
			moment += p.amount() * float64(p.weight)
		}
	}
	wantNear(t, label+": output", moment/weight, want, 1e-7)
}

func TestFuzzyFB(t *testing.T) { // F-1
	v := bench([]ScaleWord{{"cold", Trapezoid{0, 0, 3, 27}}, {"hot", Trapezoid{3, 27, 1e9, 1e9}}},
		[]ScaleWord{{"low", Trapezoid{0, 0, 55, 95}}, {"high", Trapezoid{55, 95, 1e9, 1e9}}}, "out", "zero")
	for _, tt := range []struct {
		temp, pressure float64
		act            [4]float64
		valve          float64
	}{
		{9, 65, [4]float64{3. / 4, 1. / 5, 1. / 4, 1. / 4}, 40},
		{21, 60, [4]float64{1. / 4, 1. / 10, 3. / 4, 1. / 8}, 100. / 9},
		{15, 75, [4]float64{1. / 2, 2. / 5, 1. / 2, 1. / 2}, 0},
		{3, 55, [4]float64{1, 0, 0, 0}, 100},
		{27, 95, [4]float64{0, 0, 0, 1}, -100},
		{3, 95, [4]float64{0, 4. / 5, 0, 0}, 0},
		{0, 100, [4]float64{0, 4. / 5, 0, 0}, 0},
	} {
		runControl(t, fmt.Sprintf("F-1 at %v and %v", tt.temp, tt.pressure), v, []control{
			{"cold", "low", 100, 1, tt.act[0]}, {"cold", "high", 0, 0.8, tt.act[1]}, {"hot", "low", 0, 1, tt.act[2]}, {"hot", "high", -100, 1, tt.act[3]},
		}, at(tt.temp, tt.pressure), tt.valve)
	}
	// At (15, 75) the controller says 0; the engine keeps the two sides apart.
	set, err := New(v, []Rule{
		{ID: "inlet", Confidence: 1, When: When{Grip: word("cold"), Tyres: word("low")}, Votes: []Vote{{Move: "out", Amount: 100}}},
		{ID: "drainage", Confidence: 1, When: When{Grip: word("hot"), Tyres: word("high")}, Votes: []Vote{{Move: "out", Amount: -100}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	res, err := set.Evaluate(at(15, 75))
	if err != nil {
		t.Fatal(err)
	}
	if got := res.Verdicts[0]; got.Status != Conflict || math.Abs(got.Conflict-0.25) > billionth || got.Net != 0 {
		t.Errorf("the hidden conflict is %v with K = %v, want a conflict with 0.25", got.Status, got.Conflict)
	}
}

func TestContainerCrane(t *testing.T) { // F-2
	const zero = 50 // a scale does not go below 0, so angles are shifted by this
	v := bench(
		[]ScaleWord{{"zero", Trapezoid{-5, 0, 0, 5}}, {"close", Trapezoid{0, 5, 5, 10}}, {"medium", Trapezoid{5, 10, 10, 22}}, {"far", Trapezoid{10, 22, 1e9, 1e9}}},
		[]ScaleWord{
			{"neg-big", Trapezoid{-1e9, -1e9, zero - 50, zero - 5}}, {"neg-small", Trapezoid{zero - 50, zero - 5, zero - 5, zero}},
			{"zero", Trapezoid{zero - 5, zero, zero, zero + 5}}, {"pos-small", Trapezoid{zero, zero + 5, zero + 5, zero + 50}},
		}, "out", "zero")
	three := []control{{"medium", "pos-small", 12, 1, 0}, {"medium", "zero", 0, 1, 0}, {"far", "zero", 12, 1, 0}}
	six := []control{
		{"far", "zero", 12, 1, 0}, {"far", "neg-small", 27, 1, 0}, {"far", "neg-big", 12, 1, 0},
		{"medium", "neg-small", -12, 1, 0}, {"close", "pos-small", 12, 1, 0}, {"zero", "zero", 0, 1, 0},
	}
	for _, tt := range []struct {
		label           string
		rules           []control
		distance, angle float64
		act             []float64
		power           float64
	}{
		{"F-2a", three, 12, 4, []float64{4. / 5, 1. / 5, 1. / 6}, 48. / 5},
		{"F-2b", six, 12, 4, []float64{1. / 6, 0, 0, 0, 0, 0}, 12},
		{"F-2c", six, 16, -4, []float64{1. / 5, 1. / 2, 0, 1. / 2, 0, 0}, 33. / 4},
		{"F-2d", six, 20, -3, []float64{2. / 5, 3. / 5, 0, 1. / 6, 0, 0}, 114. / 7},
		{"F-2e", six, 18, -20, []float64{0, 2. / 3, 1. / 3, 1. / 3, 0, 0}, 27. / 2},
		{"F-2f", six, 1, -1, []float64{0, 0, 0, 0, 0, 4. / 5}, 0},
	} {
		rules := slices.Clone(tt.rules)
		for i := range rules {
			rules[i].wantAct = tt.act[i]
		}
		runControl(t, tt.label, v, rules, at(tt.distance, tt.angle+zero), tt.power)
	}
}

func TestTakagiSugeno(t *testing.T) { // T-1
	var list []Rule
	for i, r := range []struct{ weight, consequent float64 }{{0.25, 17}, {0.2, 24}, {0.375, 15}} {
		list = append(list, Rule{ID: fmt.Sprint("r", i), Confidence: r.weight, Votes: []Vote{{Move: "y", Amount: r.consequent}}})
	}
	set, err := New(Vocabulary{Moves: []Move{{ID: "y"}}}, list)
	if err != nil {
		t.Fatal(err)
	}
	res, err := set.Evaluate(Facts{})
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "T-1", res.Verdicts[0].Amount, 17.7878787878788, 0.5e-13)
}

func TestTippingStrengths(t *testing.T) { // T-2
	terms := []ScaleWord{{"poor", Trapezoid{-5, 0, 0, 5}}, {"average", Trapezoid{0, 5, 5, 10}}, {"good", Trapezoid{5, 10, 10, 15}}}
	v := bench(terms, terms, "low", "medium", "high")
	rule := func(id, move string, w When) Rule {
		return Rule{ID: id, Confidence: 1, Family: move, When: w, Votes: []Vote{{Move: move, Amount: 1}}}
	}
	// "or" between two quantities is one family with a rule for each
	set, err := New(v, []Rule{
		rule("poor-quality", "low", When{Grip: word("poor")}), rule("poor-service", "low", When{Tyres: word("poor")}),
		rule("average-service", "medium", When{Tyres: word("average")}),
		rule("good-quality", "high", When{Grip: word("good")}), rule("good-service", "high", When{Tyres: word("good")}),
	})
	if err != nil {
		t.Fatal(err)
	}
	res, err := set.Evaluate(at(6.5, 9.8))
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0, 0.04, 0.96} {
		wantNear(t, "T-2: strength of "+v.Moves[i].ID, res.Verdicts[i].Inc, want, billionth)
	}
}
