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
# SQLite keeps its temporary files in the working directory where there is no /tmp.
WORKDIR /data
VOLUME /data
ENV LEVINWARD_LISTEN=0.0.0.0:8080 LEVINWARD_DATABASE=/data/levinward.db
EXPOSE 8080
ENTRYPOINT ["/levinward"]
CMD ["serve"]
