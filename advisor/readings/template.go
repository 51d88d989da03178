package readings

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/fit"
	"kartwright/geometry/frontend"
)

// stand is how the kart stands for one block of a template.
type stand struct {
	title   string
	setting [2]adjust.Setting
	column  string // "" = straight ahead
	read    []string
}

// stands returns what is worth reading on a kart: standard, each adjuster alone
// near both ends of its travel, and the column turned.
func stands(k *profile.Kart) []stand {
	straight := []string{"camber", "toe", "caster"}
	for _, n := range gauges(k) {
		straight = append(straight, depthKey(n))
	}
	out := []stand{{"Everything at standard, wheels straight ahead", k.Standard(), "", straight}}
	for _, way := range []string{"left", "right"} {
		r := fit.Reading{Quantity: fit.Camber, Column: lock}
		if way == "right" {
			r.Column = -lock
		}
		if _, err := r.Of(&k.Corners); err == nil {
			out = append(out, stand{"The same, column turned " + way, k.Standard(), fmt.Sprintf("%.0f deg %s", lock.Degrees(), way), []string{"camber", "steer"}})
		}
	}
	type place struct {
		name string
		p    float64
	}
	var places []place
	for _, s := range frontend.Sides {
		for _, a := range k.Corners[s].Adjusters {
			for _, p := range ends(a) {
				if !slices.Contains(places, place{a.Name, p}) {
					places = append(places, place{a.Name, p})
				}
			}
		}
	}
	for _, pl := range places {
		st := stand{setting: k.Standard(), read: straight}
		var at []string
		for _, s := range frontend.Sides {
			if i := k.Corners[s].Index(pl.name); i >= 0 {
				a := k.Corners[s].Adjusters[i]
				st.setting[s][i] = a.Travel().Clamp(pl.p)
				if text := a.Print(st.setting[s][i], geometry.Units{}); !slices.Contains(at, text) {
					at = append(at, text)
				}
				if a.Part() == adjust.OnStub && !slices.Contains(st.read, "height") {
					st.read = append(slices.Clone(straight), "height")
				}
			}
		}
		st.title = "Only the " + pl.name + " moved: " + strings.Join(at, " left, ")
		if len(at) > 1 {
			st.title += " right"
		}
		if _, err := k.Figures(st.setting); err == nil {
			out = append(out, st)
		}
	}
	return out
}

