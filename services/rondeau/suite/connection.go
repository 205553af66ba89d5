package suite

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Connection tells a client on the same machine how to reach the suite that runs on a data folder. The suite writes it
// when it is ready and takes it away when it stops.
type Connection struct {
	Address string `json:"address"` // host:port of the gRPC listener
	CA      string `json:"ca"`      // certificate authority of the listener, a file below the data folder
	Process int    `json:"process"` // id of the process that serves
}

func connectionFile(data string) string { return filepath.Join(data, "connection.json") }

// KeyFile is where the embedded suite keeps the key that signs its tokens.
func KeyFile(data string) string { return filepath.Join(data, "keys", "tokens.key") }

// ReadConnection finds the suite that runs on a data folder.
func ReadConnection(data string) (Connection, error) {
	text, err := os.ReadFile(connectionFile(data))
	if errors.Is(err, fs.ErrNotExist) {
		return Connection{}, fmt.Errorf("no suite runs on the data folder %s; start one with: rondeau up --data %s", data, data)
	}
	if err != nil {
		return Connection{}, fmt.Errorf("read connection: %w", err)
	}
	var c Connection
	err = json.Unmarshal(text, &c)
	if err != nil {
		return Connection{}, fmt.Errorf("read connection %s: %w", connectionFile(data), err)
	}
	return c, nil
}

func (c Connection) write(data string) error {
	text, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return fmt.Errorf("encode connection: %w", err)
	}
	target := connectionFile(data)
	err = os.WriteFile(target+".new", append(text, '\n'), 0o600)
	if err != nil {
		return fmt.Errorf("write connection: %w", err)
	}
	err = os.Rename(target+".new", target)
	if err != nil {
		return fmt.Errorf("write connection: %w", err)
	}
	return nil
}

// DefaultData is the data folder when none is named: $RONDEAU_DATA, else a folder of the user's own.
func DefaultData() string {
	if data := os.Getenv("RONDEAU_DATA"); data != "" {
		return data
	}
	if base := os.Getenv("XDG_DATA_HOME"); base != "" {
		return filepath.Join(base, "rondeau")
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "rondeau-data"
	}
	return filepath.Join(home, ".local", "share", "rondeau")
}
