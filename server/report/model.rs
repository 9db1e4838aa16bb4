//! A report as it is graded: one item for each characteristic, in the order of the sheet.

use serde::{Deserialize, Serialize};

use super::call::Call;
use crate::exercise::model::Exercise;
use crate::exercise::names::BalloonNo;
use crate::units::Reading;

/// What a pair handed in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Report {
    /// One for each characteristic of the exercise, in sheet order.
    pub items: Vec<ReportItem>,
}

/// One line of the sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReportItem {
    /// Balloon number.
    pub no: BalloonNo,
    /// The measured value as written, in the exercise's unit; `None` is not measured.
    pub measured: Option<Reading>,
    /// What the pair says of it; `None` is nothing.
    pub call: Option<Call>,
}

impl Report {
    /// A report in which nothing is measured yet.
    #[must_use]
    pub fn blank(exercise: &Exercise) -> Self {
        let item = |no: &BalloonNo| ReportItem {
            no: no.clone(),
            measured: None,
            call: None,
        };
        Self {
            items: exercise.characteristics.iter().map(|c| item(&c.no)).collect(),
        }
    }

    /// The item with this balloon number.
    #[must_use]
    pub fn item(&self, no: &BalloonNo) -> Option<&ReportItem> {
        self.items.iter().find(|i| i.no == *no)
    }
}
