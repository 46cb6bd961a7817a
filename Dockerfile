# The service as one static binary, without a shell, for a user that is not root.
FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=0 go build -trimpath -ldflags='-s -w' -o /out/levinward . && mkdir /out/data

FROM scratch
COPY --from=build /out/levinward /levinward
COPY --from=build --chown=65532:65532 /out/data /data
USER 65532:65532
# There is no /tmp: what waits on the disk (imports, exports, SQLite's temporary files) waits here.
WORKDIR /data
VOLUME /data
ENV TMPDIR=/data LEVINWARD_LISTEN=0.0.0.0:8080 LEVINWARD_DATABASE=/data/levinward.db
EXPOSE 8080
ENTRYPOINT ["/levinward"]
CMD ["serve"]
