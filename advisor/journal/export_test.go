package journal

import (
	"context"
	"io/fs"
	"strings"
)

// Pragma asks the connection that j uses.
func Pragma(j *Journal, name string) (value string, err error) {
	err = j.db.QueryRow("PRAGMA " + name).Scan(&value)
	return value, err
}

// Exec runs SQL on the connection that j uses.
func Exec(j *Journal, query string) error {
	_, err := j.db.Exec(query)
	return err
}

// Migrate runs other migrations than the embedded ones.
func Migrate(j *Journal, scripts fs.FS) error {
	return j.migrate(context.Background(), scripts, strings.NewReader(""))
}
