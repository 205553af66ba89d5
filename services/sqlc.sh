#!/usr/bin/env bash
# Generates the query code of the stores from services/*/sqlc.yaml. The generator is pinned in deploy/tools/go.mod.
set -euo pipefail
cd "$(dirname "$0")"
for config in */sqlc.yaml; do
	(cd "$(dirname "$config")" && go tool -modfile=../../deploy/tools/go.mod sqlc generate)
done
