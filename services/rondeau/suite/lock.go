package suite

import (
	"crypto/tls"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// lockFolder keeps a second suite off a data folder. The lock ends with the process, however that ends.
func lockFolder(data string) (unlock func() error, err error) {
	path := filepath.Join(data, "suite.lock")
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("lock data folder: %w", err)
	}
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err != nil {
		holder, _ := os.ReadFile(path)
		_ = file.Close()
		return nil, fmt.Errorf("another suite (process %s) runs on the data folder %s; stop it, or name another folder with --data", strings.TrimSpace(string(holder)), data)
	}
	err = file.Truncate(0)
	if err == nil {
		_, err = file.WriteAt([]byte(strconv.Itoa(os.Getpid())), 0)
	}
	if err != nil {
		_ = file.Close()
		return nil, fmt.Errorf("lock data folder: %w", err)
	}
	return file.Close, nil
}

// tlsListener encrypts what clients of the machine send; the pipe inside the process needs none.
func tlsListener(inner net.Listener, settings *tls.Config) net.Listener {
	own := settings.Clone()
	own.NextProtos = []string{"h2"}
	return tls.NewListener(inner, own)
}
