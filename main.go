// levinward says how often lightning will strike a site, whether that is
// acceptable, and which surge protective device each line needs.
package main

import (
	"context"
	"embed"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"levinward/api"
	"levinward/api/contract"
	"levinward/api/refusal"
	"levinward/store"
	"levinward/store/postgres"
	"levinward/store/sqlite"
)

// version is that of the program, kept with every result.
const version = "0.1.0"

const engine = "levinward " + version

//go:embed openapi.yaml
var openAPI []byte

//go:embed migrations
var migrations embed.FS

const usage = `levinward: lightning risk and surge protection for off-grid and rural sites

  levinward serve   [-listen HOST:PORT] [-database FILE|postgres://…] [-allow-private-webhooks]   the service
  levinward assess  [-json] [-check] [-map ID=FILE]… [-reviews FILE] FILE|-   one site, without a server
  levinward check-device [-json] [-reviews FILE] FILE|-                 is this device right for that line?
  levinward import  -portfolio NAME FILE                                sites of a file into a portfolio
  levinward reference [-format text|csv|json] [-reviews FILE|-stored] [-disagreements]   every value and formula in use
  levinward review  [-database FILE|postgres://…] FILE|-                put a reviewed table of them into use
  levinward migrate [-database FILE|postgres://…]                       bring a database up to date
  levinward version

A map (-map) is an ASCII grid, GeoTIFF or CSV of flash density for inputs whose flash_density.map is ID. FILE.json beside
it says what the file does not, like {"name": …, "kind": "ground_flashes_per_km2_year", "from_year": …, "to_year": …, "source": …}.
A reviewed table (-reviews) is the CSV of levinward reference with agrees (yes or no), printed_value, checked_by and date filled in.
The environment variables LEVINWARD_LISTEN and LEVINWARD_DATABASE stand in for the options.
A screening and design aid: local codes and a licensed practitioner decide.
`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	p := program{args: os.Args[1:], in: os.Stdin, out: os.Stdout, errOut: os.Stderr, env: os.Getenv}
	os.Exit(p.run(ctx))
}

// program is one run of the command, with everything it touches, so that tests can run it.
type program struct {
	args        []string
	in          io.Reader
	out, errOut io.Writer
	env         func(string) string
	listening   func(address string) // told where serve listens; may be nil
}

// Exit statuses.
const (
	exitOK    = 0
	exitFault = 1 // the work could not be done
	exitUsage = 2 // the command line is wrong
)

var errUsage = errors.New("usage")

func (p *program) run(ctx context.Context) int {
	err := p.command(ctx)
	switch {
	case err == nil || errors.Is(err, flag.ErrHelp):
		return exitOK
	case errors.Is(err, errUsage):
		fmt.Fprintf(p.errOut, "%v\n\n%s", err, usage)
		return exitUsage
	}
	fmt.Fprintf(p.errOut, "levinward: %v\n", err)
	var refused *refusal.Problem
	if errors.As(err, &refused) {
		for _, f := range refused.Errors {
			fmt.Fprintf(p.errOut, "  %s\n", f)
		}
	}
	return exitFault
}

func (p *program) command(ctx context.Context) error {
	if len(p.args) == 0 {
		return fmt.Errorf("%w: name a command", errUsage)
	}
	name, args := p.args[0], p.args[1:]
	switch name {
	case "serve":
		return p.serve(ctx, args)
	case "assess":
		return p.assess(args)
	case "check-device":
		return p.checkDevice(args)
	case "import":
		return p.importFile(ctx, args)
	case "reference":
		return p.reference(ctx, args)
	case "review":
		return p.review(ctx, args)
	case "migrate":
		return p.migrate(ctx, args)
	case "version", "-version", "--version":
		fmt.Fprintln(p.out, engine)
		return nil
	case "help", "-h", "-help", "--help":
		fmt.Fprint(p.out, usage)
		return nil
	}
	return fmt.Errorf("%w: there is no command %q", errUsage, name)
}

// flags makes a flag set that reports faults as usage errors.
func (p *program) flags(name string) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.SetOutput(p.errOut)
	return f
}

