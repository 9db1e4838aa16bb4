//! Files on their way out, bounded: whoever asks for many and reads none of them holds so much of the memory and no more, and
//! the others get theirs.

use axum::body::{Body, Bytes};
use axum::http::StatusCode;

use super::errors::{Explained, WebError};
use super::shares::{Share, Shares};
use super::upload::FILE_BYTES;
use crate::store::ids::PersonId;

/// On its way to one person at once: more than the six files that a browser fetches at a time.
const OF_ONE: usize = 8 * FILE_BYTES;

/// On its way to everybody.
const OF_ALL: usize = 256 * 1024 * 1024;

/// What is on its way to whom.
#[derive(Debug, Clone)]
pub struct Served(Shares);

impl Default for Served {
    fn default() -> Self {
        Self(Shares::new(OF_ONE, OF_ALL))
    }
}

/// A file that is held until its last byte is with the system, or the connection has ended.
struct OnItsWay {
    bytes: Vec<u8>,
    _share: Share,
}

impl AsRef<[u8]> for OnItsWay {
    fn as_ref(&self) -> &[u8] {
        &self.bytes
    }
}

impl Served {
    /// The body of an answer with a file.
    ///
    /// # Errors
    /// When too much is on its way to this person, or to all.
    pub fn body(&self, person: PersonId, bytes: Vec<u8>) -> Result<Body, WebError> {
        let mut share = self.0.of(person);
        if !share.grow(bytes.len()) {
            tracing::warn!(person = person.0, "a file was not sent: too many are on their way");
            return Err(crowded());
        }
        Ok(Body::from(Bytes::from_owner(OnItsWay { bytes, _share: share })))
    }
}

fn crowded() -> WebError {
    Explained::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "Too many files at the same moment",
        "More files are on their way to you, or to everybody, than this server holds at once.",
        "Wait until those that you opened have arrived, then open this one again.",
    )
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is on its way counts until nobody holds any of it, whichever piece is the last.
    #[test]
    fn a_file_counts_until_its_last_piece_is_gone() {
        let served = Served::default();
        let held: Vec<Body> = (0..8)
            .map(|_| served.body(PersonId(1), vec![1; FILE_BYTES]).unwrap())
            .collect();
        let refused = served.body(PersonId(1), vec![1]).err();
        assert!(matches!(refused, Some(WebError::Refused(why)) if why.status == 503));
        drop(held);
        let share = served.0.of(PersonId(1));
        let last = Bytes::from_owner(OnItsWay {
            bytes: vec![1; 9],
            _share: share,
        })
        .split_off(8);
        assert_eq!(last.len(), 1);
        assert!(served.body(PersonId(1), vec![1; OF_ONE]).is_ok());
    }
}
