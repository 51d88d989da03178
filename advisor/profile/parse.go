package profile

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

// spec is a profile as written, ready to be built into a kart, as often as
// somebody asks what a slightly different kart would do.
type spec struct {
	name, note, class string
	measured          map[string]measure // by path
	byPoints          bool
	adjusters         []adjusterSpec
	present           [2]map[string]position
	limits            []Limit
	cornerAt, massAt  source.Span

	// resolved are the dimensions of each side once the first build has found
	// them, so that a kart can be varied thousands of times.
	resolved [2][]resolved
}

// resolved is a dimension of one side: where it comes from and its value.
type resolved struct {
	put   func(*frontend.Dimensions, float64)
	path  string
	value float64
}

type measure struct {
	value, pm float64 // as unit.stored says
	at        source.Span
}

type adjusterSpec struct {
	name, kind string
	on         [2]bool
	raw        map[string]any
	table      *tables.Table
}

type position struct {
	text string
	at   source.Span
}

// Parse reads a profile. The kart is nil if any finding is an error.
func Parse(name string, data []byte) (*Kart, []diag.Diagnostic) {
	var r tables.Reader
	t, _ := r.Read(name, data)
	if t == nil {
		return nil, r.Findings()
	}
	p := parser{reader: &r, spec: &spec{measured: map[string]measure{}}}
	p.file(t)
	if found := r.Findings(); diag.HasErrors(found) {
		return nil, found
	}
	b := builder{spec: p.spec, report: r.Report}
	k := b.build()
	if k != nil {
		k.root = k
		p.checkLoads(k)
		p.checkLimits(k)
	}
	if found := r.Findings(); diag.HasErrors(found) {
		return nil, found
	}
	return k, r.Findings()
}

type parser struct {
	reader *tables.Reader
	spec   *spec
	limits []source.Span // of spec.limits
}

func (p *parser) errorf(code diag.Code, at source.Span, format string, args ...any) {
	p.reader.Report(diag.Errorf(code, at, format, args...))
}

func (p *parser) file(t *tables.Table) {
	t.Need("a profile", "format", "name")
	if f, ok := t.Whole("format"); ok && f != Format {
		if f > Format {
			p.reader.Report(diag.Errorf(newerFormat, t.Value("format"), "this profile has format %d, newer than %d, which is the newest that this kartwright knows", f, Format).WithHelp("update kartwright"))
		} else {
			p.errorf(newerFormat, t.Value("format"), "format is %d, expected %d", f, Format)
		}
		return
	}
	t.Allow("format", "name", "note", "kart", "corner", "steering", "points", "mass", "adjuster", "present", "limits", "class")
	p.spec.name, _ = t.Text("name")
	p.spec.note, _ = t.Text("note")
	p.spec.cornerAt = t.At
	p.dimensions(t, "kart", "kart")
	if t.Has("points") {
		for _, other := range []string{"corner", "steering"} {
			if t.Has(other) {
				p.errorf(twoForms, t.Key(other), "the corners are given by [points] already")
			}
		}
		p.spec.byPoints = true
		p.spec.cornerAt = t.Key("points")
		p.points(t.Table("points"))
	} else {
		if t.Has("corner") {
			p.spec.cornerAt = t.Key("corner")
		}
		p.dimensions(t, "corner", "corner")
		p.dimensions(t, "steering", "steering")
	}
	p.mass(t)
	for _, a := range t.Tables("adjuster") {
		p.adjuster(a)
	}
	p.present(t.Table("present"))
	p.limitTable(t.Table("limits"), false)
	if c := t.Table("class"); c != nil {
		p.spec.class, _ = c.Text("name")
		p.limitTable(c, true)
	}
}

// dimensions reads the dimensions of one table, and of its left and right
// parts if it is the corner's.
func (p *parser) dimensions(top *tables.Table, name, path string) {
	t := top.Table(name)
	if t == nil {
		return
	}
	var keys []string
	for _, d := range dimensions {
		if d.table != name {
			continue
		}
		keys = append(keys, d.key)
		p.dimension(t, d, path)
	}
	if name == "corner" {
		for _, s := range frontend.Sides {
			side := t.Table(s.String())
			if side == nil {
				continue
			}
			for _, d := range dimensions {
				if d.table == name {
					p.dimension(side, d, path+"."+s.String())
				}
			}
			side.Allow(keys...)
		}
		keys = append(keys, frontend.Left.String(), frontend.Right.String())
	}
	t.Allow(keys...)
}

