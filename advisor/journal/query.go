package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"kartwright/advisor/learn"
	"kartwright/rules"
)

const selectHead = `SELECT seq, id, kind, at, journal, kart FROM standing `

// Find returns the entry whose ID begins with prefix, struck out or not.
func (j *Journal) Find(ctx context.Context, prefix string) (Record, error) {
	if len(prefix) < 4 || strings.Trim(prefix, "0123456789abcdef") != "" {
		return nil, fault{ErrNoEntry, fmt.Sprintf("%q is not the ID of an entry: expected four or more of its digits, as 'kartwright log show' prints them", prefix)}
	}
	hs, err := heads(ctx, j.db, `SELECT seq, id, kind, at, journal, kart FROM record WHERE id >= ? AND id < ? ORDER BY id LIMIT 2`, prefix, prefix+"g")
	if err != nil {
		return nil, j.explain(err)
	}
	switch len(hs) {
	case 0:
		return nil, fault{ErrNoEntry, fmt.Sprintf("there is no entry %s in the journal %s", prefix, j.Path)}
	case 2:
		return nil, fault{ErrNoEntry, fmt.Sprintf("%s is the beginning of several entries, %s and %s among them: give more of it", prefix, hs[0].ID, hs[1].ID)}
	}
	return j.one(ctx, hs)
}

func (j *Journal) one(ctx context.Context, hs []head) (Record, error) {
	rs, err := load(ctx, j.db, hs)
	if err != nil {
		return nil, j.explain(err)
	}
	return rs[0], nil
}

// Filter chooses entries. The zero value of each field chooses all.
type Filter struct {
	Kart  string
	Kinds []Kind
	Limit int
}

// Recent returns the entries that stand, latest first.
func (j *Journal) Recent(ctx context.Context, f Filter) ([]Record, error) {
	where, args := []string{"true"}, []any{}
	if f.Kart != "" {
		where, args = append(where, "kart = ?"), append(args, f.Kart)
	}
	if len(f.Kinds) > 0 {
		where = append(where, "kind IN (?"+strings.Repeat(", ?", len(f.Kinds)-1)+")")
		for _, k := range f.Kinds {
			args = append(args, string(k))
		}
	}
	query := selectHead + "WHERE " + strings.Join(where, " AND ") + " ORDER BY at DESC, seq DESC"
	if f.Limit > 0 {
		query, args = query+" LIMIT ?", append(args, f.Limit)
	}
	hs, err := heads(ctx, j.db, query, args...)
	if err != nil {
		return nil, j.explain(err)
	}
	rs, err := load(ctx, j.db, hs)
	return rs, j.explain(err)
}

// latest returns the latest entry of a kind that stands, nil if there is none.
func latest[T Record](ctx context.Context, j *Journal, f Filter) (T, error) {
	var none T
	f.Limit = 1
	f.Kinds = []Kind{none.kind()}
	rs, err := j.Recent(ctx, f)
	if err != nil || len(rs) == 0 {
		return none, err
	}
	return rs[0].(T), nil
}

// LatestSetting returns how the kart stands by its latest setting, nil if none
// was ever logged.
func (j *Journal) LatestSetting(ctx context.Context, kart string) (*Setting, error) {
	return latest[*Setting](ctx, j, Filter{Kart: kart})
}

// TyreLaps returns how many laps a set of tyres has done by its latest session;
// ok is false for a set that was never named.
func (j *Journal) TyreLaps(ctx context.Context, set string) (laps int64, ok bool, err error) {
	err = j.db.QueryRowContext(ctx, `SELECT coalesce(session.tyre_laps, 0) + (SELECT count(*) FROM session_lap WHERE session_lap.record = session.record)
		FROM session JOIN standing ON standing.seq = session.record WHERE session.tyre_set = ? AND session.tyre_set <> '' ORDER BY at DESC, seq DESC LIMIT 1`, set).Scan(&laps)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, false, nil
	}
	return laps, err == nil, j.explain(err)
}

// LatestSession returns the kart's latest session, nil if there is none.
func (j *Journal) LatestSession(ctx context.Context, kart string) (*Session, error) {
	return latest[*Session](ctx, j, Filter{Kart: kart})
}

// LatestAdvice returns the latest advice for the kart, nil if there is none.
func (j *Journal) LatestAdvice(ctx context.Context, kart string) (*Advice, error) {
	return latest[*Advice](ctx, j, Filter{Kart: kart})
}

