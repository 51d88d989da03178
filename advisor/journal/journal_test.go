package journal_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/advisor/journal"
	"kartwright/advisor/learn"
	"kartwright/rules"
)

// day is a clock that goes on by a minute at each look.
func clock() func() time.Time {
	t := time.Date(2026, 5, 3, 9, 0, 0, 0, time.UTC)
	return func() time.Time { t = t.Add(time.Minute); return t }
}

// open opens a journal in a new folder; seed makes its name.
func open(tb testing.TB, seed byte) *journal.Journal {
	tb.Helper()
	return openAt(tb, filepath.Join(tb.TempDir(), "journal.db"), seed)
}

func openAt(tb testing.TB, path string, seed byte) *journal.Journal {
	tb.Helper()
	j, err := journal.Open(context.Background(), path, journal.Options{Now: clock(), Random: bytes.NewReader(bytes.Repeat([]byte{seed}, 16))})
	require.NoError(tb, err)
	tb.Cleanup(func() { j.Close() })
	return j
}

func add(tb testing.TB, j *journal.Journal, entries ...journal.Record) {
	tb.Helper()
	require.NoError(tb, j.Add(context.Background(), entries...))
}

// memory is a folder in memory where there is one: properties of what is
// written need no disk.
func memory(t *testing.T) string {
	dir, err := os.MkdirTemp("/dev/shm", "journal")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func ptr[T any](v T) *T { return &v }

func session(kart string, laps ...int64) *journal.Session {
	s := &journal.Session{Header: journal.Header{Kart: kart}, Place: "the long one", Driver: "Kim", Conditions: journal.Conditions{Track: "tight", Grip: "6/10", Tyres: "25 laps", Wet: "no"}}
	for _, ms := range laps {
		s.Laps = append(s.Laps, journal.Lap{MS: ms})
	}
	return s
}

func advice(kart, move string, rulesFor ...string) *journal.Advice {
	a := &journal.Advice{
		Header: journal.Header{Kart: kart}, Status: "advice", Move: move, Direction: "increase", Title: "more " + move, Amount: 0.5, Unit: "deg",
		Conditions: journal.Conditions{Track: "tight", Grip: "6/10", Tyres: "25 laps", Wet: "no"}, Symptoms: []string{"understeer/entry:strong"}, Trace: `{"a":"<b> & \"c\""}`,
	}
	for _, r := range rulesFor {
		a.Rules = append(a.Rules, journal.AdviceRule{Rule: r, Support: 0.6})
	}
	return a
}

func outcome(a *journal.Advice, verdict string) *journal.Outcome {
	o := &journal.Outcome{Header: journal.Header{Kart: a.Kart}, Advice: a.ID, Followed: true, Verdicts: []journal.SymptomVerdict{{Symptom: a.Symptoms[0], Verdict: verdict}}}
	if err := o.Judge(); err != nil {
		panic(err)
	}
	return o
}

func export(tb testing.TB, j *journal.Journal) string {
	tb.Helper()
	var b bytes.Buffer
	_, err := j.ExportJSON(context.Background(), &b)
	require.NoError(tb, err)
	return b.String()
}

func TestDefaultPath(t *testing.T) {
	for _, tt := range []struct {
		goos string
		env  map[string]string
		want string
	}{
		{"linux", map[string]string{"HOME": "/home/kim"}, "/home/kim/.local/share/kartwright/journal.db"},
		{"linux", map[string]string{"HOME": "/home/kim", "XDG_DATA_HOME": "/data"}, "/data/kartwright/journal.db"},
		{"linux", map[string]string{"HOME": "/home/kim", "XDG_DATA_HOME": "data"}, "/home/kim/.local/share/kartwright/journal.db"},
		{"darwin", map[string]string{"HOME": "/Users/kim"}, "/Users/kim/Library/Application Support/kartwright/journal.db"},
		{"windows", map[string]string{"LocalAppData": "/c/local", "HOME": "/h"}, "/c/local/kartwright/journal.db"},
		{"linux", nil, ""},
		{"windows", map[string]string{"HOME": "/h"}, ""},
	} {
		got, err := journal.DefaultPath(func(k string) string { return tt.env[k] }, tt.goos)
		if filepath.ToSlash(got) != tt.want || (err == nil) != (tt.want != "") {
			t.Errorf("on %s with %v the journal is at %q (%v), want %q", tt.goos, tt.env, got, err, tt.want)
		}
	}
}

func TestOpenMakesAndKeeps(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a new folder", "what? #1 100%.db")
	j := openAt(t, path, 1)
	if !j.Created {
		t.Error("the first Open does not say that it began a journal")
	}
	add(t, j, session("Alder", 48610))
	require.NoError(t, j.Close())
	again := openAt(t, path, 2)
	if again.Created || again.ID() != j.ID() {
		t.Errorf("the second Open began another journal: %s after %s", again.ID(), j.ID())
	}
	s, err := again.LatestSession(context.Background(), "Alder")
	require.NoError(t, err)
	if s == nil || s.Laps[0].MS != 48610 {
		t.Errorf("the session is %+v after closing and opening", s)
	}
}

// Every kind of entry comes back as it was written.
func TestEntriesComeBack(t *testing.T) {
	ctx, j := context.Background(), open(t, 1)
	set := &journal.Setting{
		Header: journal.Header{Kart: "Alder"}, Note: "as bought,\r\nsays \"Kim\"",
		Positions: []journal.Position{{Side: "left", Adjuster: "caster screw", Position: -0.5, Text: "1/2 turn tighter", Gauge: ptr(6.97)}, {Side: "right", Adjuster: "caster screw", Text: "standard"}},
		Figures:   []journal.Figures{{Side: "left", Caster: 12.3, KPI: 10, Camber: -0.3, Toe: -0.11}},
		Readings:  []journal.Reading{{Side: "left", What: "camber", Angle: ptr(-0.4), AnglePM: ptr(0.1)}, {Side: "kart", What: "front track", Length: ptr(1040.0)}},
	}
	add(t, j, set)
	ses := session("Alder", 48610, 48420)
	ses.Setting, ses.TyreLaps, ses.Complaint, ses.Symptoms, ses.Laps[0].Flag = set.ID, ptr[int64](25), "pushes, then hops\n", []string{"understeer/entry:strong", "!bind"}, "out"
	add(t, j, ses)
	adv := advice("Alder", "caster", "r1", "r2")
	adv.Session = ses.ID
	add(t, j, adv)
	out := outcome(adv, "better")
	out.Session, out.Effect, out.EffectSE, out.EffectDF = ses.ID, ptr(-0.1), ptr(0.05), ptr(3.0)
	strike := &journal.Strike{Of: ses.ID, Why: "wrong kart"}
	ev := &journal.Evidence{Outcome: "00112233445566778899aabbccddeeff", Rule: "r1", Day: "2026-04-30", Helped: 0.5}
	add(t, j, out, ev, strike)
	if set.Note != "as bought,\nsays \"Kim\"" {
		t.Errorf("the note is %q, want its line ends as \\n", set.Note)
	}
	for _, want := range []journal.Record{set, ses, adv, out, ev, strike} {
		got, err := j.Find(ctx, string(want.Head().ID[:6]))
		require.NoError(t, err)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("a %s that was written comes back otherwise (-want +got):\n%s", want.Head().Kind, diff)
		}
	}
	s, err := j.Struck(ctx, ses.ID)
	require.NoError(t, err)
	if diff := cmp.Diff(strike, s); diff != "" {
		t.Errorf("what struck the session (-want +got):\n%s", diff)
	}
	recent, err := j.Recent(ctx, journal.Filter{})
	require.NoError(t, err)
	var kinds []string
	for _, r := range recent {
		kinds = append(kinds, string(r.Head().Kind))
	}
	if got, want := strings.Join(kinds, " "), "evidence outcome advice setting"; got != want {
		t.Errorf("the entries that stand, latest first, are %s, want %s", got, want)
	}
}

