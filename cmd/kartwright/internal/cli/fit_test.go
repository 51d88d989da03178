package cli

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/advisor/readings"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/fit"
	"kartwright/geometry/frontend"
)

var emptyReading = regexp.MustCompile(`(?m)^(.+) = ""$`)

// trueKart draws a kart from what a profile says of it.
func trueKart(t testing.TB, k *profile.Kart, r *rand.Rand) (*fit.Kart, map[string]float64) {
	learn, _, err := readings.Learnables(k)
	require.NoError(t, err)
	at := map[string]float64{}
	for _, l := range learn {
		at[l.Name] = l.Value + l.SD*r.NormFloat64()
	}
	truth, err := (&readings.File{}).Problem(k, learn, nil, geometry.Units{}).Kart(at)
	require.NoError(t, err)
	return truth, at
}

func template(k *profile.Kart) string {
	text, _ := readings.Template(k, false)
	return text
}

// fillIn fills in a template with what the true kart shows, each reading off by a
// draw from its ±.
func fillIn(t testing.TB, k *profile.Kart, text string, truth *fit.Kart, r *rand.Rand) string {
	text = strings.Replace(text, `date = ""`, `date = "2026-05-31"`, 1)
	text = emptyReading.ReplaceAllStringFunc(text, func(l string) string {
		if strings.Contains(l, "depth") || strings.HasPrefix(l, "height") {
			return strings.Replace(l, `""`, `"0 mm"`, 1)
		}
		return strings.Replace(l, `""`, `"0 deg"`, 1)
	})
	f, found := readings.Parse("x.toml", []byte(text), k)
	require.Empty(t, found)
	var out strings.Builder
	at := 0
	for _, rd := range f.Readings {
		v, err := rd.Of(truth)
		require.NoError(t, err)
		v += rd.SD * r.NormFloat64()
		out.WriteString(text[at:rd.At.Start])
		out.WriteString(strconv.Quote(fmt.Sprintf("%.2f %s", inUnit(rd.Quantity.Unit(), v), unitName(rd.Quantity.Unit()))))
		at = rd.At.End
	}
	return out.String() + text[at:]
}

// roughKart is a kart as its owner knows it: an alder whose dimensions were mostly
// guessed.
func roughKart(t testing.TB) (text string, k *profile.Kart) {
	data, _ := demo.Read("alder")
	text = string(data)
	for from, to := range map[string]string{
		`"12 deg ± 0.5 deg"`:                               `"12 deg ± 2 deg"`,
		`"11 deg ± 0.5 deg"`:                               `"11 deg ± 2 deg"`,
		`"-0.5 deg ± 0.1 deg"`:                             `"-0.5 deg ± 0.5 deg"`,
		`"0.5 mm ± 0.2 mm out over 255 mm"`:                `"-0.1 deg ± 0.3 deg"`,
		`"78 mm ± 1 mm"`:                                   `"78 mm ± 15 mm"`,
		"tightening_moves = \"rearward\"\nthread = \"M8\"": "tightening_moves = \"rearward\"\npitch = \"1.25 mm ± 0.3 mm\"",
		`"1.2 mm ± 0.05 mm"`:                               `"1.2 mm ± 0.2 mm"`,
		`gauge = "7.60 mm"`:                                `gauge = "7.60 mm ± 0.1 mm"`,
		`arm_length      = "105 mm ± 1 mm"`:                "",
	} {
		require.Contains(t, text, from)
		text = strings.ReplaceAll(text, from, to)
	}
	k, found := profile.Parse("my.toml", []byte(text))
	require.Empty(t, found)
	return text, k
}

// fitFiles writes a rough kart's profile and a file of readings that agree.
func fitFiles(t testing.TB) (kart, file string) {
	text, k := roughKart(t)
	r := rand.New(rand.NewPCG(3, 5))
	truth, _ := trueKart(t, k, r)
	dir := t.TempDir()
	kart, file = filepath.Join(dir, "my.toml"), filepath.Join(dir, "readings.toml")
	require.NoError(t, os.WriteFile(kart, []byte(text), 0o600))
	require.NoError(t, os.WriteFile(file, []byte(fillIn(t, k, template(k), truth, r)), 0o600))
	return kart, file
}

