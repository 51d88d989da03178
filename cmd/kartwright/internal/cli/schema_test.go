package cli

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	validator "github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"kartwright/advisor/profile/demo"
)

// noon is the time at which tests run.
var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// run runs the program in this process.
func run(args ...string) (status int, stdout, stderr string) {
	var out, errs bytes.Buffer
	status = Main(App{In: strings.NewReader(""), Out: &out, Err: &errs, Getenv: func(string) string { return "" }, Now: func() time.Time { return noon }}, args)
	return status, out.String(), errs.String()
}

func compile(t *testing.T, name string) *validator.Schema {
	text, err := json.Marshal(schemaOf(name))
	require.NoError(t, err)
	doc, err := validator.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	c := validator.NewCompiler()
	require.NoError(t, c.AddResource("answer.json", doc))
	s, err := c.Compile("answer.json")
	require.NoError(t, err)
	return s
}

// Every answer is what its schema says, checked by an independent validator.
func TestAnswersMatchTheirSchemas(t *testing.T) {
	fresh := filepath.Join(t.TempDir(), "new.toml")
	fitKart, fitReadings := fitFiles(t)
	dir := t.TempDir()
	log, day, tables := " --journal "+filepath.Join(dir, "journal.db"), filepath.Join(dir, "day.toml"), filepath.Join(dir, "all.jsonl")
	covered := map[string]bool{}
	for _, tt := range []struct {
		answer string
		status int
		args   string
	}{
		{"advise", 0, "advise -s understeer/entry:strong --track tight --grip 6/10 --tyres new"},
		{"advise", 0, "advise -s understeer/entry --track tight --grip high --why"},
		{"advise", 0, "advise -s vibration"},
		{"advise", 0, "advise -s bind/exit --track tight --card " + filepath.Join(t.TempDir(), "card.svg")},
		{"advise", 0, "advise -s hop -s !chatter --grip medium --kart elm"},
		{"advise", 0, "advise -s bind/exit@slow:slight --wet --tyres wets --kart dogwood --inches"},
		{"advise", 0, "advise pushes|on|the|way|in,|no|hop"},
		{"hear", 0, "hear pushes|on|the|way|in,|no|hop,|25|laps"},
		{"hear", 1, "hear camter"},
		{"hear", 1, "hear blah"},
		{"hear", 0, "hear all|fine"},
		{"dial", 0, "dial --caster 12.5deg"},
		{"dial", 1, "dial --caster 20deg --kart cedar"},
		{"whatif", 0, "whatif --steer --set tie|rod=1/4|turn|longer"},
		{"fit template", 0, "fit template " + fresh + ".csv"},
		{"fit run", 0, "fit run " + fitReadings + " --kart " + fitKart + " --write"},
		{"fit next", 0, "fit next " + fitReadings + " --kart " + fitKart},
		{"kart check", 0, "kart check elm"},
		{"kart show", 0, "kart show dogwood --steer"},
		{"kart kinds", 0, "kart kinds"},
		{"kart new", 0, "kart new " + fresh},
		{"learn", 0, "learn caster"},
		{"learn", 0, "learn ride-height --kart dogwood"},
		{"learn try", 0, "learn try caster|+1deg front|5|mm|wider"},
		{"learn quiz", 0, "learn quiz --count 3 --kart elm"},
		{"rules check", 0, "rules check"},
		{"rules check", 0, "rules check --model dogwood"},
		{"rules test", 0, "rules test"},
		{"rules symptoms", 0, "rules symptoms"},
		{"rules check", 0, "rules check --hints"},
		{"rules explain", 0, "rules explain"},
		{"rules explain", 0, "rules explain newer-format"},
		{"rules why", 0, "rules why -s understeer/entry --track fast --grip 7/10"},
		{"rules why", 0, "rules why -s vibration --wet"},
		{"rules gaps", 0, "rules gaps -s hop"},
		{"rules list", 0, "rules list -s hop --contested"},
		{"rules new", 0, "rules new club-hop --file " + filepath.Join(t.TempDir(), "club.toml") + " -s hop/exit --move caster --amount -0.5|deg --because because"},
		{"rules diff", 0, "rules diff shipped.toml base.toml"},
		{"measure laser", 0, "measure laser --beam across --distance 1500mm --up 20mm±1mm --forward 1mm --side left --kart alder"},
		{"measure laser", 0, "measure laser --beam across --distance 1500mm --square 10mm --camber=-1deg"},
		{"measure widths", 0, "measure widths --front 1102mm --rear 1101mm --over 255mm"},
		{"measure line", 0, "measure line --toe=-0.2deg --over 255mm"},
		{"measure incline", 0, "measure incline --reading 89deg --level 90deg"},
		{"measure plumb", 0, "measure plumb --top 24mm --bottom 22mm --apart 130mm"},
		{"measure sweep", 0, "measure sweep --kpi 11deg --read 20deg|out=4deg --read 20deg|in=-4deg"},
		{"measure lock", 0, "measure lock --left 23mm --right 25mm --lock 20deg --reach 255mm --kart alder"},
		{"measure gauge", 0, "measure gauge --caster 12.5deg"},
		{"measure centre", 0, "measure centre --left 210mm --right 206mm --radius 38mm --kart alder"},
		{"measure scales", 0, "measure scales --total 165kg --front 41% --left 50% --cross 50%"},
		{"measure check", 0, "measure check --left-camber=-1deg --right-camber=-1.5deg --want-camber profile"},
		{"measure check", 0, "measure check --left-camber=-1deg --right-camber=-1.1deg"},
		{"measure check", 1, "measure check --left-camber=-5deg --right-camber=-0.5deg"},
		{"measure gauge", 0, "measure gauge --reading 7mm --write present --kart " + mine(t)},
		{"measure check", 0, "measure check --left-camber=-1deg --right-camber=-1.5deg --write standard --kart " + mine(t)},
		{"advise", 0, "advise -s understeer/entry --track tight --log" + log},
		{"log add", 0, "log add pushes|on|entry --grip 6/10 --laps 48.61|48.42 --set caster|screw+=1/2|turn --reading left|camber=-0.4deg" + log},
		{"log outcome", 0, "log outcome worse --effect 0.1 --se 0.05 --df 4" + log},
		{"advise", 0, "advise -s understeer/entry --track tight --why" + log},
		{"rules why", 0, "rules why -s understeer/entry --track tight" + log},
		{"log show", 0, "log show" + log},
		{"log learned", 0, "log show --learned" + log},
		{"log compare", 0, "log compare last last" + log},
		{"log undo", 0, "log undo --log" + log},
		{"log standard", 0, "log standard" + log},
		{"day plan", 0, "day plan -s understeer/entry --track tight --take 1 --save " + day + " --log" + log},
		{"day plan", 0, "day plan --advice last --runs 4" + log},
		{"day next", 0, "day next " + day + " --laps 48.60|48.55|48.52|48.58 --feel same"},
		{"day next", 0, "day next " + day + " --laps 48.40|48.35|48.32|48.38 --feel better"},
		{"day next", 0, "day next " + day + " --laps 48.41|48.33|48.34|48.37 --feel better"},
		{"day next", 0, "day next " + day + " --laps 48.61|48.53|48.54|48.57"},
		{"day verdict", 0, "day verdict " + day + " --log" + log},
		{"log strike", 0, "log strike LAST" + log},
		{"page", 0, "page -o " + filepath.Join(t.TempDir(), "page.html")},
		{"log export", 0, "log export " + tables + log},
		{"log import", 0, "log import " + tables + log},
		{"log backup", 0, "log backup " + filepath.Join(dir, "copy.db") + log},
		{"failure", 2, "dial"},
		{"failure", 1, "kart check none.toml"},
		{"failure", 3, "kart check " + broken(t)},
	} {
		covered[tt.answer] = true
		args := strings.Split(tt.args, " ")
		for i := range args {
			args[i] = strings.ReplaceAll(args[i], "|", " ")
			if args[i] == "LAST" {
				args[i] = lastEntry(t, filepath.Join(dir, "journal.db"))
			}
		}
		status, out, errs := run(append([]string{"--json"}, args...)...)
		if status != tt.status {
			t.Errorf("%s: exit status %d, want %d: %s", tt.args, status, tt.status, errs)
			continue
		}
		if tt.answer == "failure" {
			if out != "" {
				t.Errorf("%s failed and still printed %q", tt.args, out)
			}
			out = errs
		}
		doc, err := validator.UnmarshalJSON(strings.NewReader(out))
		if err != nil {
			t.Errorf("%s: %v", tt.args, err)
			continue
		}
		if err := compile(t, tt.answer).Validate(doc); err != nil {
			t.Errorf("%s: %v", tt.args, err)
		}
	}
	// serve goes on after its answer.
	covered["serve"] = true
	var doc any
	printed := json.NewDecoder(serving(t, serveOptions{words: wordFlags{language: "en"}, past: pastFlags{none: true}}, true))
	printed.UseNumber()
	require.NoError(t, printed.Decode(&doc))
	if err := compile(t, "serve").Validate(doc); err != nil {
		t.Errorf("serve: %v", err)
	}
	for name := range answers {
		if !covered[name] {
			t.Errorf("no command here answers %q", name)
		}
	}
}

