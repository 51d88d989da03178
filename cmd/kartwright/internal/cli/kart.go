package cli

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/advisor/safefile"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

func (a *app) kartCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "kart",
		Short: "Kart profiles: new, check, show, kinds",
		Long: `kart makes, checks and shows profiles. A profile is one kart's TOML file: its
dimensions with their ±, what can be adjusted on it, where each adjuster stands
now, and its limits. What it leaves out is assumed, and listed as assumed
wherever an answer depends on it.`,
		RunE: needSub,
	}
	cmd.AddCommand(a.kartNewCommand(), a.kartCheckCommand(), a.kartShowCommand(), a.kartKindsCommand())
	return cmd
}

func (a *app) kartCheckCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "check FILE.toml | DEMO",
		Short:   "Find everything that is wrong with a profile",
		Long:    "check prints every error (exit status 3) and warning of a profile, and what it leaves\nto be assumed.",
		Example: "  kartwright kart check mykart.toml\n  kartwright kart check elm",
		Args:    oneKart,
		RunE: func(_ *cobra.Command, args []string) error {
			k, found, err := a.loadKart(args[0])
			if err != nil {
				return err
			}
			assumed := k.Assumed()
			if a.json {
				names := []string{}
				for _, n := range append(assumed, k.LoadNumbers...) {
					if n.Assumed {
						names = append(names, n.Path)
					}
				}
				return a.writeJSON(kartCheckJSON{"kart check", k.Name, viewFindings(found), names})
			}
			if err := diag.WriteText(&a.out, found); err != nil {
				return err
			}
			a.printf("Kart %s: no errors, %d warnings, %d numbers assumed\n", k.Name, len(found), len(assumed))
			for _, n := range assumed {
				a.para("  "+pad(n.Path, 26), n.Text(a.units)+" — "+n.Doc)
			}
			first := true
			for _, n := range k.LoadNumbers {
				if !n.Assumed {
					continue
				}
				if first {
					a.heading("Assumed for the wheel loads and the steering effort only")
					first = false
				}
				a.para("  "+pad(n.Path, 26), n.Text(a.units)+" — "+n.Doc)
			}
			return nil
		},
	}
}

// oneKart accepts exactly one profile.
func oneKart(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usagef("%s takes one profile: a file, or a demo kart (%s)", cmd.CommandPath(), strings.Join(demo.Names(), ", "))
	}
	return nil
}

func (a *app) kartShowCommand() *cobra.Command {
	var steer bool
	cmd := &cobra.Command{
		Use:   "show [FILE.toml | DEMO]",
		Short: "Show what a profile says: adjusters, where they stand, what the kart measures",
		Example: `  kartwright kart show
  kartwright kart show cedar --steer`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return oneKart(cmd, args)
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			name := ""
			if len(args) == 1 {
				name = args[0]
			}
			return a.runKartShow(name, steer)
		},
	}
	cmd.Flags().BoolVar(&steer, "steer", false, "also print camber, toe and height against the column's angle")
	return cmd
}

