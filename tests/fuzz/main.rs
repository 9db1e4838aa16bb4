//! The fuzzer: `tests/fuzz/run` builds and starts it, once for each reader.

#![no_main]

mod seeds;
mod targets;

use std::path::Path;
use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;

fn name() -> String {
    std::env::var("FUZZ_READER").unwrap_or_default()
}

/// The reader that this process is for.
static READER: LazyLock<targets::Reader> = LazyLock::new(|| {
    let name = name();
    targets::reader(&name).unwrap_or_else(|| panic!("FUZZ_READER is none of the readers: {name:?}"))
});

/// Writes what the reader begins with into a folder, where the fuzzer takes it from.
fn write_seeds(folder: &Path) {
    for (i, seed) in seeds::seeds(&name()).iter().enumerate() {
        let written = std::fs::write(folder.join(format!("seed-{i}")), seed);
        written.unwrap_or_else(|error| panic!("FUZZ_SEEDS cannot be written: {error}"));
    }
}

fuzz_target!(
    init: {
        LazyLock::force(&READER);
        if let Some(folder) = std::env::var_os("FUZZ_SEEDS") {
            write_seeds(Path::new(&folder));
        }
    },
    |bytes: &[u8]| READER(bytes)
);
