package geometry

// The quantities that wheel loads need. Their types belong to the packages
// that compute with them, so these readers are asked for the type; the value is
// stored in the unit that the reader names.

// ParseMeasuredMass reads a mass, stored in kg, that may carry its ±: 165 kg,
// 36.4 ± 0.2 kg, 80 lb.
func ParseMeasuredMass[T ~float64](s string) (Measured[T], error) {
	return measuredAs[T](s, masses)
}

// ParseMeasuredRate reads the stiffness of a spring, stored in N/mm, that may
// carry its ±: 64.5 N/mm, 61 ± 5 kN/m, 350 lb/in.
func ParseMeasuredRate[T ~float64](s string) (Measured[T], error) { return measuredAs[T](s, rates) }

// ParseMeasuredTorsion reads the stiffness of something twisted, stored in
// N·m/deg, that may carry its ±: 400 N·m/deg, 400 ± 50 Nm/deg, 23 kNm/rad.
func ParseMeasuredTorsion[T ~float64](s string) (Measured[T], error) {
	return measuredAs[T](s, torsions)
}

// ParseMeasuredShare reads a part of a whole, stored as a fraction, that may
// carry its ±: 42 %, 42 ± 1 %.
func ParseMeasuredShare[T ~float64](s string) (Measured[T], error) { return measuredAs[T](s, shares) }

func measuredAs[T ~float64](s string, d dimension[float64]) (Measured[T], error) {
	m, err := parseMeasured(s, d)
	return Measured[T]{Value: T(m.Value), PM: T(m.PM)}, err
}

// The pound is exactly 0.45359237 kg (international yard and pound agreement,
// 1959), the pound-force that mass times 9.80665 m/s² (CGPM 1901).
const (
	pound      = 0.45359237
	poundForce = pound * 9.80665 // N
)

var masses = dimension[float64]{
	name: "mass", hint: "write %skg or %slb", among: "kg, g or lb",
	units: map[string]float64{"kg": 1, "g": 0.001, "lb": pound, "lbs": pound},
}

var rates = dimension[float64]{
	name: "spring rate", hint: "write %s N/mm or %s kN/m", among: "N/mm, kN/m, N/m or lb/in",
	units: map[string]float64{"n/mm": 1, "kn/m": 1, "n/m": 0.001, "lb/in": poundForce / 25.4, "lbs/in": poundForce / 25.4, "lbf/in": poundForce / 25.4},
}

var torsions = func() dimension[float64] {
	d := dimension[float64]{
		name: "torsional stiffness", hint: "write %s N·m/deg or %s N·m/rad", among: "N·m/deg, N·m/rad, kN·m/rad or lb·ft/deg",
		units: map[string]float64{},
	}
	perRadian := float64(Degree)
	for _, dot := range []string{"·", "⋅", "*", " ", ""} {
		for _, per := range []string{"/deg", "/°", "/degree"} {
			d.units["n"+dot+"m"+per] = 1
			d.units["lb"+dot+"ft"+per] = poundForce * 0.3048
		}
		d.units["n"+dot+"m/rad"] = perRadian
		d.units["kn"+dot+"m/rad"] = 1000 * perRadian
	}
	return d
}()

var shares = dimension[float64]{
	name: "share", hint: "write %s %% or %s percent", among: "%",
	units: map[string]float64{"%": 0.01, "percent": 0.01},
}