// Pending returns the advice since the time given of which nobody has said how
// it turned out, latest first. Answers without a change to try are not asked
// about.
func (j *Journal) Pending(ctx context.Context, kart string, since time.Time) ([]*Advice, error) {
	hs, err := heads(ctx, j.db, selectHead+`WHERE kind = 'advice' AND kart = ? AND at >= ?
		AND EXISTS (SELECT 1 FROM advice WHERE advice.record = standing.seq AND advice.move <> '')
		AND NOT EXISTS (SELECT 1 FROM outcome JOIN standing AS o ON o.seq = outcome.record WHERE outcome.advice_id = standing.id)
		ORDER BY at DESC, seq DESC`, kart, stamp(since))
	if err != nil {
		return nil, j.explain(err)
	}
	rs, err := load(ctx, j.db, hs)
	if err != nil {
		return nil, j.explain(err)
	}
	out := make([]*Advice, len(rs))
	for i, r := range rs {
		out[i] = r.(*Advice)
	}
	return out, nil
}

// CarriedOut returns the latest setting that was logged as carrying out the
// advice, nil if there is none.
func (j *Journal) CarriedOut(ctx context.Context, advice ID) (*Setting, error) {
	hs, err := heads(ctx, j.db, selectHead+`WHERE seq IN (SELECT record FROM setting WHERE advice_id = ?) ORDER BY at DESC, seq DESC LIMIT 1`, advice)
	if err != nil || len(hs) == 0 {
		return nil, j.explain(err)
	}
	r, err := j.one(ctx, hs)
	if err != nil {
		return nil, err
	}
	return r.(*Setting), nil
}

// Struck says by which entry an entry was struck out, nil if it stands.
func (j *Journal) Struck(ctx context.Context, id ID) (*Strike, error) {
	hs, err := heads(ctx, j.db, `SELECT seq, id, kind, at, journal, kart FROM record WHERE seq IN (SELECT record FROM strike WHERE of_id = ?) ORDER BY at, id LIMIT 1`, id)
	if err != nil || len(hs) == 0 {
		return nil, j.explain(err)
	}
	r, err := j.one(ctx, hs)
	if err != nil {
		return nil, err
	}
	return r.(*Strike), nil
}

// Try is a change that was advised, carried out and judged.
type Try struct {
	Advice, Outcome ID
	At              time.Time // of the outcome
	Move, Direction string
	Title           string
	Amount          float64
	Unit            string
	Helped          float64 // from 0 to 1
	Conditions      Conditions
	Symptoms        []string // complained of, in the form that rules.ParseSymptom reads
}

// Failed reports that the change helped less often than not.
func (t Try) Failed() bool { return t.Helped < 0.5 }

// judged selects the latest outcome that stands of each advice that stands and
// was carried out. Of two at the same time the one with the greater ID counts,
// so that journals that hold the same entries agree.
const judged = `FROM outcome JOIN standing AS o ON o.seq = outcome.record
	JOIN standing AS r ON r.id = outcome.advice_id JOIN advice ON advice.record = r.seq
	WHERE outcome.followed AND NOT EXISTS (
		SELECT 1 FROM outcome AS later JOIN standing AS l ON l.seq = later.record
		WHERE later.advice_id = outcome.advice_id AND (l.at, l.id) > (o.at, o.id)) `

// judgedRules adds the rules that the advice rested on, a row each.
var judgedRules = strings.Replace(judged, "WHERE", "JOIN advice_rule ON advice_rule.record = advice.record WHERE", 1)

// Tries returns what was tried on the kart, latest first, at most limit.
func (j *Journal) Tries(ctx context.Context, kart string, limit int) ([]Try, error) {
	rows, err := j.db.QueryContext(ctx, `SELECT r.id, o.id, o.at, move, direction, title, amount, unit, helped, track, grip, tyres, wet,
		coalesce((SELECT group_concat(symptom, char(10)) FROM advice_symptom AS s WHERE s.record = advice.record), '') `+judged+`
		AND o.kind = 'outcome' AND o.kart = ? ORDER BY o.at DESC, o.id DESC LIMIT ?`, kart, limit)
	if err != nil {
		return nil, j.explain(err)
	}
	defer rows.Close()
	var out []Try
	for rows.Next() {
		var t Try
		var at, symptoms string
		if err := rows.Scan(&t.Advice, &t.Outcome, &at, &t.Move, &t.Direction, &t.Title, &t.Amount, &t.Unit, &t.Helped, &t.Conditions.Track, &t.Conditions.Grip, &t.Conditions.Tyres, &t.Conditions.Wet, &symptoms); err != nil {
			return nil, j.explain(err)
		}
		if t.At, err = time.Parse(stampFormat, at); err != nil {
			return nil, err
		}
		if symptoms != "" {
			t.Symptoms = strings.Split(symptoms, "\n")
		}
		out = append(out, t)
	}
	return out, j.explain(rows.Err())
}

