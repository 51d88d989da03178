package testday

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestParseLaps(t *testing.T) {
	timed := func(v ...float64) []Lap {
		var out []Lap
		for _, s := range v {
			out = append(out, Lap{s, 2, Timed, ""})
		}
		return out
	}
	for _, tt := range []struct {
		name, text string
		want       []Lap
	}{
		{"one a line", "48.60\n48.55\n", timed(48.60, 48.55)},
		{"several on a line", "48.60 48.55, 48.50;48.45", timed(48.60, 48.55, 48.50, 48.45)},
		{"minutes", "0:48.60\n1:02.10", timed(48.60, 62.10)},
		{"decimal comma", "48,60\n48,55\n", timed(48.60, 48.55)},
		{"decimal comma in a list", "48,60 48,55, 48,50; 48,45", timed(48.60, 48.55, 48.50, 48.45)},
		{"decimal comma with minutes", "0:48,60", timed(48.60)},
		{"lap numbers", "1 48.60\n2: 48.55\n3. 48.50\nlap 4 48.45\nLap 5: 48.40 s", timed(48.60, 48.55, 48.50, 48.45, 48.40)},
		{"lap numbers and decimal commas", "1;48,60\n2\t48,55", timed(48.60, 48.55)},
		{"table", "lap,time,flag\n1,49.92,out\n2,48.60,\n3,0:48.55,spin at the hairpin\n", []Lap{{49.92, 2, OutLap, ""}, {48.60, 2, Timed, ""}, {48.55, 2, Spoiled, "spin at the hairpin"}}},
		{"table with sectors", "lap;S1;S2;lap time\n1;20,10;28,50;48,60\n", timed(48.60)},
		{"quoted table", "\"Lap\",\"Lap Time\"\n\"1\",\"48.60\"\n", timed(48.60)},
		{"reasons", "49.92 out\n48.60\n49.88 (traffic)\n55.10 spin at the hairpin\n50.1 in-lap", []Lap{
			{49.92, 2, OutLap, ""}, {48.60, 2, Timed, ""}, {49.88, 2, Spoiled, "traffic"}, {55.10, 2, Spoiled, "spin at the hairpin"}, {50.1, 1, InLap, ""}}},
		{"reasons on one line", "49.92 out 48.60 49.88 traffic", []Lap{{49.92, 2, OutLap, ""}, {48.60, 2, Timed, ""}, {49.88, 2, Spoiled, "traffic"}}},
		{"thousandths", "48.605", []Lap{{48.605, 3, Timed, ""}}},
		{"comments, blank lines, other line ends", "\ufeff# run 3\r\n\r\n48.60 # good one\r48.55", timed(48.60, 48.55)},
		{"no-break space", "1\u00a048.60", timed(48.60)},
	} {
		got, err := ParseLaps(tt.text)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if d := cmp.Diff(tt.want, got); d != "" {
			t.Errorf("%s (−want +got):\n%s", tt.name, d)
		}
	}
}

func TestParseLapsSaysWhatIsWrong(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"", "there are no lap times; expected one on a line, such as 48.60 or 0:48.60"},
		{"lap,time\n", "there are no lap times; expected one on a line, such as 48.60 or 0:48.60"},
		{"48.60\nabc", `lap times, line 2, lap 2, "abc": "abc" is neither a lap time (48.60, 0:48.60) nor a reason to leave a lap out (out, in, traffic, spin, yellow, contact or spoiled)`},
		{"4.86", `lap times, line 1, lap 1, "4.86": a lap of 4.86 s is not a kart's; expected 10 s to 10 minutes`},
		{"48", `lap times, line 1, lap 1, "48": a whole number is a lap's number, not its time; write hundredths, such as 48.60`},
		{"48.60 7", `lap times, line 1, lap 2, "48.60 7": the last number has no hundredths; is it a lap number or a time?`},
		{"1 2 48.60", `lap times, line 1, lap 1, "1 2 48.60": "2" and the number before it are both without hundredths: which is the lap, which the time?`},
		{"1:75.20", `lap times, line 1, lap 1, "1:75.20": "1:75.20" has 75 seconds after its minutes; expected 0 to 59`},
		{"1,48,60", `lap times, line 1, lap 1, "1,48,60": the comma separates times and decimals; write 48.60, or a time on each line`},
		{"out 49.92", `lap times, line 1, lap 1, "out 49.92": "out" stands before any time; write the time first, then the reason: 49.92 out`},
		{"20.10 12.20 28.50", `lap times, line 1, lap 1, "20.10 12.20 28.50": these times are too different to be laps; if they are parts of a lap, put a first line that names the column of the lap time: lap,time,…`},
		{"1:02.11\n48,50", `lap times, line 2, lap 2, "48,50": commas and points are mixed: "48,50" has a decimal comma, other times have a point; write all of them with one or the other`},
		{"lap;time\n1;48.60\n2;48,50", `lap times, line 3, lap 2, "2;48,50": commas and points are mixed: "48,50" has a decimal comma, other times have a point; write all of them with one or the other`},
		{"lap;time\n1", `lap times, line 2, lap 1, "1": column 2, the lap time, is missing`},
		{"lap,time\n1,4x.60", `lap times, line 2, lap 1, "1,4x.60": "4x.60" is not a lap time; expected 48.60, 0:48.60 or 48,60`},
		{"lap,time\n1,48,60", `lap times, line 2, lap 1, "1,48,60": the comma separates columns and decimals; write 48.60, or separate the columns by ;`},
		{"lap,time,note\n1,48.60,ok", `lap times, line 2, lap 1, "1,48.60,ok": "ok" is not a reason to leave a lap out; expected out, in, traffic, spin, yellow, contact or spoiled`},
	} {
		if _, err := ParseLaps(tt.text); err == nil || err.Error() != tt.want {
			t.Errorf("ParseLaps(%q):\n got %v\nwant %s", tt.text, err, tt.want)
		}
	}
}

