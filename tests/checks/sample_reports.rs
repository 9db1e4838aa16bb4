//! The sample reports beside the shipped exercises are made by the forward model, and are just what it makes.
//!
//! `UPDATE_SAMPLES=1 cargo test --test all sample_reports` writes them again.

use std::fs;
use std::path::{Path, PathBuf};

use platemark::exercise::file::{read_exercise, read_plates};
use platemark::exercise::model::Exercise;
use platemark::exercise::plate::Plates;
use platemark::procedure::fault::{Fault, Procedure};
use platemark::procedure::model::Model;
use platemark::procedure::sampler::Sampler;
use platemark::procedure::simulate::Conditions;
use platemark::procedure::written::Habits;
use platemark::report::model::Report;
use platemark::report::write_csv::{WrittenRow, report_csv};
use platemark::units::decimal_to_f64;

/// One report: plate, a word for the file name, seed, faults as in a grade's JSON, how the sheet was filled in, factor
/// on the noise.
struct Sample {
    serial: &'static str,
    word: &'static str,
    seed: u64,
    faults: &'static str,
    habits: Habits,
    noise: f64,
}

const CAREFUL: Habits = Habits {
    missing: 0.0,
    wrong_calls: 0.0,
    no_call: 0.0,
};
const POOR_CALLS: Habits = Habits {
    wrong_calls: 0.35,
    ..CAREFUL
};
const GAPS: Habits = Habits {
    missing: 0.2,
    no_call: 0.15,
    ..CAREFUL
};

const fn sample(
    serial: &'static str,
    word: &'static str,
    seed: u64,
    faults: &'static str,
    habits: Habits,
    noise: f64,
) -> Sample {
    Sample {
        serial,
        word,
        seed,
        faults,
        habits,
        noise,
    }
}

