//! The fuzzer: `tests/fuzz/run` builds and starts it, once for each reader.

#![no_main]

mod targets;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;

/// The reader that this process is for.
static READER: LazyLock<targets::Reader> = LazyLock::new(|| {
    let name = std::env::var("FUZZ_READER").unwrap_or_default();
    targets::reader(&name).unwrap_or_else(|| panic!("FUZZ_READER is none of the readers: {name:?}"))
});

fuzz_target!(|bytes: &[u8]| READER(bytes));
