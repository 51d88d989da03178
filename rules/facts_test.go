package rules

import (
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func numberLevel(x float64) Level { return Level{Number: x, IsNumber: true} }
func wordLevel(w string) Level    { return Level{Word: w} }

// gradeByHand grades a rule from the definitions, one condition after the other,
// without masks, index or compiled facts.
func gradeByHand(v Vocabulary, r Rule, f Facts) float64 {
	and := func(grades ...float64) float64 { return slices.Min(append(grades, 1)) }
	or := func(grades []float64) float64 { return slices.Max(append(grades, 0)) }
	said := func(word string) bool { return word != "" && word != "any" }

	wet := f.Wet
	if f.Grip.Word == "wet" {
		wet = Yes
	} else if f.Grip.Word != "" || f.Grip.IsNumber {
		wet = No
	}
	grip := f.Grip
	if wet == Yes {
		grip = wordLevel("wet")
	}

	fixed := func(terms Terms, has string) float64 {
		if len(terms) == 0 || slices.ContainsFunc(terms, func(t Term) bool { return t.Word == "any" }) {
			return 1
		}
		if !said(has) {
			return 0
		}
		var alternatives []float64
		for _, t := range terms {
			g := 0.0
			if (t.Word == has) != t.Not {
				g = 1
			}
			alternatives = append(alternatives, g)
		}
		return or(alternatives)
	}
	severity := map[string]float64{"slight": 0.6, "": 0.8, "normal": 0.8, "strong": 1}
	reported := func(id string) float64 {
		var grades []float64
		for _, s := range f.Symptoms {
			if s.ID == id && !s.Absent {
				grades = append(grades, severity[s.Severity])
			}
		}
		return or(grades)
	}
	g := 1.0
	ofReading := func(terms Terms) bool {
		return len(terms) > 0 && !slices.ContainsFunc(terms, func(t Term) bool { return t.Word == "any" })
	}
	if len(r.When.Symptom) > 0 || ofReading(r.When.Phase) || ofReading(r.When.Corner) || ofReading(r.When.Severity) {
		var carriers []float64
		for _, s := range f.Symptoms {
			if !s.Absent && (len(r.When.Symptom) == 0 || slices.Contains(r.When.Symptom, s.ID)) {
				carriers = append(carriers, and(severity[s.Severity], fixed(r.When.Phase, s.Phase), fixed(r.When.Corner, s.Corner), fixed(r.When.Severity, s.Severity)))
			}
		}
		g = and(g, or(carriers))
	}
	for _, id := range r.When.With {
		g = and(g, reported(id))
	}
	for _, id := range r.When.Without {
		if reported(id) > 0 {
			g = 0
		}
	}
	isAny := func(terms Terms) bool {
		return slices.ContainsFunc(terms, func(t Term) bool { return t.Word == "any" && !t.Not })
	}
	if len(r.When.Track) > 0 && !isAny(r.When.Track) {
		var alternatives []float64
		for _, t := range r.When.Track {
			grade := 0.0
			if f.Track == t.Word {
				grade = 1
			}
			for _, track := range v.Tracks {
				for _, as := range track.CountsAs {
					if track.ID == f.Track && as.Track == t.Word {
						grade = as.Grade
					}
				}
			}
			if f.Track == "" {
				continue
			}
			if t.Not {
				grade = 1 - grade
			}
			alternatives = append(alternatives, grade)
		}
		g = and(g, or(alternatives))
	}
	scale := func(terms Terms, l Level, s Scale, off string, offKnown bool) float64 {
		if len(terms) == 0 || isAny(terms) {
			return 1
		}
		var alternatives []float64
		for _, t := range terms {
			known := l.Word != "" || l.IsNumber
			grade := 0.0
			switch {
			case t.Range != nil && l.IsNumber:
				grade = t.Range.Grade(l.Number)
			case t.Range != nil:
				x, ok := s.Typical(l.Word)
				known = known && ok
				if known {
					grade = t.Range.Grade(x)
				}
			case t.Word == off:
				known = known || offKnown
				if !l.IsNumber && l.Word == off {
					grade = 1
				}
			case l.IsNumber:
				for _, w := range s.Words {
					if w.Word == t.Word {
						grade = w.Shape.Grade(l.Number)
					}
				}
			case l.Word == t.Word:
				grade = 1
			}
			if !known {
				continue
			}
			if t.Not {
				grade = 1 - grade
			}
			alternatives = append(alternatives, grade)
		}
		return or(alternatives)
	}
	g = and(g, scale(r.When.Grip, grip, v.Grip, "wet", wet != Unknown), scale(r.When.Tyres, f.Tyres, v.Tyres, "wets", false))
	if r.When.Wet != Unknown && r.When.Wet != wet {
		g = 0
	}
	return g
}

func TestGradesAreThoseOfTheDefinitions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, f := drawRules(t, 1, 6, "r"), drawFacts(t)
		accounts, err := mustNew(t, list).Explain(f)
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range accounts {
			if want := gradeByHand(testVocabulary(), list[i], f); a.Grade != want {
				t.Fatalf("%+v with %+v has grade %v, by hand %v", list[i].When, f, a.Grade, want)
			}
		}
	})
}

