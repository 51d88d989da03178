package profile_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

var editDay = time.Date(2026, 11, 25, 23, 0, 0, 0, time.UTC)

const until = "# until 2026-11-25: "

func TestRewrite(t *testing.T) {
	const head = "format = 1\nname = \"x\"\n"
	const screw = "[[adjuster]]\nname = \"s\"\nkind = \"screw\"\npivot = \"top\"\ntightening_moves = \"rearward\"\nthread = \"M8\"\ntravel_in = \"3 turns\"\ntravel_out = \"3 turns\"\n"
	for _, tt := range []struct {
		name, text string
		edits      []profile.Edit
		want       string
	}{
		{
			"a value, and the comment behind it stays", head + "[corner] # as built\n  caster   =  \"12 deg\"  # from the drawing\n",
			[]profile.Edit{{Path: "corner.caster", Value: "12.4 deg ± 0.2 deg"}},
			head + "[corner] # as built\n  " + until + "caster = \"12 deg\"\n  caster   =  \"12.4 deg ± 0.2 deg\"  # from the drawing\n",
		},
		{
			"with a note", head + screw + "[present]\ns = \"1 turn\"\n",
			[]profile.Edit{{Path: profile.PresentPath("s"), Value: "2 turns", Note: "measured with the sweep"}},
			head + screw + "[present]\n" + until + "s = \"1 turn\"\n# from 2026-11-25: measured with the sweep\ns = \"2 turns\"\n",
		},
		{
			"a new key after the last of its table", head + "[corner]\ncaster = \"12 deg\"\n\n# the steering\n[steering]\n",
			[]profile.Edit{{Path: "corner.kpi", Value: "11 deg"}, {Path: "corner.toe", Value: "1 mm out over 255 mm"}},
			head + "[corner]\ncaster = \"12 deg\"\nkpi = \"11 deg\"\ntoe = \"1 mm out over 255 mm\"\n\n# the steering\n[steering]\n",
		},
		{
			"a new key after its line that was commented out", head + "[corner]\n# the lean\n# kpi = \"11 deg ± 2 deg\"\ncaster = \"12 deg\"\n",
			[]profile.Edit{{Path: "corner.kpi", Value: "10 deg"}},
			head + "[corner]\n# the lean\n# kpi = \"11 deg ± 2 deg\"\nkpi = \"10 deg\"\ncaster = \"12 deg\"\n",
		},
		{
			"a new table after the one it belongs to", head + "[corner]\ncaster = \"12 deg\"\n# nearly so\n\n[steering]\nlug_drop = \"38 mm\"",
			[]profile.Edit{{Path: "corner.left.caster", Value: "12.5 deg"}, {Path: "corner.left.kpi", Value: "11 deg"}, {Path: "steering.lug_spacing", Value: "40 mm"}},
			head + "[corner]\ncaster = \"12 deg\"\n# nearly so\n\n[corner.left]\ncaster = \"12.5 deg\"\nkpi = \"11 deg\"\n\n[steering]\nlug_drop = \"38 mm\"\nlug_spacing = \"40 mm\"\n",
		},
		{
			"a new table at the end", head + screw,
			[]profile.Edit{{Path: profile.PresentPath("s", frontend.Right), Value: "1 turn"}},
			head + screw + "\n[present.right]\ns = \"1 turn\"\n",
		},
		{
			"dotted keys", head + "corner.caster = \"12 deg\"\ncorner.left.kpi = \"11 deg\"\nkart.wheelbase = \"1040 mm\"\n",
			[]profile.Edit{{Path: "corner.left.kpi", Value: "10 deg"}, {Path: "corner.kpi", Value: "10.5 deg"}, {Path: "corner.left.toe", Value: "0 deg"}},
			head + "corner.caster = \"12 deg\"\n" + until + "corner.left.kpi = \"11 deg\"\ncorner.left.kpi = \"10 deg\"\ncorner.left.toe = \"0 deg\"\ncorner.kpi = \"10.5 deg\"\nkart.wheelbase = \"1040 mm\"\n",
		},
		{
			"inline tables", head + "corner = { caster = \"12 deg\", left = {} }\nadjuster = [\n  { name = \"t\", kind = \"tie-rod\", thread = \"M8\" },\n]\n",
			[]profile.Edit{{Path: "corner.caster", Value: "11 deg"}, {Path: "corner.left.kpi", Value: "9 deg"}, {Path: `adjuster "t".travel_longer`, Value: "5 turns"}},
			head + until + "corner.caster = \"12 deg\"\ncorner = { caster = \"11 deg\", left = { kpi = \"9 deg\" } }\nadjuster = [\n  { name = \"t\", kind = \"tie-rod\", thread = \"M8\", travel_longer = \"5 turns\" },\n]\n",
		},
		{
			"a pitch takes the place of the thread, and plain numbers stay plain", head + screw,
			[]profile.Edit{{Path: `adjuster "s".pitch`, Value: "1.23 mm ± 0.01 mm"}, {Path: `adjuster "s".ratio`, Value: "0.97"}},
			head + strings.Replace(screw, "thread = \"M8\"", until+"thread = \"M8\"\npitch = \"1.23 mm ± 0.01 mm\"", 1) + "ratio = 0.97\n",
		},
		{
			"line ends and the mark at the start of a file", "\xef\xbb\xbfcorner = {caster = \"12 deg\"}\r\nformat = 1\r\nname = 'x'\r\n",
			[]profile.Edit{{Path: "corner.caster", Value: "13 deg"}},
			"\xef\xbb\xbf" + until + "corner.caster = \"12 deg\"\r\ncorner = {caster = \"13 deg\"}\r\nformat = 1\r\nname = 'x'\r\n",
		},
		{
			"a value on several lines", head + "[corner]\ncaster = \"\"\"\n12 \\\n  deg\"\"\"\n",
			[]profile.Edit{{Path: "corner.caster", Value: "13 deg"}},
			head + "[corner]\n" + until + "caster = \"\"\"\n#   12 \\\n#     deg\"\"\"\ncaster = \"13 deg\"\n",
		},
		{
			"what it is already", head + "[corner]\ncaster = \"12 deg\"\n",
			[]profile.Edit{{Path: "corner.caster", Value: "12 deg", Note: "again"}},
			head + "[corner]\ncaster = \"12 deg\"\n",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, _, err := profile.Rewrite("k.toml", []byte(tt.text), editDay, tt.edits...)
			require.NoError(t, err)
			if string(got) != tt.want {
				t.Errorf("got\n%s\nwant\n%s", got, tt.want)
			}
		})
	}
}