func TestAddRefuses(t *testing.T) {
	ctx, j := context.Background(), open(t, 1)
	bad := session("Alder", 48610, 0)
	bad.Laps[0].Flag = "slow"
	missing := session("Alder")
	missing.Setting = "00112233445566778899aabbccddeeff"
	noSE := &journal.Outcome{Header: journal.Header{Kart: "Alder"}, Advice: missing.Setting, Effect: ptr(-0.1), Helped: 2}
	twice := &journal.Setting{Header: journal.Header{Kart: "Alder"}, Positions: []journal.Position{{Side: "left", Adjuster: "screw"}, {Side: "left", Adjuster: "screw"}, {Side: "middle"}}}
	for _, tt := range []struct {
		entry journal.Record
		want  string
	}{
		{bad, `laps[0].flag is "slow", expected one of out, in, spoiled`},
		{bad, `laps[1].time_ms is 0, expected more than 0`},
		{&journal.Session{}, "kart is missing"},
		{missing, "its setting_id is 00112233, and there is no such entry"},
		{noSE, "effect_s, effect_se_s and effect_df together"},
		{noSE, "helped is 2, expected 0 to 1"},
		{twice, "positions[1] gives the left screw a second time"},
		{twice, `positions[2].side is "middle", expected one of left, right`},
		{&journal.Strike{}, "of_id is missing"},
		{&journal.Evidence{Outcome: "x", Rule: "r", Day: "yesterday"}, `day is "yesterday", expected a date`},
		{&journal.Advice{Header: journal.Header{Kart: "Alder"}, Trace: "{"}, "trace is not JSON"},
		{&journal.Session{Header: journal.Header{Kart: "a", At: time.Date(900, 1, 1, 0, 0, 0, 0, time.UTC)}}, "expected a time from 1970 on"},
	} {
		// A good entry beside it must not be kept either.
		err := j.Add(ctx, session("Birch"), tt.entry)
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("adding %T: error %v, want it to say %s", tt.entry, err, tt.want)
		}
	}
	recent, err := j.Recent(ctx, journal.Filter{})
	require.NoError(t, err)
	if len(recent) != 0 {
		t.Errorf("%d entries were kept of transactions that failed", len(recent))
	}
}

