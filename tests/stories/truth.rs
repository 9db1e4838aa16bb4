//! What a plate really is does not reach a student before it may.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use platemark::actions::import_exercise::{FileText, import_exercise};
use platemark::actions::make_assignment::{Wanted, make_assignment};
use platemark::actions::make_class::{Wanted as WantedClass, make_class, make_pair};
use platemark::actions::terms::Terms;
use platemark::store::assignments::{Counting, Feedback};
use platemark::store::exercises;
use platemark::store::ids::{AssignmentId, ClassId, ExerciseId};
use platemark::store::people::Role;
use platemark::store::plates::Kind;

use super::entry::Sheet;
use super::faults::{edited, report_of};
use super::site::{Answer, Browser, DAY, PIN, Site, any_report, person, shipped};

/// Every reference value of the plate that pair A measures, as the file writes it.
fn references() -> Vec<String> {
    let plates: toml::Table = shipped("SB-11/plates.toml").parse().unwrap();
    let plate = &plates["plate"].as_array().unwrap()[0];
    let values = plate["reference"].as_table().unwrap().values();
    let values: Vec<String> = values
        .map(|v| v["value"].to_string())
        .filter(|v| v.len() >= 6)
        .collect();
    assert!(values.len() > 5, "{values:?}");
    values
}

/// Every page that can be reached by links from the student's first page.
async fn all_pages(student: &Browser) -> Vec<(String, String)> {
    let mut waiting = vec!["/my".to_owned()];
    let mut seen = BTreeMap::new();
    while let Some(path) = waiting.pop() {
        if seen.contains_key(&path) {
            continue;
        }
        let page = student.get(&path).await;
        let links = page.body.split("href=\"").skip(1).filter_map(|l| l.split('"').next());
        waiting.extend(
            links
                .filter(|l| l.starts_with('/') && !l.contains('#'))
                .map(str::to_owned),
        );
        seen.insert(path, page.body);
    }
    seen.into_iter().collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn no_page_of_a_student_has_a_reference_value() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Full).await;
    let student = site.pair("A").await;
    student
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--restless.csv"))
        .await
        .is(200);
    let instructor = site.instructor().await;
    instructor
        .send(&format!("/assignments/{assignment}/release"), &[])
        .await
        .is(200);
    let pages = all_pages(&student).await;
    assert!(
        pages.len() >= 5,
        "{:?}",
        pages.iter().map(|(p, _)| p).collect::<Vec<_>>()
    );
    for (path, body) in &pages {
        for value in references() {
            assert!(!body.contains(value.trim_start_matches('-')), "{path} has {value}");
        }
    }
    // It would have been found: the instructor's page of the same report has them.
    let report = instructor.get("/reports/1").await.body;
    assert!(
        references()
            .iter()
            .filter(|v| report.contains(v.trim_start_matches('-')))
            .count()
            > 5
    );
}

/// The plates of SB-11 with every planted deviation and every reference off by so much.
fn plates_off_by(amount: f64) -> String {
    let mut plates: toml::Table = shipped("SB-11/plates.toml").parse().unwrap();
    let more = |value: &mut toml::Value| {
        let number = value.as_float().unwrap();
        *value = toml::Value::Float(((number + amount) * 1e4).round() / 1e4);
    };
    for plate in plates["plate"].as_array_mut().unwrap() {
        let features = plate
            .get_mut("planted")
            .and_then(|p| p.as_table_mut())
            .into_iter()
            .flatten();
        for (_, feature) in features {
            for (_, value) in feature.as_table_mut().unwrap().iter_mut() {
                more(value);
            }
        }
        let found = plate.get_mut("reference").and_then(|r| r.as_table_mut());
        for (_, found) in found.into_iter().flatten() {
            more(&mut found["value"]);
        }
    }
    plates.to_string()
}

/// A school whose plates are really these.
async fn school(off_by: f64) -> Site {
    let site = Site::open().await;
    import(&site, "SB-11", &shipped("SB-11/exercise.toml"), &plates_off_by(off_by)).await;
    site
}

async fn import(site: &Site, code: &str, exercise: &str, plates: &str) -> ExerciseId {
    let file = |name, text| FileText { name, text };
    let plates = Some(file("plates.toml", plates));
    let exercise = file("exercise.toml", exercise);
    let imported = import_exercise(&site.service, Some(site.instructor_id), exercise, plates).await;
    assert!(imported.is_ok(), "{code}: {:?}", imported.err());
    imported.unwrap().exercise
}

