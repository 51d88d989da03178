package rulesets_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"kartwright/rules"
)

// A statement is common practice about one situation: what the trade does with
// each move, and how sure it is of that.
type statement struct {
	complaint string // symptoms joined by "+", all in the same phase
	phase     string
	track     string
	grip      string
	tyres     string
	want      string // "caster more, toe out"; "leave" means that the move is not to be touched
	sure      string // agree, mostly or contested
}

// Common practice, as far as the trade states it. "" = it does not matter.
var practice = []statement{
	{"understeer", "entry", "tight", "medium", "", "caster more, toe out", "agree"},
	{"understeer", "entry", "", "medium", "worn", "toe out", "mostly"},
	{"understeer+chatter", "entry", "", "high", "", "caster less, toe in", "mostly"},
	{"understeer", "entry", "tight", "low", "", "caster more, toe out", "mostly"},
	{"understeer", "entry", "", "medium", "", "toe out", "mostly"},
	{"understeer", "entry", "", "high", "", "caster less", "contested"},
	{"understeer+graining", "entry", "", "", "", "toe in", "mostly"},
	{"understeer", "entry", "", "", "", "caster leave, toe out", "mostly"},
	{"understeer", "entry", "", "wet", "", "caster more", "contested"},
	{"understeer", "entry", "", "wet", "wets", "caster more, toe out", "mostly"},
	{"understeer+heavy_steering", "entry", "", "high", "", "caster less", "mostly"},

	{"oversteer", "entry", "fast", "", "", "caster less, toe in", "agree"},
	{"oversteer", "entry", "", "low", "", "caster less", "mostly"},
	{"oversteer+over_lift", "entry", "", "high", "", "caster less", "agree"},
	{"oversteer", "entry", "", "wet", "wets", "toe in", "contested"},

	{"understeer+wear_outer", "mid", "", "", "", "camber negative", "agree"},
	{"understeer+wear_inner", "mid", "", "", "", "camber upright", "agree"},
	{"understeer+bind", "mid", "", "medium", "", "caster more", "agree"},
	{"understeer+bind", "mid", "tight", "low", "", "caster more, toe out", "mostly"},
	{"understeer", "mid", "", "low", "worn", "caster more", "mostly"},
	{"understeer", "mid", "fast", "medium", "", "camber negative", "contested"},
	{"understeer", "mid", "fast", "high", "", "caster less", "contested"},
	{"understeer", "mid", "tight", "high", "", "caster more", "contested"},
	{"understeer", "mid", "", "wet", "wets", "caster more", "mostly"},

	{"oversteer+over_lift", "mid", "tight", "high", "", "caster less", "agree"},
	{"oversteer", "mid", "fast", "high", "used", "caster less, toe in", "mostly"},
	{"oversteer", "mid", "", "low", "", "caster less", "contested"},
	{"oversteer", "mid", "", "wet", "wets", "caster leave", "contested"},

	{"understeer+wear_outer", "exit", "", "", "", "camber negative", "agree"},
	{"understeer", "exit", "", "low", "", "caster more", "mostly"},
	{"understeer", "exit", "tight", "high", "", "camber negative", "contested"},
	{"understeer", "exit", "fast", "medium", "", "camber negative", "contested"},

	{"oversteer", "exit", "", "medium", "", "caster less", "agree"},
	{"oversteer", "exit", "tight", "low", "", "caster less", "mostly"},
	{"oversteer", "exit", "", "wet", "wets", "caster leave", "contested"},

	{"hop", "mid", "", "high", "", "caster less", "agree"},
	{"hop", "", "tight", "high", "", "caster less", "agree"},
	{"hop", "mid", "", "high", "used", "caster less, camber negative", "contested"},
	{"hop", "", "", "medium", "", "caster leave", "mostly"},
	{"chatter", "entry", "", "low", "", "caster leave", "mostly"},

	{"bind", "", "tight", "medium", "", "caster more, toe out", "agree"},
	{"bind", "", "", "medium", "new", "caster more", "mostly"},
	{"over_lift", "exit", "", "high", "", "caster less", "agree"},
	{"over_lift", "", "fast", "", "", "caster less", "agree"},
	{"bind", "exit", "", "high", "", "caster more", "contested"},
	{"bind+heavy_steering", "", "", "high", "", "caster less", "contested"},

	{"heavy_steering", "", "", "", "", "caster less", "agree"},
	{"heavy_steering", "", "", "high", "new", "caster less", "mostly"},
	{"light_steering", "entry", "", "low", "", "caster more", "mostly"},
	{"heavy_steering", "", "", "medium", "", "camber negative", "contested"},
	{"heavy_steering", "", "", "", "used", "caster leave", "agree"},

	{"darting", "straight", "fast", "", "", "toe in", "agree"},
	{"darting", "braking", "", "", "", "toe in", "mostly"},
	{"darting", "straight", "", "wet", "wets", "toe in", "contested"},
	{"pull", "straight", "", "", "", "caster leave", "agree"},
	{"play", "", "", "", "", "caster leave", "agree"},
	{"slow_straight", "straight", "fast", "", "", "toe in", "agree"},
	{"slow_straight", "straight", "", "medium", "used", "toe in", "mostly"},

	{"wear_outer", "", "", "", "", "camber negative", "agree"},
	{"wear_outer", "", "", "high", "new", "camber negative", "mostly"},
	{"wear_inner", "", "", "", "", "camber upright", "agree"},
	{"graining", "", "", "", "", "toe in", "agree"},
	{"asymmetric", "", "", "", "", "caster leave", "agree"},
	{"wear_outer", "", "", "", "used", "toe out", "mostly"},

	{"kickback", "", "", "", "", "caster less", "mostly"},
	{"bump_unsettled", "", "", "", "", "caster less", "contested"},
	{"vibration", "straight", "", "", "", "caster leave", "agree"},
	{"fade", "", "", "high", "", "caster less, toe in", "mostly"},
	{"understeer+hop", "", "", "high", "", "caster less", "mostly"},
}

