package journal

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"time"
)

// preamble is the first line of an export in JSON lines.
type preamble struct {
	Format  string `json:"format"`
	Version int    `json:"version"`
}

var formatLine = preamble{"kartwright journal", 1}

// batch is how many entries an export holds in memory at a time.
const batch = 500

// each calls do with every entry, struck out or not, in the order of time.
func (j *Journal) each(ctx context.Context, do func(Record) error) error {
	// One transaction: the export is of one moment.
	tx, err := j.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return j.explain(err)
	}
	defer tx.Rollback()
	at, id := "", ""
	for {
		hs, err := heads(ctx, tx, `SELECT seq, id, kind, at, journal, kart FROM record WHERE (at, id) > (?, ?) ORDER BY at, id LIMIT ?`, at, id, batch)
		if err != nil {
			return j.explain(err)
		}
		if len(hs) == 0 {
			return nil
		}
		rs, err := load(ctx, tx, hs)
		if err != nil {
			return j.explain(err)
		}
		for _, r := range rs {
			if err := do(r); err != nil {
				return err
			}
		}
		end := hs[len(hs)-1]
		at, id = stamp(end.At), string(end.ID)
	}
}

// ExportJSON writes every entry as a line of JSON and returns their number.
func (j *Journal) ExportJSON(ctx context.Context, w io.Writer) (n int, err error) {
	out, err := newLines(w)
	if err != nil {
		return 0, err
	}
	err = j.each(ctx, func(r Record) error { n++; return out.write(r) })
	return n, errors.Join(err, out.Flush())
}

// ExportEvidence writes what happened with each rule, without anything that
// says to whom, where, or on which kart, and returns the number of lines.
func (j *Journal) ExportEvidence(ctx context.Context, w io.Writer) (n int, err error) {
	out, err := newLines(w)
	if err != nil {
		return 0, err
	}
	err = j.eachEvidence(ctx, func(e *Evidence) (err error) {
		if e.ID, err = settle(e); err != nil {
			return err
		}
		n++
		return out.write(e)
	})
	return n, errors.Join(err, out.Flush())
}

// lines writes JSON lines.
type lines struct{ *bufio.Writer }

func newLines(w io.Writer) (lines, error) {
	out := lines{bufio.NewWriter(w)}
	first, err := json.Marshal(formatLine)
	if err == nil {
		_, err = out.Write(append(first, '\n'))
	}
	return out, err
}

func (l lines) write(r Record) error {
	b, err := encode(r)
	if err == nil {
		_, err = l.Write(append(b, '\n'))
	}
	return err
}

// Imported counts what an import found.
type Imported struct{ New, Known int }

// ImportJSON reads what ExportJSON or ExportEvidence wrote, in any order and
// from any number of journals: all of it or, when there is an error, nothing.
// Entries that are here already count once. name is the file's, for errors.
//
// A line without an ID is a new entry of this journal, so that one can be
// written by hand.
func (j *Journal) ImportJSON(ctx context.Context, name string, r io.Reader) (Imported, error) {
	return j.take(ctx, func(put func(Record, string) error) error {
		in := bufio.NewReader(r)
		seen := false
		for n := 1; ; n++ {
			line, err := in.ReadBytes('\n')
			if err != nil && !errors.Is(err, io.EOF) {
				return fmt.Errorf("%s cannot be read: %w", name, cause(err))
			}
			end := err != nil
			line = bytes.TrimSpace(bytes.TrimPrefix(line, []byte("\uFEFF")))
			if len(line) > 0 {
				place := fmt.Sprintf("%s:%d", name, n)
				var p preamble
				switch err := json.Unmarshal(line, &p); {
				case err == nil && p.Format != "":
					if p.Format != formatLine.Format || p.Version > formatLine.Version {
						return fmt.Errorf("%s: format is %q version %d, expected %q version %d", place, p.Format, p.Version, formatLine.Format, formatLine.Version)
					}
				default:
					rec, err := decode(line)
					if err != nil {
						return fmt.Errorf("%s: %w", place, err)
					}
					if err := put(rec, place); err != nil {
						return err
					}
				}
				seen = true
			}
			if end {
				if !seen {
					return fmt.Errorf("%s is empty, expected lines of JSON as 'kartwright log export' writes them", name)
				}
				return nil
			}
		}
	})
}

