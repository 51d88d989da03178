package profile_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/loads"
	"kartwright/rules/diag"
)

func loadsOf(t testing.TB, k *profile.Kart) loads.Kart {
	l, err := k.Loads()
	require.NoError(t, err)
	return l
}

func parse(t testing.TB, text string) *profile.Kart {
	k, found := profile.Parse("k.toml", []byte("format = 1\nname = \"x\"\n"+text))
	require.Empty(t, found)
	return k
}

// A profile that says nothing of masses has the published kart's, but for its
// own front track, and says of each number where it was published.
func TestLoadsAssumed(t *testing.T) {
	k := parse(t, "")
	want, _ := loads.Published()
	got := loadsOf(t, k)
	f, err := k.Figures(k.Present)
	require.NoError(t, err)
	want.Track[loads.Front] = profile.FrontTrack(f)
	if d := got.CGBehind - want.CGBehind; math.Abs(float64(d)) > 0.5 {
		t.Errorf("the centre of gravity lies %v behind the front axle, want %v to the nearest tenth of a per cent", got.CGBehind, want.CGBehind)
	}
	want.CGBehind = got.CGBehind
	if got != want {
		t.Errorf("assumed %+v, want %+v", got, want)
	}
	if len(k.LoadNumbers) != 11 {
		t.Errorf("%d numbers are listed, want 11", len(k.LoadNumbers))
	}
	for _, n := range k.LoadNumbers {
		if !n.Assumed || n.Source == "" || n.PM <= 0 || n.Doc == "" {
			t.Errorf("%+v: want it assumed, with its source, ± and meaning", n)
		}
	}
}

func TestLoadsStated(t *testing.T) {
	k := parse(t, `[kart]
wheelbase = "1000 mm"
[mass]
total = "150 ± 2 kg"
cg_behind = "58 cm"
cg_height = "9 in"
rear_track = "1150 mm"
tyre_rate_front = "70 N/mm"
frame_torsion = "300 ± 40 N·m/deg"
driver = "68 kg"
seat_behind = "610 mm"
`)
	got := loadsOf(t, k)
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"mass", float64(got.Mass), 150}, {"CG behind", float64(got.CGBehind), 580}, {"CG height", float64(got.CGHeight), 228.6},
		{"rear track", float64(got.Track[loads.Rear]), 1150}, {"front tyre", float64(got.Tyre[loads.Front]), 70}, {"rear tyre", float64(got.Tyre[loads.Rear]), 61.3},
		{"frame", float64(got.FrameTorsion()), 300}, {"driver", float64(got.Driver.Mass), 68}, {"seat", float64(got.Driver.Behind), 610},
	} {
		if math.Abs(tt.got-tt.want) > 1e-9 {
			t.Errorf("%s is %g, want %g", tt.name, tt.got, tt.want)
		}
	}
	texts := map[string]string{}
	for _, n := range k.LoadNumbers {
		if !n.Assumed {
			texts[n.Path] = n.Text(geometry.Units{})
		}
	}
	for path, want := range map[string]string{"mass.total": "150.0 kg ± 2.0 kg", "mass.frame_torsion": "300.0 N·m/deg ± 40.0 N·m/deg", "mass.cg_height": "228.60 mm"} {
		if texts[path] != want {
			t.Errorf("%s prints as %q, want %q", path, texts[path], want)
		}
	}

	n, err := k.With("mass.total", 10)
	require.NoError(t, err)
	if got := loadsOf(t, n).Mass; got != 160 {
		t.Errorf("nudged by 10 kg the kart weighs %g kg, want 160", float64(got))
	}
	n, err = k.With("corner.stub_length", 5)
	require.NoError(t, err)
	if d := float64(loadsOf(t, n).Track[loads.Front] - got.Track[loads.Front]); math.Abs(d-10) > 0.1 {
		t.Errorf("with both stub axles 5 mm longer the front track grows by %g mm, want about 10", d)
	}
	n, err = k.With("mass.driver", 100)
	require.NoError(t, err)
	if _, err := n.Loads(); err == nil {
		t.Error("a driver of 168 kg in a kart of 150 kg is accepted")
	}
}

