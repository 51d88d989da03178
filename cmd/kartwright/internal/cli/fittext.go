package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"kartwright/advisor/profile"
	"kartwright/advisor/readings"
	"kartwright/geometry"
	"kartwright/geometry/fit"
)

// within counts the readings that lie within their ± of the fitted kart.
func (x *fitted) within() int {
	n := 0
	for _, r := range x.Rows {
		if math.Abs(r.Residual) <= readings.Coverage*r.SD {
			n++
		}
	}
	return n
}

// fitPM prints a standard deviation as a ±.
func (a *app) fitPM(u fit.Unit, sd float64) string {
	return "± " + a.fitAmount(u, readings.Coverage*sd)
}

// fitAmount prints a positive amount, one that would print as nothing as less than
// the last digit.
func (a *app) fitAmount(u fit.Unit, v float64) string {
	if text := u.Text(v, a.units); v == 0 || strings.ContainsAny(text, "123456789") {
		return text
	}
	return "under " + u.Text(lastDigit(u), a.units)
}

// lastDigit is the last digit that is printed of a unit.
func lastDigit(u fit.Unit) float64 {
	if u == fit.Radian {
		return 0.01 * float64(geometry.Degree)
	}
	return 0.01
}

// fitWarnings are what may be doubted about a fit, with every ± about 95 % sure.
func (a *app) fitWarnings(x *fitted) []fit.Warning {
	var out []fit.Warning
	warn := func(code fit.Code, format string, args ...any) {
		out = append(out, fit.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	say := func(u fit.Unit, v float64) string { return u.Text(v, a.units) }
	if x.again {
		warn("counted-twice", "the profile has learnt from a file of this name already, and readings that count twice make the ± too narrow: put new readings into a new file")
	}
	outliers := false
	for i, r := range x.Rows {
		if outliers = outliers || r.Outlier; r.Outlier {
			rd := x.file.Readings[i]
			u := rd.Quantity.Unit()
			warn(fit.OutlierFound, "%s reads %s, and the fitted kart would show %s: read it again, or take it out (%s)", r.Name, say(u, r.Observed), say(u, r.Predicted), rd.At)
		}
	}
	for _, w := range x.Warnings {
		switch {
		case w.Code == fit.Scatter && !outliers: // else that is why
			warn(w.Code, "the readings scatter %.1f times as much as their ± allow: state a wider ±, look for play, or write a ± behind a number that is taken as exact", math.Sqrt(x.Misfit/float64(x.DF)))
		case w.Code == fit.NotConverged:
			warn(w.Code, "%s: the numbers are not to be trusted", w.Text)
		}
	}
	for _, p := range x.Params {
		if math.Abs(p.Value-p.Param.Value) > 3*p.Param.SD {
			warn(fit.PriorConflict, "the %s comes out at %s, far from the %s %s that was known before: check the one or the other", p.Doc, say(p.Unit, p.Value), say(p.Unit, p.Param.Value), a.fitPM(p.Unit, p.Param.SD))
		}
	}
	return out
}

func (a *app) printFit(x *fitted, apart []string, next *nextReadings) {
	a.para("Kart "+x.kart.Name+": ", fmt.Sprintf("%d readings, %d numbers to learn. %d readings lie within their ± of the fitted kart (about %d would by chance).", len(x.Rows), len(x.Params), x.within(), int(math.Round(0.95*float64(len(x.Rows))))))
	warnings := a.fitWarnings(x)
	if len(warnings) > 0 || len(x.notes) > 0 {
		a.heading("Look at this first")
		for _, n := range x.notes {
			a.para("  - ", n.String())
		}
		for _, w := range warnings {
			a.para("  - ", sentence(w.Text))
		}
	}
	a.printNumbers(x)
	a.printAnswers(x)
	if len(apart) > 0 {
		a.heading("What these readings cannot tell apart")
		for _, s := range apart {
			a.para("  - ", s)
		}
	}
	if next != nil && len(next.lessons) > 0 {
		a.heading(fmt.Sprintf("What to read next, for the %ss on the %s; now ± %s", next.answer.Step, next.answer.Side, twoDigits(readings.Coverage*next.known.SD)))
		a.printLessons(next)
	}
	a.printTable(x)
}

// printNumbers prints what was learnt, number by number.
func (a *app) printNumbers(x *fitted) {
	name := 0
	var little []string
	for _, p := range x.Params {
		if taught(p) {
			name = max(name, utf8.RuneCountInString(p.Doc))
		} else {
			little = append(little, p.Doc)
		}
	}
	a.heading("Numbers: before → now")
	for i, p := range x.Params {
		if !taught(p) {
			continue
		}
		note := ""
		if i < len(x.learn) && x.learn[i].Assumed {
			note = " (was assumed)"
		}
		a.para("  "+pad(p.Doc, name+2), p.Unit.Text(p.Param.Value, a.units)+" "+a.fitPM(p.Unit, p.Param.SD)+" → "+p.Unit.Text(p.Value, a.units)+" "+a.fitPM(p.Unit, p.SD)+note)
	}
	if name == 0 {
		a.printf("  nothing was learnt\n")
	}
	if len(little) > 0 {
		a.para("  ", "The readings say little of the "+sayList(little)+": what was known before still holds.")
	}
	if len(x.exact) > 0 {
		exact := x.exact
		if len(exact) > 6 {
			exact = append(append([]string{}, exact[:5]...), fmt.Sprintf("%d more", len(x.exact)-5))
		}
		a.para("  ", "Taken as exact, because the profile gives no ±: "+sayList(exact)+". Write a ± behind one that may be wrong.")
	}
	if len(x.file.Usual) > 0 {
		var names []string
		for _, q := range x.file.Usual {
			names = append(names, q.String())
		}
		a.para("  ", "The file states no ± for "+sayList(names)+", so the usual one was taken.")
	}
}

// sayList joins words as a sentence does.
func sayList(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

// stepsText prints how far an adjuster goes, v positions from where it stands, and
// how sure that is.
func stepsText(q readings.Answer, k *profile.Kart, v, sd float64) string {
	pm := readings.Coverage * sd
	text := "± " + fmt.Sprintf("%.2f", pm)
	if pm < 0.005 {
		text = "± under 0.01"
	}
	c := &k.Corners[q.Side]
	adj := c.Adjusters[c.Index(q.Adjuster)]
	if q.Step == "turn" && math.Abs(v) >= 0.005 {
		// "0.55 turns tighter" with its ± behind the number.
		number, rest, _ := strings.Cut(adj.Print(adj.Standard()+v, geometry.Units{}), " ")
		return number + " " + text + " " + rest
	}
	return fmt.Sprintf("%+.2f %s %ss", v, text, q.Step)
}

func (a *app) byText(q readings.Answer) string {
	if q.Figure.IsLength() {
		return a.units.LengthBy(geometry.Length(q.By)) + " of " + q.Figure.String()
	}
	return a.units.AngleBy(geometry.Angle(q.By)) + " of " + q.Figure.String()
}

// printAnswers prints how far the adjuster goes for a usual change.
func (a *app) printAnswers(x *fitted) {
	if len(x.Answers) == 0 {
		return
	}
	a.heading("To turn for " + a.byText(x.answers[0]) + ": before → now")
	signed := false
	for i, v := range x.Answers {
		q := x.answers[i]
		a.para("  "+pad(q.Side.String(), 7)+pad(q.Adjuster, 16)+" ", stepsText(q, x.kart, v.Prior, v.PriorSD)+" → "+stepsText(q, x.kart, v.Value, v.SD))
		signed = signed || q.Step == "hole" || q.Step == "degree"
	}
	if signed {
		a.para("  ", "+ turns the mark toward outboard. Parts of a hole tell how sure the choice between two holes is.")
	}
}

// printLessons prints what further readings would teach.
func (a *app) printLessons(n *nextReadings) {
	for i, l := range n.lessons {
		a.para("  "+pad(itoa(i+1)+".", 4), fmt.Sprintf("%s; should read about %s; then ± %s %ss", l.Text, l.Reading.Quantity.Unit().Text(l.Expected, a.units), twoDigits(readings.Coverage*l.SD), n.answer.Step))
	}
}

// twoDigits prints a ± to two significant digits.
func twoDigits(v float64) string {
	return strconv.FormatFloat(v, 'f', max(0, 1-int(math.Floor(math.Log10(v)))), 64)
}

func (a *app) printFitNext(x *fitted, n *nextReadings) {
	a.para("Kart "+x.kart.Name+": ", fmt.Sprintf("with %d readings, %s on the %s takes %s of the %s.", len(x.Rows), a.byText(n.answer), n.answer.Side, stepsText(n.answer, x.kart, n.known.Value, n.known.SD), n.answer.Adjuster))
	if len(n.lessons) == 0 {
		a.para("", "No single reading of the sorts in this file would make that noticeably surer.")
		return
	}
	a.heading("What to read next, the best first; now ± " + twoDigits(readings.Coverage*n.known.SD) + " " + n.answer.Step + "s")
	a.printLessons(n)
	a.para("", "Each is counted alone. Add it to the file and ask again.")
}

// printTable prints every reading against the fitted kart, row by row of the
// file.
func (a *app) printTable(x *fitted) {
	a.heading("Readings of " + x.name)
	cell := func(s string) string { return strings.Repeat(" ", max(0, 10-utf8.RuneCountInString(s))) + s }
	a.printf("  %5s%s%s%s%s  %s\n", "line", cell("read"), cell("fitted"), cell("off by"), cell("±"), "what")
	last := ""
	for i, r := range x.Rows {
		rd := x.file.Readings[i]
		if stand := a.standText(x.kart, rd.Reading); stand != last {
			a.para("  ", stand)
			last = stand
		}
		u := rd.Quantity.Unit()
		line, _ := rd.At.Position()
		mark := "  "
		if r.Outlier {
			mark = " !"
		}
		off := a.units.AngleBy(geometry.Angle(r.Residual))
		if u == fit.Millimetre {
			off = a.units.LengthBy(geometry.Length(r.Residual))
		}
		what := rd.Quantity.String()
		if rd.Adjuster != "" {
			what += " of " + rd.Adjuster
		}
		a.para(fmt.Sprintf("  %5d%s%s%s%s%s", line, cell(u.Text(r.Observed, a.units)), cell(u.Text(r.Predicted, a.units)), cell(off), cell(a.fitAmount(u, readings.Coverage*r.SD)), mark), what)
	}
}

// standText says which side was read and how it stood.
func (a *app) standText(k *profile.Kart, r fit.Reading) string {
	side := r.Side.String()
	if r.Quantity == fit.TotalToe || r.Quantity == fit.Track {
		side = "both"
	}
	var at []string
	for i, adj := range k.Corners[r.Side].Adjusters {
		if p := r.Setting[r.Side][i]; p != adj.Standard() {
			at = append(at, adj.Name+" at "+adj.Print(p, a.units))
		}
	}
	if len(at) == 0 {
		at = []string{"standard"}
	}
	way := func(v geometry.Angle) string {
		if v < 0 {
			return a.units.Angle(-v) + " right"
		}
		return a.units.Angle(v) + " left"
	}
	switch {
	case r.AtSteer:
		at = append(at, "wheel steered "+way(r.Steer))
	case r.Column != 0:
		at = append(at, "column "+way(r.Column))
	}
	return side + ": " + strings.Join(at, ", ")
}

// printFitWritten prints what --write did.
func (a *app) printFitWritten(o fitOptions, x *fitted, changes []profile.Change, doubt string) {
	switch {
	case !o.write && doubt == "" && len(x.edits()) > 0:
		a.printf("\n")
		a.para("", "Nothing was written; --write puts what was learnt into the profile.")
	case !o.write || doubt != "":
	case len(changes) == 0:
		a.heading("Nothing to write: the profile says it already")
	default:
		a.heading("Written to " + a.kartName(o.kart))
		for _, c := range changes {
			was := "was not there"
			if c.Was != "" {
				was = "was " + c.Was
			}
			a.para("  - ", c.Path+" = "+c.Now+" ("+was+")")
		}
		a.para("  ", "Old values stay above the new ones as comments. The ± of a number alone is wider than what is known of several together.")
	}
}
