package testday

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"strings"
	"unicode/utf8"

	"kartwright/advisor"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// RunSheet is what a mechanic needs for one run.
type RunSheet struct {
	Number  int
	Setup   Setup
	Name    string // of the setup
	Tyres   int
	NewSet  bool // other tyres than the run before
	Break   bool
	Minutes float64  // spanner time before the run
	Short   float64  // by how many minutes that is longer than the gap; 0 if it fits
	Turns   []string // what to turn, in the order of the work; empty for the setup as it is
	Check   []string // what the wheels measure afterwards
	State   State
	Value   float64 // of a run that is done
	Result  string  // of a run that is over: what became of it; nothing is left to turn for it
	Plan    *advisor.Plan
}

// Sheet works out the runs from index first on. After a run that was not driven
// the readings are there to be checked even if nothing is to be turned.
func (d *Day) Sheet(w *Work, first int, u geometry.Units) ([]RunSheet, error) {
	var out []RunSheet
	for i := first; i < len(d.Runs); i++ {
		r, on := d.Runs[i], d.On(i)
		s := RunSheet{Number: i + 1, Setup: r.Setup, Name: w.Say(r.Setup), Tyres: r.Tyres, Break: r.Break, State: r.State, Value: r.Value,
			NewSet: i > 0 && d.Runs[i-1].Tyres != r.Tyres, Result: d.Result(r)}
		if s.Result != "" {
			out = append(out, s)
			continue
		}
		s.Minutes = w.Minutes(on, r.Setup)
		if d.Gap > 0 && i > 0 && s.Minutes > d.Gap {
			s.Short = s.Minutes - d.Gap
		}
		var err error
		if s.Plan, s.Turns, s.Check, err = w.turn(on, r.Setup, u); err != nil {
			return nil, err
		}
		if len(s.Check) == 0 && w.Kart != nil && i > 0 && (d.Runs[i-1].State == Missed || d.Runs[i-1].State == Rain) {
			if s.Check, err = w.readings(r.Setup, u); err != nil {
				return nil, err
			}
		}
		out = append(out, s)
	}
	return out, nil
}

// turn says what is to be done from one setup to another, and what the wheels
// measure afterwards; the plan is nil if no adjuster moves.
func (w *Work) turn(from, to Setup, u geometry.Units) (p *advisor.Plan, turns, check []string, err error) {
	put, off := w.Loose(from, to)
	for _, c := range off {
		turns = append(turns, "Take off: "+c.Name)
	}
	for _, c := range put {
		turns = append(turns, "Put on: "+c.Name)
	}
	if p, err = w.Between(from, to); err != nil || p == nil || !p.Moved() {
		return nil, turns, nil, err
	}
	return p, append(turns, Turns(p, u)...), checks(p.After, u), nil
}

// readings says what both wheels should measure in a setup.
func (w *Work) readings(s Setup, u geometry.Units) ([]string, error) {
	set, err := w.Setting(s)
	if err != nil {
		return nil, err
	}
	f, err := w.Kart.Figures(set)
	if err != nil {
		return nil, err
	}
	return checks(f, u), nil
}

// PutBack says how the kart gets back to the base from how it stands now: what
// to turn, and what to check. Both are empty if it stands on the base.
func (d *Day) PutBack(w *Work, u geometry.Units) (turns, check []string, err error) {
	_, turns, check, err = w.turn(d.On(d.Next()), 0, u)
	return turns, check, err
}

// Stands says how the kart stands now: "on the base", "as for run 5, more caster".
func (d *Day) Stands() string {
	for i := d.Next() - 1; i >= 0; i-- {
		if r := d.Runs[i]; r.State == Done || r.Fitted {
			if r.Setup == 0 {
				break
			}
			return fmt.Sprintf("as for run %d, %s", i+1, d.Say(r.Setup))
		}
	}
	return "on the base"
}