func (a *app) runKartShow(name string, steer bool) error {
	k, _, err := a.loadKart(name)
	if err != nil {
		return err
	}
	standard, err := k.Figures(k.Standard())
	if err != nil {
		return err
	}
	now, err := k.Figures(k.Present)
	if err != nil {
		return err
	}
	var sweep []frontend.Steered
	if steer {
		if sweep, err = steerTable(k, k.Present); err != nil {
			return err
		}
	}
	u := a.units
	var adjusters []adjusterJSON
	for _, s := range frontend.Sides {
		for i, adj := range k.Corners[s].Adjusters {
			t := adj.Travel()
			x := adjusterJSON{s.String(), adj.Name, adj.Print(k.Present[s][i], u), adj.Print(adj.Standard(), u), adj.Print(t.Min, u), adj.Print(t.Max, u), nil}
			if l, ok := adj.Adjuster.(adjust.Listed); ok {
				x.Positions = l.Positions()
			}
			adjusters = append(adjusters, x)
		}
	}
	if a.json {
		numbers := []numberJSON{}
		for _, n := range slices.Concat(k.Numbers, k.LoadNumbers) {
			numbers = append(numbers, numberJSON{n.Path, n.Text(u), n.Assumed, n.Doc})
		}
		limits := []string{}
		for _, l := range k.Limits {
			limits = append(limits, fmt.Sprintf("%s %s (%s)", l.Of, l.Text(u), l.Whose(k)))
		}
		return a.writeJSON(kartShowJSON{"kart show", k.Name, k.Note,
			map[string]figuresJSON{"left": viewFigures(now[0]), "right": viewFigures(now[1])},
			map[string]figuresJSON{"left": viewFigures(standard[0]), "right": viewFigures(standard[1])},
			round(float64(profile.FrontTrack(now))), append([]adjusterJSON{}, adjusters...), numbers, limits, viewSteer(sweep)})
	}
	a.para("Kart "+k.Name+": ", cmp.Or(k.Note, "no note"))
	a.heading("Adjusters")
	for _, x := range adjusters {
		travel := "from " + x.Least + " to " + x.Most
		w, round := any(adjusterAt(k, x)).(adjust.Wraps)
		switch {
		case round && w.Wraps():
			travel = "turns all the way round"
		case x.Positions != nil:
			travel = "can be " + strings.Join(x.Positions, ", ")
		case x.Least == x.Most:
			travel = "cannot be moved"
		}
		where := "now " + x.Now + ", standard " + x.Standard
		if x.Now == x.Standard {
			where = "at standard"
			if x.Now != "standard" {
				where += ", " + x.Now
			}
		}
		a.para("  "+pad(x.Side, 7)+pad(x.Name, 20), where+"; "+travel)
	}
	a.heading("Standard → now")
	a.printFigures(&advisor.Plan{Kart: k, Before: standard, After: now})
	if len(k.Limits) > 0 {
		a.heading("Limits")
		for _, l := range k.Limits {
			a.para("  "+pad(string(l.Of), 14), l.Text(u)+" ("+l.Whose(k)+")")
		}
	}
	a.heading("Numbers")
	for _, n := range slices.Concat(k.Numbers, k.LoadNumbers) {
		text := n.Text(u)
		if n.Assumed {
			text += " (assumed)"
		}
		a.para("  "+pad(n.Path, 42)+" ", text)
	}
	if steer {
		a.printSteer(sweep)
	}
	return nil
}

// adjusterAt finds the adjuster that a line of kart show is about.
func adjusterAt(k *profile.Kart, x adjusterJSON) adjust.Adjuster {
	for _, s := range frontend.Sides {
		if c := &k.Corners[s]; s.String() == x.Side {
			return c.Adjusters[c.Index(x.Name)].Adjuster
		}
	}
	return nil
}

func (a *app) kartKindsCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "kinds",
		Short: "List the kinds of adjuster and the fields of each",
		Args:  noArgs,
		RunE: func(*cobra.Command, []string) error {
			if a.json {
				out := []kindJSON{}
				for _, k := range adjust.Kinds() {
					x := kindJSON{k.Name, k.Doc, []fieldJSON{}}
					for _, f := range k.Fields {
						x.Fields = append(x.Fields, fieldJSON{f.Name, f.Required, f.Choices, f.Doc, f.Example})
					}
					out = append(out, x)
				}
				return a.writeJSON(kartKindsJSON{"kart kinds", out})
			}
			for i, k := range adjust.Kinds() {
				if i > 0 {
					a.printf("\n")
				}
				a.para(k.Name+": ", sentence(k.Doc))
				for _, f := range k.Fields {
					need := ""
					if f.Required {
						need = " (needed)"
					}
					a.para("  "+pad(f.Name, 24), f.Doc+need+"; "+f.Name+" = "+f.Example)
				}
			}
			return nil
		},
	}
}

type newOptions struct {
	name, like, out string
	set             []string
	force           bool
}