// take writes what feed puts in one transaction.
func (j *Journal) take(ctx context.Context, feed func(put func(r Record, place string) error) error) (Imported, error) {
	var got Imported
	tx, err := j.db.BeginTx(ctx, nil)
	if err != nil {
		return got, j.explain(err)
	}
	defer tx.Rollback()
	since, err := last(ctx, tx)
	if err != nil {
		return got, j.explain(err)
	}
	w := writer{ctx: ctx, tx: tx}
	err = feed(func(r Record, place string) error {
		h := r.Head()
		stated := h.ID
		if stated == "" {
			h.Journal = j.id
		}
		id, err := settle(r)
		if err != nil {
			return fmt.Errorf("%s: %w", place, err)
		}
		if stated != "" && stated != id {
			return fmt.Errorf("%s: entry %s was changed after it was written (its content makes %s); remove its id to take it as a new entry", place, stated.Short(), id.Short())
		}
		h.ID = id
		isNew, err := w.write(r)
		if err != nil {
			return fmt.Errorf("%s: %w", place, j.explain(err))
		}
		if isNew {
			got.New++
		} else {
			got.Known++
		}
		return nil
	})
	if err == nil {
		err = dangling(ctx, tx, since)
	}
	if err == nil {
		err = tx.Commit()
	}
	if err != nil {
		return Imported{}, j.explain(err)
	}
	return got, nil
}

// tables lists the CSV files of a kind: its own, then its lists.
func tables(k Kind) []list {
	r := kinds[k]()
	return append([]list{{table: string(k), blank: r.fields()}}, r.lists()...)
}

var headColumns = []string{"id", "at", "journal", "kart"}

// ExportCSV writes every entry to one file for each table in the folder, which
// it makes, and returns the number of entries. Files that are there already
// are refused, not replaced.
func (j *Journal) ExportCSV(ctx context.Context, folder string) (n int, err error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return 0, fmt.Errorf("the folder %s cannot be made: %w", folder, cause(err))
	}
	out := map[string]*csv.Writer{}
	var files []*os.File
	defer func() {
		for _, f := range files {
			err = errors.Join(err, f.Close())
		}
	}()
	for _, k := range kindNames {
		for i, t := range tables(k) {
			name := filepath.Join(folder, t.table+".csv")
			f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
			if err != nil {
				if errors.Is(err, fs.ErrExist) {
					return 0, fmt.Errorf("%s is there already; export to an empty folder", name)
				}
				return 0, fmt.Errorf("%s cannot be written: %w", name, cause(err))
			}
			files = append(files, f)
			columns := headColumns
			if i > 0 {
				columns = []string{"id", "n"}
			}
			for _, f := range t.blank {
				columns = append(columns[:len(columns):len(columns)], f.column)
			}
			out[t.table] = csv.NewWriter(f)
			if err := out[t.table].Write(columns); err != nil {
				return 0, fmt.Errorf("%s: %w", name, err)
			}
		}
	}
	err = j.each(ctx, func(r Record) error {
		n++
		h := r.Head()
		if err := out[string(h.Kind)].Write(append([]string{string(h.ID), stamp(h.At), h.Journal, h.Kart}, cells(r.fields())...)); err != nil {
			return err
		}
		for _, l := range r.lists() {
			for i := range l.len {
				if err := out[l.table].Write(append([]string{string(h.ID), strconv.Itoa(i + 1)}, cells(l.row(i))...)); err != nil {
					return err
				}
			}
		}
		return nil
	})
	for name, w := range out {
		w.Flush()
		if w.Error() != nil {
			err = errors.Join(err, fmt.Errorf("%s.csv: %w", filepath.Join(folder, name), cause(w.Error())))
		}
	}
	return n, err
}

func cells(fields []field) []string {
	out := make([]string, len(fields))
	for i, f := range fields {
		v := reflect.ValueOf(f.at).Elem()
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				continue
			}
			v = v.Elem()
		}
		switch v.Kind() {
		case reflect.String:
			out[i] = v.String()
		case reflect.Bool:
			out[i] = strconv.FormatBool(v.Bool())
		case reflect.Int64:
			out[i] = strconv.FormatInt(v.Int(), 10)
		case reflect.Float64:
			out[i] = strconv.FormatFloat(v.Float(), 'g', -1, 64)
		}
	}
	return out
}