// What facts mean, one case a row.
func TestConditions(t *testing.T) {
	push := func(s Symptom) Facts { s.ID = "push"; return Facts{Symptoms: []Symptom{s}} }
	symptom := []string{"push"}
	for _, tt := range []struct {
		name string
		when When
		f    Facts
		want float64
	}{
		{"no conditions", When{}, Facts{}, 1},
		{"severity not said is normal", When{Symptom: symptom}, push(Symptom{}), 0.8},
		{"slight", When{Symptom: symptom}, push(Symptom{Severity: "slight"}), 0.6},
		{"strong", When{Symptom: symptom}, push(Symptom{Severity: "strong"}), 1},
		{"a severity not said does not meet a condition on it", When{Symptom: symptom, Severity: word("normal")}, push(Symptom{}), 0},
		{"not strong", When{Symptom: symptom, Severity: Terms{{Word: "strong", Not: true}}}, push(Symptom{Severity: "slight"}), 0.6},
		{"an absent symptom", When{Symptom: symptom}, push(Symptom{Absent: true}), 0},
		{"a phase not said meets a rule without one", When{Symptom: symptom}, push(Symptom{Phase: Any}), 0.8},
		{"a phase not said meets a rule for any", When{Symptom: symptom, Phase: word(Any)}, push(Symptom{}), 0.8},
		{"a phase not said does not meet one", When{Symptom: symptom, Phase: word("entry")}, push(Symptom{}), 0},
		{"a phase not said does not meet a negated one", When{Symptom: symptom, Phase: Terms{{Word: "entry", Not: true}}}, push(Symptom{}), 0},
		{"a rule without phase meets every phase", When{Symptom: symptom}, push(Symptom{Phase: "exit"}), 0.8},
		{"not entry", When{Symptom: symptom, Phase: Terms{{Word: "entry", Not: true}}}, push(Symptom{Phase: "mid"}), 0.8},
		{"phase and corner are of one reading", When{Symptom: symptom, Phase: word("entry"), Corner: word("slow")},
			Facts{Symptoms: []Symptom{{ID: "push", Phase: "entry", Corner: "fast"}, {ID: "push", Phase: "exit", Corner: "slow"}}}, 0},
		{"the phase is of the reading with the symptom", When{Symptom: symptom, Phase: word("entry")},
			Facts{Symptoms: []Symptom{{ID: "push", Phase: "exit"}, {ID: "loose", Phase: "entry"}}}, 0},
		{"a phase alone is met by any symptom", When{Phase: word("entry")}, Facts{Symptoms: []Symptom{{ID: "hop", Phase: "entry", Severity: "slight"}}}, 0.6},
		{"the stronger of two readings", When{Symptom: symptom},
			Facts{Symptoms: []Symptom{{ID: "push", Phase: "exit", Severity: "slight"}, {ID: "push", Phase: "entry", Severity: "strong"}}}, 1},
		{"with looks at any reading", When{Symptom: symptom, Phase: word("entry"), With: []string{"lift"}},
			Facts{Symptoms: []Symptom{{ID: "push", Phase: "entry", Severity: "strong"}, {ID: "lift", Phase: "exit", Severity: "slight"}}}, 0.6},
		{"with is not met by silence", When{Symptom: symptom, With: []string{"lift"}}, push(Symptom{}), 0},
		{"without is met by silence", When{Symptom: symptom, Without: []string{"lift"}}, push(Symptom{}), 0.8},
		{"without is met by a denial", When{Symptom: symptom, Without: []string{"lift"}}, Facts{Symptoms: []Symptom{{ID: "push"}, {ID: "lift", Absent: true}}}, 0.8},
		{"without is not met by the slightest report", When{Symptom: symptom, Without: []string{"lift"}}, Facts{Symptoms: []Symptom{{ID: "push"}, {ID: "lift", Severity: "slight"}}}, 0},
		{"a mixed track counts as tight by half", When{Track: word("tight")}, Facts{Track: "mixed"}, 0.5},
		{"and as not tight by half", When{Track: Terms{{Word: "tight", Not: true}}}, Facts{Track: "mixed"}, 0.5},
		{"a tight track is not mixed", When{Track: word("mixed")}, Facts{Track: "tight"}, 0},
		{"the better of two tracks", When{Track: Terms{{Word: "tight"}, {Word: "fast"}}}, Facts{Track: "mixed"}, 0.75},
		{"a track not said", When{Track: Terms{{Word: "tight", Not: true}}}, Facts{}, 0},
		{"any track, not said", When{Track: word(Any)}, Facts{}, 1},
		{"a word", When{Grip: word("low")}, Facts{Grip: wordLevel("low")}, 1},
		{"another word", When{Grip: word("low")}, Facts{Grip: wordLevel("medium")}, 0},
		{"a number", When{Grip: word("low")}, Facts{Grip: numberLevel(4)}, 0.5},
		{"not, of a number", When{Grip: Terms{{Word: "high", Not: true}}}, Facts{Grip: numberLevel(6.5)}, 0.75},
		{"not, of what is not said", When{Grip: Terms{{Word: "high", Not: true}}}, Facts{}, 0},
		{"any grip, not said", When{Grip: word(Any)}, Facts{}, 1},
		{"a range of a number", When{Grip: Terms{{Range: &Trapezoid{2, 4, 6, 8}}}}, Facts{Grip: numberLevel(3)}, 0.5},
		{"a range of a word, at its middle", When{Grip: Terms{{Range: &Trapezoid{5, 6, 8, 9}}}}, Facts{Grip: wordLevel("medium")}, 0.5},
		{"a range of a word without an end, where it begins", When{Tyres: Terms{{Range: &Trapezoid{80, 100, 200, 300}}}}, Facts{Tyres: wordLevel("worn")}, 0.5},
		{"a range and the word off the scale", When{Grip: Terms{{Range: &Trapezoid{0, 0, 10, 10}}}}, Facts{Grip: wordLevel(Wet)}, 0},
		{"wet grip is a wet track", When{Wet: Yes}, Facts{Grip: wordLevel(Wet)}, 1},
		{"a wet track is wet grip", When{Grip: word(Wet)}, Facts{Wet: Yes}, 1},
		{"a grip of the scale is a dry track", When{Wet: No}, Facts{Grip: numberLevel(2)}, 1},
		{"a dry track is no wet grip", When{Grip: Terms{{Word: Wet, Not: true}}}, Facts{Wet: No}, 1},
		{"but no grip of the scale is known by it", When{Grip: Terms{{Word: "high", Not: true}}}, Facts{Wet: No}, 0},
		{"wet, not said", When{Wet: No}, Facts{}, 0},
		{"rain tyres do not wet the track", When{Wet: Yes}, Facts{Tyres: wordLevel(Wets)}, 0},
		{"rain tyres are not worn", When{Tyres: Terms{{Word: "worn", Not: true}}}, Facts{Tyres: wordLevel(Wets)}, 1},
		{"low or wet, when wet", When{Grip: Terms{{Word: "low"}, {Word: Wet}}}, Facts{Wet: Yes}, 1},
		{"low or wet, when low", When{Grip: Terms{{Word: "low"}, {Word: Wet}}}, Facts{Grip: wordLevel("low")}, 1},
		{"not low, when wet", When{Grip: Terms{{Word: "low", Not: true}}}, Facts{Wet: Yes}, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := mustNew(t, []Rule{{ID: "r", When: tt.when, Confidence: 0.5, Votes: []Vote{{Move: "toe", Amount: 1}}}})
			accounts, err := s.Explain(tt.f)
			if err != nil {
				t.Fatal(err)
			}
			if accounts[0].Grade != tt.want {
				t.Errorf("the grade is %v, want %v", accounts[0].Grade, tt.want)
			}
			if v := mustEvaluate(t, s, tt.f).Verdicts[2]; (v.Direction == 1) != (tt.want > 0) {
				t.Errorf("the verdict goes %d with a grade of %v", v.Direction, tt.want)
			}
		})
	}
}

