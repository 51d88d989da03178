package cli

import (
	"fmt"

	"kartwright/advisor"
	"kartwright/advisor/profile/demo"
	"kartwright/rules"
)

type claimJSON struct {
	Rule   string  `json:"rule"`
	Place  string  `json:"place"`
	Kart   string  `json:"kart"`
	Effect string  `json:"effect"`
	Holds  bool    `json:"holds"`
	Change float64 `json:"change" jsonschema_description:"of the quantity, in unit"`
	Unit   string  `json:"unit"`
	Text   string  `json:"text"`
	Except string  `json:"except,omitempty" jsonschema_description:"the rule's own explanation of why a kart may not show it"`
}

// modelReport is what the computed kart says of the effects that rules rely on.
type modelReport struct {
	rules, karts int
	claims       []claimJSON
}

// checkModel holds every effect that a rule relies on against the karts named:
// a profile, or "all" for the demo karts.
func (a *app) checkModel(set *rules.Set, name string) (*modelReport, error) {
	names := []string{name}
	if name == "all" {
		names = demo.Names()
	}
	r := &modelReport{karts: len(names), claims: []claimJSON{}}
	all := set.Rules()
	for i := range all {
		if len(all[i].Effects) > 0 {
			r.rules++
		}
	}
	for _, n := range names {
		k, _, err := a.loadKart(n)
		if err != nil {
			return nil, err
		}
		for i := range all {
			found, err := advisor.Claims(k, &all[i], set.Vocabulary(), advisor.SlowBend)
			if err != nil {
				return nil, fmt.Errorf("%s: rule %s on kart %s: %w", all[i].Place, all[i].ID, k.Name, bendError(err))
			}
			for _, c := range found {
				r.claims = append(r.claims, claimJSON{all[i].ID, all[i].Place, k.Name, c.Effect, c.Holds, round(c.Change), c.Unit, c.Text, all[i].Except})
			}
		}
	}
	return r, nil
}

// unexplained counts the claims that fail and that their rule does not explain.
func (r *modelReport) unexplained() int {
	n := 0
	for _, c := range r.claims {
		if !c.Holds && c.Except == "" {
			n++
		}
	}
	return n
}

// printModel lists the disagreements.
func (a *app) printModel(r *modelReport) {
	explained := 0
	for _, c := range r.claims {
		if c.Holds {
			continue
		}
		a.para("", fmt.Sprintf("%s: rule %s relies on %q; on kart %s %s", c.Place, c.Rule, c.Effect, c.Kart, c.Text))
		if c.Except != "" {
			explained++
			a.para("  ", "explained: "+sentence(c.Except))
		}
	}
	a.para("", fmt.Sprintf("%d rules rely on a physical effect; computed on %d karts in a slow bend (%v):", r.rules, r.karts, advisor.SlowBend))
	a.printf("%d agree, %d disagree and say why, %d disagree\n", len(r.claims)-explained-r.unexplained(), explained, r.unexplained())
}

// modelFailed is the exit of a check whose model disagrees.
func (r *modelReport) failed() error {
	if n := r.unexplained(); n > 0 {
		return couldNot{fmt.Sprintf("on %d counts the computed kart does not do what a rule relies on; change the rule, or say why in effect_except", n)}
	}
	return nil
}
