package testday

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

// Change is one thing to try against the base.
type Change struct {
	Name string
	// Wants are figures to reach on both sides: "caster by +0.5 deg", "camber
	// to -1 deg", "toe by 1 mm out over 255 mm".
	Wants []string
	// Sets are adjuster positions on both sides: "caster screw=1/2 turn
	// tighter", or "caster screw+=1/2 turn" from where it stands.
	Sets []string
	// Minutes is the spanner time each way; 0 has it worked out from what is
	// turned. Needed for what the kart's profile has no adjuster for.
	Minutes float64
	Weight  float64 // how much it matters against the others; 0 means 1
	Advice  string  // the journal's entry that it was taken from, if any
}

var changeMinutes = regexp.MustCompile(`^(minutes|matters)\s+(\S+)$`)

// ParseChange reads NAME: PART, PART …, where a part is a want, a set,
// "minutes 8" or "matters 2". Without a colon the text is a part and the name,
// or, if it is no part, the name of something the kart's profile does not
// know.
func ParseChange(text string) (Change, error) {
	name, rest, named := strings.Cut(text, ":")
	if name = strings.TrimSpace(name); name == "" {
		return Change{}, fmt.Errorf("change %q has no name (write more caster: caster by +0.5 deg)", text)
	}
	if named {
		return NewChange(name, strings.Split(rest, ",")...)
	}
	c, err := NewChange("", name)
	if err != nil && !strings.Contains(text, "=") && !wantWord.MatchString(text) {
		return Change{Name: name}, nil
	}
	return c, err
}

// NewChange puts a change together from parts as ParseChange has them between
// its commas. Without a name it is called by them.
func NewChange(name string, parts ...string) (Change, error) {
	c := Change{Name: strings.TrimSpace(name)}
	var own []string
	for _, part := range parts {
		part = strings.TrimSpace(part)
		if err := c.part(part); err != nil {
			return c, fmt.Errorf("change %q: %w", cmp.Or(c.Name, part), err)
		}
		if !changeMinutes.MatchString(part) {
			own = append(own, part)
		}
	}
	if c.Name == "" {
		c.Name = strings.Join(own, ", ")
	}
	if c.Name == "" {
		return c, errors.New("a change needs a name, or something to change")
	}
	return c, nil
}

func (c *Change) part(text string) error {
	if m := changeMinutes.FindStringSubmatch(text); m != nil {
		v, err := strconv.ParseFloat(m[2], 64)
		if err != nil || !(v > 0) || v > 600 {
			return fmt.Errorf("%s %q is not a number between 0 and 600", m[1], m[2])
		}
		if m[1] == "minutes" {
			c.Minutes = v
		} else {
			c.Weight = v
		}
		return nil
	}
	if strings.Contains(text, "=") {
		c.Sets = append(c.Sets, text)
		return nil
	}
	if _, err := parseWant(text); err != nil {
		return err
	}
	c.Wants = append(c.Wants, text)
	return nil
}

var wantWord = regexp.MustCompile(`^(caster|camber|toe|height)\s+(by|to)\s+(.+)$`)

// inOut is the way of a toe, after its unit.
var inOut = regexp.MustCompile(`\s+(in|out)\s*$`)

// wantNames are the figures as a change writes them.
var wantNames = [adjust.FigureCount]string{adjust.Caster: "caster", adjust.Camber: "camber", adjust.Toe: "toe", adjust.Height: "height"}