// setCell reads what cells wrote.
func setCell(f field, text string) error {
	v := reflect.ValueOf(f.at).Elem()
	if v.Kind() == reflect.Pointer {
		if text == "" {
			return nil
		}
		v.Set(reflect.New(v.Type().Elem()))
		v = v.Elem()
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(text)
	case reflect.Bool:
		b, err := strconv.ParseBool(text)
		if err != nil {
			return fmt.Errorf("%s is %q, expected true or false", f.column, text)
		}
		v.SetBool(b)
	case reflect.Int64:
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return fmt.Errorf("%s is %q, expected a whole number", f.column, text)
		}
		v.SetInt(n)
	case reflect.Float64:
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return fmt.Errorf("%s is %q, expected a number", f.column, text)
		}
		v.SetFloat(x)
	}
	return nil
}

// ImportCSV reads a folder that ExportCSV wrote, on the terms of ImportJSON.
// Columns may be in any order, and a row's id may be any text if the entry is
// to be new: it only ties the rows of its lists to it. Such an id begins with
// "new".
func (j *Journal) ImportCSV(ctx context.Context, folder string) (Imported, error) {
	return j.take(ctx, func(put func(Record, string) error) error {
		found := false
		for _, k := range kindNames {
			any, err := csvKind(folder, k, put)
			if err != nil {
				return err
			}
			found = found || any
		}
		if !found {
			return fmt.Errorf("there is no file such as session.csv in the folder %s, expected the files that 'kartwright log export --csv' writes", folder)
		}
		return nil
	})
}

// csvKind puts the entries of one kind and reports whether it has a file.
func csvKind(folder string, k Kind, put func(Record, string) error) (bool, error) {
	type placed struct {
		Record
		place string
	}
	var order []placed
	byID := map[string]Record{}
	for t, table := range tables(k) {
		name := filepath.Join(folder, table.table+".csv")
		f, err := os.Open(name)
		if errors.Is(err, fs.ErrNotExist) {
			if t == 0 {
				return false, nil
			}
			continue
		}
		if err != nil {
			return false, fmt.Errorf("%s cannot be read: %w", name, cause(err))
		}
		err = csvRows(name, f, func(place, id string, cell func([]field) error) error {
			if t == 0 {
				r := kinds[k]()
				h := r.Head()
				at, kart, journal := "", "", ""
				if err := cell(append([]field{{"at", &at}, {"journal", &journal}, {"kart", &kart}}, r.fields()...)); err != nil {
					return err
				}
				when, err := time.Parse(time.RFC3339, at)
				if err != nil {
					return fmt.Errorf("at is %q, expected a time such as 2026-05-03T14:20:00Z", at)
				}
				if byID[id] != nil {
					return fmt.Errorf("id %s is there a second time", ID(id).Short())
				}
				h.At, h.Journal, h.Kart = when, journal, kart
				if !strings.HasPrefix(id, "new") {
					h.ID = ID(id)
				}
				byID[id], order = r, append(order, placed{r, place})
				return nil
			}
			r := byID[id]
			if r == nil {
				return fmt.Errorf("there is no %s with id %s in %s.csv", k, ID(id).Short(), k)
			}
			l := r.lists()[t-1]
			n := ""
			if err := cell(append([]field{{"n", &n}}, l.grow()...)); err != nil {
				return err
			}
			if n != strconv.Itoa(l.len+1) {
				return fmt.Errorf("n is %q, expected %d: the rows of an entry are in their order", n, l.len+1)
			}
			return nil
		})
		err = errors.Join(err, f.Close())
		if err != nil {
			return false, err
		}
	}
	for _, p := range order {
		if err := put(p.Record, p.place); err != nil {
			return false, err
		}
	}
	return true, nil
}

