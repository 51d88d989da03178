package journal

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"kartwright/advisor/learn"
	"kartwright/advisor/profile"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// answer is what the journal reads of the JSON form of advice.
type answer struct {
	Command    string `json:"command"`
	Kart       string `json:"kart"`
	Status     string `json:"status"`
	Understood struct {
		Symptoms []string `json:"symptoms"`
		Track    string   `json:"track"`
		Grip     string   `json:"grip"`
		Tyres    string   `json:"tyres"`
		Wet      string   `json:"wet"`
	} `json:"understood"`
	First *struct {
		Move      string  `json:"move"`
		Direction string  `json:"direction"`
		Title     string  `json:"title"`
		Amount    float64 `json:"amount"`
		Unit      string  `json:"unit"`
		Why       []struct {
			Rule      string  `json:"rule"`
			Support   float64 `json:"support"`
			CoveredBy string  `json:"covered_by"`
		} `json:"why"`
		Plan *struct {
			Sides map[string]struct {
				Moves []struct {
					Adjuster string  `json:"adjuster"`
					To       float64 `json:"to"`
				} `json:"moves"`
			} `json:"sides"`
		} `json:"plan"`
	} `json:"first"`
}

// ReadAdvice makes an entry of the JSON form of advice, as "kartwright advise
// --json" prints it, and keeps all of it.
func ReadAdvice(text []byte) (*Advice, error) {
	a := &Advice{}
	if err := a.Trace.UnmarshalJSON(text); err != nil {
		return nil, fmt.Errorf("the advice is not JSON: %w", err)
	}
	x, err := a.answer()
	if err != nil {
		return nil, err
	}
	if x.Command != "advise" || x.Kart == "" || x.Status == "" {
		return nil, fmt.Errorf("the JSON is not advice: its command is %q, expected \"advise\" with a kart and a status", x.Command)
	}
	u := x.Understood
	a.Kart, a.Status, a.Symptoms = x.Kart, x.Status, u.Symptoms
	a.Conditions = Conditions{u.Track, u.Grip, u.Tyres, u.Wet}
	if a.Wet != "yes" && a.Wet != "no" {
		a.Wet = ""
	}
	if f := x.First; f != nil {
		a.Move, a.Direction, a.Title, a.Amount, a.Unit = f.Move, f.Direction, f.Title, f.Amount, f.Unit
		for _, r := range f.Why {
			if r.CoveredBy == "" {
				a.Rules = append(a.Rules, AdviceRule{r.Rule, r.Support})
			}
		}
	}
	return a, nil
}

// sameOuting is how long after a session advice is taken to be about it.
const sameOuting = 6 * time.Hour

// RecordAdvice logs the JSON form of advice at the time given, after the kart's
// latest session if that was within the last hours.
func (j *Journal) RecordAdvice(ctx context.Context, at time.Time, text []byte) (*Advice, error) {
	a, err := ReadAdvice(text)
	if err != nil {
		return nil, err
	}
	s, err := j.LatestSession(ctx, a.Kart)
	if err != nil {
		return nil, err
	}
	if s != nil && !s.At.After(at) && at.Sub(s.At) < sameOuting {
		a.Session = s.ID
	}
	a.At = at
	return a, j.Add(ctx, a)
}

func (a *Advice) answer() (answer, error) {
	var x answer
	if err := json.Unmarshal([]byte(a.Trace), &x); err != nil {
		return x, fmt.Errorf("the advice cannot be read: %w", err)
	}
	return x, nil
}

// Carry returns the setting from which the advice has been carried out, and
// whether the advice turns anything.
func (a *Advice) Carry(k *profile.Kart, from [2]adjust.Setting) (to [2]adjust.Setting, turns bool, err error) {
	x, err := a.answer()
	if err != nil {
		return to, false, err
	}
	for _, s := range frontend.Sides {
		to[s] = append(adjust.Setting(nil), from[s]...)
		if x.First == nil || x.First.Plan == nil {
			continue
		}
		for _, m := range x.First.Plan.Sides[s.String()].Moves {
			i := k.Corners[s].Index(m.Adjuster)
			if i < 0 {
				return to, false, fmt.Errorf("the advice of %s turns the %v %s, and the profile of kart %s has none: the profile has changed since", a.At.Format("2006-01-02"), s, m.Adjuster, k.Name)
			}
			turns = turns || to[s][i] != m.To
			to[s][i] = m.To
		}
	}
	return to, turns, nil
}

// WorthSaying is the least effect on a lap time, in seconds, that counts as
// faster: what a driver does not feel and a club's timing just shows (common
// practice).
const WorthSaying = 0.05

// Judge sets how much the change helped: the mean over the driver's verdicts
// (better 1, same and worse 0), and, if a timed test was made, the mean of that
// with the probability that the lap got faster by WorthSaying.
func (o *Outcome) Judge() error {
	var parts []float64
	if n := len(o.Verdicts); n > 0 {
		better := 0
		for _, v := range o.Verdicts {
			if v.Verdict == "better" {
				better++
			}
		}
		parts = append(parts, float64(better)/float64(n))
	}
	if o.Effect != nil && o.EffectSE != nil && o.EffectDF != nil {
		p := learn.Faster(*o.Effect, *o.EffectSE, *o.EffectDF, WorthSaying)
		if math.IsNaN(p) {
			return fmt.Errorf("an effect of %g s needs a standard error above 0 and at least 1 degree of freedom, not %g s and %g", *o.Effect, *o.EffectSE, *o.EffectDF)
		}
		parts = append(parts, p)
	}
	if len(parts) == 0 {
		return fmt.Errorf("an outcome needs a verdict or an effect on the lap time")
	}
	sum := 0.0
	for _, p := range parts {
		sum += p
	}
	o.Helped = sum / float64(len(parts))
	return nil
}
