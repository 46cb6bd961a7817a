package sites

import (
	_ "modernc.org/sqlite" // the driver

	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/store"
)

// geoPackageTime is the one form of a time in a GeoPackage 1.3 (clause 1.1.1.1.3): UTC, with milliseconds.
const geoPackageTime = "2006-01-02T15:04:05.000Z"

// geoPackageTables are the tables of a GeoPackage 1.3 with features (OGC 12-128, clauses 1.1.2, 1.1.3 and 2.1.5),
// the marks that the file is one ("GPKG", version 10300), and its reference systems. Clauses here and below are from memory;
// the tests let GDAL read and validate the file. The default of last_change has to be this very text.
const geoPackageTables = `
PRAGMA application_id = 0x47504B47;
PRAGMA user_version = 10300;
CREATE TABLE gpkg_spatial_ref_sys (
	srs_name TEXT NOT NULL,
	srs_id INTEGER NOT NULL PRIMARY KEY,
	organization TEXT NOT NULL,
	organization_coordsys_id INTEGER NOT NULL,
	definition TEXT NOT NULL,
	description TEXT);
CREATE TABLE gpkg_contents (
	table_name TEXT NOT NULL PRIMARY KEY,
	data_type TEXT NOT NULL,
	identifier TEXT UNIQUE,
	description TEXT DEFAULT '',
	last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
	min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE,
	srs_id INTEGER,
	CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE gpkg_geometry_columns (
	table_name TEXT NOT NULL UNIQUE,
	column_name TEXT NOT NULL,
	geometry_type_name TEXT NOT NULL,
	srs_id INTEGER NOT NULL,
	z TINYINT NOT NULL,
	m TINYINT NOT NULL,
	CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
	CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents (table_name),
	CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
INSERT INTO gpkg_spatial_ref_sys VALUES
	('Undefined Cartesian', -1, 'NONE', -1, 'undefined', 'Cartesian coordinates of an unknown system'),
	('Undefined geographic', 0, 'NONE', 0, 'undefined', 'geographic coordinates of an unknown system'),
	('WGS 84', 4326, 'EPSG', 4326, 'GEOGCS["WGS 84",' ||
    'DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]]' ||
    ',PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]]' ||
    ',AXIS["Latitude",NORTH],AXIS["Longitude",EAST],AUTHORITY["EPSG","4326"]]', 'longitude and latitude in degrees on WGS 84');
INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('sites', 'features', 'sites', 4326);
INSERT INTO gpkg_geometry_columns VALUES ('sites', 'geom', 'POINT', 4326, 0, 0);
`

// geoPackageTypes are the types of the columns (clause 1.1.1.1.3).
var geoPackageTypes = map[reflect.Type]string{
	reflect.TypeFor[string]():    "TEXT NOT NULL",
	reflect.TypeFor[*string]():   "TEXT",
	reflect.TypeFor[int]():       "INTEGER NOT NULL",
	reflect.TypeFor[float64]():   "DOUBLE NOT NULL",
	reflect.TypeFor[bool]():      "BOOLEAN NOT NULL",
	reflect.TypeFor[time.Time](): "DATETIME NOT NULL",
}

// siteTable makes the table of the features: a number, the point, then the columns of every export.
func siteTable() string {
	types := []string{"TEXT NOT NULL", "DOUBLE NOT NULL", "DOUBLE NOT NULL"} // id, latitude, longitude
	t := reflect.TypeFor[wire.SiteProperties]()
	for i := range t.NumField() {
		types = append(types, geoPackageTypes[t.Field(i).Type])
	}
	var b strings.Builder
	b.WriteString("CREATE TABLE sites (\n\tfid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,\n\tgeom POINT NOT NULL")
	for i, name := range columns {
		if name == "review_due" { // the one text that is a day
			types[i] = "DATE"
		}
		fmt.Fprintf(&b, ",\n\t%s %s", name, types[i])
	}
	b.WriteString(");\n")
	return b.String()
}

