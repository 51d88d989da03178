package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/journal"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules"
)

// openJournal opens the journal that --journal, $KARTWRIGHT_JOURNAL or the
// platform names.
func (a *app) openJournal(flag string) (*journal.Journal, error) {
	path := flag
	if path == "" {
		path = a.Getenv("KARTWRIGHT_JOURNAL")
	}
	if path == "" {
		var err error
		if path, err = journal.DefaultPath(a.Getenv, runtime.GOOS); err != nil {
			return nil, err
		}
	}
	return journal.Open(context.Background(), path, journal.Options{Now: a.Now})
}

// withJournal runs do on the journal and closes it.
func (a *app) withJournal(flag string, do func(context.Context, *journal.Journal) error) (err error) {
	j, err := a.openJournal(flag)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	if j.Created && !a.json {
		a.para("", "Began a new journal, "+j.Path+".")
	}
	return do(context.Background(), j)
}

// journalFlag adds --journal.
func journalFlag(cmd *cobra.Command, into *string) {
	cmd.Flags().StringVar(into, "journal", "", "the journal's `FILE`; $KARTWRIGHT_JOURNAL or one in your data folder if not given")
}

func (a *app) logCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "log",
		Short: "The journal: what was driven, said, advised, done and came of it",
		Long: `log keeps a journal of your karts: how they were set, who drove where on what,
what the driver said, what was advised, what was done and how it turned out. It
is one file, made when it is first used; a copy of the file is a copy of the
journal.

Entries are never changed. One that was wrong is struck out: it stays readable
and counts no more.`,
		Example: `  kartwright log add "pushes on the way in" --place "home track" --track tight --grip 6/10 --laps "48.61 48.42"
  kartwright log outcome better
  kartwright log show`,
		RunE: needSub,
		Args: cobra.ArbitraryArgs,
	}
	cmd.AddCommand(a.logAddCommand(), a.logOutcomeCommand(), a.logShowCommand(), a.logCompareCommand(), a.logUndoCommand(), a.logStandardCommand(),
		a.logStrikeCommand(), a.logExportCommand(), a.logImportCommand(), a.logBackupCommand())
	return cmd
}

// logEntriesJSON is the answer of the commands that write entries or show them.
type logEntriesJSON struct {
	Command string           `json:"command"`
	Journal string           `json:"journal" jsonschema_description:"its file"`
	Entries []journal.Record `json:"entries"`
	Struck  string           `json:"struck,omitempty" jsonschema_description:"ID of the entry that struck out the one shown"`
	Notes   []string         `json:"notes"`
}

// wrote answers a command that has written entries.
func (a *app) wrote(command string, j *journal.Journal, notes []string, entries ...journal.Record) error {
	if a.json {
		return a.writeJSON(logEntriesJSON{command, j.Path, entries, "", list(notes)})
	}
	for _, e := range entries {
		a.printEntry(e)
	}
	for _, n := range notes {
		a.para("  - ", sentence(n))
	}
	return nil
}

type logAddOptions struct {
	journal, kart, side                   string
	rules                                 []string
	facts                                 factFlags
	words                                 wordFlags
	said                                  string
	place, driver, weather, tyreSet, note string
	tyreLaps                              int64
	laps, lapsFile, lapsColumn            string
	did, advice                           string
	set, readings                         []string
	at                                    string
}

func (a *app) logAddCommand() *cobra.Command {
	o := logAddOptions{tyreLaps: -1}
	cmd := &cobra.Command{
		Use:   "add [TEXT]",
		Short: "Log a session, a change of the setting, readings, or all at once",
		Long: `add logs what you give it in one go: TEXT is what the driver said, the flags are
the conditions, the lap times, what was turned and what was measured. At a
terminal and without any of it, it asks.

The kart stands from then on as --set and --did say. --did last says that the
latest advice was carried out as it was given. --advice logs an answer of
'advise --json' as given.

A set of tyres that is named gets older by itself: its laps are counted from
session to session.`,
		Example: `  kartwright log add "pushes on the way in" --place "home track" --track tight --grip 6/10 --laps "49.92 out 48.61 48.42"
  kartwright log add --set "caster screw+=1/2 turn" --reading "left camber=-0.4deg" --note "after lunch"
  kartwright advise "pushes on the way in" --json | kartwright log add --advice -
  kartwright log add --did last`,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.said = strings.Join(args, " ")
			if len(args) == 0 && a.Ask && !a.json && cmd.Flags().NFlag() == countFlags(cmd, "kart", "journal", "rules", "language", "words", "at") {
				if err := a.askSession(&o); err != nil {
					return err
				}
			}
			return a.runLogAdd(o)
		},
	}
	kartFlag(cmd, &o.kart)
	journalFlag(cmd, &o.journal)
	rulesFlag(cmd, &o.rules)
	o.facts.add(cmd)
	o.words.add(cmd)
	f := cmd.Flags()
	f.StringVar(&o.place, "place", "", "the `NAME` of the track, as you call it")
	f.StringVar(&o.driver, "driver", "", "`NAME` of who drove")
	f.StringVar(&o.weather, "weather", "", "the weather in your `WORDS`")
	f.StringVar(&o.tyreSet, "tyre-set", "", "`NAME` of the set of tyres")
	f.Int64Var(&o.tyreLaps, "tyre-laps", -1, "`LAPS` on the set before the session; counted if the set has been logged before")
	f.StringVar(&o.laps, "laps", "", "lap `TIMES`, as pasted: \"49.92 out 48.61 1:02.3 55.1 x\"; - reads them from standard input")
	f.StringVar(&o.lapsFile, "laps-file", "", "lap times from a CSV `FILE`")
	f.StringVar(&o.lapsColumn, "laps-column", "", "the `COLUMN` of that file that has them")
	f.StringArrayVar(&o.set, "set", nil, "`ADJUSTER=POSITION`, or ADJUSTER+=CHANGE; may be repeated")
	f.StringVar(&o.side, "side", "both", "`SIDE` that --set is for: both, left or right")
	f.StringArrayVar(&o.readings, "reading", nil, "what was measured, `SIDE WHAT=VALUE`: \"left camber=-0.4deg ± 0.1deg\", \"kart front track=1040 mm\"; may be repeated")
	f.StringVar(&o.did, "did", "", "the `ADVICE` that was carried out: its ID, or last")
	f.StringVar(&o.advice, "advice", "", "advice that was given: a `FILE` with the answer of 'advise --json', - for standard input")
	f.StringVar(&o.note, "note", "", "anything else, in your `WORDS`")
	atFlag(cmd, &o.at)
	return cmd
}

