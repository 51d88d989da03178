package cli

import (
	"cmp"
	"sort"
	"strings"

	"github.com/invopop/jsonschema"
	"github.com/spf13/cobra"

	"kartwright/rules/diag"
)

// The answers of the smaller commands; those of advise are in adviceview.go,
// of a plan in view.go.

type failureJSON struct {
	Code     string        `json:"code" jsonschema:"enum=usage,enum=file,enum=could-not" jsonschema_description:"what kind of failure: exit status 2, 3 or 1"`
	Message  string        `json:"message" jsonschema_description:"a sentence that says what to do"`
	Findings []findingJSON `json:"findings,omitempty" jsonschema_description:"what is wrong with files, in order of place"`
}

type findingJSON struct {
	File      string     `json:"file"`
	Line      int        `json:"line" jsonschema_description:"from 1"`
	Column    int        `json:"column" jsonschema_description:"in characters, from 1"`
	EndLine   int        `json:"endLine"`
	EndColumn int        `json:"endColumn"`
	Severity  string     `json:"severity" jsonschema:"enum=error,enum=warning"`
	Code      string     `json:"code" jsonschema_description:"the kind of finding, for good"`
	Message   string     `json:"message"`
	Help      string     `json:"help,omitempty" jsonschema_description:"what to write instead"`
	Related   []noteJSON `json:"related,omitempty" jsonschema_description:"other places that took part"`
}

type noteJSON struct {
	File    string `json:"file"`
	Line    int    `json:"line"`
	Column  int    `json:"column"`
	Message string `json:"message"`
}

func viewFindings(found []diag.Diagnostic) []findingJSON {
	out := []findingJSON{}
	for _, d := range found {
		line, col := d.At.Position()
		endLine, endCol := d.At.EndPosition()
		f := findingJSON{d.At.File.Name, line, col, endLine, endCol, d.Severity.String(), string(d.Code), d.Message, d.Help, nil}
		for _, n := range d.Related {
			line, col := n.At.Position()
			f.Related = append(f.Related, noteJSON{n.At.File.Name, line, col, n.Message})
		}
		out = append(out, f)
	}
	return out
}

// workJSON is the answer of dial and whatif.
type workJSON struct {
	Command string      `json:"command"`
	Kart    string      `json:"kart"`
	Plan    *planJSON   `json:"plan"`
	Steer   []steerJSON `json:"steer,omitempty" jsonschema_description:"with --steer"`
	Card    string      `json:"card,omitempty" jsonschema_description:"with --card: the file that was written"`
}

type kartCheckJSON struct {
	Command  string        `json:"command"`
	Kart     string        `json:"kart"`
	Findings []findingJSON `json:"findings"`
	Assumed  []string      `json:"assumed" jsonschema_description:"numbers that the profile leaves out"`
}

type numberJSON struct {
	Path    string `json:"path"`
	Text    string `json:"text"`
	Assumed bool   `json:"assumed"`
	Meaning string `json:"meaning"`
}

type adjusterJSON struct {
	Side      string   `json:"side" jsonschema:"enum=left,enum=right"`
	Name      string   `json:"name"`
	Now       string   `json:"now"`
	Standard  string   `json:"standard"`
	Least     string   `json:"least" jsonschema_description:"lower end of its travel"`
	Most      string   `json:"most" jsonschema_description:"upper end of its travel"`
	Positions []string `json:"positions,omitempty" jsonschema_description:"named positions, if it has them"`
}

type kartShowJSON struct {
	Command   string                 `json:"command"`
	Kart      string                 `json:"kart"`
	Note      string                 `json:"note"`
	Now       map[string]figuresJSON `json:"now" jsonschema_description:"by side"`
	Standard  map[string]figuresJSON `json:"standard" jsonschema_description:"by side"`
	Track     float64                `json:"front_track_mm"`
	Adjusters []adjusterJSON         `json:"adjusters"`
	Numbers   []numberJSON           `json:"numbers"`
	Limits    []string               `json:"limits"`
	Steer     []steerJSON            `json:"steer,omitempty" jsonschema_description:"with --steer"`
}

type fieldJSON struct {
	Name     string   `json:"name"`
	Required bool     `json:"required"`
	Choices  []string `json:"choices,omitempty"`
	Doc      string   `json:"doc"`
	Example  string   `json:"example" jsonschema_description:"as TOML"`
}

type kindJSON struct {
	Name   string      `json:"name"`
	Doc    string      `json:"doc"`
	Fields []fieldJSON `json:"fields"`
}

type kartKindsJSON struct {
	Command string     `json:"command"`
	Kinds   []kindJSON `json:"kinds"`
}

type kartNewJSON struct {
	Command string `json:"command"`
	File    string `json:"file"`
	Kart    string `json:"kart"`
	Assumed int    `json:"assumed" jsonschema_description:"how many numbers the profile leaves to be assumed"`
}

