//! Long text that nothing is asked of within SQL, kept packed: a grade is 14 KB of JSON whose words recur from line to line.
//!
//! The first byte says how: 1, then the length of the text in four bytes, least first, then an LZ4 block
//! (<https://github.com/lz4/lz4/blob/dev/doc/lz4_Block_format.md>); or `{`, and then it is the JSON itself, as before 0170.

use lz4_flex::block::{compress_prepend_size, decompress, uncompressed_size};

use super::StoreError;

const LZ4: u8 = 1;
const PLAIN: u8 = b'{';

/// Longer texts are not unpacked: none of ours is, so the bytes are damaged.
const MOST: usize = 16 << 20;

/// A packed text.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::Type)]
#[sqlx(transparent)]
pub struct Packed(Vec<u8>);

impl Packed {
    /// Packs a text.
    #[must_use]
    pub fn of(text: &str) -> Self {
        let mut bytes = compress_prepend_size(text.as_bytes());
        bytes.insert(0, LZ4);
        Self(bytes)
    }

    /// The text.
    ///
    /// # Errors
    /// When the bytes are not those of a packed text.
    pub fn text(&self) -> Result<String, StoreError> {
        let text = match self.0.split_first() {
            Some((&PLAIN, _)) => Some(self.0.clone()),
            Some((&LZ4, rest)) => uncompressed_size(rest)
                .ok()
                .filter(|(size, _)| *size <= MOST)
                .and_then(|(size, block)| decompress(block, size).ok()),
            _ => None,
        };
        text.and_then(|text| String::from_utf8(text).ok())
            .ok_or(StoreError::Unreadable {
                what: "a packed text",
                found: format!("{} bytes", self.0.len()),
            })
    }

    /// How many bytes are kept.
    pub(super) const fn size(&self) -> usize {
        self.0.len()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn it_comes_back_as_it_was(text: String) {
            prop_assert_eq!(Packed::of(&text).text().unwrap(), text);
        }

        #[test]
        fn damaged_bytes_are_refused_or_give_some_text(bytes: Vec<u8>) {
            Packed([&[LZ4], &*bytes].concat()).text().ok();
            Packed(bytes).text().ok();
        }
    }

    #[test]
    fn what_recurs_takes_little_and_what_was_kept_before_is_read() {
        let text = format!("{{\"items\":[{}]}}", r#"{"no":"1","call":"conforming"},"#.repeat(400));
        let packed = Packed::of(&text);
        assert!(packed.size() < text.len() / 50, "{}", packed.size());
        assert_eq!(Packed(text.clone().into_bytes()).text().unwrap(), text);
        // A length that cannot be is not asked of the system.
        let huge = [&[LZ4], &u32::MAX.to_le_bytes()[..], b"x"].concat();
        for damaged in [Vec::new(), vec![LZ4], huge, b"[1]".to_vec()] {
            assert!(matches!(Packed(damaged).text(), Err(StoreError::Unreadable { .. })));
        }
    }
}
