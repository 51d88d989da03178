package complaint

import (
	"fmt"

	"kartwright/rules"
)

// A Clash is a condition of which the text says one thing and somebody else
// has said another.
type Clash struct{ What, Said, Stated string }

func (c *Clash) Error() string {
	return fmt.Sprintf("the text says %s %s, and %s was stated", c.What, c.Said, c.Stated)
}

// Facts adds what the report understood to what was stated otherwise, in the
// words of a vocabulary. Where both speak of a condition they must agree; the
// error is then a *Clash.
func (r Report) Facts(f rules.Facts, voc rules.Vocabulary) (rules.Facts, error) {
	for _, x := range r.Readings {
		s := rules.Symptom{ID: x.Symptom, Phase: x.Phase, Corner: x.Corner, Severity: x.Severity, Absent: x.Negated}
		if s.Absent {
			s.Severity = ""
		}
		f.Symptoms = append(f.Symptoms, s)
	}
	c := r.Conditions
	if c.Track != "" {
		if f.Track != "" && f.Track != c.Track {
			return f, &Clash{"track", c.Track, f.Track}
		}
		f.Track = c.Track
	}
	for _, x := range []struct {
		what, word string
		number     float64
		have       *rules.Level
		scale      rules.Scale
	}{
		{"grip", c.Grip, c.GripTenths * voc.Grip.Of / 10, &f.Grip, voc.Grip},
		{"tyres", c.Tyres, c.TyreLaps, &f.Tyres, voc.Tyres},
	} {
		said := rules.Level{Word: x.word}
		if x.number > 0 {
			said = rules.Level{Number: x.number, IsNumber: true}
		}
		switch {
		case said == rules.Level{}:
		case *x.have == rules.Level{}:
			*x.have = said
		case *x.have != said:
			return f, &Clash{x.what, x.scale.Format(said), x.scale.Format(*x.have)}
		}
	}
	return f, nil
}
