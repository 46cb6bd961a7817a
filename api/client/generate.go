package client

//go:generate go tool oapi-codegen -config oapi-codegen.yaml -o client.gen.go ../../openapi.yaml
