//! Long values that nothing is asked of within SQL, kept packed: of a grade's 14 KB of JSON the names recur from line to line, and so they
//! do in the numbers of a report.
//!
//! The first byte says how:
//! - 2: then the length of the value as MessagePack (<https://github.com/msgpack/msgpack/blob/master/spec.md>), its fields by name,
//!   in four bytes, least first, then an LZ4 block (<https://github.com/lz4/lz4/blob/dev/doc/lz4_Block_format.md>);
//! - 1: the same with JSON instead: numbers of reports, whose JSON is what their hash is of, since 0210; grades from schema 0170 on; at
//!   0190 some programs wrote this and some the above, and since 0200 a program that cannot read the above refuses the school;
//! - `{`: the JSON itself: grades before 0170, numbers of reports before 0210.

use std::cell::RefCell;

use lz4_flex::block::{
    CompressTable, compress_into_with_table, decompress, get_maximum_output_size, uncompressed_size,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::StoreError;

const PACKED: u8 = 2;
const PACKED_JSON: u8 = 1;
const JSON: u8 = b'{';

/// Longer values are not unpacked: none of ours is, so the bytes are damaged.
const MOST: usize = 16 << 20;

/// So many lists and objects within each other are read, as by the reader of JSON. A grade has ten.
const DEEPEST: usize = 128;

/// A packed value.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::Type)]
#[sqlx(transparent)]
pub struct Packed(Vec<u8>);

/// What is needed to pack, kept for the next value.
#[derive(Default)]
struct Room {
    plain: Vec<u8>,
    packed: Vec<u8>,
    table: CompressTable,
}

thread_local! {
    static ROOM: RefCell<Room> = RefCell::default();
}

impl Room {
    fn pack<T: Serialize + ?Sized>(&mut self, value: &T) -> Option<Packed> {
        self.plain.clear();
        rmp_serde::encode::write_named(&mut self.plain, value).ok()?;
        self.block(PACKED)
    }

    fn pack_json(&mut self, json: &str) -> Option<Packed> {
        self.plain.clear();
        self.plain.extend_from_slice(json.as_bytes());
        self.block(PACKED_JSON)
    }

    /// What is there plain, packed.
    fn block(&mut self, how: u8) -> Option<Packed> {
        let Self { plain, packed, table } = self;
        packed.clear();
        packed.push(how);
        packed.extend(u32::try_from(plain.len()).ok()?.to_le_bytes());
        let head = packed.len();
        packed.resize(head + get_maximum_output_size(plain.len()), 0);
        let block = compress_into_with_table(plain, packed.get_mut(head..)?, table).ok()?;
        packed.get(..head + block).map(|bytes| Packed(bytes.to_vec()))
    }
}

impl Packed {
    /// Bytes as they are kept, whatever they are.
    #[must_use]
    pub const fn kept(bytes: Vec<u8>) -> Self {
        Self(bytes)
    }

    /// Packs a value.
    ///
    /// # Errors
    /// When it has a part that cannot be written down.
    pub fn of<T: Serialize + ?Sized>(value: &T) -> Result<Self, StoreError> {
        ROOM.with_borrow_mut(|room| room.pack(value))
            .ok_or(StoreError::Unreadable {
                what: "a value that is to be packed",
                found: std::any::type_name::<T>().to_owned(),
            })
    }

    /// Packs a value that is JSON already.
    ///
    /// # Errors
    /// When it is longer than any can be.
    pub fn of_json(json: &str) -> Result<Self, StoreError> {
        ROOM.with_borrow_mut(|room| room.pack_json(json))
            .ok_or(StoreError::Unreadable {
                what: "a value that is to be packed",
                found: format!("{} bytes", json.len()),
            })
    }

    /// The value.
    ///
    /// # Errors
    /// When the bytes are not those of such a packed value.
    pub fn value<T: DeserializeOwned>(&self) -> Result<T, StoreError> {
        let value = match self.0.split_first() {
            Some((&JSON, _)) => serde_json::from_slice(&self.0).ok(),
            Some((&PACKED_JSON, rest)) => unpacked(rest).and_then(|plain| serde_json::from_slice(&plain).ok()),
            Some((&PACKED, rest)) => unpacked(rest).and_then(|plain| of_messagepack(&plain)),
            _ => None,
        };
        value.ok_or(StoreError::Unreadable {
            what: "a packed value",
            found: format!("{} bytes", self.0.len()),
        })
    }

    /// The bytes that are kept.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.0
    }
}