func TestFactsThatCannotBe(t *testing.T) {
	s := mustNew(t, nil)
	for _, tt := range []struct {
		f    Facts
		want string
	}{
		{Facts{Wet: Yes, Grip: wordLevel("high")}, "the track is said to be wet, but its grip is given as high, which is a grip of a dry track"},
		{Facts{Wet: Yes, Grip: numberLevel(6)}, "the track is said to be wet, but its grip is given as 6/10, which is a grip of a dry track"},
		{Facts{Wet: No, Grip: wordLevel(Wet)}, "the track is said to be dry, but its grip is said to be wet"},
		{Facts{Symptoms: []Symptom{{ID: "push", Phase: Any, Severity: "strong"}, {ID: "push", Absent: true}}}, "push is reported both as there and as not there"},
		{Facts{Symptoms: []Symptom{{ID: "push", Phase: "exit", Corner: "slow"}, {ID: "push", Phase: "exit", Corner: "slow", Absent: true}}}, "push/exit@slow is reported both as there and as not there"},
		{Facts{Symptoms: []Symptom{{ID: "pull"}}}, `symptom "pull" is not in the vocabulary of these rules`},
		{Facts{Symptoms: []Symptom{{ID: "push", Phase: "corner"}}}, `symptom push: phase "corner" is not one of entry, mid, exit, straight, braking, any`},
		{Facts{Symptoms: []Symptom{{ID: "push", Corner: "tight"}}}, `symptom push: corner "tight" is not one of slow, fast, any`},
		{Facts{Symptoms: []Symptom{{ID: "push", Severity: "huge"}}}, `symptom push: severity "huge" is not one of slight, normal, strong`},
		{Facts{Track: "oval"}, `track "oval" is not in the vocabulary of these rules`},
		{Facts{Grip: numberLevel(11)}, "grip: 11/10 is above the scale, which ends at 10/10"},
		{Facts{Grip: numberLevel(-1)}, "grip: -1/10 is below the scale, which begins at 0/10"},
		{Facts{Tyres: numberLevel(-3)}, "tyres: -3 laps is below the scale, which begins at 0 laps"},
		{Facts{Tyres: wordLevel("old")}, `tyres: "old" is not a word of the scale`},
		{Facts{Wet: 7}, "wet is neither yes, no nor unknown"},
	} {
		_, err := s.Evaluate(tt.f)
		if err == nil || err.Error() != tt.want {
			t.Errorf("%+v is answered with %q, want %q", tt.f, err, tt.want)
		}
	}
	for _, f := range []Facts{
		{Symptoms: []Symptom{{ID: "push", Phase: "entry"}, {ID: "push", Phase: "exit", Absent: true}}},
		{Symptoms: []Symptom{{ID: "push"}, {ID: "push", Severity: "strong"}}},
		{Wet: Yes, Grip: wordLevel(Wet)}, {Wet: No, Grip: wordLevel("low")},
	} {
		if _, err := s.Evaluate(f); err != nil {
			t.Errorf("%+v is refused: %v", f, err)
		}
	}
}