type rulesCheckJSON struct {
	Command  string        `json:"command"`
	Rules    int           `json:"rules"`
	Files    int           `json:"files"`
	Findings []findingJSON `json:"findings"`
	Model    []claimJSON   `json:"model,omitempty" jsonschema_description:"with --model: every effect that a rule relies on, on every kart"`
}

type resultJSON struct {
	Name     string   `json:"name"`
	Place    string   `json:"place"`
	Passed   bool     `json:"passed"`
	Failures []string `json:"failures" jsonschema_description:"what was found and what was wanted"`
	Causes   []string `json:"causes" jsonschema_description:"the rules behind the failures, each with its place"`
}

type rulesTestJSON struct {
	Command string       `json:"command"`
	Passed  int          `json:"passed"`
	Failed  int          `json:"failed"`
	Results []resultJSON `json:"results"`
}

type symptomJSON struct {
	ID         string   `json:"id"`
	Title      string   `json:"title"`
	Means      string   `json:"means"`
	Phases     []string `json:"phases"`
	CheckFirst bool     `json:"check_first" jsonschema_description:"answered with a check of the kart, never with a setting"`
}

type rulesSymptomsJSON struct {
	Command  string        `json:"command"`
	Symptoms []symptomJSON `json:"symptoms"`
}

// answers are the JSON answers by command.
var answers = map[string]any{
	"advise":          adviceJSON{},
	"dial":            workJSON{},
	"whatif":          workJSON{},
	"hear":            hearJSON{},
	"kart check":      kartCheckJSON{},
	"kart show":       kartShowJSON{},
	"kart kinds":      kartKindsJSON{},
	"kart new":        kartNewJSON{},
	"rules check":     rulesCheckJSON{},
	"rules test":      rulesTestJSON{},
	"rules symptoms":  rulesSymptomsJSON{},
	"rules explain":   rulesExplainJSON{},
	"rules why":       rulesWhyJSON{},
	"rules gaps":      rulesGapsJSON{},
	"rules list":      rulesListJSON{},
	"rules new":       rulesNewJSON{},
	"rules diff":      rulesDiffJSON{},
	"learn":           learnJSON{},
	"learn try":       tryJSON{},
	"learn quiz":      quizJSON{},
	"fit template":    fitTemplateJSON{},
	"fit run":         fitJSON{},
	"fit next":        fitNextJSON{},
	"measure laser":   measureJSON{},
	"measure widths":  measureJSON{},
	"measure line":    measureJSON{},
	"measure incline": measureJSON{},
	"measure plumb":   measureJSON{},
	"measure sweep":   measureJSON{},
	"measure lock":    measureJSON{},
	"measure gauge":   measureJSON{},
	"measure centre":  measureJSON{},
	"measure scales":  measureJSON{},
	"measure check":   measureCheckJSON{},
	"log add":         logEntriesJSON{},
	"log outcome":     logEntriesJSON{},
	"log show":        logEntriesJSON{},
	"log learned":     logLearnedJSON{},
	"log strike":      logEntriesJSON{},
	"log compare":     logCompareJSON{},
	"log undo":        logWorkJSON{},
	"log standard":    logWorkJSON{},
	"log export":      logFileJSON{},
	"log import":      logFileJSON{},
	"log backup":      logFileJSON{},
	"day plan":        dayPlanJSON{},
	"day next":        dayNextJSON{},
	"day verdict":     dayVerdictJSON{},
	"serve":           serveJSON{},
	"page":            pageJSON{},
	"failure":         failureJSON{},
}

// schemaOf returns the JSON Schema of an answer.
func schemaOf(name string) *jsonschema.Schema {
	r := jsonschema.Reflector{Anonymous: true, AllowAdditionalProperties: true}
	s := r.Reflect(answers[name])
	s.Title = "kartwright " + name
	return s
}

func (a *app) schemaCommand() *cobra.Command {
	var names []string
	for n := range answers {
		names = append(names, n)
	}
	sort.Strings(names)
	return &cobra.Command{
		Use:     "schema COMMAND",
		Short:   "Print the JSON Schema of a command's --json answer",
		Long:    "schema prints the JSON Schema of what a command answers with --json; 'failure' is\nthe object on standard error when any of them fails. Commands:\n\n  " + strings.Join(names, "\n  "),
		Example: "  kartwright schema advise\n  kartwright schema rules check",
		RunE: func(_ *cobra.Command, args []string) error {
			name := strings.Join(args, " ")
			if _, ok := answers[name]; !ok {
				return usagef("there is no answer %q; %s", name, cmp.Or(diag.DidYouMean(name, names), "they are "+strings.Join(names, ", ")))
			}
			return a.writeJSON(schemaOf(name))
		},
	}
}
