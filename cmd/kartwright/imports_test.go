package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// layers is the architecture: what each package may import of this project and
// of other people's. Anything not named is forbidden. DEVELOPERS.md draws it.
var layers = map[string]struct {
	may []string
	why string
}{
	"kartwright/cmd/kartwright": {[]string{"kartwright/cmd/kartwright/internal/cli"}, "main is one statement"},
	"kartwright/cmd/kartwright/internal/cli": {[]string{
		"kartwright/cmd/kartwright/internal/draw", "kartwright/cmd/kartwright/internal/web", "kartwright/cmd/kartwright/internal/web/offline",
		"kartwright/advisor", "kartwright/advisor/...", "kartwright/geometry", "kartwright/geometry/...", "kartwright/rules", "kartwright/rules/...", "kartwright/rulesets", "kartwright/rulesets/words",
		"github.com/spf13/cobra", "golang.org/x/term", "github.com/invopop/jsonschema", "rsc.io/qr",
	}, "the command line may use everything, and is the only door to cobra"},
	"kartwright/cmd/kartwright/internal/web": {[]string{
		"kartwright/cmd/kartwright/internal/draw", "kartwright/advisor", "kartwright/advisor/...", "kartwright/geometry", "kartwright/geometry/...", "kartwright/rules", "kartwright/rules/...",
	}, "the page shows what the layers below say and decides nothing"},
	"kartwright/cmd/kartwright/internal/web/offline":       {[]string{"kartwright/cmd/kartwright/internal/web"}, "the page as one file is the page and its core"},
	"kartwright/cmd/kartwright/internal/web/offline/build": {[]string{"kartwright/cmd/kartwright/internal/web/offline"}, "building the core is all it does"},
	"kartwright/cmd/kartwright/internal/draw":              {[]string{"kartwright/geometry", "kartwright/geometry/frontend"}, "drawings are of a front end; what to draw is decided elsewhere"},
	"kartwright/geometry":                                  {nil, "quantities know nothing but the standard library"},
	"kartwright/geometry/frontend":                         {[]string{"kartwright/geometry"}, "kinematics stand on quantities alone"},
	"kartwright/geometry/adjust":                           {[]string{"kartwright/geometry", "kartwright/geometry/frontend"}, "adjusters move the front end"},
	"kartwright/geometry/measure":                          {[]string{"kartwright/geometry", "kartwright/geometry/frontend", "kartwright/geometry/adjust"}, "readings are of the front end and its adjusters"},
	"kartwright/geometry/uncertain":                        {[]string{"kartwright/geometry", "gonum.org/v1/gonum/..."}, "uncertainty is about any function, so it knows no kart"},
	"kartwright/geometry/fit":                              {[]string{"kartwright/geometry", "kartwright/geometry/frontend", "kartwright/geometry/adjust", "gonum.org/v1/gonum/..."}, "a fit knows corners and adjusters, not profiles"},
	"kartwright/geometry/loads":                            {[]string{"kartwright/geometry", "kartwright/geometry/frontend"}, "loads stand on kinematics"},
	"kartwright/rules":                                     {nil, "rules are pure: no files, no karts"},
	"kartwright/rules/source":                              {nil, "positions in a file know nothing of what the file says"},
	"kartwright/rules/diag":                                {[]string{"kartwright/rules/source"}, "a finding needs a place"},
	"kartwright/rules/tables":                              {[]string{"kartwright/rules/source", "kartwright/rules/diag", "github.com/BurntSushi/toml"}, "the only door to the TOML decoder"},
	"kartwright/rules/ruleset":                             {[]string{"kartwright/geometry", "kartwright/rules", "kartwright/rules/source", "kartwright/rules/diag", "kartwright/rules/tables"}, "rule files become rules; amounts are quantities"},
	"kartwright/rules/ruletest":                            {[]string{"kartwright/rules", "kartwright/rules/source", "kartwright/rules/diag", "kartwright/rules/tables", "kartwright/rules/ruleset"}, "tests of rules need only rules"},
	"kartwright/rules/author":                              {[]string{"kartwright/rules", "kartwright/rules/source", "kartwright/rules/diag", "kartwright/rules/tables", "kartwright/rules/ruleset"}, "help for authors works on rules that are loaded"},
	"kartwright/rulesets":                                  {nil, "shipped files, embedded"},
	"kartwright/rulesets/words":                            {nil, "shipped files, embedded"},
	"kartwright/advisor": {[]string{
		"kartwright/advisor/profile", "kartwright/geometry", "kartwright/geometry/...", "kartwright/rules",
	}, "advice joins a kart and rules; it reads no files"},
	"kartwright/advisor/profile": {[]string{
		"kartwright/advisor/profile/demo", "kartwright/geometry", "kartwright/geometry/frontend", "kartwright/geometry/adjust", "kartwright/geometry/loads", "kartwright/rules/source", "kartwright/rules/diag", "kartwright/rules/tables",
	}, "a profile is geometry read from a file"},
	"kartwright/advisor/profile/demo": {nil, "invented karts, embedded"},
	"kartwright/advisor/complaint":    {[]string{"kartwright/rules/source", "kartwright/rules/diag", "kartwright/rules/tables", "kartwright/rules"}, "words become symptoms; nothing is decided there"},
	"kartwright/advisor/readings": {[]string{
		"kartwright/advisor/profile", "kartwright/geometry", "kartwright/geometry/frontend", "kartwright/geometry/adjust", "kartwright/geometry/fit", "kartwright/rules/source", "kartwright/rules/diag", "kartwright/rules/tables",
	}, "readings are a kart's, read from a file and posed as a fit"},
	"kartwright/advisor/journal":  {[]string{"kartwright/advisor", "kartwright/advisor/...", "kartwright/geometry", "kartwright/geometry/...", "kartwright/rules", "modernc.org/sqlite"}, "the only door to SQLite"},
	"kartwright/advisor/learn":    {[]string{"gonum.org/v1/gonum/..."}, "statistics of outcomes know no kart"},
	"kartwright/advisor/safefile": {nil, "a file that several write to knows nothing of what it holds"},
	"kartwright/advisor/testday":  {[]string{"kartwright/advisor", "kartwright/advisor/...", "kartwright/geometry", "kartwright/geometry/...", "kartwright/rules/source", "kartwright/rules/diag", "kartwright/rules/tables", "gonum.org/v1/gonum/..."}, "test days plan work on a kart"},
}

func TestImports(t *testing.T) {
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "kartwright/...")
	out, err := cmd.Output()
	require.NoError(t, err)
	dec := json.NewDecoder(strings.NewReader(string(out)))
	for {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			return
		} else {
			require.NoError(t, err)
		}
		layer, ok := layers[p.ImportPath]
		if !ok {
			t.Errorf("package %s is not in the picture: add it to layers and to DEVELOPERS.md", p.ImportPath)
			continue
		}
		for _, imp := range p.Imports {
			if first, _, _ := strings.Cut(imp, "/"); !strings.Contains(first, ".") && first != "kartwright" {
				continue // standard library
			}
			if !slices.ContainsFunc(layer.may, func(m string) bool {
				prefix, all := strings.CutSuffix(m, "...")
				return imp == m || all && strings.HasPrefix(imp, prefix)
			}) {
				t.Errorf("%s must not import %s: %s", p.ImportPath, imp, layer.why)
			}
		}
	}
}
