package advisor

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
	"kartwright/rules"
)

// A Question is a short question with its worked answer.
type Question struct {
	Kind    string // "wheel loads", "turns", "geometry", "steering", "advice" or "contested"
	Text    string
	Choices []string
	Right   int    // the choice that is right; for a contested point, what would settle it
	Worked  string // why, with the figures
}

// quiz makes questions about one kart.
type quiz struct {
	kart    *profile.Kart
	set     *rules.Set
	rng     *rand.Rand
	lessons []*Lesson
}

// Quiz returns n questions about a kart and a set of rules, the same for the
// same seed. It returns fewer if it runs out.
func Quiz(k *profile.Kart, set *rules.Set, b Bend, seed uint64, n int) ([]Question, error) {
	q := quiz{kart: k, set: set, rng: rand.New(rand.NewPCG(seed, 0x6b617274))}
	for _, t := range Topics() {
		l, err := Teach(k, t, b)
		if err != nil {
			return nil, err
		}
		q.lessons = append(q.lessons, l)
	}
	kinds := []func() (Question, error){q.rearWheel, q.turns, q.advice, q.lean, q.weight, q.contested, q.rearWheel, q.advice, q.contested}
	var out []Question
	asked := map[string]bool{}
	for try := 0; len(out) < n && try < 20*n+40; try++ {
		if try%len(kinds) == 0 {
			q.rng.Shuffle(len(kinds), func(i, j int) { kinds[i], kinds[j] = kinds[j], kinds[i] })
		}
		x, err := kinds[try%len(kinds)]()
		if errors.Is(err, errNoQuestion) || err == nil && asked[x.Text] {
			continue
		}
		if err != nil {
			return nil, err
		}
		asked[x.Text] = true
		out = append(out, x)
	}
	return out, nil
}

// errNoQuestion says that this kart or these rules do not give the question.
var errNoQuestion = errors.New("no such question")

// shuffled puts the right choice, which is the first, in a random place.
func (q *quiz) shuffled(x Question) Question {
	order := q.rng.Perm(len(x.Choices))
	choices := make([]string, len(order))
	for to, from := range order {
		choices[to] = x.Choices[from]
		if from == 0 {
			x.Right = to
		}
	}
	x.Choices = choices
	return x
}

// stage returns one of a lesson's two steps, in words.
func (q *quiz) stage(l *Lesson) (s *Stage, name string) {
	if q.rng.IntN(2) == 0 {
		s, name = &l.Stages[0], "less"
	} else {
		s, name = &l.Stages[2], "more"
	}
	title := l.Topic.Title
	if l.Topic.knob != KnobKPI && l.Topic.knob != KnobAckermann {
		title = strings.ToLower(title)
	}
	how := s.Name
	if s.How != "" {
		how += ", " + s.How
	}
	switch l.Topic.knob {
	case KnobTrack, KnobHeight, KnobAckermann:
		return s, title + ", a step " + name + " (" + l.Topic.stepIs + ")"
	}
	return s, title + " (" + how + ")"
}

func (q *quiz) rearWheel() (Question, error) {
	var fit []*Lesson
	for _, l := range q.lessons {
		if l.Topic.Shows == RearCurve {
			fit = append(fit, l)
		}
	}
	l := fit[q.rng.IntN(len(fit))]
	s, name := q.stage(l)
	got := lightened(l.Stages[1].InBend, s.InBend)
	lighter, heavier, same := "it gets lighter, or is lifted higher", "it carries more, or is lifted less", "nothing that anybody would feel: less than half a kilogram"
	x := Question{Kind: "wheel loads", Text: fmt.Sprintf("Kart %s in a slow bend (%v). You change %s. What does the inner rear wheel do?", q.kart.Name, l.Bend, name)}
	switch {
	case math.Abs(float64(got)) < float64(FeelLoad):
		x.Choices = []string{same, lighter, heavier}
	case got > 0:
		x.Choices = []string{lighter, heavier, same}
	default:
		x.Choices = []string{heavier, lighter, same}
	}
	x.Worked = fmt.Sprintf("Now it %s; then it %s. %s", sayRear(l.Stages[1].InBend[0]), sayRear(s.InBend[0]), l.Topic.Does)
	return q.shuffled(x), nil
}

