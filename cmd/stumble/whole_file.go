package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// writeWhole writes a file that appears under its name only once all of it is there: a program that watches for it
// never reads half of one, and what fails leaves nothing behind. One that is there is replaced only by force.
func writeWhole(path string, force bool, write func(io.Writer) error) (err error) {
	if err := mayWrite(path, force); err != nil {
		return err
	}
	file, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("the file cannot be made: %w; name another", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(file.Name()))
		}
	}()
	err = write(&output{Writer: file})
	if err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("%s is not written: %w", path, err)
	}
	if err := mayWrite(path, force); err != nil { // another may have come meanwhile
		return err
	}
	if err := os.Rename(file.Name(), path); err != nil {
		return fmt.Errorf("%s cannot take its name: %w; name another", path, err)
	}
	return nil
}

// mayWrite refuses what would be lost. A folder, a link or a device is no file to be replaced, by force neither.
func mayWrite(path string, force bool) error {
	found, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("the file cannot be made: %w; name another", err)
	case !found.Mode().IsRegular():
		return fmt.Errorf("%s is not a plain file: name another", path)
	case !force:
		return fmt.Errorf("%s is there already: name a new file, or replace it with --force", path)
	}
	return nil
}
