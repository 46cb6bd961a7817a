#!/bin/sh
# Makes the fixtures of this folder and the reference values in testdata/reference from invented.asc and
# invented-world.asc. Needs gdal_translate, gdalwarp, gdalbuildvrt, gdaladdo and gdallocationinfo (made with GDAL 3.6.2, Debian
# package gdal-bin). The tests need none of them. Run it in this folder: sh make.sh
set -eu
reference=../../../testdata/reference
work=$(mktemp -d)
trap 'rm -r "$work"' EXIT

# Two invented fields: a region of 12 x 9 cells of 0.25 degrees with four gaps, and a world of 36 x 18 cells.
awk 'BEGIN {
	print "ncols 12\nnrows 9\nxllcorner 10.5\nyllcorner -1.5\ncellsize 0.25\nNODATA_value -9999"
	for (r = 0; r < 9; r++) for (c = 0; c < 12; c++) {
		v = 9 + 5*sin(c*0.7) + 3*cos(r*1.1) + 0.1*c*r
		if (c == 0 && r == 0 || c == 5 && (r == 3 || r == 4) || c == 11 && r == 6) v = -9999
		printf "%s%s", v == -9999 ? v : sprintf("%.2f", v), c == 11 ? "\n" : " "
	}
}' > invented.asc
awk 'BEGIN {
	print "ncols 36\nnrows 18\nxllcorner -180\nyllcorner -90\ncellsize 10"
	for (r = 0; r < 18; r++) for (c = 0; c < 36; c++)
		printf "%.2f%s", 12*sin((r+0.5)*0.1745)*(1.2 + sin(c*0.5)) + 0.05*c, c == 35 ? "\n" : " "
}' > invented-world.asc

tif() { # tif NAME OPTIONS...: one GeoTIFF of the invented region
	name=$1; shift
	gdal_translate -q -a_srs EPSG:4326 -a_nodata -9999 "$@" invented.asc "$name.tif"
}
tif float32-strips -ot Float32 -co BLOCKYSIZE=4
tif float32-lzw -ot Float32 -co COMPRESS=LZW -co BLOCKYSIZE=2
tif float32-lzw-differences -ot Float32 -co COMPRESS=LZW -co PREDICTOR=2
tif float32-deflate-tiles-floating -ot Float32 -co COMPRESS=DEFLATE -co PREDICTOR=3 -co TILED=YES -co BLOCKXSIZE=16 -co BLOCKYSIZE=16
tif float32-big-endian -ot Float32 -co ENDIANNESS=BIG
# GDAL 3.6.2 swaps the bytes of a cell once too often when it writes this combination, and cannot read back what it wrote:
# it is given cells with swapped bytes, and its reading of the result is compared with the field below.
gdal_translate -q -of ENVI -ot Float32 -a_srs EPSG:4326 invented.asc "$work/swapped.bin"
sed -i 's/byte order = 0/byte order = 1/' "$work/swapped.hdr"
gdal_translate -q -a_srs EPSG:4326 -a_nodata -9999 -co ENDIANNESS=BIG -co COMPRESS=LZW -co PREDICTOR=3 "$work/swapped.bin" float32-big-endian-lzw-floating.tif
gdal_translate -q -of AAIGrid float32-big-endian-lzw-floating.tif "$work/swapped.asc"
gdal_translate -q -of AAIGrid float32-strips.tif "$work/straight.asc"
cmp "$work/swapped.asc" "$work/straight.asc"
tif float32-bigtiff-deflate -ot Float32 -co BIGTIFF=YES -co COMPRESS=DEFLATE
tif float32-bigtiff-big-endian -ot Float32 -co BIGTIFF=YES -co ENDIANNESS=BIG
tif float32-points -ot Float32 -mo AREA_OR_POINT=Point
tif float32-overviews -ot Float32
gdaladdo -q -r nearest float32-overviews.tif 2 4
tif float64-strips -ot Float64
tif float64-deflate-floating -ot Float64 -co COMPRESS=DEFLATE -co PREDICTOR=3
tif float64-lzw-differences -ot Float64 -co COMPRESS=LZW -co PREDICTOR=2
# Whole numbers: ten times the region's values.
tif int16-lzw-differences -ot Int16 -scale 0 100 0 1000 -a_nodata 0 -co COMPRESS=LZW -co PREDICTOR=2
tif uint16-deflate-tiles-differences -ot UInt16 -scale 0 100 0 1000 -a_nodata 0 -co COMPRESS=DEFLATE -co PREDICTOR=2 -co TILED=YES -co BLOCKXSIZE=16 -co BLOCKYSIZE=16
tif uint16-big-endian-lzw-differences -ot UInt16 -scale 0 100 0 1000 -a_nodata 0 -co ENDIANNESS=BIG -co COMPRESS=LZW -co PREDICTOR=2
tif uint8-deflate -ot Byte -scale 0 100 0 1000 -a_nodata 0 -co COMPRESS=DEFLATE
# Long and hardly compressible, so that LZW codes reach 12 bits and the table is cleared: 96 x 64 cells of 0.01 degrees.
awk 'BEGIN {
	print "ncols 96\nnrows 64\nxllcorner 10.5\nyllcorner 0\ncellsize 0.01"
	for (r = 0; r < 64; r++) for (c = 0; c < 96; c++)
		printf "%d%s", (r*7919 + c*104729 + r*c*c*31) % 251, c == 95 ? "\n" : " "
}' > "$work/noise.asc"
gdal_translate -q -a_srs EPSG:4326 -a_nodata none -ot Byte -co COMPRESS=LZW -co BLOCKYSIZE=64 "$work/noise.asc" noise-uint8-lzw.tif
# The first row is the southern one: a transformation with positive latitude step.
gdal_translate -q -of VRT -a_srs EPSG:4326 -a_nodata -9999 -ot Float32 invented.asc "$work/region.vrt"
{ head -n 6 invented.asc; tail -n 9 invented.asc | tac; } > "$work/flipped.asc"
gdal_translate -q -of VRT -a_srs EPSG:4326 -a_nodata -9999 -ot Float32 "$work/flipped.asc" "$work/flipped.vrt"
sed 's#<GeoTransform>.*</GeoTransform>#<GeoTransform>10.5, 0.25, 0, -1.5, 0, 0.25</GeoTransform>#' "$work/flipped.vrt" > "$work/south-up.vrt"
gdal_translate -q "$work/south-up.vrt" float32-south-up.tif
# Refused ones.
gdal_translate -q -a_srs EPSG:32633 -a_nodata -9999 -a_ullr 500000 300000 800000 75000 invented.asc refused-projected.tif
gdal_translate -q -a_srs EPSG:4269 -a_nodata -9999 invented.asc refused-datum.tif
gdal_translate -q -a_srs EPSG:4326 -a_nodata -9999 -b 1 -b 1 invented.asc refused-two-bands.tif
gdal_translate -q -a_srs EPSG:4326 -a_nodata -9999 -a_scale 0.1 -a_offset 1 invented.asc refused-scaled.tif
gdal_translate -q -a_srs EPSG:4326 -a_nodata -9999 -ot Int32 invented.asc refused-int32.tif
sed 's#<GeoTransform>.*</GeoTransform>#<GeoTransform>10.5, 0.25, 0.05, 0.75, 0.05, -0.25</GeoTransform>#' "$work/region.vrt" > "$work/rotated.vrt"
gdal_translate -q "$work/rotated.vrt" refused-rotated.tif
gdal_translate -q -a_nodata -9999 invented.asc refused-no-datum.tif
# Several tiles, the last ones of a row and of a column not full, with -32768 for no data (row 20, column 30).
awk 'BEGIN { print "ncols 40\nnrows 35\nxllcorner 10\nyllcorner -17.5\ncellsize 0.5\nNODATA_value -32768"
	for (r = 0; r < 35; r++) { for (c = 0; c < 40; c++) printf "%d ", r == 20 && c == 30 ? -32768 : (r*7 + c*13) % 97; print "" } }' > "$work/many.asc"
