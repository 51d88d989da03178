package cli

import (
	"kartwright/advisor"
	"kartwright/advisor/profile"
)

type feelJSON struct {
	Phase string `json:"phase"`
	More  string `json:"more"`
	Less  string `json:"less"`
}

type pointJSON struct {
	Column      float64 `json:"column_deg"`
	Rear        float64 `json:"inner_rear_kg" jsonschema_description:"what it carries; below zero: in the air, and what would press it down"`
	Lift        float64 `json:"inner_rear_lift_mm"`
	OuterCamber float64 `json:"outer_camber_deg"`
	ExtraSteer  float64 `json:"inner_extra_steer_deg" jsonschema_description:"how much further the inner wheel is steered than the outer one"`
}

type stageJSON struct {
	Name   string                 `json:"name"`
	How    string                 `json:"how,omitempty" jsonschema_description:"what is turned for it"`
	Not    string                 `json:"not_possible,omitempty" jsonschema_description:"why this kart cannot do it; it is computed as if it could"`
	Now    map[string]figuresJSON `json:"figures" jsonschema_description:"by side"`
	Track  float64                `json:"front_track_mm"`
	Bend   [2]inBendJSON          `json:"in_bend" jsonschema_description:"left turn, right turn"`
	Effort *float64               `json:"steering_effort_ratio" jsonschema:"nullable" jsonschema_description:"as a multiple of now"`
	Curve  []pointJSON            `json:"curve" jsonschema_description:"in left turns"`
}

type learnJSON struct {
	Command string       `json:"command"`
	Kart    string       `json:"kart"`
	Topic   string       `json:"topic"`
	Title   string       `json:"title"`
	What    string       `json:"what"`
	Does    string       `json:"does"`
	Feel    []feelJSON   `json:"feel"`
	Split   string       `json:"not_agreed"`
	Step    string       `json:"step" jsonschema_description:"what one step is"`
	Bend    bendJSON     `json:"bend"`
	Stages  [3]stageJSON `json:"stages" jsonschema_description:"a step less, now, a step more"`
	Files   []string     `json:"files" jsonschema_description:"what was written"`
}

func viewLesson(l *advisor.Lesson, files []string) learnJSON {
	t := l.Topic
	out := learnJSON{
		Command: "learn " + t.Name, Kart: l.Kart.Name, Topic: t.Name, Title: t.Title, What: t.What, Does: t.Does, Feel: []feelJSON{},
		Split: t.Split, Step: l.Step, Bend: viewBend(l.Bend, l.Column), Files: list(files),
	}
	for _, f := range t.Feel {
		out.Feel = append(out.Feel, feelJSON(f))
	}
	for i := range l.Stages {
		s := &l.Stages[i]
		x := stageJSON{
			Name: s.Name, How: s.How, Not: s.Not, Now: map[string]figuresJSON{"left": viewFigures(s.Figures[0]), "right": viewFigures(s.Figures[1])},
			Track: round(float64(profile.FrontTrack(s.Figures))), Bend: [2]inBendJSON{viewInBend(s.InBend[0]), viewInBend(s.InBend[1])},
			Effort: finite(effortOf(l, s)), Curve: []pointJSON{},
		}
		for _, p := range s.Curve {
			x.Curve = append(x.Curve, pointJSON{degrees(p.Column), round(advisor.RearCurve.Of(p)), round(float64(p.Lift)), degrees(p.OuterCamber), round(advisor.SteerCurve.Of(p))})
		}
		out.Stages[i] = x
	}
	return out
}

type sightJSON struct {
	Figures map[string]figuresJSON `json:"figures" jsonschema_description:"by side"`
	Front   float64                `json:"front_track_mm"`
	Rear    float64                `json:"rear_track_mm"`
	Bend    [2]inBendJSON          `json:"in_bend" jsonschema_description:"left turn, right turn"`
}

func viewSight(s *sight) sightJSON {
	return sightJSON{
		map[string]figuresJSON{"left": viewFigures(s.figures[0]), "right": viewFigures(s.figures[1])},
		round(float64(profile.FrontTrack(s.figures))), round(float64(s.rear)), [2]inBendJSON{viewInBend(s.bend[0]), viewInBend(s.bend[1])},
	}
}

type tryJSON struct {
	Command string    `json:"command"`
	Kart    string    `json:"kart"`
	Changes []string  `json:"changes" jsonschema_description:"what was understood"`
	Bend    bendJSON  `json:"bend"`
	Before  sightJSON `json:"before"`
	After   sightJSON `json:"after"`
	Effort  *float64  `json:"steering_effort_ratio" jsonschema:"nullable" jsonschema_description:"after as a multiple of before"`
}

type questionJSON struct {
	Kind    string   `json:"kind"`
	Text    string   `json:"text"`
	Choices []string `json:"choices"`
	Right   int      `json:"right" jsonschema_description:"index of the right choice, from 0"`
	Worked  string   `json:"worked" jsonschema_description:"why, with figures"`
}

type quizJSON struct {
	Command   string         `json:"command"`
	Kart      string         `json:"kart"`
	Seed      uint64         `json:"seed"`
	Questions []questionJSON `json:"questions"`
}