func TestRewriteRefuses(t *testing.T) {
	for _, tt := range []struct {
		kart  string
		edits []profile.Edit
		want  string
	}{
		{"alder", []profile.Edit{{Path: "corner.castor", Value: "12 deg"}}, `corner.castor cannot be set: [corner] has no number "castor"; did you mean "caster"?`},
		{"alder", []profile.Edit{{Path: "corner.caster", Value: "12"}}, "the profile would be wrong then: k.toml:"},
		{"alder", []profile.Edit{{Path: "corner.caster", Value: "120 deg"}}, "caster of 120° is not a kart's"},
		{"alder", []profile.Edit{{Path: "corner.caster", Value: "12 deg"}, {Path: "corner.caster", Value: "13 deg"}}, "corner.caster is to be set twice"},
		{"alder", []profile.Edit{{Path: "corner.caster", Value: "12\ndeg"}}, "does not fit on a line"},
		{"alder", []profile.Edit{{Path: "corner.caster", Value: ""}}, "there is no value to set"},
		{"alder", []profile.Edit{{Path: "corner.caster", Value: "12 deg", Note: "a\nname = 3"}}, "does not fit on a line"},
		{"alder", []profile.Edit{{Path: "name", Value: "x"}}, "edit the file by hand"},
		{"alder", []profile.Edit{{Path: "limits.caster", Value: "x"}}, "edit the file by hand"},
		{"alder", []profile.Edit{{Path: "corner", Value: "x"}}, "edit the file by hand"},
		{"alder", []profile.Edit{{Path: "corner[2]", Value: "x"}}, "edit the file by hand"},
		{"alder", []profile.Edit{{Path: "kart.left.wheelbase", Value: "1 m"}}, "edit the file by hand"},
		{"alder", []profile.Edit{{Path: "corner..caster", Value: "x"}}, "it is not a path such as corner.left.caster"},
		{"alder", []profile.Edit{{Path: "points.lug[0]", Value: "1 mm"}}, "edit the file by hand"},
		{"alder", []profile.Edit{{Path: `present."tie rot"`, Value: "1 turn"}}, `there is no adjuster "tie rot" here; did you mean "tie rod"?`},
		{"alder", []profile.Edit{{Path: `present."tie rod"`, Value: "9 turns"}}, "outside its travel"},
		{"alder", []profile.Edit{{Path: `adjuster "screw".gauge`, Value: "7 mm"}}, `there is no adjuster "screw" here`},
		{"alder", []profile.Edit{{Path: `adjuster tie rod.pitch`, Value: "7 mm"}}, "write the adjuster's name in quotes"},
		{"alder", []profile.Edit{{Path: `adjuster "tie rod".name`, Value: "x"}}, "an adjuster's name says which it is"},
		{"alder", []profile.Edit{{Path: `adjuster "camber plate".positions`, Value: "12.5"}}, `"12.5" is not a whole number`},
		{"alder", []profile.Edit{{Path: `adjuster "caster screw".ratio`, Value: "nan"}}, `"nan" is not a number`},
		{"alder", []profile.Edit{{Path: `adjuster "caster screw".gage`, Value: "7 mm"}}, `an adjuster of kind screw has no "gage"; did you mean "gauge"?`},
		{"alder", []profile.Edit{{Path: "mass.scales.left", Value: "40 kg"}}, `there is no scale "left"`},
		{"alder", []profile.Edit{{Path: "mass.scales.front_lef", Value: "40 kg"}}, `there is no scale "front_lef"; did you mean "front_left"?`},
		{"cedar", []profile.Edit{{Path: "mass.scales.front_left", Value: "40 kg"}}, "the profile would be wrong then"},
		{"dogwood", []profile.Edit{{Path: "corner.caster", Value: "12 deg"}}, "this kart is given by [points]"},
		{"dogwood", []profile.Edit{{Path: "points.lug[3]", Value: "1 mm"}}, "edit the file by hand"},
		{"dogwood", []profile.Edit{{Path: `adjuster "top insert".positions`, Value: "x"}}, "it is a list"},
		{"dogwood", []profile.Edit{{Path: `adjuster "top insert".positions[9].rearward`, Value: "1 mm"}}, "the file has no such value"},
	} {
		data, _ := demo.Read(tt.kart)
		out, _, err := profile.Rewrite("k.toml", data, editDay, tt.edits...)
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%v: error %v, want one with %q", tt.edits, err, tt.want)
		}
		if out != nil {
			t.Errorf("%v: refused and still returned a text", tt.edits)
		}
	}
	two := "format = 1\nname = \"x\"\n[[adjuster]]\nname = \"t\"\nkind = \"tie-rod\"\nthread = \"M8\"\nside = \"left\"\n[[adjuster]]\nname = \"t\"\nkind = \"tie-rod\"\nthread = \"M6\"\nside = \"right\"\n"
	if _, _, err := profile.Rewrite("k.toml", []byte(two), editDay, profile.Edit{Path: `adjuster "t".thread`, Value: "M8"}); err == nil || !strings.Contains(err.Error(), "two tables") {
		t.Errorf("a name that both sides have: error %v", err)
	}
	if _, _, err := profile.Rewrite("k.toml", []byte("format = 1\n"), editDay); err == nil || !strings.Contains(err.Error(), "a profile with errors is not edited") {
		t.Errorf("a profile with errors: error %v", err)
	}
}

