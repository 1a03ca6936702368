//! Whether an answer is for the place that was asked for.

use serde_json::Value;

pub use crate::domain::weather::coordinates::{Place, PlaceError};

/// Most corners of a cell's outline that are looked at; recorded cells have five.
const CORNERS_MAX: usize = 1_000;

/// Does a GeoJSON geometry (Point or Polygon, coordinates in the order longitude, latitude; RFC 7946) contain `asked`
/// or lie within 0.1 degree of it? `Err` carries words for where it lies; a document without a geometry passes, since
/// it says nothing.
pub(crate) fn check_geometry(geometry: Option<&Value>, asked: Place) -> Result<(), String> {
    let Some(coordinates) = geometry.and_then(|g| g.get("coordinates")) else { return Ok(()) };
    let ring: Vec<Place> = match coordinates.get(0) {
        Some(Value::Number(_)) => position(coordinates).into_iter().collect(),
        Some(Value::Array(corners)) => {
            corners.iter().take(CORNERS_MAX).filter_map(position).collect()
        }
        _ => Vec::new(),
    };
    let Some(first) = ring.first() else {
        return Err("an outline that cannot be read".to_owned());
    };
    if contains(&ring, asked) || ring.iter().any(|corner| corner.is_near(asked)) {
        return Ok(());
    }
    Err(format!("the cell at {first}"))
}

fn position(value: &Value) -> Option<Place> {
    Place::new(value.get(1)?.as_f64()?, value.get(0)?.as_f64()?).ok()
}

/// Even-odd rule; cells are a few kilometres wide, so plane geometry in degrees is exact enough.
fn contains(ring: &[Place], point: Place) -> bool {
    let mut inside = false;
    let after = ring.iter().cycle().skip(1);
    for (a, b) in ring.iter().zip(after) {
        let (north, east) = (point.latitude(), point.longitude());
        if (a.latitude() > north) != (b.latitude() > north) {
            let share = (north - a.latitude()) / (b.latitude() - a.latitude());
            if east < a.longitude() + share * (b.longitude() - a.longitude()) {
                inside = !inside;
            }
        }
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_swapped_pair_is_another_place() {
        let asked = Place::new(44.19, -69.07).unwrap();
        let right = json!({"type": "Point", "coordinates": [-69.07, 44.19]});
        let swapped = json!({"type": "Point", "coordinates": [44.19, -69.07]});
        assert!(check_geometry(Some(&right), asked).is_ok());
        assert!(check_geometry(Some(&swapped), asked).is_err());
    }

    #[test]
    fn a_large_cell_is_ours_when_it_contains_the_place() {
        let cell = json!({"type": "Polygon", "coordinates":
            [[[-70.0, 44.0], [-68.0, 44.0], [-68.0, 45.0], [-70.0, 45.0], [-70.0, 44.0]]]});
        assert!(check_geometry(Some(&cell), Place::new(44.5, -69.0).unwrap()).is_ok());
        assert!(check_geometry(Some(&cell), Place::new(46.5, -69.0).unwrap()).is_err());
    }
}
