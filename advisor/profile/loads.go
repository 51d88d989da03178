package profile

import (
	"fmt"
	"math"
	"slices"

	"kartwright/geometry"
	"kartwright/geometry/loads"
	"kartwright/rules/diag"
	"kartwright/rules/tables"
)

// Loads returns what the wheel loads of the kart depend on, with the front
// wheels where they touch at the present setting: from the profile's table
// "mass", or, for what it leaves out, from loads.Published. LoadNumbers lists
// which is which.
func (k *Kart) Loads() (loads.Kart, error) {
	f, err := k.Figures(k.Present)
	if err != nil {
		return loads.Kart{}, err
	}
	_, l, err := k.spec.loads(k.Axle.Wheelbase, FrontTrack(f), k.nudge)
	return l, err
}

// loadUnits read the units that only the table "mass" has.
var loadUnits = map[unit]func(string) (geometry.Measured[float64], error){
	massUnit:    geometry.ParseMeasuredMass[float64],
	rateUnit:    geometry.ParseMeasuredRate[float64],
	torsionUnit: geometry.ParseMeasuredTorsion[float64],
	shareUnit:   geometry.ParseMeasuredShare[float64],
}

// published is the kart that is assumed; publishedSource says by the field of
// loads.Kart where its numbers are from.
var published, publishedSource = func() (loads.Kart, map[string]string) {
	k, sources := loads.Published()
	by := map[string]string{}
	for _, s := range sources {
		by[s.Field] = s.Text
	}
	return k, by
}()

// loadDimensions are the numbers of the table "mass". Those with no ± of an
// assumed value are never assumed: they are another way to give the one before
// them, and what they show is an example.
//
// The assumed values are loads.Published; their ± is common practice.
var loadDimensions = []dimension{
	{"mass", "total", massUnit, float64(published.Mass), 15, 30, 400, "kart and driver, ready to drive", nil},
	{"mass", "front_share", shareUnit, math.Round(1000*float64(1-published.CGBehind/published.Wheelbase)) / 10, 2, 20, 60, "part of the weight that stands on the front wheels, driver seated", nil},
	{"mass", "cg_behind", lengthUnit, float64(published.CGBehind), 0, 200, 1000, "instead of front_share: centre of gravity behind the front axle, driver seated", nil},
	{"mass", "cg_height", lengthUnit, float64(published.CGHeight), 30, 80, 600, "centre of gravity above the floor, driver seated", nil},
	{"mass", "rear_track", lengthUnit, float64(published.Track[loads.Rear]), 30, 600, 1500, "between the middles of the rear tyres where they touch", nil},
	{"mass", "tyre_rate_front", rateUnit, float64(published.Tyre[loads.Front]), 8, 10, 300, "how much more load one front tyre needs to be squeezed by 1 mm", nil},
	{"mass", "tyre_rate_rear", rateUnit, float64(published.Tyre[loads.Rear]), 8, 10, 300, "the same of one rear tyre", nil},
	{"mass", "frame_rate_front", rateUnit, float64(published.Frame[loads.Front]), 6, 2, 10000, "how much more load at one front wheel bends the frame there by 1 mm", nil},
	{"mass", "frame_rate_rear", rateUnit, float64(published.Frame[loads.Rear]), 20, 2, 10000, "the same at one rear wheel", nil},
	{"mass", "frame_torsion", torsionUnit, 140, 0, 20, 20000, "instead of the frame rates: stiffness of the frame against twist between the axles", nil},
	{"mass", "driver", massUnit, float64(published.Driver.Mass), 15, 15, 200, "the driver, dressed to drive; counts in total already", nil},
	{"mass", "seat_behind", lengthUnit, float64(published.Driver.Behind), 40, 200, 1100, "the driver's own centre of gravity behind the front axle", nil},
	{"mass", "seat_height", lengthUnit, float64(published.Driver.Height), 40, 80, 700, "the driver's own centre of gravity above the floor", nil},
}

// loadSources names the field of loads.Kart that each assumed number is from.
var loadSources = map[string]string{
	"total": "Mass", "front_share": "CGBehind", "cg_height": "CGHeight", "rear_track": "Track",
	"tyre_rate_front": "Tyre", "tyre_rate_rear": "Tyre", "frame_rate_front": "Frame", "frame_rate_rear": "Frame",
	"driver": "Driver", "seat_behind": "Driver", "seat_height": "Driver",
}

// scaleKeys are the four scales by loads.Wheel.
var scaleKeys = [4]string{"front_left", "front_right", "rear_left", "rear_right"}

func scaleDimension(w loads.Wheel) dimension {
	return dimension{"mass.scales", scaleKeys[w], massUnit, 0, 0, 1, 250, "what the scale under the " + w.String() + " wheel shows, driver seated, steering straight ahead", nil}
}