func TestNewRefuses(t *testing.T) {
	ok := func() Rule { return Rule{ID: "r", Confidence: 0.5, Votes: []Vote{{Move: "toe", Amount: 1}}} }
	for _, tt := range []struct {
		name   string
		change func(*Rule)
		want   string
	}{
		{"no id", func(r *Rule) { r.ID = "" }, "needs an id"},
		{"confidence 0", func(r *Rule) { r.Confidence = 0 }, "confidence 0"},
		{"confidence above 1", func(r *Rule) { r.Confidence = 1.5 }, "confidence 1.5"},
		{"nothing to say", func(r *Rule) { r.Votes = nil }, "neither a vote"},
		{"an unknown move", func(r *Rule) { r.Votes[0].Move = "tow" }, `"tow" is not a move`},
		{"no change", func(r *Rule) { r.Votes[0].Amount = 0 }, "no change"},
		{"an endless change", func(r *Rule) { r.Votes[0].Amount = 1e300 }, "no change"},
		{"vote and leave", func(r *Rule) { r.Leave = []string{"toe"} }, "two things about toe"},
		{"an unknown symptom", func(r *Rule) { r.When.Symptom = []string{"pull"} }, `"pull" is not a symptom`},
		{"an unknown phase", func(r *Rule) { r.When.Phase = word("late") }, `"late" is not a phase`},
		{"an unknown track", func(r *Rule) { r.When.Track = word("oval") }, `"oval" is not a track`},
		{"an unknown word", func(r *Rule) { r.When.Grip = word("huge") }, `"huge" is not a word for grip`},
		{"a range that falls", func(r *Rule) { r.When.Grip = Terms{{Range: &Trapezoid{2, 1, 3, 4}}} }, "four rising numbers"},
		{"a range of a phase", func(r *Rule) { r.When.Phase = Terms{{Range: &Trapezoid{}}} }, "cannot be a range"},
		{"a range of a track", func(r *Rule) { r.When.Track = Terms{{Range: &Trapezoid{}}} }, "cannot be a range"},
	} {
		r := ok()
		tt.change(&r)
		if _, err := New(testVocabulary(), []Rule{r}); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: the error is %v, want one that says %q", tt.name, err, tt.want)
		}
	}
	if _, err := New(testVocabulary(), []Rule{ok(), ok()}); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("one id for two rules gives %v", err)
	}
	for name, change := range map[string]func(*Vocabulary){
		"defined twice":       func(v *Vocabulary) { v.Moves = append(v.Moves, v.Moves[0]) },
		"has no name":         func(v *Vocabulary) { v.Symptoms[0].ID = "" },
		"is not a track":      func(v *Vocabulary) { v.Tracks[0].CountsAs = []CountsAs{{"oval", 0.5}} },
		"to the grade 2":      func(v *Vocabulary) { v.Tracks[0].CountsAs = []CountsAs{{"fast", 2}} },
		"have to rise":        func(v *Vocabulary) { v.Grip.Words[0].Shape = Trapezoid{3, 2, 1, 0} },
		"cannot have the":     func(v *Vocabulary) { v.Grip.Words[1].Word = "low" },
		"severity grade 0":    func(v *Vocabulary) { v.Severity.Slight = 0 },
		"words, more than 15": func(v *Vocabulary) { v.Grip.Words = make([]ScaleWord, 16) },
	} {
		v := testVocabulary()
		change(&v)
		if _, err := New(v, nil); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("the error is %v, want one that says %q", err, name)
		}
	}
}

