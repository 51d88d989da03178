package readings

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/fit"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

// ofOneSide are the numbers that a bend or a knock changes on one side alone: a
// profile may give them once, but each side learns its own.
var ofOneSide = []string{"caster", "kpi", "camber", "toe"}

// Learnable is a number of the profile that readings may teach. Its name is where
// the profile keeps it, or would keep this side's own.
type Learnable struct {
	fit.Param
	Assumed bool // the profile does not say

	from string // the path of the number that the profile has
	on   [2]bool
}

// Learnables returns the numbers of a kart on which anything that can be read
// depends: those that have a ± or are assumed, which readings may teach, and the
// plain words of those that the profile states without a ±, which are taken as
// exact. Each side has its own caster, KPI, camber and toe, whether or not the
// profile tells them apart.
func Learnables(k *profile.Kart) (learn []Learnable, exact []string, err error) {
	heard, err := depends(k)
	if err != nil {
		return nil, nil, err
	}
	for _, n := range k.Numbers {
		switch {
		case !heard[n.Path]:
			continue
		case n.PM == 0:
			if !strings.HasSuffix(n.Path, ".pitch") { // a thread's is a standard's
				exact = append(exact, Plain(n.Path))
			}
			continue
		}
		l := Learnable{
			Param:   fit.Param{Name: n.Path, Doc: Plain(n.Path), Unit: fit.Millimetre, Value: n.Value, SD: n.PM / Coverage},
			Assumed: n.Assumed, from: n.Path, on: [2]bool{true, true},
		}
		switch {
		case n.Angle:
			l.Unit = fit.Radian
		case n.Unit != "":
			l.Unit = fit.None
		}
		key, _ := strings.CutPrefix(n.Path, "corner.")
		if !slices.Contains(ofOneSide, key) {
			learn = append(learn, l)
			continue
		}
		for _, s := range frontend.Sides {
			own := "corner." + s.String() + "." + key
			if slices.ContainsFunc(k.Numbers, func(m profile.Number) bool { return m.Path == own }) {
				continue
			}
			l := l
			l.Name, l.Doc = own, Plain(own)
			l.on = [2]bool{}
			l.on[s] = true
			learn = append(learn, l)
		}
	}
	return learn, exact, nil
}

// depends returns which numbers anything that can be read depends on.
func depends(k *profile.Kart) (map[string]bool, error) {
	var f File
	all := f.candidates(k, words)
	base := make([]float64, len(all))
	ok := make([]bool, len(all))
	for i := range all {
		v, err := all[i].Of(&k.Corners)
		base[i], ok[i] = v, err == nil
	}
	out := map[string]bool{}
	for _, n := range k.Numbers {
		by := n.PM / Coverage
		if by == 0 {
			by = 1e-3 // mm or radians
		}
		near, err := k.With(n.Path, by)
		if err != nil {
			if near, err = k.With(n.Path, -by); err != nil {
				return nil, fmt.Errorf("the %s leaves no room for its ±: %w", Plain(n.Path), err)
			}
		}
		for i := range all {
			if !ok[i] {
				continue
			}
			if v, err := all[i].Of(&near.Corners); err != nil || math.Abs(v-base[i]) > 1e-9 {
				out[n.Path] = true
				break
			}
		}
	}
	return out, nil
}

// Plain says the path of a number in words: "left caster", "eccentricity of the
// camber plate".
func Plain(path string) string {
	if rest, ok := strings.CutPrefix(path, "adjuster \""); ok {
		if name, field, ok := strings.Cut(rest, "\"."); ok {
			return plain(field) + " of the " + name
		}
	}
	if rest, ok := strings.CutPrefix(path, "points."); ok {
		axis := map[string]string{"[0]": " x", "[1]": " y", "[2]": " z"}
		for index, name := range axis {
			if p, ok := strings.CutSuffix(rest, index); ok {
				rest = p + name
			}
		}
		return plain(strings.ReplaceAll(rest, ".", " "))
	}
	_, rest, _ := strings.Cut(path, ".")
	return plain(strings.ReplaceAll(rest, ".", " "))
}

