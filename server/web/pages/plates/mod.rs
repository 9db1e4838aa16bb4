//! The plate drawer, what plates really are, and the rounds behind it. For instructors only, all of it.

mod bars;
/// What a plate was made to be, typed by hand; a new plate.
pub mod by_hand;
/// Values of a calibration certificate.
pub mod certificate;
/// One plate.
pub mod one;
/// Plates from a seed.
pub mod propose;
/// All plates of all exercises.
pub mod register;
/// Rounds of careful measurement.
pub mod rounds;

use std::sync::Arc;

use crate::actions::load;
use crate::exercise::model::Exercise;
use crate::exercise::plate::Plate;
use crate::store::exercises::Revision;
use crate::store::plates::Kind;
use crate::web::app::App;
use crate::web::errors::WebError;

const fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Physical => "physical",
        Kind::Virtual => "virtual",
    }
}

/// What is to be mended at a field of a form that came back; empty where nothing is.
pub(super) fn mend_of(wrongs: &[(String, String)], field: &str) -> String {
    let found = wrongs.iter().find(|(name, _)| name == field);
    found.map(|(_, mend)| mend.clone()).unwrap_or_default()
}

/// The print of a revision, and a plate as it is known.
async fn known(app: &App, revision: &Revision, truth: &str) -> Result<(Arc<Exercise>, Plate), WebError> {
    let exercise = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let truth = load::plate_from(&exercise, truth).map_err(WebError::internal)?;
    Ok((exercise, truth))
}
