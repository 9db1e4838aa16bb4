//! Pictures of exercises and of what was off. Drawing takes some milliseconds, so it is done off the async threads, and
//! the drawings of a revision, which never change, are kept.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use crate::exercise::drawing::{self, Deviation, DeviationSet, DrawingOptions, Picture, Remark};
use crate::exercise::model::{Characteristic, Exercise, Owner, Quantity};
use crate::grading::grade::GradedItem;
use crate::report::call::Call;
use crate::store::ids::ExerciseRevisionId;

use super::errors::WebError;
use super::paper::Paper;

/// Drawings kept at once.
const KEPT: usize = 192;

/// What a picture is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Use {
    /// Balloons alone, legible on a phone.
    Plan,
    /// With dimensions, on a wide screen.
    Desk,
    /// With dimensions, on paper.
    Printed(Paper),
}

type Known = BTreeMap<(ExerciseRevisionId, Use), Vec<Arc<Picture>>>;

/// Drawings that were made already.
#[derive(Debug, Clone, Default)]
pub struct Pictures(Arc<Mutex<Known>>);

impl Pictures {
    /// The plan view of a revision with its balloons, for any screen.
    ///
    /// # Errors
    /// When the server is stopping.
    pub async fn plan(&self, revision: ExerciseRevisionId, exercise: &Arc<Exercise>) -> Result<Arc<Picture>, WebError> {
        self.first(revision, exercise, Use::Plan).await
    }

    /// The dimensioned drawing of a revision, for a wide screen.
    ///
    /// # Errors
    /// When the server is stopping.
    pub async fn desk(&self, revision: ExerciseRevisionId, exercise: &Arc<Exercise>) -> Result<Arc<Picture>, WebError> {
        self.first(revision, exercise, Use::Desk).await
    }

    /// The dimensioned drawing of a revision for pages of this paper: plan view with section, or one after the other.
    ///
    /// # Errors
    /// When the server is stopping.
    pub async fn pages(
        &self,
        revision: ExerciseRevisionId,
        exercise: &Arc<Exercise>,
        paper: Paper,
    ) -> Result<Vec<Arc<Picture>>, WebError> {
        self.drawn(revision, exercise, Use::Printed(paper)).await
    }

    async fn first(
        &self,
        revision: ExerciseRevisionId,
        exercise: &Arc<Exercise>,
        what: Use,
    ) -> Result<Arc<Picture>, WebError> {
        let pictures = self.drawn(revision, exercise, what).await?;
        pictures.into_iter().next().ok_or(WebError::NotFound)
    }

    async fn drawn(
        &self,
        revision: ExerciseRevisionId,
        exercise: &Arc<Exercise>,
        what: Use,
    ) -> Result<Vec<Arc<Picture>>, WebError> {
        let lock = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = lock().get(&(revision, what)) {
            return Ok(known.clone());
        }
        let exercise = Arc::clone(exercise);
        let drawn = apart(move || match what {
            Use::Plan => vec![drawing::plan_view(&exercise, &DrawingOptions::screen())],
            Use::Desk => vec![drawing::plan_view(&exercise, &DrawingOptions::desk())],
            Use::Printed(paper) => drawing::drawing_pages(&exercise, &paper.drawing()),
        })
        .await?;
        let pictures: Vec<Arc<Picture>> = drawn.into_iter().map(Arc::new).collect();
        let mut known = lock();
        if known.len() >= KEPT {
            known.clear();
        }
        known.insert((revision, what), pictures.clone());
        Ok(pictures)
    }
}

/// What was off, as reported and once the faults are taken out.
#[derive(Debug)]
pub struct WhatWasOff {
    /// As the pair reported.
    pub reported: Picture,
    /// After correction; none where nothing is corrected.
    pub corrected: Option<Picture>,
}

