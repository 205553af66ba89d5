package rpc

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"time"
)

const (
	caLife      = 10 * 365 * 24 * time.Hour
	certLife    = 365 * 24 * time.Hour
	renewBefore = 30 * 24 * time.Hour
)

// LocalTLS names the files of an installation that vouches for itself.
type LocalTLS struct {
	CAFile, CAKeyFile string // certificate authority of this installation; clients need CAFile
	CertFile, KeyFile string // server certificate for localhost, 127.0.0.1, ::1 and the machine's name
}

// EnsureLocalTLS makes, in dir, what is missing of a certificate authority and a server certificate, with mode 0600, and
// renews a server certificate that ends within 30 days or does not name all of names (host names and addresses beside
// those of this machine).
func EnsureLocalTLS(dir string, names ...string) (LocalTLS, error) {
	files := LocalTLS{
		CAFile: filepath.Join(dir, "ca.pem"), CAKeyFile: filepath.Join(dir, "ca-key.pem"),
		CertFile: filepath.Join(dir, "server.pem"), KeyFile: filepath.Join(dir, "server-key.pem"),
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return files, fmt.Errorf("local certificates: %w", err)
	}
	ca, err := loadPair(files.CAFile, files.CAKeyFile)
	if errors.Is(err, fs.ErrNotExist) {
		ca, err = makePair(files.CAFile, files.CAKeyFile, caTemplate(), nil)
	}
	if err != nil {
		return files, fmt.Errorf("local certificate authority: %w", err)
	}
	server, err := loadPair(files.CertFile, files.KeyFile)
	if err == nil && usable(server.Leaf, ca.Leaf, names) {
		return files, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return files, fmt.Errorf("local server certificate: %w", err)
	}
	if _, err := makePair(files.CertFile, files.KeyFile, serverTemplate(names), ca); err != nil {
		return files, fmt.Errorf("local server certificate: %w", err)
	}
	return files, nil
}

func usable(leaf, ca *x509.Certificate, names []string) bool {
	for _, name := range names {
		if leaf.VerifyHostname(name) != nil {
			return false
		}
	}
	return time.Until(leaf.NotAfter) > renewBefore && leaf.CheckSignatureFrom(ca) == nil
}

func loadPair(certFile, keyFile string) (*tls.Certificate, error) {
	c, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, err
	}
	return &c, nil
}

func caTemplate() *x509.Certificate {
	return &x509.Certificate{
		Subject: pkix.Name{CommonName: "Rondeau local authority"}, NotAfter: time.Now().Add(caLife), IsCA: true, BasicConstraintsValid: true,
		MaxPathLenZero: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
	}
}

func serverTemplate(more []string) *x509.Certificate {
	names := []string{"localhost"}
	if host, err := os.Hostname(); err == nil {
		names = append(names, host)
	}
	addresses := []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback}
	for _, name := range more {
		if address := net.ParseIP(name); address != nil {
			addresses = append(addresses, address)
		} else {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return &x509.Certificate{
		Subject: pkix.Name{CommonName: "Rondeau server"}, NotAfter: time.Now().Add(certLife), DNSNames: slices.Compact(names),
		IPAddresses: addresses,
		KeyUsage:    x509.KeyUsageDigitalSignature,
		// Also as a client, so that services of one installation can use it for mutual TLS.
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
}

// makePair writes a new key and its certificate, signed by parent or by itself.
func makePair(certFile, keyFile string, template *x509.Certificate, parent *tls.Certificate) (*tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	if template.SerialNumber, err = rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120)); err != nil {
		return nil, err
	}
	template.NotBefore = time.Now().Add(-5 * time.Minute) // clocks of one machine room differ
	signer, issuer := any(key), template
	if parent != nil {
		signer, issuer = parent.PrivateKey, parent.Leaf
	}
	der, err := x509.CreateCertificate(rand.Reader, template, issuer, key.Public(), signer)
	if err != nil {
		return nil, err
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	if err := writePEM(keyFile, "PRIVATE KEY", keyDER); err != nil {
		return nil, err
	}
	if err := writePEM(certFile, "CERTIFICATE", der); err != nil {
		return nil, err
	}
	return loadPair(certFile, keyFile)
}

// writePEM replaces a file in one step.
func writePEM(path, kind string, der []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".pem-*") // mode 0600
	if err != nil {
		return err
	}
	werr := pem.Encode(f, &pem.Block{Type: kind, Bytes: der})
	if err := errors.Join(werr, f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return os.Rename(f.Name(), path)
}

// ServerTLS reads a server's certificate and key. With a clientCAFile, clients must show a certificate that it vouches for
// (mutual TLS).
func ServerTLS(certFile, keyFile, clientCAFile string) (*tls.Config, error) {
	cert, err := loadPair(certFile, keyFile)
	if err != nil {
		return nil, fmt.Errorf("server certificate: %w", err)
	}
	cfg := &tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{*cert}}
	if clientCAFile == "" {
		return cfg, nil
	}
	if cfg.ClientCAs, err = LoadPool(clientCAFile); err != nil {
		return nil, err
	}
	cfg.ClientAuth = tls.RequireAndVerifyClientCert
	return cfg, nil
}

// ClientTLS trusts the servers that caFile vouches for ("" means those of the machine), and shows a certificate of its own
// when certFile and keyFile are given.
func ClientTLS(caFile, certFile, keyFile string) (*tls.Config, error) {
	cfg := &tls.Config{MinVersion: tls.VersionTLS13}
	var err error
	if caFile != "" {
		if cfg.RootCAs, err = LoadPool(caFile); err != nil {
			return nil, err
		}
	}
	if certFile != "" || keyFile != "" {
		cert, err := loadPair(certFile, keyFile)
		if err != nil {
			return nil, fmt.Errorf("client certificate: %w", err)
		}
		cfg.Certificates = []tls.Certificate{*cert}
	}
	return cfg, nil
}

// LoadPool reads the certificates of a PEM file.
func LoadPool(path string) (*x509.CertPool, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("certificates: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(b) {
		return nil, fmt.Errorf("certificates: %s holds none", path)
	}
	return pool, nil
}
