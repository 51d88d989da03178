package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/rules"
	"kartwright/rules/author"
)

type gapsOptions struct {
	rules    []string
	symptoms []string
	svg      string
	strict   bool
	all      bool
}

func (a *app) rulesGapsCommand() *cobra.Command {
	var o gapsOptions
	cmd := &cobra.Command{
		Use:   "gaps",
		Short: "Which situations the rules answer, and which they do not",
		Long: `gaps asks the rules about every complaint on every kind of track, grip and age of
tyres, one complaint at a time and in each phase in which it is reported, and
shows where they are silent or speak both ways. A cell shows the worst of its
phases:

  .  answered: a move is proposed (or a check, for a complaint that needs one)
  c  contested: the trade is split on a move, and the answer says so
  X  conflict: rules speak both ways about a move and nothing explains it
  -  silent: nothing is proposed`,
		Example: `  kartwright rules gaps
  kartwright rules gaps --rules club.toml --strict
  kartwright rules gaps --symptom hop --svg gaps.svg`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return a.runRulesGaps(o) },
	}
	rulesFlag(cmd, &o.rules)
	f := cmd.Flags()
	f.StringArrayVarP(&o.symptoms, "symptom", "s", nil, "only this `SYMPTOM`; may be repeated")
	f.StringVar(&o.svg, "svg", "", "also draw the table as a heat map into this `FILE`.svg")
	f.BoolVar(&o.strict, "strict", false, "exit with status 1 if a cell is silent or in unexplained conflict")
	f.BoolVar(&o.all, "all", false, "list every silent or conflicting situation, not only the first of them")
	return cmd
}

type caseJSON struct {
	Symptom string   `json:"symptom"`
	Phase   string   `json:"phase"`
	Track   string   `json:"track"`
	Grip    string   `json:"grip"`
	Tyres   string   `json:"tyres"`
	State   string   `json:"state" jsonschema:"enum=answered,enum=contested,enum=conflict,enum=silent"`
	Moves   []string `json:"moves" jsonschema_description:"on which the rules speak both ways"`
}

type rulesGapsJSON struct {
	Command   string     `json:"command"`
	Symptoms  []string   `json:"symptoms"`
	Answered  int        `json:"answered" jsonschema_description:"situations"`
	Contested int        `json:"contested"`
	Conflict  int        `json:"conflict"`
	Silent    int        `json:"silent"`
	Cases     []caseJSON `json:"cases" jsonschema_description:"every situation, each phase by itself"`
	SVG       string     `json:"svg,omitempty" jsonschema_description:"the file that was written"`
}

// marks are how states are shown in a cell.
var marks = map[author.State]string{author.Answered: ".", author.Contested: "c", author.Conflict: "X", author.Silent: "-"}

func (a *app) runRulesGaps(o gapsOptions) error {
	set, err := a.loadRules(o.rules)
	if err != nil {
		return err
	}
	for i, text := range o.symptoms {
		s, err := parseSymptom(set, text)
		if err != nil {
			return err
		}
		o.symptoms[i] = s.ID
	}
	s := author.TakeSurvey(set, func(w rules.SymptomWord) bool { return len(o.symptoms) == 0 || slices.Contains(o.symptoms, w.ID) })
	if o.svg != "" {
		if err := writeFile(o.svg, heatMap(&s)); err != nil {
			return err
		}
	}
	if a.json {
		out := rulesGapsJSON{"rules gaps", []string{}, s.Count[author.Answered], s.Count[author.Contested], s.Count[author.Conflict], s.Count[author.Silent], []caseJSON{}, o.svg}
		for _, w := range s.Symptoms {
			out.Symptoms = append(out.Symptoms, w.ID)
		}
		for _, c := range s.Cases {
			out.Cases = append(out.Cases, caseJSON{c.Symptom, c.Phase, c.Track, c.Grip, c.Tyres, c.State.String(), list(c.Moves)})
		}
		err = a.writeJSON(out)
	} else {
		a.printGaps(set, &s, o)
	}
	if bad := s.Count[author.Silent] + s.Count[author.Conflict]; err == nil && o.strict && bad > 0 {
		err = couldNot{fmt.Sprintf("%d situations are silent or in unexplained conflict", bad)}
	}
	return err
}