/// Its own limit is eight times as deep, and what is read there needs more of the stack than a thread has.
fn of_messagepack<T: DeserializeOwned>(plain: &[u8]) -> Option<T> {
    let mut reader = rmp_serde::Deserializer::from_read_ref(plain);
    reader.set_max_depth(DEEPEST);
    T::deserialize(&mut reader).ok()
}

fn unpacked(bytes: &[u8]) -> Option<Vec<u8>> {
    let (size, block) = uncompressed_size(bytes).ok().filter(|(size, _)| *size <= MOST)?;
    decompress(block, size).ok()
}

#[cfg(test)]
mod tests {
    use lz4_flex::block::compress_prepend_size;
    use proptest::prelude::*;
    use serde_json::Value;

    use super::*;

    proptest! {
        #[test]
        fn it_comes_back_as_it_was(text: String, numbers: Vec<f64>, more: Option<bool>) {
            let value = (text, numbers, more);
            let packed = Packed::of(&value).unwrap();
            prop_assert_eq!(packed.value::<(String, Vec<f64>, Option<bool>)>().unwrap(), value);
        }

        #[test]
        fn damaged_bytes_are_refused_or_give_some_value(bytes: Vec<u8>) {
            for how in [PACKED, PACKED_JSON] {
                Packed([&[how], &*bytes].concat()).value::<Value>().ok();
            }
            let block = compress_prepend_size(&bytes);
            Packed([&[PACKED], &*block].concat()).value::<Value>().ok();
            Packed(bytes).value::<Value>().ok();
        }
    }

    #[test]
    fn what_recurs_takes_little_and_what_was_kept_before_is_read() {
        let item = serde_json::json!({"no": "1", "call": "conforming", "measured": 12.5, "note": null});
        let value = serde_json::json!({ "items": vec![item; 400] });
        let json = value.to_string();
        let packed = Packed::of(&value).unwrap();
        assert!(packed.bytes().len() < json.len() / 50, "{}", packed.bytes().len());
        assert_eq!(packed.value::<Value>().unwrap(), value);
        // More than a table of small places holds, and then little again.
        let long = "x1y2".repeat(40_000);
        assert_eq!(Packed::of(&long).unwrap().value::<String>().unwrap(), long);
        assert_eq!(Packed::of(&value).unwrap().value::<Value>().unwrap(), value);

        let before = [&[PACKED_JSON], &*compress_prepend_size(json.as_bytes())].concat();
        for kept in [before, json.into_bytes()] {
            assert_eq!(Packed(kept).value::<Value>().unwrap(), value);
        }
        // Lists within lists, as deep as a grade never is.
        for (deep, is_read) in [(100, true), (200, false), (1000, false)] {
            let plain = [vec![0x91; deep], vec![0xc0]].concat();
            let kept = Packed([&[PACKED], &*compress_prepend_size(&plain)].concat());
            assert_eq!(kept.value::<Value>().is_ok(), is_read, "{deep}");
        }
        // A length that cannot be is not asked of the system.
        let huge = [&[PACKED], &u32::MAX.to_le_bytes()[..], b"x"].concat();
        for damaged in [Vec::new(), vec![PACKED], huge, b"[1]".to_vec()] {
            assert!(matches!(
                Packed(damaged).value::<Value>(),
                Err(StoreError::Unreadable { .. })
            ));
        }
    }
}
