package advisor_test

import (
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
)

const deg = geometry.Degree

func shipped(t testing.TB) *rules.Set {
	loaded, found := ruleset.Load(rulesets.FS, rulesets.Default)
	require.Empty(t, found)
	return loaded.Set
}

func kart(t testing.TB, name string) *profile.Kart {
	data, ok := demo.Read(name)
	require.True(t, ok, name)
	k, found := profile.Parse(name+".toml", data)
	require.Empty(t, found)
	return k
}

func symptoms(t testing.TB, texts ...string) []rules.Symptom {
	var out []rules.Symptom
	for _, x := range texts {
		s, err := rules.ParseSymptom(x)
		require.NoError(t, err)
		out = append(out, s)
	}
	return out
}

var figureOf = map[string]adjust.Figure{"caster": adjust.Caster, "camber": adjust.Camber, "toe": adjust.Toe, "front_height": adjust.Height}

// Whatever is complained of, on whatever kart: a suggestion moves its figure
// the way the rules want on both sides, stays inside the limits, and can be
// undone exactly.
func TestAdviceHoldsWhatItPromises(t *testing.T) {
	set := shipped(t)
	var karts []*profile.Kart
	for _, n := range demo.Names() {
		karts = append(karts, kart(t, n))
	}
	var ids []string
	for _, w := range set.Vocabulary().Symptoms {
		ids = append(ids, w.ID)
	}
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(karts).Draw(t, "kart")
		f := rules.Facts{
			Track: rapid.SampledFrom([]string{"", "tight", "fast", "mixed"}).Draw(t, "track"),
			Grip:  rules.Level{Word: rapid.SampledFrom([]string{"", "low", "medium", "high", "wet"}).Draw(t, "grip")},
			Tyres: rules.Level{Word: rapid.SampledFrom([]string{"", "new", "used", "worn", "wets"}).Draw(t, "tyres")},
		}
		for range rapid.IntRange(1, 2).Draw(t, "complaints") {
			f.Symptoms = append(f.Symptoms, rules.Symptom{
				ID:       rapid.SampledFrom(ids).Draw(t, "symptom"),
				Phase:    rapid.SampledFrom([]string{"", "entry", "mid", "exit", "straight", "braking"}).Draw(t, "phase"),
				Severity: rapid.SampledFrom([]string{"", "slight", "strong"}).Draw(t, "severity"),
			})
		}
		a, err := advisor.Advise(advisor.Request{Kart: k, Rules: set, Facts: f})
		if err != nil {
			t.Fatal(err)
		}
		if (a.First != nil) != (a.Status == advisor.TryThis) {
			t.Fatalf("status %q with first %v", a.Status, a.First)
		}
		all := a.Alternatives
		if a.First != nil {
			all = append([]advisor.Suggestion{*a.First}, all...)
		}
		for _, s := range all {
			if len(s.For) == 0 {
				t.Fatalf("%s is suggested and no rule speaks for it", s.Title())
			}
			if s.Plan == nil {
				continue
			}
			q := figureOf[s.Move.ID]
			for _, side := range s.Plan.Sides {
				after, err := k.Corners[side.Side].Values(s.Plan.To[side.Side])
				if err != nil {
					t.Fatal(err)
				}
				if by := after[q] - side.Was[q]; by*float64(s.Verdict.Direction) <= 0 {
					t.Fatalf("%s: the %v side's %v moves by %g", s.Title(), side.Side, q, by)
				}
				for _, l := range k.Limits {
					fig := s.Plan.After[side.Side]
					v := map[profile.Limited]geometry.Angle{profile.LimitCaster: fig.Caster, profile.LimitCamber: fig.Camber, profile.LimitToe: fig.Toe}
					if x, ok := v[l.Of]; ok && string(l.Of) == s.Move.ID && (float64(x) < l.Lo-1e-6 || float64(x) > l.Hi+1e-6) {
						t.Fatalf("%s: %v %s of %v is outside %s", s.Title(), side.Side, l.Of, x, l.Text(geometry.Units{}))
					}
				}
			}
			back := s.Plan.Undo()
			for side := range back.To {
				for i := range back.To[side] {
					if back.To[side][i] != k.Present[side][i] {
						t.Fatalf("undoing %s leaves adjuster %d at %g instead of %g", s.Title(), i, back.To[side][i], k.Present[side][i])
					}
				}
			}
		}
	})
}

