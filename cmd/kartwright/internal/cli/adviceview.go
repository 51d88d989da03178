package cli

import (
	"kartwright/advisor"
	"kartwright/advisor/complaint"
	"kartwright/geometry"
	"kartwright/rules"
)

type factsJSON struct {
	Symptoms []string `json:"symptoms"`
	Track    string   `json:"track,omitempty"`
	Grip     string   `json:"grip,omitempty"`
	Tyres    string   `json:"tyres,omitempty"`
	Wet      string   `json:"wet"`
}

type checkJSON struct {
	Text  string   `json:"text"`
	Rules []string `json:"rules"`
}

type refusalJSON struct {
	Move    string   `json:"move"`
	Title   string   `json:"title"`
	Reasons []string `json:"reasons"`
}

type flipJSON struct {
	Key     string       `json:"condition"`
	Symptom string       `json:"symptom,omitempty"`
	Was     string       `json:"was"`
	To      string       `json:"to"`
	Bound   int          `json:"bound"`
	Text    string       `json:"text"`
	Changes []changeJSON `json:"changes"`
}

type changeJSON struct {
	Move string `json:"move"`
	Was  string `json:"was,omitempty"`
	Now  string `json:"now"`
}

type conditionJSON struct {
	Key   string  `json:"condition"`
	Wants string  `json:"wants"`
	Has   string  `json:"has,omitempty"`
	Grade float64 `json:"grade"`
}

type accountJSON struct {
	Rule       string          `json:"rule"`
	Place      string          `json:"place"`
	Fired      bool            `json:"fired"`
	Near       bool            `json:"near"`
	Grade      float64         `json:"grade"`
	Learned    float64         `json:"learned"`
	Support    float64         `json:"support"`
	Record     string          `json:"record,omitempty" jsonschema_description:"with a journal: how often it helped"`
	Conditions []conditionJSON `json:"conditions"`
}

type adviceJSON struct {
	Command      string            `json:"command"`
	Kart         string            `json:"kart"`
	Stands       *standsJSON       `json:"stands,omitempty" jsonschema_description:"with a journal: where the kart stands"`
	Heard        *complaint.Report `json:"heard,omitempty" jsonschema_description:"with a text: what was understood of it, as hear prints it"`
	Understood   factsJSON         `json:"understood"`
	Status       string            `json:"status" jsonschema:"enum=advice,enum=check first,enum=undecided,enum=no advice" jsonschema_description:"what kind of answer this is"`
	Checks       []checkJSON       `json:"checks" jsonschema_description:"to be looked at before the front end is touched"`
	Uneven       []string          `json:"uneven" jsonschema_description:"figures in which the two sides differ already"`
	Unusual      []string          `json:"unusual" jsonschema_description:"figures that are far out as the kart stands, to be set right first"`
	Equal        *planJSON         `json:"equal" jsonschema:"nullable" jsonschema_description:"what would make the right side like the left, if the adjusters can do it"`
	First        *suggestionJSON   `json:"first" jsonschema:"nullable" jsonschema_description:"the one change to try first"`
	MovedDown    string            `json:"moved_down,omitempty" jsonschema_description:"the change that is not first because it failed before under the same conditions"`
	Alternatives []*suggestionJSON `json:"alternatives" jsonschema_description:"next changes, best first"`
	Refused      []refusalJSON     `json:"refused" jsonschema_description:"changes that the rules want and this kart cannot make, or should not make"`
	Undecided    []verdictJSON     `json:"undecided" jsonschema_description:"moves with as much for as against"`
	Verdicts     []verdictJSON     `json:"verdicts" jsonschema_description:"every move on which a rule spoke"`
	Missing      []flipJSON        `json:"missing" jsonschema_description:"what would change or create advice if it were said"`
	Turning      []flipJSON        `json:"turning" jsonschema_description:"what would turn the advice round if it were otherwise"`
	Trace        []accountJSON     `json:"trace,omitempty" jsonschema_description:"with --why or --log: every rule, fired or not"`
	Logged       string            `json:"logged,omitempty" jsonschema_description:"with --log: ID of the journal's entry"`
	Card         string            `json:"card,omitempty" jsonschema_description:"with --card: the file that was written"`
}

func viewAdvice(adv *advisor.Advice, heard *complaint.Report, sure *advisor.Sureness, notes []string, accounts []rules.Account, u geometry.Units) adviceJSON {
	voc := adv.Request.Rules.Vocabulary()
	words := moveWords(adv)
	f := adv.Request.Facts
	out := adviceJSON{
		Command: "advise", Heard: heard, Kart: adv.Request.Kart.Name, Status: string(adv.Status),
		Understood: factsJSON{Symptoms: []string{}, Track: f.Track, Grip: voc.Grip.Format(f.Grip), Tyres: voc.Tyres.Format(f.Tyres), Wet: f.Wet.String()},
		Checks:     []checkJSON{}, Uneven: list(adv.Uneven), Unusual: list(adv.Unusual), Equal: viewPlan(adv.Equal, nil, nil, u), First: viewSuggestion(adv.First, sure, notes, u), Alternatives: []*suggestionJSON{},
		Refused: []refusalJSON{}, Undecided: []verdictJSON{}, Verdicts: []verdictJSON{},
		Missing: viewFlips(voc, adv.Missing), Turning: viewFlips(voc, adv.Turning),
	}
	for _, s := range f.Symptoms {
		out.Understood.Symptoms = append(out.Understood.Symptoms, s.String())
	}
	for _, c := range adv.Checks {
		out.Checks = append(out.Checks, checkJSON{c.Text, list(c.Rules)})
	}
	for i := range adv.Alternatives {
		out.Alternatives = append(out.Alternatives, viewSuggestion(&adv.Alternatives[i], nil, nil, u))
	}
	for _, r := range adv.Refused {
		out.Refused = append(out.Refused, refusalJSON{r.Move.ID, r.Title, list(r.Reasons)})
	}
	for _, v := range adv.Undecided {
		out.Undecided = append(out.Undecided, viewVerdict(v, words[v.Move]))
	}
	for _, v := range adv.Verdicts {
		if len(v.Fired) > 0 {
			out.Verdicts = append(out.Verdicts, viewVerdict(v, words[v.Move]))
		}
	}
	for _, acc := range accounts {
		j := accountJSON{Rule: acc.Rule.ID, Place: acc.Rule.Place, Fired: acc.Fired, Near: acc.Near, Grade: round(acc.Grade), Learned: round(acc.Learned), Support: round(acc.Support), Conditions: []conditionJSON{}}
		for _, c := range acc.Conditions {
			j.Conditions = append(j.Conditions, conditionJSON{c.Key, c.Wants, c.Has, round(c.Grade)})
		}
		out.Trace = append(out.Trace, j)
	}
	return out
}

func viewFlips(voc rules.Vocabulary, flips []rules.Flip) []flipJSON {
	out := []flipJSON{}
	for _, f := range flips {
		j := flipJSON{Key: f.Key, Symptom: f.Symptom, Was: f.Was, To: f.To, Bound: f.Bound, Text: advisor.SayFlip(voc, f), Changes: []changeJSON{}}
		for _, c := range f.Changes {
			was := ""
			if c.Was != 0 {
				was = direction(c.Was)
			}
			j.Changes = append(j.Changes, changeJSON{c.Move, was, direction(c.Now)})
		}
		out = append(out, j)
	}
	return out
}
