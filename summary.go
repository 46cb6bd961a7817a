package main

import (
	"fmt"
	"io"

	"levinward/api"
)

func summary(w io.Writer, r *api.Result) error {
	_, err := fmt.Fprintln(w, r.Edition)
	return err
}
