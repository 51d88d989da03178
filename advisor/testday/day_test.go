package testday

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

func kart(t testing.TB, name string) *profile.Kart {
	t.Helper()
	data, ok := demo.Read(name)
	if !ok {
		t.Fatalf("there is no demo kart %q", name)
	}
	k, found := profile.Parse(name, data)
	if diag.HasErrors(found) {
		t.Fatal(found)
	}
	return k
}

func work(t testing.TB, k *profile.Kart, changes ...Change) *Work {
	t.Helper()
	w, err := NewWork(k, k.Present, changes, UsualRates)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

var dayGen = rapid.Custom(func(t *rapid.T) *Day {
	name := rapid.StringMatching(`[a-zé][a-zé"\\ ]{0,11}`)
	d := &Day{
		Kart: rapid.SampledFrom([]string{"", "alder", "my \"kart\".toml"}).Draw(t, "kart"), Track: rapid.String().Draw(t, "track"), Plan: "ABBA",
		Smallest: float64(rapid.IntRange(0, 50).Draw(t, "smallest")) / 100, Spread: Spread{0.061, rapid.IntRange(0, 20).Draw(t, "df")}, Gap: 15,
		Trend: Trend(rapid.IntRange(0, 2).Draw(t, "trend")), Figure: rapid.SampledFrom([]Figure{Typical, {Kind: "median"}, {"lap", 7}}).Draw(t, "figure"), Rates: UsualRates.clone(),
	}
	if rapid.Bool().Draw(t, "with base") {
		for s := range d.Base {
			d.Base[s] = map[string]float64{"caster screw": rapid.Float64Range(-3, 3).Draw(t, "position"), "tie \"rod\"": -1. / 3}
		}
	}
	for _, n := range rapid.SliceOfNDistinct(name, 1, 4, rapid.ID[string]).Draw(t, "names") {
		d.Changes = append(d.Changes, Change{Name: n, Wants: []string{"caster by +0.5 deg"}, Minutes: float64(rapid.IntRange(0, 9).Draw(t, "minutes")), Advice: rapid.SampledFrom([]string{"", "3fa9c1d2"}).Draw(t, "advice")})
	}
	for i := range rapid.IntRange(1, 8).Draw(t, "runs") {
		r := Run{Setup: Setup(rapid.IntRange(0, 1<<len(d.Changes)-1).Draw(t, "setup")), State: Planned, Tyres: 1 + i/4}
		if i < 4 {
			r.State = rapid.SampledFrom([]State{Done, Missed, Rain}).Draw(t, "state")
			r.Says, r.Why = rapid.String().Draw(t, "says"), rapid.String().Draw(t, "why")
			r.Break, r.Fitted = rapid.Bool().Draw(t, "break"), r.State == Missed
			r.Feel = rapid.SampledFrom([]Feel{NoWord, Better, Worse}).Draw(t, "feel")
			if r.State == Done {
				r.Laps = []Lap{{49.92, 2, OutLap, ""}, {48.6, 2, Timed, ""}, {51.234, 3, Spoiled, "traffic"}}
			}
		}
		d.Runs = append(d.Runs, r)
	}
	return d
})

// A day is read back as it was written, and written as it was read.
func TestDayFileRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := dayGen.Draw(t, "day")
		text := d.Text()
		got, found := Parse("day.toml", text)
		if got == nil {
			t.Fatalf("the day is not read back: %v\n%s", found, text)
		}
		for s := range d.Base {
			if d.Base[s] == nil {
				got.Base[s] = nil
			}
		}
		if diff := cmp.Diff(d.Text(), got.Text()); diff != "" {
			t.Fatalf("written again it differs:\n%s", diff)
		}
		if diff := cmp.Diff(d.Runs, got.Runs); diff != "" {
			t.Fatalf("runs (−want +got):\n%s", diff)
		}
	})
}

func FuzzParseDay(f *testing.F) {
	d := driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74)
	f.Add(d.Text())
	f.Add([]byte("format = 1\n[[change]]\nname = \"x\"\n[[run]]\nwith = \"x\"\nlaps = \"48.60\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, found := Parse("day.toml", data)
		if d == nil {
			if !diag.HasErrors(found) {
				t.Fatal("no day and no error")
			}
			return
		}
		if again, found := Parse("day.toml", d.Text()); again == nil {
			t.Fatalf("a day that was read is not read back: %v\n%s", found, d.Text())
		}
		d.Judge() // must not panic; what it says is tested elsewhere
	})
}

