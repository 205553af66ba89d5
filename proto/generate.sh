#!/usr/bin/env bash
# Lints the protos and generates pkg/gen. With an argument (a folder below proto, such as rondeau/planning) only that
# part is linted and generated.
set -euo pipefail
cd "$(dirname "$0")/.."
buf() { go tool -modfile=deploy/tools/go.mod buf "$@"; }
[ -f .proto-deps/buf/validate/validate.proto ] && [ .proto-deps/stamp -nt go.mod ] || {
	rm -rf .proto-deps
	go run ./proto/deps .proto-deps
	touch .proto-deps/stamp
}
if [ $# -gt 0 ]; then
	buf lint --path "proto/$1"
	buf generate --path "proto/$1"
else
	buf lint --path proto/rondeau
	find pkg/gen -name '*.pb.go' -delete 2>/dev/null || true
	buf generate
fi