func parse(f *flag.FlagSet, args []string, operands int) error {
	if err := f.Parse(args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return err
		}
		return fmt.Errorf("%w: %v", errUsage, err)
	}
	if f.NArg() != operands {
		return fmt.Errorf("%w: %s takes operands: %d; found: %d", errUsage, f.Name(), operands, f.NArg())
	}
	return nil
}

// or is an environment variable, or a default.
func (p *program) or(variable, value string) string {
	if v := p.env(variable); v != "" {
		return v
	}
	return value
}

func (p *program) database(f *flag.FlagSet) *string {
	return f.String("database", p.or("LEVINWARD_DATABASE", "levinward.db"), "SQLite `file` or postgres:// address")
}

func isPostgres(dsn string) bool {
	return strings.HasPrefix(dsn, "postgres://") || strings.HasPrefix(dsn, "postgresql://")
}

func migrationsOf(kind string) fs.FS {
	sub, err := fs.Sub(migrations, "migrations/"+kind)
	if err != nil {
		panic(err) // the folders are embedded
	}
	return sub
}

// openStore opens the database and brings it up to date.
func openStore(ctx context.Context, dsn string) (store.Store, error) {
	if isPostgres(dsn) {
		return postgres.Open(ctx, dsn, migrationsOf("postgres"))
	}
	return sqlite.Open(ctx, dsn, migrationsOf("sqlite"))
}

func (p *program) migrate(ctx context.Context, args []string) error {
	f := p.flags("migrate")
	dsn := p.database(f)
	if err := parse(f, args, 0); err != nil {
		return err
	}
	var applied []string
	var err error
	if isPostgres(*dsn) {
		applied, err = postgres.Migrate(ctx, *dsn, migrationsOf("postgres"))
	} else {
		applied, err = sqlite.Migrate(ctx, *dsn, migrationsOf("sqlite"))
	}
	for _, name := range applied {
		fmt.Fprintln(p.out, "applied", name)
	}
	if err == nil && len(applied) == 0 {
		fmt.Fprintln(p.out, "the database is up to date")
	}
	return err
}

// Time limits of the service.
const (
	headerTimeout   = 10 * time.Second
	requestTimeout  = 60 * time.Second
	idleTimeout     = 2 * time.Minute
	shutdownTimeout = 30 * time.Second
)

func (p *program) serve(ctx context.Context, args []string) error {
	f := p.flags("serve")
	listen := f.String("listen", p.or("LEVINWARD_LISTEN", "127.0.0.1:8080"), "`address` to listen on")
	private := f.Bool("allow-private-webhooks", false, "webhooks may have http addresses and addresses of private networks")
	dsn := p.database(f)
	if err := parse(f, args, 0); err != nil {
		return err
	}
	db, err := openStore(ctx, *dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	doc, err := contract.New(openAPI)
	if err != nil {
		return err
	}
	config := api.Config{Store: db, Contract: doc, Engine: engine, Log: slog.New(slog.NewTextHandler(p.errOut, nil)), PrivateWebhooks: *private}
	if config.Jobs, err = api.NewJobs(config); err != nil {
		return err
	}
	handler, err := api.New(config)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", *listen)
	if err != nil {
		return err
	}
	working := startQueue(ctx, config)
	fmt.Fprintf(p.errOut, "levinward listens on http://%s\n", l.Addr())
	fmt.Fprintf(p.errOut, "every operation, to read and try: http://%s/docs\n", l.Addr())
	if p.listening != nil {
		p.listening(l.Addr().String())
	}
	err = serveUntilDone(ctx, l, handler)
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTimeout)
	defer cancel()
	return errors.Join(err, working.Stop(end))
}

// serveUntilDone serves until ctx is done, then lets running requests finish.
func serveUntilDone(ctx context.Context, l net.Listener, handler http.Handler) error {
	server := &http.Server{Handler: handler, ReadHeaderTimeout: headerTimeout, ReadTimeout: requestTimeout, WriteTimeout: requestTimeout, IdleTimeout: idleTimeout}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.Background(), shutdownTimeout)
	defer cancel()
	return server.Shutdown(end)
}
