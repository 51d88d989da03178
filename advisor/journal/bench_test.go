package journal_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/journal"
)

// large makes a journal of 100 000 sessions of ten laps, every tenth with
// advice that was carried out and judged.
func large(b *testing.B) string {
	b.Helper()
	path := filepath.Join(b.TempDir(), "journal.db")
	j := openAt(b, path, 1)
	require.NoError(b, journal.Exec(j, "PRAGMA synchronous = off"))
	at := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	var batch []journal.Record
	for i := range 100_000 {
		at = at.Add(17 * time.Minute)
		s := session([]string{"Alder", "Birch"}[i%2])
		s.At = at
		for k := range 10 {
			s.Laps = append(s.Laps, journal.Lap{MS: int64(48000 + (i*7+k*13)%900)})
		}
		s.Symptoms = []string{"understeer/entry"}
		batch = append(batch, s)
		if len(batch) == 1000 {
			add(b, j, batch...)
			batch = batch[:0]
		}
		if i%10 == 0 {
			a := advice(s.Kart, []string{"caster", "toe"}[i/10%2], []string{"r1", "r2", "r3"}[i/10%3], "r4", "r5")
			a.At = at
			add(b, j, a)
			o := outcome(a, []string{"better", "same", "worse"}[i/10%3])
			o.At = at
			add(b, j, o)
		}
	}
	require.NoError(b, j.Close())
	return path
}

// Each is what one command does: open, do it, close.
func BenchmarkHundredThousandSessions(b *testing.B) {
	ctx, path := context.Background(), large(b)
	run := func(name string, do func(j *journal.Journal) error) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				j, err := journal.Open(ctx, path, journal.Options{})
				if err == nil {
					err = do(j)
				}
				if err != nil {
					b.Fatal(err)
				}
				if err := j.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	run("log one", func(j *journal.Journal) error { return j.Add(ctx, session("Alder", 48610, 48620)) })
	run("show last ten", func(j *journal.Journal) error {
		_, err := j.Recent(ctx, journal.Filter{Kart: "Alder", Kinds: []journal.Kind{journal.KindSession}, Limit: 10})
		return err
	})
	run("show last ten of all", func(j *journal.Journal) error {
		_, err := j.Recent(ctx, journal.Filter{Limit: 10})
		return err
	})
	run("what advice asks", func(j *journal.Journal) error {
		if _, err := j.LatestSetting(ctx, "Alder"); err != nil {
			return err
		}
		if _, err := j.Pending(ctx, "Alder", time.Now().AddDate(0, 0, -14)); err != nil {
			return err
		}
		if _, err := j.Tries(ctx, "Alder", 200); err != nil {
			return err
		}
		_, err := j.Learned(ctx, "Alder")
		return err
	})
	run("what advice asks, without learning", func(j *journal.Journal) error {
		if _, err := j.LatestSetting(ctx, "Alder"); err != nil {
			return err
		}
		if _, err := j.Pending(ctx, "Alder", time.Now().AddDate(0, 0, -14)); err != nil {
			return err
		}
		_, err := j.Tries(ctx, "Alder", 200)
		return err
	})
}
