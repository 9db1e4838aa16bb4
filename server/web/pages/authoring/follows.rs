//! What follows from each characteristic: nominal and limits in figures, and the uncertainty that the plan reaches.

use std::collections::BTreeMap;

use crate::exercise::model::Exercise;
use crate::procedure::plan::{self, Conditions, Line};
use crate::units::show_number;
use crate::web::sheet;

/// Lines by balloon number.
pub(super) fn lines(exercise: &Exercise) -> BTreeMap<String, Vec<String>> {
    let planned = plan::lines(exercise, &Conditions::default());
    let rows = sheet::rows(exercise);
    let mut follows = BTreeMap::new();
    for ((row, line), c) in rows.into_iter().zip(&planned).zip(&exercise.characteristics) {
        let mut said = Vec::new();
        let limits = if row.limits.is_empty() {
            row.tolerance.clone()
        } else {
            row.limits.clone()
        };
        said.push(format!("{}: {limits} {}", row.nominal, row.unit));
        let stated = show_number(c.u_lab.round_sf(2).unwrap_or(c.u_lab).normalize());
        said.push(format!("U {stated} stated, {}", reached(line)));
        follows.insert(row.no, said);
    }
    follows
}

fn reached(line: &Line) -> String {
    match &line.budget {
        Ok(budget) => {
            let u = crate::units::decimal_from_f64(budget.expanded()).and_then(|u| u.round_sf(2));
            let u = u.map_or_else(|| "?".to_owned(), |u| show_number(u.normalize()));
            if line.is_reached() {
                format!("the touches reach {u}")
            } else {
                format!("the touches reach only {u}")
            }
        }
        Err(error) => error.to_string(),
    }
}
