package ruleset

import (
	"fmt"
	"slices"
	"strings"

	"kartwright/rules"
	"kartwright/rules/diag"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

var (
	ruleKeys = []string{"id", "title", "when", "vote", "leave", "checks", "confidence", "family", "because", "source", "cautions", "contested", "decide", "effect", "effect_except"}
	whenKeys = []string{"symptom", "with", "without", "phase", "corner", "severity", "track", "grip", "tyres", "wet"}
)

func (l *loader) rulesOf(f *file) {
	for _, t := range f.root.Tables("rule") {
		t.Allow(ruleKeys...)
		if !t.Need("a rule", "id") {
			continue
		}
		id, ok := t.Text("id")
		if !ok {
			continue
		}
		at := t.Value("id")
		if !nameForm.MatchString(id) {
			l.Report(diag.Errorf(BadID, at, "%q is not the id of a rule: small letters and digits joined by hyphens are", id).WithHelp(suggestID(id)))
			continue
		}
		if old, twice := l.drafts[id]; twice {
			l.Report(diag.Errorf(DuplicateID, at, "a rule with the id %q exists already", id).WithNote(old.table.Value("id"), "it is first used here"))
			continue
		}
		d := &draft{id: id, home: f, table: t}
		d.final = l.build(t)
		l.drafts[id] = d
		l.draftOrder = append(l.draftOrder, d)
		l.out.ids[id] = at
	}
}

func suggestID(id string) string {
	s := strings.Trim(notInName(strings.ToLower(id)), "-")
	if !nameForm.MatchString(s) {
		return ""
	}
	return fmt.Sprintf("write %q", s)
}

func notInName(s string) string {
	var b strings.Builder
	for _, r := range s {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
		} else if b.Len() > 0 && !strings.HasSuffix(b.String(), "-") {
			b.WriteByte('-')
		}
	}
	return b.String()
}

// changesOf lays the changes of a file over the rules of those it extends.
func (l *loader) changesOf(f *file) {
	for _, t := range f.root.Tables("change") {
		t.Allow(append([]string{"rule", "off"}, ruleKeys[1:]...)...)
		if !t.Need("a change", "rule") {
			continue
		}
		id, ok := t.Text("rule")
		if !ok {
			continue
		}
		d := l.drafts[id]
		if d == nil || !l.extendsOf(f, d.home.name) {
			if !l.partial {
				finding := diag.Errorf(UnknownRule, t.Value("rule"), "no file that this one extends has a rule %q", id)
				if d != nil {
					finding = finding.WithNote(d.table.Value("id"), "there is one here")
				} else {
					finding = finding.WithHelp(diag.DidYouMean(id, l.rulesExtendedBy(f)))
				}
				l.Report(finding)
			}
			continue
		}
		if len(t.Keys()) == 1 {
			l.Report(diag.Errorf(tables.MissingKey, t.At, "a change needs a key that it changes, or off = true"))
		}
		for _, key := range t.Keys() {
			if key == "rule" {
				continue
			}
			c := change{file: f, key: key, at: t.Key(key)}
			for _, old := range d.changes {
				if old.key == key && !l.extendsOf(f, old.file.name) {
					finding := diag.Errorf(ClashingChange, c.at, "%q of rule %q is changed twice, and neither change comes after the other", key, id).
						WithNote(old.at, "the other change")
					l.Report(finding)
				}
			}
			d.changes = append(d.changes, c)
		}
		if off, ok := t.Bool("off"); ok {
			d.off = off
		}
		d.table = d.table.Over(t, "rule", "off")
		d.changed = true
	}
}

func (l *loader) rulesExtendedBy(f *file) []string {
	var out []string
	for _, d := range l.draftOrder {
		if l.extendsOf(f, d.home.name) {
			out = append(out, d.id)
		}
	}
	slices.Sort(out)
	return out
}

// finish returns the rules that are not switched off.
func (l *loader) finish() []rules.Rule {
	var out []rules.Rule
	for _, d := range l.draftOrder {
		if d.changed {
			d.final = l.build(d.table)
		}
		if d.off {
			continue
		}
		line, _ := l.out.ids[d.id].Position()
		d.final.ID, d.final.Place = d.id, fmt.Sprintf("%s:%d", d.home.name, line)
		out = append(out, d.final)
	}
	return out
}

func (l *loader) lonelyFamilies() {
	members := map[string][]*draft{}
	for _, d := range l.draftOrder {
		if !d.off && nameForm.MatchString(d.final.Family) {
			members[d.final.Family] = append(members[d.final.Family], d)
		}
	}
	var families []string
	for f := range members {
		families = append(families, f)
	}
	slices.Sort(families)
	for _, f := range families {
		if ds := members[f]; len(ds) == 1 {
			others := slices.DeleteFunc(slices.Clone(families), func(o string) bool { return o == f })
			help := ""
			if near, ok := diag.Nearest(f, others); ok {
				help = fmt.Sprintf("did you mean %q?", near)
			}
			l.Report(diag.Warnf(FamilyOfOne, ds[0].table.Value("family"), "no other rule is of the family %q", f).WithHelp(help))
		}
	}
}