func TestDayFileFindings(t *testing.T) {
	const head = "format = 1\n[[change]]\nname = \"more caster\"\nwant = \"caster by 0.5 deg\"\n"
	for _, tt := range []struct{ text, want string }{
		{"format = 2\nchange = []\nrun = []\n", `day.toml:1:10: error: format is 2; this kartwright reads 1 [newer-day]`},
		{"format = 1\n", `day.toml:1:1: error: a test day needs the key "change" [missing-key]`},
		{head + "[[run]]\nwith = \"more castor\"\n", `day.toml:6:8: error: there is no change called "more castor" [unknown-change]`},
		{head + "[[run]]\nstate = \"done\"\n", `day.toml:5:1: error: the run is done but has neither a time nor laps [bad-run]`},
		{head + "[[run]]\ntime = 48.6\n", `day.toml:5:1: error: the run has times but is not done; add state = "done" [bad-run]`},
		{head + "[[run]]\nstate = \"finished\"\n", `day.toml:6:9: error: state is "finished"; expected done, missed, planned or rain [bad-run]`},
		{head + "[[run]]\nstate = \"done\"\nlaps = [\"48.6\", \"4.86\"]\n", `day.toml:7:17: error: lap times, line 1, lap 2, "4.86": a lap of 4.86 s is not a kart's; expected 10 s to 10 minutes [bad-run]`},
		{head + "[[run]]\n[[run]]\nstate = \"done\"\ntime = 48.6\n", `day.toml:5:1: error: run 1 is planned although run 2 is done; mark it missed [bad-run]`},
		{"format = 1\n[[change]]\nname = \"x\"\nwant = \"caster by 0.5\"\n[[run]]\n", `day.toml:4:8: error: angle "0.5" has no unit (write 0.5deg or 0.5rad) [bad-day]`},
		{"format = 1\ngap = -3\n[[change]]\nname = \"x\"\n[[run]]\n", `day.toml:2:7: error: gap is -3; expected 0 to 600 [bad-day]`},
	} {
		d, found := Parse("day.toml", []byte(tt.text))
		if d != nil || len(found) == 0 || found[0].String() != tt.want {
			t.Errorf("%q:\n got %v\nwant %s", tt.text, found, tt.want)
		}
	}
}

// Every setup of every demo kart: a change and its way back end where they
// began, toe stays as it is, and the same setup is always the same setting.
func TestSetupsOnKarts(t *testing.T) {
	for _, name := range demo.Names() {
		k := kart(t, name)
		var changes []Change
		for _, text := range []string{"more caster: caster by +0.5 deg", "much more caster: caster by +1 deg", "less caster: caster by -0.5 deg", "camber in: camber by -0.5 deg", "toe out: toe by -0.1 deg"} {
			c, err := ParseChange(text)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := NewWork(k, k.Present, []Change{c}, UsualRates); err == nil {
				changes = append(changes, c)
			}
		}
		if len(changes) == 0 {
			t.Errorf("kart %s can do none of the changes", name)
			continue
		}
		w := work(t, k, changes...)
		base, err := k.Figures(k.Present)
		if err != nil {
			t.Fatal(err)
		}
		for j, c := range changes {
			out, err := w.Between(0, 1<<j)
			if err != nil {
				t.Fatal(err)
			}
			back, err := w.Between(1<<j, 0)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(back.To, k.Present); diff != "" {
				t.Errorf("kart %s, %s and back: %s", name, c.Name, diff)
			}
			for s := range base {
				want := base[s].Toe
				if c.Name == "toe out" {
					want -= 0.1 * geometry.Degree
				}
				tol := 1e-6 * geometry.Degree
				if stepsOnRod(k, frontend.Side(s)) {
					tol = 0.5 * geometry.Degree // half turns of a rod end
				}
				if got := out.After[s].Toe; !got.Near(want, tol) {
					t.Errorf("kart %s, %s: toe of the %v is %v, want %v", name, c.Name, frontend.Side(s), got, want)
				}
			}
		}
	}
}

