//! What the fuzzer found once, run through the same readers.

#[path = "../fuzz/targets.rs"]
mod targets;

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
