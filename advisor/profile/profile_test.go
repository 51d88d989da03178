package profile_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

func load(t testing.TB, name string) *profile.Kart {
	data, ok := demo.Read(name)
	require.True(t, ok)
	k, found := profile.Parse(name+".toml", data)
	var b bytes.Buffer
	require.NoError(t, diag.WriteText(&b, found))
	require.Empty(t, b.String())
	return k
}

// The demo karts are clean, and between them use every kind of adjuster.
func TestDemoKarts(t *testing.T) {
	used := map[string]bool{}
	for _, name := range demo.Names() {
		k := load(t, name)
		data, _ := demo.Read(name)
		for _, kind := range adjust.Kinds() {
			if strings.Contains(string(data), fmt.Sprintf("kind = %q", kind.Name)) {
				used[kind.Name] = true
			}
		}
		f, err := k.Figures(k.Standard())
		require.NoError(t, err)
		for _, s := range frontend.Sides {
			if c := f[s].Caster.Degrees(); c < 8 || c > 16 {
				t.Errorf("%s: %v caster is %.2f°", name, s, c)
			}
			if tr := float64(f[s].Trail); tr < 15 || tr > 45 {
				t.Errorf("%s: %v trail is %.1f mm", name, s, tr)
			}
		}
	}
	for _, kind := range adjust.Kinds() {
		if !used[kind.Name] {
			t.Errorf("no demo kart uses the kind %q", kind.Name)
		}
	}
}

// At standard a kart measures what its profile says, on each side.
func TestStandardIsWhatTheProfileSays(t *testing.T) {
	k := load(t, "cedar")
	f, err := k.Figures(k.Standard())
	require.NoError(t, err)
	for _, tt := range []struct {
		name      string
		got, want geometry.Angle
	}{
		{"left caster", f[0].Caster, 12 * geometry.Degree}, {"right caster", f[1].Caster, 11.7 * geometry.Degree},
		{"left camber", f[0].Camber, -0.3 * geometry.Degree}, {"right camber", f[1].Camber, -0.2 * geometry.Degree},
		{"left toe", f[0].Toe, frontend.ToeAngle(-1, 255)}, {"KPI", f[1].KPI, 10 * geometry.Degree},
	} {
		if !tt.got.Near(tt.want, 1e-9) {
			t.Errorf("%s is %v, want %v", tt.name, tt.got, tt.want)
		}
	}
	if k.Present[0][2] != 0.25 || k.Present[1][2] != 0.25 {
		t.Errorf("tie rods stand at %v, want a quarter turn longer", k.Present)
	}
}

// The two ways of giving a kart agree: a corner by points that were computed
// from one by dimensions.
func TestPointsAndDimensionsAgree(t *testing.T) {
	byDims := load(t, "alder")
	c := byDims.Axle.Corner[0]
	inner := c.WheelCentre.Sub(c.Spindle.Scale(80))
	upper := c.ColumnPoint.Add(c.ColumnAxis.Scale(100))
	v := func(p geometry.Vec) string { return fmt.Sprintf(`["%.12f mm", "%.12f mm", "%.12f mm"]`, p.X, p.Y, p.Z) }
	text := fmt.Sprintf("format = 1\nname = \"x\"\n[kart]\nwheelbase = \"1045 mm\"\ntyre_radius = \"128 mm\"\n[points]\nlower_pivot = %s\nupper_pivot = %s\nwheel_centre = %s\nstub_point = %s\narm_joint = %s\nlug = %s\ncolumn_lower = %s\ncolumn_upper = %s\n",
		v(c.Bottom), v(c.Top), v(c.WheelCentre), v(inner), v(c.ArmJoint), v(c.Lug), v(c.ColumnPoint), v(upper))
	byPoints, found := profile.Parse("points.toml", []byte(text))
	require.Empty(t, found)
	for _, phi := range []geometry.Angle{-20 * geometry.Degree, 0, 15 * geometry.Degree} {
		a, err := byDims.Axle.Sweep([2]frontend.Shift{}, []geometry.Angle{phi})
		require.NoError(t, err)
		b, err := byPoints.Axle.Sweep([2]frontend.Shift{}, []geometry.Angle{phi})
		require.NoError(t, err)
		for _, s := range frontend.Sides {
			if !a[0].Steer[s].Near(b[0].Steer[s], 1e-9) || !a[0].Camber[s].Near(b[0].Camber[s], 1e-9) || !a[0].Height[s].Near(b[0].Height[s], 1e-8) {
				t.Errorf("column at %v, %v side: %+v by dimensions, %+v by points", phi, s, a[0], b[0])
			}
		}
	}
}

func TestAssumedIsListed(t *testing.T) {
	k := load(t, "elm")
	var names []string
	for _, n := range k.Assumed() {
		names = append(names, n.Path)
	}
	got := strings.Join(names, " ")
	if !strings.Contains(got, "corner.pivot_span") || !strings.Contains(got, "kart.tyre_radius") || strings.Contains(got, "wheelbase") || strings.Contains(got, "toe") {
		t.Errorf("assumed: %s; want all but the wheelbase and the toe that the file gives", got)
	}
}

