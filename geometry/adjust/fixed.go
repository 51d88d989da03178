package adjust

import (
	"fmt"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

var _ = register(Kind{
	Name: "fixed",
	Doc:  "a place where other karts have an adjuster and this one has none; it says so when a move would need it",
	Fields: []Field{
		{Name: "because", Type: Text, Doc: "why it is fixed", Example: `"the kingpin runs in welded bosses"`},
	},
	Build: func(v *Values) Adjuster { return fixed{v.Text("because")} },
})

type fixed struct{ because string }

func (fixed) Part() Part                   { return OnNothing }
func (fixed) Travel() Travel               { return Travel{} }
func (fixed) Standard() float64            { return 0 }
func (fixed) Lock() string                 { return "" }
func (fixed) Shift(float64) frontend.Shift { return frontend.Shift{} }

func (f fixed) Read(text string) (float64, error) {
	if text == "standard" || text == "fixed" {
		return 0, nil
	}
	return 0, fmt.Errorf("%q: it is fixed and cannot be set", text)
}

func (fixed) Print(float64, geometry.Units) string { return "fixed" }

func (fixed) Move(float64, float64, geometry.Units) string { return "leave it: it is fixed" }

// Because says why it is fixed.
func (f fixed) Because() string { return f.because }