func parseWant(text string) (advisor.Want, error) {
	m := wantWord.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return advisor.Want{}, fmt.Errorf("%q is not understood; expected a figure (caster by +0.5 deg, camber to -1 deg), a position (caster screw+=1/2 turn), minutes 8 or matters 2", text)
	}
	w := advisor.Want{By: m[2] == "by"}
	for f, name := range wantNames {
		if name == m[1] {
			w.Figure = adjust.Figure(f)
		}
	}
	switch w.Figure {
	case adjust.Height:
		l, err := geometry.ParseLength(m[3])
		if err != nil {
			return w, err
		}
		w.Value = float64(l)
	case adjust.Toe:
		t, err := frontend.ParseToe(m[3])
		if _, length := geometry.ParseLength(strings.TrimSpace(inOut.ReplaceAllString(m[3], ""))); err != nil && length == nil && !strings.Contains(m[3], " over ") {
			return w, fmt.Errorf("toe %q: over which length? for instance 1 mm out over %.0f mm", m[3], float64(advisor.RimLength))
		}
		if err != nil {
			return w, err
		}
		w.Value = float64(t.Value)
	default:
		g, err := geometry.ParseAngle(m[3])
		if err != nil {
			return w, err
		}
		w.Value = float64(g)
	}
	if w.Figure != adjust.Height && math.Abs(w.Value) > float64(45*geometry.Degree) {
		return w, fmt.Errorf("%s is more than any front end has", geometry.Angle(w.Value))
	}
	return w, nil
}

// Suggested is the change that a suggestion of advice makes: what its plan
// reaches on the kart, which adjusters with steps keep from being what was
// asked for. A suggestion without a plan is a name.
func Suggested(s *advisor.Suggestion) Change {
	c := Change{Name: s.Title()}
	if s.Plan == nil {
		return c
	}
	side := s.Plan.Sides[0]
	for _, f := range side.Asked {
		v, unit := side.Answer.Best.Values[f]-side.Was[f], " mm"
		if !f.IsLength() {
			v, unit = geometry.Angle(v).Degrees(), " deg"
		}
		c.Wants = append(c.Wants, wantNames[f]+" by "+strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)+unit)
	}
	return c
}

// onKart reports whether the change moves adjusters of the profile.
func (c *Change) onKart() bool { return len(c.Wants)+len(c.Sets) > 0 }

// Rates are spanner minutes, for one side where it is a part.
type Rates struct {
	Stop                               float64 // to get the kart on the stand, measure, and check it over afterwards
	Screw, Eccentric, Bush, Shims, Rod float64
	Other                              float64 // a change that the profile has no adjuster for and that states no minutes
	Named                              map[string]float64
}

// UsualRates are what a practised mechanic takes (common practice).
var UsualRates = Rates{Stop: 4, Screw: 2, Eccentric: 2.5, Bush: 5, Shims: 6, Rod: 1.5, Other: 10}

// Set changes a rate: "stop", the kind of an adjuster (screw, eccentric, bush,
// shims, rod), "other", or an adjuster's own name.
func (r *Rates) Set(name string, minutes float64) error {
	if !(minutes >= 0) || minutes > 600 {
		return fmt.Errorf("minutes of %q are %v; expected 0 to 600", name, minutes)
	}
	if p := r.byKind(name); p != nil {
		*p = minutes
		return nil
	}
	if r.Named == nil {
		r.Named = map[string]float64{}
	}
	r.Named[name] = minutes
	return nil
}

// RateNames are the kinds that Set knows.
var RateNames = []string{"stop", "screw", "eccentric", "bush", "shims", "rod", "other"}

func (r *Rates) byKind(name string) *float64 {
	switch name {
	case "stop":
		return &r.Stop
	case "screw":
		return &r.Screw
	case "eccentric":
		return &r.Eccentric
	case "bush":
		return &r.Bush
	case "shims":
		return &r.Shims
	case "rod":
		return &r.Rod
	case "other":
		return &r.Other
	}
	return nil
}

func (r *Rates) of(m advisor.Move) float64 {
	if v, ok := r.Named[m.Name]; ok {
		return v
	}
	switch m.Part {
	case adjust.OnRod:
		return r.Rod
	case adjust.OnStub:
		return r.Shims
	}
	if _, ok := m.Adjuster.(adjust.Wraps); ok {
		return r.Eccentric
	}
	if _, ok := m.Adjuster.(adjust.Listed); ok {
		return r.Bush
	}
	return r.Screw
}

// Work knows what each setup of a day is on a kart.
type Work struct {
	Kart    *profile.Kart // nil if no change moves its adjusters
	Base    [2]adjust.Setting
	Changes []Change
	Rates   Rates

	settings map[Setup][2]adjust.Setting
	notes    map[Setup][]string
	minutes  map[[2]Setup]float64
}

