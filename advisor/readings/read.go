package readings

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/fit"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

// Format is the version of the file format that this package reads.
const Format = 1

// File is what a readings file says.
type File struct {
	Kart     string    // the kart's name; empty if the file does not say
	Date     time.Time // when the readings were taken; zero if the file does not say
	Readings []Reading
	Zeros    []Zero
	Usual    []fit.Quantity // read without a stated ±, so that the usual one was taken

	accuracy map[fit.Quantity]float64 // stated ±, mm or radians
	start    source.Span
}

// Reading is one figure and its place in the file. Its Name is empty, and its SD
// is half of the ± that was stated or is usual.
type Reading struct {
	fit.Reading
	At source.Span
}

// Zero is a gauge whose readings may all be off by the same amount: what it
// shows when it should show nothing, and how well that is known.
type Zero struct {
	Quantity  fit.Quantity
	Value, SD float64 // mm or radians; one standard deviation
}

// line is a row as written, in whichever syntax.
type line struct {
	at    source.Span // of what it lacks
	cells []cell
}

type cell struct {
	key      string // as written
	text     string
	keyAt    source.Span
	at       source.Span
	unit     string // of a bare number, from the title of a CSV column
	unquoted bool   // a TOML number: text is its digits
}

type parser struct {
	kart   *profile.Kart
	file   *File
	report func(diag.Diagnostic)
}

// Parse reads a readings file of a kart: CSV if its name ends in .csv, otherwise
// TOML. The file is nil if any finding is an error.
func Parse(name string, data []byte, k *profile.Kart) (*File, []diag.Diagnostic) {
	var found tables.Reader
	p := &parser{kart: k, file: &File{accuracy: map[fit.Quantity]float64{}}, report: found.Report}
	if strings.HasSuffix(strings.ToLower(name), ".csv") {
		p.csv(name, data)
	} else if t, src := found.Read(name, data); t != nil {
		p.file.start = src.Start()
		p.toml(t)
	}
	out := found.Findings()
	if !diag.HasErrors(out) && len(p.file.Readings) == 0 {
		p.errorf(noReadings, p.file.start, "no reading is filled in")
		out = found.Findings()
	}
	if diag.HasErrors(out) {
		return nil, out
	}
	slices.Sort(p.file.Usual)
	return p.file, out
}

func (p *parser) errorf(code diag.Code, at source.Span, format string, args ...any) {
	p.report(diag.Errorf(code, at, format, args...))
}

func (p *parser) toml(t *tables.Table) {
	t.Need("a readings file", "format")
	if f, ok := t.Whole("format"); ok && f != Format {
		p.errorf(badFormat, t.Value("format"), "format is %d, expected %d", f, Format)
		return
	}
	t.Allow("format", "kart", "date", "note", "accuracy", "zero", "row")
	if name, ok := t.Text("kart"); ok && name != "" && name != p.kart.Name {
		p.report(diag.Errorf(otherKart, t.Value("kart"), "these readings are of kart %q, and the profile is of kart %q", name, p.kart.Name).WithHelp("name its profile with --kart, or correct the name if it is the same kart"))
	}
	p.file.Kart = p.kart.Name
	switch d := t.Data()["date"].(type) {
	case time.Time:
		p.file.Date = d
	default:
		if text, ok := t.Text("date"); ok && text != "" {
			p.date(text, t.Value("date"))
		}
	}
	if a := t.Table("accuracy"); a != nil {
		p.accuracy(tomlLine(a))
	}
	if z := t.Table("zero"); z != nil {
		p.zeros(tomlLine(z))
	}
	for _, r := range t.Tables("row") {
		p.row(tomlLine(r))
	}
}

func tomlLine(t *tables.Table) line {
	l := line{at: t.At}
	for _, key := range t.Keys() {
		c := cell{key: key, keyAt: t.Key(key), at: t.Value(key)}
		switch v := t.Data()[key].(type) {
		case string:
			c.text = v
		case int64, float64:
			c.text, c.unquoted = fmt.Sprint(v), true
		default:
			t.Text(key) // reports the wrong type
			continue
		}
		l.cells = append(l.cells, c)
	}
	return l
}

func (p *parser) date(text string, at source.Span) {
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		p.errorf(badDate, at, "%q is not a date; write year, month and day: 2026-05-31", text)
		return
	}
	p.file.Date = d
}

// quantity returns the word that a key of [accuracy] or [zero] names.
func (p *parser) quantity(c cell) (word, bool) {
	var keys []string
	for _, w := range words {
		if plain(w.key) == plain(c.key) {
			return w, true
		}
		keys = append(keys, w.key)
	}
	p.report(diag.Errorf(unknownKey, c.keyAt, "nothing is read under %q", c.key).WithHelp(orList(diag.DidYouMean(c.key, keys), keys)))
	return word{}, false
}

