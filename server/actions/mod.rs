//! One file per thing that a person does: store and pure floors, no HTTP.

/// Adds a person who can sign in.
pub mod add_person;
/// What time it is.
pub mod clock;
/// Hashes secrets and checks them, off the async threads.
pub mod secrets;
/// Signs a person in and out; says whose a token is.
pub mod sign_in;

use std::sync::Arc;

use crate::store::Store;

use clock::Clock;
use secrets::Secrets;

/// What actions work with; cheap to clone.
#[derive(Debug, Clone)]
pub struct Service {
    /// The database of the school.
    pub store: Store,
    /// Hashing of secrets.
    pub secrets: Secrets,
    /// What time it is.
    pub clock: Clock,
    /// How long sessions last.
    pub sessions: Arc<sign_in::Lasting>,
}

impl Service {
    /// Puts the pieces together.
    #[must_use]
    pub fn new(store: Store, clock: Clock, sessions: sign_in::Lasting) -> Self {
        Self {
            store,
            secrets: Secrets::new(),
            clock,
            sessions: Arc::new(sessions),
        }
    }
}