// geoPackageWriter writes a GeoPackage. It is made in a temporary file, since its pages are not written in their order,
// and sent at the end.
type geoPackageWriter struct {
	out    io.Writer
	file   *os.File
	db     *sql.DB
	tx     *sql.Tx // the only one
	insert *sql.Stmt
	bounds orb.Bound
	some   bool
}

// NewGeoPackage writes an OGC GeoPackage with one layer. It is made on the disk and sent when it is closed.
func NewGeoPackage(out io.Writer) (Writer, error) {
	file, err := os.CreateTemp("", "levinward-sites-*.gpkg")
	if err != nil {
		return nil, err
	}
	f := &geoPackageWriter{out: out, file: file}
	if err := f.begin(); err != nil {
		f.Discard()
		return nil, err
	}
	return f, nil
}

// begin makes the tables. Whoever reads the pages of sites sees that the client
// goes away; the statements here are too short to ask.
func (f *geoPackageWriter) begin() (err error) {
	ctx := context.Background()
	// A file that is not finished is thrown away: nothing has to survive a crash. What is
	// new since the transaction began needs no journal, so that the one in memory stays small.
	address := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(f.file.Name())}
	if f.db, err = sql.Open("sqlite", address.String()+"?_pragma=journal_mode(MEMORY)&_pragma=synchronous(OFF)"); err != nil {
		return err
	}
	if f.tx, err = f.db.BeginTx(ctx, nil); err != nil {
		return err
	}
	if _, err := f.tx.ExecContext(ctx, geoPackageTables+siteTable()); err != nil {
		return err
	}
	if _, err := f.tx.ExecContext(ctx, "UPDATE gpkg_contents SET description = ?", strings.Join(assess.Cautions(), " ")); err != nil {
		return err
	}
	f.insert, err = f.tx.PrepareContext(ctx, "INSERT INTO sites (geom, "+strings.Join(columns, ", ")+") VALUES (?"+
		strings.Repeat(", ?", len(columns))+")")
	return err
}

func (f *geoPackageWriter) Write(s *store.Site) error {
	place := orb.Point{s.Longitude, s.Latitude}
	if !f.some {
		f.some, f.bounds = true, place.Bound()
	}
	f.bounds = f.bounds.Extend(place)
	_, err := f.insert.ExecContext(context.Background(), append([]any{geoPackagePoint(place)}, cells(s, geoPackageTime)...)...)
	return err
}

// geoPackagePoint is a point in the form of a GeoPackage (clause 2.1.3): a header with the
// reference system, without bounds, then well-known binary, all with the low byte first.
func geoPackagePoint(p orb.Point) []byte {
	b := make([]byte, 0, 29)
	b = append(b, 'G', 'P', 0, 1)
	b = binary.LittleEndian.AppendUint32(b, 4326)
	b = append(b, 1)
	b = binary.LittleEndian.AppendUint32(b, 1) // a point
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.Lon()))
	return binary.LittleEndian.AppendUint64(b, math.Float64bits(p.Lat()))
}

func (f *geoPackageWriter) Flush() error { return nil }

func (f *geoPackageWriter) Close() error {
	if f.some {
		_, err := f.tx.ExecContext(context.Background(), "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ?",
			f.bounds.Left(), f.bounds.Bottom(), f.bounds.Right(), f.bounds.Top())
		if err != nil {
			return err
		}
	}
	if err := errors.Join(f.insert.Close(), f.tx.Commit(), f.db.Close()); err != nil {
		return err
	}
	_, err := io.Copy(f.out, f.file)
	return err
}

func (f *geoPackageWriter) Discard() {
	if f.tx != nil {
		_ = f.tx.Rollback() // ends it where it did not end yet
	}
	if f.db != nil {
		_ = f.db.Close()
	}
	_ = f.file.Close()
	_ = os.Remove(f.file.Name())
}