// numbers are those that can be set in any order: of the wheel loads, which can
// be given in two ways, those that are given.
func numbers(k *profile.Kart) []profile.Number {
	return append(slices.Clone(k.Numbers), slices.DeleteFunc(slices.Clone(k.LoadNumbers), func(n profile.Number) bool { return n.Assumed })...)
}

// Whatever number is set, the profile then has it, has every other number as
// before, and all its text but the value and the comments that tell of it.
func TestRewriteTouchesNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(demo.Names()).Draw(t, "kart")
		data, _ := demo.Read(name)
		k, _ := profile.Parse("k.toml", data)
		edits := map[string]profile.Edit{}
		var list []profile.Edit
		for _, n := range rapid.SliceOfNDistinct(rapid.SampledFrom(numbers(k)), 1, 4, func(n profile.Number) string { return n.Path }).Draw(t, "numbers") {
			n.Value *= 1 + rapid.Float64Range(-0.01, 0.01).Draw(t, "by")
			n.PM = rapid.SampledFrom([]float64{0, map[bool]float64{true: 0.02, false: 0.5}[n.Angle || n.Unit == "%"]}).Draw(t, "pm")
			path := n.Path
			if edits[path].Path != "" {
				continue // its other side was written for it
			}
			if key, ok := strings.CutPrefix(path, "corner."); ok && !strings.Contains(key, ".") && edits["corner.right."+key].Path == "" && rapid.Bool().Draw(t, "one side") {
				path = "corner.right." + key
			}
			edits[path] = profile.Edit{Path: path, Value: n.Text(geometry.Units{}), Note: rapid.SampledFrom([]string{"", "measured"}).Draw(t, "note")}
			list = append(list, edits[path])
		}
		out, changes, err := profile.Rewrite("k.toml", data, editDay, list...)
		if err != nil {
			t.Fatalf("%v: %v", list, err)
		}
		after, found := profile.Parse("k.toml", out)
		if after == nil {
			t.Fatalf("%v: %v", list, found)
		}
		// The numbers.
		text := map[string]string{}
		for _, n := range numbers(after) {
			text[n.Path] = n.Text(geometry.Units{})
		}
		for _, e := range list {
			if text[e.Path] != e.Value {
				t.Errorf("%s is %q, want %q", e.Path, text[e.Path], e.Value)
			}
		}
		for _, n := range numbers(k) {
			_, edited := edits[n.Path]
			got, there := text[n.Path]
			if !edited && there && got != n.Text(geometry.Units{}) {
				t.Errorf("%s was %q and is %q, though it was not edited", n.Path, n.Text(geometry.Units{}), got)
			}
		}
		// The text: without the comments and the new keys, and with the old
		// values in place of the new, it is what it was.
		var back []string
		for line := range strings.Lines(string(out)) {
			if s := strings.TrimSpace(line); strings.HasPrefix(s, until) || strings.HasPrefix(s, "# from 2026-11-25: ") {
				continue
			}
			back = append(back, line)
		}
		got := strings.Join(back, "")
		for _, c := range changes {
			switch {
			case strings.Contains(c.Was, "thread = "):
				got = strings.Replace(got, "pitch = "+c.Now, c.Was, 1)
			case c.Was != "":
				key := c.Path[strings.LastIndexAny(c.Path, ".")+1:]
				key, _, _ = strings.Cut(key, "[")
				i := strings.Index(got, c.Now)
				for !strings.Contains(got[strings.LastIndex(got[:i], "\n")+1:i], key) {
					i += 1 + strings.Index(got[i+1:], c.Now)
				}
				got = got[:i] + c.Was + got[i+len(c.Now):]
			default:
				key := c.Path[strings.LastIndex(c.Path, ".")+1:]
				got = strings.Replace(got, key+" = "+c.Now+"\n", "", 1)
			}
		}
		for _, header := range []string{"corner.right", "corner", "steering", "mass", "kart"} {
			if h := "\n[" + header + "]\n"; !strings.Contains(string(data), h) {
				got = strings.Replace(got, h, "", 1)
			}
		}
		if got != string(data) {
			t.Errorf("%v\nthe rest of the text is\n%s\nand was\n%s", list, got, data)
		}
	})
}

