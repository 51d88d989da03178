package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"kartwright/geometry/frontend"
)

// FaultKind names what is wrong with readings.
type FaultKind uint8

// The kinds of faults.
const (
	NotANumber   FaultKind = iota
	BadSetting             // not a stand that this kart has
	TooFew                 // fewer readings than unknown numbers
	OneSetting             // nothing was moved, but what a move does is asked for
	UnitMixUp              // a factor of ten, inches for millimetres, degrees for radians
	WrongSign              // in for out, left for right
	SidesSwapped           // the left side's reading written under right
)

func (k FaultKind) String() string {
	return [...]string{"not a number", "no such setting", "too few readings", "all at one setting", "unit mix-up", "wrong sign", "sides swapped"}[k]
}

// Fault is something wrong with the readings, certain enough that fitting them
// would teach something false.
type Fault struct {
	Kind    FaultKind
	Reading int // index, or −1 if it concerns them all
	Text    string
}

// Faults is the error of readings that should not be fitted.
type Faults struct{ List []Fault }

func (f *Faults) Error() string {
	text := make([]string, len(f.List))
	for i, x := range f.List {
		text[i] = x.Text
	}
	return strings.Join(text, "; ")
}

// check finds what is wrong with the readings before any fit.
func (m *model) check() (out []Fault) {
	fault := func(kind FaultKind, i int, format string, args ...any) {
		out = append(out, Fault{kind, i, fmt.Sprintf(format, args...)})
	}
	for i := range m.Readings {
		r := &m.Readings[i]
		name := r.Name
		if name == "" {
			name = fmt.Sprintf("reading %d", i+1)
		}
		name += fmt.Sprintf(" (%v %v)", r.Side, r.Quantity)
		if r.Side > frontend.Right || r.Quantity > Depth {
			fault(BadSetting, i, "%s: there is no such side or quantity", name)
			continue
		}
		for _, x := range []struct {
			what string
			v    float64
		}{{"value", r.Value}, {"column angle", float64(r.Column)}, {"steer angle", float64(r.Steer)}} {
			if !finite(x.v) {
				fault(NotANumber, i, "%s: its %s is not a number", name, x.what)
			}
		}
		if r.Quantity.Unit() == Radian && math.Abs(r.Value) > math.Pi/2 {
			fault(UnitMixUp, i, "%s: %s is no angle that a wheel or kingpin stands at; check its unit and its decimal point", name, Radian.Text(r.Value, m.Units))
		}
		if !(r.SD > 0) || math.IsInf(r.SD, 0) {
			fault(NotANumber, i, "%s: its ± must be positive, not %v", name, r.SD)
		}
		ok := true
		for _, s := range frontend.Sides {
			if !ok || r.Setting[s] == nil {
				continue // said once is enough
			}
			c := &m.base[s]
			if len(r.Setting[s]) != len(c.Adjusters) {
				fault(BadSetting, i, "%s: %d positions for the %d adjusters of the %v side", name, len(r.Setting[s]), len(c.Adjusters), s)
				ok = false
				continue
			}
			for k, p := range r.Setting[s] {
				a := c.Adjusters[k]
				if t := a.Travel(); !(p >= t.Min-1e-9 && p <= t.Max+1e-9) {
					fault(BadSetting, i, "%s: %s stands at %s, outside its travel, %s to %s", name, a.Name, a.Print(p, m.Units), a.Print(t.Min, m.Units), a.Print(t.Max, m.Units))
					ok = false
				}
			}
		}
		if !ok {
			continue
		}
		if _, err := r.Of(m.base); err != nil {
			fault(BadSetting, i, "%s: %v", name, err)
		}
	}
	unknown := 0
	for _, p := range m.Params {
		if p.SD == 0 {
			unknown++
		}
	}
	if need := max(2, unknown); len(m.Readings) < need {
		fault(TooFew, -1, "too few readings: %d, and at least %d are needed", len(m.Readings), need)
	}
	for j, p := range m.Params {
		if p.Zero != "" && !slices.Contains(m.zero, j) {
			fault(TooFew, -1, "too few readings: none was taken with the %s, whose zero is to be learnt", p.Zero)
		}
	}
	return out
}

// How far a reading must be from what it should be to be suspected, and how
// near the corrected one must come, in SDs.
const (
	farOff  = 6
	closeBy = 3
)

// slips are the factors between what was written and what was meant, the
// commonest first. Inches concern what is read as a length, and toe may be.
var slips = []struct {
	factor         float64
	says           string
	inches, angles bool
}{
	{10, "ten times too small", true, true}, {0.1, "ten times too large", true, true},
	{25.4, "25.4 times too small, as if inches had been taken for millimetres", true, false},
	{1 / 25.4, "25.4 times too large, as if millimetres had been taken for inches", true, false},
	{180 / math.Pi, "57.3 times too small, as if it had been turned into radians twice", false, true},
}