// lastEntry is the ID of the latest entry of a journal.
func lastEntry(t *testing.T, path string) string {
	_, out, errs := run("--json", "log", "show", "--limit", "1", "--journal", path)
	var v struct{ Entries []struct{ ID string } }
	require.NoError(t, json.Unmarshal([]byte(out), &v), errs)
	require.Len(t, v.Entries, 1)
	return v.Entries[0].ID
}

// mine is a profile that may be written to.
func mine(t *testing.T) string {
	data, ok := demo.Read("alder")
	require.True(t, ok)
	name := filepath.Join(t.TempDir(), "mine.toml")
	require.NoError(t, os.WriteFile(name, data, 0o600))
	return name
}

func broken(t *testing.T) string {
	name := filepath.Join(t.TempDir(), "broken.toml")
	require.NoError(t, os.WriteFile(name, []byte("format = 1\nname = \"x\"\n[corner]\ncaster = 3\n"), 0o600))
	return name
}

// A schema refuses an answer that lacks a field or has one of another type.
func TestSchemasRefuse(t *testing.T) {
	s := compile(t, "dial")
	for _, text := range []string{`{}`, `{"command":"dial","kart":"x"}`, `{"command":"dial","kart":"x","plan":{"ok":"yes"}}`} {
		doc, err := validator.UnmarshalJSON(strings.NewReader(text))
		require.NoError(t, err)
		if s.Validate(doc) == nil {
			t.Errorf("the schema of dial accepts %s", text)
		}
	}
}