func (a *app) kartNewCommand() *cobra.Command {
	var o newOptions
	cmd := &cobra.Command{
		Use:   "new FILE.toml",
		Short: "Write a commented profile to fill in",
		Long: `new writes a profile with a comment for every number: what it is, how to measure
it, and what is assumed while it is left out. At a terminal it asks for the
name, the kind of front end and the numbers, and Enter leaves a number to be
assumed; otherwise it takes flags.

--like names the demo kart whose adjusters are nearest: alder (a screw for
caster, an indexed plate for camber), birch (one eccentric at the top), cedar
(eccentrics top and bottom), dogwood (offset inserts, shims, single rod ends),
elm (tie rods only).

An existing file is never overwritten without --force.`,
		Example: `  kartwright kart new mykart.toml --like alder --name "Club kart 7" \
      --set "caster=11 deg ± 0.5 deg" --set "pivot_span=76 mm"`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usagef("%s takes one file to write", cmd.CommandPath())
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			o.out = args[0]
			return a.runKartNew(o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.name, "name", "", "the kart's `NAME`")
	f.StringVar(&o.like, "like", "", "demo kart whose adjusters to copy: `DEMO`")
	f.StringArrayVar(&o.set, "set", nil, "a measured number, `KEY=VALUE`; may be repeated")
	f.BoolVar(&o.force, "force", false, "overwrite an existing file")
	return cmd
}

func (a *app) runKartNew(o newOptions) error {
	if _, err := os.Stat(o.out); err == nil && !o.force {
		return fmt.Errorf("%s is there already; choose another name, or --force to overwrite it", o.out)
	}
	values := map[string]string{}
	var keys []string
	for _, d := range profile.Dimensions() {
		keys = append(keys, d.Key)
	}
	for _, s := range o.set {
		key, v, ok := strings.Cut(s, "=")
		if key = strings.TrimSpace(key); !ok || !slices.Contains(keys, key) {
			return usagef("--set %q: %s", s, cmp.Or(diag.DidYouMean(key, keys), "write KEY=VALUE; the keys are "+strings.Join(keys, ", ")))
		}
		values[key] = strings.TrimSpace(v)
		if err := profile.CheckDimension(key, values[key]); err != nil {
			return usagef("--set %q: %w", s, err)
		}
	}
	if a.Ask {
		if err := a.askKart(&o, values); err != nil {
			return err
		}
	}
	o.like = cmp.Or(o.like, demo.Default)
	if _, ok := demo.Read(o.like); !ok {
		return usagef("--like: there is no demo kart %q; %s", o.like, cmp.Or(diag.DidYouMean(o.like, demo.Names()), diag.Expected(demo.Names())))
	}
	o.name = cmp.Or(o.name, strings.TrimSuffix(filepath.Base(o.out), ".toml"))
	text, err := profile.Template(o.name, o.like, values)
	if err != nil {
		return err
	}
	k, found := profile.Parse(o.out, []byte(text))
	if diag.HasErrors(found) {
		return fileError{found}
	}
	if err := writeFile(o.out, []byte(text)); err != nil {
		return err
	}
	if a.json {
		return a.writeJSON(kartNewJSON{"kart new", o.out, k.Name, len(k.Assumed())})
	}
	a.printf("Wrote %s: kart %s, %d numbers assumed until you measure them.\n", o.out, k.Name, len(k.Assumed()))
	a.printf("Next: kartwright kart show %s\n", o.out)
	return nil
}

// askKart asks at the terminal for what the flags did not give.
func (a *app) askKart(o *newOptions, values map[string]string) error {
	in := bufio.NewReader(a.In)
	ask := func(question string) (string, error) {
		fmt.Fprintf(a.Err, "%s: ", question)
		line, err := in.ReadString('\n')
		if err != nil && !(errors.Is(err, io.EOF) && line != "") {
			return "", fmt.Errorf("no answer to %q: nothing was written", question)
		}
		return strings.TrimSpace(line), nil
	}
	var err error
	if o.name == "" {
		if o.name, err = ask("Name of the kart"); err != nil {
			return err
		}
	}
	for o.like == "" {
		fmt.Fprintln(a.Err, "What sets caster and camber?")
		for _, n := range demo.Names() {
			data, _ := demo.Read(n)
			if k, _ := profile.Parse(n, data); k != nil {
				fmt.Fprintf(a.Err, "  %-8s %s\n", n, strings.TrimPrefix(k.Note, "demo kart: "))
			}
		}
		answer, err := ask("Which is nearest (Enter for " + demo.Default + ")")
		if err != nil {
			return err
		}
		answer = cmp.Or(answer, demo.Default)
		if _, ok := demo.Read(answer); ok {
			o.like = answer
		} else {
			fmt.Fprintf(a.Err, "there is no %q\n", answer)
		}
	}
	for _, d := range profile.Dimensions() {
		if d.Table == "mass" {
			continue // no turn depends on these; the file has them to fill in
		}
		for values[d.Key] == "" {
			answer, err := ask(fmt.Sprintf("%s: %s (Enter: assume %s)", d.Key, d.Doc, d.Assumed))
			if err != nil {
				return err
			}
			if answer == "" {
				break
			}
			if err := profile.CheckDimension(d.Key, answer); err != nil {
				fmt.Fprintln(a.Err, " ", err)
				continue
			}
			values[d.Key] = answer
		}
	}
	return nil
}

// writeFile writes a whole file or leaves what was there.
func writeFile(name string, data []byte) error {
	err := safefile.Write(name, data)
	if err == nil {
		return nil
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("%s cannot be written: %w", name, err)
}