// With asks what a slightly different kart would do.
func TestWith(t *testing.T) {
	k := load(t, "alder")
	n, err := k.With("corner.caster", float64(geometry.Degree))
	require.NoError(t, err)
	f, err := n.Figures(n.Present)
	require.NoError(t, err)
	for _, s := range frontend.Sides {
		if !f[s].Caster.Near(13*geometry.Degree, 1e-9) {
			t.Errorf("%v caster is %v, want 13°", s, f[s].Caster)
		}
	}
	n, err = k.With(`adjuster "camber plate".eccentricity`, 0.5)
	require.NoError(t, err)
	if got := math.Abs(n.Corners[0].Adjusters[1].Shift(3).Top.Y); math.Abs(got-1.7) > 1e-12 {
		t.Errorf("a quarter turn of the wider plate moves the top %.3f mm, want 1.7", got)
	}
}

func TestFindings(t *testing.T) {
	const head = "format = 1\nname = \"x\"\n"
	const screw = "[[adjuster]]\nname = \"s\"\nkind = \"screw\"\npivot = \"top\"\ntightening_moves = \"rearward\"\nthread = \"M8\"\ntravel_in = \"3 turns\"\ntravel_out = \"3 turns\"\n"
	for _, tt := range []struct{ name, text, want string }{
		{"no unit", head + "[corner]\ncaster = 12\n", `k.toml:4:10: error: caster has no unit [bad-quantity]`},
		{"no unit in text", head + "[corner]\ncaster = \"12\"\n", `k.toml:4:10: error: caster: angle "12" has no unit (write 12deg or 12rad) [bad-quantity]`},
		{"ten times", head + "[corner]\npivot_span = \"780 mm\"\n", `k.toml:4:14: error: pivot_span of 780 mm is not a kart's; expected 30 mm to 200 mm [implausible]`},
		{"unknown key", head + "[corner]\ncastor = \"12 deg\"\n", `k.toml:4:1: error:`},
		{"unknown kind", head + "[[adjuster]]\nname = \"a\"\nkind = \"srew\"\n", `k.toml:5:8: error: "srew" is not a kind of adjuster [unknown-kind]`},
		{"missing field", head + "[[adjuster]]\nname = \"a\"\nkind = \"shims\"\nthickness = \"2 mm\"\ntotal = 5\n", `k.toml:3:1: error:`},
		{"bad field", head + strings.Replace(screw, "M8", "M9", 1), `k.toml:8:10: error: s: thread: "M9" is not one of`},
		{"twice", head + screw + screw, `k.toml:12:8: error: there is another "s" on the left side [adjuster-twice]`},
		{"unknown present", head + screw + "[present]\nt = \"1 turn\"\n", `k.toml:12:1: error: there is no adjuster "t" here [unknown-adjuster]`},
		{"beyond travel", head + screw + "[present.left]\ns = \"5 turns\"\n", `k.toml:12:5: error: left side, s: 5.00 turns tighter is outside its travel`},
		{"newer", "format = 2\nname = \"x\"\n", `k.toml:1:10: error: this profile has format 2, newer than 1`},
		{"backwards limit", head + "[limits]\ncaster = [\"12 deg\", \"8 deg\"]\n", `k.toml:4:10: error: the limit of caster runs backwards`},
		{"outside", head + "[limits]\ncaster = [\"2 deg\", \"8 deg\"]\n", `k.toml:4:10: warning: left caster is 12.00° now, outside your own limit (2.00° to 8.00°) [outside-limit]`},
		{"rod cannot reach", head + "[steering]\ncolumn_behind = \"20 mm\"\nlug_drop = \"-120 mm\"\ncolumn_rake = \"10 deg\"\n[[adjuster]]\nname=\"t\"\nkind=\"tie-rod\"\npitch=\"6 mm\"\ntravel_shorter=\"20 turns\"\n[present]\nt = \"20 turns shorter\"\n", "impossible-kart"},
		{"both forms", head + "[corner]\n[points]\n", `k.toml:3:2: error: the corners are given by [points] already [two-forms]`},
		{"point", head + "[points]\nlower_pivot = [\"1\"]\nupper_pivot=[\"0 mm\",\"1\",\"2 mm\"]\n", `k.toml:5:21: error: upper_pivot: length "1" has no unit`},
		{"not TOML", "format = \n", "[syntax]"},
		{"empty", "", "[empty-file]"},
	} {
		k, found := profile.Parse("k.toml", []byte(tt.text))
		var b strings.Builder
		for _, d := range found {
			b.WriteString(d.String() + "\n")
		}
		if !strings.Contains(b.String(), tt.want) {
			t.Errorf("%s: findings\n%swant %s", tt.name, b.String(), tt.want)
		}
		if diag.HasErrors(found) != (k == nil) {
			t.Errorf("%s: a kart together with errors, or neither", tt.name)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, n := range demo.Names() {
		data, _ := demo.Read(n)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		k, found := profile.Parse("k.toml", data)
		if (k == nil) != diag.HasErrors(found) {
			t.Fatalf("kart %v with findings %v", k != nil, found)
		}
		if k == nil {
			return
		}
		if _, err := k.Figures(k.Present); err != nil {
			t.Fatalf("an accepted kart has no figures: %v", err)
		}
		if _, err := k.Loads(); err != nil {
			t.Fatalf("an accepted kart has no wheel loads: %v", err)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	data, _ := demo.Read("alder")
	for b.Loop() {
		if k, _ := profile.Parse("alder.toml", data); k == nil {
			b.Fatal("no kart")
		}
	}
}
