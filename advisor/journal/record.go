package journal

import (
	"bytes"
	"crypto/sha256"
	"database/sql/driver"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"
)

// ID names an entry: 32 hexadecimal digits of the SHA-256 of its content.
type ID string

// Short is enough of an ID to type. Commands take any beginning that only one
// entry has.
func (id ID) Short() string { return string(id[:min(8, len(id))]) }

// Value stores no ID as NULL.
func (id ID) Value() (driver.Value, error) {
	if id == "" {
		return nil, nil
	}
	return string(id), nil
}

// Scan reads what Value stores.
func (id *ID) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*id = ""
	case string:
		*id = ID(v)
	default:
		return fmt.Errorf("an ID is stored as text, not as %T", src)
	}
	return nil
}

// Kind says what an entry is.
type Kind string

// The kinds of entry.
const (
	KindSetting  Kind = "setting"
	KindSession  Kind = "session"
	KindAdvice   Kind = "advice"
	KindOutcome  Kind = "outcome"
	KindEvidence Kind = "evidence"
	KindStrike   Kind = "strike"
)

// kinds makes an empty entry of each kind.
var kinds = map[Kind]func() Record{
	KindSetting:  func() Record { return new(Setting) },
	KindSession:  func() Record { return new(Session) },
	KindAdvice:   func() Record { return new(Advice) },
	KindOutcome:  func() Record { return new(Outcome) },
	KindEvidence: func() Record { return new(Evidence) },
	KindStrike:   func() Record { return new(Strike) },
}

// kindNames are the kinds in the order of their tables.
var kindNames = []Kind{KindSetting, KindSession, KindAdvice, KindOutcome, KindEvidence, KindStrike}

// Header is what every entry has. Add fills in ID and Journal, and At if it is
// zero.
type Header struct {
	ID      ID        `json:"id,omitempty"`
	Kind    Kind      `json:"kind"`
	At      time.Time `json:"at"`      // to the millisecond, UTC
	Journal string    `json:"journal"` // the one it was first written in
	Kart    string    `json:"kart,omitempty"`
}

// Head returns the header.
func (h *Header) Head() *Header { return h }

// Record is an entry of one of the kinds: *Setting, *Session, *Advice,
// *Outcome, *Evidence or *Strike.
type Record interface {
	Head() *Header
	kind() Kind
	fields() []field
	lists() []list
	check() error
}

// field is one column of an entry and where its value is.
type field struct {
	column string
	at     any // *string or of its kind, *ID, *bool, *int64, **int64, *float64, **float64
}

// list is one table of what an entry lists.
type list struct {
	table string
	len   int
	blank []field // of a row that is none
	row   func(i int) []field
	grow  func() []field // of a new last row
}

func listOf[T any](table string, s *[]T, fields func(*T) []field) list {
	return list{table, len(*s), fields(new(T)), func(i int) []field { return fields(&(*s)[i]) }, func() []field {
		*s = append(*s, *new(T))
		return fields(&(*s)[len(*s)-1])
	}}
}

// Setting is how a kart's adjusters stand from then on.
type Setting struct {
	Header
	Advice    ID         `json:"advice_id,omitempty"` // carried out with it
	Note      string     `json:"note,omitempty"`
	Positions []Position `json:"positions,omitempty"`
	Figures   []Figures  `json:"figures,omitempty"`  // computed
	Readings  []Reading  `json:"readings,omitempty"` // measured
}

// Position is where one adjuster stands.
type Position struct {
	Side     string   `json:"side"` // left, right
	Adjuster string   `json:"adjuster"`
	Position float64  `json:"position"` // from standard, in the adjuster's own steps
	Text     string   `json:"text"`     // the same in words
	Gauge    *float64 `json:"gauge_mm,omitempty"`
}

// Figures are what one side should measure at a setting.
type Figures struct {
	Side   string  `json:"side"`
	Caster float64 `json:"caster_deg"`
	KPI    float64 `json:"kpi_deg"`
	Camber float64 `json:"camber_deg"`
	Toe    float64 `json:"toe_deg"`
}

