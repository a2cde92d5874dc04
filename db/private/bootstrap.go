package private

import (
	"context"
	"fmt"
	"net/url"
	"strings"

	"github.com/jackc/pgx/v5"
)

// LoginRole is the user that DSN connects as: no superuser, and bound by
// row-level security.
const LoginRole = "askwright"

// The other names inside the cluster.
const (
	superuser = "postgres"
	database  = "askwright"
)

// dsn is a connection URL for pgx and the PostgreSQL programs alike.
func dsn(socketDir, user, database string) string {
	query := url.Values{"host": {socketDir}, "port": {"5432"}, "sslmode": {"disable"}}.Encode()
	// PostgreSQL takes a plus sign for itself, not for a space.
	query = strings.ReplaceAll(query, "+", "%20")
	return (&url.URL{Scheme: "postgres", User: url.User(user), Path: "/" + database, RawQuery: query}).String()
}

// bootstrap makes sure that the login role and the database exist. The role may
// only log in; what else it may do is granted by the migrations.
func bootstrap(ctx context.Context, socketDir string) error {
	conn, err := pgx.Connect(ctx, dsn(socketDir, superuser, "postgres"))
	if err != nil {
		return fmt.Errorf("connecting to the private PostgreSQL: %w", err)
	}
	defer conn.Close(ctx)
	for _, step := range []struct{ catalogue, create string }{
		{"SELECT FROM pg_roles WHERE rolname = '" + LoginRole + "'", "CREATE ROLE " + LoginRole},
		{"SELECT FROM pg_database WHERE datname = '" + database + "'", "CREATE DATABASE " + database},
	} {
		found, err := conn.Exec(ctx, step.catalogue)
		if err == nil && found.RowsAffected() == 0 {
			_, err = conn.Exec(ctx, step.create)
		}
		if err != nil {
			return fmt.Errorf("preparing the private PostgreSQL: %s: %w", step.create, err)
		}
	}
	_, err = conn.Exec(ctx, "ALTER ROLE "+LoginRole+" LOGIN NOSUPERUSER NOBYPASSRLS NOCREATEDB NOCREATEROLE NOREPLICATION")
	if err != nil {
		return fmt.Errorf("preparing the private PostgreSQL: %w", err)
	}
	return nil
}
