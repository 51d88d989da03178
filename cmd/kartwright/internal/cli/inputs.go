package cli

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/rules"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
	"kartwright/rulesets/words"
)

// kartFlag adds --kart.
func kartFlag(cmd *cobra.Command, into *string) {
	cmd.Flags().StringVar(into, "kart", "", "the kart's profile: a `FILE`.toml, or a demo kart ("+strings.Join(demo.Names(), ", ")+"); $KARTWRIGHT_KART or "+demo.Default+" if not given")
}

// drawsFlag adds --draws.
func drawsFlag(cmd *cobra.Command, into *int) {
	cmd.Flags().IntVar(into, "draws", 0, "check the ± by `N` seeded random draws (10000 is plenty) and say where they differ")
}

// loadKart reads the profile that --kart names. Warnings are kept for the
// commands that show them.
func (a *app) loadKart(name string) (*profile.Kart, []diag.Diagnostic, error) {
	if name == "" {
		name = a.Getenv("KARTWRIGHT_KART")
	}
	if name == "" {
		name = demo.Default
	}
	data, isDemo := demo.Read(name)
	file := name
	if isDemo {
		file = name + ".toml"
	} else {
		var err error
		if data, err = os.ReadFile(name); err != nil {
			if errors.Is(err, fs.ErrNotExist) && !strings.ContainsAny(name, "./\\") {
				hint := diag.DidYouMean(name, demo.Names())
				if hint != "" {
					hint = "; " + hint
				}
				return nil, nil, fmt.Errorf("there is no profile %q and no demo kart of that name%s", name, hint)
			}
			return nil, nil, readError("the kart's profile", name, err)
		}
	}
	k, found := profile.Parse(file, data)
	if diag.HasErrors(found) {
		return nil, found, fileError{found}
	}
	return k, found, nil
}

// readError says in a sentence why a file cannot be read.
func readError(what, name string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s %s does not exist; check the name and the folder", what, name)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s %s may not be read; check its permissions", what, name)
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("%s %s cannot be read: %w", what, name, err)
}

// rulesFlag adds --rules.
func rulesFlag(cmd *cobra.Command, into *[]string) {
	cmd.Flags().StringArrayVar(into, "rules", nil, "a rule `FILE`.toml to use, usually one that extends \""+rulesets.Default+"\"; may be repeated; the shipped rules if not given")
}

// ownOr opens files by the path that the user gave, and the shipped ones that
// they extend by their bare name.
type ownOr struct {
	shipped fs.FS
	dir     string // that names are relative to; "" for where the program runs
}

func (o ownOr) Open(name string) (fs.File, error) {
	f, err := os.Open(filepath.Join(o.dir, filepath.FromSlash(name)))
	if errors.Is(err, fs.ErrNotExist) {
		if g, err := o.shipped.Open(path.Base(name)); err == nil {
			return g, nil
		}
	}
	return f, err
}

// Where rule files and word files are found.
var (
	ruleFS = ownOr{shipped: rulesets.FS}
	wordFS = ownOr{shipped: words.FS}
)

// ruleFiles returns where the named files are found and their names; without
// names, those given by otherwise among the shipped ones.
func ruleFiles(names []string, otherwise ...string) (fs.FS, []string, error) {
	if len(names) == 0 {
		return rulesets.FS, otherwise, nil
	}
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = filepath.ToSlash(n)
		f, err := ruleFS.Open(out[i])
		if err != nil {
			return nil, nil, readError("the rule file", n, err)
		}
		if err := f.Close(); err != nil {
			return nil, nil, err
		}
	}
	return ruleFS, out, nil
}

// clubFS returns where a club's file and the rules are found, and its name there.
// Without rules of the user's own the shipped ones go by the names that a file in
// the club's folder extends them by, so that none is taken for two.
func clubFS(club string, rules []string) (fs.FS, string) {
	if len(rules) > 0 {
		return ruleFS, filepath.ToSlash(club)
	}
	return ownOr{shipped: rulesets.FS, dir: filepath.Dir(club)}, filepath.Base(club)
}

// loadRules reads the rules that --rules names.
func (a *app) loadRules(names []string) (*rules.Set, error) {
	fsys, files, err := ruleFiles(names, rulesets.Default)
	if err != nil {
		return nil, err
	}
	loaded, found := ruleset.Load(fsys, files...)
	if diag.HasErrors(found) {
		return nil, fileError{found}
	}
	return loaded.Set, nil
}

// factFlags are the flags that state the complaint and the conditions.
type factFlags struct {
	symptoms           []string
	track, grip, tyres string
	wet, dry           bool
}

func (f *factFlags) add(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringArrayVarP(&f.symptoms, "symptom", "s", nil, "a `COMPLAINT`: ID[/phase][@slow|@fast][:severity], e.g. understeer/entry:strong; ! in front: no longer there; may be repeated")
	fl.StringVar(&f.track, "track", "", "kind of `TRACK`: tight, fast, mixed")
	fl.StringVar(&f.grip, "grip", "", "`GRIP`: low, medium, high, wet, or a number out of ten (6/10)")
	fl.StringVar(&f.tyres, "tyres", "", "`TYRES`: new, used, worn, wets, or their age (25 laps)")
	fl.BoolVar(&f.wet, "wet", false, "the track is wet")
	fl.BoolVar(&f.dry, "dry", false, "the track is dry")
}

// facts reads the flags with the words of a rule set.
func (f *factFlags) facts(set *rules.Set) (rules.Facts, error) {
	var out rules.Facts
	voc := set.Vocabulary()
	var ids []string
	for _, w := range voc.Symptoms {
		ids = append(ids, w.ID)
	}
	for _, text := range f.symptoms {
		s, err := rules.ParseSymptom(text)
		if err != nil {
			return out, usageError{err}
		}
		if !slices.Contains(ids, s.ID) {
			return out, usagef("there is no symptom %q; %s", s.ID, cmp.Or(diag.DidYouMean(s.ID, ids), "'kartwright rules symptoms' lists them"))
		}
		out.Symptoms = append(out.Symptoms, s)
	}
	if f.track != "" {
		var tracks []string
		for _, t := range voc.Tracks {
			tracks = append(tracks, t.ID)
		}
		if !slices.Contains(tracks, f.track) {
			return out, usagef("there is no kind of track %q; %s", f.track, cmp.Or(diag.DidYouMean(f.track, tracks), diag.Expected(tracks)))
		}
		out.Track = f.track
	}
	var err error
	if f.grip != "" {
		if out.Grip, err = voc.Grip.Parse(f.grip, rules.Wet); err != nil {
			return out, usagef("--grip: %w", err)
		}
	}
	if f.tyres != "" {
		if out.Tyres, err = voc.Tyres.Parse(f.tyres, rules.Wets); err != nil {
			return out, usagef("--tyres: %w", err)
		}
	}
	switch {
	case f.wet && f.dry:
		return out, usagef("the track cannot be --wet and --dry at once")
	case f.wet:
		out.Wet = rules.Yes
	case f.dry:
		out.Wet = rules.No
	}
	return out, nil
}