func (p *parser) dimension(t *tables.Table, d dimension, path string) {
	text, ok := p.quantityText(t, d.key, d.unit)
	if !ok {
		return
	}
	m, err := parseMeasure(text, d.unit)
	if err != nil {
		p.errorf(badQuantity, t.Value(d.key), "%s: %v", d.key, err)
		return
	}
	m.at = t.Value(d.key)
	if v := m.value / d.unit.stored(); v < d.lo || v > d.hi {
		unit := d.unit.sign()
		p.errorf(implausible, m.at, "%s of %s%s is not a kart's; expected %s%s to %s%s", d.key, trim(math.Round(v*100)/100), unit, trim(d.lo), unit, trim(d.hi), unit)
		return
	}
	p.spec.measured[path+"."+d.key] = m
}

// quantityText returns the text of a quantity and explains a bare number.
func (p *parser) quantityText(t *tables.Table, key string, u unit) (string, bool) {
	if !t.Has(key) {
		return "", false
	}
	switch v := t.Data()[key].(type) {
	case string:
		return v, true
	case int64, float64:
		p.reader.Report(diag.Errorf(badQuantity, t.Value(key), "%s has no unit", key).WithHelp(fmt.Sprintf("write %s = \"%v %s\"", key, v, u.word())))
	default:
		p.errorf(badQuantity, t.Value(key), "%s must be text in quotes with a unit", key)
	}
	return "", false
}

func parseMeasure(text string, u unit) (measure, error) {
	if read, ok := loadUnits[u]; ok {
		m, err := read(text)
		return measure{value: m.Value, pm: m.PM}, err
	}
	switch u {
	case lengthUnit:
		m, err := geometry.ParseMeasuredLength(text)
		return measure{value: float64(m.Value), pm: float64(m.PM)}, err
	case toeUnit:
		m, err := frontend.ParseToe(text)
		return measure{value: float64(m.Value), pm: float64(m.PM)}, err
	}
	m, err := geometry.ParseMeasuredAngle(text)
	return measure{value: float64(m.Value), pm: float64(m.PM)}, err
}

// pointNames are the points of a corner, with what they are.
var pointNames = []struct{ key, doc string }{
	{"lower_pivot", "middle of the lower kingpin bush"},
	{"upper_pivot", "middle of the upper kingpin bush"},
	{"wheel_centre", "where the stub axle's line meets the middle plane of the tyre"},
	{"stub_point", "another point of the stub axle's line, further inboard"},
	{"arm_joint", "tie-rod joint on the steering arm"},
	{"lug", "tie-rod joint on the column's lug"},
	{"column_lower", "a point of the steering column's axis"},
	{"column_upper", "another, further up"},
}

func (p *parser) points(t *tables.Table) {
	if t == nil {
		return
	}
	var keys []string
	for _, n := range pointNames {
		keys = append(keys, n.key)
	}
	t.Need("a corner by points", keys...)
	read := func(t *tables.Table, path string) {
		for _, key := range keys {
			if !t.Has(key) {
				continue
			}
			texts := t.Texts(key)
			if len(texts) != 3 {
				p.errorf(badQuantity, t.Value(key), "%s must be three lengths, [\"x\", \"y\", \"z\"]: x forward, y to the left, z up", key)
				continue
			}
			for i, text := range texts {
				m, err := parseMeasure(text.Text, lengthUnit)
				if err != nil {
					p.errorf(badQuantity, text.At, "%s: %v", key, err)
					continue
				}
				m.at = text.At
				p.spec.measured[fmt.Sprintf("%s.%s[%d]", path, key, i)] = m
			}
		}
	}
	read(t, "points")
	if right := t.Table("right"); right != nil {
		read(right, "points.right")
		right.Allow(keys...)
	}
	t.Allow(append(keys, "right")...)
}

