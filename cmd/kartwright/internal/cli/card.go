package cli

import (
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/cmd/kartwright/internal/web"
)

// cardFlag adds --card.
func cardFlag(cmd *cobra.Command, into *cardName) {
	cmd.Flags().Var(into, "card", "also write the job card as an image for a phone, `FILE`.svg")
}

// cardName is the name of a file for a job card; its ending says what it is.
type cardName string

func (n *cardName) String() string { return string(*n) }
func (*cardName) Type() string     { return "FILE" }

func (n *cardName) Set(text string) error {
	if strings.ToLower(filepath.Ext(text)) != ".svg" {
		return flagError{usagef("--card is %q, expected a name that ends in .svg, the kind of image it is", text)}
	}
	*n = cardName(text)
	return nil
}

// writeCard writes the card of a job, if one was asked for and there is
// something to turn.
func (a *app) writeCard(n cardName, j web.Job) (wrote string, err error) {
	if n == "" || j.Plan == nil || !j.Plan.Moved() {
		return "", nil
	}
	return string(n), writeFile(string(n), []byte(j.SVG(a.units)))
}

// without says that a card was asked for and there is none.
func (n cardName) without(wrote string) error {
	if n != "" && wrote == "" {
		return couldNot{"no job card was written: there is nothing to turn"}
	}
	return nil
}

func (a *app) printCard(wrote string) {
	if wrote != "" {
		a.printf("\n")
		a.para("", "The job card is in "+wrote+", as wide as a phone's screen.")
	}
}
