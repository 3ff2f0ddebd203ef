"""Points of vines and lines of rows out of files: CSV, and what map programs and receivers write."""

import csv
import io
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.errors import FileError

__all__ = ["PointFile", "read_point_file"]

Degrees = NDArray[np.float64]
#: Headings of degrees, of metres of a projection, and of the accuracy; as they are usually spelled, in lower case.
LONGITUDES = ("longitude", "lon", "long", "lng", "longitud", "longitudine", "länge", "laenge", "längengrad", "geo_lon")
LATITUDES = ("latitude", "lat", "latitud", "latitudine", "breite", "breitengrad", "geo_lat")
EASTINGS = ("x", "easting", "east", "e", "este", "est", "ostwert", "rechtswert", "utm_e", "x_m")
NORTHINGS = ("y", "northing", "north", "n", "norte", "nord", "nordwert", "hochwert", "utm_n", "y_m")
ACCURACIES = (
    "accuracy",
    "accuracy_m",
    "horizontal_accuracy",
    "hacc",
    "h_acc",
    "precision",
    "genauigkeit",
    "rms",
    "hrms",
)
#: More points than this are no block, and take minutes.
MOST_POINTS = 400_000
MOST_BYTES = 200_000_000
_ENDINGS = (".csv", ".txt", ".tsv", ".geojson", ".json", ".gpkg", ".gpx", ".kml", ".shp", ".fgb")


@dataclass(frozen=True, slots=True)
class PointFile:
    """What a file holds of a block.

    Attributes
    ----------
    points : (n, 2) float array
        Longitude and latitude of vines.
    lines : list of list of (n, 2) float array
        Of each line its parts.
    accuracy_m : float
        Accuracy that is written beside the points, as a rule; nan where none is.
    left_out : int
        Lines of the file without a coordinate.
    """

    points: Degrees = field(repr=False)
    lines: list[list[Degrees]] = field(repr=False)
    accuracy_m: float = math.nan
    left_out: int = 0


def read_point_file(path: Path, *, crs: str = "", layer: str = "") -> PointFile:
    """Read points or lines.

    Parameters
    ----------
    path : Path
        CSV with headings, or GeoJSON, GeoPackage, GPX, KML and the like.
    crs : str
        Coordinate system of the numbers in a CSV file, such as EPSG:25832; degrees where empty.
    layer : str
        Layer of a file that has several.

    Raises
    ------
    FileError
        If the file cannot be read, or it is not clear what its numbers are.
    """
    ending = path.suffix.casefold()
    if ending not in _ENDINGS:
        raise FileError(f"{path.name} has the ending {ending!r}; expected: one of {', '.join(_ENDINGS)}")
    if not path.is_file():
        raise FileError(f"{path}: no such file; expected: a file with a point of every vine, or a line of every row")
    if path.stat().st_size > MOST_BYTES:
        raise FileError(
            f"{path.name} has {path.stat().st_size:,} bytes; expected: the points of one block, {MOST_BYTES:,} at most"
        )
    found = _of_table(path, crs) if ending in (".csv", ".txt", ".tsv") else _of_map(path, crs, layer)
    if len(found.points) > MOST_POINTS:
        raise FileError(
            f"{path.name} has {len(found.points):,} points; expected: the points of one block, {MOST_POINTS:,} at most"
        )
    if not len(found.points) and not found.lines:
        raise FileError(
            f"{path.name} has no point and no line; expected: a point of every vine, or a line of every row"
        )
    return found


def _of_table(path: Path, crs: str) -> PointFile:
    text = _text(path)
    first = text.split("\n", 1)[0]
    mark = max((";", "\t", ","), key=first.count)
    lines = [line for line in csv.reader(io.StringIO(text), delimiter=mark) if any(cell.strip() for cell in line)]
    if not lines:
        raise FileError(f"{path.name} is empty; expected: a line of headings, such as lon,lat, and a line each vine")
    headings = [cell.strip().casefold() for cell in lines[0]]
    columns, given = _columns(path.name, headings, crs)
    values = np.array([[_number(line, column) for column in columns] for line in lines[1:]]).reshape(-1, len(columns))
    there = np.isfinite(values[:, :2]).all(axis=1)
    if not there.any():
        shown = lines[1][: len(headings)] if len(lines) > 1 else "nothing below the headings"
        raise FileError(
            f"{path.name}: no line has two numbers in {headings[columns[0]]} and {headings[columns[1]]} (the first has {shown}); "
            "expected: numbers such as 7.812345"
        )
    known = values[there]
    accuracy = float(np.nanmedian(known[:, 2])) if len(columns) > 2 and np.isfinite(known[:, 2]).any() else math.nan
    return PointFile(_to_degrees(known[:, :2], given, path.name), [], accuracy, int((~there).sum()))


def _text(path: Path) -> str:
    data = path.read_bytes()
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding).replace("\r\n", "\n")
        except UnicodeDecodeError:
            continue
    raise FileError(f"{path.name} is no text; expected: CSV as UTF-8")