func (p *parser) adjuster(t *tables.Table) {
	if !t.Need("an adjuster", "name", "kind") {
		return
	}
	name, _ := t.Text("name")
	kindName, ok := t.Text("kind")
	if !ok {
		return
	}
	var names []string
	for _, k := range adjust.Kinds() {
		names = append(names, k.Name)
	}
	kind, ok := adjust.KindNamed(kindName)
	if !ok {
		p.reader.Report(diag.Errorf(unknownKind, t.Value("kind"), "%q is not a kind of adjuster", kindName).WithHelp(diag.DidYouMean(kindName, names)))
		return
	}
	a := adjusterSpec{name: name, kind: kindName, on: [2]bool{true, true}, table: t, raw: t.Data()}
	if side, ok := t.Text("side"); ok {
		switch side {
		case "both":
		case "left":
			a.on[frontend.Right] = false
		case "right":
			a.on[frontend.Left] = false
		default:
			p.errorf(badAdjuster, t.Value("side"), "side is %q, expected \"both\", \"left\" or \"right\"", side)
		}
	}
	keys := []string{"name", "kind", "side"}
	for _, f := range kind.Fields {
		keys = append(keys, f.Name)
		if f.Required {
			t.Need("an adjuster of kind "+kindName, f.Name)
		}
	}
	t.Allow(keys...)
	for _, b := range p.spec.adjusters {
		for _, s := range frontend.Sides {
			if a.on[s] && b.on[s] && a.name == b.name {
				p.reader.Report(diag.Errorf(doubleName, t.Value("name"), "there is another %q on the %v side", name, s).WithNote(b.table.Value("name"), "the first one"))
				return
			}
		}
	}
	p.spec.adjusters = append(p.spec.adjusters, a)
}

func (p *parser) present(t *tables.Table) {
	p.spec.present = [2]map[string]position{{}, {}}
	if t == nil {
		return
	}
	read := func(t *tables.Table, sides ...frontend.Side) {
		for _, key := range t.Keys() {
			if key == "left" || key == "right" {
				continue
			}
			var on []frontend.Side
			var known []string
			for _, a := range p.spec.adjusters {
				known = append(known, a.name)
				for _, s := range sides {
					if a.name == key && a.on[s] {
						on = append(on, s)
					}
				}
			}
			text, ok := t.Text(key)
			if !ok {
				continue
			}
			if len(on) == 0 {
				p.reader.Report(diag.Errorf(unknownName, t.Key(key), "there is no adjuster %q here", key).WithHelp(diag.DidYouMean(key, known)))
				continue
			}
			for _, s := range on {
				p.spec.present[s][key] = position{text, t.Value(key)}
			}
		}
	}
	read(t, frontend.Sides[:]...)
	for _, s := range frontend.Sides {
		if side := t.Table(s.String()); side != nil {
			read(side, s)
		}
	}
}

func (p *parser) limitTable(t *tables.Table, class bool) {
	if t == nil {
		return
	}
	kinds := map[string]unit{"caster": angleUnit, "camber": angleUnit, "toe": toeUnit, "front_track": lengthUnit, "wheelbase": lengthUnit}
	allowed := []string{}
	for k := range kinds {
		allowed = append(allowed, k)
	}
	sort.Strings(allowed)
	if class {
		allowed = append(allowed, "name")
	}
	t.Allow(allowed...)
	for _, key := range t.Keys() {
		u, ok := kinds[key]
		if !ok {
			continue
		}
		texts := t.Texts(key)
		if len(texts) != 2 {
			p.errorf(badLimit, t.Value(key), "the limit of %s must be two values, the least and the most", key)
			continue
		}
		l := Limit{Of: Limited(key), Class: class}
		bad := false
		for i, into := range []*float64{&l.Lo, &l.Hi} {
			m, err := parseMeasure(texts[i].Text, u)
			if err != nil {
				p.errorf(badQuantity, texts[i].At, "%s: %v", key, err)
				bad = true
			}
			*into = m.value
		}
		if bad {
			continue
		}
		if l.Lo > l.Hi {
			p.errorf(badLimit, t.Value(key), "the limit of %s runs backwards: %s is more than %s", key, texts[0].Text, texts[1].Text)
			continue
		}
		p.spec.limits = append(p.spec.limits, l)
		p.limits = append(p.limits, t.Value(key))
	}
}