// countFlags counts those of the named flags that are set.
func countFlags(cmd *cobra.Command, names ...string) int {
	n := 0
	for _, name := range names {
		if f := cmd.Flag(name); f != nil && f.Changed {
			n++
		}
	}
	for _, name := range []string{"inches", "minutes"} {
		if cmd.Flags().Changed(name) {
			n++
		}
	}
	return n
}

func atFlag(cmd *cobra.Command, into *string) {
	cmd.Flags().StringVar(into, "at", "", "when it was, if not now: `TIME` as 14:20, \"2026-05-03 14:20\" or 2026-05-03T14:20:00Z")
}

// when reads --at.
func (a *app) when(text string) (time.Time, error) {
	now := a.Now()
	if text == "" {
		return now, nil
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, nil
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, text, time.Local); err == nil {
			return t, nil
		}
	}
	if t, err := time.Parse("15:04", text); err == nil {
		n := now.In(time.Local)
		return time.Date(n.Year(), n.Month(), n.Day(), t.Hour(), t.Minute(), 0, 0, time.Local), nil
	}
	return time.Time{}, usagef("--at is %q, expected a time such as 14:20, \"2026-05-03 14:20\" or 2026-05-03T14:20:00Z", text)
}

// askSession asks for a session at the terminal.
func (a *app) askSession(o *logAddOptions) error {
	in := bufio.NewReader(a.In)
	a.In = in
	for _, q := range []struct {
		text string
		into *string
	}{
		{"Which track (as you call it)?", &o.place}, {"What kind: tight, fast or mixed?", &o.facts.track}, {"Grip: low, medium, high, wet, or out of ten (6/10)?", &o.facts.grip},
		{"Weather?", &o.weather}, {"Tyres: new, used, worn, wets, or their laps (25 laps)?", &o.facts.tyres}, {"Which set?", &o.tyreSet}, {"Who drove?", &o.driver},
		{"Lap times, pasted in one line?", &o.laps}, {"What did the driver say?", &o.said}, {"Anything else?", &o.note},
	} {
		fmt.Fprintf(a.Err, "%s (Enter: not said) ", q.text)
		line, err := in.ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		*q.into = strings.TrimSpace(line)
		if err != nil {
			return nil
		}
	}
	return nil
}

func (a *app) runLogAdd(o logAddOptions) error {
	set, err := a.loadRules(o.rules)
	if err != nil {
		return err
	}
	facts, err := o.facts.facts(set)
	if err != nil {
		return err
	}
	var notes []string
	if o.said != "" {
		l, err := a.lexicon(o.words)
		if err != nil {
			return err
		}
		heard, err := a.settle(l, o.said)
		if err != nil {
			return err
		}
		// The words are kept whatever is made of them.
		if len(heard.Unsure) > 0 {
			notes = append(notes, unsureText(heard))
		}
		if facts, err = addHeard(heard, facts, set.Vocabulary()); err != nil {
			return err
		}
	}
	if len(facts.Symptoms) > 0 {
		if _, err := set.Compile(facts); err != nil {
			return usageError{err}
		}
	}
	laps, err := a.readLaps(o)
	if err != nil {
		return err
	}
	at, err := a.when(o.at)
	if err != nil {
		return err
	}
	on, err := sides(o.side)
	if err != nil {
		return err
	}
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return err
	}
	ses := &journal.Session{
		Header: journal.Header{At: at, Kart: k.Name}, Conditions: conditions(set.Vocabulary(), facts), Driver: o.driver, Place: o.place, Weather: o.weather,
		TyreSet: o.tyreSet, Complaint: o.said, Laps: laps, Note: o.note,
	}
	for _, s := range facts.Symptoms {
		ses.Symptoms = append(ses.Symptoms, s.String())
	}
	driven := o.said != "" || len(laps) > 0 || len(ses.Symptoms) > 0 || o.driver != "" || o.place != "" || o.weather != "" || o.tyreSet != "" || ses.Conditions != journal.Conditions{}
	changed := len(o.set) > 0 || len(o.readings) > 0 || o.did != ""
	driven = driven || o.note != "" && !changed
	if !driven && !changed && o.advice == "" {
		return usagef("say what to log, for example \"pushes on the way in\", --laps or --set\nRun 'kartwright log add --help' for usage.")
	}
	advice, err := a.readAdvice(o.advice)
	if err != nil {
		return err
	}
	return a.withJournal(o.journal, func(ctx context.Context, j *journal.Journal) error {
		var entries []journal.Record
		if driven || changed {
			if err := tyreLaps(ctx, j, ses, o.tyreLaps); err != nil {
				return err
			}
			stands, err := j.LatestSetting(ctx, k.Name)
			if err != nil {
				return err
			}
			if changed || stands == nil {
				next, more, err := a.newSetting(ctx, j, k, stands, on, o)
				if err != nil {
					return err
				}
				notes = append(notes, more...)
				next.At = at
				if !driven {
					next.Note = o.note
				}
				if err := j.Add(ctx, next); err != nil {
					return err
				}
				stands, entries = next, append(entries, next)
			}
			if driven {
				ses.Setting = stands.ID
				if err := j.Add(ctx, ses); err != nil {
					return err
				}
				entries = append(entries, ses)
			}
		}
		if advice != nil {
			adv, err := j.RecordAdvice(ctx, at, advice)
			if err != nil {
				return err
			}
			entries = append(entries, adv)
		}
		if o.did == "" && advice == nil { // otherwise it is too soon
			if err := a.askPending(ctx, j, k); err != nil {
				return err
			}
		}
		return a.wrote("log add", j, notes, entries...)
	})
}