func stepsOnRod(k *profile.Kart, s frontend.Side) bool {
	for _, a := range k.Corners[s].Adjusters {
		if a.Part() == adjust.OnRod && a.Travel().Step > 0 {
			return true
		}
	}
	return false
}

// A position is set, and the tie rod puts toe back.
func TestSetRestoresToe(t *testing.T) {
	k := kart(t, "alder")
	w := work(t, k, Change{Name: "plate", Sets: []string{"camber plate+=1 hole out"}}, Change{Name: "rod", Sets: []string{"tie rod+=1/4 turn longer"}})
	p, err := w.Between(0, 1)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := p.After[0].Toe, p.Before[0].Toe; !got.Near(want, 1e-9) {
		t.Errorf("with the plate a hole further toe is %v, want %v", got, want)
	}
	if p.After[0].Camber.Near(p.Before[0].Camber, 0.2*geometry.Degree) {
		t.Errorf("the plate a hole further leaves camber at %v", p.After[0].Camber)
	}
	if p, err = w.Between(0, 2); err != nil {
		t.Fatal(err)
	}
	if p.After[0].Toe.Near(p.Before[0].Toe, 0.05*geometry.Degree) {
		t.Errorf("a change of the tie rod itself leaves toe at %v", p.After[0].Toe)
	}
}

func TestWhatAKartCannotDo(t *testing.T) {
	for _, tt := range []struct {
		kart    string
		changes []Change
		want    string
	}{
		{"alder", []Change{{Name: "a", Wants: []string{"caster by 9 deg"}}}, "a: this kart cannot do it"},
		{"alder", []Change{{Name: "a", Sets: []string{"caster scrw=1 turn"}}}, `this kart has no adjuster "caster scrw"; did you mean "caster screw"?`},
		{"alder", []Change{{Name: "a", Sets: []string{"caster screw+=5 turns"}}}, "outside its travel"},
		{"alder", []Change{{Name: "a"}, {Name: "a"}}, `two changes are called "a"`},
		{"alder", []Change{{Name: "a", Wants: []string{"caster to 12 deg"}}}, "turns nothing on this kart"},
		{"elm", []Change{{Name: "a", Wants: []string{"caster by 1 deg"}}}, "a: this kart cannot do it"},
	} {
		k := kart(t, tt.kart)
		if _, err := NewWork(k, k.Present, tt.changes, UsualRates); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%+v on %s: %v, want it to say %q", tt.changes, tt.kart, err, tt.want)
		}
	}
	k := kart(t, "alder")
	w := work(t, k, Change{Name: "half", Wants: []string{"caster by 0.5 deg"}}, Change{Name: "whole", Wants: []string{"caster by 1 deg"}})
	if got, want := w.Apart(), `"half" and "whole" both set caster`; got != want {
		t.Errorf("two amounts of caster: apart because %q, want %q", got, want)
	}
	list, _, err := Options((&Day{Changes: w.Changes, Spread: Spread{SD: 0.06}, Trend: Linear}).Request(w, 9, 1))
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range list {
		for _, s := range o.Order {
			if s == 3 {
				t.Errorf("plan %q has both amounts of caster on at once", o.Name)
			}
		}
	}
	if _, err := NewWork(k, k.Present, []Change{{Name: "a"}}, Rates{Named: map[string]float64{"castor screw": 3}}); err == nil || !strings.Contains(err.Error(), `did you mean "caster screw"?`) {
		t.Errorf("minutes for an adjuster that is not there: %v", err)
	}
}

