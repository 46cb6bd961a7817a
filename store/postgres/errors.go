package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/puddle/v2"

	"levinward/store"
)

// SQLSTATE codes (PostgreSQL manual, appendix A).
const (
	foreignKeyViolation = "23503"
	uniqueViolation     = "23505"
	readOnly            = "25006" // a standby, during a change of servers
	deadlock            = "40P01"
)

// translate turns an error of the driver into one of package store where there
// is one for it. ctx is the caller's, not the one bounded by our patience.
func translate(ctx context.Context, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(ctx.Err(), context.Canceled):
		return fmt.Errorf("%w: %w", context.Canceled, err)
	case unavailable(err):
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	return err
}

func unavailable(err error) bool {
	var server *pgconn.PgError
	if errors.As(err, &server) {
		switch server.Code[:min(2, len(server.Code))] {
		case "08", "40", "53", "57", "58": // connection, rollback, resources, operator, system
			return true
		}
		return server.Code == readOnly || isConnect(err)
	}
	var network net.Error
	return isConnect(err) || errors.As(err, &network) ||
		errors.Is(err, context.DeadlineExceeded) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) ||
		errors.Is(err, net.ErrClosed) || errors.Is(err, pgconn.ErrConnClosed) || errors.Is(err, puddle.ErrClosedPool)
}

func isConnect(err error) bool {
	var connect *pgconn.ConnectError
	return errors.As(err, &connect)
}

// violates tells whether the error is a violation of this kind.
func violates(err error, code string) bool {
	var server *pgconn.PgError
	return errors.As(err, &server) && server.Code == code
}

// constraint is the name of the constraint that the error tells of, empty if it tells of none.
func constraint(err error) string {
	var server *pgconn.PgError
	if errors.As(err, &server) {
		return server.ConstraintName
	}
	return ""
}
