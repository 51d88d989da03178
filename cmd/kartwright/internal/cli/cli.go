package cli

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"kartwright/geometry"
	"kartwright/rules/diag"
)

// App is what the program touches of the world, so that tests can hand it
// another one.
type App struct {
	In       io.Reader
	Out, Err io.Writer
	Getenv   func(string) string
	Ask      bool // In is a person at a terminal
	Now      func() time.Time
}

// OS returns the app of the real world.
func OS() App {
	// A command lives for milliseconds: collecting garbage sooner would cost
	// more than the memory is worth.
	debug.SetGCPercent(400)
	return App{In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Getenv: os.Getenv, Ask: term.IsTerminal(int(os.Stdin.Fd())), Now: time.Now}
}

// The exit statuses, as "kartwright help exit-codes" prints them.
const (
	exitDone  = 0
	exitCould = 1 // could not do what was asked
	exitUsage = 2 // the command line is wrong
	exitFile  = 3 // a file has errors
)

// usageError is a fault in the command line.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// fileError is a file with findings.
type fileError struct {
	found []diag.Diagnostic
}

func (e fileError) Error() string {
	n := 0
	for _, d := range e.found {
		if d.Severity == diag.Error {
			n++
		}
	}
	if n == 1 {
		return "1 error in a file"
	}
	return fmt.Sprintf("%d errors in files", n)
}

// couldNot is an answer that was printed and says that it cannot be done; the
// exit status says so too.
type couldNot struct{ message string }

func (e couldNot) Error() string { return e.message }

// app is the state of one run.
type app struct {
	App
	out   bytes.Buffer // stdout is the whole answer or empty
	json  bool
	units geometry.Units
}

// Main runs the program and returns its exit status.
func Main(world App, args []string) int {
	a := &app{App: world}
	root := a.root()
	root.SetArgs(args)
	root.SetIn(world.In)
	root.SetOut(&a.out)
	root.SetErr(world.Err)
	err := root.Execute()
	status := a.report(err)
	var soft couldNot
	if err == nil || errors.As(err, &soft) {
		if _, werr := a.out.WriteTo(world.Out); werr != nil {
			return a.report(fmt.Errorf("could not write the answer: %w", werr))
		}
	}
	return status
}

// report prints an error where it belongs and returns its exit status.
func (a *app) report(err error) int {
	var usage usageError
	var file fileError
	status, code := exitCould, "could-not"
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &usage):
		status, code = exitUsage, "usage"
	case errors.As(err, &file):
		status, code = exitFile, "file"
	}
	if a.json {
		line, jerr := json.Marshal(failureJSON{code, err.Error(), viewFindings(file.found)})
		if jerr != nil {
			line = []byte(`{"code":"could-not","message":"the error cannot be written as JSON"}`)
		}
		fmt.Fprintf(a.Err, "%s\n", line)
		return status
	}
	if len(file.found) > 0 {
		if werr := diag.WriteText(a.Err, file.found); werr != nil {
			return exitCould
		}
	}
	fmt.Fprintf(a.Err, "kartwright: %v\n", err)
	return status
}

// root returns the command tree.
func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "kartwright",
		Short: "From what the driver says to exact turns on this kart",
		Long: `kartwright turns what a driver says of a kart into one change of its front end
that suits the track, the grip and the tyres, works out what to turn on each
side of this kart, and says what else moves and how to get back.

It computes and suggests; the chassis maker's instructions, the class
regulations and the scrutineer come first.`,
		Example: `  kartwright advise --symptom understeer/entry:strong --track tight --grip 6/10 --tyres new
  kartwright dial --caster 12.5deg --camber -1deg
  kartwright whatif --set "caster screw=1/2 turn tighter"`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			var names []string
			for _, c := range cmd.Commands() {
				if !c.Hidden {
					names = append(names, c.Name())
				}
			}
			hint := diag.DidYouMean(args[0], names)
			if hint == "" {
				hint = "run 'kartwright --help' for the commands"
			}
			return usagef("there is no command %q; %s", args[0], hint)
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return usagef("%s\nRun '%s --help' for usage.", flagFault(err), cmd.CommandPath())
	})
	p := root.PersistentFlags()
	p.BoolVar(&a.json, "json", false, "print the answer, or the failure, as JSON (see 'kartwright help json')")
	p.BoolVar(&a.units.Inches, "inches", false, "print lengths in inches")
	p.BoolVar(&a.units.Minutes, "minutes", false, "print angles in degrees and minutes")
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), ".FlagUsages", fmt.Sprint(".FlagUsagesWrapped ", width)))
	root.AddCommand(a.adviseCommand(), a.hearCommand(), a.dialCommand(), a.whatifCommand(), a.fitCommand(), a.kartCommand(), a.rulesCommand(), a.measureCommand(), a.schemaCommand())
	root.AddCommand(a.logCommand())
	root.AddCommand(a.dayCommand())
	root.AddCommand(a.learnCommand())
	root.AddCommand(a.serveCommand())
	root.AddCommand(a.pageCommand())
	for _, topic := range topics {
		root.AddCommand(topic.command())
	}
	return root
}

// flagError is a fault in a flag's value, said in full.
type flagError struct{ error }

// flagFault says what is wrong with a flag in words that need no knowledge of
// how it is read.
func flagFault(err error) string {
	var own flagError
	if errors.As(err, &own) {
		return own.Error()
	}
	text, how, number := strings.Cut(err.Error(), ": strconv.Parse")
	if !number {
		return text
	}
	kind, _, _ := strings.Cut(how, ":")
	return text + ": it must be " + map[string]string{"Int": "a whole number", "Float": "a number", "Bool": "true or false"}[kind]
}

// noArgs refuses arguments with a sentence.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usagef("%s takes no argument %q\nRun '%s --help' for usage.", cmd.CommandPath(), args[0], cmd.CommandPath())
	}
	return nil
}

// needSub is the RunE of a command that only groups others.
func needSub(cmd *cobra.Command, args []string) error {
	var names []string
	for _, c := range cmd.Commands() {
		names = append(names, c.Name())
	}
	if len(args) == 0 {
		return usagef("%s needs one of: %s", cmd.CommandPath(), strings.Join(names, ", "))
	}
	return usagef("%s has no %q; %s", cmd.CommandPath(), args[0], cmp.Or(diag.DidYouMean(args[0], names), "it has "+strings.Join(names, ", ")))
}

// writeJSON prints v as the answer.
func (a *app) writeJSON(v any) error {
	enc := json.NewEncoder(&a.out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}