// build reads a rule but for its id.
func (l *loader) build(t *tables.Table) rules.Rule {
	var r rules.Rule
	votes := t.Has("vote")
	if !votes && !t.Has("leave") && !t.Has("checks") {
		l.Report(diag.Errorf(SaysNothing, t.At, "a rule needs a vote, a move to leave, or checks"))
	}
	if votes && !t.Has("because") {
		l.Report(diag.Errorf(MissingBecause, t.At, "a rule that votes needs the key %q: one sentence that says why", "because"))
	}
	t.Need("a rule", "source")
	r.Confidence = 1
	if votes || t.Has("leave") {
		t.Need("a rule that votes", "confidence")
	}
	if w, ok := t.Number("confidence"); ok && l.grade(w, t.Value("confidence"), "the confidence") {
		r.Confidence = w
	}
	r.Title, _ = t.Text("title")
	r.Because, _ = t.Text("because")
	r.Source, _ = t.Text("source")
	r.Family = l.name(t, "family")
	r.Contested = l.name(t, "contested")
	r.Decide, _ = t.Text("decide")
	if t.Has("contested") && !t.Has("decide") {
		l.Report(diag.Errorf(MissingDecide, t.Key("contested"), "a contested rule needs the key %q: the observation that settles the point", "decide"))
	}
	if t.Has("decide") && !t.Has("contested") {
		l.Report(diag.Warnf(DecideNoContest, t.Key("decide"), "%q has no effect without the key %q", "decide", "contested"))
	}
	for _, item := range t.Texts("checks") {
		r.Checks = append(r.Checks, item.Text)
	}
	for _, item := range t.Texts("cautions") {
		r.Cautions = append(r.Cautions, item.Text)
	}
	l.effects(t, &r)
	if t.Need("a rule", "when") {
		if when := t.Table("when"); when != nil {
			r.When = l.when(when)
		}
	}
	if vote := t.Table("vote"); vote != nil {
		r.Votes = l.votes(vote)
	}
	for _, item := range t.Texts("leave") {
		if !l.isDefined("move", UnknownMove, item) {
			continue
		}
		if slices.ContainsFunc(r.Votes, func(v rules.Vote) bool { return v.Move == item.Text }) || slices.Contains(r.Leave, item.Text) {
			l.Report(diag.Errorf(SelfContrary, item.At, "the rule says two things about %s", item.Text))
			continue
		}
		r.Leave = append(r.Leave, item.Text)
	}
	return r
}

// effects reads the physical effects that a rule relies on.
func (l *loader) effects(t *tables.Table, r *rules.Rule) {
	for _, item := range l.list(t, "effect") {
		first, direction := rules.EffectDirection(item.Text)
		if direction == 0 {
			l.unknown(UnknownWord, item, "an effect that can be computed", rules.EffectWords())
			continue
		}
		for _, other := range r.Effects {
			if same, _ := rules.EffectDirection(other); same == first {
				l.Report(diag.Errorf(SelfContrary, item.At, "the rule relies on %q and on %q", other, item.Text))
			}
		}
		r.Effects = append(r.Effects, item.Text)
	}
	if t.Has("effect") && !t.Has("vote") {
		l.Report(diag.Errorf(SaysNothing, t.Key("effect"), "an effect is that of a vote, and the rule has none"))
	}
	r.Except, _ = t.Text("effect_except")
	if t.Has("effect_except") && !t.Has("effect") {
		l.Report(diag.Errorf(SaysNothing, t.Key("effect_except"), "%q explains nothing without the key %q", "effect_except", "effect"))
	}
}

func (l *loader) name(t *tables.Table, key string) string {
	s, ok := t.Text(key)
	if ok && !nameForm.MatchString(s) {
		l.Report(diag.Errorf(BadID, t.Value(key), "%q is not a name: small letters and digits joined by hyphens are", s).WithHelp(suggestID(s)))
	}
	return s
}

