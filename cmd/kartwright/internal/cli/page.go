package cli

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"kartwright/advisor/safefile"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/cmd/kartwright/internal/web/offline"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
)

type pageOptions struct {
	kart   string
	rules  []string
	club   string
	words  wordFlags
	output string
}

func (a *app) pageCommand() *cobra.Command {
	var o pageOptions
	cmd := &cobra.Command{
		Use:   "page -o FILE.html",
		Short: "The page as one file for a phone without signal",
		Long: `page writes the page of 'kartwright serve' as one file that computes in the
browser: copy it to a phone and open it there, with no server and no network. It
carries the demo karts, the shipped rules and words, and the kart and the rules
that the flags name. What is changed in it lives until it is closed.

A kartwright that was built without the page's core builds it with the Go that
is installed and must then be run in kartwright's source.`,
		Example: `  kartwright page -o kartwright.html
  kartwright page -o kartwright.html --kart mykart.toml --club club.toml`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return a.runPage(o) },
	}
	kartFlag(cmd, &o.kart)
	rulesFlag(cmd, &o.rules)
	f := cmd.Flags()
	f.StringVarP(&o.output, "output", "o", "", "`FILE`.html to write")
	f.StringVar(&o.club, "club", "", "the club's own rule `FILE`.toml")
	f.StringVar(&o.words.language, "language", "en", "`LANGUAGE` of what the driver says: en, it, es, fr, de, or all")
	return cmd
}

type pageJSON struct {
	Command string `json:"command"`
	File    string `json:"file" jsonschema_description:"that was written, one page that needs no server"`
	Bytes   int    `json:"bytes" jsonschema_description:"how large it is"`
}

// carried collects what a page takes with it. All of it has been read and
// checked: a page that does not open would be found out too late.
func (a *app) carried(o pageOptions) (web.Carried, error) {
	d := web.Carried{RuleFiles: map[string]string{}}
	if name := cmp.Or(o.kart, a.Getenv("KARTWRIGHT_KART")); name != "" {
		if _, _, err := a.loadKart(name); err != nil {
			return d, err
		}
		if data, err := os.ReadFile(name); err == nil { // otherwise it is a demo kart, which every page has
			d.KartFile, d.Kart = filepath.Base(name), string(data)
		}
	}
	fsys, names, err := ruleFiles(o.rules, rulesets.Default)
	if err != nil {
		return d, err
	}
	d.Rules = names
	load := names
	if o.club != "" {
		fsys, d.Club = clubFS(o.club, o.rules)
		text, err := readIfThere(o.club)
		if err != nil {
			return d, readError("the club's rule file", o.club, err)
		}
		if text == nil {
			return d, fmt.Errorf("the club's rule file %s does not exist; check the name and the folder", o.club)
		}
		load = append([]string{d.Club}, names...)
	}
	loaded, found := ruleset.Load(fsys, load...)
	if diag.HasErrors(found) {
		return d, fileError{found}
	}
	for _, f := range loaded.Files {
		if shipped, err := rulesets.FS.ReadFile(f.Name); err != nil || string(shipped) != string(f.Source.Data) {
			d.RuleFiles[f.Name] = string(f.Source.Data)
		}
	}
	if _, err := a.lexicon(o.words); err != nil {
		return d, err
	}
	d.Words = []string{o.words.language + ".toml"}
	if o.words.language == "all" {
		d.Words = nil
		for _, l := range languages {
			d.Words = append(d.Words, l+".toml")
		}
	}
	return d, nil
}

func (a *app) runPage(o pageOptions) error {
	if o.output == "" {
		return usagef("say which file to write, for example -o kartwright.html\nRun 'kartwright page --help' for usage.")
	}
	d, err := a.carried(o)
	if err != nil {
		return err
	}
	core, ok := offline.BuiltCore()
	if !ok {
		if core, err = offline.BuildCore("."); err != nil {
			return err
		}
	}
	page, err := offline.Page(core, d)
	if err != nil {
		return err
	}
	if err := safefile.Write(o.output, page); err != nil {
		return fmt.Errorf("%s cannot be written: %w", o.output, err)
	}
	if a.json {
		return a.writeJSON(pageJSON{"page", o.output, len(page)})
	}
	a.printf("Wrote %s, %.1f MB. Copy it to a phone and open it there; it needs no network.\n", o.output, float64(len(page))/1e6)
	return nil
}
