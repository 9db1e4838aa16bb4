//! A report on another plate than the pair was given: taken, graded against that plate, flagged, settled; and a serial
//! that is none.

use std::fmt::Write as _;

use platemark::actions::my_result::grade_from;
use platemark::store::assignments::Feedback;
use platemark::store::ids::{AssignmentId, ReportId};
use platemark::store::{grades, reports};

use super::entry::Sheet;
use super::site::{Answer, Browser, Site, any_report, shipped};

/// What a careful pair reads off this plate: exactly what it is, where it was measured, and the call by it.
fn careful(serial: &str) -> String {
    let text = any_report("SB-11", serial);
    assert!(!text.is_empty());
    text
}

async fn hand_in(browser: &Browser, assignment: AssignmentId, csv: &str, plate: &str) -> Answer {
    let sheet = Sheet::open(browser, assignment)
        .await
        .type_all(csv)
        .fill("plate", plate);
    sheet.fill("incomplete", "yes").send(browser, "hand-in").await
}

fn report_of(answer: &Answer) -> ReportId {
    ReportId(answer.path.rsplit('/').next().unwrap().parse().unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn another_plate_is_graded_as_itself_flagged_and_settled() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    // Pair A has SB-11-01 and measures SB-11-03.
    let page = hand_in(&pair, assignment, &careful("SB-11-03"), "sb\u{2013}11\u{2013}03").await;
    page.is(200)
        .has("You said that this is plate SB-11-03; yours was SB-11-01.")
        .has("your instructor says whether it counts");
    let report = report_of(&page);
    let stored = reports::one(&site.service.store, report).await.unwrap().unwrap();
    assert_eq!(stored.serial, "SB-11-03");
    // Against the plate that was measured: its reference stands in the grade.
    let grade = grades::of(&site.service.store, report).await.unwrap().unwrap();
    let grade = grade_from(&grade.result).unwrap();
    assert_eq!(grade.serial.as_str(), "SB-11-03");

    let instructor = site.instructor().await;
    instructor
        .get(&format!("/classes/{}/review", site.class))
        .await
        .has("measured plate SB-11-03, was given SB-11-01");
    instructor
        .get(&format!("/reports/{report}"))
        .await
        .has("Which plate")
        .has("measured plate SB-11-03, was given SB-11-01")
        .has("Until you say something it counts.");
    let book = format!("/classes/{}/gradebook", site.class);
    instructor.get(&book).await.has("other plate");
    instructor
        .get(&format!("/assignments/{assignment}"))
        .await
        .has("another plate, to settle");

    // It does not count: as if not handed in, and the only attempt is there again.
    let settle = format!("/reports/{report}/plate");
    instructor
        .send(&settle, &[("say", "not")])
        .await
        .is(200)
        .has("It does not count, and the pair has the attempt once more.")
        .has("said that plate SB-11-03 does not count");
    instructor.get(&book).await.has_not("other plate").has(">open<");
    instructor
        .get(&format!("/classes/{}/review", site.class))
        .await
        .has_not("measured plate");
    pair.get(&page.path).await.has("you have the attempt once more");
    let second = pair
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await;
    second.is(200).has("attempt 2 of 2").has_not("yours was");

    // Taken back, then the pair keeps that plate.
    instructor.send(&settle, &[("say", "open")]).await.has("Until you say");
    instructor
        .get(&format!("/classes/{}/review", site.class))
        .await
        .has("measured plate SB-11-03, was given SB-11-01");
    instructor
        .send(&settle, &[("say", "move")])
        .await
        .has("It counts.")
        .has("gave the pair plate SB-11-03, and it counts");
    pair.get(&format!("/my/{assignment}")).await.has("SB-11-03");
}

#[tokio::test(flavor = "multi_thread")]
async fn only_an_instructor_settles_it_and_only_where_there_is_something_to_settle() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let own = pair
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await;
    let own = report_of(&own);
    let instructor = site.instructor().await;
    instructor
        .send(&format!("/reports/{own}/plate"), &[("say", "not")])
        .await
        .is(404);
    let other = report_of(&hand_in(&pair, assignment, &careful("SB-11-04"), "SB-11-04").await);
    instructor
        .send(&format!("/reports/{other}/plate"), &[("say", "what")])
        .await
        .is(404);
    pair.send(&format!("/reports/{other}/plate"), &[("say", "counts")])
        .await
        .is(403);
    // A plate that went out of service meanwhile is nobody's to keep.
    let exercise = site.exercise;
    let plates = platemark::store::plates::of_exercise(&site.service.store, exercise)
        .await
        .unwrap();
    let fourth = plates.iter().find(|p| p.serial == "SB-11-04").unwrap().id;
    platemark::actions::plate_state::say_of_plate(
        &site.service,
        fourth,
        platemark::actions::plate_state::Saying::Withdrawn,
        site.instructor_id,
    )
    .await
    .unwrap();
    instructor
        .send(&format!("/reports/{other}/plate"), &[("say", "move")])
        .await
        .is(409)
        .has("is not one that is given out for this assignment");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_serial_that_is_none_comes_back_with_everything_typed_and_says_no_more_than_that() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let plates = platemark::store::plates::of_exercise(&site.service.store, site.exercise)
        .await
        .unwrap();
    let last = plates.iter().find(|p| p.serial == "SB-11-05").unwrap().id;
    platemark::actions::plate_state::say_of_plate(
        &site.service,
        last,
        platemark::actions::plate_state::Saying::Withdrawn,
        site.instructor_id,
    )
    .await
    .unwrap();
    let pair = site.pair("A").await;
    let csv = careful("SB-11-03");
    let first = csv.lines().nth(1).unwrap().split(',').nth(1).unwrap().to_owned();
    let mut answers = Vec::new();
    // One that never was, one of another exercise's form, one that is withdrawn: one answer.
    for serial in ["SB-11-99", "JP-14-01", "SB-11-05", "<b>3</b>"] {
        let page = hand_in(&pair, assignment, &csv, serial).await;
        page.is(422)
            .has("No plate in use for this exercise has this number.")
            .has("if it was your own, SB-11-01, empty the field")
            .has(&format!("value=\"{first}\""))
            .has_not("SB-11-02")
            .has_not("SB-11-03")
            .has_not("withdrawn")
            .has_not("<b>3</b>");
        let at = page.body.find("No plate in use").unwrap();
        answers.push(page.body[at..at + 150].to_owned());
    }
    assert!(answers.iter().all(|a| *a == answers[0]));
    // It is in the draft, on both pages of entry, and the partner sees it.
    let partner = site.sign_in("aron", super::site::PIN).await;
    partner
        .get(&format!("/my/{assignment}/entry"))
        .await
        .has("&#60;b&#62;3&#60;/b&#62;");
    partner
        .get(&format!("/my/{assignment}/entry/1"))
        .await
        .has("Another plate than SB-11-01?")
        .has("&#60;b&#62;3&#60;/b&#62;");
    // Emptied, it is the pair's own; its own serial written out is its own too.
    let page = hand_in(&pair, assignment, &csv, " sb-11-01").await;
    page.is(200).has_not("yours was");
}