func TestParseChange(t *testing.T) {
	for text, want := range map[string]Change{
		"more caster: caster by +0.5 deg, matters 2":  {Name: "more caster", Wants: []string{"caster by +0.5 deg"}, Weight: 2},
		"caster by +0.5 deg":                          {Name: "caster by +0.5 deg", Wants: []string{"caster by +0.5 deg"}},
		"wide: rear hubs":                             {},
		"wider rear: minutes 8":                       {Name: "wider rear", Minutes: 8},
		"softer seat":                                 {Name: "softer seat"},
		"screw: caster screw+=1/2 turn":               {Name: "screw", Sets: []string{"caster screw+=1/2 turn"}},
		"two: caster by 1 deg, camber to -1 deg":      {Name: "two", Wants: []string{"caster by 1 deg", "camber to -1 deg"}},
		"toe: toe by 1 mm out over 255 mm, minutes 3": {Name: "toe", Wants: []string{"toe by 1 mm out over 255 mm"}, Minutes: 3},
	} {
		got, err := ParseChange(text)
		if want.Name == "" {
			if err == nil || !strings.Contains(err.Error(), `"rear hubs" is not understood`) {
				t.Errorf("ParseChange(%q): %+v, %v", text, got, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("ParseChange(%q): %v", text, err)
		} else if d := cmp.Diff(want, got); d != "" {
			t.Errorf("ParseChange(%q) (−want +got):\n%s", text, d)
		}
	}
	for _, text := range []string{"", ": caster by 1 deg", "x: caster by 1", "caster by 1", "x: minutes many"} {
		if c, err := ParseChange(text); err == nil {
			t.Errorf("ParseChange(%q) = %+v, want an error", text, c)
		}
	}
}

// The minutes of a stop are those of what is turned, once for both sides' stop.
func TestMinutes(t *testing.T) {
	k := kart(t, "alder")
	w := work(t, k, Change{Name: "caster", Wants: []string{"caster by 0.5 deg"}}, Change{Name: "wide", Minutes: 8}, Change{Name: "seat"})
	for _, tt := range []struct {
		from, to Setup
		want     float64
	}{{0, 0, 0}, {0, 1, 4 + 2*2}, {1, 0, 8}, {0, 2, 4 + 8}, {0, 4, 4 + 10}, {1, 6, 4 + 4 + 8 + 10}} {
		if got := w.Minutes(tt.from, tt.to); got != tt.want {
			t.Errorf("from %v to %v takes %g min, want %g", tt.from, tt.to, got, tt.want)
		}
	}
}

func TestOptions(t *testing.T) {
	r := Request{Changes: 1, Runs: 8, Trend: Linear, Spread: Spread{SD: 0.06, DF: 12}, Smallest: 0.15}
	list, best, err := Options(r)
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range list {
		if i > 0 && o.Worst().Half >= list[i-1].Worst().Half && len(o.Order) > len(list[i-1].Order) {
			t.Errorf("plan %q costs more runs than %q and proves no more", o.Name, list[i-1].Name)
		}
		if i < best && o.Worst().Detect <= r.Smallest {
			t.Errorf("plan %q shows %.2f s with less work than the marked %q", o.Name, r.Smallest, list[best].Name)
		}
	}
	if list[best].Worst().Detect > r.Smallest {
		t.Errorf("the marked plan %q shows %.3f s, want %.2f s", list[best].Name, list[best].Worst().Detect, r.Smallest)
	}
	// The slowest part gets the column with the fewest changes.
	slow := func(from, to Setup) float64 {
		m := float64(from.Steps(to))
		if from.Has(0) != to.Has(0) {
			m += 30
		}
		return m
	}
	list, best, err = Options(Request{Changes: 3, Runs: 8, Trend: Linear, Spread: Spread{SD: 0.06, DF: 12}, Minutes: slow})
	if err != nil {
		t.Fatal(err)
	}
	if o := list[best].Order; o.StepsOf(0) != 2 {
		t.Errorf("the slow part is put on and taken off %d times in %v, want 2", o.StepsOf(0), o)
	}
	for _, tt := range []struct {
		r    Request
		want string
	}{
		{Request{Changes: 0, Runs: 8, Spread: r.Spread}, "there is no change to try"},
		{Request{Changes: 1, Runs: 2, Spread: r.Spread}, "2 runs are too few: base, change and base again take three"},
		{Request{Changes: 3, Runs: 6, Trend: Linear, Spread: r.Spread}, "6 runs are too few for 3 changes: going back to the base after each takes 7"},
		{Request{Changes: 9, Runs: 20, Spread: r.Spread}, "9 changes are too many for a day"},
		{Request{Changes: 1, Runs: 4, Spread: r.Spread, Tyres: 3}, "3 tyre sets are not for 4 runs"},
		{Request{Changes: 1, Runs: 4}, "the spread between runs must be a time above 0 s"},
	} {
		if _, _, err := Options(tt.r); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("Options(%+v): %v, want it to say %q", tt.r, err, tt.want)
		}
	}
	for text, want := range map[string]string{
		"0 0 0": "the order never has change 1 on", "1 1 1": "no run without it to compare with", "0 1": "too short", "0 0 1 1 1 1": "",
	} {
		o, err := ParseOrder(text, 1)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Given(r, o); (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("Given(%q): %v, want it to say %q", text, err, want)
		}
	}
}

// Whatever happens to a day, replanning keeps what was driven, keeps the
// number of runs, and never leaves the day telling less than the old rest.
func TestReplan(t *testing.T) {
	k := kart(t, "alder")
	changes := []Change{{Name: "caster", Wants: []string{"caster by 0.5 deg"}}, {Name: "camber", Wants: []string{"camber by -0.5 deg"}}}
	w := work(t, k, changes...)
	rng := rand.New(rand.NewPCG(3, 4))
	for range 60 {
		o := []Order{BaseBetween(2), Palindrome(2), ABBAEach(2), BothWays(2), Factorial(3, 3, 6)}[rng.IntN(5)]
		d := &Day{Trend: Linear, Figure: Typical, Spread: Spread{0.06, 12}, Changes: changes, Rates: UsualRates}
		for _, s := range o {
			d.Runs = append(d.Runs, Run{Setup: s, State: Planned, Tyres: 1})
		}
		gone := 1 + rng.IntN(len(o)-2)
		for i := range gone {
			d.Runs[i].State, d.Runs[i].Value = Done, 48.5
			if rng.IntN(3) == 0 {
				d.Runs[i] = Run{Setup: d.Runs[i].Setup, State: Missed, Tyres: 1}
			}
		}
		before, cost := append([]Run(nil), d.Runs[:gone]...), d.cost(w, gone)
		if _, err := d.Replan(w, -1); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(before, d.Runs[:gone]); diff != "" || len(d.Runs) != len(o) {
			t.Fatalf("replanning %v after %d runs changed what was driven, or the number of runs: %s", o, gone, diff)
		}
		if c := d.cost(w, gone); c > cost+1e-9 {
			t.Errorf("replanning %v after %d runs makes the day worse: %g, was %g", o, gone, c, cost)
		}
		if changed, _ := d.Replan(w, -1); changed {
			t.Errorf("replanning %v a second time changes it again", o)
		}
	}
}

// A missed run in ABBA must not leave the change where drift hides it.
func TestReplanSavesTheDay(t *testing.T) {
	k := kart(t, "alder")
	changes := []Change{{Name: "caster", Wants: []string{"caster by 0.5 deg"}}}
	w := work(t, k, changes...)
	d := &Day{Trend: Linear, Figure: Typical, Spread: Spread{0.06, 12}, Changes: changes, Rates: UsualRates}
	for _, s := range word("AABB") {
		d.Runs = append(d.Runs, Run{Setup: s, State: Planned, Tyres: 1})
	}
	d.Runs[0].State, d.Runs[0].Value = Done, 48.5
	d.Runs[1].State = Missed
	if got := d.Expected().Var[0]; !math.IsInf(got, 1) && got < 5 {
		t.Fatalf("A, missed, B, B: variance %g", got)
	}
	if changed, err := d.Replan(w, 3); err != nil || !changed {
		t.Fatalf("replanned %v, %v", changed, err)
	}
	if got := d.Expected().Var[0]; got > 1.6 {
		t.Errorf("with three more runs the order is %v and the variance %.2f σ², want about 1.5 or less", d.order(0), got)
	}
	if _, err := d.Replan(w, MaxRuns); err == nil {
		t.Error("more runs than a day holds are accepted")
	}
}

// Rain: what is driven after it is compared among itself, so a day with all
// base runs before and all others after cannot tell.
func TestRainParts(t *testing.T) {
	d := driven(word("AABB"), 1, NoTrend, 48.5, 48.52, 50.1, 50.2)
	d.Runs[2].Break = true
	if e := judge(t, d).Effects[0]; e.Outcome != NotTested {
		t.Errorf("base before the rain and change after it: %s", e.Text)
	}
	d = driven(word("ABAB"), 1, NoTrend, 48.5, 48.4, 50.1, 50.0)
	d.Runs[2].Break = true
	if e := judge(t, d).Effects[0]; e.Outcome != Quicker || math.Abs(e.Value+0.1) > 1e-9 {
		t.Errorf("both before and after the rain: %s", e.Text)
	}
}

func TestTakeBack(t *testing.T) {
	d := driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74)
	d.Runs[3] = Run{State: Planned, Tyres: 1}
	d.TakeBack()
	e := driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74)
	e.Runs[3] = Run{Setup: 0, State: Done, Tyres: 1, Feel: Better, Says: "bites", Laps: []Lap{{Seconds: 49.9, Decimals: 2, Flag: OutLap}, {Seconds: 48.6, Decimals: 2}}}
	got, err := e.Enter(work(t, kart(t, "alder"), e.Changes...), Entry{TakeBack: true})
	if want := "Run 4 is taken back. It was: 49.90 out, 48.60, driver better “bites”."; err != nil || got.Said != want {
		t.Errorf("taking back says %q, %v, want %q", got.Said, err, want)
	}
	if d.Next() != 2 || d.Runs[2].Value != 0 || d.Runs[2].Setup != 1 {
		t.Errorf("after taking run 3 back it is %+v and the next is run %d", d.Runs[2], d.Next()+1)
	}
}