func orList(hint string, keys []string) string {
	if hint != "" {
		return hint
	}
	return "known are " + strings.Join(keys, ", ")
}

func (p *parser) accuracy(l line) {
	for _, c := range l.cells {
		w, ok := p.quantity(c)
		if !ok || c.text == "" {
			continue
		}
		v, _, ok := p.value(w, c)
		if ok && !(v > 0) {
			p.errorf(badSpread, c.at, "the ± of %s must be positive, not %s", w.key, c.text)
			continue
		}
		if ok {
			p.file.accuracy[w.quantity] = v
		}
	}
}

func (p *parser) zeros(l line) {
	for _, c := range l.cells {
		w, ok := p.quantity(c)
		if !ok || c.text == "" {
			continue
		}
		v, pm, ok := p.value(w, c)
		if ok && !(pm > 0) {
			p.report(diag.Errorf(badSpread, c.at, "the zero of the %s needs its ±: how far it may be off", w.instrument()).WithHelp(fmt.Sprintf("write %s = \"0 deg ± 0.3 deg\", or leave it out if the gauge is sure to be right", c.key)))
			continue
		}
		if ok {
			p.file.Zeros = append(p.file.Zeros, Zero{w.quantity, v, pm / Coverage})
		}
	}
}

// value reads a cell as a quantity.
func (p *parser) value(w word, c cell) (v, pm float64, ok bool) {
	v, pm, err := w.form.parse(withUnit(c))
	switch {
	case err != nil && c.unquoted:
		unit := map[bool]string{true: "mm", false: "deg"}[w.form == distance]
		p.report(diag.Errorf(badReading, c.at, "%s has no unit", c.key).WithHelp(fmt.Sprintf("write %s = \"%s %s\"", c.key, c.text, unit)))
	case err != nil:
		p.errorf(badReading, c.at, "%s: %v", c.key, err)
	case !finite(v) || !finite(pm):
		p.errorf(badReading, c.at, "%s: %q is too large", c.key, c.text)
	default:
		return v, pm, true
	}
	return 0, 0, false
}

// bare reports whether a cell holds a number, and perhaps its ±, without a unit.
func bare(text string) bool {
	for _, r := range text {
		if !strings.ContainsRune("0123456789+-−–.,/± ", r) {
			return false
		}
	}
	return strings.ContainsAny(text, "0123456789")
}

// meaning is what a key of a row stands for.
type meaning struct {
	side, column, held, note bool
	adjuster                 string // whose position, or whose depth gauge
	word                     *word  // a reading
}

// known are the adjusters of the kart, each name once.
func (p *parser) known() []string {
	var names []string
	for _, s := range frontend.Sides {
		for _, a := range p.kart.Corners[s].Adjusters {
			if !slices.Contains(names, a.Name) {
				names = append(names, a.Name)
			}
		}
	}
	return names
}

func (p *parser) meaning(key string, at source.Span) (meaning, bool) {
	name := plain(key)
	names := p.known()
	allowed := []string{sideKey, columnKey, heldKey}
	for _, n := range names {
		if plain(settingKey(n)) == name || setPrefix+plain(n) == name {
			return meaning{adjuster: n}, true
		}
		allowed = append(allowed, settingKey(n))
	}
	switch name {
	case sideKey:
		return meaning{side: true}, true
	case columnKey:
		return meaning{column: true}, true
	case plain(heldKey):
		return meaning{held: true}, true
	case noteKey:
		return meaning{note: true}, true
	}
	for i := range words {
		w := &words[i]
		if w.quantity == fit.Depth {
			for _, n := range names {
				if plain(depthKey(n)) == name {
					return meaning{adjuster: n, word: w}, true
				}
			}
			continue
		}
		if plain(w.key) == name {
			return meaning{word: w}, true
		}
		allowed = append(allowed, w.key)
	}
	for _, n := range names {
		if gauged(p.kart, n) {
			allowed = append(allowed, depthKey(n))
		}
	}
	p.report(diag.Errorf(unknownKey, at, "this kart has no adjuster %q, and nothing is read under that name", key).WithHelp(orList(diag.DidYouMean(key, allowed), allowed)))
	return meaning{}, false
}

// gauged reports whether an adjuster of that name shows on a depth gauge.
func gauged(k *profile.Kart, name string) bool {
	for _, s := range frontend.Sides {
		c := &k.Corners[s]
		if i := c.Index(name); i >= 0 {
			if g, ok := c.Adjusters[i].Adjuster.(adjust.Gauged); ok {
				if _, ok := g.Gauge(c.Adjusters[i].Standard()); ok {
					return true
				}
			}
		}
	}
	return false
}

