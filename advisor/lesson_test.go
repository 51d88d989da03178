package advisor_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
)

// Every topic can be learned on every demo kart, with a step less and a step
// more that go the two ways.
func TestTeach(t *testing.T) {
	for _, name := range demo.Names() {
		k := demoKart(t, name)
		loose := 0.002
		if name == "dogwood" {
			loose = 0.15 // its rod ends turn by half turns
		}
		for _, topic := range advisor.Topics() {
			l, err := advisor.Teach(k, topic, advisor.SlowBend)
			if err != nil {
				t.Errorf("%s, %s: %v", name, topic.Name, err)
				continue
			}
			figure := func(i int) float64 {
				f, b := l.Stages[i].Figures, l.Stages[i].InBend
				switch topic.Name {
				case "caster":
					return float64(f[0].Caster)
				case "camber":
					return float64(f[0].Camber)
				case "toe":
					return float64(f[0].Toe)
				case "kpi":
					return float64(f[0].KPI)
				case "track-width":
					return float64(f[0].Contact.Y)
				case "ride-height":
					return -f[0].Contact.Z
				}
				return float64(b[0].InnerSteer + b[0].OuterSteer)
			}
			if !(figure(0) < figure(1) && figure(1) < figure(2)) {
				t.Errorf("%s, %s: %g, %g, %g for less, now, more; want them to rise", name, topic.Name, figure(0), figure(1), figure(2))
			}
			for i, s := range l.Stages {
				if len(s.Curve) < 20 || s.Name == "" || i == 1 && s.How != "" {
					t.Errorf("%s, %s, stage %d: %d points, name %q, how %q", name, topic.Name, i, len(s.Curve), s.Name, s.How)
				}
				if topic.Name != "toe" && topic.Name != "ride-height" {
					for _, side := range frontend.Sides {
						if d := s.Figures[side].Toe - l.Stages[1].Figures[side].Toe; math.Abs(d.Degrees()) > loose {
							t.Errorf("%s, %s, %s: toe is off by %v", name, topic.Name, s.Name, d)
						}
					}
				}
			}
		}
	}
}

// What is turned on a kart is what can be turned on it.
func TestTeachTurnsWhatThereIs(t *testing.T) {
	topics := map[string]advisor.Topic{}
	for _, x := range advisor.Topics() {
		topics[x.Name] = x
	}
	for _, tt := range []struct{ kart, topic, step, how string }{
		{"alder", "caster", "one turn of the caster screw", "caster screw: tighten it 1 turn"},
		{"alder", "camber", "about 0.5°", "camber plate:"},
		{"alder", "toe", "a quarter turn of the tie rod", "tie rod: "},
		{"alder", "kpi", "this kart's profile has no adjuster for it", ""},
		{"dogwood", "ride-height", "one washer of the stub-axle shims", "stub-axle shims"},
		{"dogwood", "caster", "1°", "top insert"},
		{"elm", "caster", "this kart's profile has no adjuster for it", ""},
		{"elm", "toe", "a quarter turn of the tie rod", "tie rod"},
	} {
		l, err := advisor.Teach(demoKart(t, tt.kart), topics[tt.topic], advisor.SlowBend)
		require.NoError(t, err)
		if !strings.Contains(l.Step, tt.step) || !strings.Contains(l.Stages[2].How, tt.how) || tt.how == "" && l.Stages[2].How != "" {
			t.Errorf("%s, %s: step %q, more by %q; want %q, %q", tt.kart, tt.topic, l.Step, l.Stages[2].How, tt.step, tt.how)
		}
	}
}