// Pragmas hold on the connection that is used, and the first one too.
func TestPragmas(t *testing.T) {
	j := open(t, 1)
	for pragma, want := range map[string]string{"journal_mode": "delete", "synchronous": "3", "foreign_keys": "1", "busy_timeout": "10000", "trusted_schema": "0", "user_version": "1", "application_id": "1264677492"} {
		got, err := journal.Pragma(j, pragma)
		require.NoError(t, err)
		if got != want {
			t.Errorf("pragma %s is %s, want %s", pragma, got, want)
		}
	}
}

func TestNewerJournalIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	openAt(t, path, 1).Close()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	_, err = db.Exec("PRAGMA user_version = 99")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	_, err = journal.Open(context.Background(), path, journal.Options{})
	if !errors.Is(err, journal.ErrNewer) || !strings.Contains(err.Error(), "its schema is 99, this program knows 1") || !strings.Contains(err.Error(), "--journal") {
		t.Errorf("a journal of a later version gives %v", err)
	}
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	if !bytes.Equal(before, after) {
		t.Error("a journal that was refused was written to")
	}
}

// The newest setting, the one before, what was tried: the questions that
// advice asks.
func TestWhatAdviceAsks(t *testing.T) {
	ctx, j := context.Background(), open(t, 1)
	s, err := j.LatestSetting(ctx, "Alder")
	if s != nil || err != nil {
		t.Errorf("a kart without entries stands at %v (%v), want nothing", s, err)
	}
	first, second := &journal.Setting{Header: journal.Header{Kart: "Alder"}, Note: "1"}, &journal.Setting{Header: journal.Header{Kart: "Alder"}, Note: "2"}
	add(t, j, first, second, &journal.Setting{Header: journal.Header{Kart: "Birch"}, Note: "other"})
	if s, err = j.LatestSetting(ctx, "Alder"); err != nil || s.Note != "2" {
		t.Errorf("the latest setting is %+v (%v), want 2", s, err)
	}
	ses := session("Alder", 48610, 48620)
	ses.TyreSet, ses.TyreLaps = "B", ptr[int64](25)
	add(t, j, ses)
	if n, ok, err := j.TyreLaps(ctx, "B"); n != 27 || !ok || err != nil {
		t.Errorf("set B, 25 laps old before a session of two, has done %d laps (%v, %v)", n, ok, err)
	}
	if n, ok, err := j.TyreLaps(ctx, ""); ok || err != nil {
		t.Errorf("no set has done %d laps (%v, %v)", n, ok, err)
	}

	failed, helped, open := advice("Alder", "caster", "r1"), advice("Alder", "toe", "r2"), advice("Alder", "camber", "r3")
	none := advice("Alder", "")
	none.Direction = ""
	add(t, j, failed, helped, open, none)
	wrong := outcome(failed, "better")
	add(t, j, wrong, outcome(helped, "better"))
	corrected := outcome(failed, "worse")
	add(t, j, corrected)
	pending, err := j.Pending(ctx, "Alder", time.Time{}.AddDate(1969, 0, 0))
	require.NoError(t, err)
	if len(pending) != 1 || pending[0].ID != open.ID {
		t.Errorf("%d advices wait for an outcome, want the one on camber", len(pending))
	}
	tries, err := j.Tries(ctx, "Alder", 10)
	require.NoError(t, err)
	want := []journal.Try{
		{Advice: failed.ID, Outcome: corrected.ID, At: corrected.At, Move: "caster", Direction: "increase", Title: "more caster", Amount: 0.5, Unit: "deg", Helped: 0, Conditions: failed.Conditions, Symptoms: failed.Symptoms},
		{Advice: helped.ID, At: wrong.At, Move: "toe", Direction: "increase", Title: "more toe", Amount: 0.5, Unit: "deg", Helped: 1, Conditions: failed.Conditions, Symptoms: failed.Symptoms},
	}
	want[1].Outcome, want[1].At = tries[1].Outcome, tries[1].At
	if diff := cmp.Diff(want, tries); diff != "" {
		t.Errorf("what was tried (-want +got):\n%s", diff)
	}
	if !tries[0].Failed() || tries[1].Failed() {
		t.Error("the try that made it worse is not the one that failed")
	}

	// What was not carried out, or was struck out, says nothing of the rule.
	instead := advice("Alder", "caster", "r1")
	add(t, j, instead)
	o := outcome(instead, "worse")
	o.Followed, o.Instead = false, "changed the rear"
	add(t, j, o, &journal.Strike{Of: helped.ID})
	learned, err := j.Learned(ctx, "Alder")
	require.NoError(t, err)
	for rule, want := range map[string]string{"r1": "helped 0 of 1 time here", "r2": "not tried yet", "r3": "not tried yet"} {
		if got := learned[rule].String(); got != want {
			t.Errorf("rule %s %s, want %s", rule, got, want)
		}
	}
	if other, err := j.Learned(ctx, "Birch"); err != nil || other["r1"].String() != "helped 0 of 1 time on your other karts" {
		t.Errorf("for another kart the rule %s (%v)", other["r1"], err)
	}
}

