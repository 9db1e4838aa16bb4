//! Takes a plate out of service, or says that pairs may know what it is; and which plates of an assignment want seeing to before
//! anybody measures them.

use std::collections::BTreeMap;

use super::Service;
use super::basis::Bases;
use super::load::LoadError;
use crate::cohort::rounds::worth;
use crate::store::ids::{AssignmentId, PersonId, PlateId};
use crate::store::plates::{self, State};
use crate::store::{StoreError, audit};

/// What is said of a plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Saying {
    /// Nobody gets it any more.
    Withdrawn,
    /// Pairs measure it.
    InService,
    /// Pairs may know what it is.
    Open,
    /// They may not.
    Closed,
}

impl Saying {
    /// All, with the word of forms and of the trail.
    pub const ALL: [(&'static str, Self); 4] = [
        ("withdraw", Self::Withdrawn),
        ("put-in-service", Self::InService),
        ("open", Self::Open),
        ("close", Self::Closed),
    ];
}

/// Says it, and writes it to the trail.
///
/// # Errors
/// When the database cannot be written.
pub async fn say_of_plate(service: &Service, plate: PlateId, saying: Saying, by: PersonId) -> Result<(), StoreError> {
    let mut tx = service.store.change().await?;
    match saying {
        Saying::Withdrawn => plates::set_state(&mut tx, plate, State::Withdrawn).await?,
        Saying::InService => plates::set_state(&mut tx, plate, State::InService).await?,
        Saying::Open => plates::set_open(&mut tx, plate, true).await?,
        Saying::Closed => plates::set_open(&mut tx, plate, false).await?,
    }
    let what = Saying::ALL
        .iter()
        .find(|(_, s)| *s == saying)
        .map_or("", |(word, _)| word);
    let entry = audit::Entry {
        at: service.clock.now(),
        person: Some(by),
        what,
        about: ("plate", plate.0),
        detail: serde_json::json!({}),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await
}

/// Plates of an assignment that are not good enough to teach with: what stands against them, and the plates of which it is true.
///
/// # Errors
/// When what is known of them cannot be loaded.
pub async fn not_good_enough(
    service: &Service,
    assignment: AssignmentId,
    plates: impl IntoIterator<Item = PlateId>,
) -> Result<Vec<(String, Vec<PlateId>)>, LoadError> {
    let bases = Bases::kept(service, &[assignment]).await?;
    let mut against: BTreeMap<String, Vec<PlateId>> = BTreeMap::new();
    for plate in plates {
        let words = match bases.plate(assignment, plate, None).await {
            Ok(basis) => worth(&basis.exercise, &basis.plate).against,
            Err(LoadError::Store(error)) => return Err(error.into()),
            // A page about the class is not to fail for one plate.
            Err(error) => vec![format!("What is known of it does not fit the exercise: {error}.")],
        };
        for words in words {
            against.entry(words).or_default().push(plate);
        }
    }
    Ok(against.into_iter().collect())
}