func TestTrial(t *testing.T) {
	now, err := advisor.NewTrial(demoKart(t, "alder")).Variant()
	require.NoError(t, err)
	was, err := now.Figures()
	require.NoError(t, err)
	for _, tt := range []struct {
		say  []string
		left func(frontend.Figures) float64
		by   float64
		tol  float64
	}{
		{[]string{"caster +1deg"}, casterOf, 1, 1e-6},
		{[]string{"more caster by 1.5 degrees"}, casterOf, 1.5, 1e-6},
		{[]string{"less castor"}, casterOf, -1, 1e-6},
		{[]string{"caster -1 deg", "caster +1 deg"}, casterOf, 0, 1e-9},
		{[]string{"camber -0.5°"}, camberOf, -0.5, 1e-6},
		{[]string{"more negative camber"}, camberOf, -0.5, 1e-6},
		{[]string{"less negative camber by 0.25deg"}, camberOf, 0.25, 1e-6},
		{[]string{"toe 1 mm out"}, toeOf, -0.2247, 1e-4},
		{[]string{"1/2 mm less toe-out"}, toeOf, 0.1123, 1e-4},
		{[]string{"toe +0,1deg"}, toeOf, 0.1, 1e-6},
		{[]string{"caster screw 1 turn tighter"}, casterOf, 0.91, 0.02},
		{[]string{"the caster screw by 1/2 turn tighter", "caster screw 1/2 turn tighter"}, casterOf, 0.91, 0.02},
		{[]string{"caster screw to 2 turns tighter", "caster screw to 1 turn tighter"}, casterOf, 0.91, 0.02},
		{[]string{"right caster screw 1 turn tighter"}, casterOf, 0, 1e-9},
		{[]string{"KPI +1deg"}, func(f frontend.Figures) float64 { return f.KPI.Degrees() }, 1, 1e-6},
		{[]string{"front 10 mm wider"}, func(f frontend.Figures) float64 { return f.Contact.Y }, 10, 0.01},
		{[]string{"narrower front, 5 mm"}, func(f frontend.Figures) float64 { return f.Contact.Y }, -5, 0.01},
		{[]string{"ride height 2mm lower"}, func(f frontend.Figures) float64 { return -f.Contact.Z }, -1.9, 0.1},
	} {
		trial := advisor.NewTrial(demoKart(t, "alder"))
		for _, s := range tt.say {
			require.NoError(t, trial.Change(s), s)
		}
		v, err := trial.Variant()
		require.NoError(t, err)
		f, err := v.Figures()
		require.NoError(t, err)
		if got := tt.left(f[0]) - tt.left(was[0]); math.Abs(got-tt.by) > tt.tol {
			t.Errorf("%q changes it by %.4f, want %.4f (%q)", tt.say, got, tt.by, trial.Said)
		}
	}
	trial := advisor.NewTrial(demoKart(t, "alder"))
	require.NoError(t, trial.Change("rear 10 mm narrower"))
	v, err := trial.Variant()
	require.NoError(t, err)
	if got, err := v.Track(loads.Rear); err != nil || got != 1160 {
		t.Errorf("the rear track is %v, want 1160 mm", got)
	}
	for _, tt := range []struct{ say, want string }{
		{"", "say what to change"}, {"tyre pressure up", "names nothing that can be changed"}, {"caster 5mm", "angle \"5mm\" has the unit \"mm\""},
		{"caster +40deg", "more than any kart stands; at most +10.00°"}, {"caster screw 9 turns tighter", "outside its travel"}, {"caster 2", "has no unit"},
	} {
		if err := trial.Change(tt.say); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q is answered with %v, want %q", tt.say, err, tt.want)
		}
	}
	if len(trial.Said) != 1 {
		t.Errorf("after refusals the trial has %q, want the one change", trial.Said)
	}
}

func casterOf(f frontend.Figures) float64 { return f.Caster.Degrees() }
func camberOf(f frontend.Figures) float64 { return f.Camber.Degrees() }
func toeOf(f frontend.Figures) float64    { return f.Toe.Degrees() }

func FuzzTrial(f *testing.F) {
	for _, s := range []string{"caster +1deg", "front 5 mm wider", "caster screw 1/2 turn tighter", "toe 1 mm out", "toe 300 mm", "camber 1/0 deg"} {
		f.Add(s)
	}
	k := demoKart(f, "alder")
	f.Fuzz(func(t *testing.T, text string) {
		trial := advisor.NewTrial(k)
		if trial.Change(text) != nil {
			return
		}
		v, err := trial.Variant()
		if err != nil {
			return // a position may be one that the tie rod cannot reach
		}
		if g, err := v.Figures(); err == nil && (math.IsNaN(float64(g[0].Caster)) || math.IsNaN(float64(g[0].Toe))) {
			t.Fatalf("%q makes figures that are no numbers: %+v", text, g)
		}
	})
}