func TestSameConditions(t *testing.T) {
	voc := rules.Vocabulary{
		Grip:  rules.Scale{Of: 10, Words: []rules.ScaleWord{{Word: "low", Shape: rules.Trapezoid{0, 0, 3, 5}}, {Word: "medium", Shape: rules.Trapezoid{3, 5, 6, 8}}, {Word: "high", Shape: rules.Trapezoid{6, 8, 10, 10}}}},
		Tyres: rules.Scale{Unit: "laps", Words: []rules.ScaleWord{{Word: "new", Shape: rules.Trapezoid{0, 0, 10, 20}}, {Word: "used", Shape: rules.Trapezoid{10, 20, 1e9, 1e9}}}},
	}
	try := journal.Try{Conditions: journal.Conditions{Track: "tight", Grip: "6/10", Tyres: "25 laps", Wet: "no"}, Symptoms: []string{"understeer/entry:strong", "!hop"}}
	for _, tt := range []struct {
		symptom string
		c       journal.Conditions
		want    bool
	}{
		{"understeer/entry", journal.Conditions{Track: "tight", Grip: "medium", Tyres: "used", Wet: "no"}, true},
		{"understeer", journal.Conditions{}, true},
		{"understeer/entry", journal.Conditions{Grip: "5/10", Tyres: "60 laps"}, true},
		{"understeer/exit", journal.Conditions{}, false},
		{"hop", journal.Conditions{}, false},
		{"understeer", journal.Conditions{Track: "fast"}, false},
		{"understeer", journal.Conditions{Grip: "9/10"}, false},
		{"understeer", journal.Conditions{Tyres: "new"}, false},
		{"understeer", journal.Conditions{Wet: "yes"}, false},
		{"understeer", journal.Conditions{Grip: "wet"}, false},
	} {
		if got := try.Same(voc, []string{tt.symptom}, tt.c); got != tt.want {
			t.Errorf("%s under %+v is the same as the try: %v, want %v", tt.symptom, tt.c, got, tt.want)
		}
	}
}

