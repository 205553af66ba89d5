# PostgreSQL out of the host's own binaries and the libraries they link (deploy/images.sh gathers them), for machines
# that reach no image registry. In production use a PostgreSQL that somebody keeps for you.
FROM scratch
COPY rootfs/ /
COPY --chown=70:70 home/ /var/lib/postgresql/
USER 70:70
ENTRYPOINT ["/bin/sh", "/start.sh"]