// mass reads the table "mass".
func (p *parser) mass(top *tables.Table) {
	p.spec.massAt = p.spec.cornerAt
	t := top.Table("mass")
	if t == nil {
		return
	}
	p.spec.massAt = top.Key("mass")
	allowed := []string{"scales"}
	for _, d := range loadDimensions {
		allowed = append(allowed, d.key)
		p.dimension(t, d, "mass")
	}
	t.Allow(allowed...)
	instead := func(key string, of ...string) {
		for _, other := range of {
			if t.Has(key) && t.Has(other) {
				p.reader.Report(diag.Errorf(twoForms, t.Key(other), "%s is given by %s already", other, key).WithNote(t.Key(key), "here"))
			}
		}
	}
	instead("cg_behind", "front_share")
	instead("frame_torsion", "frame_rate_front", "frame_rate_rear")
	instead("scales", "total", "front_share", "cg_behind")
	if s := t.Table("scales"); s != nil {
		s.Allow(scaleKeys[:]...)
		if s.Need("[mass.scales]", scaleKeys[:]...) {
			for _, w := range loads.Wheels {
				p.dimension(s, scaleDimension(w), "mass.scales")
			}
		}
	}
}

// checkLoads lists the numbers of the wheel loads and reports those that make
// no kart.
func (p *parser) checkLoads(k *Kart) {
	f, err := k.Figures(k.Present)
	if err != nil {
		return // reported by build
	}
	if k.LoadNumbers, _, err = p.spec.loads(k.Axle.Wheelbase, FrontTrack(f), nil); err != nil {
		p.errorf(impossible, p.spec.massAt, "%v", err)
	}
}

// loads returns the numbers that the wheel loads depend on and the kart that
// follows from them.
func (s *spec) loads(wheelbase, frontTrack geometry.Length, nudge map[string]float64) (numbers []Number, k loads.Kart, err error) {
	given := func(path string) bool { _, ok := s.measured[path]; return ok }
	number := func(d dimension) float64 {
		n := Number{Path: d.table + "." + d.key, Doc: d.doc, Value: d.usual * d.unit.stored(), PM: d.spread * d.unit.stored(), Assumed: true, Source: publishedSource[loadSources[d.key]]}
		if d.unit != lengthUnit {
			n.Unit = d.unit.word()
		}
		if m, ok := s.measured[n.Path]; ok {
			n.Value, n.PM, n.Assumed, n.Source = m.value, m.pm, false, ""
		}
		numbers = append(numbers, n)
		return n.Value + nudge[n.Path]
	}
	get := func(key string) float64 {
		i := slices.IndexFunc(loadDimensions, func(d dimension) bool { return d.key == key })
		return number(loadDimensions[i])
	}
	k = loads.Kart{Wheelbase: wheelbase, Torsion: loads.Torsion(math.Inf(1))}
	weighed := given("mass.scales.front_left")
	var scale [4]loads.Force
	switch {
	case weighed:
		for _, w := range loads.Wheels {
			scale[w] = loads.Weight(loads.Mass(number(scaleDimension(w))))
		}
	case given("mass.cg_behind"):
		k.Mass, k.CGBehind = loads.Mass(get("total")), geometry.Length(get("cg_behind"))
	default:
		k.Mass, k.CGBehind = loads.Mass(get("total")), wheelbase*geometry.Length(1-get("front_share"))
	}
	k.CGHeight = geometry.Length(get("cg_height"))
	k.Track = [2]geometry.Length{frontTrack, geometry.Length(get("rear_track"))}
	k.Tyre = [2]loads.Rate{loads.Rate(get("tyre_rate_front")), loads.Rate(get("tyre_rate_rear"))}
	if given("mass.frame_torsion") {
		k.Torsion = loads.Torsion(get("frame_torsion"))
		k.Frame = [2]loads.Rate{loads.Rate(math.Inf(1)), loads.Rate(math.Inf(1))}
	} else {
		k.Frame = [2]loads.Rate{loads.Rate(get("frame_rate_front")), loads.Rate(get("frame_rate_rear"))}
	}
	k.Driver = loads.Seated{Mass: loads.Mass(get("driver")), Behind: geometry.Length(get("seat_behind")), Height: geometry.Length(get("seat_height"))}
	if weighed {
		k, err = k.WithCornerWeights(scale)
	} else {
		err = k.Check()
	}
	if err == nil && k.Driver.Mass >= k.Mass {
		err = fmt.Errorf("the driver weighs %.1f kg, which is not less than the %.1f kg of kart and driver", float64(k.Driver.Mass), float64(k.Mass))
	}
	return numbers, k, err
}