// sayRear says how the inner rear wheel stands.
func sayRear(b InBend) string {
	if b.Lift > 0 {
		return fmt.Sprintf("is %.1f mm in the air", float64(b.Lift))
	}
	return fmt.Sprintf("carries %.1f kg", float64(b.Load)/loads.G)
}

func (q *quiz) turns() (Question, error) {
	type ask struct {
		figure adjust.Figure
		want   float64
		say    string
	}
	a := []ask{
		{adjust.Toe, float64(frontend.ToeAngle(1, RimLength)), "toe of one wheel by 1 mm over 255 mm"},
		{adjust.Caster, float64(geometry.Degree), "caster by 1°"},
		{adjust.Camber, 0.5 * float64(geometry.Degree), "camber by 0.5°"},
	}[q.rng.IntN(3)]
	i, by, ok := turned(q.kart, a.figure)
	if !ok {
		return Question{}, errNoQuestion
	}
	c := &q.kart.Corners[0]
	now, err := c.Values(q.kart.Present[0])
	if err != nil {
		return Question{}, err
	}
	set := append(adjust.Setting(nil), q.kart.Present[0]...)
	set[i] = c.Adjusters[i].Travel().Clamp(set[i] + by)
	then, err := c.Values(set)
	if err != nil {
		return Question{}, err
	}
	per := (then[a.figure] - now[a.figure]) / (set[i] - q.kart.Present[0][i])
	need := math.Abs(a.want / per)
	say := func(f float64) string { return geometry.Turns(f * need).Spoken() }
	x := Question{
		Kind: "turns", Text: fmt.Sprintf("Kart %s: how far must the %s be turned to change %s?", q.kart.Name, c.Adjusters[i].Name, a.say),
		Choices: []string{say(1), say(2), say(0.4)},
		Worked:  fmt.Sprintf("One whole turn would change it by %s here, so it takes %s.", geometry.Units{}.Angle(geometry.Angle(math.Abs(per))), say(1)),
	}
	if a.figure == adjust.Toe {
		x.Worked = fmt.Sprintf("A quarter turn changes the toe of that wheel by %s, which is %.2f mm over 255 mm, so 1 mm takes %s.", geometry.Units{}.Angle(geometry.Angle(math.Abs(per)/4)), float64(frontend.ToeLength(geometry.Angle(math.Abs(per)/4), RimLength)), say(1))
	}
	return q.shuffled(x), nil
}

func (q *quiz) lean() (Question, error) {
	l := q.lessons[0]
	b := l.Stages[1].InBend[0]
	in, out := "the inner one", "the outer one"
	x := Question{Kind: "geometry", Text: fmt.Sprintf("Kart %s, steering turned until the front wheels stand at %.0f°. Which front wheel leans its top further toward the inside of the bend?", q.kart.Name, l.Bend.Steer.Degrees())}
	// Toward the inside of the bend: minus camber at the outer wheel, plus at
	// the inner one.
	o, i := -b.OuterCamber, b.InnerCamber
	switch {
	case o.Near(i, 0.1*geometry.Degree):
		x.Choices = []string{"both the same", in, out}
	case o > i:
		x.Choices = []string{out, in, "both the same"}
	default:
		x.Choices = []string{in, out, "both the same"}
	}
	x.Worked = fmt.Sprintf("In a left turn the outer wheel has %s of camber and the inner one %s: caster leans both into the bend, like a cyclist; kingpin inclination and static camber lean each its own way on top of it.", geometry.Units{}.AngleBy(b.OuterCamber), geometry.Units{}.AngleBy(b.InnerCamber))
	return q.shuffled(x), nil
}