// readAdvice reads the file that --advice names, nil without one.
func (a *app) readAdvice(name string) ([]byte, error) {
	switch name {
	case "":
		return nil, nil
	case "-":
		b, err := io.ReadAll(a.In)
		if err != nil {
			return nil, fmt.Errorf("the advice cannot be read: %w", err)
		}
		return b, nil
	}
	b, err := os.ReadFile(name)
	if err != nil {
		return nil, readError("the advice", name, err)
	}
	return b, nil
}

// conditions are facts in the words that the journal keeps.
func conditions(voc rules.Vocabulary, f rules.Facts) journal.Conditions {
	c := journal.Conditions{Track: f.Track, Grip: voc.Grip.Format(f.Grip), Tyres: voc.Tyres.Format(f.Tyres)}
	switch {
	case f.Wet == rules.Yes || c.Grip == rules.Wet:
		c.Wet = "yes"
	case f.Wet == rules.No || c.Grip != "":
		c.Wet = "no"
	}
	return c
}

// tyreLaps fills in how old the tyres are.
func tyreLaps(ctx context.Context, j *journal.Journal, s *journal.Session, stated int64) error {
	if stated >= 0 {
		s.TyreLaps = &stated
	} else if n, ok, err := j.TyreLaps(ctx, s.TyreSet); err != nil {
		return err
	} else if ok {
		s.TyreLaps = &n
	}
	if s.TyreLaps != nil && s.Tyres == "" {
		s.Tyres = fmt.Sprintf("%d laps", *s.TyreLaps)
	}
	return nil
}

func (a *app) readLaps(o logAddOptions) ([]journal.Lap, error) {
	switch {
	case o.laps != "" && o.lapsFile != "":
		return nil, usagef("give either --laps or --laps-file, not both")
	case o.lapsColumn != "" && o.lapsFile == "":
		return nil, usagef("--laps-column needs --laps-file")
	case o.lapsFile != "":
		f, err := os.Open(o.lapsFile)
		if err != nil {
			return nil, readError("the file of lap times", o.lapsFile, err)
		}
		defer f.Close()
		return journal.ReadLapsCSV(o.lapsFile, f, o.lapsColumn)
	}
	text := o.laps
	if text == "-" {
		b, err := io.ReadAll(a.In)
		if err != nil {
			return nil, fmt.Errorf("the lap times cannot be read: %w", err)
		}
		text = string(b)
	}
	laps, err := journal.ParseLaps(text)
	if err != nil {
		return nil, usagef("--laps: %w", err)
	}
	return laps, nil
}

// newSetting is the entry for how the kart stands after what was done.
func (a *app) newSetting(ctx context.Context, j *journal.Journal, k *profile.Kart, stands *journal.Setting, on []frontend.Side, o logAddOptions) (*journal.Setting, []string, error) {
	to, notes, err := standsAt(k, stands)
	if err != nil {
		return nil, nil, err
	}
	var did *journal.Advice
	if o.did != "" {
		if did, err = findAdvice(ctx, j, k.Name, o.did); err != nil {
			return nil, nil, err
		}
		var turns bool
		if to, turns, err = did.Carry(k, to); err != nil {
			return nil, nil, err
		}
		if !turns {
			notes = append(notes, "the advice turns nothing on this kart that does not stand so already")
		}
	}
	for _, text := range o.set {
		if err := applySetting(k, on, text, &to); err != nil {
			return nil, nil, err
		}
	}
	next, err := journal.SettingOf(k, to)
	if err != nil {
		return nil, nil, err
	}
	if did != nil {
		next.Advice = did.ID
	}
	for _, text := range o.readings {
		r, err := parseReading(text)
		if err != nil {
			return nil, nil, err
		}
		next.Readings = append(next.Readings, r)
	}
	return next, notes, nil
}

