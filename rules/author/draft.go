package author

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kartwright/rules"
)

// A Draft is a rule to be written into a file. Lists of one are written as a
// single word, empty ones left out. Terms are as in a file: "low", "not high".
type Draft struct {
	ID, Title                string
	Symptom, With, Without   []string
	Phase, Corner, Severity  []string
	Track, Grip, Tyres       []string
	Wet                      rules.Tri
	Move, Amount             string // the amount as it is to stand in the file, "+0.5 deg"
	Confidence               float64
	Family                   string
	Because, Source, Caution string
	Contested, Decide        string
}

// TOML returns the rule as a [[rule]] table, ending in a newline.
func (d Draft) TOML() string {
	var when []string
	for _, c := range []struct {
		key   string
		words []string
	}{
		{"symptom", d.Symptom}, {"phase", d.Phase}, {"corner", d.Corner}, {"severity", d.Severity}, {"track", d.Track}, {"grip", d.Grip}, {"tyres", d.Tyres},
		{"with", d.With}, {"without", d.Without},
	} {
		switch {
		case len(c.words) == 0:
		case len(c.words) == 1 && c.key != "with" && c.key != "without":
			when = append(when, c.key+" = "+quote(c.words[0]))
		default:
			when = append(when, c.key+" = "+quoteAll(c.words))
		}
	}
	if d.Wet != rules.Unknown {
		when = append(when, fmt.Sprintf("wet = %t", d.Wet == rules.Yes))
	}
	var b strings.Builder
	put := func(key, value string) {
		if value != "" {
			fmt.Fprintf(&b, "%s = %s\n", key, value)
		}
	}
	text := func(key, s string) {
		if s != "" {
			put(key, quote(s))
		}
	}
	b.WriteString("[[rule]]\n")
	text("id", d.ID)
	text("title", d.Title)
	put("when", "{ "+strings.Join(when, ", ")+" }")
	put("vote", "{ "+d.Move+" = "+quote(d.Amount)+" }")
	put("confidence", strconv.FormatFloat(d.Confidence, 'g', -1, 64))
	text("family", d.Family)
	text("because", d.Because)
	text("source", d.Source)
	if d.Caution != "" {
		put("cautions", quoteAll([]string{d.Caution}))
	}
	text("contested", d.Contested)
	text("decide", d.Decide)
	return b.String()
}

// quote writes a TOML basic string: every escape of JSON is one of TOML, which
// also wants DEL escaped.
func quote(s string) string {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil {
		panic(err) // a string always encodes
	}
	return strings.ReplaceAll(strings.TrimSuffix(b.String(), "\n"), "\x7f", `\u007F`)
}

func quoteAll(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = quote(w)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

// A Trial is the situation in which a rule holds fully, stated with as little as
// will do, and the verdict there on the move that it votes for first.
type Trial struct {
	Facts   rules.Facts
	Wants   rules.Vote
	Verdict rules.Verdict
}

// Won reports whether the answer is what the rule wants.
func (t Trial) Won() bool {
	return Stance(t.Verdict) != 0 && (Stance(t.Verdict) > 0) == (t.Wants.Amount > 0)
}

// Try puts a rule of a set to the trial. ok is false if it has no vote or if
// there is no such situation.
func Try(set *rules.Set, id string) (t Trial, ok bool) {
	r := set.Rule(id)
	if r == nil || len(r.Votes) == 0 {
		return t, false
	}
	u := universeOf(set)
	s := u.spaceOf(r)
	f, ok := u.meet(s, s, true)
	if !ok {
		return t, false
	}
	res, err := set.Evaluate(f)
	if err != nil {
		return t, false
	}
	i := slices.IndexFunc(res.Verdicts, func(v rules.Verdict) bool { return v.Move == r.Votes[0].Move })
	return Trial{f, r.Votes[0], res.Verdicts[i]}, true
}

// TOML returns the trial as a [[test]] table: the rule fires and, if it wins,
// its direction is the answer.
func (t Trial) TOML(v rules.Vocabulary, name, rule string) string {
	given := []string{}
	var symptoms []string
	for _, s := range t.Facts.Symptoms {
		symptoms = append(symptoms, s.String())
	}
	if symptoms != nil {
		given = append(given, "symptoms = "+quoteAll(symptoms))
	}
	grip := v.Grip.Format(t.Facts.Grip)
	for _, c := range []struct{ key, value string }{{"track", t.Facts.Track}, {"grip", grip}, {"tyres", v.Tyres.Format(t.Facts.Tyres)}} {
		if c.value != "" {
			given = append(given, c.key+" = "+quote(c.value))
		}
	}
	if grip == "" && t.Facts.Wet != rules.Unknown {
		given = append(given, fmt.Sprintf("wet = %t", t.Facts.Wet == rules.Yes))
	}
	expect := "{ rule = " + quote(rule) + " }"
	if t.Won() {
		sign := "+"
		if t.Wants.Amount < 0 {
			sign = "-"
		}
		expect += fmt.Sprintf(", { move = %s, direction = %s }", quote(t.Wants.Move), quote(sign))
	}
	return fmt.Sprintf("[[test]]\nname = %s\ngiven = { %s }\nexpect = [%s]\n", quote(name), strings.Join(given, ", "), expect)
}