// Facts of the trade (common practice).
func TestTradeFacts(t *testing.T) {
	set := shipped(t)
	direction := func(move string, f rules.Facts) int {
		r, err := set.Evaluate(f)
		require.NoError(t, err)
		for _, v := range r.Verdicts {
			if v.Move == move {
				return v.Direction
			}
		}
		t.Fatalf("there is no move %q", move)
		return 0
	}
	level := func(w string) rules.Level { return rules.Level{Word: w} }
	push := symptoms(t, "understeer/entry")
	for _, tt := range []struct {
		claim, move string
		facts       rules.Facts
		want        int
	}{
		{"tight and twisty: more caster", "caster", rules.Facts{Symptoms: push, Track: "tight", Grip: level("medium")}, +1},
		{"very high grip on a fast track: take caster out", "caster", rules.Facts{Symptoms: symptoms(t, "oversteer/entry"), Track: "fast", Grip: level("high")}, -1},
		{"a lazy turn-in wants toe-out", "toe", rules.Facts{Symptoms: push, Track: "tight", Grip: level("medium")}, -1},
		{"darting on the straight wants less toe-out", "toe", rules.Facts{Symptoms: symptoms(t, "darting/straight"), Track: "fast"}, +1},
		{"new tyres that bite too hard on entry: more negative camber", "camber", rules.Facts{Symptoms: symptoms(t, "darting/entry"), Grip: level("high"), Tyres: level("new")}, -1},
		{"heavy steering: less caster", "caster", rules.Facts{Symptoms: symptoms(t, "heavy_steering")}, -1},
	} {
		if got := direction(tt.move, tt.facts); got != tt.want {
			t.Errorf("%s: direction %d, want %d", tt.claim, got, tt.want)
		}
	}
}

func TestCheckFirstSymptomsGetNoSetting(t *testing.T) {
	for _, id := range []string{"pull", "vibration", "play", "asymmetric"} {
		a, err := advisor.Advise(advisor.Request{Kart: kart(t, "alder"), Rules: shipped(t), Facts: rules.Facts{Symptoms: symptoms(t, id), Track: "tight", Grip: rules.Level{Word: "high"}}})
		require.NoError(t, err)
		if a.Status != advisor.CheckFirst || a.First != nil || len(a.Alternatives) > 0 || len(a.Checks) == 0 {
			t.Errorf("%s: status %q, first %v, %d checks; want checks only", id, a.Status, a.First, len(a.Checks))
		}
	}
}

func TestPlanSteps(t *testing.T) {
	k := kart(t, "alder")
	w := []advisor.Want{{Figure: adjust.Caster, Value: float64(0.5 * deg), By: true}, {Figure: adjust.Camber, Value: float64(-0.42 * deg), By: true}}
	p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{w, w}})
	require.NoError(t, err)
	var text []string
	for _, s := range p.Steps(geometry.Units{}) {
		text = append(text, s.Side+": "+s.Text)
	}
	all := strings.Join(text, "\n")
	// In this order: stand, note, move, camber, toe rods, toe, compare, lock to lock.
	at := -1
	for _, want := range []string{"kart: Kart secure on its stand, engine off", "depth gauges (they should read left caster screw 7.60 mm", "Caster screw: tighten it", "Camber plate: turn it 1 hole", "Check camber", "Tie rod: make it", "Check toe, last", "same lock each way", "lock to lock"} {
		i := strings.Index(all, want)
		if i <= at {
			t.Errorf("step %q is missing or out of order in\n%s", want, all)
		}
		at = i
	}
	if got := len(p.Cautions()); got < 3 {
		t.Errorf("%d cautions", got)
	}
	for _, side := range p.Sides {
		if last := side.Moves[len(side.Moves)-1]; last.Part != adjust.OnRod {
			t.Errorf("%v: the last move is the %s, want the tie rod", side.Side, last.Name)
		}
	}
}