// On a kart whose truth is known, the profile that fit writes turns the caster by
// half a degree as the true kart does, to a tenth of a turn, and its ± hold the
// truth as often as they say.
func TestFitFindsTheTruth(t *testing.T) {
	text, k := roughKart(t)
	const rounds = 15
	inside, all, guessOff := 0, 0, 0 // numbers; turns that the guess misses
	for seed := range uint64(rounds) {
		r := rand.New(rand.NewPCG(seed, 11))
		truth, at := trueKart(t, k, r)
		dir := t.TempDir()
		kart, file := filepath.Join(dir, "my.toml"), filepath.Join(dir, "readings.toml")
		require.NoError(t, os.WriteFile(kart, []byte(text), 0o600))
		require.NoError(t, os.WriteFile(file, []byte(fillIn(t, k, template(k), truth, r)), 0o600))
		status, out, errs := run("fit", "run", file, "--kart", kart, "--write")
		if status == exitCould && strings.Contains(errs, "nothing was written: a reading contradicts") {
			continue // one reading in some thousands is off by as much
		}
		if status != exitDone {
			t.Fatalf("seed %d: exit status %d: %s%s", seed, status, errs, out)
		}
		data, err := os.ReadFile(kart)
		require.NoError(t, err)
		learnt, found := profile.Parse("my.toml", data)
		require.Empty(t, found)
		for _, s := range frontend.Sides {
			turns := func(c *adjust.Corner) float64 {
				v, err := c.Values(c.Standard())
				require.NoError(t, err)
				answer, err := c.Solve(c.Standard(), adjust.Goal{}.Ask(adjust.Caster, v[adjust.Caster]+0.5*float64(geometry.Degree)))
				require.NoError(t, err)
				return answer.Best.Setting[c.Index("caster screw")]
			}
			want, got, guess := turns(&truth[s]), turns(&learnt.Corners[s]), turns(&k.Corners[s])
			if math.Abs(got-want) > 0.1 {
				t.Errorf("seed %d, %v: the written profile takes %.3f turns for half a degree of caster, the true kart %.3f", seed, s, got, want)
			}
			if math.Abs(guess-want) > 0.1 {
				guessOff++
			}
		}
		for _, n := range learnt.Numbers {
			v, ok := at[n.Path]
			if !ok || n.Assumed {
				continue
			}
			all++
			if math.Abs(n.Value-v) <= n.PM {
				inside++
			}
		}
	}
	if share := float64(inside) / float64(all); share < 0.90 || share > 0.99 {
		t.Errorf("%d of %d true numbers (%.1f %%) lie within the written ±, want about 95 %%", inside, all, 100*share)
	}
	if guessOff < 3 {
		t.Errorf("the guessed profile misses a tenth of a turn only %d times: these karts prove nothing", guessOff)
	}
}

// Nothing is written unless the readings agree.
func TestFitWritesNothingInDoubt(t *testing.T) {
	kart, file := fitFiles(t)
	before, err := os.ReadFile(kart)
	require.NoError(t, err)
	read, err := os.ReadFile(file)
	require.NoError(t, err)
	good := string(read)
	caster := regexp.MustCompile(`(?m)^caster = "(\d)(\d)\.(\d\d) deg"$`)
	swap := strings.NewReplacer(`"left"`, `"right"`, `"right"`, `"left"`)
	rows := strings.SplitAfter(good, "[[row]]")
	for _, tt := range []struct {
		name, text string
		status     int
		says       string
	}{
		{"ten times too small", replaceLast(good, caster, `caster = "$1.$2$3 deg"`), exitFile, "unit-mix-up"},
		{"the sides swapped", swap.Replace(good), exitFile, "sides-swapped"},
		{"one reading", rows[0] + "\nside = \"left\"\ncamber = \"-0.5 deg\"\n", exitFile, "too-few-readings"},
		{"one setting", strings.TrimSuffix(strings.Join(rows[:3], ""), "[[row]]"), exitFile, "one-setting"},
		{"no unit", replaceLast(good, caster, `caster = "$1$2.$3"`), exitFile, "bad-reading"},
		{"outside travel", strings.Replace(good, `= "2.00 turns`, `= "12.00 turns`, 1), exitFile, "bad-stand"},
		{"an outlier", replaceLast(good, caster, `caster = "9.00 deg"`), exitCould, "a reading contradicts the others"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.NotEqual(t, good, tt.text)
			require.NoError(t, os.WriteFile(file, []byte(tt.text), 0o600))
			status, out, errs := run("fit", "run", file, "--kart", kart, "--write")
			if status != tt.status || !strings.Contains(errs, tt.says) {
				t.Errorf("exit status %d with %q, want %d with %q\n%s", status, errs, tt.status, tt.says, out)
			}
			if after, err := os.ReadFile(kart); err != nil || string(after) != string(before) {
				t.Errorf("the profile was written (%v)", err)
			}
		})
	}
}