#[tokio::test(flavor = "multi_thread")]
async fn one_number_at_a_time_and_a_file_say_the_plate_too() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    // On the page of one number.
    pair.send(
        &format!("/my/{assignment}/entry/1"),
        &[
            ("m-1", "16.00"),
            ("c-1", "conforming"),
            ("plate", "SB-11-02"),
            ("sure", "yes"),
        ],
    )
    .await
    .is(200);
    let sheet = Sheet::open(&pair, assignment).await.fill("incomplete", "yes");
    let page = sheet.send(&pair, "hand-in").await;
    page.is(200)
        .has("You said that this is plate SB-11-02; yours was SB-11-01.");
    // Beside a file.
    let mut file = String::from("no;measured;call\n");
    for line in careful("SB-11-03").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        writeln!(file, "{};{};{}", cells[0], cells[1], cells[2]).unwrap();
    }
    let sheet = Sheet::open(&pair, assignment)
        .await
        .choose("report.csv", file.as_bytes());
    let page = sheet
        .fill("plate", "SB-11-03")
        .fill("incomplete", "yes")
        .send(&pair, "hand-in")
        .await;
    page.is(200)
        .has("You said that this is plate SB-11-03; yours was SB-11-01.");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_submissions_at_once_are_one_report() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let anna = site.pair("A").await;
    let aron = site.sign_in("aron", super::site::PIN).await;
    let csv = careful("SB-11-03");
    let typed = |sheet: Sheet| sheet.type_all(&csv).fill("plate", "SB-11-03").fill("incomplete", "yes");
    let one = typed(Sheet::open(&anna, assignment).await);
    let two = typed(Sheet::open(&aron, assignment).await);
    let (first, second) = tokio::join!(one.send(&anna, "hand-in"), two.send(&aron, "hand-in"));
    first.is(200);
    second.is(200);
    assert_eq!(first.path, second.path);
    // The same numbers said to be of another plate are not taken for it.
    let third = Sheet::open(&site.pair("B").await, assignment)
        .await
        .type_all(&csv)
        .fill("incomplete", "yes");
    third.send(&site.pair("B").await, "hand-in").await.is(200);
    let all = reports::of_assignment(&site.service.store, assignment).await.unwrap();
    let of_a = all.iter().filter(|r| r.pair_name == "A").count();
    assert_eq!((of_a, all.len()), (1, 2));
}