// The kart that scales describe puts on them what they show.
func TestLoadsFromScales(t *testing.T) {
	k := load(t, "alder")
	l := loadsOf(t, k)
	got, err := l.Solve(loads.Motion{}, &[2]loads.Contact{})
	require.NoError(t, err)
	for w, kg := range []float64{33.4, 33.0, 47.3, 47.5} {
		if on := float64(got.Load[w]) / loads.G; math.Abs(on-kg) > 1e-9 {
			t.Errorf("the %v wheel carries %.6f kg, its scale showed %g", loads.Wheel(w), on, kg)
		}
	}
	for _, n := range k.LoadNumbers {
		if n.Path == "mass.total" || n.Path == "mass.front_share" {
			t.Errorf("%s is listed beside the scales that replace it", n.Path)
		}
	}
	n, err := k.With("mass.scales.rear_left", 2)
	require.NoError(t, err)
	if d := float64(loadsOf(t, n).Mass - l.Mass); math.Abs(d-2) > 1e-9 {
		t.Errorf("with 2 kg more on one scale the kart is %g kg heavier", d)
	}
}

func TestLoadFindings(t *testing.T) {
	const head = "format = 1\nname = \"x\"\n[mass]\n"
	for _, tt := range []struct{ name, text, want string }{
		{"no unit", head + "total = 165\n", `k.toml:4:9: error: total has no unit [bad-quantity]`},
		{"help", head + "total = 165\n", `help: write total = "165 kg"`},
		{"wrong unit", head + "frame_rate_rear = \"60 mm\"\n", `k.toml:4:19: error: frame_rate_rear: spring rate "60 mm" has the unit "mm", which is not one of N/mm, kN/m, N/m or lb/in [bad-quantity]`},
		{"implausible", head + "total = \"1650 kg\"\n", `k.toml:4:9: error: total of 1650 kg is not a kart's; expected 30 kg to 400 kg [implausible]`},
		{"share", head + "front_share = \"4.2 %\"\n", `k.toml:4:15: error: front_share of 4.2 % is not a kart's; expected 20 % to 60 % [implausible]`},
		{"unknown", head + "totals = \"165 kg\"\n", `k.toml:4:1: error:`},
		{"twice", head + "front_share = \"42 %\"\ncg_behind = \"600 mm\"\n", `k.toml:4:1: error: front_share is given by cg_behind already [two-forms]`},
		{"frame twice", head + "frame_torsion = \"300 N·m/deg\"\nframe_rate_rear = \"60 N/mm\"\n", `k.toml:5:1: error: frame_rate_rear is given by frame_torsion already [two-forms]`},
		{"scales and total", head + "total = \"165 kg\"\n[mass.scales]\nfront_left = \"33 kg\"\nfront_right = \"33 kg\"\nrear_left = \"48 kg\"\nrear_right = \"48 kg\"\n", `k.toml:4:1: error: total is given by scales already [two-forms]`},
		{"three scales", head + "[mass.scales]\nfront_left = \"33 kg\"\nfront_right = \"33 kg\"\nrear_left = \"48 kg\"\n", `error: [mass.scales] needs the key "rear_right"`},
		{"lifted", head + "[mass.scales]\nfront_left = \"0 kg\"\nfront_right = \"33 kg\"\nrear_left = \"48 kg\"\nrear_right = \"48 kg\"\n", `k.toml:5:14: error: front_left of 0 kg is not a kart's`},
		{"driver", head + "total = \"100 kg\"\ndriver = \"120 kg\"\n", `k.toml:3:2: error: the driver weighs 120.0 kg, which is not less than the 100.0 kg of kart and driver [impossible-kart]`},
		{"CG past the axle", head + "cg_behind = \"900 mm\"\n[kart]\nwheelbase = \"800 mm\"\n", `k.toml:3:2: error: the centre of gravity's distance behind the front axle is 900 mm, want between 0 and the wheelbase, 800 mm [impossible-kart]`},
	} {
		k, found := profile.Parse("k.toml", []byte(tt.text))
		var b strings.Builder
		require.NoError(t, diag.WriteText(&b, found))
		if !strings.Contains(b.String(), tt.want) || k != nil {
			t.Errorf("%s: findings\n%swant no kart and %s", tt.name, b.String(), tt.want)
		}
	}
}

// The template's [mass] is commented out, and is right when it is filled in.
func TestTemplateMass(t *testing.T) {
	text, err := profile.Template("x", demo.Default, map[string]string{"total": "150 kg", "frame_rate_front": "20 N/mm"})
	require.NoError(t, err)
	k, found := profile.Parse("k.toml", []byte(text))
	require.Empty(t, found)
	if l := loadsOf(t, k); l.Mass != 150 || l.Frame[loads.Front] != 20 {
		t.Errorf("the filled template has %+v", l)
	}
	for _, d := range profile.Dimensions() {
		if d.Table != "mass" {
			continue
		}
		if err := profile.CheckDimension(d.Key, d.Assumed); err != nil {
			t.Errorf("%s: what is shown for it, %q, is refused: %v", d.Key, d.Assumed, err)
		}
		if !strings.Contains(text, d.Doc) {
			t.Errorf("the template does not explain %s", d.Key)
		}
	}
}
