//! Takes a plate out of service, or says that pairs may know what it is.

use super::Service;
use crate::store::ids::{PersonId, PlateId};
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