// Reading is something that was measured on the kart: an angle or a length.
type Reading struct {
	Side     string   `json:"side"` // left, right, kart
	What     string   `json:"what"`
	Angle    *float64 `json:"angle_deg,omitempty"`
	AnglePM  *float64 `json:"angle_pm_deg,omitempty"`
	Length   *float64 `json:"length_mm,omitempty"`
	LengthPM *float64 `json:"length_pm_mm,omitempty"`
}

func (*Setting) kind() Kind { return KindSetting }
func (s *Setting) fields() []field {
	return []field{{"advice_id", &s.Advice}, {"note", &s.Note}}
}
func (s *Setting) lists() []list {
	return []list{
		listOf("setting_position", &s.Positions, func(p *Position) []field {
			return []field{{"side", &p.Side}, {"adjuster", &p.Adjuster}, {"position", &p.Position}, {"text", &p.Text}, {"gauge_mm", &p.Gauge}}
		}),
		listOf("setting_figure", &s.Figures, func(f *Figures) []field {
			return []field{{"side", &f.Side}, {"caster_deg", &f.Caster}, {"kpi_deg", &f.KPI}, {"camber_deg", &f.Camber}, {"toe_deg", &f.Toe}}
		}),
		listOf("setting_reading", &s.Readings, func(r *Reading) []field {
			return []field{{"side", &r.Side}, {"what", &r.What}, {"angle_deg", &r.Angle}, {"angle_pm_deg", &r.AnglePM}, {"length_mm", &r.Length}, {"length_pm_mm", &r.LengthPM}}
		}),
	}
}
func (s *Setting) check() error {
	var errs []error
	for i, p := range s.Positions {
		if p.Adjuster == "" {
			errs = append(errs, fmt.Errorf("positions[%d].adjuster is empty", i))
		}
		errs = append(errs, oneOf(fmt.Sprintf("positions[%d].side", i), p.Side, "left", "right"))
		for _, q := range s.Positions[:i] {
			if p.Side == q.Side && p.Adjuster == q.Adjuster {
				errs = append(errs, fmt.Errorf("positions[%d] gives the %s %s a second time", i, p.Side, p.Adjuster))
			}
		}
	}
	for i, f := range s.Figures {
		errs = append(errs, oneOf(fmt.Sprintf("figures[%d].side", i), f.Side, "left", "right"))
	}
	for i, r := range s.Readings {
		errs = append(errs, oneOf(fmt.Sprintf("readings[%d].side", i), r.Side, "left", "right", "kart"))
		if (r.Angle == nil) == (r.Length == nil) {
			errs = append(errs, fmt.Errorf("readings[%d] must have either angle_deg or length_mm", i))
		}
	}
	return errors.Join(append(errs, s.needKart())...)
}

// Conditions are those under which somebody drove, in the words of the rules;
// an empty one was not said.
type Conditions struct {
	Track string `json:"track,omitempty"` // tight, fast, mixed
	Grip  string `json:"grip,omitempty"`
	Tyres string `json:"tyres,omitempty"`
	Wet   string `json:"wet,omitempty"` // yes, no
}

func (c *Conditions) fields() []field {
	return []field{{"track", &c.Track}, {"grip", &c.Grip}, {"tyres", &c.Tyres}, {"wet", &c.Wet}}
}

// Session is one time out on the track.
type Session struct {
	Header
	Conditions
	Setting   ID       `json:"setting_id,omitempty"` // it was driven with
	Driver    string   `json:"driver,omitempty"`
	Place     string   `json:"place,omitempty"` // the track as its user names it
	Weather   string   `json:"weather,omitempty"`
	TyreSet   string   `json:"tyre_set,omitempty"`
	TyreLaps  *int64   `json:"tyre_laps,omitempty"` // on the set before the session
	Complaint string   `json:"complaint,omitempty"` // in the driver's words
	Note      string   `json:"note,omitempty"`
	Laps      []Lap    `json:"laps,omitempty"`
	Symptoms  []string `json:"symptoms,omitempty"` // what the complaint was read as
}