// Laps are read back from every form in which people write them.
func TestLapsInEveryForm(t *testing.T) {
	lap := rapid.Custom(func(t *rapid.T) Lap {
		l := Lap{Seconds: float64(rapid.IntRange(3000, 11000).Draw(t, "hundredths")) / 100, Decimals: 2}
		switch rapid.IntRange(0, 5).Draw(t, "kind") {
		case 0:
			l.Flag = OutLap
		case 1:
			l.Flag = InLap
		case 2:
			l.Flag, l.Why = Spoiled, rapid.SampledFrom([]string{"traffic", "spin", "yellow"}).Draw(t, "why")
		}
		return l
	})
	rapid.Check(t, func(t *rapid.T) {
		laps := rapid.SliceOfN(lap, 1, 12).Draw(t, "laps")
		minutes, comma, numbered := rapid.Bool().Draw(t, "minutes"), rapid.Bool().Draw(t, "comma"), rapid.Bool().Draw(t, "numbered")
		end := rapid.SampledFrom([]string{"\n", "\r\n", "\r"}).Draw(t, "line end")
		var b strings.Builder
		for i, l := range laps {
			s := l.String()
			if minutes {
				m := int(l.Seconds) / 60
				rest := l
				rest.Seconds -= float64(60 * m)
				s = fmt.Sprintf("%d:%05.2f%s", m, rest.Seconds, strings.TrimLeft(l.String(), "0123456789."))
			}
			if comma {
				s = strings.Replace(s, ".", ",", 1)
			}
			if numbered {
				s = fmt.Sprintf("%d\t%s", i+1, s)
			}
			b.WriteString(s + end)
		}
		got, err := ParseLaps(b.String())
		if err != nil {
			t.Fatalf("ParseLaps(%q): %v", b.String(), err)
		}
		if d := cmp.Diff(laps, got); d != "" {
			t.Fatalf("ParseLaps(%q) (−want +got):\n%s", b.String(), d)
		}
	})
}

// Whatever is pasted: laps within reason that are read back as they were, or a
// message that names the line.
func FuzzParseLaps(f *testing.F) {
	for _, s := range []string{"48.60", "0:48.60", "48,60", "lap,time,flag\n1,49.92,out\n", "1;48,60\n2;48,55", "49.92 out 48.60 traffic", "lap 3: 48.6 s (spin at T2)", "1,48,60", "\ufeff\"time\"\n\"48.60\"", "9999999999999999999.99", "48.60\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		laps, err := ParseLaps(text)
		if err != nil {
			var le *LapError
			if errors.As(err, &le) && (le.Line < 1 || le.Line > strings.Count(text, "\n")+strings.Count(text, "\r")+1) {
				t.Fatalf("the error is on line %d of %q", le.Line, text)
			}
			return
		}
		if len(laps) == 0 {
			t.Fatalf("no laps and no error from %q", text)
		}
		var again []string
		for _, l := range laps {
			if l.Seconds < shortestLap || l.Seconds > longestLap || l.Decimals < 1 || l.Decimals > 4 {
				t.Fatalf("lap %+v from %q", l, text)
			}
			again = append(again, l.String())
		}
		got, err := ParseLaps(strings.Join(again, "\n"))
		if err != nil || len(got) != len(again) {
			t.Fatalf("%q was read as %q, which is not read back: %v, %v", text, again, got, err)
		}
		for i, l := range got {
			if l.String() != again[i] {
				t.Fatalf("%q comes back as %q", again[i], l)
			}
		}
	})
}
