//! Other pairs' reports with the same digits: how likely that is, and both side by side. A person decides what it means.

use crate::grading::review::{Need, SameDigits};
use crate::report::model::Report as Items;
use crate::store::attention;
use crate::store::ids::ReportId;
use crate::store::people::Person;
use crate::store::reports::{self, Report};
use crate::units::{MINUS, Reading, decimal_from_f64, show_length};
use crate::web::app::App;
use crate::web::errors::WebError;

/// Another report with the same digits.
#[derive(Debug)]
pub(super) struct Alike {
    /// 0 where it is of a class of somebody else.
    pub(super) report: i64,
    pub(super) pair: String,
    pub(super) words: String,
    /// What both measured; nothing where it is of a class of somebody else.
    pub(super) lines: Vec<Both>,
}

/// One characteristic in both reports, as written.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Both {
    pub(super) no: String,
    pub(super) own: String,
    pub(super) other: String,
    /// Whether the values are equal.
    pub(super) same: bool,
}

/// Reports with the same digits, with how likely that is.
pub(super) async fn alike(app: &App, person: &Person, report: &Report) -> Result<Vec<Alike>, WebError> {
    let store = &app.service.store;
    let mut found = Vec::new();
    for reason in attention::of(store, report.id).await? {
        let Some(Need::SameDigits(digits)) = Need::from_stored(&reason.reason, &reason.detail) else {
            continue;
        };
        if let Some(other) = reports::one(store, ReportId(digits.other)).await? {
            let may_open = reports::is_of_class_of(store, other.id, person.id).await?;
            found.push(Alike {
                report: if may_open { other.id.0 } else { 0 },
                words: chance(&digits),
                lines: if may_open {
                    both(&items(report)?, &items(&other)?)
                } else {
                    Vec::new()
                },
                pair: other.pair_name,
            });
        }
    }
    Ok(found)
}

fn items(report: &Report) -> Result<Items, WebError> {
    Ok(report.items.value()?)
}

fn both(own: &Items, other: &Items) -> Vec<Both> {
    let written = |reading: &Reading| reading.as_str().replace('-', &MINUS.to_string());
    let line = |item: &crate::report::model::ReportItem| {
        let own = item.measured.as_ref()?;
        let theirs = other.item(&item.no)?.measured.as_ref()?;
        Some(Both {
            no: item.no.as_str().to_owned(),
            own: written(own),
            other: written(theirs),
            same: own.decimal() == theirs.decimal(),
        })
    };
    own.items.iter().filter_map(line).collect()
}

fn chance(digits: &SameDigits) -> String {
    let SameDigits { same, of, expected, .. } = digits;
    let often = if *expected < 1e-6 {
        "less than once in a million such classes".to_owned()
    } else {
        let odds = decimal_from_f64((1.0 / expected).floor()).unwrap_or_default();
        format!("once in {} such classes", show_length(odds, 0))
    };
    format!("{same} of {of} values are the same; among independent, honest reports that is expected {often}")
}