// Sheets keep to 80 columns; a page turns no text into mark-up.
func TestSheets(t *testing.T) {
	k := kart(t, "cedar")
	d := &Day{Track: `<script>alert("x")</script> & Co`, Trend: Linear, Figure: Typical, Spread: Spread{SD: 0.06}, Gap: 5, Plan: "ABBA", Rates: UsualRates,
		Changes: []Change{{Name: "a rather long name for a change of caster that has to be broken somewhere", Wants: []string{"caster by 0.5 deg"}}, {Name: "<b>wide</b>"}}}
	for _, s := range Palindrome(2) {
		d.Runs = append(d.Runs, Run{Setup: s, State: Planned, Tyres: 1})
	}
	d.NewTyres(3)
	w := work(t, k, d.Changes...)
	sheet, err := d.Sheet(w, 0, geometry.Units{})
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(d.PrintText(w, sheet), "\n") {
		if n := len([]rune(line)); n > 80 || strings.HasSuffix(line, " ") {
			t.Errorf("a line of %d columns: %q", n, line)
		}
	}
	page, err := d.PrintHTML(w, sheet)
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"<script>", "<b>wide"} {
		if bytes.Contains(page, []byte(bad)) {
			t.Errorf("the page has %q in it", bad)
		}
	}
	if got := bytes.Count(page, []byte("<section>")); got != len(d.Runs) {
		t.Errorf("the page has %d runs, want %d", got, len(d.Runs))
	}
	if !sheet[3].NewSet || sheet[1].Short <= 0 || len(sheet[1].Turns) == 0 || sheet[0].Minutes != 0 {
		t.Errorf("sheet: new set %v at run 4, short %g at run 2, turns %q, %g min before run 1", sheet[3].NewSet, sheet[1].Short, sheet[1].Turns, sheet[0].Minutes)
	}
	v := judge(t, driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74))
	d2 := driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74)
	d2.Track = d.Track
	if svg := v.SVG(d2); bytes.Contains(svg, []byte("<script>")) || bytes.Count(svg, []byte("<circle")) != 4 {
		t.Errorf("the drawing is\n%s", svg)
	}
	chart := v.Chart(d2)
	if marks := strings.Count(strings.Join(chart[:13], ""), "1 "); len(chart) != 15 || marks > 2 {
		t.Errorf("the chart is\n%s", strings.Join(chart, "\n"))
	}
	for _, line := range chart {
		if len([]rune(line)) > 80 {
			t.Errorf("a line of the chart has %d columns: %q", len([]rune(line)), line)
		}
	}
}