// standsAt is where the kart stands by the journal, or by its profile if the
// journal does not know.
func standsAt(k *profile.Kart, stands *journal.Setting) ([2]adjust.Setting, []string, error) {
	if stands != nil {
		return stands.On(k)
	}
	return [2]adjust.Setting{append(adjust.Setting(nil), k.Present[0]...), append(adjust.Setting(nil), k.Present[1]...)}, nil, nil
}

// parseReading reads "left camber=-0.4deg ± 0.1deg".
func parseReading(text string) (journal.Reading, error) {
	what, value, ok := strings.Cut(text, "=")
	side, name, ok2 := strings.Cut(strings.TrimSpace(what), " ")
	name = strings.TrimSpace(name)
	if !ok || !ok2 || name == "" || side != "left" && side != "right" && side != "kart" {
		return journal.Reading{}, usagef("--reading %q: write left, right or kart, what was measured, and its value: \"left camber=-0.4deg\"", text)
	}
	r := journal.Reading{Side: side, What: name}
	keep := func(value, pm float64, v, p **float64) {
		*v = &value
		if pm != 0 {
			*p = &pm
		}
	}
	toe, toeErr := frontend.ParseToe(value)
	angle, angleErr := geometry.ParseMeasuredAngle(value)
	length, lengthErr := geometry.ParseMeasuredLength(value)
	switch {
	case angleErr == nil:
		keep(angle.Value.Degrees(), angle.PM.Degrees(), &r.Angle, &r.AnglePM)
	case lengthErr == nil:
		keep(float64(length.Value), float64(length.PM), &r.Length, &r.LengthPM)
	case name == "toe" && toeErr == nil:
		keep(toe.Value.Degrees(), toe.PM.Degrees(), &r.Angle, &r.AnglePM)
	default:
		return r, usagef("--reading %q: %q is neither an angle (-0.4deg) nor a length (7.6 mm)", text, strings.TrimSpace(value))
	}
	return r, nil
}

// findAdvice finds advice by its ID, or the latest.
func findAdvice(ctx context.Context, j *journal.Journal, kart, which string) (*journal.Advice, error) {
	if which == "last" {
		adv, err := j.LatestAdvice(ctx, kart)
		if err == nil && adv == nil {
			err = fmt.Errorf("no advice for kart %s is in the journal %s; 'kartwright advise --log' puts it there", kart, j.Path)
		}
		return adv, err
	}
	r, err := j.Find(ctx, which)
	if err != nil {
		return nil, err
	}
	adv, ok := r.(*journal.Advice)
	if !ok {
		return nil, fmt.Errorf("entry %s is no advice, it is a %s", which, r.Head().Kind)
	}
	if adv.Kart != kart {
		return nil, fmt.Errorf("advice %s was for kart %s, not for %s; name the kart with --kart", which, adv.Kart, kart)
	}
	return adv, nil
}

type logOutcomeOptions struct {
	journal, kart, advice, verdict string
	symptoms                       []string
	effect, se                     string
	df                             float64
	instead, session, note, at     string
}

var verdictWords = []string{"better", "same", "worse"}

func (a *app) logOutcomeCommand() *cobra.Command {
	var o logOutcomeOptions
	cmd := &cobra.Command{
		Use:   "outcome [ADVICE] [better|same|worse]",
		Short: "Say how advice turned out",
		Long: `outcome says what became of the complaint after the advice was tried: better,
same or worse, for all of it or for each symptom. ADVICE is its ID; without one,
the latest that nobody has spoken about. What is said of it later counts instead.

The advice is taken to have been carried out as it was given, and the kart to
stand so, unless 'log add --did' has said otherwise or --instead says what was
done. The rules that spoke for the change are believed less when it does not
help ('kartwright log show --learned').

A timed test speaks too: --effect with its standard error and degrees of
freedom, drift taken out. One run before and one after is no such test: the
track gets faster by itself.`,
		Example: `  kartwright log outcome better
  kartwright log outcome 3fa9c1d2 --symptom understeer/entry=better --symptom hop=worse
  kartwright log outcome same --effect -0.12s --se 0.06s --df 4`,
		Args: cobra.MaximumNArgs(2),
		RunE: func(_ *cobra.Command, args []string) error {
			for _, arg := range args {
				switch {
				case slices.Contains(verdictWords, arg) && o.verdict == "":
					o.verdict = arg
				case o.advice == "":
					o.advice = arg
				default:
					return usagef("log outcome does not understand %q; expected an ID and one of better, same, worse", arg)
				}
			}
			return a.runLogOutcome(o)
		},
	}
	kartFlag(cmd, &o.kart)
	journalFlag(cmd, &o.journal)
	f := cmd.Flags()
	f.StringArrayVarP(&o.symptoms, "symptom", "s", nil, "`SYMPTOM=VERDICT` for one symptom: understeer/entry=better; may be repeated")
	f.StringVar(&o.effect, "effect", "", "effect on the lap time in `SECONDS`, below 0 is faster: -0.12s")
	f.StringVar(&o.se, "se", "", "its standard error in `SECONDS`")
	f.Float64Var(&o.df, "df", 0, "its degrees of freedom, a `NUMBER` from 1")
	f.StringVar(&o.instead, "instead", "", "what was done instead of the advice, in your `WORDS`")
	f.StringVar(&o.session, "session", "", "`ID` of the session that showed it; the latest since the advice if not given")
	f.StringVar(&o.note, "note", "", "anything else, in your `WORDS`")
	atFlag(cmd, &o.at)
	return cmd
}