/// An answer without what differs between two servers anyhow: times, and keys that are drawn.
fn bare(answer: &Answer) -> String {
    let mut text = answer.body.clone();
    if let Some(at) = text.find("name=\"key\"") {
        let key = answer.field("key");
        assert!(text[at..].contains(&key));
        text = text.replace(&key, "");
    }
    // The length is compared once the times are taken out, which machines read to the millisecond.
    let of_answer = ["date", "x-request-id", "set-cookie", "content-length"];
    let headers: Vec<String> = answer
        .headers
        .iter()
        .filter(|(name, _)| !of_answer.contains(&name.as_str()))
        .map(|(name, value)| format!("{name}: {value:?}"))
        .collect();
    if let Some(at) = text.find("request ") {
        text.replace_range(at..at + "request ".len() + 36, "request");
    }
    // Hours and minutes, wherever they stand.
    let chars: Vec<char> = text.chars().collect();
    let is = |i: usize, digit: bool| chars.get(i).is_some_and(|c| c.is_ascii_digit() == digit);
    let is_time = |i: usize| {
        chars.get(i + 2) == Some(&':') && [i, i + 1, i + 3, i + 4].iter().all(|i| is(*i, true)) && !is(i + 5, true)
    };
    let mut bare = String::new();
    let mut i = 0;
    while i < chars.len() {
        if is_time(i) {
            bare.push_str("time");
            i += 5;
            // Seconds and thousandths of what machines read.
            while chars.get(i).is_some_and(|c| c.is_ascii_digit() || ":.".contains(*c)) {
                i += 1;
            }
        } else {
            bare.push(chars[i]);
            i += 1;
        }
    }
    format!("{} {}\n{}\n{bare}", answer.status, answer.path, headers.join("\n"))
}

/// What a student of pair A gets to read: before a report, at reports that come back, and after these reports.
async fn all_that_is_read(site: &Site, reports: &[&str]) -> BTreeMap<String, String> {
    let assignment = site.assign(9, Feedback::Full).await;
    all_of(site, assignment, reports).await
}

async fn all_of(site: &Site, assignment: AssignmentId, reports: &[&str]) -> BTreeMap<String, String> {
    let student = site.pair("A").await;
    let mut read = BTreeMap::new();
    let sheet = async || Sheet::open(&student, assignment).await;
    let wrong = sheet().await.fill("m-1", "about 5").send(&student, "hand-in").await;
    read.insert("a number at fault".to_owned(), bare(&wrong));
    let other = sheet()
        .await
        .fill("pasted", "no,measured\n31,1\n")
        .send(&student, "read")
        .await;
    read.insert("a table at fault".to_owned(), bare(&other));
    for path in [
        "/my/reports/1",
        "/reports/1",
        "/exercises/1",
        "/exercises/1/plates/1",
        "/static/x",
    ] {
        read.insert(path.to_owned(), bare(&student.get(path).await));
    }
    for (path, _) in all_pages(&student).await {
        read.insert(format!("before: {path}"), bare(&student.get(&path).await));
    }
    for (i, csv) in reports.iter().enumerate() {
        let result = student.hand_in(assignment, csv).await;
        read.insert(format!("report {i}"), bare(result.is(200)));
    }
    for (path, _) in all_pages(&student).await {
        read.insert(format!("after: {path}"), bare(&student.get(&path).await));
    }
    read
}

fn are_equal(one: &BTreeMap<String, String>, other: &BTreeMap<String, String>) {
    assert_eq!(one.keys().collect::<Vec<_>>(), other.keys().collect::<Vec<_>>());
    for (what, text) in one {
        let lines = text.lines().zip(other[what].lines());
        for (a, b) in lines {
            assert_eq!(a, b, "{what}");
        }
        assert_eq!(text.len(), other[what].len(), "{what}");
    }
}

/// Nothing that a student can read depends on what the plates are, as long as nothing is handed in.
#[tokio::test(flavor = "multi_thread")]
async fn pages_before_a_report_are_the_same_for_any_truth() {
    let sites = tokio::join!(school(0.0001), school(0.27));
    let (one, other) = tokio::join!(all_that_is_read(&sites.0, &[]), all_that_is_read(&sites.1, &[]));
    assert!(one.len() > 10, "{:?}", one.keys());
    are_equal(&one, &other);
    // The instructor reads two different plates there.
    let (one, other) = (sites.0.instructor().await, sites.1.instructor().await);
    let plate = "/exercises/1/plates/1";
    let (one, other) = (one.get(plate).await, other.get(plate).await);
    assert_ne!(bare(one.is(200)), bare(other.is(200)));
}

/// Nor does the time in which a page comes tell anything of a plate: what it is is not even read. With every truth made
/// unreadable the pages are as they were.
#[tokio::test(flavor = "multi_thread")]
async fn pages_before_a_report_do_not_read_what_a_plate_is() {
    let (one, other) = tokio::join!(school(0.0001), school(0.0001));
    let assignments = tokio::join!(one.assign(9, Feedback::Full), other.assign(9, Feedback::Full));
    other.spoil_truths(None).await;
    let (read, unread) = tokio::join!(all_of(&one, assignments.0, &[]), all_of(&other, assignments.1, &[]));
    assert!(read.len() > 10, "{:?}", read.keys());
    are_equal(&read, &unread);
    // Whoever reads it there notices.
    other.instructor().await.get("/exercises/1/plates/1").await.is(500);
}

