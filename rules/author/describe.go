package author

import (
	"strings"

	"kartwright/rules"
)

// Describe states facts in the words of the command line: "understeer/entry,
// track tight, grip 6/10".
func Describe(v rules.Vocabulary, f rules.Facts) string {
	var parts []string
	for _, s := range f.Symptoms {
		parts = append(parts, s.String())
	}
	add := func(name, value string) {
		if value != "" {
			parts = append(parts, name+" "+value)
		}
	}
	add("track", f.Track)
	grip := v.Grip.Format(f.Grip)
	add("grip", grip)
	add("tyres", v.Tyres.Format(f.Tyres))
	switch {
	case grip == "" && f.Wet == rules.Yes:
		parts = append(parts, "wet")
	case grip == "" && f.Wet == rules.No:
		parts = append(parts, "dry")
	}
	if len(parts) == 0 {
		return "any complaint"
	}
	return strings.Join(parts, ", ")
}
