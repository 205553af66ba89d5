package suite

import (
	"fmt"
	"os"
	"path/filepath"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/rpc"
)

// MakeKeys makes what an installation of its own needs: in folder/tls a certificate authority and one certificate for
// all the given host names, under the names that orchestrators mount (ca.crt, tls.crt, tls.key), and the key that signs
// tokens. What exists is kept.
func MakeKeys(folder string, names []string) error {
	made, err := rpc.EnsureLocalTLS(filepath.Join(folder, "authority"), names...)
	if err != nil {
		return fmt.Errorf("certificates: %w", err)
	}
	target := filepath.Join(folder, "tls")
	err = os.MkdirAll(target, 0o755)
	if err != nil {
		return fmt.Errorf("certificates: %w", err)
	}
	for from, to := range map[string]string{made.CAFile: "ca.crt", made.CertFile: "tls.crt", made.KeyFile: "tls.key"} {
		text, err := os.ReadFile(from)
		if err != nil {
			return fmt.Errorf("certificates: %w", err)
		}
		err = os.WriteFile(filepath.Join(target, to), text, 0o600)
		if err != nil {
			return fmt.Errorf("certificates: %w", err)
		}
	}
	_, err = auth.LoadOrCreateKeys(filepath.Join(folder, "tokens.key"))
	if err != nil {
		return fmt.Errorf("token key: %w", err)
	}
	return nil
}