func TestJudge(t *testing.T) {
	v := func(verdicts ...string) (out []journal.SymptomVerdict) {
		for _, x := range verdicts {
			out = append(out, journal.SymptomVerdict{Symptom: "hop", Verdict: x})
		}
		return out
	}
	for _, tt := range []struct {
		o    journal.Outcome
		want float64
	}{
		{journal.Outcome{Verdicts: v("better")}, 1},
		{journal.Outcome{Verdicts: v("same")}, 0},
		{journal.Outcome{Verdicts: v("better", "worse")}, 0.5},
		// testdata/oracle/learning.md, S-2: 0.99985255 at δ = 0.05.
		{journal.Outcome{Effect: ptr(-.185), EffectSE: ptr(.0151343192), EffectDF: ptr(5.0)}, .99985255},
		{journal.Outcome{Verdicts: v("same"), Effect: ptr(-.185), EffectSE: ptr(.0151343192), EffectDF: ptr(5.0)}, .99985255 / 2},
	} {
		if err := tt.o.Judge(); err != nil || tt.o.Helped-tt.want > 5e-9 || tt.want-tt.o.Helped > 5e-9 {
			t.Errorf("%+v helped %.9f (%v), want %.8f", tt.o, tt.o.Helped, err, tt.want)
		}
	}
	for _, o := range []journal.Outcome{{}, {Effect: ptr(-.1), EffectSE: ptr(0.0), EffectDF: ptr(3.0)}} {
		if err := o.Judge(); err == nil {
			t.Errorf("%+v is judged as %g, want an error", o, o.Helped)
		}
	}
}

// text is anything that a person can type, line ends and quotes among it.
var text = rapid.Custom(func(t *rapid.T) string {
	return rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "a,b", "\"", "\r\n", "\r", "\n\n", " x ", "\\.", "<&>", "\x00", "\xff", "\uFEFF", "=1+1"})).Draw(t, "text")
})

func fill(t *rapid.T, j *journal.Journal) {
	ctx := context.Background()
	number := rapid.Float64Range(-1e6, 1e6)
	for range rapid.IntRange(1, 2).Draw(t, "rounds") {
		kart := rapid.SampledFrom([]string{"Alder", "Birch"}).Draw(t, "kart")
		set := &journal.Setting{Header: journal.Header{Kart: kart}, Note: text.Draw(t, "note")}
		for i := range rapid.IntRange(0, 3).Draw(t, "positions") {
			set.Positions = append(set.Positions, journal.Position{Side: "left", Adjuster: fmt.Sprint(i, "-", text.Draw(t, "adjuster")), Position: number.Draw(t, "position"), Text: text.Draw(t, "text"), Gauge: rapid.Ptr(number, true).Draw(t, "gauge")})
		}
		set.Readings = append(set.Readings, journal.Reading{Side: "kart", What: text.Draw(t, "what"), Length: ptr(number.Draw(t, "length")), LengthPM: rapid.Ptr(number, true).Draw(t, "pm")})
		require.NoError(t, j.Add(ctx, set))
		ses := session(kart)
		ses.Setting, ses.Complaint, ses.Place = set.ID, text.Draw(t, "complaint"), text.Draw(t, "place")
		ses.TyreLaps = rapid.Ptr(rapid.Int64Range(0, 1000), true).Draw(t, "tyre laps")
		for range rapid.IntRange(0, 5).Draw(t, "laps") {
			ses.Laps = append(ses.Laps, journal.Lap{MS: rapid.Int64Range(1, 200000).Draw(t, "ms"), Flag: rapid.SampledFrom([]string{"", "out", "in", "spoiled"}).Draw(t, "flag")})
		}
		require.NoError(t, j.Add(ctx, ses))
		adv := advice(kart, "caster", rapid.SampledFrom([]string{"r1", "r2"}).Draw(t, "rule"), "r3")
		adv.Session, adv.Amount = ses.ID, number.Draw(t, "amount")
		require.NoError(t, j.Add(ctx, adv))
		o := outcome(adv, rapid.SampledFrom([]string{"better", "same", "worse"}).Draw(t, "verdict"))
		o.Note = text.Draw(t, "note")
		require.NoError(t, j.Add(ctx, o, &journal.Evidence{Outcome: journal.ID(fmt.Sprintf("%032x", rapid.Uint64().Draw(t, "outcome"))), Rule: "r1", Day: "2026-04-01", Helped: rapid.Float64Range(0, 1).Draw(t, "helped")}))
		if rapid.Bool().Draw(t, "again") {
			again := outcome(adv, rapid.SampledFrom([]string{"better", "worse"}).Draw(t, "verdict"))
			again.Followed = rapid.Bool().Draw(t, "followed")
			require.NoError(t, j.Add(ctx, again))
		}
		if of := rapid.SampledFrom([]journal.ID{"", ses.ID, adv.ID, o.ID}).Draw(t, "strike"); of != "" {
			require.NoError(t, j.Add(ctx, &journal.Strike{Of: of, Why: text.Draw(t, "why")}))
		}
	}
}