// Only keeps the numbers named by their path, the last part of it, or their plain
// words.
func Only(list []Learnable, names []string) ([]Learnable, error) {
	if len(names) == 0 {
		return list, nil
	}
	var out []Learnable
	used := map[string]bool{}
	var all []string
	for _, l := range list {
		all = append(all, l.Doc)
		last := l.Name[strings.LastIndex(l.Name, ".")+1:]
		keep := false
		for _, n := range names {
			if n := strings.TrimSpace(n); n == l.Name || plain(n) == plain(last) || plain(n) == plain(l.Doc) {
				keep, used[n] = true, true
			}
		}
		if keep {
			out = append(out, l)
		}
	}
	for _, n := range names {
		if n := strings.TrimSpace(n); !used[n] {
			return nil, fmt.Errorf("there is no number %q to learn on this kart; %s", n, orList(diag.DidYouMean(n, all), all))
		}
	}
	return out, nil
}

// Answer is something that somebody wants to know of the kart, before and after
// its numbers are learnt: how far an adjuster goes for a usual change of a
// figure, from where the kart stands now.
type Answer struct {
	fit.Answer
	Figure   adjust.Figure
	By       float64 // radians; mm for adjust.Height
	Side     frontend.Side
	Adjuster string
	Step     string // what a position of the adjuster is: turn, hole, degree, position
}

// usualChange is what a figure is changed by at a time: half a degree, a tenth
// for toe, a shim's worth for the height.
var usualChange = [adjust.FigureCount]float64{
	adjust.Caster: 0.5 * float64(geometry.Degree),
	adjust.Camber: 0.5 * float64(geometry.Degree),
	adjust.Toe:    0.1 * float64(geometry.Degree),
	adjust.Height: 2,
}

// sets are the parts whose adjusters a figure is set with.
var sets = [adjust.FigureCount]adjust.Part{adjust.Caster: adjust.OnPivot, adjust.Camber: adjust.OnPivot, adjust.Toe: adjust.OnRod, adjust.Height: adjust.OnStub}

// Answers returns the answers that this kart has: for each figure and side, the
// adjuster with the most effect on it that can make the change without leaving
// its travel.
func Answers(k *profile.Kart) []Answer {
	var out []Answer
	for f := adjust.Figure(0); int(f) < adjust.FigureCount; f++ {
		for _, s := range frontend.Sides {
			if a, ok := answer(k, s, f); ok {
				out = append(out, a)
			}
		}
	}
	return out
}

func answer(k *profile.Kart, s frontend.Side, f adjust.Figure) (best Answer, ok bool) {
	c, from := &k.Corners[s], k.Present[s]
	least := math.Inf(1) // share of its travel that the adjuster needs
	for i, a := range c.Adjusters {
		if a.Travel().Fixed() || a.Part() != sets[f] {
			continue
		}
		if _, listed := a.Adjuster.(adjust.Listed); listed {
			continue // its positions are no scale
		}
		for _, sign := range []float64{1, -1} { // up if it can, otherwise down
			by := sign * usualChange[f]
			x := Answer{Answer: fit.Moves(fmt.Sprintf("%v %v", s, f), s, from, a.Name, f, by), Figure: f, By: by, Side: s, Adjuster: a.Name, Step: step(a)}
			v, err := x.Of(&k.Corners)
			t := a.Travel()
			if err != nil || v == 0 || from[i]+v < t.Min-0.5 || from[i]+v > t.Max+0.5 {
				continue
			}
			// Both sides had better speak of the same adjuster: the first one, unless
			// another has much more effect.
			if share := math.Abs(v) / (t.Max - t.Min); share < 0.8*least {
				best, least, ok = x, share, true
			}
			break
		}
	}
	return best, ok
}

// step names a position of an adjuster.
func step(a adjust.Named) string {
	_, wraps := a.Adjuster.(adjust.Wraps)
	switch {
	case a.Part() == adjust.OnStub:
		return "shim"
	case wraps && a.Travel().Step > 0:
		return "hole"
	case wraps:
		return "degree"
	}
	return "turn"
}