func (q *quiz) weight() (Question, error) {
	var fit []*Lesson
	for _, l := range q.lessons {
		if k := l.Topic.knob; k == KnobCaster || k == KnobTrack || k == KnobKPI || k == KnobAckermann {
			fit = append(fit, l)
		}
	}
	l := fit[q.rng.IntN(len(fit))]
	s, name := q.stage(l)
	r := (s.InBend[0].Effort + s.InBend[1].Effort).Of(l.Stages[1].InBend[0].Effort + l.Stages[1].InBend[1].Effort)
	heavier, lighter, same := "heavier", "lighter", fmt.Sprintf("the same, within %.0f %%", 100*FeelEffort)
	x := Question{Kind: "steering", Text: fmt.Sprintf("Kart %s in a slow bend (%v). You change %s. How does the steering feel?", q.kart.Name, l.Bend, name)}
	switch {
	case math.Abs(r-1) < FeelEffort:
		x.Choices = []string{same, heavier, lighter}
	case r > 1:
		x.Choices = []string{heavier, lighter, same}
	default:
		x.Choices = []string{lighter, heavier, same}
	}
	x.Worked = fmt.Sprintf("The hands have to hold %.2f times as much as now: the side force of the tyres pulls on the trail, and the weight on the way the wheels move up and down. The tyres' own urge to straighten is left out, so the real ratio is a little nearer to 1.", r)
	return q.shuffled(x), nil
}

// situation returns facts in which a rule speaks.
func (q *quiz) situation(r *rules.Rule) (rules.Facts, bool) {
	f := rules.Facts{}
	if len(r.When.Symptom) == 0 {
		return f, false
	}
	first := func(t rules.Terms) (string, bool) {
		for _, x := range t {
			if !x.Not && x.Range == nil && x.Word != rules.Any {
				return x.Word, true
			}
		}
		return "", len(t) == 0
	}
	var ok [6]bool
	s := rules.Symptom{ID: r.When.Symptom[0]}
	s.Phase, ok[0] = first(r.When.Phase)
	s.Corner, ok[1] = first(r.When.Corner)
	s.Severity, ok[2] = first(r.When.Severity)
	f.Track, ok[3] = first(r.When.Track)
	f.Grip.Word, ok[4] = first(r.When.Grip)
	f.Tyres.Word, ok[5] = first(r.When.Tyres)
	for _, o := range ok {
		if !o {
			return f, false
		}
	}
	f.Symptoms = append(f.Symptoms, s)
	for _, with := range r.When.With {
		f.Symptoms = append(f.Symptoms, rules.Symptom{ID: with})
	}
	f.Wet = r.When.Wet
	_, err := q.set.Compile(f)
	return f, err == nil
}

// sayFacts says facts as somebody tells them.
func (q *quiz) sayFacts(f rules.Facts) string {
	voc := q.set.Vocabulary()
	var said []string
	for _, s := range f.Symptoms {
		said = append(said, SaySymptom(voc, s))
	}
	conditions, _ := SayConditions(voc, f)
	text := strings.Join(said, ", with ")
	if len(conditions) > 0 {
		text += "; " + strings.Join(conditions, ", ")
	}
	return text
}

func (q *quiz) pick(want func(*rules.Rule) bool) *rules.Rule {
	var fit []*rules.Rule
	all := q.set.Rules()
	for i := range all {
		if want(&all[i]) {
			fit = append(fit, &all[i])
		}
	}
	if len(fit) == 0 {
		return nil
	}
	return fit[q.rng.IntN(len(fit))]
}

func (q *quiz) move(id string) rules.Move {
	for _, m := range q.set.Vocabulary().Moves {
		if m.ID == id {
			return m
		}
	}
	return rules.Move{ID: id, Title: id, Increase: "more " + id, Decrease: "less " + id}
}

func moveTitle(m rules.Move, direction int) string {
	if direction < 0 {
		return m.Decrease
	}
	return m.Increase
}