func (a *app) runLogOutcome(o logOutcomeOptions) error {
	at, err := a.when(o.at)
	if err != nil {
		return err
	}
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return err
	}
	return a.withJournal(o.journal, func(ctx context.Context, j *journal.Journal) error {
		adv, err := a.adviceToJudge(ctx, j, k.Name, o.advice)
		if err != nil {
			return err
		}
		out := &journal.Outcome{Header: journal.Header{At: at, Kart: k.Name}, Advice: adv.ID, Followed: o.instead == "", Instead: o.instead, Note: o.note}
		if err := a.verdicts(adv, o, out); err != nil {
			return err
		}
		if err := effect(o, out); err != nil {
			return err
		}
		if err := out.Judge(); err != nil {
			return usagef("say how it turned out: better, same, worse, or --effect\nRun 'kartwright log outcome --help' for usage.")
		}
		entries, notes, err := addOutcome(ctx, j, k, adv, out, o.session)
		if err != nil {
			return err
		}
		return a.wrote("log outcome", j, notes, entries...)
	})
}

// addOutcome logs an outcome with the session that showed it and, if the advice
// was carried out, how the kart stands since.
func addOutcome(ctx context.Context, j *journal.Journal, k *profile.Kart, adv *journal.Advice, out *journal.Outcome, session string) (entries []journal.Record, notes []string, err error) {
	if out.Session, err = sessionAfter(ctx, j, adv, session); err != nil {
		return nil, nil, err
	}
	if out.Followed {
		set, err := carriedOut(ctx, j, k, adv)
		switch {
		case err != nil:
			notes = append(notes, "how the kart stands was not logged: "+err.Error())
		case set != nil:
			set.At = out.At
			entries = append(entries, set)
			notes = append(notes, "the kart was logged as the advice has it; 'kartwright log add --set' says otherwise")
		}
	}
	entries = append(entries, out)
	return entries, notes, j.Add(ctx, entries...)
}

// adviceToJudge is the advice that is named, or the latest that waits for it.
func (a *app) adviceToJudge(ctx context.Context, j *journal.Journal, kart, which string) (*journal.Advice, error) {
	if which != "" {
		adv, err := findAdvice(ctx, j, kart, which)
		if err == nil && adv.Move == "" {
			err = fmt.Errorf("advice %s was to change nothing, so there is nothing to judge", adv.ID.Short())
		}
		return adv, err
	}
	waiting, err := j.Pending(ctx, kart, time.Unix(0, 0))
	if err != nil {
		return nil, err
	}
	if len(waiting) == 0 {
		return nil, fmt.Errorf("no advice for kart %s waits to be judged in the journal %s; name one by its ID to judge it anew", kart, j.Path)
	}
	return waiting[0], nil
}

// verdicts fills in what became of each symptom, and asks at a terminal if
// nothing was said.
func (a *app) verdicts(adv *journal.Advice, o logOutcomeOptions, out *journal.Outcome) error {
	var complained []string
	for _, s := range adv.Symptoms {
		if !strings.HasPrefix(s, "!") {
			complained = append(complained, s)
		}
	}
	for _, text := range o.symptoms {
		s, v, ok := strings.Cut(text, "=")
		if !ok || !slices.Contains(verdictWords, v) {
			return usagef("--symptom %q: write SYMPTOM=better, =same or =worse", text)
		}
		full := ""
		for _, c := range complained {
			if c == s || strings.HasPrefix(c, s+":") || strings.HasPrefix(c, s+"/") || strings.HasPrefix(c, s+"@") {
				full = c
			}
		}
		if full == "" {
			return usagef("--symptom %q: the advice was for %s", text, strings.Join(complained, ", "))
		}
		out.Verdicts = append(out.Verdicts, journal.SymptomVerdict{Symptom: full, Verdict: v})
	}
	if o.verdict != "" {
		if len(out.Verdicts) > 0 {
			return usagef("give either one verdict for all or --symptom, not both")
		}
		for _, c := range complained {
			out.Verdicts = append(out.Verdicts, journal.SymptomVerdict{Symptom: c, Verdict: o.verdict})
		}
		return nil
	}
	if len(out.Verdicts) > 0 || o.effect != "" || !a.Ask || a.json {
		return nil
	}
	in := bufio.NewReader(a.In)
	fmt.Fprintf(a.Err, "How was it after %s?\n", adv.Title)
	for _, c := range complained {
		for {
			fmt.Fprintf(a.Err, "  %s: better, same or worse? (Enter: not said) ", sayReading(c))
			line, err := in.ReadString('\n')
			word := strings.ToLower(strings.TrimSpace(line))
			if slices.Contains(verdictWords, word) {
				out.Verdicts = append(out.Verdicts, journal.SymptomVerdict{Symptom: c, Verdict: word})
			}
			if slices.Contains(verdictWords, word) || word == "" || err != nil {
				break
			}
		}
	}
	return nil
}

