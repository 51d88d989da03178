package journal

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"modernc.org/sqlite"
)

//go:embed migrations
var embedded embed.FS

// application marks a file as a journal ("Kart" in ASCII).
const application = 0x4B617274

// Faults of a journal's file, for errors.Is.
var (
	ErrNewer    = errors.New("written by a later version of kartwright")
	ErrNot      = errors.New("not a journal")
	ErrDamaged  = errors.New("damaged")
	ErrBusy     = errors.New("in use by another program")
	ErrReadOnly = errors.New("read-only")
	ErrFull     = errors.New("no room on the disk")
	ErrNoEntry  = errors.New("no such entry")
)

// fault is one of those errors with its sentence.
type fault struct {
	is   error
	text string
}

func (f fault) Error() string { return f.text }
func (f fault) Unwrap() error { return f.is }

// Journal is an open journal. It may be used by several goroutines.
type Journal struct {
	// Path is its file.
	Path string
	// Created reports that Open began a new, empty journal.
	Created bool

	db  *sql.DB
	id  string
	now func() time.Time
}

// Options are what a journal needs of the world. The zero value takes the
// machine's own clock and random numbers.
type Options struct {
	Now    func() time.Time
	Random io.Reader // names a new journal
}

// DefaultPath is where a user's journal is kept: the platform's folder for a
// user's data, or $XDG_DATA_HOME where that is set. getenv is os.Getenv, goos
// runtime.GOOS.
func DefaultPath(getenv func(string) string, goos string) (string, error) {
	under := func(dir string, more ...string) (string, error) {
		return filepath.Join(append(append([]string{dir}, more...), "kartwright", "journal.db")...), nil
	}
	home := getenv("HOME")
	switch xdg := getenv("XDG_DATA_HOME"); {
	case filepath.IsAbs(xdg): // the base directory specification has relative ones ignored
		return under(xdg)
	case goos == "windows" && getenv("LocalAppData") != "":
		return under(getenv("LocalAppData"))
	case (goos == "darwin" || goos == "ios") && home != "":
		return under(home, "Library", "Application Support")
	case goos != "windows" && home != "":
		return under(home, ".local", "share")
	}
	return "", errors.New("there is no folder for the journal: neither HOME nor XDG_DATA_HOME is set; say where it is with --journal FILE")
}

// pragmas are set on every connection. The rollback journal leaves one file to
// copy; EXTRA also syncs the folder after a commit, without which a power cut
// could bring an acknowledged entry's rollback journal back.
var pragmas = []string{"busy_timeout(10000)", "foreign_keys(1)", "journal_mode(delete)", "synchronous(extra)", "trusted_schema(0)"}

// dsn says a file and the pragmas to the driver. Any character may be in the
// path.
func dsn(path string) string {
	p := filepath.ToSlash(path)
	if !strings.HasPrefix(p, "/") {
		p = "/" + p // C:/…
	}
	q := url.Values{"_pragma": pragmas, "_txlock": {"immediate"}}
	return (&url.URL{Scheme: "file", Path: p, RawQuery: q.Encode()}).String()
}

// Open opens the journal at path, creates it and its folder if there is none,
// and brings one of an earlier version up to date. Errors name the file and
// say what to do.
func Open(ctx context.Context, path string, o Options) (*Journal, error) {
	if path == "" {
		return nil, errors.New("the journal has no file name")
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("the journal %s: %w", path, err)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Random == nil {
		o.Random = rand.Reader
	}
	j := &Journal{Path: path, now: o.Now}
	switch info, err := os.Stat(path); {
	case errors.Is(err, fs.ErrNotExist):
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return nil, fmt.Errorf("the folder of the journal %s cannot be made: %w", path, cause(err))
		}
	case err != nil:
		return nil, fmt.Errorf("the journal %s cannot be read: %w", path, cause(err))
	case info.IsDir():
		return nil, fmt.Errorf("the journal %s is a folder; name a file in it", path)
	}
	if j.db, err = sql.Open("sqlite", dsn(path)); err != nil {
		return nil, j.explain(err)
	}
	// One connection: SQLite has one writer, and whoever reads inside a
	// transaction does so on it.
	j.db.SetMaxOpenConns(1)
	scripts, err := fs.Sub(embedded, "migrations")
	if err == nil {
		err = j.migrate(ctx, scripts, o.Random)
	}
	if err == nil {
		err = j.db.QueryRowContext(ctx, `SELECT id FROM journal`).Scan(&j.id)
	}
	if err != nil {
		return nil, errors.Join(j.explain(err), j.db.Close())
	}
	return j, nil
}