// checkLimits warns of a kart that stands outside its limits already.
func (p *parser) checkLimits(k *Kart) {
	f, err := k.Figures(k.Present)
	if err != nil {
		return // reported by build
	}
	for i, l := range k.Limits {
		say := func(side string, v float64) {
			if v < l.Lo-1e-9 || v > l.Hi+1e-9 {
				text := geometry.Angle(v).String()
				if l.Of == LimitTrack || l.Of == LimitWheelbase {
					text = geometry.Length(v).String()
				}
				p.reader.Report(diag.Warnf(outsideLimit, p.limits[i], "%s%s is %s now, outside %s (%s)", side, strings.ReplaceAll(string(l.Of), "_", " "), text, l.Whose(k), l.Text(geometry.Units{})))
			}
		}
		for _, s := range frontend.Sides {
			switch l.Of {
			case LimitCaster:
				say(s.String()+" ", float64(f[s].Caster))
			case LimitCamber:
				say(s.String()+" ", float64(f[s].Camber))
			case LimitToe:
				say(s.String()+" ", float64(f[s].Toe))
			}
		}
		switch l.Of {
		case LimitTrack:
			say("", float64(FrontTrack(f)))
		case LimitWheelbase:
			say("", float64(k.Axle.Wheelbase))
		}
	}
}

// builder makes a kart from its spec, reporting what is impossible.
type builder struct {
	spec   *spec
	nudge  map[string]float64
	base   *Kart // of the same spec: what no nudge touches is taken from it
	report func(diag.Diagnostic)

	kart   *Kart
	failed bool
	noted  map[string]bool
}

func (b *builder) fail(code diag.Code, at source.Span, format string, args ...any) {
	b.failed = true
	if b.report != nil {
		b.report(diag.Errorf(code, at, format, args...))
	}
}

func (b *builder) build() *Kart {
	s := b.spec
	b.kart = &Kart{root: b.base, Name: s.name, Note: s.note, Class: s.class, Limits: s.limits, spec: s, nudge: b.nudge}
	b.noted = map[string]bool{}
	wheelbase := b.number(dimensionNamed("kart", "wheelbase"), "kart")
	b.kart.Axle.Wheelbase = geometry.Length(wheelbase.Value + b.nudge[wheelbase.Path])
	for _, side := range frontend.Sides {
		front, err := b.corner(side)
		if err != nil {
			b.fail(impossible, s.cornerAt, "%v side: %v", side, err)
			return nil
		}
		b.kart.Axle.Corner[side] = front
		c := adjust.Corner{Side: side, Front: front}
		if b.base != nil {
			c.Adjusters = b.base.Corners[side].Adjusters
		}
		if b.base == nil || b.nudgesAdjuster() {
			c.Adjusters = nil
			for _, a := range s.adjusters {
				if a.on[side] {
					if adj := b.adjuster(a, side); adj != nil {
						c.Adjusters = append(c.Adjusters, adjust.Named{Name: a.name, Adjuster: adj})
					}
				}
			}
		}
		b.kart.Corners[side] = c
	}
	if b.failed {
		return nil
	}
	for _, side := range frontend.Sides {
		c := &b.kart.Corners[side]
		if b.base != nil && !b.nudgesAdjuster() {
			b.kart.Present[side] = b.base.Present[side]
			continue
		}
		set := c.Standard()
		for i, a := range c.Adjusters {
			if pos, ok := s.present[side][a.Name]; ok {
				v, err := a.Read(pos.text)
				if err != nil {
					b.fail(badPosition, pos.at, "%v side, %s: %v", side, a.Name, err)
					continue
				}
				set[i] = v
			}
		}
		b.kart.Present[side] = set
		if b.failed {
			continue
		}
		if _, err := c.Figures(set); err != nil {
			b.fail(impossible, s.cornerAt, "as it stands now, %v", err)
		}
	}
	if b.failed {
		return nil
	}
	if b.base != nil {
		b.kart.Numbers = b.base.Numbers
	}
	return b.kart
}

// nudgesAdjuster reports whether a number of an adjuster is nudged.
func (b *builder) nudgesAdjuster() bool {
	for path := range b.nudge {
		if strings.HasPrefix(path, "adjuster ") {
			return true
		}
	}
	return false
}

func dimensionNamed(table, key string) dimension {
	i := slices.IndexFunc(dimensions, func(d dimension) bool { return d.table == table && d.key == key })
	return dimensions[i]
}

