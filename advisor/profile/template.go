package profile

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kartwright/advisor/profile/demo"
)

// CheckDimension reports what is wrong with the text of a dimension.
func CheckDimension(key, text string) error {
	for _, d := range slices.Concat(dimensions, loadDimensions) {
		if d.key != key {
			continue
		}
		m, err := parseMeasure(text, d.unit)
		if err != nil {
			return err
		}
		if v := m.value / d.unit.stored(); v < d.lo || v > d.hi {
			return fmt.Errorf("%s is not a kart's %s; expected %s to %s", text, key, trim(d.lo), trim(d.hi))
		}
		return nil
	}
	return fmt.Errorf("a profile has no number %q", key)
}

// Template returns a commented profile: the values given, every other number
// commented out with what is assumed for it, and the adjusters of the demo
// kart named like.
func Template(name, like string, values map[string]string) (string, error) {
	model, ok := demo.Read(like)
	if !ok {
		return "", fmt.Errorf("there is no demo kart %q", like)
	}
	var b strings.Builder
	b.WriteString("# A kart profile. Every number is text in quotes with its unit and may carry\n" +
		"# its uncertainty: \"105 mm ± 0.5 mm\". A line that is commented out is assumed,\n" +
		"# and answers that depend on it say so. A left or right corner that differs gets\n" +
		"# its own numbers in [corner.left] or [corner.right].\n")
	fmt.Fprintf(&b, "format = %d\nname = %s\n", Format, strconv.Quote(name))
	table := ""
	for _, d := range slices.Concat(dimensions, loadDimensions) {
		if d.table != table {
			table = d.table
			fmt.Fprintf(&b, "\n[%s]\n", table)
			if table == "corner" {
				b.WriteString("# All of these at the standard setting, steering straight ahead.\n")
			}
			if table == "mass" {
				b.WriteString("# For the wheel loads only: no turn of an adjuster depends on these.\n")
			}
		}
		fmt.Fprintf(&b, "# %s\n", d.doc)
		if v := values[d.key]; v != "" {
			fmt.Fprintf(&b, "%s = %s\n", d.key, strconv.Quote(v))
		} else {
			fmt.Fprintf(&b, "# %s = %s\n", d.key, strconv.Quote(d.assumed()))
		}
	}
	b.WriteString(`
# Better than any of these: what four level scales show with the driver seated
# and the steering straight ahead. They replace total, front_share, cg_behind.
# [mass.scales]
# front_left = "… kg"
# front_right = "… kg"
# rear_left = "… kg"
# rear_right = "… kg"
`)
	b.WriteString("\n# What can be turned. \"kartwright kart kinds\" lists the kinds and their fields.\n")
	b.WriteString(adjusterTables(string(model)))
	b.WriteString(`
# Where each adjuster stands now, if it is not at standard; one side only in
# [present.left] or [present.right].
[present]
# "tie rod" = "1/4 turn longer"

# Advice stays inside these. toe and camber are per wheel.
[limits]
# caster = ["8 deg", "16 deg"]
# camber = ["-2.5 deg", "0.5 deg"]

# What the class allows.
[class]
# name = "…"
# wheelbase = ["1010 mm", "1070 mm"]
`)
	return b.String(), nil
}

// adjusterTables cuts the [[adjuster]] tables out of a profile.
func adjusterTables(text string) string {
	var b strings.Builder
	in := false
	for line := range strings.Lines(text) {
		if t := strings.TrimSpace(line); strings.HasPrefix(t, "[") && !strings.HasPrefix(line, " ") {
			in = t == "[[adjuster]]"
		}
		if in {
			b.WriteString(line)
		}
	}
	return strings.TrimRight(b.String(), "\n") + "\n"
}
