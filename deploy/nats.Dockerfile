# The broker, built from the module that go.mod pins, so that the embedded and the standalone one are the same. It runs as
# a user without rights, who owns the folder of the streams.
FROM scratch
COPY --chown=65532:65532 rootfs/ /
COPY nats-server nats.conf /
USER 65532:65532
ENTRYPOINT ["/nats-server", "-c", "/nats.conf"]