// Lap is one lap time.
type Lap struct {
	MS   int64  `json:"time_ms"`
	Flag string `json:"flag,omitempty"` // out, in, spoiled (traffic, a spin)
}

func (*Session) kind() Kind { return KindSession }
func (s *Session) fields() []field {
	return append([]field{{"setting_id", &s.Setting}, {"driver", &s.Driver}, {"place", &s.Place}, {"weather", &s.Weather}, {"tyre_set", &s.TyreSet}, {"tyre_laps", &s.TyreLaps}, {"complaint", &s.Complaint}, {"note", &s.Note}}, s.Conditions.fields()...)
}
func (s *Session) lists() []list {
	return []list{
		listOf("session_lap", &s.Laps, func(l *Lap) []field { return []field{{"time_ms", &l.MS}, {"flag", &l.Flag}} }),
		listOf("session_symptom", &s.Symptoms, func(s *string) []field { return []field{{"symptom", s}} }),
	}
}
func (s *Session) check() error {
	errs := []error{s.needKart(), oneOf("wet", s.Wet, "", "yes", "no"), noneEmpty("symptoms", s.Symptoms)}
	if s.TyreLaps != nil && *s.TyreLaps < 0 {
		errs = append(errs, fmt.Errorf("tyre_laps is %d, expected 0 or more", *s.TyreLaps))
	}
	for i, l := range s.Laps {
		if l.MS <= 0 {
			errs = append(errs, fmt.Errorf("laps[%d].time_ms is %d, expected more than 0", i, l.MS))
		}
		errs = append(errs, oneOf(fmt.Sprintf("laps[%d].flag", i), l.Flag, "", "out", "in", "spoiled"))
	}
	return errors.Join(errs...)
}

// Advice is an answer that was given.
type Advice struct {
	Header
	Conditions
	Session   ID           `json:"session_id,omitempty"` // after which it was asked for
	Status    string       `json:"status"`
	Move      string       `json:"move,omitempty"` // to try first; none if empty
	Direction string       `json:"direction,omitempty"`
	Title     string       `json:"title,omitempty"`
	Amount    float64      `json:"amount,omitempty"`
	Unit      string       `json:"unit,omitempty"`
	Symptoms  []string     `json:"symptoms,omitempty"`
	Rules     []AdviceRule `json:"rules,omitempty"` // that spoke for the move and counted
	Trace     Trace        `json:"trace"`           // the whole answer
}

// AdviceRule is a rule that advice rested on.
type AdviceRule struct {
	Rule    string  `json:"rule"`
	Support float64 `json:"support"`
}

// Trace is a JSON text, without the spaces that do not matter.
type Trace string

// MarshalJSON writes the text as it is.
func (t Trace) MarshalJSON() ([]byte, error) {
	if t == "" {
		return []byte("null"), nil
	}
	return []byte(t), nil
}

// UnmarshalJSON keeps the text as it is, without spaces.
func (t *Trace) UnmarshalJSON(b []byte) error {
	var out bytes.Buffer
	if err := json.Compact(&out, b); err != nil {
		return err
	}
	*t = Trace(out.String())
	return nil
}

func (*Advice) kind() Kind { return KindAdvice }
func (a *Advice) fields() []field {
	return append([]field{{"session_id", &a.Session}, {"status", &a.Status}, {"move", &a.Move}, {"direction", &a.Direction}, {"title", &a.Title}, {"amount", &a.Amount}, {"unit", &a.Unit}, {"trace", &a.Trace}}, a.Conditions.fields()...)
}
func (a *Advice) lists() []list {
	return []list{
		listOf("advice_symptom", &a.Symptoms, func(s *string) []field { return []field{{"symptom", s}} }),
		listOf("advice_rule", &a.Rules, func(r *AdviceRule) []field { return []field{{"rule", &r.Rule}, {"support", &r.Support}} }),
	}
}
func (a *Advice) check() error {
	errs := []error{a.needKart(), oneOf("wet", a.Wet, "", "yes", "no"), noneEmpty("symptoms", a.Symptoms)}
	if a.Move != "" {
		errs = append(errs, oneOf("direction", a.Direction, "increase", "decrease"))
	}
	for i, r := range a.Rules {
		if r.Rule == "" {
			errs = append(errs, fmt.Errorf("rules[%d].rule is empty", i))
		}
	}
	if !json.Valid([]byte(a.Trace)) {
		errs = append(errs, errors.New("trace is not JSON"))
	}
	return errors.Join(errs...)
}

