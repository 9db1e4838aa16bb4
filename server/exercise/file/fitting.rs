//! Plates against another revision of their print: what a plate says of features and numbers that this print does not have
//! is left out, and stays in its file for the print that has them.

use toml::Table;

use super::{read_plates, write_plates};
use crate::exercise::model::Exercise;
use crate::exercise::plate::{Plate, Plates};

/// The one plate of a file, as far as this print has what it speaks of; `None` where nothing of it can be read.
#[must_use]
pub fn read_plate_fitted(text: &str, exercise: &Exercise) -> Option<Plate> {
    if let Some(plate) = alone(text, exercise) {
        return Some(plate);
    }
    let mut whole: Table = text.parse().ok()?;
    whole.insert("exercise".to_owned(), exercise.code.as_str().into());
    let full = whole.get("plate")?.as_array()?.first()?.as_table()?.clone();
    let mut kept = full.clone();
    kept.remove("planted");
    kept.remove("reference");
    let reads = |plate: &Table| alone(&with(&whole, plate), exercise).is_some();
    // One by one: each is either something that this print has, or not.
    for (feature, quantities) in full.get("planted").and_then(|p| p.as_table()).into_iter().flatten() {
        for (quantity, value) in quantities.as_table().into_iter().flatten() {
            keep_if(&mut kept, &["planted", feature], quantity, value, &reads);
        }
    }
    for (no, value) in full.get("reference").and_then(|r| r.as_table()).into_iter().flatten() {
        keep_if(&mut kept, &["reference"], no, value, &reads);
    }
    alone(&with(&whole, &kept), exercise)
}

fn alone(text: &str, exercise: &Exercise) -> Option<Plate> {
    read_plates("", text, exercise).0?.plates.into_iter().next()
}

fn with(whole: &Table, plate: &Table) -> String {
    let mut whole = whole.clone();
    whole.insert("plate".to_owned(), vec![toml::Value::Table(plate.clone())].into());
    whole.to_string()
}

/// Puts a value in where the plate can be read with it.
fn keep_if(plate: &mut Table, path: &[&str], key: &str, value: &toml::Value, reads: &impl Fn(&Table) -> bool) {
    let mut tried = plate.clone();
    let mut inner = &mut tried;
    for name in path {
        let next = inner.entry((*name).to_owned()).or_insert_with(|| Table::new().into());
        let Some(table) = next.as_table_mut() else { return };
        inner = table;
    }
    inner.insert(key.to_owned(), value.clone());
    if reads(&tried) {
        *plate = tried;
    }
}

/// A plate that was read for one revision, for another.
#[must_use]
pub fn fitted(plate: &Plate, exercise: &Exercise) -> Option<Plate> {
    let has_all = plate.planted.keys().all(|key| exercise.feature(key).is_some())
        && plate.references.keys().all(|no| exercise.characteristic(no).is_some());
    if has_all {
        return None;
    }
    let plates = Plates {
        exercise: exercise.code.clone(),
        plates: vec![plate.clone()],
    };
    read_plate_fitted(&write_plates(&plates), exercise)
}

#[cfg(test)]
mod tests {
    use super::super::read_exercise;
    use super::*;

    const PRINT: &str = include_str!("../../../exercises/SB-11/exercise.toml");
    const PLATES: &str = "format = 1\nexercise = \"SB-11\"\n[[plate]]\nserial = \"SB-11-91\"\nkind = \"physical\"\n\
                          shop_uncertainty = 0.02\nplanted = { hole-1 = { x = 0.12, diameter = 0.031 }, hole-3 = { y = -0.04 } }\n\
                          [plate.reference]\n\"7\" = { value = 8.0312, U = 0.003, k = 2 }\n\"14\" = { value = 30.1, U = 0.003, k = 2 }\n";

    #[test]
    fn what_another_print_does_not_have_is_left_out() {
        let (print, _) = read_exercise("e", PRINT);
        let full = read_plate_fitted(PLATES, &print.clone().unwrap()).unwrap();
        assert_eq!((full.planted.len(), full.references.len()), (2, 2));
        assert!(fitted(&full, &print.unwrap()).is_none());
        // The blind hole with its numbers 12 to 14 is taken out.
        let start = PRINT
            .find("[[feature]]\nkey    = \"hole-3\"")
            .unwrap_or_else(|| PRINT.find("[[feature]]\nkey  = \"hole-3\"").unwrap());
        let end = start + PRINT[start + 5..].find("[[feature]]\n").unwrap() + 5;
        let (less, problems) = read_exercise("e", &format!("{}{}", &PRINT[..start], &PRINT[end..]));
        assert_eq!(problems, []);
        let less = less.unwrap();
        for plate in [read_plate_fitted(PLATES, &less), fitted(&full, &less)] {
            let plate = plate.unwrap();
            let planted: Vec<&str> = plate.planted.keys().map(|k| k.as_str()).collect();
            let references: Vec<&str> = plate.references.keys().map(|n| n.as_str()).collect();
            assert_eq!((planted, references), (vec!["hole-1"], vec!["7"]));
        }
        assert!(read_plate_fitted("no plate", &less).is_none());
    }
}
