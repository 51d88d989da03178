package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"time"
)

// Add writes entries, all of them or none, and fills in their ID and Journal,
// and At if it is zero. When it returns without an error they are on the disk.
// An entry that is there already is not written again.
func (j *Journal) Add(ctx context.Context, entries ...Record) error {
	tx, err := j.db.BeginTx(ctx, nil)
	if err != nil {
		return j.explain(err)
	}
	defer tx.Rollback()
	since, err := last(ctx, tx)
	if err != nil {
		return j.explain(err)
	}
	w := writer{ctx: ctx, tx: tx}
	for _, r := range entries {
		h := r.Head()
		if h.At.IsZero() {
			h.At = j.now()
		}
		h.Journal = j.id
		id, err := settle(r)
		if err != nil {
			return fmt.Errorf("%s: %w", r.kind(), err)
		}
		h.ID = id
		if _, err := w.write(r); err != nil {
			return j.explain(err)
		}
	}
	if err := dangling(ctx, tx, since); err != nil {
		return j.explain(err)
	}
	return j.explain(tx.Commit())
}

// writer writes entries within a transaction.
type writer struct {
	ctx   context.Context
	tx    *sql.Tx
	stmts map[string]*sql.Stmt
}

func (w *writer) insert(table string, fields []field) (sql.Result, error) {
	stmt, ok := w.stmts[table]
	if !ok {
		columns := make([]string, len(fields))
		for i, f := range fields {
			columns[i] = f.column
		}
		query := fmt.Sprintf("INSERT INTO %s (%s) VALUES (?%s) ", table, strings.Join(columns, ", "), strings.Repeat(", ?", len(fields)-1))
		if table == "record" {
			query += "ON CONFLICT (id) DO NOTHING"
		}
		var err error
		if stmt, err = w.tx.PrepareContext(w.ctx, query); err != nil {
			return nil, err
		}
		if w.stmts == nil {
			w.stmts = map[string]*sql.Stmt{}
		}
		w.stmts[table] = stmt
	}
	args := make([]any, len(fields))
	for i, f := range fields {
		args[i] = reflect.ValueOf(f.at).Elem().Interface()
	}
	return stmt.ExecContext(w.ctx, args...)
}

// write writes a settled entry and reports whether it was new.
func (w *writer) write(r Record) (bool, error) {
	h := r.Head()
	at := stamp(h.At)
	advice, err := w.touches(r)
	if err != nil {
		return false, err
	}
	if err := w.tally(advice, -1); err != nil {
		return false, err
	}
	res, err := w.insert("record", []field{{"id", &h.ID}, {"kind", &h.Kind}, {"at", &at}, {"journal", &h.Journal}, {"kart", &h.Kart}})
	if err != nil {
		return false, err
	}
	n, err := res.RowsAffected()
	if err != nil {
		return false, err
	}
	if n > 0 {
		seq, err := res.LastInsertId()
		if err != nil {
			return false, err
		}
		if err := w.rows(r, seq); err != nil {
			return false, err
		}
	}
	return n > 0, w.tally(advice, 1)
}

// rows writes what is an entry's own.
func (w *writer) rows(r Record, seq int64) error {
	if _, err := w.insert(string(r.kind()), append([]field{{"record", &seq}}, r.fields()...)); err != nil {
		return err
	}
	for _, l := range r.lists() {
		for i := range l.len {
			n := int64(i)
			if _, err := w.insert(l.table, append([]field{{"record", &seq}, {"n", &n}}, l.row(i)...)); err != nil {
				return err
			}
		}
	}
	return nil
}

// touches returns the advice whose outcome an entry may change, "" for none.
func (w *writer) touches(r Record) (advice ID, err error) {
	switch e := r.(type) {
	case *Advice:
		return e.ID, nil
	case *Outcome:
		return e.Advice, nil
	case *Strike:
		err = w.tx.QueryRowContext(w.ctx, `SELECT CASE kind WHEN 'advice' THEN id WHEN 'outcome' THEN (SELECT advice_id FROM outcome WHERE outcome.record = seq) END
			FROM record WHERE id = ? AND kind IN ('advice', 'outcome')`, e.Of).Scan(&advice)
		if errors.Is(err, sql.ErrNoRows) {
			err = nil
		}
	}
	return advice, err
}