func TestParseSymptom(t *testing.T) {
	for _, tt := range []struct {
		text string
		want Symptom
	}{
		{"understeer", Symptom{ID: "understeer"}},
		{"understeer/entry@slow:strong", Symptom{ID: "understeer", Phase: "entry", Corner: "slow", Severity: "strong"}},
		{"!hop@fast", Symptom{ID: "hop", Corner: "fast", Absent: true}},
		{"bind/any", Symptom{ID: "bind", Phase: "any"}},
		{" bind:slight ", Symptom{ID: "bind", Severity: "slight"}},
	} {
		got, err := ParseSymptom(tt.text)
		if err != nil || got != tt.want {
			t.Errorf("ParseSymptom(%q) is %+v, %v; want %+v", tt.text, got, err, tt.want)
		}
		if again, err := ParseSymptom(got.String()); err != nil || again.ID != got.ID || said(again.Phase) != said(got.Phase) || again.Absent != got.Absent {
			t.Errorf("%+v is written %q and read back as %+v, %v", got, got.String(), again, err)
		}
	}
	for _, text := range []string{"", "!", "/entry", "a/late", "a@wide", "a:huge", "a/", "a:strong@slow"} {
		if got, err := ParseSymptom(text); err == nil {
			t.Errorf("ParseSymptom(%q) is %+v, want an error", text, got)
		}
	}
}