gdal_translate -q -a_srs EPSG:4326 -ot Int16 -co TILED=YES -co BLOCKXSIZE=16 -co BLOCKYSIZE=16 -co COMPRESS=DEFLATE -co PREDICTOR=2 "$work/many.asc" many-tiles.tif
gdal_translate -q -a_srs EPSG:4326 -ot Int16 -co BLOCKYSIZE=8 "$work/many.asc" many-strips.tif
# Text forms.
gdal_translate -q -of AAIGrid -ot Float32 float32-strips.tif "$work/grid.asc" && cp "$work/grid.asc" rewritten.asc
gdal_translate -q -of XYZ -co COLUMN_SEPARATOR=, invented.asc "$work/xyz.csv"
{ echo longitude,latitude,value; grep -v -e -9999 "$work/xyz.csv"; } > invented.csv

# Reference samples: bilinear between cell centres on a finer grid, and the cell itself at the same places.
warp() { # warp METHOD SOURCE TARGET TE...
	method=$1 source=$2 target=$3; shift 3
	gdalwarp -q -overwrite -r "$method" -ot Float64 -srcnodata -9999 -dstnodata -9999 -te "$@" "$source" "$work/warp.tif"
	gdal_translate -q -of XYZ -co COLUMN_SEPARATOR=, "$work/warp.tif" "$work/warp.csv"
	{ echo longitude,latitude,value; cat "$work/warp.csv"; } > "$reference/$target"
}
warp bilinear float64-strips.tif densitymap-bilinear.csv 10.5 -1.5 13.5 0.75 -tr 0.12 0.09
warp near float64-strips.tif densitymap-cell.csv 10.5 -1.5 13.5 0.75 -tr 0.12 0.09
# Across the 180th meridian: the world, cut at 0 and put together the other way round, so that 180 lies inside.
gdal_translate -q -ot Float64 -a_srs EPSG:4326 -srcwin 18 0 18 18 invented-world.asc "$work/east.tif"
gdal_translate -q -ot Float64 -a_srs EPSG:4326 -srcwin 0 0 18 18 -a_ullr 180 90 360 -90 invented-world.asc "$work/west.tif"
gdalbuildvrt -q "$work/world.vrt" "$work/east.tif" "$work/west.tif"
warp bilinear "$work/world.vrt" densitymap-seam.csv 168 -60 192 60 -tr 1.5 8
# Single cells, asked for by position.
for at in "10.9 0.4" "11.8 -0.2" "12.3 -1.4" "13.4 0.7" "10.51 -1.49"; do
	echo "$at $(gdallocationinfo -valonly -geoloc invented.asc $at)"
done > "$reference/densitymap-location.txt"
rm -f ./*.aux.xml ./*.prj