// Any setting that a kart can stand at is written so that it stands there.
func TestPresentEdits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(demo.Names()).Draw(t, "kart")
		data, _ := demo.Read(name)
		k, _ := profile.Parse("k.toml", data)
		for round := range 2 {
			to := [2]adjust.Setting{}
			alike := rapid.Bool().Draw(t, "alike")
			for _, s := range frontend.Sides {
				for i, a := range k.Corners[s].Adjusters {
					v := a.Travel()
					p := v.Clamp(rapid.Float64Range(v.Min, v.Max).Draw(t, a.Name))
					if s == frontend.Right && alike {
						p = to[0][i]
					}
					to[s] = append(to[s], p)
				}
			}
			out, _, err := profile.Rewrite("k.toml", data, editDay, k.PresentEdits(to, "set so")...)
			if err != nil {
				t.Fatal(err)
			}
			after, _ := profile.Parse("k.toml", out)
			for _, s := range frontend.Sides {
				for i, a := range k.Corners[s].Adjusters {
					if got := after.Present[s][i]; math.Abs(got-to[s][i]) > 0.0051 {
						t.Fatalf("round %d: %v %s stands at %g, want %g:\n%s", round, s, a.Name, got, to[s][i], out)
					}
				}
			}
			data, k = out, after
		}
	})
}

func FuzzRewrite(f *testing.F) {
	for _, n := range demo.Names() {
		data, _ := demo.Read(n)
		f.Add(data, "corner.left.caster", "12.3 deg ± 0.1 deg")
		f.Add(data, `present."tie rod"`, "1/2 turn longer")
		f.Add(data, `adjuster "tie rod".pitch`, "1.3 mm")
	}
	f.Fuzz(func(t *testing.T, data []byte, path, value string) {
		out, _, err := profile.Rewrite("k.toml", data, editDay, profile.Edit{Path: path, Value: value})
		if err != nil {
			return
		}
		if k, found := profile.Parse("k.toml", out); k == nil {
			t.Fatalf("an accepted edit makes a profile with errors: %v\n%s", found, out)
		}
	})
}