func TestScaleParse(t *testing.T) {
	v := testVocabulary()
	for _, tt := range []struct {
		scale Scale
		off   string
		text  string
		want  Level
		err   string
	}{
		{v.Grip, Wet, "medium", wordLevel("medium"), ""},
		{v.Grip, Wet, "wet", wordLevel("wet"), ""},
		{v.Grip, Wet, "6/10", numberLevel(6), ""},
		{v.Grip, Wet, " 6.5 ", numberLevel(6.5), ""},
		{v.Grip, Wet, "3/5", numberLevel(6), ""},
		{v.Tyres, Wets, "25 laps", numberLevel(25), ""},
		{v.Tyres, Wets, "1 lap", numberLevel(1), ""},
		{v.Tyres, Wets, "25", numberLevel(25), ""},
		{v.Grip, Wet, "12/10", Level{}, "12/10 is above the scale, which ends at 10/10"},
		{v.Grip, Wet, "6/0", Level{}, `"6/0" is not a value here: expected low, medium, high, wet or a number out of 10 such as "6/10"`},
		{v.Grip, Wet, "meduim", Level{}, `"meduim" is not a value here: expected low, medium, high, wet or a number out of 10 such as "6/10"`},
		{v.Tyres, Wets, "25 km", Level{}, `"25 km" is not a value here: expected new, used, worn, wets or a number such as "25 laps"`},
		{v.Tyres, Wets, "-1 laps", Level{}, "-1 laps is below the scale, which begins at 0 laps"},
	} {
		got, err := tt.scale.Parse(tt.text, tt.off)
		text := ""
		if err != nil {
			text = err.Error()
		}
		if text != tt.err || err == nil && got != tt.want {
			t.Errorf("Parse(%q) is %+v, %q; want %+v, %q", tt.text, got, text, tt.want, tt.err)
		}
		if err == nil {
			if again, err := tt.scale.Parse(tt.scale.Format(got), tt.off); err != nil || again != got {
				t.Errorf("%+v is written %q and read back as %+v, %v", got, tt.scale.Format(got), again, err)
			}
		}
	}
}

// Of equals in a family, the first by ID stands for it, wherever the index keeps
// the two and in whichever order they come.
func TestFirstOfEqualsStandsForTheFamily(t *testing.T) {
	rule := func(id string, amount float64, w When) Rule {
		return Rule{ID: id, Family: "f", Confidence: 0.5, When: w, Votes: []Vote{{Move: "toe", Amount: amount}}}
	}
	wild, narrow := When{}, When{Symptom: []string{"push"}, Phase: word("entry"), Track: word("tight")}
	f := Facts{Symptoms: []Symptom{{ID: "push", Phase: "entry", Severity: "strong"}}, Track: "tight"}
	for _, list := range [][]Rule{
		{rule("a", 1, narrow), rule("b", 2, wild)}, {rule("b", 2, narrow), rule("a", 1, wild)},
		{rule("a", 1, wild), rule("b", 2, narrow)}, {rule("b", 2, wild), rule("a", 1, narrow)},
	} {
		v := mustEvaluate(t, mustNew(t, list), f).Verdicts[2]
		if v.Amount != 1 || !v.Fired[0].Counted || v.Fired[1].CoveredBy != "a" {
			t.Errorf("the amount is %v, want that of rule a: %+v", v.Amount, v.Fired)
		}
	}
}

