//! What the fuzzer found once, run through the same readers; and files of each kind with chance changes, which need no
//! fuzzer and no compiler for one.

use platemark::procedure::sampler::Sampler;

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

/// A file to begin with.
fn seeds(reader: &str) -> Vec<Vec<u8>> {
    let root = env!("CARGO_MANIFEST_DIR");
    let file = |path: &str| std::fs::read(format!("{root}/{path}")).unwrap();
    match reader {
        "exercise" | "exercise-form" => vec![
            file("exercises/SB-11/exercise.toml"),
            file("exercises/PC-21/exercise.toml"),
        ],
        "plates" => vec![file("exercises/SB-11/plates.toml")],
        "table" | "rounds" => vec![file("exercises/SB-11/reports/SB-11-02--poor-calls.csv")],
        "points" => vec![b"A,1.0,2.0,3.0,0,0,1\nA,2.0,2.0,3.1,0,0,1\nH1,5,5,-2,1,0,0\n".to_vec()],
        "roster" => {
            vec!["name,id,e-mail\nAilbhe Corrowan,D26-101,a@school.example\n\"Takamori, Jun\",D26-102,\n".into()]
        }
        "balloon-table" => {
            vec![b"no\twhat\tnominal\ttolerance\n1\tX of hole H1\t32\t+-0.05\n2\tdiameter\t8\tH7\n".to_vec()]
        }
        "set-up" => vec![b"s-A=lower\ns-tip=2\ns-unit=mm\ns-temperature=20.5\n".to_vec()],
        "draft" => vec![b"m-1=12.01\nc-1=conforming\n\nm-1=12.02\n\nm-1=12.01\nremarks=warm\n".to_vec()],
        "form" => vec![b"1\n32.01\nconforming\n2\n8,002\n\n".to_vec()],
        "tolerance" => vec![b"+0.05/-0.02".to_vec(), b"H7".to_vec(), b"+-0.1".to_vec()],
        "settings" => vec![b"listen = \"127.0.0.1:8080\"\ndata = \"school\"\n".to_vec()],
        "reference-cases" | "stored-grade" => {
            vec![b"{\"family\": \"plane\", \"cases\": [{\"id\": 1, \"points\": [[0, 0, 0], [1, 0, 0.1]]}]}".to_vec()]
        }
        "evidence" => vec![
            b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n%%EOF\n".to_vec(),
            b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0".to_vec(),
        ],
        other => unreachable!("{other} has nothing to begin with"),
    }
}

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
        for seed in seeds(name) {
            reader(&seed);
            for _ in 0..CHANGES {
                let bytes = changed(&seed, &mut sampler);
                let taken = std::panic::catch_unwind(|| reader(&bytes));
                assert!(taken.is_ok(), "{name}: {:?}", String::from_utf8_lossy(&bytes));
            }
        }
    }
}