// NewWork works out every change by itself. An error says which one the kart
// cannot do, and why.
func NewWork(k *profile.Kart, base [2]adjust.Setting, changes []Change, rates Rates) (*Work, error) {
	w := &Work{Kart: k, Base: base, Changes: changes, Rates: rates,
		settings: map[Setup][2]adjust.Setting{}, notes: map[Setup][]string{}, minutes: map[[2]Setup]float64{}}
	seen := map[string]bool{}
	for j, c := range changes {
		if seen[c.Name] {
			return nil, fmt.Errorf("two changes are called %q; give each a name of its own", c.Name)
		}
		seen[c.Name] = true
		if !c.onKart() {
			continue
		}
		if k == nil {
			return nil, fmt.Errorf("change %q moves adjusters, but no kart is given", c.Name)
		}
		p, err := w.Between(0, 1<<j)
		if err != nil {
			return nil, err
		}
		if p == nil || !p.Moved() {
			return nil, fmt.Errorf("change %q turns nothing on this kart: it stands so already", c.Name)
		}
	}
	if k != nil {
		for name := range rates.Named {
			names := []string{}
			found := false
			for s := range k.Corners {
				found = found || k.Corners[s].Index(name) >= 0
				for _, adj := range k.Corners[s].Adjusters {
					names = append(names, adj.Name)
				}
			}
			if !found {
				hint := diag.DidYouMean(name, append(names, RateNames...))
				if hint == "" {
					hint = "expected an adjuster of the kart, or " + strings.Join(RateNames, ", ")
				}
				return nil, fmt.Errorf("minutes are given for %q, which this kart does not have; %s", name, hint)
			}
		}
	}
	return w, nil
}

// Setting returns the positions of a setup: the base with the figures of its
// changes reached, then their positions set, toe last as at the base or as a
// change wants it.
func (w *Work) Setting(s Setup) ([2]adjust.Setting, error) {
	if set, ok := w.settings[s]; ok {
		return set, nil
	}
	set, err := w.work(s)
	if err == nil {
		w.settings[s] = set
	}
	return set, err
}

func (w *Work) work(s Setup) ([2]adjust.Setting, error) {
	to := [2]adjust.Setting{append(adjust.Setting(nil), w.Base[0]...), append(adjust.Setting(nil), w.Base[1]...)}
	if s == 0 {
		return to, nil
	}
	var wants []advisor.Want
	asked := map[adjust.Figure]string{}
	moved := map[string]string{} // adjuster → change
	for j, c := range w.Changes {
		if !s.Has(j) {
			continue
		}
		for _, text := range c.Wants {
			want, err := parseWant(text)
			if err != nil {
				return to, fmt.Errorf("change %q: %w", c.Name, err)
			}
			if other, ok := asked[want.Figure]; ok {
				return to, fmt.Errorf("%q and %q both set %v", other, c.Name, want.Figure)
			}
			asked[want.Figure] = c.Name
			wants = append(wants, want)
		}
		for _, text := range c.Sets {
			name, _, _ := strings.Cut(text, "=")
			name = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(name), "+"))
			if other, ok := moved[name]; ok && other != c.Name {
				return to, fmt.Errorf("%q and %q both set the %s", other, c.Name, name)
			}
			moved[name] = c.Name
		}
	}
	if len(wants) > 0 {
		p, err := advisor.NewPlan(advisor.Job{Kart: w.Kart, From: w.Base, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{wants, wants}})
		if err != nil {
			return to, err
		}
		if !p.OK() {
			return to, fmt.Errorf("%s: this kart cannot do it: %s", w.Say(s), strings.Join(p.Reasons(), "; "))
		}
		if err := w.tooCoarse(p, wants); err != nil {
			return to, fmt.Errorf("%s: %w", w.Say(s), err)
		}
		for _, side := range p.Sides {
			for _, m := range side.Worth() {
				if by, ok := moved[m.Name]; ok {
					return to, fmt.Errorf("%q sets the %s, which the other changes move as well", by, m.Name)
				}
			}
		}
		w.notes[s] = p.Reasons()
		to = p.To
	}
	if len(moved) == 0 {
		return to, nil
	}
	rod := false
	for j, c := range w.Changes {
		if !s.Has(j) {
			continue
		}
		for _, text := range c.Sets {
			onRod, err := w.set(text, &to)
			if err != nil {
				return to, fmt.Errorf("change %q: %w", c.Name, err)
			}
			rod = rod || onRod
		}
	}
	if rod {
		return to, nil
	}
	return to, w.restoreToe(&to, asked, wants)
}