// What is turned for a run starts from how the kart stands: for a run to come
// after a missed one, from the run before that.
func TestSheetAfterMissedRun(t *testing.T) {
	k := kart(t, "alder")
	for _, tt := range []struct {
		state  State
		fitted bool
		turns  bool
	}{{Missed, false, true}, {Missed, true, false}, {Rain, false, true}, {Rain, true, false}} {
		d := &Day{Trend: Linear, Figure: Typical, Spread: Spread{0.06, 12}, Rates: UsualRates, Changes: []Change{{Name: "caster", Wants: []string{"caster by 0.5 deg"}}}}
		for _, s := range word("ABBA") {
			d.Runs = append(d.Runs, Run{Setup: s, State: Planned, Tyres: 1})
		}
		d.Runs[0].State, d.Runs[0].Value = Done, 48.5
		d.Runs[1].State, d.Runs[1].Fitted = tt.state, tt.fitted
		w := work(t, k, d.Changes...)
		whole, err := d.Sheet(w, 0, geometry.Units{})
		if err != nil {
			t.Fatal(err)
		}
		now, err := d.Sheet(w, d.Next(), geometry.Units{})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(now[0].Turns, whole[2].Turns); diff != "" || len(now[0].Turns) > 0 != tt.turns {
			t.Errorf("run 2 %s, set up %v: run 3 turns %q, on the whole sheet %q", tt.state, tt.fitted, now[0].Turns, whole[2].Turns)
		}
		if len(now[0].Check) == 0 {
			t.Errorf("run 2 %s, set up %v: there is nothing to check before run 3", tt.state, tt.fitted)
		}
		if len(whole[0].Turns) > 0 || !strings.Contains(whole[0].Result, "48.500 s") || !strings.Contains(d.PrintText(w, whole), "[x] Run 1 BASE\n    tyre set 1; 48.500 s.\n") {
			t.Errorf("the sheet has run 1, which is over, as %+v", whole[0])
		}
		text := d.PrintText(w, whole)
		if n := strings.Count(text, "Kart secure on its stand"); n != 1 {
			t.Errorf("the sheet says %d times that the kart is secure on its stand, want once:\n%s", n, text)
		}
		page, err := d.PrintHTML(w, whole)
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(page, []byte(`class="laps"`)); n != 2 || !bytes.Contains(page, []byte("Check the wheel nuts")) {
			t.Errorf("the page has room for the laps of %d runs, want the 2 to come, and what to take care of", n)
		}
	}
}

