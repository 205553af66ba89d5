#!/usr/bin/env bash
# Builds the images of the suite from this checkout, out of static binaries and nothing else: rondeau, rondeau-nats and
# rondeau-postgres, each tagged with the first argument (default: local). No image is pulled. The images that had the tag
# before are removed unless something still uses them. RONDEAU_BUILD_TAGS adds Go build tags to the binaries.
set -euo pipefail
cd "$(dirname "$0")/.."
tag=${1:-local}
export DOCKER_BUILDKIT=0
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

build() { # package, output
	CGO_ENABLED=0 go build -trimpath -tags "${RONDEAU_BUILD_TAGS:-}" -ldflags "-s -w" -o "$2" "$1"
}

image() { # name, Dockerfile, context
	local old new
	old=$(docker images -q --no-trunc "$1:$tag")
	docker build -q -t "$1:$tag" -f "$2" "$3"
	new=$(docker images -q --no-trunc "$1:$tag")
	if [ -n "$old" ] && [ "$old" != "$new" ]; then
		docker rmi "$old" >/dev/null 2>&1 || true # in use, or known under another tag
	fi
}

mkdir -p "$work/rondeau/rootfs/etc/rondeau"
chmod 700 "$work/rondeau/rootfs/etc/rondeau"
build ./services/rondeau "$work/rondeau/rondeau"
image rondeau deploy/Dockerfile "$work/rondeau"

mkdir -p "$work/nats/rootfs/data"
build github.com/nats-io/nats-server/v2 "$work/nats/nats-server"
cp deploy/nats.conf "$work/nats/"
image rondeau-nats deploy/nats.Dockerfile "$work/nats"

home=$(ls -d /usr/lib/postgresql/*/ 2>/dev/null | sort -V | tail -1)
[ -n "$home" ] || { echo "no PostgreSQL binaries on this machine: install the distribution's package"; exit 1; }
version=$(basename "$home")
root=$work/postgres/rootfs
mkdir -p "$root"/{bin,tmp,etc,usr/lib/postgresql,usr/share/postgresql,usr/share/zoneinfo} "$work/postgres/home/data"
cp -r "$home/bin" "$home/lib" "$root/usr/lib/postgresql/"
cp -r "/usr/share/postgresql/$version" "$root/usr/share/postgresql/"
cp -rL /usr/share/zoneinfo/. "$root/usr/share/zoneinfo/"
# The binaries look for their share and library folders where the distribution put them.
mkdir -p "$root/usr/lib/postgresql/$version"
mv "$root/usr/lib/postgresql/bin" "$root/usr/lib/postgresql/lib" "$root/usr/lib/postgresql/$version/"
ln -s "$version/bin" "$root/usr/lib/postgresql/bin"
for file in /bin/sh /bin/rm "$root/usr/lib/postgresql/$version/bin/"{postgres,initdb} "$root/usr/lib/postgresql/$version/lib/"{plpgsql,dict_snowball,btree_gist}.so; do
	ldd "$file" 2>/dev/null | grep -o '/[^ ]*' || true
done | sort -u | while read -r library; do
	mkdir -p "$root$(dirname "$library")"
	cp -L "$library" "$root$library"
done
cp -L /bin/sh /bin/rm "$root/bin/"
cp deploy/postgres-start.sh "$root/start.sh"
printf 'root:x:0:0::/:/bin/sh\nrondeau:x:70:70::/var/lib/postgresql:/bin/sh\n' >"$root/etc/passwd"
printf 'root:x:0:\nrondeau:x:70:\n' >"$root/etc/group"
chmod 1777 "$root/tmp"
chmod -R u=rwX,go=rX "$root/usr"
chmod 700 "$work/postgres/home/data"
image rondeau-postgres deploy/postgres.Dockerfile "$work/postgres"
