package cli

import (
	"bufio"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor/complaint"
	"kartwright/rules"
	"kartwright/rules/diag"
)

// wordFlags choose the word files.
type wordFlags struct {
	language string
	files    []string
}

// languages are the shipped word files.
var languages = []string{"en", "it", "es", "fr", "de"}

func (w *wordFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&w.language, "language", "en", "`LANGUAGE` of the sentence: "+strings.Join(languages, ", ")+", or all to find out")
	cmd.Flags().StringArrayVar(&w.files, "words", nil, "a word `FILE`.toml of your own, which extends a shipped one such as \"en.toml\"; may be repeated")
}

// lexicon loads the word files that the flags name.
func (a *app) lexicon(w wordFlags) (*complaint.Lexicon, error) {
	var names []string
	for _, n := range w.files {
		f, err := wordFS.Open(filepath.ToSlash(n))
		if err != nil {
			return nil, readError("the word file", n, err)
		}
		if err := f.Close(); err != nil {
			return nil, err
		}
		names = append(names, filepath.ToSlash(n))
	}
	if len(names) == 0 {
		switch {
		case w.language == "all":
			for _, l := range languages {
				names = append(names, l+".toml")
			}
		case slices.Contains(languages, w.language):
			names = []string{w.language + ".toml"}
		default:
			return nil, usagef("--language is %q; %s", w.language, cmp.Or(diag.DidYouMean(w.language, languages), "expected "+strings.Join(languages, ", ")+" or all"))
		}
	}
	l, found := complaint.Load(wordFS, names...)
	if diag.HasErrors(found) {
		return nil, fileError{found}
	}
	return l, nil
}

func (a *app) hearCommand() *cobra.Command {
	var w wordFlags
	var batch string
	cmd := &cobra.Command{
		Use:   "hear TEXT",
		Short: "What a driver's own words are understood to mean",
		Long: `hear reads what a driver says and shows what it understood: the complaints with
the part of the corner, how strong and whether still there, and what is said of
track, grip and tyres; what it did not use; and what it must not guess. When a
word could mean two things that call for opposite advice it asks at a terminal,
and otherwise lists the candidates with exit status 1, as when nothing was
understood at all; who says that all is well has no complaint, status 0.

With --batch it reads a file, one text a line ("-" for standard input), and
prints one JSON object a line.`,
		Example: `  kartwright hear "pushes on the way in at the hairpins, fine on exit, new tyres, track is green"
  kartwright hear --batch notes.txt`,
		Args: func(cmd *cobra.Command, args []string) error {
			if batch != "" && len(args) > 0 {
				return usagef("give either a text or --batch, not both")
			}
			if batch == "" && len(args) == 0 {
				return usagef("say what the driver says, in quotes\nRun 'kartwright hear --help' for usage.")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			l, err := a.lexicon(w)
			if err != nil {
				return err
			}
			if batch != "" {
				return a.hearBatch(l, batch)
			}
			return a.runHear(l, strings.Join(args, " "))
		},
	}
	w.add(cmd)
	cmd.Flags().StringVar(&batch, "batch", "", "read `FILE`, one text a line")
	return cmd
}

// hearJSON is what hear answers; the fields of a report.
type hearJSON = complaint.Report

func (a *app) hearBatch(l *complaint.Lexicon, name string) error {
	in := a.In
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return readError("the batch", name, err)
		}
		defer f.Close()
		in = f
	}
	enc := json.NewEncoder(&a.out)
	enc.SetEscapeHTML(false)
	lines := bufio.NewScanner(in)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if err := enc.Encode(l.Read(lines.Text())); err != nil {
			return err
		}
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("the batch %s cannot be read to its end: %w", name, err)
	}
	return nil
}

func (a *app) runHear(l *complaint.Lexicon, text string) error {
	r, err := a.settle(l, text)
	if err != nil {
		return err
	}
	if a.json {
		if err := a.writeJSON(r); err != nil {
			return err
		}
	} else {
		a.printReport(r)
	}
	if len(r.Unsure) > 0 {
		return couldNot{unsureText(r)}
	}
	if r.Nothing() {
		return couldNot{"nothing was understood; say in other words what the kart does and where"}
	}
	return nil
}

func (a *app) printReport(r complaint.Report) {
	for _, line := range r.Say() {
		a.para("", sentence(line))
	}
}

// settle reads a text and, at a terminal, asks about what must not be guessed.
func (a *app) settle(l *complaint.Lexicon, text string) (complaint.Report, error) {
	r := l.Read(text)
	if !a.Ask || a.json {
		return r, nil
	}
	in := bufio.NewReader(a.In)
	for tries := 0; len(r.Unsure) > 0 && tries < 5; tries++ {
		q := r.Unsure[0]
		fmt.Fprintf(a.Err, "%s\n", q.Question)
		for i, c := range q.Candidates {
			fmt.Fprintf(a.Err, "  %d  %s\n", i+1, c)
		}
		fmt.Fprint(a.Err, "Number, or Enter to leave it out: ")
		line, err := in.ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return r, err
		}
		choice := ""
		for i, c := range q.Candidates {
			if strings.TrimSpace(line) == itoa(i+1) {
				choice = c
			}
		}
		next := strings.Replace(text, q.Words, choice, 1)
		if symptom, _, _ := strings.Cut(strings.TrimPrefix(choice, "no "), "/"); slices.Contains(complaint.Symptoms(), symptom) {
			// What is around the words might turn the answer round.
			if next = text; q.Words != text {
				next = strings.Replace(text, q.Words, "", 1)
			}
			next = strings.TrimRight(next, " .!?") + ". " + choice
		}
		if next == text {
			break // the words are not there as they stand
		}
		text = next
		r = l.Read(text)
	}
	return r, nil
}

func unsureText(r complaint.Report) string {
	var parts []string
	end := ": say whether it is"
	for _, q := range r.Unsure {
		parts = append(parts, fmt.Sprintf("%q could be %s", q.Words, strings.Join(q.Candidates, " or ")))
		if len(q.Candidates) > 1 {
			end = ": say which"
		}
	}
	return strings.Join(parts, "; ") + end
}

// addHeard adds what was heard to the facts that flags stated. What both say
// must agree.
func addHeard(r complaint.Report, f rules.Facts, voc rules.Vocabulary) (rules.Facts, error) {
	f, err := r.Facts(f, voc)
	var c *complaint.Clash
	if errors.As(err, &c) {
		return f, usagef("the sentence says %s %s, --%s says %s: leave one out", c.What, c.Said, c.What, c.Stated)
	}
	return f, err
}
