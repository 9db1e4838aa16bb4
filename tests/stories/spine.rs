//! The whole way once: an instructor brings an exercise in and assigns it, pairs hand in, the instructor reads the
//! gradebook and a report, marks by hand and releases, and the pairs see their marks.

use std::time::Duration;

use platemark::store::ids::AssignmentId;
use reqwest::multipart::{Form, Part};

use super::entry::Sheet;
use super::site::{Answer, Browser, Site, shipped};

/// The first number of a path like `/assignments/7` in a page.
fn number(page: &Answer, path: &str) -> i64 {
    let rest = page.body.split(path).nth(1).unwrap();
    rest.split(|c: char| !c.is_ascii_digit())
        .next()
        .unwrap()
        .parse()
        .unwrap()
}

const CAREFUL: &str = "JP-14/reports/JP-14-01--careful.csv";

fn part(name: &str) -> Part {
    Part::text(shipped(&format!("JP-14/{name}"))).file_name(name.to_owned())
}

/// The exercise's id after its import.
async fn import(instructor: &Browser) -> String {
    let files = Form::new()
        .part("exercise", part("exercise.toml"))
        .part("plates", part("plates.toml"));
    let page = instructor.send_files("/exercises/import", files).await;
    page.is(200).has("JP-14</a> is imported");
    number(&page, "/exercises/").to_string()
}

/// The page of the new assignment.
async fn assign(instructor: &Browser, class: &str, exercise: &str) -> Answer {
    let form = instructor.get(&format!("{class}/assign")).await;
    let (opens, due) = (form.field("opens"), form.field("due"));
    let fields = [
        ("exercise", exercise),
        ("plates", "physical"),
        ("title", "Jig plate, first try"),
        ("opens", opens.as_str()),
        ("due", due.as_str()),
        ("attempts", "2"),
        ("counting", "last"),
        ("grace", "0"),
        ("per_day", "10"),
        ("floor", "50"),
        ("feedback", "words"),
    ];
    let page = instructor.send(&format!("{class}/assign"), &fields).await;
    page.is(200)
        .has("0 of 2 pairs have handed in")
        .has("JP-14-01")
        .has("JP-14-02");
    page
}

/// Pair A types, a slip first, then the whole sheet; pair B takes its file. What each then sees.
async fn hand_in(instructor: &Browser, path: &str, assignment: AssignmentId, a: &Browser, b: &Browser) -> [Answer; 2] {
    let careful = shipped(CAREFUL);
    let sheet = Sheet::open(a, assignment)
        .await
        .type_all(&careful)
        .fill("m-1", "twelve");
    sheet.send(a, "hand-in").await.is(422).has("“twelve” is not a number");
    instructor.get(path).await.has("0 of 2 pairs have handed in");
    let typed = Sheet::open(a, assignment)
        .await
        .type_all(&careful)
        .send(a, "hand-in")
        .await;
    typed
        .is(200)
        .has("values agree with the plate")
        .has("The mark appears here when");
    let poor = shipped("JP-14/reports/JP-14-02--poor-calls.csv");
    let sheet = Sheet::open(b, assignment).await.choose("poor.csv", poor.as_bytes());
    let uploaded = sheet.send(b, "hand-in").await;
    uploaded.is(200).has("not what the rule makes of it");
    [typed, uploaded]
}

#[tokio::test(flavor = "multi_thread")]
async fn from_the_exercise_file_to_the_released_mark() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let exercise = import(&instructor).await;
    assert_ne!(exercise, site.exercise.to_string());

    let class = format!("/classes/{}", site.class);
    let page = assign(&instructor, &class, &exercise).await;
    let path = page.path.clone();
    let assignment = AssignmentId(path.rsplit('/').next().unwrap().parse().unwrap());
    site.service.clock.put_forward(Duration::from_secs(60));

    let (a, b) = (site.pair("A").await, site.pair("B").await);
    a.get("/my").await.is(200).has("Jig plate, first try").has("JP-14-01");
    a.get(&format!("/my/{assignment}/lab-sheet")).await.is(200).has("<svg");
    let [typed, uploaded] = hand_in(&instructor, &path, assignment, &a, &b).await;

    // The instructor reads both; by hand the first gets all points, the second those of one line.
    instructor.get(&path).await.has("2 of 2 pairs have handed in");
    let [report_a, report_b] = [&typed, &uploaded].map(|r| r.path.replacen("/my", "", 1));
    for (report, words) in [
        (&report_a, ["Pair A", "typed"]),
        (&report_b, ["Pair B", "file poor.csv"]),
    ] {
        let page = instructor.get(report).await;
        page.is(200).has(words[0]).has(words[1]).has("<svg");
    }
    let full = [("points-0", "5"), ("points-1", "5")];
    instructor.send(&format!("{report_a}/hand-marks"), &full).await.is(200);
    let part = [("points-0", "2.5"), ("points-1", "")];
    instructor.send(&format!("{report_b}/hand-marks"), &part).await.is(200);

    // A careful pair on a plate that is known: 90 points by the machine and 10 by hand.
    let gradebook = instructor.get(&format!("{class}/gradebook")).await;
    let mark = |report: &str| {
        let cell = gradebook.body.split(&format!("<a href=\"{report}\">")).nth(1).unwrap();
        cell.split('<').next().unwrap().to_owned()
    };
    let (mark_a, mark_b) = (mark(&report_a), mark(&report_b));
    let value = |mark: &str| mark.parse::<f64>().unwrap();
    assert!(
        value(&mark_a) > 95.0 && value(&mark_b) < value(&mark_a),
        "{mark_a} {mark_b}"
    );

    // Released, each pair sees its own mark and only that.
    a.get(&typed.path).await.has_not(" of 100");
    instructor.send(&format!("{path}/release"), &[]).await.is(200);
    for (pair, result, mark) in [(&a, &typed, &mark_a), (&b, &uploaded, &mark_b)] {
        let page = pair.get(&result.path).await;
        page.is(200).has(&format!("<span class=\"num\">{mark}</span> of 100"));
    }
    a.get(&uploaded.path).await.is(404);

    // The second attempt counts, being the last.
    let worse = shipped(CAREFUL)
        .replace("conforming", "undecided")
        .replace("nonundecided", "undecided");
    let again = Sheet::open(&a, assignment)
        .await
        .type_all(&worse)
        .send(&a, "hand-in")
        .await;
    again.is(200).has("attempt 2 of 2");
    let gradebook = instructor.get(&format!("{class}/gradebook")).await;
    gradebook.has(&format!("<a href=\"{}\">", again.path.replacen("/my", "", 1)));
}