// tracksAbreast is how many kinds of track are printed side by side.
const tracksAbreast = 3

func (a *app) printGaps(set *rules.Set, s *author.Survey, o gapsOptions) {
	name := len("track")
	for _, w := range s.Symptoms {
		name = max(name, len(w.ID))
	}
	for tracks := range slices.Chunk(s.Tracks, tracksAbreast) {
		row := func(title string, cell func(track, grip string) string) {
			line := pad(title, name)
			for _, t := range tracks {
				line += " "
				for _, g := range s.Grip {
					line += " " + cell(t, g)
				}
			}
			a.printf("%s\n", strings.TrimRight(line, " "))
		}
		each := len(s.Grip) * (len(s.Tyres) + 1)
		line := pad("track", name)
		for _, t := range tracks {
			line += "  " + pad(t, each-1)
		}
		a.printf("%s\n", strings.TrimRight(line, " "))
		row("grip", func(_, g string) string { return pad(short(g, len(s.Tyres)), len(s.Tyres)) })
		row("tyres", func(_, _ string) string { return initials(s.Tyres) })
		for _, w := range s.Symptoms {
			row(w.ID, func(t, g string) string {
				out := ""
				for _, tyres := range s.Tyres {
					state, _ := s.Cell(w.ID, t, g, tyres)
					out += marks[state]
				}
				return out
			})
		}
		a.printf("\n")
	}
	a.printf(". answered   c contested   X unexplained conflict   - silent\n")
	a.para("", "Tyres, from left to right: "+strings.Join(s.Tyres, ", ")+".")
	a.para("", fmt.Sprintf("%d situations: %d answered, %d contested, %d in unexplained conflict, %d silent.", len(s.Cases),
		s.Count[author.Answered], s.Count[author.Contested], s.Count[author.Conflict], s.Count[author.Silent]))
	a.printOpenCases(set, s, o.all)
	if o.svg != "" {
		a.printf("Heat map: %s\n", o.svg)
	}
}

// short cuts a word that does not fit into n characters to one fewer, so that a
// space follows.
func short(word string, n int) string {
	r := []rune(word)
	if len(r) > n {
		r = r[:max(1, n-1)]
	}
	return string(r)
}

// initials returns the first letter of each word, in capitals where two begin
// alike: "nuwW".
func initials(words []string) string {
	out := ""
	for _, w := range words {
		c := short(w, 1)
		if strings.Contains(out, c) {
			c = strings.ToUpper(c)
		}
		out += c
	}
	return out
}

// mostCases is how many open situations are listed without --all.
const mostCases = 6

func (a *app) printOpenCases(set *rules.Set, s *author.Survey, all bool) {
	var open []author.Case
	for _, c := range s.Cases {
		if c.State == author.Silent || c.State == author.Conflict {
			open = append(open, c)
		}
	}
	if len(open) == 0 {
		return
	}
	a.heading("Silent or in conflict")
	for i, c := range open {
		if i == mostCases && !all {
			a.printf("  and %d more (--all)\n", len(open)-i)
			break
		}
		text := author.Describe(set.Vocabulary(), c.Facts) + ": "
		if c.State == author.Conflict {
			text += "conflict about " + strings.Join(c.Moves, ", ")
		} else {
			text += "silent"
			for j, n := range c.Near {
				if j == 2 {
					break
				}
				text += fmt.Sprintf("; %s wants %s %s", n.Rule, n.Key, n.Wants)
			}
		}
		a.para("  - ", text)
	}
	a.printf("'kartwright rules why' tells which rules speak in one of them.\n")
}