func facts(complaint, phase, track, grip, tyres string) rules.Facts {
	f := rules.Facts{Track: track, Grip: rules.Level{Word: grip}, Tyres: rules.Level{Word: tyres}}
	for _, id := range strings.Split(complaint, "+") {
		f.Symptoms = append(f.Symptoms, rules.Symptom{ID: id, Phase: phase})
	}
	return f
}

// proposed returns which way a verdict moves the setting: 0 also when the rules
// rather leave it alone.
func proposed(v rules.Verdict) int {
	if v.Hold > math.Abs(v.Net) {
		return 0
	}
	return v.Direction
}

func verdictOn(t *testing.T, set *rules.Set, f rules.Facts, move string) rules.Verdict {
	t.Helper()
	res, err := set.Evaluate(f)
	if err != nil {
		t.Fatalf("Evaluate(%+v): %v", f, err)
	}
	i := slices.IndexFunc(res.Verdicts, func(v rules.Verdict) bool { return v.Move == move })
	if i < 0 {
		t.Fatalf("there is no move %q", move)
	}
	return res.Verdicts[i]
}

// The shipped rules give the direction that the trade gives, for at least 95 of
// 100 directions on which it agrees wholly or mostly.
func TestAgreement(t *testing.T) {
	directions := map[string]int{"more": +1, "less": -1, "upright": +1, "negative": -1, "in": +1, "out": -1, "leave": 0}
	set := shipped(t)
	type tally struct{ agreed, all int }
	settled, contested := tally{}, tally{}
	for _, s := range practice {
		count := &settled
		if s.sure == "contested" {
			count = &contested
		}
		for _, part := range strings.Split(s.want, ", ") {
			move, word, _ := strings.Cut(part, " ")
			want, known := directions[word]
			if !known {
				t.Fatalf("%q is not a direction", part)
			}
			v := verdictOn(t, set, facts(s.complaint, s.phase, s.track, s.grip, s.tyres), move)
			count.all++
			if proposed(v) == want {
				count.agreed++
				continue
			}
			t.Logf("%s/%s %s %s %s (%s): %s %+.2f with hold %.2f, the trade says %s",
				s.complaint, s.phase, s.track, s.grip, s.tyres, s.sure, move, v.Net, v.Hold, word)
		}
	}
	t.Logf("agreement: %d of %d settled directions, %d of %d leans on contested points",
		settled.agreed, settled.all, contested.agreed, contested.all)
	if settled.agreed*100 < settled.all*95 {
		t.Errorf("the rules agree with %d of %d settled directions, want at least 95 %%", settled.agreed, settled.all)
	}
}