// Close closes the file.
func (j *Journal) Close() error { return j.db.Close() }

// ID names the journal. It is random and says nothing of its owner.
func (j *Journal) ID() string { return j.id }

// migrate runs the scripts that the file has not seen, each in a transaction
// with its number.
func (j *Journal) migrate(ctx context.Context, scripts fs.FS, random io.Reader) error {
	names, err := fs.Glob(scripts, "*.sql")
	if err != nil {
		return err
	}
	sort.Strings(names)
	version, err := j.version(ctx, j.db)
	if err != nil {
		return err
	}
	for version < len(names) {
		if err := j.step(ctx, scripts, names, random); err != nil {
			return err
		}
		if version, err = j.version(ctx, j.db); err != nil {
			return err
		}
	}
	if version > len(names) {
		return fault{ErrNewer, fmt.Sprintf("the journal %s was written by a later version of kartwright (its schema is %d, this program knows %d); use that version, or name another file with --journal", j.Path, version, len(names))}
	}
	return nil
}

// step runs the script that is due, unless another program has just done so.
func (j *Journal) step(ctx context.Context, scripts fs.FS, names []string, random io.Reader) error {
	tx, err := j.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	version, err := j.version(ctx, tx)
	if err != nil || version >= len(names) {
		return err
	}
	script, err := fs.ReadFile(scripts, names[version])
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, string(script)); err != nil {
		return fmt.Errorf("%s: %w", names[version], err)
	}
	if version == 0 {
		var name [16]byte
		if _, err := io.ReadFull(random, name[:]); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO journal VALUES (1, ?, ?)`, hex.EncodeToString(name[:]), stamp(j.now())); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA application_id = %d; PRAGMA user_version = %d`, application, version+1)); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	j.Created = j.Created || version == 0
	return nil
}

// asker is a database or a transaction.
type asker interface {
	QueryRowContext(context.Context, string, ...any) *sql.Row
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}

// version returns the file's schema version, 0 for an empty one, and refuses a
// file that is something else.
func (j *Journal) version(ctx context.Context, q asker) (int, error) {
	var app, version, tables int
	row := q.QueryRowContext(ctx, `SELECT application_id, user_version, (SELECT count(*) FROM sqlite_schema) FROM pragma_application_id, pragma_user_version`)
	if err := row.Scan(&app, &version, &tables); err != nil {
		return 0, err
	}
	if app != application && (app != 0 || version != 0 || tables != 0) {
		return 0, fault{ErrNot, fmt.Sprintf("%s is a database of another program, not a journal; name another file with --journal", j.Path)}
	}
	return version, nil
}

// explain says in a sentence what the database says in a number.
func (j *Journal) explain(err error) error {
	var f fault
	var e *sqlite.Error
	if err == nil || errors.As(err, &f) || !errors.As(err, &e) {
		return err
	}
	var pe fault
	switch e.Code() & 0xff { // https://www.sqlite.org/rescode.html, primary result codes
	case 5, 6: // BUSY, LOCKED
		pe = fault{ErrBusy, "the journal %s is in use by another program and stayed so for 10 s; try again (nothing was written)"}
	case 8: // READONLY
		pe = fault{ErrReadOnly, "the journal %s may not be written to; check the permissions of the file and of its folder (nothing was written)"}
	case 10: // IOERR
		if e.Code() == 10|3<<8 || e.Code() == 10|4<<8 || e.Code() == 10|6<<8 { // WRITE, FSYNC, TRUNCATE
			pe = fault{ErrFull, "the journal %s cannot be written to, the disk may be full or failing; this entry was not kept, what was there before is"}
		} else {
			return fmt.Errorf("the journal %s cannot be read, the disk may be failing: %w", j.Path, err)
		}
	case 11: // CORRUPT
		return j.damaged("")
	case 13: // FULL
		pe = fault{ErrFull, "there is no room on the disk for the journal %s; this entry was not kept, what was there before is"}
	case 14: // CANTOPEN
		pe = fault{ErrReadOnly, "the journal %s cannot be opened or made; check that its folder exists and may be written to"}
	case 26: // NOTADB
		pe = fault{ErrNot, "%s is not a journal, or its beginning is damaged; name another file with --journal, or put back a copy made with 'kartwright log backup'"}
	default:
		return fmt.Errorf("the journal %s: %w", j.Path, err)
	}
	pe.text = fmt.Sprintf(pe.text, j.Path)
	return pe
}

// cause is an error without the operation and path that a message has already.
func cause(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

const stampFormat = "2006-01-02T15:04:05.000Z"

func stamp(t time.Time) string { return t.UTC().Format(stampFormat) }