// Through JSON lines or CSV and back, any journal is the same to the byte, and
// a second import finds nothing new.
func TestExportImportLosesNothing(t *testing.T) {
	ctx, dir := context.Background(), memory(t)
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		at := func(name string) string { return filepath.Join(dir, fmt.Sprint(n), name) }
		j, err := journal.Open(ctx, at("a.db"), journal.Options{Now: clock()})
		require.NoError(t, err)
		defer j.Close()
		fill(t, j)
		var want bytes.Buffer
		entries, err := j.ExportJSON(ctx, &want)
		require.NoError(t, err)
		_, err = j.ExportCSV(ctx, at("csv"))
		require.NoError(t, err)
		for _, way := range []string{"json", "csv"} {
			k, err := journal.Open(ctx, at(way+".db"), journal.Options{Now: clock()})
			require.NoError(t, err)
			defer k.Close()
			for round, expect := range []journal.Imported{{New: entries}, {Known: entries}} {
				var got journal.Imported
				if way == "json" {
					got, err = k.ImportJSON(ctx, "a.jsonl", bytes.NewReader(want.Bytes()))
				} else {
					got, err = k.ImportCSV(ctx, at("csv"))
				}
				if err != nil || got != expect {
					t.Fatalf("import %d of %s: %+v, %v; want %+v", round+1, way, got, err, expect)
				}
			}
			var back bytes.Buffer
			_, err = k.ExportJSON(ctx, &back)
			require.NoError(t, err)
			if diff := cmp.Diff(want.String(), back.String()); diff != "" {
				t.Fatalf("through %s and back (-before +after):\n%s", way, diff)
			}
		}
	})
}

// Merging journals is a union: whichever way and however often, the entries
// and what is learned from them are the same.
func TestMergeIsAUnion(t *testing.T) {
	ctx, dir := context.Background(), memory(t)
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		openIt := func(name string) *journal.Journal {
			j, err := journal.Open(ctx, filepath.Join(dir, fmt.Sprint(n, name)), journal.Options{Now: clock()})
			require.NoError(t, err)
			return j
		}
		var parts []string
		for i := range 3 {
			j := openIt(fmt.Sprint("part", i))
			fill(t, j)
			var b bytes.Buffer
			_, err := j.ExportJSON(ctx, &b)
			require.NoError(t, err)
			parts = append(parts, b.String())
			j.Close()
		}
		merged := func(name string, backwards bool, order ...int) (entries, evidence string, learned map[string]learn.Record) {
			j := openIt(name)
			defer j.Close()
			for _, i := range order {
				lines := strings.Split(strings.TrimSpace(parts[i]), "\n")
				if backwards {
					slices.Reverse(lines)
				}
				_, err := j.ImportJSON(ctx, name, strings.NewReader(strings.Join(lines, "\n")))
				require.NoError(t, err)
			}
			var b, e bytes.Buffer
			_, err := j.ExportJSON(ctx, &b)
			require.NoError(t, err)
			_, err = j.ExportEvidence(ctx, &e)
			require.NoError(t, err)
			learned, err = j.Learned(ctx, "Alder")
			require.NoError(t, err)
			if err := j.Check(ctx); err != nil {
				t.Fatal(err)
			}
			lines := strings.SplitAfter(e.String(), "\n")
			return b.String(), fmt.Sprint(len(lines)), learned
		}
		entries, evidence, learned := merged("abc", false, 0, 1, 2)
		e2, v2, l2 := merged("cab", true, 2, 0, 2, 1, 0)
		if entries != e2 || evidence != v2 {
			t.Fatal("merging three journals in another order, some twice, gives other entries")
		}
		if diff := cmp.Diff(learned, l2, cmp.AllowUnexported(learn.Record{}, learn.Count{})); diff != "" {
			t.Fatalf("and other learning (-abc +cab):\n%s", diff)
		}
	})
}