// Result says what became of a run, "" of one that is still to come.
func (d *Day) Result(r Run) string {
	text := ""
	switch {
	case r.State == Planned:
		return ""
	case r.State == Done && len(r.Laps) > 0:
		sum, err := Summarise(r.Laps, d.Figure)
		if err != nil {
			return err.Error()
		}
		text = sum.Say(len(r.Laps))
	case r.State == Done:
		text = fmt.Sprintf("%.3f s.", r.Value)
	default:
		text = "missed"
		if r.State == Rain {
			text = "rained off"
		}
		if r.Why != "" {
			text += ", " + r.Why
		}
		if text += "; "; r.Fitted {
			text += "the kart was set up for it."
		} else {
			text += "the kart was not yet set up for it."
		}
	}
	if words := r.Words(); words != "" {
		text += " Driver: " + words + "."
	}
	return text
}

// Gone says how many of the day's runs are over: "2 of 8 runs driven, 1 missed".
func (d *Day) Gone() string {
	n := map[State]int{}
	for _, r := range d.Runs {
		n[r.State]++
	}
	text := fmt.Sprintf("%d of %s driven", n[Done], count(len(d.Runs), "run"))
	for _, s := range []State{Missed, Rain} {
		if n[s] > 0 {
			text += fmt.Sprintf(", %d %s", n[s], map[State]string{Missed: "missed", Rain: "rained off"}[s])
		}
	}
	return text
}

// Turns says what to turn, a line for each adjuster; once if both sides are
// alike, and the tie rods last.
func Turns(p *advisor.Plan, u geometry.Units) []string {
	var bySide [2][]string
	for _, s := range p.Sides {
		for _, m := range s.Worth() {
			bySide[s.Side] = append(bySide[s.Side], m.Name+": "+m.Adjuster.Move(m.From, m.To, u))
		}
	}
	if strings.Join(bySide[0], "\n") == strings.Join(bySide[1], "\n") {
		var out []string
		for _, t := range bySide[0] {
			out = append(out, "Each side, "+t)
		}
		return out
	}
	var out []string
	for s, list := range bySide {
		for _, t := range list {
			out = append(out, strings.ToUpper(frontend.Side(s).String()[:1])+frontend.Side(s).String()[1:]+", "+t)
		}
	}
	return out
}

// checks says what both wheels should measure.
func checks(both [2]frontend.Figures, u geometry.Units) []string {
	figure := func(f frontend.Figures) string {
		return fmt.Sprintf("caster %s, camber %s, toe %s", u.Angle(f.Caster), u.Angle(f.Camber), advisor.ToeText(f.Toe, u))
	}
	l, r := figure(both[0]), figure(both[1])
	if l == r {
		return []string{"Both sides: " + l}
	}
	return []string{"Left: " + l, "Right: " + r}
}

// Title heads a sheet.
func (d *Day) Title() string {
	out := "Test day"
	if d.Track != "" {
		out += ", " + d.Track
	}
	if d.Driver != "" {
		out += ", driver " + d.Driver
	}
	return out
}

// headLines say what a sheet is for.
func (d *Day) headLines(w *Work) []string {
	var out []string
	if w.Kart != nil {
		out = append(out, "Kart "+w.Kart.Name+". Plan: "+d.Plan+".")
	} else {
		out = append(out, "Plan: "+d.Plan+".")
	}
	for j, c := range d.Changes {
		parts := append(append([]string(nil), c.Wants...), c.Sets...)
		line := fmt.Sprintf("Change %d: %s", j+1, c.Name)
		if text := strings.Join(parts, ", "); text != "" && text != c.Name {
			line += " (" + text + ")"
		}
		out = append(out, line+".")
	}
	if d.Smallest > 0 {
		out = append(out, fmt.Sprintf("What matters: %.2f s.", d.Smallest))
	}
	return append(out, "Same driver, same pressures, same fuel, same number of laps in every run.")
}