def _columns(name: str, headings: list[str], crs: str) -> tuple[list[int], str]:
    """Return the columns of longitude and latitude, and of the accuracy where there is one; and the coordinate system."""

    def place(words: tuple[str, ...]) -> int:
        return next((headings.index(word) for word in words if word in headings), -1)

    degrees, metres = (place(LONGITUDES), place(LATITUDES)), (place(EASTINGS), place(NORTHINGS))
    accuracy = [column for column in [place(ACCURACIES)] if column >= 0]
    if min(degrees) >= 0 and (not crs or min(metres) < 0):
        return [*degrees, *accuracy], crs or "EPSG:4326"
    if min(metres) >= 0 and crs:
        return [*metres, *accuracy], crs
    if min(metres) >= 0:
        raise FileError(
            f"{name} has columns {headings[metres[0]]} and {headings[metres[1]]}, and nothing says what they are; expected: --crs, such as "
            "EPSG:25832 for meters of that projection, or EPSG:4326 for degrees"
        )
    raise FileError(f"{name} has the headings {', '.join(headings[:12])}; expected: lon and lat, or x and y with --crs")


def _number(line: list[str], column: int) -> float:
    cell = line[column].strip().replace(" ", "") if column < len(line) else ""
    cell = cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell
    try:
        return float(cell)
    except ValueError:
        return math.nan


def _to_degrees(values: Degrees, crs: str, name: str) -> Degrees:
    if crs.upper() not in ("EPSG:4326", "4326", "WGS84"):
        from pyproj import CRS, Transformer
        from pyproj.exceptions import CRSError

        try:
            system = CRS.from_user_input(int(crs) if crs.isdecimal() else crs)
        except CRSError as error:
            raise FileError(f"--crs is {crs!r}; expected: a coordinate system such as EPSG:25832") from error
        values = np.column_stack(Transformer.from_crs(system, "EPSG:4326", always_xy=True).transform(*values.T))
    wrong = ~(np.isfinite(values).all(axis=1) & (np.abs(values[:, 0]) <= 180) & (np.abs(values[:, 1]) <= 90))
    if wrong.any():
        x, y = values[int(np.flatnonzero(wrong)[0])].tolist()
        raise FileError(
            f"{name}: {x:g}, {y:g} is no longitude and latitude; expected: degrees, or --crs for meters of a projection"
        )
    return values


def _of_map(path: Path, crs: str, layer: str) -> PointFile:
    # Half a second that only this needs.
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    try:
        there = [(str(name), str(kind)) for name, kind in pyogrio.list_layers(path)]
        chosen = _layer(path.name, there, layer)
        frame = pyogrio.read_dataframe(path, layer=chosen, columns=[])
    except (DataSourceError, DataLayerError) as error:
        raise FileError(
            f"{path.name} cannot be read as a map file ({error}); expected: GeoJSON, GeoPackage, GPX or KML"
        ) from error
    if frame.crs is None and not crs:
        raise FileError(
            f"{path.name} does not say its coordinate system; expected: --crs, such as EPSG:4326 for degrees"
        )
    frame = frame.set_crs(crs, allow_override=True) if crs else frame
    shapes = [shape for shape in frame.geometry.to_crs("EPSG:4326") if shape is not None and not shape.is_empty]
    left_out = len(frame) - len(shapes)
    points = [
        np.asarray(part.coords)[0, :2]
        for shape in shapes
        if shape.geom_type in ("Point", "MultiPoint")
        for part in _parts(shape)
    ]
    lines = [
        [np.asarray(part.coords)[:, :2] for part in _parts(shape)]
        for shape in shapes
        if shape.geom_type in ("LineString", "MultiLineString")
    ]
    other = [
        shape.geom_type for shape in shapes if "Point" not in shape.geom_type and "LineString" not in shape.geom_type
    ]
    if other or (points and lines):
        kinds = sorted({shape.geom_type for shape in shapes})
        raise FileError(
            f"{path.name} holds {', '.join(kinds)}; expected: points of vines, or lines of rows, not both, in one layer (--layer)"
        )
    return PointFile(np.array(points, dtype=float).reshape(-1, 2), lines, math.nan, left_out)


def _parts(shape: Any) -> list[Any]:
    return list(shape.geoms) if hasattr(shape, "geoms") else [shape]


def _layer(name: str, there: list[tuple[str, str]], wanted: str) -> str:
    names = [layer for layer, _ in there]
    if wanted:
        if wanted not in names:
            raise FileError(f"{name} has no layer {wanted!r}; expected: one of {', '.join(names)}")
        return wanted
    if {"waypoints", "tracks", "track_points"} <= set(
        names
    ):  # what a receiver writes: every layer is there, full or empty
        return "waypoints"
    if len(names) != 1:
        raise FileError(f"{name} has the layers {', '.join(names) or 'none'}; expected: --layer with one of them")
    return names[0]