func replaceLast(text string, re *regexp.Regexp, with string) string {
	all := re.FindAllStringIndex(text, -1)
	m := all[len(all)-1]
	return text[:m[0]] + re.ReplaceAllString(text[m[0]:m[1]], with) + text[m[1]:]
}

// What the report says of the numbers that cannot be told apart comes from the
// fit; a kart with a slot that cannot tell its span from its eccentricity has
// such a sentence.
func TestFitNamesWhatCannotBeToldApart(t *testing.T) {
	text, k := roughKart(t)
	r := rand.New(rand.NewPCG(8, 5))
	truth, _ := trueKart(t, k, r)
	dir := t.TempDir()
	kart, file := filepath.Join(dir, "my.toml"), filepath.Join(dir, "readings.toml")
	require.NoError(t, os.WriteFile(kart, []byte(text), 0o600))
	// Only the plate's rows, read with good gauges: span and eccentricity go
	// together.
	fine := strings.NewReplacer(`camber = "0.2 deg"`, `camber = "0.05 deg"`, `caster = "0.5 deg"`, `caster = "0.05 deg"`).Replace(template(k))
	var some []string
	for i, row := range strings.SplitAfter(fillIn(t, k, fine, truth, r), "[[row]]") {
		if i < 3 || strings.Contains(row, `"standard"`) && !strings.Contains(row, `12 o'clock`) {
			some = append(some, row)
		}
	}
	require.NoError(t, os.WriteFile(file, []byte(strings.TrimSuffix(strings.Join(some, ""), "[[row]]")), 0o600))
	status, out, errs := run("fit", "run", file, "--kart", kart, "--only", "caster,camber,kpi,toe,pivot span,eccentricity of the camber plate")
	if status != exitDone {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	flat := strings.Join(strings.Fields(out), " ")
	if !strings.Contains(flat, "cannot tell pivot span and eccentricity of the camber plate apart") {
		t.Errorf("the report does not say that span and eccentricity cannot be told apart:\n%s", out)
	}
	if !strings.Contains(flat, "One more reading would: ") {
		t.Errorf("the report does not name the reading that would:\n%s", out)
	}
	for l := range strings.Lines(out) {
		if n := len([]rune(l)) - 1; n > width {
			t.Errorf("a line of %d characters: %s", n, l)
		}
	}
}

// Every demo kart can be read and fitted, and the report keeps to its width in any
// units.
func TestFitEveryDemoKart(t *testing.T) {
	for _, name := range demo.Names() {
		data, _ := demo.Read(name)
		k, _ := profile.Parse(name+".toml", data)
		r := rand.New(rand.NewPCG(6, 5))
		truth, _ := trueKart(t, k, r)
		file := filepath.Join(t.TempDir(), name+" readings.toml")
		require.NoError(t, os.WriteFile(file, []byte(fillIn(t, k, template(k), truth, r)), 0o600))
		t.Chdir(filepath.Dir(file))
		for _, args := range [][]string{{"fit", "run"}, {"fit", "run", "--inches", "--minutes", "--answer", "toe", "--side", "right"}, {"fit", "next"}} {
			status, out, errs := run(append(args, "--kart", name, filepath.Base(file))...)
			if status != exitDone {
				t.Errorf("%s: %v: exit status %d: %s", name, args, status, errs)
			}
			for l := range strings.Lines(out) {
				if n := len([]rune(l)) - 1; n > width {
					t.Errorf("%s: %v: a line of %d characters: %s", name, args, n, l)
				}
			}
		}
	}
}