/// In words a result says what agrees and what happened, and no amount: plates that differ by less than anybody can
/// measure here get the same words to the last byte, also where a report has a fault.
#[tokio::test(flavor = "multi_thread")]
async fn words_have_no_amounts() {
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    // The origin 1.75 further: every X of the print.
    let mut moved = String::new();
    for line in careful.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        let x = ["6", "10", "13", "16"].contains(&cells[0]);
        let value = cells[1].parse::<f64>().ok().filter(|_| x);
        let measured = value.map_or(cells[1].to_owned(), |v| format!("{:.3}", v + 1.75));
        moved += &format!("{},{measured},{}\n", cells[0], cells[2]);
    }
    let reports = [careful.as_str(), moved.as_str()];
    let (one, other) = tokio::join!(school(0.0001), school(0.0003));
    let (one, other) = tokio::join!(all_that_is_read(&one, &reports), all_that_is_read(&other, &reports));
    assert!(one["report 0"].contains("17 of 17 values agree"), "{}", one["report 0"]);
    assert!(one["report 1"].contains("does not agree"));
    are_equal(&one, &other);
}

/// Assigns virtual plates to a class, due after so many days, with everything to be seen once that may be.
async fn assign(site: &Site, class: ClassId, exercise: ExerciseId, days: i64) -> AssignmentId {
    let revision = exercises::newest(&site.service.store, exercise).await.unwrap().unwrap();
    let now = site.service.clock.now().millisecond();
    let wanted = Wanted {
        class,
        exercise: (exercise, revision.id),
        plates: Kind::Virtual,
        terms: Terms {
            title: "Without the machine",
            opens_at: (now - 3_600_000).into(),
            due_at: (now + days * 86_400_000).into(),
            attempts: 3,
            counting: Counting::Best,
            late_grace_minutes: 0,
            late_percent_per_day: 10.into(),
            late_floor_percent: 50.into(),
            feedback: Feedback::Full,
        },
        marks: "",
        by: site.instructor_id,
    };
    make_assignment(&site.service, &wanted).await.unwrap().assignment
}

/// The truth of a virtual plate is shown after the last due time of anyone who holds the copy, not a day earlier.
#[tokio::test(flavor = "multi_thread")]
async fn a_virtual_plate_opens_when_nobody_who_holds_it_is_still_at_it() {
    let site = Site::open().await;
    let text = |file: &str| shipped(&format!("JP-14/{file}"));
    let exercise = import(&site, "JP-14", &text("exercise.toml"), &text("plates.toml")).await;
    let wanted = WantedClass {
        name: "Thursday group",
        term: "Spring",
        time_zone: "Europe/Dublin",
        by: site.instructor_id,
    };
    let later = make_class(&site.service, &wanted).await.unwrap();
    let student = person(&site.service, Role::Student, "carla").await;
    make_pair(&site.service, later, "C", &[student], site.service.clock.now())
        .await
        .unwrap();
    let assignment = assign(&site, site.class, exercise, 2).await;
    assign(&site, later, exercise, 5).await;
    site.service.clock.put_forward(Duration::from_secs(1));
    let sheet = Sheet::open(&site.pair("A").await, assignment).await;
    let sheet = sheet
        .type_all(&any_report("JP-14", "JP-14-01"))
        .fill("incomplete", "yes");
    let result = sheet.send(&site.pair("A").await, "hand-in").await;
    let (closed, open) = ("data-head=\"call for your value\"", "data-head=\"plate\"");
    result.is(200).has(closed).has_not(open);
    for (days, may) in [(1, false), (2, false), (1, false), (2, true)] {
        site.service.clock.put_forward(DAY * days);
        let page = site.pair("A").await.get(&result.path).await;
        page.is(200);
        assert_eq!((page.body.contains(open), page.body.contains(closed)), (may, !may));
    }
}

/// Words say which values agree and no amount; the time of the answer says none either: a grade that looks into large
/// differences takes longer, for a report and for the one check that is asked for. That they leave at the end of a step and not
/// some time later is tried beside the code, where nothing else takes time.
#[tokio::test(flavor = "multi_thread")]
async fn an_answer_with_a_grade_leaves_at_an_even_time() {
    let site = Site::open().await;
    let assignment = site.assign(9, Feedback::Words).await;
    let (pair, instructor) = (site.pair("A").await, site.instructor().await);
    let stays = Browser::that_stays(&format!("http://{}", site.address()));
    stays.send("/sign-in", &[("name", "anna"), ("secret", PIN)]).await;
    let mut times = Vec::new();
    for n in 0..8 {
        // One Y value alone, off by 0.9: either the origin or this one value, so that a check is asked for.
        let csv = edited(move |no, v| match no {
            "9" => Some(v + 0.9),
            "11" | "14" => None,
            "15" => Some(v + f64::from(n) * 0.001),
            _ => Some(v),
        });
        let begun = Instant::now();
        let report = report_of(&pair, assignment, &csv).await;
        times.push(begun.elapsed());
        let reading = instructor.get(&format!("/reports/{report}")).await.field("reading");
        let check = format!("/my/reports/{report}/check");
        let begun = Instant::now();
        let answer = stays.send(&check, &[("reading", &reading), ("value", "0.897")]).await;
        times.push(begun.elapsed());
        answer.is(303);
    }
    assert!(times.iter().all(|t| *t >= Duration::from_millis(50)), "{times:?}");
}