// PrintText writes the sheet for printing, 80 columns wide, with boxes to tick
// and room for the lap times.
func (d *Day) PrintText(w *Work, runs []RunSheet) string {
	var b strings.Builder
	b.WriteString(d.Title() + "\n")
	for _, l := range d.headLines(w) {
		wrap(&b, "", l)
	}
	if safe := safety(runs); len(safe) > 0 {
		b.WriteString("\nTake care\n")
		for _, l := range safe {
			wrap(&b, "    ", "  - "+l)
		}
	}
	for _, r := range runs {
		b.WriteString("\n" + strings.Repeat("-", 80) + "\n")
		if r.Result != "" {
			wrap(&b, "    ", fmt.Sprintf("[x] Run %-3d %s", r.Number, strings.ToUpper(r.Name)))
			wrap(&b, "    ", fmt.Sprintf("    tyre set %d; %s", r.Tyres, r.Result))
			continue
		}
		line := fmt.Sprintf("[ ] Run %-3d %s", r.Number, strings.ToUpper(r.Name))
		wrap(&b, "    ", line)
		note := fmt.Sprintf("tyre set %d", r.Tyres)
		if r.NewSet {
			note += ": CHANGE TYRES"
		}
		if r.Minutes > 0 {
			note += fmt.Sprintf("; about %.0f min of spanner work", r.Minutes)
		}
		if r.Short > 0 {
			note += fmt.Sprintf(", %.0f min longer than the gap: start at once or leave a longer gap", r.Short)
		}
		wrap(&b, "    ", "    "+note)
		for _, t := range r.Turns {
			wrap(&b, "        ", "    [ ] "+t)
		}
		for _, c := range r.Check {
			wrap(&b, "        ", "    [ ] Check, toe last. "+c)
		}
		boxes := strings.Repeat("  ______", 8) + "\n"
		b.WriteString("    laps" + boxes + "        " + boxes)
		b.WriteString("    against base:  [ ] better  [ ] same  [ ] worse     words: ________________\n")
	}
	return b.String()
}

// wrap writes text broken at 80 columns, further lines after indent. Text
// that begins with spaces keeps them.
func wrap(b *strings.Builder, indent, text string) { wrapAt(b, indent, text, 80) }

func wrapAt(b *strings.Builder, indent, text string, width int) {
	lead := text[:len(text)-len(strings.TrimLeft(text, " "))]
	line, used := lead, utf8.RuneCountInString(lead)
	fresh := true
	for _, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		if !fresh && used+1+n > width {
			b.WriteString(line + "\n")
			line, used, fresh = indent, utf8.RuneCountInString(indent), true
		}
		if !fresh {
			line, used = line+" ", used+1
		}
		line, used, fresh = line+word, used+n, false
	}
	b.WriteString(line + "\n")
}

//go:embed sheet.html
var sheetHTML string

var sheetPage = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"capital": capital,
	"boxes":   func(n int) []struct{} { return make([]struct{}, n) },
}).Parse(sheetHTML))

// sheetView is what the sheet's template shows.
type sheetView struct {
	Title  string
	Head   []string
	Safety []string
	Runs   []RunSheet
}

// safety is what a sheet with anything to turn carries, once.
func safety(runs []RunSheet) []string {
	for i := range runs {
		if safe := runs[i].Safety(); len(safe) > 0 {
			return safe
		}
	}
	return nil
}

// PrintHTML writes the sheet as one page of HTML that needs nothing else, with
// a style for paper. Nothing in the day's texts can become mark-up.
func (d *Day) PrintHTML(w *Work, runs []RunSheet) ([]byte, error) {
	var b bytes.Buffer
	err := sheetPage.Execute(&b, sheetView{d.Title(), d.headLines(w), safety(runs), runs})
	return b.Bytes(), err
}

// SheetHTML is what PrintHTML has below its title, for a page with a style of
// its own.
func (d *Day) SheetHTML(w *Work, runs []RunSheet) (template.HTML, error) {
	var b bytes.Buffer
	err := sheetPage.ExecuteTemplate(&b, "body", sheetView{d.Title(), d.headLines(w), safety(runs), runs})
	return template.HTML(b.String()), err
}
