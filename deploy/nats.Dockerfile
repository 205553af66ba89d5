# The broker, built from the module that go.mod pins, so that the embedded and the standalone one are the same.
FROM scratch
COPY nats-server nats.conf /
ENTRYPOINT ["/nats-server", "-c", "/nats.conf"]