// number returns a dimension, without its nudge: from the first of the paths
// that the file gives, or assumed.
func (b *builder) number(d dimension, paths ...string) Number {
	path := paths[len(paths)-1] + "." + d.key
	n := Number{Path: path, Doc: d.doc, Value: d.usual * d.unit.stored(), PM: d.spread * d.unit.stored(), Angle: d.unit.angle(), Assumed: true}
	for _, p := range paths {
		if m, ok := b.spec.measured[p+"."+d.key]; ok {
			n.Path, n.Value, n.PM, n.Assumed = p+"."+d.key, m.value, m.pm, false
			break
		}
	}
	b.note(n)
	return n
}

func (b *builder) note(n Number) {
	if b.base != nil {
		return // the numbers are the root's
	}
	if !b.noted[n.Path] {
		b.noted[n.Path] = true
		b.kart.Numbers = append(b.kart.Numbers, n)
	}
}

func (b *builder) corner(side frontend.Side) (frontend.Corner, error) {
	if b.spec.byPoints {
		return b.cornerFromPoints(side)
	}
	var d frontend.Dimensions
	if b.base != nil {
		for _, r := range b.spec.resolved[side] {
			r.put(&d, r.value+b.nudge[r.path])
		}
		return d.Corner()
	}
	for _, dim := range dimensions {
		if dim.put == nil {
			continue
		}
		paths := []string{dim.table}
		if dim.table == "corner" {
			paths = []string{"corner." + side.String(), "corner"}
		}
		n := b.number(dim, paths...)
		dim.put(&d, n.Value+b.nudge[n.Path])
		b.spec.resolved[side] = append(b.spec.resolved[side], resolved{dim.put, n.Path, n.Value})
	}
	return d.Corner()
}

func (b *builder) cornerFromPoints(side frontend.Side) (frontend.Corner, error) {
	v := map[string]geometry.Vec{}
	for _, pt := range pointNames {
		path, mirror := "points."+pt.key, false
		if side == frontend.Right {
			if _, ok := b.spec.measured["points.right."+pt.key+"[0]"]; ok {
				path, mirror = "points.right."+pt.key, true // in the kart's own axes, y to the left
			}
		}
		var x [3]float64
		for i := range x {
			p := fmt.Sprintf("%s[%d]", path, i)
			m := b.spec.measured[p]
			b.note(Number{Path: p, Doc: pt.doc, Value: m.value, PM: m.pm})
			x[i] = m.value + b.nudge[p]
		}
		v[pt.key] = geometry.Vec{X: x[0], Y: x[1], Z: x[2]}
		if mirror {
			v[pt.key] = v[pt.key].MirrorY()
		}
	}
	radius := b.number(dimensionNamed("kart", "tyre_radius"), "kart")
	c := frontend.Corner{
		Bottom: v["lower_pivot"], Top: v["upper_pivot"], WheelCentre: v["wheel_centre"],
		Spindle: v["wheel_centre"].Sub(v["stub_point"]), ArmJoint: v["arm_joint"], Lug: v["lug"],
		ColumnPoint: v["column_lower"], ColumnAxis: v["column_upper"].Sub(v["column_lower"]),
		TyreRadius: geometry.Length(radius.Value + b.nudge[radius.Path]),
	}
	return c, c.Complete()
}

func (b *builder) adjuster(a adjusterSpec, side frontend.Side) adjust.Adjuster {
	kind, _ := adjust.KindNamed(a.kind)
	prefix := fmt.Sprintf("adjuster %q.", a.name)
	v := &adjust.Values{Side: side, Raw: a.raw, Nudge: map[string]float64{}}
	for path, d := range b.nudge {
		if f, ok := strings.CutPrefix(path, prefix); ok {
			v.Nudge[f] = d
		}
	}
	adj := kind.Build(v)
	for _, e := range v.Errors {
		b.fail(badAdjuster, a.table.Place(e.Field), "%s: %v", a.name, e)
	}
	if len(v.Errors) > 0 {
		return nil
	}
	for _, q := range v.Quantities {
		doc := ""
		for _, f := range kind.Fields {
			if f.Name == q.Field {
				doc = f.Doc
			}
		}
		n := Number{Path: prefix + q.Field, Doc: doc, Value: q.Value, PM: q.PM, Angle: q.Angle}
		if q.Ratio {
			n.Unit = RatioUnit
		}
		b.note(n)
	}
	return adj
}