// Toe that is not where it was, and that nobody asked to move, has a reason.
func TestPlanSaysWhyToeStays(t *testing.T) {
	for _, tt := range []struct {
		name, kart      string
		caster          float64 // wanted, degrees more
		old, text, want string
	}{
		{"steps", "dogwood", 0.8, "", "", "toe goes from 0.00° to 0.07° (0.32 mm in over 255 mm) and stays there: the tie rod goes in steps, and its next one is further off"},
		{"end of travel", "cedar", 2.5, "thread = \"M8\"\n\n[present]", "thread = \"M8\"\ntravel_shorter = \"0 turns\"\n\n[present]", "the tie rod is at the end of its travel"},
		{"no adjuster", "dogwood", 0.8, "travel_longer  = \"4 turns\"\ntravel_shorter = \"4 turns\"", "travel_longer  = \"0 turns\"\ntravel_shorter = \"0 turns\"", "this kart has no adjuster that sets it"},
		{"toe comes back", "alder", 0.8, "", "", ""},
	} {
		data, ok := demo.Read(tt.kart)
		require.True(t, ok)
		if tt.old != "" {
			require.Contains(t, string(data), tt.old)
		}
		k, found := profile.Parse(tt.kart+".toml", []byte(strings.Replace(string(data), tt.old, tt.text, 1)))
		require.Empty(t, found)
		w := []advisor.Want{{Figure: adjust.Caster, Value: tt.caster * float64(deg), By: true}}
		p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{w, w}})
		require.NoError(t, err)
		got := strings.Join(p.Reasons(), "\n")
		if !strings.Contains(got, tt.want) || tt.want == "" && strings.Contains(got, "toe") {
			t.Errorf("%s: the plan's reasons are\n%s\nwant %q among them", tt.name, got, tt.want)
		}
	}
}

// The numbers that a plan rests on move it by what forward calculation says.
func TestSurenessRestsOn(t *testing.T) {
	k := kart(t, "elm")
	w := []advisor.Want{{Figure: adjust.Toe, Value: float64(-0.3 * deg), By: true}}
	p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{w, w}})
	require.NoError(t, err)
	s, err := p.Sureness()
	require.NoError(t, err)
	require.NotEmpty(t, s.Rests)
	top := s.Rests[0]
	if top.Number.Path != "corner.arm_length" || !top.Number.Assumed {
		t.Errorf("the turns of a toe change rest first on %s, want the assumed length of the arm", top.Number.Path)
	}
	// Turns are in proportion to the arm: 5 mm on 105 mm.
	turns := math.Abs(p.Sides[0].Moves[0].To - p.Sides[0].Moves[0].From)
	if want := turns * 5 / 105; math.Abs(top.Turns-want) > 0.1*want {
		t.Errorf("5 mm of arm moves the rod by %.4f turns, want about %.4f", top.Turns, want)
	}
}

// What a plan says it is sure of to first order, seeded draws from the same
// profile confirm (JCGM 101), on every demo kart.
func TestSurenessAgainstMonteCarlo(t *testing.T) {
	for _, name := range demo.Names() {
		k := kart(t, name)
		w := []advisor.Want{{Figure: adjust.Caster, Value: float64(0.5 * deg), By: true}}
		if name == "elm" {
			w = []advisor.Want{{Figure: adjust.Toe, Value: float64(-0.3 * deg), By: true}}
		}
		p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:1], Wants: [2][]advisor.Want{w, w}})
		require.NoError(t, err)
		notes, err := p.CheckSureness(1, 20000, nil)
		require.NoError(t, err)
		for _, n := range notes {
			t.Errorf("%s: %s", name, n)
		}
	}
}

func BenchmarkSureness(b *testing.B) {
	k := kart(b, "alder")
	w := []advisor.Want{{Figure: adjust.Caster, Value: float64(0.5 * deg), By: true}}
	p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{w, w}})
	require.NoError(b, err)
	for b.Loop() {
		if _, err := p.Sureness(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkMonteCarlo is 10 000 draws of a full answer: under 100 ms.
func BenchmarkMonteCarlo(b *testing.B) {
	k := kart(b, "alder")
	w := []advisor.Want{{Figure: adjust.Caster, Value: float64(0.5 * deg), By: true}}
	p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{w, w}})
	require.NoError(b, err)
	both := func(n int, do func(int)) {
		var wg sync.WaitGroup
		for g := range 2 {
			wg.Go(func() {
				for i := g; i < n; i += 2 {
					do(i)
				}
			})
		}
		wg.Wait()
	}
	for b.Loop() {
		if _, err := p.CheckSureness(1, 10000, both); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAdvise(b *testing.B) {
	r := advisor.Request{Kart: kart(b, "alder"), Rules: shipped(b), Facts: rules.Facts{Symptoms: symptoms(b, "understeer/entry:strong"), Track: "tight", Grip: rules.Level{Number: 6, IsNumber: true}, Tyres: rules.Level{Word: "new"}}}
	for b.Loop() {
		if _, err := advisor.Advise(r); err != nil {
			b.Fatal(err)
		}
	}
}