// Outcome is how advice turned out.
type Outcome struct {
	Header
	Advice   ID               `json:"advice_id"`
	Session  ID               `json:"session_id,omitempty"` // the run after
	Followed bool             `json:"followed"`             // the advice was carried out
	Instead  string           `json:"instead,omitempty"`    // what was done if not
	Helped   float64          `json:"helped"`               // from 0 to 1
	Effect   *float64         `json:"effect_s,omitempty"`   // on the lap time, drift taken out; below 0 is faster
	EffectSE *float64         `json:"effect_se_s,omitempty"`
	EffectDF *float64         `json:"effect_df,omitempty"`
	Note     string           `json:"note,omitempty"`
	Verdicts []SymptomVerdict `json:"verdicts,omitempty"`
}

// SymptomVerdict is what became of one symptom: better, same or worse.
type SymptomVerdict struct {
	Symptom string `json:"symptom"`
	Verdict string `json:"verdict"`
}

func (*Outcome) kind() Kind { return KindOutcome }
func (o *Outcome) fields() []field {
	return []field{{"advice_id", &o.Advice}, {"session_id", &o.Session}, {"followed", &o.Followed}, {"instead", &o.Instead}, {"helped", &o.Helped}, {"effect_s", &o.Effect}, {"effect_se_s", &o.EffectSE}, {"effect_df", &o.EffectDF}, {"note", &o.Note}}
}
func (o *Outcome) lists() []list {
	return []list{listOf("outcome_symptom", &o.Verdicts, func(v *SymptomVerdict) []field {
		return []field{{"symptom", &v.Symptom}, {"verdict", &v.Verdict}}
	})}
}
func (o *Outcome) check() error {
	errs := []error{o.needKart(), share("helped", o.Helped)}
	if o.Advice == "" {
		errs = append(errs, errors.New("advice_id is missing: an outcome belongs to advice"))
	}
	if len(o.Verdicts) == 0 && o.Effect == nil {
		errs = append(errs, errors.New("an outcome needs a verdict or an effect on the lap time"))
	}
	if some, all := o.Effect != nil || o.EffectSE != nil || o.EffectDF != nil, o.Effect != nil && o.EffectSE != nil && o.EffectDF != nil; some != all {
		errs = append(errs, errors.New("an effect needs effect_s, effect_se_s and effect_df together"))
	}
	for i, v := range o.Verdicts {
		errs = append(errs, oneOf(fmt.Sprintf("verdicts[%d].verdict", i), v.Verdict, "better", "same", "worse"))
	}
	return errors.Join(errs...)
}

// Evidence is an outcome of somebody else, for one rule.
type Evidence struct {
	Header
	Outcome ID      `json:"outcome_id"` // in their journal
	Rule    string  `json:"rule"`
	Day     string  `json:"day"` // 2026-05-03
	Helped  float64 `json:"helped"`
}

func (*Evidence) kind() Kind { return KindEvidence }
func (e *Evidence) fields() []field {
	return []field{{"outcome_id", &e.Outcome}, {"rule", &e.Rule}, {"day", &e.Day}, {"helped", &e.Helped}}
}
func (*Evidence) lists() []list { return nil }
func (e *Evidence) check() error {
	errs := []error{share("helped", e.Helped)}
	if e.Outcome == "" || e.Rule == "" {
		errs = append(errs, errors.New("outcome_id and rule must be given"))
	}
	if _, err := time.Parse(time.DateOnly, e.Day); err != nil {
		errs = append(errs, fmt.Errorf("day is %q, expected a date such as 2026-05-03", e.Day))
	}
	return errors.Join(errs...)
}

