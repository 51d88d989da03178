package testday

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// A mark says where it stands: what is printed beside it is its value.
func TestTicksPrintWhatTheyAre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(10, 120).Draw(t, "lo")
		hi := lo + rapid.Float64Range(0.01, 60).Draw(t, "span")
		marks, decimals := ticks(lo, hi)
		if len(marks) < 3 || len(marks) > 11 {
			t.Fatalf("%d marks between %g and %g, want 3 to 11", len(marks), lo, hi)
		}
		for _, m := range marks {
			printed, _ := strconv.ParseFloat(strconv.FormatFloat(m, 'f', decimals, 64), 64)
			if m < lo-1e-9 || m > hi+1e-9 || math.Abs(printed-m) > 1e-9 {
				t.Fatalf("a mark at %.6f between %g and %g is printed as %g", m, lo, hi, printed)
			}
		}
	})
}
