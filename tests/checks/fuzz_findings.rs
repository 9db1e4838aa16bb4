//! What the fuzzer found once, run through the same readers; and files of each kind with chance changes, which need no
//! fuzzer and no compiler for one.

use platemark::procedure::sampler::Sampler;

#[path = "../fuzz/seeds.rs"]
mod seeds;
#[path = "../fuzz/targets.rs"]
pub(super) mod targets;

#[test]
fn findings_of_the_fuzzer_stay_mended() {
    let folder = format!("{}/tests/data/fuzz", env!("CARGO_MANIFEST_DIR"));
    for (name, reader) in targets::READERS {
        assert!(targets::reader(name).is_some());
        reader(b"");
        let Ok(files) = std::fs::read_dir(format!("{folder}/{name}")) else {
            continue;
        };
        for file in files {
            reader(&std::fs::read(file.unwrap().path()).unwrap());
        }
    }
}

/// Chance changes of each file.
const CHANGES: usize = 60;

/// What the fuzzer and people meet: bytes that mean something to one reader or another.
const PIECES: [&[u8]; 16] = [
    b"\"",
    b"\n",
    b"\r\n",
    b";",
    b",",
    b"\t",
    b"=",
    b"[",
    b"]",
    b"-",
    b"1e308",
    b"\xff",
    b"\0",
    b"nan",
    b"0.0000001",
    b"\xef\xbb\xbf",
];

/// Something taken out, put in, doubled or overwritten, at a few places.
fn changed(seed: &[u8], sampler: &mut Sampler) -> Vec<u8> {
    let mut bytes = seed.to_vec();
    for _ in 0..=sampler.below(4) {
        let at = sampler.below(bytes.len() + 1);
        let to = (at + sampler.below(40)).min(bytes.len());
        match sampler.below(4) {
            0 => drop(bytes.drain(at..to)),
            1 => {
                let piece = PIECES[sampler.below(PIECES.len())];
                bytes.splice(at..at, piece.iter().copied());
            }
            2 => {
                let part = bytes[at..to].to_vec();
                bytes.splice(at..at, part);
            }
            _ => {
                if let Some(byte) = bytes.get_mut(at) {
                    *byte = u8::try_from(sampler.below(256)).unwrap();
                }
            }
        }
    }
    bytes
}

#[test]
fn readers_take_files_with_chance_changes() {
    for (name, reader) in targets::READERS {
        let mut sampler = Sampler::new(9, name);
        for seed in seeds::seeds(name) {
            reader(&seed);
            for _ in 0..CHANGES {
                let bytes = changed(&seed, &mut sampler);
                let taken = std::panic::catch_unwind(|| reader(&bytes));
                assert!(taken.is_ok(), "{name}: {:?}", String::from_utf8_lossy(&bytes));
            }
        }
    }
}