func TestChecksAreJoined(t *testing.T) {
	rule := func(id string, w float64, checks ...string) Rule { return Rule{ID: id, Confidence: w, Checks: checks} }
	res := mustEvaluate(t, mustNew(t, []Rule{rule("a", 0.9, "bearings"), rule("b", 0.2, "bearings", "pressures"), rule("c", 0.5, "rims", "rims")}), Facts{})
	want := []Check{{"bearings", 0.9, []string{"a", "b"}}, {"rims", 0.5, []string{"c"}}, {"pressures", 0.2, []string{"b"}}}
	if diff := gocmp.Diff(want, res.Checks); diff != "" {
		t.Errorf("checks (-want +got):\n%s", diff)
	}
	if res.Fired != 3 || res.Verdicts[0].Status != None {
		t.Errorf("%d rules fired and the first verdict is %+v", res.Fired, res.Verdicts[0])
	}
}

func TestHoldAndDisputes(t *testing.T) {
	res := mustEvaluate(t, mustNew(t, []Rule{
		{ID: "less", Confidence: 0.5, Votes: []Vote{{Move: "caster", Amount: -1}}, Contested: "p", Decide: "look at the wheel"},
		{ID: "more", Confidence: 0.6, Votes: []Vote{{Move: "caster", Amount: 1}}, Contested: "p", Decide: "look at the wheel"},
		{ID: "stay", Confidence: 0.3, Leave: []string{"caster", "toe"}, Contested: "p", Decide: "look at the wheel"},
		{ID: "stay-too", Confidence: 0.5, Leave: []string{"caster"}},
	}), Facts{})
	caster, toe := res.Verdicts[0], res.Verdicts[2]
	want := []Dispute{{Point: "p", Decide: "look at the wheel", Inc: []string{"more"}, Dec: []string{"less"}, Leave: []string{"stay"}}}
	if diff := gocmp.Diff(want, caster.Contested); diff != "" {
		t.Errorf("disputes (-want +got):\n%s", diff)
	}
	wantNear(t, "hold", caster.Hold, 1-0.7*0.5, 2*billionth)
	if caster.Direction != 1 || caster.Status != Advice {
		t.Errorf("asking to leave a move changed its direction to %d", caster.Direction)
	}
	if toe.Status != None || toe.Direction != 0 || len(toe.Fired) != 1 || toe.Fired[0].Direction != 0 {
		t.Errorf("a move that is only to be left alone has the verdict %+v", toe)
	}
}

func TestLearned(t *testing.T) {
	s := mustNew(t, []Rule{
		{ID: "a", Confidence: 0.5, Votes: []Vote{{Move: "toe", Amount: 1}}}, {ID: "b", Confidence: 0.5, Votes: []Vote{{Move: "toe", Amount: 1}}},
	})
	l := s.WithLearned(map[string]float64{"a": 0.5, "nobody": 0.1})
	wantNear(t, "belief with what was learned", mustEvaluate(t, l, Facts{}).Verdicts[2].Inc, 1-0.75*0.5, 2*billionth)
	wantNear(t, "belief of the set it was made from", mustEvaluate(t, s, Facts{}).Verdicts[2].Inc, 0.75, 2*billionth)
	if l.Learned("a") != 0.5 || l.Learned("b") != 1 || l.Learned("nobody") != 1 {
		t.Errorf("learned factors are %v, %v, %v", l.Learned("a"), l.Learned("b"), l.Learned("nobody"))
	}
	if again := l.WithLearned(nil); again.Learned("a") != 1 {
		t.Errorf("what was learned before is kept: %v", again.Learned("a"))
	}
	if s.Rule("a") == nil || s.Rule("c") != nil || len(s.Rules()) != 2 {
		t.Error("rules are not found by their ids")
	}
}