// Evidence goes round between people and counts once, and never against its
// own first owner.
func TestEvidenceGoesRound(t *testing.T) {
	ctx := context.Background()
	mine, theirs := open(t, 1), open(t, 2)
	a := advice("Alder", "caster", "r1", "r2")
	add(t, mine, a)
	add(t, mine, outcome(a, "better"))
	pass := func(from, to *journal.Journal) journal.Imported {
		var b bytes.Buffer
		_, err := from.ExportEvidence(ctx, &b)
		require.NoError(t, err)
		if strings.Contains(b.String(), "Alder") {
			t.Errorf("exported evidence names the kart:\n%s", b.String())
		}
		got, err := to.ImportJSON(ctx, "evidence.jsonl", &b)
		require.NoError(t, err)
		return got
	}
	if got, want := pass(mine, theirs), (journal.Imported{New: 2}); got != want {
		t.Errorf("the first import finds %+v, want %+v", got, want)
	}
	if got, want := pass(mine, theirs), (journal.Imported{Known: 2}); got != want {
		t.Errorf("the second import finds %+v, want %+v", got, want)
	}
	pass(theirs, mine)
	pass(mine, theirs)
	for j, want := range map[*journal.Journal]string{mine: "helped 1 of 1 time here", theirs: "helped 1 of 1 time in other journals"} {
		learned, err := j.Learned(ctx, "Alder")
		require.NoError(t, err)
		if got := learned["r1"].String(); got != want {
			t.Errorf("after going round the rule %s, want %s", got, want)
		}
	}
}

func TestImportRefuses(t *testing.T) {
	ctx, j := context.Background(), open(t, 1)
	add(t, j, session("Alder", 48610))
	good := export(t, j)
	line := strings.Split(good, "\n")[1]
	for _, tt := range []struct{ file, want string }{
		{"", "a.jsonl is empty, expected lines of JSON"},
		{good + "{", "a.jsonl:3: is not JSON"},
		{good + strings.Replace(line, "48610", "40000", 1), "a.jsonl:3: entry " /* … */},
		{strings.Replace(line, "48610", "40000", 1), "was changed after it was written"},
		{strings.Replace(line, `"driver":"Kim"`, `"driver":7`, 1), "a.jsonl:1: driver is a JSON number, expected string"},
		{strings.Replace(line, `"driver"`, `"pilot"`, 1), `unknown field "pilot"`},
		{`{"kind":"lap"}`, `a.jsonl:1: kind is "lap", expected one of [setting session`},
		{`{"format":"kartwright journal","version":2}`, "version 2, expected"},
		{`{"kind":"strike","at":"2026-05-03T09:00:00Z","of_id":"00112233445566778899aabbccddeeff"}`, "its of_id is 00112233, and there is no such entry"},
		{`{"kind":"session","at":"2026-05-03T09:00:00Z"}`, "a.jsonl:1: kart is missing"},
	} {
		k := open(t, 2)
		_, err := k.ImportJSON(ctx, "a.jsonl", strings.NewReader(tt.file))
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("importing %q: error %v, want it to say %s", tt.file, err, tt.want)
		}
		if left := export(t, k); strings.Count(left, "\n") != 1 {
			t.Errorf("an import that failed left entries:\n%s", left)
		}
	}
	// One written by hand is a new entry, once.
	k := open(t, 3)
	hand := `{"kind":"session","at":"2026-05-03T09:00:00+02:00","kart":"Alder","laps":[{"time_ms":48123}]}`
	for _, want := range []journal.Imported{{New: 1}, {Known: 1}} {
		if got, err := k.ImportJSON(ctx, "a.jsonl", strings.NewReader(hand)); err != nil || got != want {
			t.Errorf("importing a line written by hand: %+v, %v; want %+v", got, err, want)
		}
	}
}