// tally adds the outcome of advice to the tally of its rules, or with sign −1
// takes it off.
func (w *writer) tally(advice ID, sign int) error {
	if advice == "" {
		return nil
	}
	_, err := w.tx.ExecContext(w.ctx, `INSERT INTO tally SELECT DISTINCT rule, o.kart, substr(o.at, 1, 10), ?1, ?1 * CAST(round(helped * 1e9) AS INTEGER) `+judgedRules+` AND outcome.advice_id = ?2
		ON CONFLICT (rule, kart, day) DO UPDATE SET times = times + excluded.times, helped_nano = helped_nano + excluded.helped_nano`, sign, advice)
	return err
}

// references are the columns in which an entry names another.
var references = []struct{ table, column string }{
	{"setting", "advice_id"}, {"session", "setting_id"}, {"advice", "session_id"}, {"outcome", "advice_id"}, {"outcome", "session_id"}, {"strike", "of_id"},
}

// dangling refuses a transaction that has written entries after the row since
// and in one of them names an entry that is not there.
func dangling(ctx context.Context, tx *sql.Tx, since int64) error {
	for _, ref := range references {
		query := fmt.Sprintf(`SELECT record.id, x.%s FROM %s AS x JOIN record ON record.seq = x.record
			WHERE x.record > ? AND x.%[1]s IS NOT NULL AND NOT EXISTS (SELECT 1 FROM record AS other WHERE other.id = x.%[1]s) LIMIT 1`, ref.column, ref.table)
		var id, missing ID
		switch err := tx.QueryRowContext(ctx, query, since).Scan(&id, &missing); {
		case err == nil:
			return fault{ErrNoEntry, fmt.Sprintf("%s %s: its %s is %s, and there is no such entry", ref.table, id.Short(), ref.column, missing.Short())}
		case !errors.Is(err, sql.ErrNoRows):
			return err
		}
	}
	return nil
}

// last returns the greatest seq of record.
func last(ctx context.Context, q asker) (seq int64, err error) {
	err = q.QueryRowContext(ctx, `SELECT coalesce(max(seq), 0) FROM record`).Scan(&seq)
	return seq, err
}

// head is a row of record.
type head struct {
	seq int64
	Header
}

// heads reads rows of record; the query selects seq, id, kind, at, journal and
// kart in this order.
func heads(ctx context.Context, q asker, query string, args ...any) ([]head, error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []head
	for rows.Next() {
		var h head
		var at string
		if err := rows.Scan(&h.seq, &h.ID, &h.Kind, &at, &h.Journal, &h.Kart); err != nil {
			return nil, err
		}
		if h.At, err = time.Parse(stampFormat, at); err != nil {
			return nil, err
		}
		out = append(out, h)
	}
	return out, rows.Err()
}

// load reads the entries of the heads.
func load(ctx context.Context, q asker, hs []head) ([]Record, error) {
	out := make([]Record, 0, len(hs))
	for _, h := range hs {
		make, ok := kinds[h.Kind]
		if !ok {
			return nil, fmt.Errorf("entry %s is of the unknown kind %q", h.ID.Short(), h.Kind)
		}
		r := make()
		*r.Head() = h.Header
		columns, into := columnsOf(r.fields())
		if err := q.QueryRowContext(ctx, fmt.Sprintf("SELECT %s FROM %s WHERE record = ?", columns, h.Kind), h.seq).Scan(into...); err != nil {
			return nil, fmt.Errorf("entry %s: %w", h.ID.Short(), err)
		}
		for _, l := range r.lists() {
			if err := loadList(ctx, q, l, h.seq); err != nil {
				return nil, fmt.Errorf("entry %s, %s: %w", h.ID.Short(), l.table, err)
			}
		}
		out = append(out, r)
	}
	return out, nil
}

func loadList(ctx context.Context, q asker, l list, seq int64) error {
	columns, _ := columnsOf(l.blank)
	rows, err := q.QueryContext(ctx, fmt.Sprintf("SELECT %s FROM %s WHERE record = ? ORDER BY n", columns, l.table), seq)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		_, into := columnsOf(l.grow())
		if err := rows.Scan(into...); err != nil {
			return err
		}
	}
	return rows.Err()
}

func columnsOf(fields []field) (string, []any) {
	names, at := make([]string, len(fields)), make([]any, len(fields))
	for i, f := range fields {
		names[i], at[i] = f.column, f.at
	}
	return strings.Join(names, ", "), at
}
