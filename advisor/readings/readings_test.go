package readings_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/advisor/readings"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/fit"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

const deg = float64(geometry.Degree)

func kart(t testing.TB, name string) *profile.Kart {
	data, ok := demo.Read(name)
	require.True(t, ok)
	k, found := profile.Parse(name+".toml", data)
	require.Empty(t, found)
	return k
}

// What is wrong with a file is said at the smallest thing to edit.
func TestFindings(t *testing.T) {
	const head = "format = 1\n"
	for _, tt := range []struct {
		name, file, text string
		want             []string
	}{
		{"no unit", "r.toml", head + "[[row]]\nside = \"left\"\ncamber = \"-0.6\"\n",
			[]string{`r.toml:4:10: error: camber: angle "-0.6" has no unit (write -0.6deg or -0.6rad) [bad-reading]`}},
		{"a bare number", "r.toml", head + "[[row]]\nside = \"left\"\ncamber = -0.6\n",
			[]string{`r.toml:4:10: error: camber has no unit [bad-reading]`}},
		{"a length for an angle", "r.toml", head + "[[row]]\nside = \"left\"\ncamber = \"2 mm\"\n",
			[]string{`r.toml:4:10: error: camber: angle "2 mm" has the unit "mm", which is not one of`}},
		{"unknown adjuster", "r.toml", head + "[[row]]\nside = \"left\"\n\"castor screw\" = \"1 turn tighter\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:4:1: error: this kart has no adjuster "castor screw", and nothing is read under that name [unknown-column]`}},
		{"unknown key in a row without readings", "r.toml", head + "[[row]]\nside = \"left\"\ncambr = \"1 deg\"\n[[row]]\nside = \"left\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:4:1: error: this kart has no adjuster "cambr", and nothing is read under that name [unknown-column]`}},
		{"outside travel", "r.toml", head + "[[row]]\nside = \"left\"\n\"caster screw\" = \"5 turns tighter\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:4:18: error: caster screw: `}},
		{"not a position", "r.toml", head + "[[row]]\nside = \"left\"\n\"camber plate\" = \"2 mm\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:4:18: error: camber plate: "2 mm" is not a position of an eccentric`}},
		{"no side", "r.toml", head + "[[row]]\ncamber = \"1 deg\"\n",
			[]string{`r.toml:2:1: error: this row does not say which side was read [bad-side]`}},
		{"wrong side", "r.toml", head + "[[row]]\nside = \"port\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:3:8: error: side is "port", expected left, right or both [bad-side]`}},
		{"camber of both", "r.toml", head + "[[row]]\nside = \"both\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:4:1: error: camber is of one side; write left or right under side [bad-side]`}},
		{"total toe of one side", "r.toml", head + "[[row]]\nside = \"left\"\ntotal_toe = \"1 deg\"\n",
			[]string{`r.toml:4:1: error: total_toe is of both wheels; give it a row whose side is both [bad-side]`}},
		{"steering twice", "r.toml", head + "[[row]]\nside = \"left\"\ncolumn = \"20 deg left\"\nwheel_steered = \"20 deg left\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:5:1: error: the steering is given twice, by the column and by the wheel [bad-stand]`}},
		{"sign and direction", "r.toml", head + "[[row]]\nside = \"left\"\ncolumn = \"-20 deg left\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:4:10: error: column: "-20 deg left" has both a sign and a direction [bad-stand]`}},
		{"negative accuracy", "r.toml", head + "accuracy.camber = \"-1 deg\"\n[[row]]\nside = \"left\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:2:19: error: the ± of camber must be positive, not -1 deg [bad-spread]`}},
		{"a zero without its ±", "r.toml", head + "[zero]\ncamber = \"0 deg\"\n[[row]]\nside = \"left\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:3:10: error: the zero of the camber gauge needs its ±: how far it may be off [bad-spread]`}},
		{"unknown accuracy", "r.toml", head + "[accuracy]\ncambre = \"1 deg\"\n[[row]]\nside = \"left\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:3:1: error: nothing is read under "cambre" [unknown-column]`}},
		{"another kart", "r.toml", head + "kart = \"Birch\"\n[[row]]\nside = \"left\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:2:8: error: these readings are of kart "Birch", and the profile is of kart "Alder" [other-kart]`}},
		{"not a date", "r.toml", head + "date = \"31.5.2026\"\n[[row]]\nside = \"left\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:2:8: error: "31.5.2026" is not a date; write year, month and day: 2026-05-31 [bad-date]`}},
		{"a newer format", "r.toml", "format = 2\n[[row]]\nx = 1\n",
			[]string{`r.toml:1:10: error: format is 2, expected 1 [readings-format]`}},
		{"nothing filled in", "r.toml", head + "[[row]]\nside = \"left\"\ncamber = \"\"\n",
			[]string{`r.toml:1:1: error: no reading is filled in [no-readings]`}},
		{"no depth gauge", "r.toml", head + "[[row]]\nside = \"left\"\n\"tie rod depth\" = \"3 mm\"\n",
			[]string{`r.toml:4:1: error: tie rod has no depth gauge in the profile [bad-reading]`}},
		{"everything at once", "r.toml", head + "[[row]]\nside = \"left\"\ncamber = \"1\"\ntoe = \"x\"\n[[row]]\nside = \"up\"\ncamber = \"1 deg\"\n",
			[]string{`r.toml:4:10: error: camber: angle "1" has no unit`, `r.toml:5:7: error: toe: `, `r.toml:7:8: error: side is "up"`}},
		{"not TOML", "r.toml", "format = \n", []string{`r.toml:1:10: error: `}},

		{"CSV: no unit", "r.csv", "side,caster screw,camber\nleft,standard,-0.6\n",
			[]string{`r.csv:2:15: error: camber: angle "-0.6" has no unit (write -0.6deg or -0.6rad) [bad-reading]`}},
		{"CSV: outside travel, after a quoted cell", "r.csv", "note,side,caster screw,camber (deg)\n\"a, b\",left,5 turns,-0.6\n",
			[]string{`r.csv:2:13: error: caster screw: `}},
		{"CSV: a quoted value", "r.csv", "side,camber\nleft,\"-0,6\"\n",
			[]string{`r.csv:2:6: error: camber: angle "-0,6" has no unit`}},
		{"CSV: unknown column", "r.csv", "side,castor screw,camber\nleft,standard,-0.6 deg\n",
			[]string{`r.csv:1:6: error: this kart has no adjuster "castor screw", and nothing is read under that name [unknown-column]`}},
		{"CSV: a column twice", "r.csv", "side,camber,Camber (deg)\nleft,1 deg,1\n",
			[]string{`r.csv:1:13: error: there are two columns "Camber" [column-twice]`}},
		{"CSV: no side column", "r.csv", "camber\n1 deg\n",
			[]string{`r.csv:1:1: error: the title row has no column "side" [bad-side]`}},
		{"CSV: no side", "r.csv", "side,camber\n,1 deg\n",
			[]string{`r.csv:2:1: error: this row does not say which side was read [bad-side]`}},
		{"CSV: beyond the titles", "r.csv", "side,camber\nleft,1 deg,7\n",
			[]string{`r.csv:2:12: error: "7" stands beyond the last titled column [csv-syntax]`}},
		{"CSV: a bare quote", "r.csv", "side,track\nleft,1 1/2\"\n",
			[]string{`r.csv:1:6: error: this kart has no adjuster "track"`}},
		{"CSV: a bare quote", "r.csv", "side,height\nleft,1 1/2\"\n",
			[]string{`r.csv:2:11: error: a quote stands inside a cell that is not in quotes [csv-syntax]`}},
		{"CSV: empty", "r.csv", "# nothing\n", []string{`r.csv:1:1: error: the file has no rows [no-readings]`}},
		{"CSV: a ± of a place", "r.csv", "side,caster screw,camber\n±,1 turn,0.2 deg\nleft,,1 deg\n",
			[]string{`r.csv:1:6: error: nothing is read under "caster screw" [unknown-column]`}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f, found := readings.Parse(tt.file, []byte(tt.text), kart(t, "alder"))
			if f != nil {
				t.Errorf("a file with errors was read: %+v", f)
			}
			if len(found) != len(tt.want) {
				t.Fatalf("findings %v, want %d", found, len(tt.want))
			}
			for i, want := range tt.want {
				if !strings.HasPrefix(found[i].String(), want) {
					t.Errorf("finding %q, want one that begins %q", found[i], want)
				}
			}
		})
	}
}

// Rows become readings with their stand, and ± become standard deviations.
func TestParse(t *testing.T) {
	k := kart(t, "alder")
	standard := k.Standard()
	set := func(screw, plate float64) [2]adjust.Setting {
		return [2]adjust.Setting{{screw, plate, 0}, {screw, plate, 0}}
	}
	want := []fit.Reading{
		{Quantity: fit.Camber, Side: frontend.Left, Setting: set(2, 3), Instrument: "camber gauge", Value: -0.6 * deg, SD: 0.05 * deg},
		{Quantity: fit.Toe, Side: frontend.Left, Setting: set(2, 3), Value: -float64(frontend.ToeAngle(1, 255)), SD: 0.075 * deg},
		{Quantity: fit.Camber, Side: frontend.Right, Setting: standard, Column: -20 * geometry.Degree, Instrument: "camber gauge", Value: 1.5 * deg, SD: 0.15 * deg},
		{Quantity: fit.Camber, Side: frontend.Right, Setting: standard, AtSteer: true, Steer: 10 * geometry.Degree, Instrument: "camber gauge", Value: 0.5 * deg, SD: 0.15 * deg},
		{Quantity: fit.Depth, Side: frontend.Right, Setting: standard, AtSteer: true, Steer: 10 * geometry.Degree, Adjuster: "caster screw", Value: 7.5, SD: 0.05},
		{Quantity: fit.TotalToe, Side: frontend.Left, Setting: set(-1, 0), Value: -0.2 * deg, SD: 0.1 * deg},
	}
	for name, text := range map[string]string{
		"r.toml": `format = 1
kart = "Alder"
date = "2026-05-31"
accuracy.camber = "0.3 deg"
zero.camber = "0.1 deg ± 0.4 deg"
[[row]]
side = "left"
"caster screw" = "2 turns tighter"
"Camber_plate" = "9 o'clock"
camber = "-0.6 deg ± 0.1 deg"
toe = "1 mm out over 255 mm"
[[row]] # nothing read
side = "left"
[[row]]
side = "Right"
column = "20 deg right"
camber = "1.5 deg"
[[row]]
side = "right"
wheel_steered = "10 deg"
camber = "30'"
"caster screw depth" = "7.5 mm"
[[row]]
side = "both"
"caster screw" = "1 turn looser"
total_toe = "-0.2 deg"
`,
		"r.csv": "\ufeff# a comment\n" +
			"Side;caster screw;camber plate;column;wheel_steered;camber (deg);toe (mm over 255 mm);caster screw depth (mm);total toe (deg);note;\n" +
			"left;2 turns tighter;9 o'clock;;;-0,6 ± 0,1;-1;;;cold hands;\n" +
			";;;;;;;;;;\n" +
			"right;;;20 deg right;;1,5;;;;;\n" +
			"right;;;;10 deg;0.5 deg;;7,5\n" +
			"both;1 turn looser;;;;;;;-0,2;;\n" +
			"±;;;;;0,3;;;;;\n" +
			"zero;;;;;0,1 ± 0,4;;;;;\n",
	} {
		f, found := readings.Parse(name, []byte(text), k)
		if len(found) > 0 {
			t.Fatalf("%s: %v", name, found)
		}
		var got []fit.Reading
		for _, r := range f.Readings {
			got = append(got, r.Reading)
			if r.At.Text() == "" {
				t.Errorf("%s: a reading of %v has no place", name, r.Quantity)
			}
		}
		if d := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-12)); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
		if d := cmp.Diff([]readings.Zero{{Quantity: fit.Camber, Value: 0.1 * deg, SD: 0.2 * deg}}, f.Zeros, cmpopts.EquateApprox(0, 1e-12)); d != "" {
			t.Errorf("%s: zeros (-want +got):\n%s", name, d)
		}
		if d := cmp.Diff([]fit.Quantity{fit.Toe, fit.TotalToe, fit.Depth}, f.Usual); d != "" {
			t.Errorf("%s: quantities whose ± is the usual one (-want +got):\n%s", name, d)
		}
	}
}

// An adjuster that is called like a reading is set by "set", and read as itself.
func TestAdjusterCalledLikeAReading(t *testing.T) {
	data, _ := demo.Read("alder")
	k, found := profile.Parse("k.toml", []byte(strings.ReplaceAll(string(data), `"camber plate"`, `"camber"`)))
	require.Empty(t, found)
	f, found := readings.Parse("r.toml", []byte("format = 1\n[[row]]\nside = \"left\"\n\"set camber\" = \"9 o'clock\"\ncamber = \"1 deg\"\n"), k)
	require.Empty(t, found)
	if r := f.Readings[0]; r.Quantity != fit.Camber || r.Setting[0][1] != 3 {
		t.Errorf("read %v with the camber plate %v holes out, want camber and 3", r.Quantity, r.Setting[0][1])
	}
	for _, asCSV := range []bool{false, true} {
		if text, _ := readings.Template(k, asCSV); !strings.Contains(text, "set camber") {
			t.Errorf("the template does not tell the adjuster from the reading:\n%s", text)
		}
	}
}

// A template is right as it is: filled in with numbers in its units it becomes a
// reading for every empty place, the same in both syntaxes.
func TestTemplates(t *testing.T) {
	for _, name := range demo.Names() {
		k := kart(t, name)
		text, rows := readings.Template(k, false)
		table, rowsCSV := readings.Template(k, true)
		if rows != rowsCSV {
			t.Errorf("%s: %d rows as TOML and %d as CSV", name, rows, rowsCSV)
		}
		for file, text := range map[string]string{"r.toml": text, "r.csv": table} {
			if _, found := readings.Parse(file, []byte(text), k); len(found) != 1 || found[0].Code != "no-readings" {
				t.Errorf("%s: an empty template gives %v", file, found)
			}
		}
		for l := range strings.Lines(text) {
			if n := len([]rune(l)); n > 110 {
				t.Errorf("%s: a line of %d characters: %s", name, n, l)
			}
		}
		n := 0
		filled := ""
		for l := range strings.Lines(text) {
			if key, ok := strings.CutSuffix(l, " = \"\"\n"); ok {
				n++
				unit := "deg"
				if strings.Contains(key, "depth") || key == "height" {
					unit = "mm"
				}
				l = fmt.Sprintf("%s = \"%d %s\"\n", key, n, unit)
			}
			filled += l
		}
		a, found := readings.Parse("r.toml", []byte(filled), k)
		require.Empty(t, found)
		if len(a.Readings) != n || len(a.Usual) > 0 {
			t.Errorf("%s: %d readings of %d places, usual ± for %v", name, len(a.Readings), n, a.Usual)
		}
		if a.Kart != k.Name {
			t.Errorf("the template is of kart %q, want %q", a.Kart, k.Name)
		}
		// In the table a bare number does in every cell, and the ± row holds for it.
		r := csv.NewReader(strings.NewReader(table))
		r.Comment = '#'
		records, err := r.ReadAll()
		require.NoError(t, err)
		cells := 0
		for _, row := range records[2:] {
			for i, title := range records[0] {
				if strings.HasSuffix(title, ")") {
					row[i] = "1"
					cells++
				}
			}
		}
		var full strings.Builder
		require.NoError(t, csv.NewWriter(&full).WriteAll(records))
		b, found := readings.Parse("r.csv", []byte(full.String()), k)
		require.Empty(t, found)
		if len(b.Readings) != cells || len(b.Usual) > 0 {
			t.Errorf("%s: %d readings of %d cells, usual ± for %v", name, len(b.Readings), cells, b.Usual)
		}
	}
}

// The same table means the same in both syntaxes.
func TestSyntaxesAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom([]string{"alder", "birch", "cedar", "dogwood"}).Draw(t, "kart")
		data, _ := demo.Read(name)
		k, _ := profile.Parse(name, data)
		keys := []string{"side", "column"}
		for _, a := range k.Corners[0].Adjusters {
			keys = append(keys, a.Name)
		}
		quantities := []string{"camber", "toe", "steer", "height"}
		var toml strings.Builder
		toml.WriteString("format = 1\n")
		rows := [][]string{append(slices.Clone(keys), quantities...)}
		for range rapid.IntRange(1, 5).Draw(t, "rows") {
			side := rapid.SampledFrom(frontend.Sides[:]).Draw(t, "side")
			row := []string{side.String(), rapid.SampledFrom([]string{"", "10 deg left", "-12 deg"}).Draw(t, "column")}
			for _, a := range k.Corners[side].Adjusters {
				tr := a.Travel()
				p := tr.Clamp(rapid.Float64Range(tr.Min, tr.Max).Draw(t, a.Name))
				row = append(row, a.Print(p, geometry.Units{}))
			}
			for _, q := range quantities {
				unit := map[bool]string{true: "mm", false: "deg"}[q == "height"]
				row = append(row, rapid.SampledFrom([]string{"", fmt.Sprintf("%.2f %s", rapid.Float64Range(-5, 5).Draw(t, q), unit), "1 " + unit + " ± 0.1 " + unit}).Draw(t, "cell"))
			}
			rows = append(rows, row)
			toml.WriteString("[[row]]\n")
			for i, cell := range row {
				fmt.Fprintf(&toml, "%q = %s\n", rows[0][i], strconv.Quote(cell))
			}
		}
		var table strings.Builder
		w := csv.NewWriter(&table)
		if err := w.WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		a, foundA := readings.Parse("r.toml", []byte(toml.String()), k)
		b, foundB := readings.Parse("r.csv", []byte(table.String()), k)
		if (a == nil) != (b == nil) || len(foundA) != len(foundB) {
			t.Fatalf("TOML gives %v and CSV %v", foundA, foundB)
		}
		if a == nil {
			return
		}
		a.Kart, b.Kart = "", ""
		// Keys of TOML come in the order written, as columns do.
		if d := cmp.Diff(a.Readings, b.Readings, cmpopts.IgnoreFields(readings.Reading{}, "At")); d != "" {
			t.Errorf("TOML (-) and CSV (+) differ:\n%s", d)
		}
	})
}

// Each side learns its own caster from a profile that has one for both, and the
// kart of the fit is built from them.
func TestProblemTellsSidesApart(t *testing.T) {
	k := kart(t, "alder")
	learn, exact, err := readings.Learnables(k)
	require.NoError(t, err)
	if d := cmp.Diff([]string{"gauge of the caster screw", "hole from mark of the camber plate"}, exact); d != "" {
		t.Errorf("numbers taken as exact (-want +got):\n%s", d)
	}
	at := map[string]float64{}
	for _, l := range learn {
		if l.Name == "kart.wheelbase" || strings.HasPrefix(l.Name, "mass.") {
			t.Errorf("%s is to be learnt, and no reading depends on it", l.Name)
		}
		at[l.Name] = l.Value
	}
	at["corner.left.caster"] += 1 * deg
	at["corner.pivot_span"] += 1
	p := (&readings.File{}).Problem(k, learn, nil, geometry.Units{})
	c, err := p.Kart(at)
	require.NoError(t, err)
	for s, want := range map[frontend.Side]float64{frontend.Left: 13 * deg, frontend.Right: 12 * deg} {
		v, err := c[s].Values(c[s].Standard())
		require.NoError(t, err)
		if math.Abs(v[adjust.Caster]-want) > 1e-9 {
			t.Errorf("caster of the %v side is %.4f°, want %.4f°", s, v[adjust.Caster]/deg, want/deg)
		}
		span := c[s].Front.Top.Sub(c[s].Front.Bottom).Norm()
		if math.Abs(span-79) > 1e-9 {
			t.Errorf("pivot span of the %v side is %.4f mm, want 79 mm", s, span)
		}
	}
	// Cedar tells the right caster apart already; the other is the left's.
	learn, _, err = readings.Learnables(kart(t, "cedar"))
	require.NoError(t, err)
	var caster []string
	for _, l := range learn {
		if strings.HasSuffix(l.Name, "caster") {
			caster = append(caster, fmt.Sprintf("%s %.1f", l.Name, l.Value/deg))
		}
	}
	if d := cmp.Diff([]string{"corner.left.caster 12.0", "corner.right.caster 11.7"}, caster); d != "" {
		t.Errorf("casters of cedar (-want +got):\n%s", d)
	}
}

func TestOnly(t *testing.T) {
	learn, _, err := readings.Learnables(kart(t, "alder"))
	require.NoError(t, err)
	some, err := readings.Only(learn, []string{"caster", "pivot span", "eccentricity of the camber plate", "corner.right.kpi"})
	require.NoError(t, err)
	var got []string
	for _, l := range some {
		got = append(got, l.Name)
	}
	want := []string{"corner.left.caster", "corner.right.caster", "corner.right.kpi", "corner.pivot_span", `adjuster "camber plate".eccentricity`}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("numbers chosen (-want +got):\n%s", d)
	}
	if _, err := readings.Only(learn, []string{"castor"}); err == nil || !strings.Contains(err.Error(), `no number "castor"`) {
		t.Errorf("a number that is not there gives %v", err)
	}
}

// What an answer says does what it says, on its kart.
func TestAnswers(t *testing.T) {
	figures := map[string][]adjust.Figure{
		"alder": {adjust.Caster, adjust.Camber, adjust.Toe}, "birch": {adjust.Camber, adjust.Toe}, "cedar": {adjust.Caster, adjust.Toe},
		"dogwood": {adjust.Toe, adjust.Height}, "elm": {adjust.Toe},
	}
	for _, name := range demo.Names() {
		k := kart(t, name)
		var got []adjust.Figure
		for _, a := range readings.Answers(k) {
			if !slices.Contains(got, a.Figure) {
				got = append(got, a.Figure)
			}
			v, err := a.Of(&k.Corners)
			require.NoError(t, err)
			c := &k.Corners[a.Side]
			before, err := c.Values(k.Present[a.Side])
			require.NoError(t, err)
			set := slices.Clone(k.Present[a.Side])
			set[c.Index(a.Adjuster)] += v
			after, err := c.Values(set)
			require.NoError(t, err)
			if d := after[a.Figure] - before[a.Figure] - a.By; math.Abs(d) > 1e-9 {
				t.Errorf("%s: %g %ss of the %s miss the change of the %v by %g", name, v, a.Step, a.Adjuster, a.Figure, d)
			}
		}
		if d := cmp.Diff(figures[name], got); d != "" {
			t.Errorf("%s: figures with an answer (-want +got):\n%s", name, d)
		}
	}
}

// Whatever a file holds, it is read or refused at places inside it.
func FuzzParse(f *testing.F) {
	data, _ := demo.Read("alder")
	k, _ := profile.Parse("alder.toml", data)
	for _, asCSV := range []bool{false, true} {
		text, _ := readings.Template(k, asCSV)
		f.Add([]byte(text), asCSV)
	}
	f.Add([]byte("side,camber (deg)\n\"left\",\"-0,6 ± 0.1\"\n±,0.2\nzero,0±1"), true)
	f.Add([]byte("\ufeffside;\"cam\nber\"\nleft;1"), true)
	f.Add([]byte("format=1\naccuracy={camber=\"1 deg\"}\nrow=[{side='left',camber='1 deg'},{total_toe=\"1°\"}]"), false)
	f.Fuzz(func(t *testing.T, data []byte, asCSV bool) {
		name := "r.toml"
		if asCSV {
			name = "r.csv"
		}
		file, found := readings.Parse(name, data, k)
		if (file == nil) != diag.HasErrors(found) {
			t.Fatalf("file %v with findings %v", file, found)
		}
		for _, d := range found {
			if d.At.Start < 0 || d.At.End > len(data) || d.At.Start > d.At.End {
				t.Errorf("a finding lies outside the file: %v, bytes %d to %d of %d", d, d.At.Start, d.At.End, len(data))
			}
		}
		if file == nil {
			return
		}
		for _, r := range file.Readings {
			if !(r.SD > 0) || math.IsInf(r.SD, 0) || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
				t.Errorf("a reading of %v with the SD %v was accepted", r.Value, r.SD)
			}
		}
	})
}
