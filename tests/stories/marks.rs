//! Every sample report that is shipped gets the same marks in the browser and on the command line, to the last digit.

use std::collections::BTreeMap;
use std::process::Command;
use std::time::Duration;

use platemark::actions::import_exercise::{FileText, import_exercise};
use platemark::actions::make_assignment::{Wanted, make_assignment};
use platemark::actions::make_class::make_pair;
use platemark::actions::terms::Terms;
use platemark::store::assignments::{Counting, Feedback};
use platemark::store::exercises;
use platemark::store::ids::AssignmentId;
use platemark::store::people::Role;
use platemark::store::plates::Kind;
use serde_json::Value;

use super::entry::Sheet;
use super::site::{Browser, PIN, Site, person, shipped};

const CODES: [&str; 6] = ["SB-11", "JP-14", "PC-21", "CP-23", "SG-31", "GC-40"];

/// Pairs by the end of the serial that they measure.
const PAIRS: usize = 7;

/// A class of seven pairs, each with the plate of its number, and all exercises assigned.
async fn school() -> (Site, Vec<(&'static str, AssignmentId)>) {
    let site = Site::open().await;
    for pair in 3..=PAIRS {
        let student = person(&site.service, Role::Student, &format!("pair-{pair}")).await;
        let now = site.service.clock.now();
        let name = format!("P{pair}");
        make_pair(&site.service, site.class, &name, &[student], now)
            .await
            .unwrap();
    }
    let mut assignments = Vec::new();
    for code in CODES {
        let text = |file: &str| shipped(&format!("{code}/{file}"));
        let (exercise, plates) = (text("exercise.toml"), text("plates.toml"));
        let file = |name, text| FileText { name, text };
        let plates = Some(file("plates.toml", &plates));
        let exercise = file("exercise.toml", &exercise);
        let imported = import_exercise(&site.service, Some(site.instructor_id), exercise, plates)
            .await
            .unwrap()
            .exercise;
        assignments.push((code, assign(&site, imported, code).await));
    }
    site.service.clock.put_forward(Duration::from_secs(1));
    (site, assignments)
}

async fn assign(site: &Site, exercise: platemark::store::ids::ExerciseId, title: &str) -> AssignmentId {
    let revision = exercises::newest(&site.service.store, exercise).await.unwrap().unwrap();
    let now = site.service.clock.now().millisecond();
    let wanted = Wanted {
        class: site.class,
        exercise: (exercise, revision.id),
        plates: Kind::Physical,
        terms: Terms {
            title,
            opens_at: (now - 3_600_000).into(),
            due_at: (now + 86_400_000).into(),
            attempts: 2,
            counting: Counting::Last,
            late_grace_minutes: 0,
            late_percent_per_day: 10.into(),
            late_floor_percent: 50.into(),
            feedback: Feedback::Words,
        },
        marks: "",
        by: site.instructor_id,
    };
    make_assignment(&site.service, &wanted).await.unwrap().assignment
}

/// What the command line prints of all samples of an exercise, by file name.
fn printed(code: &str) -> Vec<(String, Value)> {
    let folder = format!("{}/exercises/{code}", env!("CARGO_MANIFEST_DIR"));
    let serials = shipped(&format!("{code}/reports/serials.csv"));
    let names: Vec<&str> = serials.lines().skip(1).filter_map(|l| l.split(',').next()).collect();
    let output = Command::new(env!("CARGO_BIN_EXE_platemark"))
        .current_dir(folder)
        .args([
            "grade",
            "--json",
            "--exercise",
            "exercise.toml",
            "--plates",
            "plates.toml",
        ])
        .args(["--serials", "reports/serials.csv"])
        .args(names.iter().map(|n| format!("reports/{n}")))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let text = String::from_utf8(output.stdout).unwrap();
    let grades = text.lines().map(|l| serde_json::from_str(l).unwrap());
    names.iter().map(|n| (*n).to_owned()).zip(grades).collect()
}

async fn pairs(site: &Site) -> Vec<Browser> {
    let mut pairs = vec![site.pair("A").await, site.pair("B").await];
    for pair in 3..=PAIRS {
        pairs.push(site.sign_in(&format!("pair-{pair}"), PIN).await);
    }
    pairs
}

/// A mark as pages show it.
fn shown(mark: &Value) -> String {
    format!("{:.1}", mark.as_f64().unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn all_samples_get_the_same_marks_on_both_ways() {
    let (site, assignments) = school().await;
    let (instructor, pairs) = (site.instructor().await, pairs(&site).await);
    let mut checked = 0;
    for (code, assignment) in assignments {
        let mut marks = Vec::new();
        let mut last: BTreeMap<usize, (String, String)> = BTreeMap::new();
        for (name, mut printed) in printed(code) {
            let pair: usize = name.split("--").next().unwrap()[6..].parse().unwrap();
            let sheet = Sheet::open(&pairs[pair - 1], assignment).await;
            let bytes = shipped(&format!("{code}/reports/{name}"));
            let sheet = sheet.choose(&name, bytes.as_bytes()).fill("incomplete", "yes");
            let result = sheet.send(&pairs[pair - 1], "hand-in").await;
            let id: i64 = result.is(200).path.rsplit('/').next().unwrap().parse().unwrap();
            let mut stored = site.grade(id).await;
            for grade in [&mut stored, &mut printed] {
                grade.as_object_mut().unwrap().remove("report");
            }
            assert_eq!(stored, printed, "{name}");
            let mark = shown(&printed["marks"]["final"]);
            if name.contains("careful") {
                // Its picture takes a while: one of each exercise.
                let page = instructor.get(&format!("/reports/{id}")).await;
                page.is(200).has(printed["serial"].as_str().unwrap());
                let total = page.body.split("of 100</th><td class=\"num\">").nth(1).unwrap();
                assert_eq!(total.split('<').next().unwrap().trim(), mark, "{name}");
            }
            marks.push((id, mark.clone()));
            last.insert(pair, (result.path.clone(), mark));
            checked += 1;
        }
        let page = instructor
            .send(&format!("/assignments/{assignment}/release"), &[])
            .await;
        for (id, mark) in marks {
            let row = page
                .is(200)
                .body
                .split(&format!("href=\"/reports/{id}\""))
                .nth(1)
                .unwrap();
            let cell = row.split("data-head=\"mark\">").nth(1).unwrap();
            assert_eq!(cell.split('<').next().unwrap().trim(), mark);
        }
        let gradebook = instructor.get(&format!("/classes/{}/gradebook", site.class)).await;
        for (pair, (path, mark)) in last {
            let result = pairs[pair - 1].get(&path).await;
            result.has(&format!("<span class=\"num\">{mark}</span> of 100"));
            gradebook.has(&format!("<a href=\"{}\">{mark}</a>", path.replacen("/my", "", 1)));
        }
    }
    assert_eq!(checked, 48);
}