/// Eight for each exercise: honest, honest with poor calls, four mistakes, one with gaps, one of a restless hand.
#[rustfmt::skip]
const SAMPLES: [Sample; 48] = [
    sample("SB-11-01", "careful", 101, r#"[]"#, CAREFUL, 1.0),
    sample("SB-11-02", "poor-calls", 102, r#"[]"#, POOR_CALLS, 1.0),
    sample("SB-11-03", "origin", 103, r#"[{"fault":"origin-shift","parameters":{"axis":"x","amount":1.75}}]"#, CAREFUL, 1.0),
    sample("SB-11-04", "unit", 104, r#"[{"fault":"wrong-unit","parameters":{"factor":0.03937007874015748}}]"#, CAREFUL, 1.0),
    sample("SB-11-05", "radius", 105, r#"[{"fault":"radius-for-diameter","parameters":{"items":["7","12"]}}]"#, CAREFUL, 1.0),
    sample("SB-11-06", "digits", 106, r#"[{"fault":"digits-transposed","parameters":{"item":"11","place":-2}}]"#, CAREFUL, 1.0),
    sample("SB-11-07", "gaps", 107, r#"[]"#, GAPS, 1.0),
    sample("SB-11-01", "restless", 108, r#"[]"#, CAREFUL, 2.5),
    sample("CP-23-01", "careful", 109, r#"[]"#, CAREFUL, 1.0),
    sample("CP-23-02", "poor-calls", 110, r#"[]"#, POOR_CALLS, 1.0),
    sample("CP-23-03", "origin", 111, r#"[{"fault":"origin-shift","parameters":{"axis":"y","amount":-2.4}}]"#, CAREFUL, 1.0),
    sample("CP-23-04", "unit", 112, r#"[{"fault":"wrong-unit","parameters":{"factor":0.03937007874015748}}]"#, CAREFUL, 1.0),
    sample("CP-23-05", "exchanged", 113, r#"[{"fault":"features-exchanged","parameters":{"a":"slot-1","b":"slot-2"}}]"#, CAREFUL, 1.0),
    sample("CP-23-06", "digits", 114, r#"[{"fault":"digits-transposed","parameters":{"item":"8","place":-2}}]"#, CAREFUL, 1.0),
    sample("CP-23-07", "gaps", 115, r#"[]"#, GAPS, 1.0),
    sample("CP-23-01", "restless", 116, r#"[]"#, CAREFUL, 2.5),
    sample("GC-40-01", "careful", 117, r#"[]"#, CAREFUL, 1.0),
    sample("GC-40-02", "poor-calls", 118, r#"[]"#, POOR_CALLS, 1.0),
    sample("GC-40-03", "origin", 119, r#"[{"fault":"origin-shift","parameters":{"axis":"x","amount":-0.0625}}]"#, CAREFUL, 1.0),
    sample("GC-40-04", "unit", 120, r#"[{"fault":"wrong-unit","parameters":{"factor":25.4}}]"#, CAREFUL, 1.0),
    sample("GC-40-05", "radius", 121, r#"[{"fault":"radius-for-diameter","parameters":{"items":["1","2","7","11","14","17","19","21","23","27"]}}]"#, CAREFUL, 1.0),
    sample("GC-40-06", "digits", 122, r#"[{"fault":"digits-transposed","parameters":{"item":"8","place":-3}}]"#, CAREFUL, 1.0),
    sample("GC-40-07", "gaps", 123, r#"[]"#, GAPS, 1.0),
    sample("GC-40-01", "restless", 124, r#"[]"#, CAREFUL, 2.5),
    sample("JP-14-01", "careful", 125, r#"[]"#, CAREFUL, 1.0),
    sample("JP-14-02", "poor-calls", 126, r#"[]"#, POOR_CALLS, 1.0),
    sample("JP-14-03", "origin", 127, r#"[{"fault":"origin-shift","parameters":{"axis":"y","amount":0.9}}]"#, CAREFUL, 1.0),
    sample("JP-14-04", "unit", 128, r#"[{"fault":"wrong-unit","parameters":{"factor":0.03937007874015748}}]"#, CAREFUL, 1.0),
    sample("JP-14-05", "radius", 129, r#"[{"fault":"radius-for-diameter","parameters":{"items":["1","4","7","10","12","15","17"]}}]"#, CAREFUL, 1.0),
    sample("JP-14-06", "digits", 130, r#"[{"fault":"digits-transposed","parameters":{"item":"5","place":-2}}]"#, CAREFUL, 1.0),
    sample("JP-14-07", "gaps", 131, r#"[]"#, GAPS, 1.0),
    sample("JP-14-01", "restless", 132, r#"[]"#, CAREFUL, 2.5),
    sample("PC-21-01", "careful", 133, r#"[]"#, CAREFUL, 1.0),
    sample("PC-21-02", "poor-calls", 134, r#"[]"#, POOR_CALLS, 1.0),
    sample("PC-21-03", "origin", 135, r#"[{"fault":"origin-shift","parameters":{"axis":"y","amount":0.08}}]"#, CAREFUL, 1.0),
    sample("PC-21-04", "unit", 136, r#"[{"fault":"wrong-unit","parameters":{"factor":25.4}}]"#, CAREFUL, 1.0),
    sample("PC-21-05", "radius", 137, r#"[{"fault":"radius-for-diameter","parameters":{"items":["2","3","9","15","17","19","21"]}}]"#, CAREFUL, 1.0),
    sample("PC-21-06", "digits", 138, r#"[{"fault":"digits-transposed","parameters":{"item":"10","place":-2}}]"#, CAREFUL, 1.0),
    sample("PC-21-07", "gaps", 139, r#"[]"#, GAPS, 1.0),
    sample("PC-21-01", "restless", 140, r#"[]"#, CAREFUL, 2.5),
    sample("SG-31-01", "careful", 141, r#"[]"#, CAREFUL, 1.0),
    sample("SG-31-02", "poor-calls", 142, r#"[]"#, POOR_CALLS, 1.0),
    sample("SG-31-03", "origin", 143, r#"[{"fault":"origin-shift","parameters":{"axis":"x","amount":-1.2}}]"#, CAREFUL, 1.0),
    sample("SG-31-04", "unit", 144, r#"[{"fault":"wrong-unit","parameters":{"factor":0.03937007874015748}}]"#, CAREFUL, 1.0),
    sample("SG-31-05", "radius", 145, r#"[{"fault":"radius-for-diameter","parameters":{"items":["5","10","11","16"]}}]"#, CAREFUL, 1.0),
    sample("SG-31-06", "digits", 146, r#"[{"fault":"digits-transposed","parameters":{"item":"18","place":-2}}]"#, CAREFUL, 1.0),
    sample("SG-31-07", "gaps", 147, r#"[]"#, GAPS, 1.0),
    sample("SG-31-01", "restless", 148, r#"[]"#, CAREFUL, 2.5),
];

impl Sample {
    fn code(&self) -> &str {
        self.serial.rsplit_once('-').unwrap().0
    }

    fn file(&self) -> String {
        format!("{}--{}.csv", self.serial, self.word)
    }

    fn faults(&self) -> Vec<Fault> {
        serde_json::from_str(self.faults).unwrap()
    }

    /// The report with these faults, and the same pair's report without any.
    fn reports(&self, exercise: &Exercise, plates: &Plates) -> [Report; 2] {
        let model = Model::new(exercise, &plates.plates).unwrap();
        let conditions = Conditions {
            all: self.noise,
            ..Conditions::default()
        };
        [self.faults(), Vec::new()].map(|faults| {
            let mut sampler = Sampler::new(self.seed, "sample report");
            let procedure = Procedure::with(faults).unwrap();
            let measured = model
                .simulate(&self.serial.parse().unwrap(), &procedure, conditions, &mut sampler)
                .unwrap();
            model.write_report(exercise, &exercise.marks, &measured, self.habits, &mut sampler)
        })
    }
}

fn shelf() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("exercises")
}

fn exercise_of(code: &str) -> (Exercise, Plates) {
    let text = |name: &str| fs::read_to_string(shelf().join(code).join(name)).unwrap();
    let exercise = read_exercise("exercise.toml", &text("exercise.toml")).0.unwrap();
    let plates = read_plates("plates.toml", &text("plates.toml"), &exercise).0.unwrap();
    (exercise, plates)
}

fn written(report: &Report) -> String {
    let rows: Vec<WrittenRow<'_>> = report
        .items
        .iter()
        .map(|i| WrittenRow {
            no: i.no.as_str(),
            measured: i.measured.as_ref().map(|m| m.as_str()),
            call: i.call,
        })
        .collect();
    report_csv(&rows).unwrap()
}

/// Compares with the file, or writes it where that is asked for.
fn hold(path: &Path, expected: &str) {
    if std::env::var_os("UPDATE_SAMPLES").is_some_and(|v| v == "1") {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, expected).unwrap();
    }
    let found = fs::read_to_string(path).unwrap_or_default();
    assert!(
        found == expected,
        "{} is not what the model makes; it makes\n{expected}",
        path.display()
    );
}

#[test]
fn the_files_are_what_the_model_makes() {
    let mut codes: Vec<&str> = SAMPLES.iter().map(Sample::code).collect();
    codes.dedup();
    for code in codes {
        let (exercise, plates) = exercise_of(code);
        let folder = shelf().join(code).join("reports");
        let mut names = vec!["serials.csv".to_owned()];
        let mut serials = "report,serial\r\n".to_owned();
        for sample in SAMPLES.iter().filter(|s| s.code() == code) {
            let [report, _] = sample.reports(&exercise, &plates);
            hold(&folder.join(sample.file()), &written(&report));
            serials += &format!("{},{}\r\n", sample.file(), sample.serial);
            names.push(sample.file());
        }
        hold(&folder.join("serials.csv"), &serials);
        let mut found: Vec<String> = fs::read_dir(&folder)
            .unwrap()
            .map(|f| f.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        found.sort();
        assert_eq!(found, names, "{code}");
    }
}

#[test]
fn every_shipped_exercise_has_its_samples() {
    for folder in fs::read_dir(shelf())
        .unwrap()
        .map(|f| f.unwrap().path())
        .filter(|p| p.is_dir())
    {
        let code = folder.file_name().unwrap().to_str().unwrap().to_owned();
        assert_eq!(SAMPLES.iter().filter(|s| s.code() == code).count(), 8, "{code}");
    }
}

/// A sample of a mistake has one that can be seen, and only what it should has gaps and wrong calls.
#[test]
fn samples_are_what_their_words_say() {
    for sample in &SAMPLES {
        let (exercise, plates) = exercise_of(sample.code());
        let [report, honest] = sample.reports(&exercise, &plates);
        let items = report.items.iter().zip(&honest.items).zip(&exercise.characteristics);
        let far = items
            .filter(|((item, honest), c)| {
                let (Some(a), Some(b)) = (&item.measured, &honest.measured) else {
                    return false;
                };
                (a.approx() - b.approx()).abs() > 10.0 * decimal_to_f64(c.u_lab)
            })
            .count();
        let faulty = !sample.faults().is_empty();
        assert_eq!(far > 0, faulty, "{}: {far} values are far off", sample.file());
        assert_eq!(far == 1, sample.word == "digits", "{}", sample.file());
        let gaps = report.items.iter().filter(|i| i.measured.is_none()).count();
        assert_eq!(gaps > 1, sample.word == "gaps", "{}: {gaps}", sample.file());
    }
}
