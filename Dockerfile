# A small image with the program alone; DATABASE_URL must name a PostgreSQL.
FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=0 go build -trimpath -buildvcs=false -o /askwright ./service/cmd/askwright

FROM scratch
COPY --from=build /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/
COPY --from=build /askwright /askwright
# Nobody in particular: the program writes no files.
USER 65532:65532
ENV ASKWRIGHT_ADDR=:8080 ASKWRIGHT_OPS_ADDR=:8081 ASKWRIGHT_LOG_FORMAT=json
EXPOSE 8080 8081
ENTRYPOINT ["/askwright"]
CMD ["serve"]