/// The plan views with what was off. Only where the truth of the plate may be shown. The first one leads to the lines of
/// the page.
///
/// # Errors
/// When the server is stopping.
pub async fn what_was_off(exercise: &Arc<Exercise>, items: &[GradedItem]) -> Result<WhatWasOff, WebError> {
    let drawn = |set: DeviationSet, linked: bool| {
        let exercise = Arc::clone(exercise);
        let options = DrawingOptions {
            linked,
            ..DrawingOptions::screen()
        };
        apart(move || drawing::deviations(&exercise, &set, &options))
    };
    let corrected = corrected(exercise, items).map(|set| drawn(set, false));
    let second = async {
        match corrected {
            Some(drawn) => drawn.await.map(Some),
            None => Ok(None),
        }
    };
    // Side by side: they take as long as all the rest of the page.
    let (reported, corrected) = tokio::try_join!(drawn(reported(exercise, items), true), second)?;
    Ok(WhatWasOff { reported, corrected })
}

async fn apart<T: Send + 'static>(draw: impl FnOnce() -> T + Send + 'static) -> Result<T, WebError> {
    tokio::task::spawn_blocking(draw).await.map_err(WebError::internal)
}

fn off(value: Option<f64>, item: &GradedItem) -> Option<f64> {
    Some(value? - item.reference?)
}

fn is_place(c: &Characteristic) -> bool {
    matches!(c.of, Quantity::X | Quantity::Y) && matches!(c.owner, Owner::Feature(_))
}

/// What of sizes and heights does not agree.
fn remarks(exercise: &Exercise, items: &[GradedItem], which: impl Fn(&GradedItem) -> bool) -> Vec<Remark> {
    let remark = |(characteristic, (c, item)): (usize, (&Characteristic, &GradedItem))| {
        let agrees = item.measurement_score.is_none_or(|score| score >= 1.0);
        let by = off(item.measured, item).filter(|_| !is_place(c) && !agrees && which(item))?;
        Some(Remark {
            characteristic,
            by,
            outside: is_outside(item),
        })
    };
    let lines = exercise.characteristics.iter().zip(items);
    lines.enumerate().filter_map(remark).collect()
}

/// What each feature was off by in plan view, and what else was off by more than a careful pair is.
fn reported(exercise: &Exercise, items: &[GradedItem]) -> DeviationSet {
    DeviationSet {
        reported: places(exercise.characteristics.iter().zip(items), |i| off(i.measured, i)),
        corrected: Vec::new(),
        remarks: remarks(exercise, items, |_| true),
    }
}

/// The same after correction; none where nothing is corrected.
fn corrected(exercise: &Exercise, items: &[GradedItem]) -> Option<DeviationSet> {
    items.iter().any(|i| i.corrected.is_some()).then(|| DeviationSet {
        reported: Vec::new(),
        corrected: places(exercise.characteristics.iter().zip(items), |i| {
            off(i.corrected.or(i.measured), i)
        }),
        remarks: remarks(exercise, items, |i| i.corrected.is_none()),
    })
}

fn is_outside(item: &GradedItem) -> bool {
    item.call_by_own_value == Some(Call::Nonconforming)
}

/// One for each feature of which X or Y is known.
fn places<'a>(
    lines: impl Iterator<Item = (&'a Characteristic, &'a GradedItem)>,
    off: impl Fn(&GradedItem) -> Option<f64>,
) -> Vec<Deviation> {
    let mut by_feature: BTreeMap<usize, Deviation> = BTreeMap::new();
    for (c, item) in lines {
        let (Owner::Feature(feature), Some(by)) = (c.owner, off(item)) else {
            continue;
        };
        if !matches!(c.of, Quantity::X | Quantity::Y) {
            continue;
        }
        let none = Deviation {
            feature,
            dx: 0.0,
            dy: 0.0,
            outside: false,
        };
        let deviation = by_feature.entry(feature).or_insert(none);
        if c.of == Quantity::X {
            deviation.dx = by;
        } else {
            deviation.dy = by;
        }
        deviation.outside |= is_outside(item);
    }
    by_feature.into_values().collect()
}