func TestImportCSVRefuses(t *testing.T) {
	ctx, j := context.Background(), open(t, 1)
	add(t, j, session("Alder", 48610, 48620))
	for _, tt := range []struct{ file, old, new, want string }{
		{"session_lap.csv", ",48620,", ",slow,", `session_lap.csv:3: time_ms is "slow", expected a whole number`},
		{"session_lap.csv", ",48620,", ",48000,", "was changed after it was written"},
		{"session_lap.csv", ",2,48620,", ",3,48620,", `session_lap.csv:3: n is "3", expected 2`},
		{"session_lap.csv", "time_ms", "time", "session_lap.csv:2: there is no column time_ms"},
		{"session.csv", "2026-05-03T", "3 May ", `session.csv:2: at is "3 May`},
		{"session.csv", "id,at", "at,ID", "session.csv:1: there is no column id"},
		{"session.csv", "Kim", `K"im`, "session.csv:2:"},
	} {
		folder := filepath.Join(t.TempDir(), "csv")
		_, err := j.ExportCSV(ctx, folder)
		require.NoError(t, err)
		name := filepath.Join(folder, tt.file)
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		require.Contains(t, string(data), tt.old)
		require.NoError(t, os.WriteFile(name, []byte(strings.Replace(string(data), tt.old, tt.new, 1)), 0o644))
		if _, err := open(t, 2).ImportCSV(ctx, folder); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s with %s for %s: error %v, want it to say %s", tt.file, tt.new, tt.old, err, tt.want)
		}
	}
	if _, err := j.ImportCSV(ctx, t.TempDir()); err == nil || !strings.Contains(err.Error(), "there is no file such as session.csv") {
		t.Errorf("an empty folder: error %v", err)
	}
	folder := t.TempDir()
	_, err := j.ExportCSV(ctx, folder)
	require.NoError(t, err)
	if _, err := j.ExportCSV(ctx, folder); err == nil || !strings.Contains(err.Error(), "is there already") {
		t.Errorf("a second export to the same folder: error %v", err)
	}
}

// A tally that is not what the entries say is damage.
func TestCheckFindsAWrongTally(t *testing.T) {
	ctx, j := context.Background(), open(t, 1)
	a := advice("Alder", "caster", "r1")
	add(t, j, a)
	add(t, j, outcome(a, "better"))
	require.NoError(t, j.Check(ctx))
	require.NoError(t, journal.Exec(j, "UPDATE tally SET helped_nano = 0"))
	if err := j.Check(ctx); !errors.Is(err, journal.ErrDamaged) || !strings.Contains(err.Error(), "the tally of what was learned") {
		t.Errorf("a wrong tally gives %v", err)
	}
}

func TestBackup(t *testing.T) {
	ctx, j := context.Background(), open(t, 1)
	add(t, j, session("Alder", 48610))
	to := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, j.Backup(ctx, to))
	if diff := cmp.Diff(export(t, j), export(t, openAt(t, to, 2))); diff != "" {
		t.Errorf("the copy (-journal +copy):\n%s", diff)
	}
	if err := j.Backup(ctx, to); err == nil || !strings.Contains(err.Error(), "is there already") {
		t.Errorf("a second backup to the same file: error %v", err)
	}
	if err := j.Backup(ctx, filepath.Join(t.TempDir(), "no", "copy.db")); err == nil || !strings.Contains(err.Error(), "check that its folder exists") {
		t.Errorf("a backup to no folder: error %v", err)
	}
}

func TestReadAdvice(t *testing.T) {
	a, err := journal.ReadAdvice([]byte(`{ "command": "advise", "kart": "Alder", "status": "advice",
		"understood": {"symptoms": ["hop"], "grip": "6/10", "wet": "unknown"},
		"first": {"move": "caster", "direction": "increase", "title": "more caster", "amount": 0.5, "unit": "deg",
			"why": [{"rule": "r1", "support": 0.6}, {"rule": "r2", "support": 0.5, "covered_by": "r1"}]} }`))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]journal.AdviceRule{{Rule: "r1", Support: 0.6}}, a.Rules); diff != "" {
		t.Errorf("the rules that counted (-want +got):\n%s", diff)
	}
	if a.Wet != "" || a.Grip != "6/10" || strings.Contains(string(a.Trace), "\n") {
		t.Errorf("the advice is read as %+v", a)
	}
	for text, want := range map[string]string{"": "is not JSON", `{"command":"dial","kart":"Alder","status":"x"}`: `its command is "dial", expected "advise"`, `{"command":"advise","kart":7}`: "cannot be read"} {
		if a, err := journal.ReadAdvice([]byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q is read as %+v (%v), want an error that says %s", text, a, err, want)
		}
	}
}
