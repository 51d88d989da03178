package advisor

import (
	"slices"
	"testing"

	"kartwright/rules"
)

func TestDemote(t *testing.T) {
	list := func(names ...string) (out []Suggestion) {
		for i, n := range names {
			s := Suggestion{Move: rules.Move{ID: n, Lever: "other"}, Score: 0.8 - 0.1*float64(i)}
			if n == "caster" || n == "camber" || n == "toe" {
				s.Move.Lever = "front"
			}
			out = append(out, s)
		}
		return out
	}
	for _, tt := range []struct {
		name           string
		first          string
		rest, failed   []string
		wantFirst      string
		wantRest       []string
		wantItWasMoved bool
	}{
		{"nothing failed", "caster", []string{"toe", "seat"}, nil, "caster", []string{"toe", "seat"}, false},
		{"the first failed", "caster", []string{"toe", "seat"}, []string{"caster"}, "toe", []string{"caster", "seat"}, true},
		{"a front-end change before a better other one", "caster", []string{"seat", "toe"}, []string{"caster"}, "toe", []string{"caster", "seat"}, true},
		{"what failed as well goes last", "caster", []string{"camber", "seat"}, []string{"caster", "camber"}, "seat", []string{"caster", "camber"}, true},
		{"only an alternative failed", "caster", []string{"toe", "seat"}, []string{"toe"}, "caster", []string{"toe", "seat"}, false},
		{"everything failed", "caster", []string{"toe"}, []string{"caster", "toe"}, "caster", []string{"toe"}, false},
		{"nothing else", "caster", nil, []string{"caster"}, "caster", nil, false},
	} {
		a := &Advice{First: &list(tt.first)[0], Alternatives: list(tt.rest...)}
		moved := a.Demote(func(s *Suggestion) bool { return slices.Contains(tt.failed, s.Move.ID) })
		var rest []string
		for _, s := range a.Alternatives {
			rest = append(rest, s.Move.ID)
		}
		if moved != tt.wantItWasMoved || a.First.Move.ID != tt.wantFirst || !slices.Equal(rest, tt.wantRest) {
			t.Errorf("%s: moved %v, then first %s before %v; want %v, %s, %v", tt.name, moved, a.First.Move.ID, rest, tt.wantItWasMoved, tt.wantFirst, tt.wantRest)
		}
	}
	if (&Advice{}).Demote(func(*Suggestion) bool { return true }) {
		t.Error("advice without a change moved one down")
	}
}