// Problem poses the readings as a fit of the numbers given.
func (f *File) Problem(k *profile.Kart, learn []Learnable, answers []Answer, u geometry.Units) fit.Problem {
	p := fit.Problem{Units: u, Candidates: f.Candidates(k)}
	value := map[string]float64{}
	for _, l := range learn {
		p.Params = append(p.Params, l.Param)
		value[l.Name] = l.Value
	}
	for _, z := range f.Zeros {
		w := wordOf(z.Quantity)
		if slices.ContainsFunc(f.Readings, func(r Reading) bool { return r.Quantity == z.Quantity }) {
			name := "zero of the " + w.instrument()
			p.Params = append(p.Params, fit.Param{Name: name, Doc: name, Unit: w.form.unit(), Value: z.Value, SD: z.SD, Zero: w.instrument()})
		}
	}
	for _, r := range f.Readings {
		p.Readings = append(p.Readings, r.Reading)
	}
	for _, a := range answers {
		p.Answers = append(p.Answers, a.Answer)
	}
	p.Kart = func(at map[string]float64) (*fit.Kart, error) {
		var by [2]map[string]float64
		same := true
		for s := range by {
			by[s] = map[string]float64{}
			for _, l := range learn {
				if v, ok := at[l.Name]; ok && l.on[s] {
					by[s][l.from] = v - l.Value
				}
			}
		}
		left, err := k.Nudged(by[0])
		if err != nil {
			return nil, err
		}
		for _, l := range learn {
			same = same && l.on[0] == l.on[1]
		}
		right := left
		if !same {
			if right, err = k.Nudged(by[1]); err != nil {
				return nil, err
			}
		}
		return &fit.Kart{left.Corners[frontend.Left], right.Corners[frontend.Right]}, nil
	}
	return p
}

// lock is how far the column is turned for the readings that are proposed.
const lock = 20 * geometry.Degree

// Candidates returns what could be read next: every quantity that the file has a
// reading or a ± of, with each adjuster in turn over its travel, the wheels
// straight ahead, and camber and steer also with the column turned.
func (f *File) Candidates(k *profile.Kart) []fit.Reading {
	var have []word
	for _, w := range words {
		_, stated := f.accuracy[w.quantity]
		if stated || slices.ContainsFunc(f.Readings, func(r Reading) bool { return r.Quantity == w.quantity }) {
			have = append(have, w)
		}
	}
	return f.candidates(k, have)
}

func (f *File) candidates(k *profile.Kart, have []word) []fit.Reading {
	var sorts []fit.Reading
	for _, w := range have {
		r := fit.Reading{Quantity: w.quantity, SD: w.usualPM() / Coverage}
		if a, ok := f.accuracy[w.quantity]; ok {
			r.SD = a / Coverage
		}
		if slices.ContainsFunc(f.Zeros, func(z Zero) bool { return z.Quantity == w.quantity }) {
			r.Instrument = w.instrument()
		}
		if w.both() {
			sorts = append(sorts, r)
			continue
		}
		for _, s := range frontend.Sides {
			r.Side = s
			switch w.quantity {
			case fit.Depth:
				for _, a := range k.Corners[s].Adjusters {
					if gauged(k, a.Name) {
						r.Adjuster = a.Name
						sorts = append(sorts, r)
					}
				}
			case fit.Camber, fit.Steer:
				for _, c := range []geometry.Angle{0, lock, -lock} {
					if c != 0 || w.quantity == fit.Camber {
						r.Column = c
						sorts = append(sorts, r)
					}
				}
				r.Column = 0
			default:
				sorts = append(sorts, r)
			}
		}
	}
	return fit.Reachable(&k.Corners, sorts)
}

// Findings turns what package fit finds wrong with the readings of the file into
// findings at their places.
func (f *File) Findings(faults *fit.Faults) []diag.Diagnostic {
	var out []diag.Diagnostic
	for _, x := range faults.List {
		at := f.start
		if x.Reading >= 0 && x.Reading < len(f.Readings) {
			at = f.Readings[x.Reading].At
		}
		d := diag.Errorf(faultCodes[x.Kind], at, "%s", x.Text)
		if x.Kind == fit.OneSetting {
			d = d.WithHelp("name what one setting tells: --only \"left caster\"")
		}
		out = append(out, d)
	}
	return diag.Sort(out)
}