// row reads one row.
func (p *parser) row(l line) {
	type entry struct {
		cell
		meaning
	}
	var entries []entry
	var side *cell
	taken, own := false, false // any reading; any of one side
	for i := range l.cells {
		c := l.cells[i]
		c.text = strings.TrimSpace(c.text)
		m, ok := p.meaning(c.key, c.keyAt)
		if !ok {
			continue
		}
		if m.side {
			side = &c
		}
		if m.word != nil && c.text != "" {
			taken = true
			own = own || !m.word.both()
		}
		entries = append(entries, entry{c, m})
	}
	if !taken {
		return
	}
	var on []frontend.Side
	switch {
	case side == nil && !own, side != nil && plain(side.text) == "both":
		on = frontend.Sides[:]
	case side == nil || side.text == "":
		at := l.at
		if side != nil && side.at.End > side.at.Start {
			at = side.at
		}
		p.report(diag.Errorf(badSide, at, "this row does not say which side was read").WithHelp("write left or right under side; total_toe and front_track stand in a row whose side is both"))
		return
	case plain(side.text) == "left":
		on = frontend.Sides[:1]
	case plain(side.text) == "right":
		on = frontend.Sides[1:]
	default:
		p.errorf(badSide, side.at, "side is %q, expected left, right or both", side.text)
		return
	}
	r := fit.Reading{Side: on[0]}
	ok := true
	for _, s := range frontend.Sides {
		r.Setting[s] = p.kart.Corners[s].Standard()
	}
	var steered *cell
	for i := range entries {
		e := &entries[i]
		if e.text == "" {
			continue
		}
		switch {
		case e.word != nil, e.side, e.note:
		case e.column, e.held:
			v, _, err := turned.parse(withUnit(e.cell))
			if err != nil {
				p.errorf(badStand, e.at, "%s: %v", e.key, err)
				ok = false
			} else if steered != nil {
				p.report(diag.Errorf(badStand, e.keyAt, "the steering is given twice, by the column and by the wheel").WithNote(steered.keyAt, "first here"))
				ok = false
			}
			steered = &e.cell
			if e.held {
				r.AtSteer, r.Steer = true, geometry.Angle(v)
			} else {
				r.Column = geometry.Angle(v)
			}
		default:
			ok = p.position(&r, on, e.adjuster, e.cell) && ok
		}
	}
	if !ok {
		return
	}
	for _, e := range entries {
		if e.word == nil || e.text == "" {
			continue
		}
		if e.word.both() != (len(on) == 2) {
			if e.word.both() {
				p.errorf(badSide, e.keyAt, "%s is of both wheels; give it a row whose side is both", e.key)
			} else {
				p.errorf(badSide, e.keyAt, "%s is of one side; write left or right under side", e.key)
			}
			continue
		}
		p.reading(r, *e.word, e.adjuster, e.cell)
	}
}

// withUnit is a cell's text, with the unit of its column if it has none.
func withUnit(c cell) string {
	if bare(c.text) && c.unit != "" {
		return c.text + " " + c.unit
	}
	return c.text
}

// position sets an adjuster of a row's sides. The other side, on which no reading
// of the row depends, is taken to stand alike if it can, so that the two sides of
// one stand can be told to belong together.
func (p *parser) position(r *fit.Reading, on []frontend.Side, name string, c cell) bool {
	for _, s := range on {
		corner := &p.kart.Corners[s]
		i := corner.Index(name)
		if i < 0 {
			p.errorf(badStand, c.keyAt, "the %v side has no %s", s, name)
			return false
		}
		v, err := corner.Adjusters[i].Read(c.text)
		if err != nil {
			p.errorf(badStand, c.at, "%s: %v", name, err)
			return false
		}
		r.Setting[s][i] = v
		if len(on) == 1 {
			other := &p.kart.Corners[1-s]
			if o := other.Index(name); o >= 0 && other.Adjusters[o].Travel().Clamp(v) == v {
				r.Setting[1-s][o] = v
			}
		}
	}
	return true
}

// reading adds a reading taken as r says.
func (p *parser) reading(r fit.Reading, w word, adjuster string, c cell) {
	v, pm, ok := p.value(w, c)
	if !ok {
		return
	}
	if w.quantity == fit.Depth && !gauged(p.kart, adjuster) {
		p.report(diag.Errorf(badReading, c.keyAt, "%s has no depth gauge in the profile", adjuster).WithHelp("give it gauge = \"…\", the reading at standard"))
		return
	}
	if pm == 0 {
		stated := false
		if pm, stated = p.file.accuracy[w.quantity]; !stated {
			pm = w.usualPM()
			if !slices.Contains(p.file.Usual, w.quantity) {
				p.file.Usual = append(p.file.Usual, w.quantity)
			}
		}
	}
	r.Quantity, r.Value, r.SD = w.quantity, v, pm/Coverage
	if w.quantity == fit.Depth {
		r.Adjuster = adjuster
	}
	if slices.ContainsFunc(p.file.Zeros, func(z Zero) bool { return z.Quantity == w.quantity }) {
		r.Instrument = w.instrument()
	}
	p.file.Readings = append(p.file.Readings, Reading{r, c.at})
}
