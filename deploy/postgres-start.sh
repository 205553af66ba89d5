# Makes the cluster and one database per service at the first start, then serves. RONDEAU_DATABASES names them.
set -eu
bin=/usr/lib/postgresql/bin
data=/var/lib/postgresql/data
if [ ! -s "$data/PG_VERSION" ]; then
	$bin/initdb -D "$data" -U rondeau --auth=trust --encoding=UTF8 --locale=C --data-checksums >/dev/null
	echo "host all all all trust" >>"$data/pg_hba.conf"
	for name in ${RONDEAU_DATABASES:-}; do
		echo "CREATE DATABASE $name" | $bin/postgres --single -D "$data" postgres >/dev/null
	done
fi
exec $bin/postgres -D "$data" -c listen_addresses='*' -c unix_socket_directories=/tmp -c fsync=on -c synchronous_commit=on