// csvRows calls do with each row's place, its id, and a function that fills
// fields from its cells.
func csvRows(name string, f io.Reader, do func(place, id string, cell func([]field) error) error) error {
	in := csv.NewReader(f)
	top, err := in.Read()
	if err != nil {
		return fmt.Errorf("%s: expected a line with the names of the columns: %w", name, err)
	}
	top[0] = strings.TrimPrefix(top[0], "\uFEFF")
	at := map[string]int{}
	for i, c := range top {
		at[c] = i
	}
	if _, ok := at["id"]; !ok {
		return fmt.Errorf("%s:1: there is no column id among %s", name, strings.Join(top, ", "))
	}
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		var pe *csv.ParseError
		if errors.As(err, &pe) {
			return fmt.Errorf("%s:%d:%d: %w", name, pe.Line, pe.Column, pe.Err)
		} else if err != nil {
			return fmt.Errorf("%s cannot be read: %w", name, cause(err))
		}
		line, _ := in.FieldPos(0)
		place := fmt.Sprintf("%s:%d", name, line)
		err = do(place, row[at["id"]], func(fields []field) error {
			for _, f := range fields {
				i, ok := at[f.column]
				if !ok {
					return fmt.Errorf("there is no column %s among %s", f.column, strings.Join(top, ", "))
				}
				if err := setCell(f, row[i]); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("%s: %w", place, err)
		}
	}
}

// Backup writes a whole copy of the journal, as it is at one moment, to a file
// that must not be there yet, and checks both.
func (j *Journal) Backup(ctx context.Context, path string) error {
	if _, err := os.Stat(path); err == nil {
		return fmt.Errorf("%s is there already; name a file that is not", path)
	}
	if err := j.Check(ctx); err != nil {
		return err
	}
	if _, err := j.db.ExecContext(ctx, `VACUUM INTO ?`, path); err != nil {
		err = j.explain(err)
		if errors.Is(err, ErrReadOnly) {
			err = fmt.Errorf("the copy %s cannot be made; check that its folder exists and may be written to", path)
		}
		return errors.Join(err, removed(path))
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err == nil {
		err = errors.Join(f.Sync(), f.Close())
	}
	if err != nil {
		return fmt.Errorf("the copy %s: %w", path, cause(err))
	}
	return checkFile(ctx, path)
}

// removed deletes what is left of a copy that failed.
func removed(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func checkFile(ctx context.Context, path string) error {
	abs, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	db, err := sql.Open("sqlite", dsn(abs))
	if err != nil {
		return err
	}
	j := &Journal{Path: abs, db: db}
	return errors.Join(j.checkStructure(ctx), db.Close())
}

// Check reads the whole file and reports any damage: to its structure, and to
// any entry, whose ID is taken from its content, and to what is counted of them.
func (j *Journal) Check(ctx context.Context) error {
	if err := j.checkStructure(ctx); err != nil {
		return err
	}
	if err := j.each(ctx, func(r Record) error {
		stated := r.Head().ID
		if id, err := settle(r); err != nil || id != stated {
			return j.damaged("entry " + stated.Short() + " is not as it was written")
		}
		return nil
	}); err != nil {
		return err
	}
	return j.checkTally(ctx)
}

// checkTally compares the tally with what follows from the entries.
func (j *Journal) checkTally(ctx context.Context) error {
	var wrong int
	if err := j.db.QueryRowContext(ctx, `WITH
		kept AS (SELECT rule, kart, day, times, helped_nano FROM tally WHERE times <> 0 OR helped_nano <> 0),
		follows AS (SELECT rule, kart, day, count(*), sum(CAST(round(helped * 1e9) AS INTEGER)) FROM (
			SELECT DISTINCT o.id, rule, o.kart AS kart, substr(o.at, 1, 10) AS day, helped `+judgedRules+`) GROUP BY rule, kart, day)
		SELECT (SELECT count(*) FROM (SELECT * FROM kept EXCEPT SELECT * FROM follows)) + (SELECT count(*) FROM (SELECT * FROM follows EXCEPT SELECT * FROM kept))`).Scan(&wrong); err != nil {
		return j.explain(err)
	}
	if wrong > 0 {
		return j.damaged("the tally of what was learned is not what the entries say")
	}
	return nil
}

func (j *Journal) checkStructure(ctx context.Context) error {
	var first string
	if err := j.db.QueryRowContext(ctx, `PRAGMA integrity_check(1)`).Scan(&first); err != nil {
		return j.explain(err)
	}
	if first != "ok" {
		return j.damaged(first)
	}
	return nil
}

func (j *Journal) damaged(how string) error {
	if how != "" {
		how = " (" + strings.ReplaceAll(strings.TrimSpace(how), "\n", " ") + ")"
	}
	return fault{ErrDamaged, fmt.Sprintf("the journal %s is damaged%s; put back a copy made with 'kartwright log backup', and keep the damaged file: most of it may be readable", j.Path, how)}
}