// The way back to the base undoes what is on.
func TestPutBack(t *testing.T) {
	k := kart(t, "alder")
	d := driven(word("ABAB"), 1, NoTrend, 48.5, 48.4, 48.5, 48.4)
	d.Changes = []Change{{Name: "caster", Wants: []string{"caster by 0.5 deg"}}}
	w := work(t, k, d.Changes...)
	turns, check, err := d.PutBack(w, geometry.Units{})
	if err != nil || len(turns) == 0 || !strings.Contains(turns[0], "Each side, caster screw: loosen it") || len(check) == 0 || d.Stands() != "as for run 4, caster" {
		t.Errorf("from %s back to the base: %q, check %q, %v", d.Stands(), turns, check, err)
	}
	d.Runs[3] = Run{Setup: 1, State: Missed, Tyres: 1}
	if turns, _, err = d.PutBack(w, geometry.Units{}); err != nil || len(turns) > 0 || d.Stands() != "on the base" {
		t.Errorf("from %s back to the base: %q, %v", d.Stands(), turns, err)
	}
	if got, want := d.Gone(), "3 of 4 runs driven, 1 missed"; got != want {
		t.Errorf("the day says %q, want %q", got, want)
	}
}

func TestWishFields(t *testing.T) {
	for _, tt := range []struct {
		runs, sets int
		field      string
	}{{0, 1, "runs"}, {2, 1, "runs"}, {99, 1, "runs"}, {8, 0, "tyre-sets"}, {8, -1, "tyre-sets"}, {8, 5, "tyre-sets"}} {
		_, err := NewPlan(Wish{Changes: []Change{{Name: "seat"}}, Runs: tt.runs, TyreSets: tt.sets, Spread: Spread{SD: 0.06}, Trend: "linear", Figure: "typical"}, nil)
		var f *FieldError
		if !errors.As(err, &f) || f.Field != tt.field {
			t.Errorf("%d runs and %d tyre sets: %v, want an error about %s", tt.runs, tt.sets, err, tt.field)
		}
	}
}

func TestToeNeedsALength(t *testing.T) {
	for _, text := range []string{"toe by 1 mm out", "toe to 1 mm", "toe by 0.04 in out"} {
		if _, err := NewChange("toe", text); err == nil || !strings.Contains(err.Error(), "over which length? for instance 1 mm out over 255 mm") {
			t.Errorf("%q: %v, want the question over which length", text, err)
		}
	}
	for _, text := range []string{"toe by 1 mm out over 255 mm", "toe by 0.1 deg out"} {
		if _, err := NewChange("toe", text); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
}