// Same reports whether a try speaks about a complaint under conditions: the
// same kind of track, the same wetness, grip and tyres that the scales of the
// rules call by the same word, and a symptom in common. What either did not
// say does not tell them apart.
func (t Try) Same(voc rules.Vocabulary, symptoms []string, c Conditions) bool {
	differ := func(a, b string) bool { return a != "" && b != "" && a != b }
	if differ(t.Conditions.Track, c.Track) || differ(t.Conditions.Wet, c.Wet) ||
		differ(word(voc.Grip, rules.Wet, t.Conditions.Grip), word(voc.Grip, rules.Wet, c.Grip)) ||
		differ(word(voc.Tyres, rules.Wets, t.Conditions.Tyres), word(voc.Tyres, rules.Wets, c.Tyres)) {
		return false
	}
	return slices.ContainsFunc(t.Symptoms, func(a string) bool {
		return slices.ContainsFunc(symptoms, func(b string) bool {
			x, err := rules.ParseSymptom(a)
			y, err2 := rules.ParseSymptom(b)
			return err == nil && err2 == nil && !x.Absent && !y.Absent && x.ID == y.ID && !differ(x.Phase, y.Phase)
		})
	})
}

// word is the word of the scale that fits a value best; the value itself if
// the scale does not know it.
func word(s rules.Scale, off, text string) string {
	l, err := s.Parse(text, off)
	if err != nil || !l.IsNumber {
		return text
	}
	best, grade := text, 0.0
	for _, w := range s.Words {
		if g := w.Shape.Grade(l.Number); g > grade {
			best, grade = w.Word, g
		}
	}
	return best
}

// Evidence returns what the outcomes say of each rule, for package learn: those
// of the owner's karts by day, those of other people one by one. kart is the
// one that advice is for.
func (j *Journal) Evidence(ctx context.Context, kart string) ([]learn.Evidence, error) {
	rows, err := j.db.QueryContext(ctx, `SELECT rule || '/' || kart || '/' || day, rule, CASE kart WHEN ? THEN 0 ELSE 1 END, '', day, times, helped_nano / 1e9 FROM tally WHERE times > 0
		UNION ALL `+others, kart)
	if err != nil {
		return nil, j.explain(err)
	}
	defer rows.Close()
	var out []learn.Evidence
	for rows.Next() {
		var e learn.Evidence
		if err := rows.Scan(&e.ID, &e.Rule, &e.Source, &e.Diary, &e.Day, &e.Times, &e.Helped); err != nil {
			return nil, j.explain(err)
		}
		out = append(out, e)
	}
	return out, j.explain(rows.Err())
}

// others selects the outcomes of other people that are not among the entries
// as well. CROSS JOIN has SQLite go through evidence, not through every entry.
const others = `SELECT outcome_id || '/' || rule, rule, 2, e.journal, day, 1, helped FROM evidence CROSS JOIN standing AS e ON e.seq = evidence.record
	WHERE NOT EXISTS (SELECT 1 FROM record WHERE record.id = evidence.outcome_id)`

// eachEvidence calls do with each outcome for each rule, one by one, and the
// journal that it was first written in.
func (j *Journal) eachEvidence(ctx context.Context, do func(*Evidence) error) error {
	rows, err := j.db.QueryContext(ctx, `SELECT DISTINCT o.id || '/' || rule, rule, 0, o.journal, substr(o.at, 1, 10), 1, helped `+judgedRules+` UNION ALL `+others)
	if err != nil {
		return j.explain(err)
	}
	defer rows.Close()
	for rows.Next() {
		e := &Evidence{}
		var source, times int
		if err := rows.Scan(&e.Outcome, &e.Rule, &source, &e.Journal, &e.Day, &times, &e.Helped); err != nil {
			return j.explain(err)
		}
		e.Outcome = e.Outcome[:len(e.Outcome)-len(e.Rule)-1]
		if e.At, err = time.Parse(time.DateOnly, e.Day); err != nil {
			return err
		}
		if err := do(e); err != nil {
			return err
		}
	}
	return j.explain(rows.Err())
}

// Learned tallies the evidence by rule with the usual policy.
func (j *Journal) Learned(ctx context.Context, kart string) (map[string]learn.Record, error) {
	ev, err := j.Evidence(ctx, kart)
	if err != nil {
		return nil, err
	}
	return learn.Tally(ev, learn.Usual), nil
}

// Factors returns the learned factors of the rules of a set of which anything
// is known, for rules.Set.WithLearned.
func Factors(set *rules.Set, learned map[string]learn.Record) map[string]float64 {
	out := map[string]float64{}
	for id, r := range learned {
		if rule := set.Rule(id); rule != nil {
			out[id] = r.Factor(rule.Confidence)
		}
	}
	return out
}