// ends are two positions of an adjuster far from standard, a quarter round for
// one that comes round again, and at most four of a list.
func ends(a adjust.Named) []float64 {
	t := a.Travel()
	if t.Fixed() || a.Part() == adjust.OnRod {
		return nil // toe shows what the tie rod does; it is left alone
	}
	from, to := t.Min+(t.Max-t.Min)/6, t.Max-(t.Max-t.Min)/6
	switch _, wraps := a.Adjuster.(adjust.Wraps); {
	case wraps:
		quarter := (t.Max - t.Min + t.Step) / 4
		from, to = a.Standard()-quarter, a.Standard()+quarter
	case t.Step > 0:
		from, to = t.Min, t.Max
	default: // quarter turns are easily counted
		from, to = roundTo(from, 0.25), roundTo(to, 0.25)
	}
	list := []float64{from, to}
	if l, ok := a.Adjuster.(adjust.Listed); ok {
		list = nil
		n := len(l.Positions())
		for i := 0; i < n; i += max(1, (n+3)/4) {
			list = append(list, float64(i))
		}
	}
	var out []float64
	for _, p := range list {
		if p = t.Clamp(p); p != a.Standard() && !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out
}

func roundTo(v, step float64) float64 {
	return adjust.Travel{Min: v - step, Max: v + step, Step: step}.Clamp(v)
}

// gauges are the adjusters with a depth gauge.
func gauges(k *profile.Kart) []string {
	p := parser{kart: k}
	return slices.DeleteFunc(p.known(), func(n string) bool { return !gauged(k, n) })
}

// Template returns a readings file for a kart with nothing filled in, and how many
// rows it has.
func Template(k *profile.Kart, asCSV bool) (text string, rows int) {
	list := stands(k)
	if asCSV {
		return csvTemplate(k, list), 2 * len(list)
	}
	var b strings.Builder
	fmt.Fprintf(&b, `# What was read on kart %s, to learn its dimensions from.
#
# Put each reading between the quotes, with its unit: "-0.6 deg", "1 mm out over
# 255 mm". What is left empty was not read; leave out, add and repeat rows as you
# like. An adjuster that a row does not name stands at standard. Move one thing at
# a time, and the same on both sides; leave the tie rods alone.
format = %d
kart = %s
date = ""   # of the readings: "2026-05-31"

# How far a reading may be off, nineteen times out of twenty. What stands here are
# usual values: put what you reach. A single reading may say its own,
# "-0.6 deg ± 0.1 deg". Delete the line of a gauge that you do not have.
[accuracy]
`, k.Name, Format, strconv.Quote(k.Name))
	depths := gauges(k)
	for _, w := range words {
		if w.quantity == fit.Depth && depths == nil {
			continue
		}
		lead := ""
		if !slices.ContainsFunc(list, func(s stand) bool {
			return slices.ContainsFunc(s.read, func(key string) bool {
				return key == w.key || w.quantity == fit.Depth && strings.HasSuffix(key, " depth")
			})
		}) {
			lead = "# "
		}
		fmt.Fprintf(&b, "%s%s # %s\n", lead, padTo(fmt.Sprintf("%s = %q", w.key, w.usualText()), 24-len(lead)), w.doc)
	}
	b.WriteString(`
# A gauge that may be off by the same amount every time: what it shows when it
# should show nothing, and how far that may be wrong. It is learnt with the rest.
[zero]
# camber = "0 deg ± 0.3 deg"
`)
	for n, st := range list {
		fmt.Fprintf(&b, "\n# %d. %s.\n", n+1, st.title)
		for _, s := range frontend.Sides {
			fmt.Fprintf(&b, "[[row]]\nside = %q\n", s.String())
			for i, a := range k.Corners[s].Adjusters {
				if !a.Travel().Fixed() && a.Part() != adjust.OnRod {
					fmt.Fprintf(&b, "%s = %q\n", tomlKey(settingKey(a.Name)), a.Print(st.setting[s][i], geometry.Units{}))
				}
			}
			if st.column != "" {
				fmt.Fprintf(&b, "column = %q\n", st.column)
			}
			for _, key := range st.read {
				if !readable(k, s, key) {
					continue
				}
				fmt.Fprintf(&b, "%s = \"\"\n", tomlKey(key))
			}
		}
	}
	return b.String(), 2 * len(list)
}

// readable reports whether a side has what a key reads.
func readable(k *profile.Kart, s frontend.Side, key string) bool {
	for _, n := range gauges(k) {
		if key == depthKey(n) {
			return k.Corners[s].Index(n) >= 0
		}
	}
	return true
}

func csvTemplate(k *profile.Kart, list []stand) string {
	p := parser{kart: k}
	titles := []string{sideKey}
	var names []string
	for _, n := range p.known() {
		for _, s := range frontend.Sides {
			if i := k.Corners[s].Index(n); i >= 0 && !k.Corners[s].Adjusters[i].Travel().Fixed() {
				names = append(names, n)
				titles = append(titles, settingKey(n))
				break
			}
		}
	}
	titles = append(titles, columnKey)
	accuracy := make([]string, len(titles))
	accuracy[0] = "±"
	read := []string{}
	for _, st := range list {
		for _, key := range st.read {
			if slices.Contains(read, key) {
				continue
			}
			read = append(read, key)
			w := wordOf(fit.Depth)
			if i := slices.IndexFunc(words, func(w word) bool { return w.key == key }); i >= 0 {
				w = words[i]
			}
			titles = append(titles, key+" ("+w.csv+")")
			accuracy = append(accuracy, w.usualText())
		}
	}
	titles = append(titles, noteKey)
	var b strings.Builder
	fmt.Fprintf(&b, `# What was read on kart %s, to learn its dimensions from. Fill in the numbers.
# An empty cell was not read; leave out, add and repeat rows as you like. Move one
# thing at a time, and the same on both sides; leave the tie rods alone.
# The first row says how far a reading may be off, nineteen times out of twenty.
# toe is of one wheel, + = toe-in; camber + = top outward; steer + = left.
`, k.Name)
	w := csv.NewWriter(&b)
	rows := [][]string{titles, append(accuracy, "usual values: put what you reach")}
	for _, st := range list {
		for _, s := range frontend.Sides {
			row := []string{s.String()}
			for _, n := range names {
				at := ""
				if i := k.Corners[s].Index(n); i >= 0 {
					at = k.Corners[s].Adjusters[i].Print(st.setting[s][i], geometry.Units{})
				}
				row = append(row, at)
			}
			row = append(row, st.column)
			rows = append(rows, append(row, make([]string, len(read)+1)...))
		}
	}
	_ = w.WriteAll(rows) // a strings.Builder never fails
	return b.String()
}

// usualText is the usual ± with its unit.
func (w word) usualText() string {
	unit := map[bool]string{true: "mm", false: "deg"}[w.form == distance]
	return strconv.FormatFloat(w.usual, 'f', -1, 64) + " " + unit
}

func padTo(s string, n int) string { return s + strings.Repeat(" ", max(0, n-len(s))) }

// tomlKey quotes a key that TOML does not take bare.
func tomlKey(key string) string {
	for _, r := range key {
		if r != '_' && r != '-' && (r < '0' || r > '9') && (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') {
			return strconv.Quote(key)
		}
	}
	return key
}
