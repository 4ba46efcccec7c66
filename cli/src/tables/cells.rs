//! The entries of a kind as Parquet, cell by cell.

use super::columns::{Column, DAY, Secret, of_kind, utc_offset};
use super::parquet::{Cell, ParquetFile};
use super::sink::Sink;
use super::veil::Veil;
use crate::failure::Failure;
use firnbook_core::day::DayId;
use firnbook_core::entry::{Kind, Time};
use firnbook_core::logbook::Logbook;
use firnbook_core::store;

/// Where the values of a column come from.
enum Source {
    /// The field at this place.
    Field(usize, Secret),
    /// The name of the kind.
    Kind,
}

/// The fields that decide over others, by their places among the fields of a kind; beyond the last where there is none.
struct Places {
    at: usize,
    drill: usize,
    lat: usize,
    lon: usize,
    x_m: usize,
    y_m: usize,
    frame: usize,
}

impl Places {
    fn of(kind: &Kind) -> Places {
        let [at, drill, lat, lon, x_m, y_m, frame] = ["at", "drill", "lat", "lon", "x_m", "y_m", "frame"]
            .map(|name| kind.fields.iter().position(|f| f.name == name).unwrap_or(usize::MAX));
        Places { at, drill, lat, lon, x_m, y_m, frame }
    }
}

/// Writes what a day counts of a kind; nothing, and no file, where that is nothing.
///
/// # Errors
/// The store's, and what the disk says.
pub fn write_cells(
    logbook: &Logbook,
    day: DayId,
    kind: &Kind,
    veil: &mut Veil,
    sink: &mut Sink,
) -> Result<(), Failure> {
    let mut columns = of_kind(kind, false);
    columns.retain(|c| veil.shows(c));
    let source = |c: &Column| match kind.fields.iter().position(|f| f.name == c.name) {
        Some(at) => Source::Field(at, c.secret),
        None => Source::Kind,
    };
    let sources: Vec<Source> = columns.iter().filter(|c| c.name != DAY).map(source).collect();
    columns.push(utc_offset());
    let places = Places::of(kind);
    let mut file = None;
    logbook.cells(day, kind, |row| {
        let file = match &mut file {
            Some(file) => file,
            none => none.insert(sink.parquet_file(&kind.name, || columns.clone())?),
        };
        add(file, row, &sources, &places, &kind.name, veil);
        file.end_row()
    })?;
    file.map_or(Ok(()), |file| sink.close_file(&kind.name, file))
}

fn add(
    file: &mut ParquetFile,
    row: &store::CellRow<'_>,
    sources: &[Source],
    places: &Places,
    kind: &str,
    veil: &mut Veil,
) {
    let lifted = veil.is_lifted();
    let placed = if lifted { None } else { in_grid(row, places, veil) };
    let at = text(row, places.at).and_then(|at| Time::parse(at).ok());
    for (column, source) in sources.iter().enumerate() {
        let Source::Field(field, secret) = *source else {
            file.add(column, Cell::Text(kind));
            continue;
        };
        if field == places.at {
            file.add(column, at.map_or(Cell::Null, Cell::Time));
            continue;
        }
        match (secret, row.cell(field)) {
            (Secret::InGrid, cell) if !lifted => {
                let m = if let store::Cell::Number(m) = cell { Some(veil.metres(m)) } else { None };
                let m = m.or(placed.map(|[x, y]| if field == places.y_m { y } else { x }));
                file.add(column, m.map_or(Cell::Null, Cell::Number));
            }
            (Secret::Points, store::Cell::Json(points)) if !lifted => {
                let on_earth = text(row, places.frame) == Some("lonlat");
                let points = veil.points(points, on_earth, text(row, places.drill));
                file.add_json(column, &points.unwrap_or_default());
            }
            (_, store::Cell::Text(_)) if field == places.frame && !lifted => {
                file.add(column, Cell::Text("grid"));
            }
            (Secret::Person(_) | Secret::Label(_), store::Cell::Json(serde_json::Value::Array(labels)))
                if !lifted =>
            {
                let labels = labels.iter().filter_map(|l| l.as_str());
                let labels = labels.map(|l| veil.text(secret, l).to_owned()).collect();
                file.add_labels(column, labels);
            }
            (Secret::Person(_) | Secret::Label(_), store::Cell::Text(said)) if !lifted => {
                file.add(column, Cell::Text(veil.text(secret, said)));
            }
            (_, store::Cell::Json(list)) => file.add_json(column, list),
            (_, store::Cell::Text(text)) => file.add(column, Cell::Text(text)),
            (_, store::Cell::Number(n)) => file.add(column, Cell::Number(n)),
            (_, store::Cell::Integer(n)) => file.add(column, Cell::Integer(n)),
            (_, store::Cell::Null) => file.add(column, Cell::Null),
        }
    }
    let offset = at.map(|at| i64::from(at.utc_offset_min()));
    file.add(sources.len(), offset.map_or(Cell::Null, Cell::Integer));
}

/// The place in the grid of its drill that an entry has only on the earth.
fn in_grid(row: &store::CellRow<'_>, places: &Places, veil: &Veil) -> Option<[f64; 2]> {
    let (lat, lon) = (number(row, places.lat)?, number(row, places.lon)?);
    if number(row, places.x_m).is_some() { None } else { veil.in_grid(text(row, places.drill), lat, lon) }
}

fn text<'r>(row: &'r store::CellRow<'_>, field: usize) -> Option<&'r str> {
    if let store::Cell::Text(text) = row.cell(field) { Some(text) } else { None }
}

fn number(row: &store::CellRow<'_>, field: usize) -> Option<f64> {
    if let store::Cell::Number(n) = row.cell(field) { Some(n) } else { None }
}