func (l *loader) votes(t *tables.Table) []rules.Vote {
	var out []rules.Vote
	for _, move := range t.Keys() {
		if !l.isDefined("move", UnknownMove, tables.Item{Text: move, At: t.Key(move)}) {
			continue
		}
		unit := l.moves[move]
		if t.IsNumber(move) {
			x, _ := t.Number(move)
			finding := diag.Errorf(MissingUnit, t.Value(move), "%v has no unit", x)
			if unit != "" {
				finding = finding.WithHelp(fmt.Sprintf("write it in quotes, with its sign and unit, as in %q", "+"+examples[unit]))
			}
			l.Report(finding)
			continue
		}
		text, isText := t.Text(move)
		if !isText || unit == "" {
			continue
		}
		i := slices.IndexFunc(l.vocabulary.Moves, func(m rules.Move) bool { return m.ID == move })
		m := l.vocabulary.Moves[i]
		amount, err := ParseAmount(text, unit)
		if err != nil {
			l.badAmount(tables.Item{Text: text, At: t.Value(move)}, unit, err, m)
			continue
		}
		if size := max(amount, -amount); m.Usual[1] > 0 && (size < m.Usual[0]-1e-9 || size > m.Usual[1]+1e-9) {
			l.Report(diag.Warnf(UnusualAmount, t.Value(move), "one step of %s is usually %s to %s, not %s",
				m.Title, FormatSize(m.Usual[0], unit), FormatSize(m.Usual[1], unit), FormatSize(amount, unit)))
		}
		out = append(out, rules.Vote{Move: move, Amount: amount, Text: text})
	}
	if len(t.Keys()) == 0 {
		l.Report(diag.Errorf(SaysNothing, t.At, "the vote is empty"))
	}
	return out
}

func (l *loader) when(t *tables.Table) rules.When {
	t.Allow(whenKeys...)
	var w rules.When
	symptoms := func(key string) (out []string) {
		for _, item := range l.list(t, key) {
			if l.isDefined("symptom", UnknownSymptom, item) {
				out = append(out, item.Text)
			}
		}
		return out
	}
	w.Symptom, w.With, w.Without = symptoms("symptom"), symptoms("with"), symptoms("without")
	for _, item := range t.Texts("without") {
		if slices.Contains(w.With, item.Text) || len(w.Symptom) == 1 && w.Symptom[0] == item.Text {
			l.Report(diag.Errorf(SelfContrary, item.At, "the rule asks for %q and for its absence", item.Text))
		}
	}
	w.Phase = l.terms(t, "phase", UnknownPhase, "a phase", rules.PhaseWords())
	w.Corner = l.terms(t, "corner", UnknownWord, "a kind of corner", rules.CornerWords())
	w.Severity = l.terms(t, "severity", UnknownWord, "a severity", rules.SeverityWords())
	w.Track = l.terms(t, "track", UnknownTrack, "a kind of track", l.trackWords)
	w.Grip = l.level(t, "grip", []string{"low", "medium", "high", rules.Wet, rules.Any})
	w.Tyres = l.level(t, "tyres", []string{"new", "used", "worn", rules.Wets, rules.Any})
	if wet, ok := t.Bool("wet"); ok {
		w.Wet = rules.No
		if wet {
			w.Wet = rules.Yes
		}
		isWet := func(term rules.Term) bool { return term.Word == rules.Wet && !term.Not }
		isDry := func(term rules.Term) bool { return !isWet(term) && !term.Not && term.Word != rules.Any }
		if w.Grip != nil && (wet && !slices.ContainsFunc(w.Grip, func(x rules.Term) bool { return !isDry(x) }) ||
			!wet && !slices.ContainsFunc(w.Grip, func(x rules.Term) bool { return !isWet(x) })) {
			l.Report(diag.Errorf(SelfContrary, t.Key("wet"), "wet = %v contradicts grip = %s", wet, w.Grip).
				WithNote(t.Value("grip"), "the grip is asked for here"))
		}
	}
	return w
}

// list returns the strings of a key, reporting an empty list.
func (l *loader) list(t *tables.Table, key string) []tables.Item {
	items := t.Texts(key)
	if t.Has(key) && items == nil && t.Value(key).Text() != "" && isEmptyList(t.Value(key)) {
		l.Report(diag.Errorf(UnknownWord, t.Value(key), "the list is empty; leave the key out if it does not matter"))
	}
	return items
}

func isEmptyList(at source.Span) bool {
	text := at.Text()
	return strings.HasPrefix(text, "[") && strings.TrimSpace(strings.Trim(text, "[]")) == ""
}

// terms reads words of which any will do, each perhaps negated.
func (l *loader) terms(t *tables.Table, key string, code diag.Code, what string, allowed []string) rules.Terms {
	var out rules.Terms
	for _, item := range l.list(t, key) {
		word, not := strings.CutPrefix(item.Text, "not ")
		if !slices.Contains(allowed, word) {
			if code != UnknownTrack || !l.partial {
				l.unknown(code, item, what, allowed)
			}
			continue
		}
		if not && word == rules.Any {
			l.Report(diag.Errorf(SelfContrary, item.At, "%q is met by nothing", item.Text))
			continue
		}
		out = append(out, rules.Term{Word: word, Not: not})
	}
	return out
}

// level reads a condition on a scale: words, or four numbers.
func (l *loader) level(t *tables.Table, key string, allowed []string) rules.Terms {
	if t.IsNumbers(key) {
		shape, ok := l.shape(t, key)
		if !ok {
			return nil
		}
		return rules.Terms{{Range: &shape}}
	}
	return l.terms(t, key, UnknownWord, "a word for "+key, allowed)
}