// tooCoarse reports a figure that the kart's steps miss by more than half of
// what was wanted.
func (w *Work) tooCoarse(p *advisor.Plan, wants []advisor.Want) error {
	for _, side := range p.Sides {
		for _, want := range wants {
			by := want.Value
			if !want.By {
				by -= side.Was[want.Figure]
			}
			got := side.Answer.Best.Values[want.Figure] - side.Was[want.Figure]
			if math.Abs(got-by) > 0.5*math.Abs(by)+1e-9 {
				return fmt.Errorf("this kart's steps come no nearer to a change of %s by %s on the %v than %s", want.Figure, adjust.Say(want.Figure, by), side.Side, adjust.Say(want.Figure, got))
			}
		}
	}
	return nil
}

// set moves the adjuster that text names, on every side that has it.
func (w *Work) set(text string, to *[2]adjust.Setting) (onRod bool, err error) {
	name, pos, _ := strings.Cut(text, "=")
	name, by := strings.CutSuffix(strings.TrimSpace(name), "+")
	name = strings.TrimSpace(name)
	var names []string
	found := false
	for s := range w.Kart.Corners {
		c := &w.Kart.Corners[s]
		for _, adj := range c.Adjusters {
			names = append(names, adj.Name)
		}
		i := c.Index(name)
		if i < 0 {
			continue
		}
		found = true
		v, err := c.Adjusters[i].Read(strings.TrimSpace(pos))
		if err != nil {
			return false, fmt.Errorf("%v side, %s: %w", c.Side, name, err)
		}
		if by {
			v += w.Base[s][i] - c.Adjusters[i].Standard()
			if t := c.Adjusters[i].Travel(); v < t.Min-1e-9 || v > t.Max+1e-9 {
				u := geometry.Units{}
				return false, fmt.Errorf("%v side, %s: that is outside its travel, %s to %s", c.Side, name, c.Adjusters[i].Print(t.Min, u), c.Adjusters[i].Print(t.Max, u))
			}
		}
		to[s][i] = v
		onRod = onRod || c.Adjusters[i].Part() == adjust.OnRod
	}
	if !found {
		hint := diag.DidYouMean(name, names)
		if hint == "" {
			hint = diag.Expected(names)
		}
		return false, fmt.Errorf("this kart has no adjuster %q; %s", name, hint)
	}
	return onRod, nil
}

// restoreToe sets the tie rods so that toe is as at the base, or as wanted.
func (w *Work) restoreToe(to *[2]adjust.Setting, asked map[adjust.Figure]string, wants []advisor.Want) error {
	for s := range to {
		c := &w.Kart.Corners[s]
		was, err := c.Values(w.Base[s])
		if err != nil {
			return err
		}
		toe := was[adjust.Toe]
		if _, ok := asked[adjust.Toe]; ok {
			for _, want := range wants {
				switch {
				case want.Figure != adjust.Toe:
				case want.By:
					toe += want.Value
				default:
					toe = want.Value
				}
			}
		}
		// Only the rod may move: every other adjuster is where the change
		// puts it.
		for i, adj := range c.Adjusters {
			t := adj.Travel()
			if adj.Part() != adjust.OnRod || t.Fixed() {
				continue
			}
			off := func(p float64) (float64, error) {
				to[s][i] = p
				v, err := c.Values(to[s])
				return v[adjust.Toe] - toe, err
			}
			p, err := rootOf(off, t.Min, t.Max)
			if err != nil {
				return fmt.Errorf("%v side: the tie rod cannot restore toe: %w", c.Side, err)
			}
			to[s][i] = t.Clamp(p)
			break
		}
	}
	return nil
}