// The same words need opposite moves when something else is seen or the
// conditions change. These are the reversals that the trade knows.
func TestReversals(t *testing.T) {
	set := shipped(t)
	for _, tt := range []struct {
		name         string
		move         string
		first        rules.Facts
		firstWant    int
		reversed     rules.Facts
		reversedWant int
	}{
		{"caster helps entry until the front is overloaded", "caster",
			facts("understeer", "entry", "tight", "medium", ""), +1, facts("understeer+heavy_steering", "entry", "tight", "high", ""), -1},
		{"a kart that bogs may lift too little or land too late", "caster",
			facts("bind", "exit", "", "medium", ""), +1, facts("bind+over_lift", "exit", "", "medium", ""), -1},
		{"a kart that bogs and hops has lift enough", "caster",
			facts("bind", "exit", "", "", ""), +1, facts("bind+hop", "exit", "", "", ""), -1},
		{"a loose rear normally wants less, one that slides flat more", "caster",
			facts("oversteer", "mid", "", "medium", ""), -1, facts("oversteer+bind", "mid", "", "low", ""), +1},
		{"the tread decides about camber", "camber",
			facts("understeer+wear_outer", "mid", "", "", ""), -1, facts("understeer+wear_inner", "mid", "", "", ""), +1},
		{"toe-out helps turn-in until the tyre only scrubs", "toe",
			facts("understeer", "entry", "", "medium", ""), -1, facts("understeer+graining", "entry", "", "medium", ""), +1},
		{"toe far out pushes and slows", "toe",
			facts("understeer", "entry", "", "", ""), -1, facts("understeer+slow_straight", "entry", "", "", ""), +1},
		{"cold fronts want more toe-out, overworked ones less", "toe",
			facts("no_grip", "", "", "low", ""), -1, facts("fade", "", "", "high", ""), +1},
		{"front width: leverage on low grip, too much bite on high", "front_width",
			facts("understeer", "entry", "", "low", ""), +1, facts("understeer", "entry", "", "high", ""), -1},
		{"Ackermann: quick for hairpins, slow for sweepers", "ackermann",
			facts("understeer", "mid", "tight", "", ""), +1, facts("understeer", "mid", "fast", "", ""), -1},
		{"front height: up on low grip, down when it hops on rubber", "front_height",
			facts("understeer", "mid", "", "low", ""), +1, facts("hop", "mid", "", "high", ""), -1},
		{"new tyres turn loose into push", "caster",
			facts("understeer", "mid", "", "medium", "new"), +1, facts("oversteer", "mid", "", "medium", "worn"), -1},
		{"high grip: the inside rear decides about caster", "caster",
			facts("understeer+bind", "mid", "", "high", ""), +1, facts("understeer+over_lift", "mid", "", "high", ""), -1},
		{"toe in the wet: turn-in or stability", "toe",
			facts("understeer", "entry", "", "wet", "wets"), -1, facts("darting", "straight", "", "wet", "wets"), +1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := proposed(verdictOn(t, set, tt.first, tt.move)); got != tt.firstWant {
				t.Errorf("%+v: %s goes %+d, want %+d", tt.first.Symptoms, tt.move, got, tt.firstWant)
			}
			if got := proposed(verdictOn(t, set, tt.reversed, tt.move)); got != tt.reversedWant {
				t.Errorf("%+v: %s goes %+d, want %+d", tt.reversed.Symptoms, tt.move, got, tt.reversedWant)
			}
		})
	}

	t.Run("loose on entry that is really push: the order of events is asked", func(t *testing.T) {
		res, err := set.Evaluate(facts("oversteer+understeer", "entry", "", "", ""))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(res.Checks, func(c rules.Check) bool { return strings.Contains(c.Text, "order of events") }) {
			t.Errorf("no check asks for the order of events; there are %v", res.Checks)
		}
	})
	t.Run("low power pays for every lift: a slight push gets a smaller step", func(t *testing.T) {
		slight, strong := facts("understeer", "entry", "", "low", ""), facts("understeer", "entry", "", "low", "")
		slight.Symptoms[0].Severity, strong.Symptoms[0].Severity = "slight", "strong"
		a, b := verdictOn(t, set, slight, "caster"), verdictOn(t, set, strong, "caster")
		if !(a.Hold > 0 && b.Hold == 0) {
			t.Errorf("hold on caster is %.2f for a slight push and %.2f for a strong one, want it for the slight one only", a.Hold, b.Hold)
		}
	})
}
