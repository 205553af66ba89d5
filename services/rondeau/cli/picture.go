package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// picture is a file that is written as a whole or not at all. A nil picture is none.
type picture struct {
	path string
	file *os.File // beside path, until it is kept
}

// newPicture makes sure that a picture can be written before anything takes long; an empty path asks for none.
func newPicture(path string) (*picture, error) {
	if path == "" {
		return nil, nil
	}
	if at, err := os.Stat(path); err == nil && at.IsDir() {
		return nil, usagef("--svg %s: is a folder; name a file in it", path)
	}
	file, err := os.CreateTemp(filepath.Dir(path), ".rondeau-*.svg")
	if err != nil {
		return nil, usagef("--svg %s: a file cannot be written there: %v", path, errors.Unwrap(err))
	}
	return &picture{path: path, file: file}, nil
}

// keep writes the picture.
func (p *picture) keep(write func(io.Writer) error) error {
	if err := write(p.file); err != nil {
		return err
	}
	if err := errors.Join(p.file.Chmod(0o644), p.file.Close()); err != nil {
		return fmt.Errorf("write picture: %w", err)
	}
	if err := os.Rename(p.file.Name(), p.path); err != nil {
		return fmt.Errorf("write picture: %w", err)
	}
	p.file = nil
	return nil
}

// discard removes what was not kept.
func (p *picture) discard() {
	if p != nil && p.file != nil {
		_ = p.file.Close()           // may be closed already
		_ = os.Remove(p.file.Name()) // a file of no worth
	}
}
