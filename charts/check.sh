#!/usr/bin/env bash
# Lints the chart and renders it with its defaults and with telemetry on. Helm is pinned in deploy/tools/helm.mod.
set -euo pipefail
cd "$(dirname "$0")/.."
helm() { go tool -modfile=deploy/tools/helm.mod helm "$@"; }
helm lint --strict charts/rondeau
for set in otlp.endpoint= otlp.endpoint=collector:4317; do
	documents=$(helm template check charts/rondeau --set "$set" | grep -c '^kind: ')
	[ "$documents" -eq 12 ] || { echo "expected 12 documents, rendered $documents"; exit 1; }
done
echo "chart renders"