// Strike says that an earlier entry does not count.
type Strike struct {
	Header
	Of  ID     `json:"of_id"`
	Why string `json:"why,omitempty"`
}

func (*Strike) kind() Kind        { return KindStrike }
func (s *Strike) fields() []field { return []field{{"of_id", &s.Of}, {"why", &s.Why}} }
func (*Strike) lists() []list     { return nil }
func (s *Strike) check() error {
	if s.Of == "" {
		return errors.New("of_id is missing: say which entry is struck out")
	}
	return nil
}

func (h *Header) needKart() error {
	if h.Kart == "" {
		return errors.New("kart is missing: an entry belongs to a kart")
	}
	return nil
}

func oneOf(name, got string, want ...string) error {
	if slices.Contains(want, got) {
		return nil
	}
	return fmt.Errorf("%s is %q, expected one of %s", name, got, strings.Join(slices.DeleteFunc(slices.Clone(want), func(w string) bool { return w == "" }), ", "))
}

func noneEmpty(name string, list []string) error {
	for i, s := range list {
		if s == "" {
			return fmt.Errorf("%s[%d] is empty", name, i)
		}
	}
	return nil
}

func share(name string, v float64) error {
	if v >= 0 && v <= 1 {
		return nil
	}
	return fmt.Errorf("%s is %g, expected 0 to 1", name, v)
}

var lineEnds = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\x00", "")

// settle brings an entry into the one form in which its content is hashed:
// time to the millisecond in UTC, texts of valid UTF-8 with \n for line ends,
// no negative zero. It checks the entry and returns the ID that it should have.
func settle(r Record) (ID, error) {
	h := r.Head()
	h.Kind = r.kind()
	h.At = h.At.UTC().Truncate(time.Millisecond)
	if y := h.At.Year(); y < 1970 || y > 9999 {
		return "", fmt.Errorf("at is %s, expected a time from 1970 on", h.At.Format(time.RFC3339))
	}
	clean := func(fields []field) error {
		for _, f := range fields {
			v := reflect.ValueOf(f.at).Elem()
			if v.Kind() == reflect.Pointer && !v.IsNil() {
				v = v.Elem()
			}
			switch v.Kind() {
			case reflect.String:
				v.SetString(strings.ToValidUTF8(lineEnds.Replace(v.String()), "\uFFFD"))
			case reflect.Float64:
				if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
					return fmt.Errorf("%s is %g, expected a number", f.column, v.Float())
				}
				v.SetFloat(v.Float() + 0)
			}
		}
		return nil
	}
	if err := clean(append(r.fields(), field{"kart", &h.Kart}, field{"journal", &h.Journal})); err != nil {
		return "", err
	}
	for _, l := range r.lists() {
		for i := range l.len {
			if err := clean(l.row(i)); err != nil {
				return "", err
			}
		}
	}
	if err := r.check(); err != nil {
		return "", err
	}
	was := h.ID
	h.ID = ""
	content, err := encode(r)
	h.ID = was
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(content)
	return ID(hex.EncodeToString(sum[:16])), nil
}

// encode writes an entry as one line of JSON without its end.
func encode(r Record) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(r); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// decode reads one entry of JSON.
func decode(line []byte) (Record, error) {
	var k struct {
		Kind Kind `json:"kind"`
	}
	if err := json.Unmarshal(line, &k); err != nil {
		return nil, fmt.Errorf("is not JSON: %w", err)
	}
	make, ok := kinds[k.Kind]
	if !ok {
		return nil, fmt.Errorf("kind is %q, expected one of %v", k.Kind, kindNames)
	}
	r := make()
	dec := json.NewDecoder(bytes.NewReader(line))
	dec.DisallowUnknownFields()
	if err := dec.Decode(r); err != nil {
		var typ *json.UnmarshalTypeError
		if errors.As(err, &typ) {
			return nil, fmt.Errorf("%s is a JSON %s, expected %s", typ.Field, typ.Value, typ.Type)
		}
		return nil, errors.New(strings.TrimPrefix(err.Error(), "json: "))
	}
	return r, nil
}