// effect reads the outcome of a timed test.
func effect(o logOutcomeOptions, out *journal.Outcome) error {
	if o.effect == "" && o.se == "" && o.df == 0 {
		return nil
	}
	if o.effect == "" || o.se == "" || o.df == 0 {
		return usagef("a timed test needs --effect, --se and --df together")
	}
	read := func(flag, text string) (*float64, error) {
		v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.ReplaceAll(text, "−", "-"), "s")), 64)
		if err != nil {
			return nil, usagef("%s is %q, expected seconds such as -0.12s", flag, text)
		}
		return &v, nil
	}
	var err error
	if out.Effect, err = read("--effect", o.effect); err != nil {
		return err
	}
	if out.EffectSE, err = read("--se", o.se); err != nil {
		return err
	}
	out.EffectDF = &o.df
	if !(*out.EffectSE > 0) || !(o.df >= 1) {
		return usagef("--se must be above 0 s and --df at least 1, not %g s and %g", *out.EffectSE, o.df)
	}
	return nil
}

// sessionAfter is the session that is named, or the latest if it came after
// the advice.
func sessionAfter(ctx context.Context, j *journal.Journal, adv *journal.Advice, which string) (journal.ID, error) {
	if which != "" {
		r, err := j.Find(ctx, which)
		if err != nil {
			return "", err
		}
		if _, ok := r.(*journal.Session); !ok {
			return "", fmt.Errorf("entry %s is no session, it is %s", which, r.Head().Kind)
		}
		return r.Head().ID, nil
	}
	s, err := j.LatestSession(ctx, adv.Kart)
	if err != nil || s == nil || !s.At.After(adv.At) {
		return "", err
	}
	return s.ID, nil
}

// carriedOut is the entry for the kart as the advice has it, nil if such a one
// is there or the advice turns nothing.
func carriedOut(ctx context.Context, j *journal.Journal, k *profile.Kart, adv *journal.Advice) (*journal.Setting, error) {
	if done, err := j.CarriedOut(ctx, adv.ID); err != nil || done != nil {
		return nil, err
	}
	stands, err := j.LatestSetting(ctx, k.Name)
	if err != nil {
		return nil, err
	}
	if stands != nil && stands.At.After(adv.At) {
		return nil, nil // somebody has logged how it stands since
	}
	from, _, err := standsAt(k, stands)
	if err != nil {
		return nil, err
	}
	to, turns, err := adv.Carry(k, from)
	if err != nil || !turns {
		return nil, err
	}
	set, err := journal.SettingOf(k, to)
	if err != nil {
		return nil, err
	}
	set.Advice = adv.ID
	return set, nil
}

func (a *app) logStrikeCommand() *cobra.Command {
	var path, why string
	cmd := &cobra.Command{
		Use:     "strike ID",
		Short:   "Strike out an entry that was wrong",
		Long:    "strike makes an entry count no more: it is not shown in lists, not learned from,\nand the kart does not stand by it. It stays in the journal and can be shown by\nits ID.",
		Example: "  kartwright log strike 3fa9c1d2 --why \"wrong kart\"",
		Args:    oneArg("the ID of an entry, as 'kartwright log show' prints it"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.withJournal(path, func(ctx context.Context, j *journal.Journal) error {
				r, err := j.Find(ctx, args[0])
				if err != nil {
					return err
				}
				s := &journal.Strike{Header: journal.Header{Kart: r.Head().Kart}, Of: r.Head().ID, Why: why}
				if err := j.Add(ctx, s); err != nil {
					return err
				}
				return a.wrote("log strike", j, nil, s)
			})
		},
	}
	journalFlag(cmd, &path)
	cmd.Flags().StringVar(&why, "why", "", "what was wrong with it, in your `WORDS`")
	return cmd
}

// oneArg demands one argument and says what it is.
func oneArg(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != 1 {
			return usagef("%s needs %s\nRun '%s --help' for usage.", cmd.CommandPath(), what, cmd.CommandPath())
		}
		return nil
	}
}

// logWorkJSON is the answer of undo and standard.
type logWorkJSON struct {
	Command string           `json:"command"`
	Kart    string           `json:"kart"`
	From    string           `json:"from" jsonschema_description:"ID of the setting by which the kart stands; empty: as its profile has it"`
	To      string           `json:"to" jsonschema_description:"ID of the setting to go back to; empty: standard"`
	Plan    *planJSON        `json:"plan"`
	Entries []journal.Record `json:"entries" jsonschema_description:"what was logged, with --log"`
	Notes   []string         `json:"notes"`
}

func (a *app) logUndoCommand() *cobra.Command {
	var path, kart, at string
	var log bool
	cmd := &cobra.Command{
		Use:   "undo [ID]",
		Short: "What to turn to bring the kart back to an earlier setting",
		Long: `undo says what to turn so that the kart stands as it did at an earlier setting,
or at the session that was driven with it; without an ID, at the setting before
the latest. --log says that you have done it.`,
		Example: `  kartwright log undo
  kartwright log undo 3fa9c1d2 --log`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.runLogBack("log undo", path, kart, at, log, func(ctx context.Context, j *journal.Journal, k *profile.Kart) (*journal.Setting, error) {
				if len(args) == 1 {
					s, _, err := a.settingOf(ctx, j, k.Name, args[0])
					return s, err
				}
				rs, err := j.Recent(ctx, journal.Filter{Kart: k.Name, Kinds: []journal.Kind{journal.KindSetting}, Limit: 2})
				if err != nil {
					return nil, err
				}
				if len(rs) < 2 {
					return nil, fmt.Errorf("the journal %s has no earlier setting of kart %s to go back to", j.Path, k.Name)
				}
				return rs[1].(*journal.Setting), nil
			})
		},
	}
	kartFlag(cmd, &kart)
	journalFlag(cmd, &path)
	cmd.Flags().BoolVar(&log, "log", false, "log that it has been done")
	atFlag(cmd, &at)
	return cmd
}