// rootOf finds where f is 0 by halving the range (f is monotonic in the rod).
func rootOf(f func(float64) (float64, error), lo, hi float64) (float64, error) {
	at, err := f(lo)
	if err != nil {
		return 0, err
	}
	if end, err := f(hi); err != nil {
		return 0, err
	} else if (at > 0) == (end > 0) {
		return 0, fmt.Errorf("its travel ends before")
	}
	for range 60 {
		mid := (lo + hi) / 2
		v, err := f(mid)
		if err != nil {
			return 0, err
		}
		if (v > 0) == (at > 0) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2, nil
}

// Between is the work on the adjusters from one setup to another; nil if there
// is none.
func (w *Work) Between(from, to Setup) (*advisor.Plan, error) {
	if w.Kart == nil || from == to {
		return nil, nil
	}
	a, err := w.Setting(from)
	if err != nil {
		return nil, err
	}
	b, err := w.Setting(to)
	if err != nil {
		return nil, err
	}
	return advisor.PlanBetween(w.Kart, a, b)
}

// Loose lists the changes without an adjuster that are put on and taken off.
func (w *Work) Loose(from, to Setup) (on, off []Change) {
	for j, c := range w.Changes {
		switch {
		case c.onKart() || from.Has(j) == to.Has(j):
		case to.Has(j):
			on = append(on, c)
		default:
			off = append(off, c)
		}
	}
	return on, off
}

// Minutes is the spanner time from one setup to another; +Inf if the kart
// cannot do it.
func (w *Work) Minutes(from, to Setup) float64 {
	if from == to {
		return 0
	}
	if m, ok := w.minutes[[2]Setup{from, to}]; ok {
		return m
	}
	m := w.Rates.Stop
	stated := true
	for j, c := range w.Changes {
		if from.Has(j) == to.Has(j) {
			continue
		}
		switch {
		case c.Minutes > 0:
			m += c.Minutes
		case !c.onKart():
			m += w.Rates.Other
		default:
			stated = false
		}
	}
	if !stated {
		// What is turned for changes that state no minutes.
		var a, b Setup
		for j, c := range w.Changes {
			if c.Minutes == 0 {
				a, b = a|from&(1<<j), b|to&(1<<j)
			}
		}
		p, err := w.Between(a, b)
		if err != nil {
			return math.Inf(1)
		}
		if p != nil {
			for _, s := range p.Sides {
				for _, move := range s.Worth() {
					m += w.Rates.of(move)
				}
			}
		}
	}
	w.minutes[[2]Setup{from, to}] = m
	return m
}

// Apart says why the changes cannot all be on together in every combination;
// empty if they can.
func (w *Work) Apart() string {
	if w.Kart == nil {
		return ""
	}
	for s := Setup(1); s < 1<<len(w.Changes); s++ {
		if _, err := w.Setting(s); err != nil {
			return err.Error()
		}
	}
	return ""
}

// Say names a setup, as Day.Say does.
func (w *Work) Say(s Setup) string { return say(w.Changes, s) }

func say(changes []Change, s Setup) string {
	var names []string
	for j, c := range changes {
		if s.Has(j) {
			names = append(names, c.Name)
		}
	}
	switch len(names) {
	case 0:
		return "base"
	case 1:
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// Notes says what the kart makes of a setup that was not asked for, unless it
// says so of one of its changes alone.
func (w *Work) Notes(s Setup) []string {
	for j := range w.Changes {
		if one := Setup(1) << j; s.Has(j) && s != one && len(w.notes[one]) > 0 {
			return nil
		}
	}
	return w.notes[s]
}

// weights returns how much each change matters.
func weights(changes []Change) []float64 {
	out := make([]float64, len(changes))
	for j, c := range changes {
		if out[j] = c.Weight; out[j] == 0 {
			out[j] = 1
		}
	}
	return out
}
