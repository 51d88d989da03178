package journal

import (
	"fmt"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// SettingOf is the entry for a kart that stands at a setting: every adjuster
// on each side, and what the front end should measure.
func SettingOf(k *profile.Kart, set [2]adjust.Setting) (*Setting, error) {
	figures, err := k.Figures(set)
	if err != nil {
		return nil, err
	}
	out := &Setting{Header: Header{Kart: k.Name}}
	for _, s := range frontend.Sides {
		for i, a := range k.Corners[s].Adjusters {
			p := Position{Side: s.String(), Adjuster: a.Name, Position: set[s][i], Text: a.Print(set[s][i], geometry.Units{})}
			if g, ok := a.Adjuster.(adjust.Gauged); ok {
				if r, ok := g.Gauge(set[s][i]); ok {
					mm := float64(r)
					p.Gauge = &mm
				}
			}
			out.Positions = append(out.Positions, p)
		}
		f := figures[s]
		out.Figures = append(out.Figures, Figures{s.String(), f.Caster.Degrees(), f.KPI.Degrees(), f.Camber.Degrees(), f.Toe.Degrees()})
	}
	return out, nil
}

// On returns the adjuster positions of the entry on a kart. An adjuster that
// the entry does not name stands as in the profile; notes say which. One that
// the kart does not have, or that cannot stand so, is an error: the profile has
// changed since.
func (s *Setting) On(k *profile.Kart) (set [2]adjust.Setting, notes []string, err error) {
	var lost []string
	for _, side := range frontend.Sides {
		set[side] = append(adjust.Setting(nil), k.Present[side]...)
		named := make([]bool, len(set[side]))
		for _, p := range s.Positions {
			if p.Side != side.String() {
				continue
			}
			i := k.Corners[side].Index(p.Adjuster)
			if i < 0 {
				lost = append(lost, fmt.Sprintf("%s %s (%s)", p.Side, p.Adjuster, p.Text))
				continue
			}
			a := k.Corners[side].Adjusters[i]
			t := a.Travel()
			if at := t.Clamp(p.Position); at-p.Position > 1e-6 || p.Position-at > 1e-6 {
				return set, nil, fmt.Errorf("the setting of %s has the %s %s at %s, where the profile of kart %s does not let it stand: the profile has changed since", s.At.Format("2006-01-02"), p.Side, p.Adjuster, p.Text, k.Name)
			}
			set[side][i], named[i] = p.Position, true
		}
		for i, ok := range named {
			if a := k.Corners[side].Adjusters[i]; !ok {
				notes = append(notes, fmt.Sprintf("%v %s is not in the entry and is taken as the profile has it, %s", side, a.Name, a.Print(set[side][i], geometry.Units{})))
			}
		}
	}
	if len(lost) > 0 {
		return set, nil, fmt.Errorf("the setting of %s names adjusters that the profile of kart %s does not have: %s; the profile has changed since", s.At.Format("2006-01-02"), k.Name, strings.Join(lost, ", "))
	}
	return set, notes, nil
}