func (a *app) logStandardCommand() *cobra.Command {
	var path, kart, at string
	var log bool
	cmd := &cobra.Command{
		Use:     "standard",
		Short:   "What to turn to bring the kart back to standard",
		Long:    "standard says what to turn so that the kart stands at the standard setting of its\nprofile, from where it stands by the journal. --log says that you have done it.",
		Example: "  kartwright log standard --kart cedar",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			return a.runLogBack("log standard", path, kart, at, log, func(_ context.Context, _ *journal.Journal, k *profile.Kart) (*journal.Setting, error) {
				s, err := journal.SettingOf(k, k.Standard())
				if s != nil {
					s.Note = "standard"
				}
				return s, err
			})
		},
	}
	kartFlag(cmd, &kart)
	journalFlag(cmd, &path)
	cmd.Flags().BoolVar(&log, "log", false, "log that it has been done")
	atFlag(cmd, &at)
	return cmd
}

func (a *app) runLogBack(command, path, kart, atText string, log bool, target func(context.Context, *journal.Journal, *profile.Kart) (*journal.Setting, error)) error {
	at, err := a.when(atText)
	if err != nil {
		return err
	}
	k, _, err := a.loadKart(kart)
	if err != nil {
		return err
	}
	return a.withJournal(path, func(ctx context.Context, j *journal.Journal) error {
		back, err := target(ctx, j, k)
		if err != nil {
			return err
		}
		stands, err := j.LatestSetting(ctx, k.Name)
		if err != nil {
			return err
		}
		from, notes, err := standsAt(k, stands)
		if err != nil {
			return err
		}
		to, more, err := back.On(k)
		if err != nil {
			return err
		}
		plan, err := advisor.PlanBetween(k, from, to)
		if err != nil {
			return err
		}
		answer := logWorkJSON{Command: command, Kart: k.Name, To: string(back.ID), Plan: viewPlan(plan, nil, nil, a.units), Entries: []journal.Record{}, Notes: list(append(notes, more...))}
		if stands != nil {
			answer.From = string(stands.ID)
		}
		if log {
			next, err := journal.SettingOf(k, to)
			if err != nil {
				return err
			}
			next.At, next.Note = at, "back to standard"
			if back.ID != "" {
				next.Note = "back to " + back.ID.Short()
			}
			if err := j.Add(ctx, next); err != nil {
				return err
			}
			answer.Entries = append(answer.Entries, next)
		}
		if a.json {
			return a.writeJSON(answer)
		}
		a.printBack(k, stands, back, plan, answer)
		return nil
	})
}

func (a *app) printBack(k *profile.Kart, stands, back *journal.Setting, plan *advisor.Plan, answer logWorkJSON) {
	where := "standard"
	if back.ID != "" {
		where = fmt.Sprintf("the setting of %s (%s)", localTime(back.At), back.ID.Short())
	}
	from := "its profile"
	if stands != nil {
		from = fmt.Sprintf("the setting of %s (%s)", localTime(stands.At), stands.ID.Short())
	}
	a.para("", fmt.Sprintf("Kart %s, from %s to %s.", k.Name, from, where))
	if !plan.Moved() {
		a.para("", "It stands so already: nothing to turn.")
	} else {
		a.heading("Turn")
		a.printTurns(plan)
		a.heading("Before → after")
		a.printFigures(plan)
		a.printReasons(plan)
		a.printSteps(plan)
		a.printCautions(plan.Cautions())
	}
	for _, n := range answer.Notes {
		a.para("  - ", sentence(n))
	}
	if len(answer.Entries) > 0 {
		a.heading("Logged")
		for _, e := range answer.Entries {
			a.printEntry(e)
		}
	}
}

// settingOf finds a setting by its ID, or that of a session.
func (a *app) settingOf(ctx context.Context, j *journal.Journal, kart, which string) (*journal.Setting, *journal.Session, error) {
	var r journal.Record
	var err error
	if which == "last" {
		rs, rerr := j.Recent(ctx, journal.Filter{Kart: kart, Kinds: []journal.Kind{journal.KindSession}, Limit: 1})
		if rerr == nil && len(rs) == 0 {
			rerr = fmt.Errorf("the journal %s has no session of kart %s", j.Path, kart)
		}
		if rerr != nil {
			return nil, nil, rerr
		}
		r = rs[0]
	} else if r, err = j.Find(ctx, which); err != nil {
		return nil, nil, err
	}
	switch e := r.(type) {
	case *journal.Setting:
		return e, nil, nil
	case *journal.Session:
		if e.Setting == "" {
			return nil, e, fmt.Errorf("session %s was logged without the kart's setting", e.ID.Short())
		}
		s, err := j.Find(ctx, string(e.Setting))
		if err != nil {
			return nil, e, err
		}
		return s.(*journal.Setting), e, nil
	}
	return nil, nil, fmt.Errorf("entry %s is neither a setting nor a session, it is %s", which, r.Head().Kind)
}