// explain looks for a slip that makes sense of reading i, which should be
// about want and is not. wants and spread are those of every reading.
func (m *model) explain(i int, wants, spread []float64) (Fault, bool) {
	r := &m.Readings[i]
	off := func(i int, v float64) float64 { return math.Abs(v-wants[i]) / spread[i] }
	if off(i, r.Value) < farOff {
		return Fault{}, false
	}
	text := r.describe(m.base, m.Units)
	unit := r.Quantity.Unit()
	say := func(v float64) string { return unit.Text(v, m.Units) }
	for k := range m.Readings {
		q := &m.Readings[k]
		if q.Quantity == r.Quantity && q.Side != r.Side && !q.Quantity.bothSides() && q.Adjuster == r.Adjuster && q.sameStand(r, m.base) &&
			off(i, q.Value) < closeBy && off(k, r.Value) < closeBy {
			return Fault{SidesSwapped, i, fmt.Sprintf("%s: %s fits the %v side, and that side's %s fits this one; they look swapped", text, say(r.Value), q.Side, say(q.Value))}, true
		}
	}
	if off(i, -r.Value) < closeBy {
		return Fault{WrongSign, i, fmt.Sprintf("%s: %s would fit with its sign turned round; about %s was to be expected", text, say(r.Value), say(wants[i]))}, true
	}
	length := unit == Millimetre || r.Quantity == Toe || r.Quantity == TotalToe
	for _, s := range slips {
		if off(i, r.Value*s.factor) < closeBy && (s.inches && length || s.angles && unit == Radian) {
			return Fault{UnitMixUp, i, fmt.Sprintf("%s: %s looks %s; about %s was to be expected, so check its unit and its decimal point", text, say(r.Value), s.says, say(wants[i]))}, true
		}
	}
	return Fault{}, false
}

// screen compares every reading with what the numbers known before make of it,
// so that a whole column in the wrong unit is found as well.
func (m *model) screen() ([]Fault, error) {
	want, spread, err := m.foretell(m.start(), m.priorCov())
	if err != nil {
		return nil, err
	}
	var out []Fault
	for i := range m.Readings {
		if f, ok := m.explain(i, want, spread); ok {
			out = append(out, f)
		}
	}
	return out, nil
}

// suspect looks for the causes of a fit that does not fit: all sides swapped,
// or single readings that make sense once a slip is undone. It also refuses
// readings at one setting for a number that shows only when something moves.
// outliers are the readings, by index, that it had to set aside and by how many
// SDs they are off.
func (m *model) suspect(e *Estimate) (faults []Fault, outliers map[int]float64, err error) {
	if f, ok := m.oneSetting(e); ok {
		return []Fault{f}, nil, nil
	}
	bad := false
	for _, w := range e.Warnings {
		bad = bad || w.Code == OutlierFound || w.Code == Scatter || w.Code == PriorConflict || w.Code == NotConverged
	}
	if !bad {
		return nil, nil, nil
	}
	// 30 is a likelihood ratio of e^15.
	if s, err := m.solve(m.Readings, true); err == nil && s.Misfit+30 < e.Misfit {
		still := false
		for _, w := range s.Warnings {
			still = still || w.Code == OutlierFound || w.Code == Scatter
		}
		if !still {
			return []Fault{{SidesSwapped, -1, "the readings fit well with left and right exchanged, and badly as they are: the sides look swapped"}}, nil, nil
		}
	}
	left := make([]int, len(m.Readings)) // readings not yet set aside
	for i := range left {
		left[i] = i
	}
	outliers = map[int]float64{}
	for range 5 {
		worst := -1
		for k := range e.Rows {
			if e.Rows[k].Outlier && (worst < 0 || math.Abs(e.Rows[k].Studentised) > math.Abs(e.Rows[worst].Studentised)) {
				worst = k
			}
		}
		if worst < 0 || len(left) < 3 {
			break
		}
		i := left[worst]
		left = slices.Delete(left, worst, worst+1)
		readings := make([]Reading, len(left))
		for k, i := range left {
			readings[k] = m.Readings[i]
		}
		if e, err = m.solve(readings, false); err != nil {
			return nil, nil, err
		}
		want, spread, err := m.foretell(e.Value, e.Cov)
		if err != nil {
			return nil, nil, err
		}
		outliers[i] = math.Abs(m.Readings[i].Value-want[i]) / spread[i]
		if f, ok := m.explain(i, want, spread); ok {
			faults = append(faults, f)
		}
	}
	return faults, outliers, nil
}

// foretell returns what every reading should be with the parameters at b and
// their covariance, and how far a fresh reading may be from it.
func (m *model) foretell(b []float64, cov [][]float64) (want, spread []float64, err error) {
	n := len(m.Readings)
	want, spread = make([]float64, n), make([]float64, n)
	of := func(b, out []float64) error { return m.predict(m.Readings, m.zero, b, out) }
	if err := of(b, want); err != nil {
		return nil, nil, err
	}
	jac, err := m.gradients(b, n, of)
	if err != nil {
		return nil, nil, err
	}
	g := make([]float64, len(jac))
	for i := range spread {
		for j := range jac {
			g[j] = jac[j][i]
		}
		spread[i] = math.Sqrt(float64(m.Readings[i].SD*m.Readings[i].SD) + quadratic(cov, g, g))
	}
	return want, spread, nil
}

// oneSetting finds numbers that no reading bears on because nothing was moved.
func (m *model) oneSetting(e *Estimate) (Fault, bool) {
	for i := range m.Readings {
		if !m.Readings[i].sameStand(&m.Readings[0], m.base) {
			return Fault{}, false
		}
	}
	jac, err := m.gradients(e.Value, len(m.Readings), func(b, out []float64) error { return m.predict(m.Readings, m.zero, b, out) })
	if err != nil {
		return Fault{}, false
	}
	var silent []string
	for j, c := range jac {
		heard := false
		for i, d := range c {
			heard = heard || math.Abs(d)*m.Params[j].spread() > 1e-3*m.Readings[i].SD
		}
		if !heard {
			silent = append(silent, m.Params[j].text())
		}
	}
	if len(silent) == 0 {
		return Fault{}, false
	}
	return Fault{OneSetting, -1, fmt.Sprintf("all readings were taken at one setting, so they say nothing of %s; move an adjuster or the column and read again, or leave these out", list(silent))}, true
}
