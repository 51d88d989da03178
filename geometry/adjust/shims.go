package adjust

import (
	"fmt"
	"math"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

var _ = register(Kind{
	Name: "shims",
	Doc:  "washers above and below the stub axle on its kingpin; moving one from above to below raises the stub axle and lowers the frame",
	Fields: []Field{
		{Name: "thickness", Type: Length, Required: true, Doc: "of one shim", Example: `"2 mm"`},
		{Name: "total", Type: Count, Required: true, Doc: "how many there are above and below together", Example: `5`},
		{Name: "below", Type: Count, Required: true, Doc: "how many of them are below the stub axle at standard", Example: `2`},
		lockField("kingpin bolt"),
	},
	Build: func(v *Values) Adjuster {
		s := &shims{thickness: v.Length("thickness"), total: v.Count("total", 1, 1, 40), lock: v.lock("the kingpin bolt")}
		s.below = v.Count("below", 0, 0, s.total)
		if v.Has("thickness") && !(s.thickness > 0 && s.thickness <= 20) {
			v.fail("thickness", "must lie between 0 and 20 mm, not %v", s.thickness)
		}
		return s
	},
})

// shims set the stub axle's height on its kingpin. Positions are the number of
// shims below it.
type shims struct {
	thickness    geometry.Length
	total, below int
	lock         string
}

func (s *shims) Part() Part        { return OnStub }
func (s *shims) Travel() Travel    { return Travel{Max: float64(s.total), Step: 1} }
func (s *shims) Standard() float64 { return float64(s.below) }
func (s *shims) Lock() string      { return s.lock }

func (s *shims) Shift(p float64) frontend.Shift {
	return frontend.Shift{Slide: geometry.Length(p-float64(s.below)) * s.thickness}
}

func (s *shims) Read(text string) (float64, error) {
	if text == "standard" {
		return float64(s.below), nil
	}
	n, ok := plainNumber(text, "shims below", "shim below", "below", "shims", "shim")
	if !ok {
		return 0, fmt.Errorf("%q is not a number of shims below the stub axle (write 2 below)", text)
	}
	return inTravel(s, n)
}

func (s *shims) Print(p float64, _ geometry.Units) string { return fmt.Sprintf("%.0f below", p) }

func (s *shims) Move(from, to float64, _ geometry.Units) string {
	n, word, way := math.Abs(to-from), "shims", "from above the stub axle to below it"
	if n == 1 {
		word = "shim"
	}
	if to < from {
		way = "from below the stub axle to above it"
	}
	return fmt.Sprintf("move %.0f %s %s (%.0f below instead of %.0f)", n, word, way, to, from)
}
