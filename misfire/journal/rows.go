package journal

import "context"

// scanner is a row to be read.
type scanner interface{ Scan(...any) error }

// list reads all rows of a query.
func list[T any](j *Journal, read func(scanner) (T, error), query string, args ...any) ([]T, error) {
	db, err := j.reader()
	if err != nil {
		return nil, err
	}
	rows, err := db.QueryContext(context.Background(), query, args...)
	if err != nil {
		return nil, j.readFailed(err)
	}
	defer rows.Close()
	var all []T
	for rows.Next() {
		one, err := read(rows)
		if err != nil {
			return nil, j.readFailed(err)
		}
		all = append(all, one)
	}
	return all, j.readFailed(rows.Err())
}

// one reads a single row; what and id name it should it not be there.
func one[T any](j *Journal, read func(scanner) (T, error), what string, id int64, query string, args ...any) (T, error) {
	all, err := list(j, read, query, args...)
	if err != nil || len(all) == 0 {
		var none T
		if err == nil {
			err = unknown(what, id)
		}
		return none, err
	}
	return all[0], nil
}

// readFailed puts an error of reading into words, and remembers damage for the next Open.
func (j *Journal) readFailed(err error) error {
	err = j.trouble(err)
	j.suspect(err)
	return err
}