func TestFlips(t *testing.T) {
	vote := func(amount float64) []Vote { return []Vote{{Move: "caster", Amount: amount}} }
	push := []string{"push"}
	s := mustNew(t, []Rule{
		{ID: "low", Confidence: 0.6, When: When{Symptom: push, Grip: Terms{{Word: "low"}, {Word: "medium"}}}, Votes: vote(1)},
		{ID: "high", Confidence: 0.6, When: When{Symptom: push, Grip: word("high")}, Votes: vote(-1)},
		{ID: "lifts", Confidence: 0.9, When: When{Symptom: push, With: []string{"lift"}}, Votes: vote(-1)},
		{ID: "lift", Confidence: 0.5, When: When{Symptom: []string{"lift"}}, Votes: []Vote{{Move: "toe", Amount: 1}}},
		{ID: "wet", Confidence: 0.5, When: When{Wet: Yes}, Votes: []Vote{{Move: "toe", Amount: -1}}},
	})
	type line struct {
		key, was, to string
		bound        int
		move         string
		from, now    int
	}
	for _, tt := range []struct {
		name string
		f    Facts
		want []line
	}{
		// medium and high are equal at 7/10: net is exactly 0 there
		{"a number", Facts{Symptoms: []Symptom{{ID: "push"}}, Grip: numberLevel(5.05)}, []line{
			{"grip", "5.05/10", "wet", 0, "toe", 0, -1},
			{"grip", "5.05/10", "7.1/10", +1, "caster", 1, -1},
			{"symptom", "", "lift", 0, "caster", 1, -1},
		}},
		{"a word", Facts{Symptoms: []Symptom{{ID: "push"}}, Grip: wordLevel("high")}, []line{
			{"grip", "high", "low", 0, "caster", -1, 1}, {"grip", "high", "medium", 0, "caster", -1, 1}, {"grip", "high", "wet", 0, "toe", 0, -1},
		}},
		{"nothing said of grip", Facts{Symptoms: []Symptom{{ID: "push"}}}, []line{
			{"grip", "", "low", 0, "caster", 0, 1}, {"grip", "", "medium", 0, "caster", 0, 1}, {"grip", "", "high", 0, "caster", 0, -1},
			{"wet", "", "yes", 0, "toe", 0, -1}, {"symptom", "", "lift", 0, "caster", 0, -1},
		}},
		{"wet", Facts{Symptoms: []Symptom{{ID: "push"}}, Wet: Yes}, []line{
			{"grip", "wet", "low", 0, "caster", 0, 1}, {"grip", "wet", "medium", 0, "caster", 0, 1}, {"grip", "wet", "high", 0, "caster", 0, -1},
			{"symptom", "", "lift", 0, "caster", 0, -1},
		}},
		{"denied", Facts{Symptoms: []Symptom{{ID: "push"}, {ID: "lift", Absent: true}}, Grip: wordLevel("low")}, []line{
			{"grip", "low", "high", 0, "caster", 1, -1}, {"grip", "low", "wet", 0, "toe", 0, -1}, {"symptom", "!lift", "lift", 0, "caster", 1, -1},
		}},
	} {
		flips, err := s.Flips(tt.f)
		if err != nil {
			t.Fatal(err)
		}
		var got []line
		for _, fl := range flips {
			for _, ch := range fl.Changes {
				got = append(got, line{fl.Key, fl.Was, fl.To, fl.Bound, ch.Move, ch.Was, ch.Now})
			}
		}
		if diff := gocmp.Diff(tt.want, got, gocmp.AllowUnexported(line{})); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.name, diff)
		}
	}
	if _, err := s.Flips(Facts{Track: "oval"}); err == nil {
		t.Error("facts that cannot be have flips")
	}
	if _, err := s.Explain(Facts{Track: "oval"}); err == nil {
		t.Error("facts that cannot be have accounts")
	}
}