// logFileJSON is the answer of export, import and backup.
type logFileJSON struct {
	Command string `json:"command"`
	Journal string `json:"journal"`
	File    string `json:"file"`
	Entries int    `json:"entries" jsonschema_description:"written, or new to the journal"`
	Known   int    `json:"known" jsonschema_description:"of an import: entries that were there already"`
}

func (a *app) logExportCommand() *cobra.Command {
	var path string
	var asCSV, evidence bool
	cmd := &cobra.Command{
		Use:   "export FILE|FOLDER",
		Short: "Write the whole journal as JSON lines or CSV",
		Long: `export writes every entry, so that 'log import' can make the same journal of
it: one line of JSON an entry (FILE, or - for standard output), or with --csv a
folder of tables for a spreadsheet.

--evidence writes only what happened with each rule, without names, places,
karts or times of day, to be shared with other people.`,
		Example: `  kartwright log export journal.jsonl
  kartwright log export --csv tables
  kartwright log export --evidence for-the-club.jsonl`,
		Args: oneArg("where to write to: a file, - for standard output, or with --csv a folder"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.withJournal(path, func(ctx context.Context, j *journal.Journal) (err error) {
				to, n := args[0], 0
				write := j.ExportJSON
				switch {
				case asCSV && evidence:
					return usagef("evidence is exported as JSON lines; leave out --csv")
				case asCSV && to == "-":
					return usagef("--csv needs a folder")
				case evidence:
					write = j.ExportEvidence
				}
				switch {
				case asCSV:
					n, err = j.ExportCSV(ctx, to)
				case to == "-":
					_, err = write(ctx, &a.out)
					return err
				default:
					n, err = exportFile(ctx, to, write)
				}
				if err != nil {
					return err
				}
				return a.printFileAnswer(logFileJSON{"log export", j.Path, to, n, 0}, fmt.Sprintf("Wrote %s to %s.", count(n, "entry", "entries"), to))
			})
		},
	}
	journalFlag(cmd, &path)
	cmd.Flags().BoolVar(&asCSV, "csv", false, "write a folder of CSV files, one a table")
	cmd.Flags().BoolVar(&evidence, "evidence", false, "write only what happened with each rule")
	return cmd
}

// exportFile writes a new file, whole or not at all.
func exportFile(ctx context.Context, name string, write func(context.Context, io.Writer) (int, error)) (n int, err error) {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return 0, fmt.Errorf("%s is there already; name a file that is not", name)
	}
	if err != nil {
		return 0, readError("the export", name, err)
	}
	n, err = write(ctx, f)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return 0, errors.Join(fmt.Errorf("the export was not written: %w", err), os.Remove(name))
	}
	return n, nil
}

func (a *app) logImportCommand() *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:   "import FILE|FOLDER",
		Short: "Take the entries of an export into the journal",
		Long: `import takes over what 'log export' wrote, from this or another journal: a file
of JSON lines (- for standard input) or a folder of CSV tables. It takes all of
it or nothing. What is there already counts once, however often it comes back.`,
		Example: `  kartwright log import journal.jsonl
  kartwright log import tables`,
		Args: oneArg("what to read: a file, - for standard input, or a folder of CSV files"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.withJournal(path, func(ctx context.Context, j *journal.Journal) error {
				got, err := a.importFrom(ctx, j, args[0])
				if err != nil {
					return err
				}
				return a.printFileAnswer(logFileJSON{"log import", j.Path, args[0], got.New, got.Known},
					fmt.Sprintf("Took over %s from %s; %s there already.", count(got.New, "new entry", "new entries"), args[0], count(got.Known, "was", "were")))
			})
		},
	}
	journalFlag(cmd, &path)
	return cmd
}

func (a *app) importFrom(ctx context.Context, j *journal.Journal, from string) (journal.Imported, error) {
	if from == "-" {
		return j.ImportJSON(ctx, "standard input", a.In)
	}
	info, err := os.Stat(from)
	if err != nil {
		return journal.Imported{}, readError("the export", from, err)
	}
	if info.IsDir() {
		return j.ImportCSV(ctx, from)
	}
	f, err := os.Open(from)
	if err != nil {
		return journal.Imported{}, readError("the export", from, err)
	}
	defer f.Close()
	return j.ImportJSON(ctx, from, f)
}

func (a *app) logBackupCommand() *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:     "backup FILE",
		Short:   "Check the journal and write a whole copy of it",
		Long:    "backup reads the whole journal, checks that every entry is as it was written,\nand writes a copy as it is at one moment, even while other programs use it. To\nuse the copy, give it to --journal or put it in the place of the journal.",
		Example: "  kartwright log backup journal-may.db",
		Args:    oneArg("the name of the copy, which must not be there yet"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.withJournal(path, func(ctx context.Context, j *journal.Journal) error {
				if err := j.Backup(ctx, args[0]); err != nil {
					return err
				}
				return a.printFileAnswer(logFileJSON{"log backup", j.Path, args[0], 0, 0}, fmt.Sprintf("The journal is whole; %s is a copy of it.", args[0]))
			})
		},
	}
	journalFlag(cmd, &path)
	return cmd
}

func (a *app) printFileAnswer(v logFileJSON, text string) error {
	if a.json {
		return a.writeJSON(v)
	}
	a.para("", text)
	return nil
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return itoa(n) + " " + many
}
