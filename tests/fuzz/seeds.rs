//! What each reader begins with: the fuzzer beside files of the repository, and the ordinary tests alone.

use std::collections::BTreeMap;

use lz4_flex::block::compress_prepend_size;
use platemark::exercise::file::{read_exercise, read_plates};
use platemark::grading::decided::UNDECIDED;
use platemark::grading::grade::{FoundFault, Grade};
use platemark::grading::{self, GradeInput};
use platemark::report::assemble::assemble;
use platemark::report::table::{ReadOptions, Table, read};
use serde_json::Value;

const EXERCISE: &str = include_str!("../../exercises/SB-11/exercise.toml");
const PLATES: &str = include_str!("../../exercises/SB-11/plates.toml");
const REPORT: &[u8] = include_bytes!("../../exercises/SB-11/reports/SB-11-02--poor-calls.csv");

/// Files, or what is typed, for this reader.
pub(crate) fn seeds(reader: &str) -> Vec<Vec<u8>> {
    let texts: &[&str] = match reader {
        "exercise" | "exercise-form" => &[EXERCISE, include_str!("../../exercises/PC-21/exercise.toml")],
        "plates" => &[PLATES],
        "points" => &["A,1.0,2.0,3.0,0,0,1\nA,2.0,2.0,3.1,0,0,1\nH1,5,5,-2,1,0,0\n"],
        "roster" => &["name,id,e-mail\nAilbhe Corrowan,D26-101,a@school.example\n\"Takamori, Jun\",D26-102,\n"],
        "balloon-table" => &[
            "no\twhat\tnominal\ttolerance\n1\tX of hole H1\t32\t+-0.05\n2\tdiameter of hole H1\t8\tH7\n",
            "no\twhat\tnominal\ttolerance\n2\tdiameter\t8\tH7\n",
        ],
        "set-up" => &["s-A=lower\ns-tip=2\ns-unit=mm\ns-temperature=20.5\n"],
        "draft" => &["m-1=12.01\nc-1=conforming\n\nm-1=12.02\n\nm-1=12.01\nremarks=warm\n"],
        "form" => &["1\n32.01\nconforming\n2\n8,002\n\n"],
        "tolerance" => &["+0.05/-0.02", "H7", "+-0.1"],
        "settings" => &["listen = \"127.0.0.1:8080\"\ndata = \"school\"\n"],
        "reference-cases" => {
            &["{\"family\": \"plane\", \"cases\": [{\"id\": 1, \"points\": [[0, 0, 0], [1, 0, 0.1]]}]}"]
        }
        "parts" => &[PARTS],
        "hidden-fields" => &["{\"m-1\":[1,\"12.01\"],\"remarks\":[2,\"warm\"]}", "6e6f2c6d0a"],
        "restore-note" => &[NOTE],
        "marks-rules" => &[
            "decision_rule = \"simple-acceptance\"\nscore = \"fitness\"\nfitness = 0.01\nfull_within = 2.0\nnone_beyond = 3.0\n\
             [[line]]\nname = \"Plate deburred and cleaned\"\npoints = 10\n",
        ],
        "coordinates" => &[
            "feature,x,y,z,i,j,k\nA,1.5,2,3,0,0,1\nbore,4,5,6,,,\n",
            "x [mm];y [mm];unit\n1,5;2;mm\n-3,25;4;\n",
            "1 2 3\n4 5e-3 6\n",
        ],
        "serials" => &[
            "report,serial,tip,A,unit\nfirst.csv,SB-11-01,4,top,mm\nsecond.csv,SB-11-02,,,\n",
            "tip=4\nA=top\nB=other\nunit=mm\ntemperature=21,5\n",
        ],
        "times" => &[
            "2026-11-03T14:05",
            "2026-10-25 01:30",
            "2026-03-29T01:30:30",
            "2026-04-05T01:45",
        ],
        "codes" => &["ABCDE-FGHJK-MNPQR", "01234 56789 oilvw", "KEZR-JMTZ-MZ7R-PTPQ"],
        _ => return of_bytes(reader),
    };
    texts.iter().map(|text| text.as_bytes().to_vec()).collect()
}

const PARTS: &str = "\x07--edge\r\ncontent-disposition: form-data; name=\"base\"\r\n\r\n{}\r\n--edge\r\ncontent-disposition: form-data; \
                     name=\"table\"; filename=\"a.csv\"\r\ncontent-type: text/csv\r\n\r\nno,measured\r\n1,2\r\n\r\n--edge--\r\n";

const NOTE: &str = "{\"by\":\"fennimar\",\"before\":\"before-restore-1795816031608.db\",\"aside\":null,\"had\":true,\
                    \"gone\":{\"people\":[{\"person\":3,\"created_at\":1795816031608,\"deleted\":true}],\
                    \"classes\":[[1,1795816031608]]},\"unread\":false,\"said\":null}";

fn of_bytes(reader: &str) -> Vec<Vec<u8>> {
    match reader {
        "table" | "rounds" => vec![REPORT.to_vec(), b"2026-11-03\n20.1\n1=32.031\n2=8.002 8.003\n".to_vec()],
        "stored-grade" => stored(),
        "evidence" => vec![
            b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n%%EOF\n".to_vec(),
            b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0".to_vec(),
        ],
        // Places of a file and what is done to them there.
        "backup" => vec![
            vec![16, 0, 0, 0xff],
            vec![0x40, 0x20, 0, 1, 0x71, 0x33, 1, 0x80],
            Vec::new(),
        ],
        other => unreachable!("{other} has nothing to begin with"),
    }
}

/// A grade as JSON, as MessagePack, and as each of them is kept packed.
fn stored() -> Vec<Vec<u8>> {
    let Some(grade) = grade() else {
        unreachable!("the report is shipped")
    };
    let (Ok(json), Ok(plain)) = (serde_json::to_vec(&grade), rmp_serde::to_vec_named(&grade)) else {
        unreachable!("a grade can be written")
    };
    let packed = |how: u8, bytes: &[u8]| [&[how], &*compress_prepend_size(bytes)].concat();
    let deep = nested(grade);
    vec![packed(1, &json), packed(2, &plain), json, plain, deep]
}

/// As MessagePack with a thousand lists within each other, which no reader can have on its stack.
fn nested(mut grade: Grade) -> Vec<u8> {
    grade.diagnosis.faults.push(FoundFault {
        fault: "origin-shift".to_owned(),
        probability: 0.5,
        parameters: [("x".to_owned(), Value::from("DEEP"))].into_iter().collect(),
        explains: Vec::new(),
        text: String::new(),
        confirmed: false,
    });
    let plain = rmp_serde::to_vec_named(&grade).unwrap_or_default();
    let Some(at) = plain.windows(5).position(|window| window == b"\xa4DEEP") else {
        unreachable!("it is there")
    };
    [&plain[..at], &[0x91; 1000], &[0xc0], &plain[at + 5..]].concat()
}

fn grade() -> Option<Grade> {
    let exercise = read_exercise("exercise.toml", EXERCISE).0?;
    let plates = read_plates("plates.toml", PLATES, &exercise).0?;
    let Ok(Table::Report(table)) = read(REPORT, &ReadOptions::default()) else {
        return None;
    };
    let report = assemble(&exercise, &table, None).ok()?.report;
    Some(grading::grade(&GradeInput {
        name: "report.csv",
        exercise: &exercise,
        plate: plates.plates.first()?,
        rules: &exercise.marks,
        report: &report,
        hand_marks: &BTreeMap::new(),
        siblings: &plates.plates,
        decided: &UNDECIDED,
        set_up: None,
    }))
}
