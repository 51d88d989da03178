package journal_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"kartwright/advisor/journal"
)

func laps(ms ...int64) (out []journal.Lap) {
	for _, m := range ms {
		out = append(out, journal.Lap{MS: m})
	}
	return out
}

func TestParseLaps(t *testing.T) {
	flagged := laps(49920, 48610, 55100, 50000)
	flagged[0].Flag, flagged[2].Flag, flagged[3].Flag = "out", "spoiled", "in"
	for _, tt := range []struct {
		text string
		want []journal.Lap
	}{
		{"", nil},
		{"48.61 48.42\n48.350", laps(48610, 48420, 48350)},
		{"48.61, 48.42,48.35;48.4", laps(48610, 48420, 48350, 48400)},
		{"48,61 48,42; 48,35", laps(48610, 48420, 48350)},
		{"48.61s 1:02.341 0:48.5", laps(48610, 62341, 48500)},
		{"49.92 out 48.61 55.10x 50 in", flagged},
		{"48.6104", laps(48610)},
	} {
		got, err := journal.ParseLaps(tt.text)
		if diff := cmp.Diff(tt.want, got); diff != "" || err != nil {
			t.Errorf("%q: %v (-want +got):\n%s", tt.text, err, diff)
		}
	}
	for text, want := range map[string]string{
		"48.61 quick": `"quick" is not a lap time`, "x 48.6": "comes before any lap time", "3.2": "is not one: expected 5 s to 15 min", "1:75.0": `"1:75.0" is not a lap time`,
		"1:02:03:04": "is not a lap time", "48.6.1": "is not a lap time", "-48.6": "is not a lap time", "4.5:10": "is not a lap time", "16:00": "expected 5 s to 15 min",
	} {
		if got, err := journal.ParseLaps(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q is read as %v (%v), want an error that says %s", text, got, err, want)
		}
	}
}

func TestReadLapsCSV(t *testing.T) {
	for _, tt := range []struct{ file, column string }{
		{"lap,lap time\n1,48.61\n2,48.42\n", ""},
		{"\uFEFFLap;Time of day;LAP_TIME\n1;12:00:01;48,61\n2;12:00:50;48,42\n", ""},
		{"48.61\n48.42\n", ""},
		{"1,48.61\n2,48.42\n", ""},
		{"no\tzeit\n1\t0:48.61\n2\t0:48.42\n\n", "Zeit"},
		{"lap,time\n1,48.61\n2,\n3,48.42\n", ""},
	} {
		got, err := journal.ReadLapsCSV("laps.csv", strings.NewReader(tt.file), tt.column)
		if diff := cmp.Diff(laps(48610, 48420), got); diff != "" || err != nil {
			t.Errorf("%q: %v (-want +got):\n%s", tt.file, err, diff)
		}
	}
	for _, tt := range []struct{ file, column, want string }{
		{"lap,time\n1,48.61\n2,quick\n", "", `laps.csv:3: "quick" is not a lap time`},
		{"a,b\n1,2\n", "", "it is not clear which column has the lap times, among a, b"},
		{"a,b\n1,2\n", "c", `there is no column "c" among a, b`},
		{"lap,time\n", "", "laps.csv has no lap times"},
		{"lap,time\n1,\"48\n", "", "laps.csv:2:"},
		{"lap,time\n1,48.61 48.42\n", "", "is not one lap time"},
	} {
		if got, err := journal.ReadLapsCSV("laps.csv", strings.NewReader(tt.file), tt.column); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q is read as %v (%v), want an error that says %s", tt.file, got, err, tt.want)
		}
	}
}

// Whatever is pasted, no lap comes out that no kart drives.
func FuzzParseLaps(f *testing.F) {
	f.Add("49.92 out 48.61, 48,42; 1:02.3 x")
	f.Fuzz(func(t *testing.T, text string) {
		got, err := journal.ParseLaps(text)
		if err != nil && got != nil {
			t.Errorf("%q gives laps beside the error %v", text, err)
		}
		for _, l := range got {
			if l.MS < 5_000 || l.MS > 900_000 {
				t.Errorf("%q gives a lap of %d ms", text, l.MS)
			}
		}
	})
}