func (q *quiz) advice() (Question, error) {
	r := q.pick(func(r *rules.Rule) bool { return len(r.Votes) == 1 && r.Contested == "" && r.Confidence >= 0.5 })
	if r == nil {
		return Question{}, errNoQuestion
	}
	f, ok := q.situation(r)
	if !ok {
		return Question{}, errNoQuestion
	}
	result, err := q.set.Evaluate(f)
	if err != nil {
		return Question{}, err
	}
	for _, v := range result.Verdicts {
		// Only what the rules are clear about may be asked as if it were so.
		if v.Move != r.Votes[0].Move || len(v.Contested) > 0 || math.Abs(v.Net) < 0.4 || v.Conflict > 0.1 || v.Hold > 0.2 || float64(v.Direction)*r.Votes[0].Amount <= 0 {
			continue
		}
		m := q.move(v.Move)
		x := Question{
			Kind: "advice", Text: fmt.Sprintf("The driver says: %s. What do the rules say about %s?", q.sayFacts(f), m.Title),
			Choices: []string{moveTitle(m, v.Direction), moveTitle(m, -v.Direction), "leave it alone"},
			Worked:  fmt.Sprintf("%s It is believed with %.2f: advice to try, not a law.", sentenceOf(r.Because), math.Abs(v.Net)),
		}
		return q.shuffled(x), nil
	}
	return Question{}, errNoQuestion
}

func sentenceOf(s string) string {
	if s = strings.TrimSpace(s); !strings.HasSuffix(s, ".") && !strings.HasSuffix(s, "?") {
		s += "."
	}
	return s
}

// contested asks what would settle a point on which the trade is split; that,
// unlike the point itself, has a right answer.
func (q *quiz) contested() (Question, error) {
	r := q.pick(func(r *rules.Rule) bool { return r.Contested != "" && len(r.Votes) == 1 && r.Decide != "" })
	if r == nil {
		return Question{}, errNoQuestion
	}
	f, ok := q.situation(r)
	if !ok {
		return Question{}, errNoQuestion
	}
	result, err := q.set.Evaluate(f)
	if err != nil {
		return Question{}, err
	}
	for _, v := range result.Verdicts {
		if v.Move != r.Votes[0].Move {
			continue
		}
		for _, d := range v.Contested {
			if d.Point != r.Contested {
				continue
			}
			m := q.move(v.Move)
			views := q.views(d, m)
			others := q.otherDecisions(d, m)
			if len(views) < 2 || len(others) < 2 {
				continue
			}
			return q.shuffled(Question{
				Kind: "contested", Text: fmt.Sprintf("The driver says: %s. The trade is split on %s here. What would settle it for this kart?", q.sayFacts(f), m.Title),
				Choices: append([]string{sentenceOf(capital(d.Decide))}, others[:2]...),
				Worked:  "Nobody is simply right. " + strings.Join(views, " "),
			}), nil
		}
	}
	return Question{}, errNoQuestion
}

// views says both camps of a dispute.
func (q *quiz) views(d rules.Dispute, m rules.Move) []string {
	var out []string
	for _, side := range []struct {
		ids   []string
		title string
	}{{d.Inc, m.Increase}, {d.Dec, m.Decrease}, {d.Leave, "leave it alone"}} {
		if len(side.ids) > 0 {
			if r := q.set.Rule(side.ids[0]); r != nil {
				out = append(out, capital(side.title)+": "+sentenceOf(r.Because))
			}
		}
	}
	return out
}

// otherDecisions returns what settles points about other moves, shuffled, with
// nothing in common with what settles this one: it cannot be right as well.
func (q *quiz) otherDecisions(d rules.Dispute, m rules.Move) []string {
	words := func(s string) map[string]bool {
		out := map[string]bool{}
		for _, w := range strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return r < 'a' || r > 'z' }) {
			// Inside rear, tread, heavier: a word of four letters or more names
			// what is looked at, but for these.
			if len(w) > 3 && !strings.Contains("with does have than then that this first what more less only kart", w) {
				out[strings.TrimSuffix(w, "s")] = true
			}
		}
		return out
	}
	own := words(d.Decide + " " + m.Title)
	var out []string
	seen := map[string]bool{}
	for _, r := range q.set.Rules() {
		if r.Contested == "" || len(r.Votes) != 1 || r.Votes[0].Move == m.ID || seen[r.Decide] {
			continue
		}
		seen[r.Decide] = true
		common := false
		for w := range words(r.Decide) {
			common = common || own[w]
		}
		if !common {
			out = append(out, sentenceOf(capital(r.Decide)))
		}
	}
	q.rng.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}
