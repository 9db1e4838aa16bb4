//! The instructor confirms, changes and rejects faults, and the mark follows; a pair answers the one check.

use platemark::store::assignments::Feedback;
use platemark::store::ids::AssignmentId;
use platemark::store::people::Role;

use super::site::{Answer, Browser, Site, entry, shipped};

const X: [&str; 5] = ["5", "6", "8", "10", "13"];

/// The careful report of the first plate with some values changed; what `edit` gives nothing for is left out.
pub(crate) fn edited(edit: impl Fn(&str, f64) -> Option<f64>) -> String {
    let text = shipped("SB-11/reports/SB-11-01--careful.csv");
    let mut out = String::from("no,measured,call\n");
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        if let Some(value) = edit(cells[0], cells[1].parse().unwrap()) {
            out.push_str(&format!("{},{value:.3},{}\n", cells[0], cells[2]));
        }
    }
    out
}

pub(crate) async fn report_of(browser: &Browser, assignment: AssignmentId, csv: &str) -> String {
    let path = format!("/my/{assignment}/entry");
    let form = entry(&browser.get(&path).await, csv).text("incomplete", "yes");
    let page = browser.send_files(&path, form).await;
    page.is(200).path.rsplit('/').next().unwrap().to_owned()
}

/// Presses a button among the faults of the report as its page shows it.
async fn press(browser: &Browser, report: &str, button: &str, fields: &[(&str, &str)]) -> Answer {
    let page = browser.get(&format!("/reports/{report}")).await;
    let grade = page.field("grade");
    let fields = [fields, &[("do", button), ("grade", &grade)]].concat();
    browser.send(&format!("/reports/{report}/faults"), &fields).await
}

/// The total of the receipt.
fn mark(page: &Answer) -> f64 {
    let foot = page.body.split("<tfoot>").nth(1).unwrap();
    let cell = foot.split("class=\"num\">").nth(1).unwrap().split('<').next().unwrap();
    let digits: String = cell.chars().filter(|c| c.is_ascii_digit() || *c == '.').collect();
    digits.parse().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn rejecting_a_fault_takes_its_follow_through_and_taking_back_gives_it_again() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = edited(|no, v| Some(if X.contains(&no) { v + 1.5 } else { v }));
    let report = report_of(&pair, assignment, &csv).await;
    let instructor = site.instructor().await;
    let page = instructor.get(&format!("/reports/{report}")).await;
    page.has("origin off along X by 1.50")
        .has("almost certain, more than 99 %");
    page.has("After correction").has("Charged once: origin off along X");
    let followed = mark(&page);
    pair.get(&format!("/my/reports/{report}"))
        .await
        .has("the origin along X");

    let page = press(&instructor, &report, "reject:0", &[]).await;
    page.is(200)
        .has("rejected: origin off along X")
        .has_not("Charged once")
        .has_not("After correction");
    let reported = mark(&page);
    assert!(reported < followed, "{reported} {followed}");
    pair.get(&format!("/my/reports/{report}"))
        .await
        .has_not("the origin along X");
    // Graded again, the word stands.
    instructor
        .send(&format!("/assignments/{assignment}/grade-again"), &[])
        .await
        .is(200);
    let page = instructor.get(&format!("/reports/{report}")).await;
    assert!((mark(&page) - reported).abs() < 1e-9);
    page.has("rejected: origin off along X; the computed mark is");

    let page = press(&instructor, &report, "take-back:1", &[]).await;
    page.is(200).has("took back what was said of faults");
    assert!((mark(&page) - followed).abs() < 1e-9);
    press(&instructor, &report, "take-back:1", &[])
        .await
        .is(422)
        .has("taken back already");

    let page = press(&instructor, &report, "confirm:0", &[]).await;
    page.is(200).has("confirmed: origin off along X");
    assert!((mark(&page) - followed).abs() < 1e-9);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fault_is_named_in_place_of_another_and_checked_at_its_field() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = edited(|no, v| Some(if X.contains(&no) { v + 1.5 } else { v }));
    let report = report_of(&pair, assignment, &csv).await;
    let instructor = site.instructor().await;
    let page = instructor.get(&format!("/reports/{report}?name=origin-shift")).await;
    page.is(200)
        .has("Confirm this fault")
        .has("Left empty it is worked out");
    let followed = mark(&page);
    let name = |amount: &'static str| {
        [
            ("family", "origin-shift"),
            ("axis", "y"),
            ("amount", amount),
            ("how", "instead"),
        ]
    };
    press(&instructor, &report, "name", &name("about 2"))
        .await
        .is(422)
        .has("Write a number in mm")
        .has("value=\"about 2\"");
    let page = press(&instructor, &report, "name", &name("0,25")).await;
    page.is(200)
        .has("confirmed: origin off along Y by 0.250 mm; rejected: origin off along X");
    let named = mark(&page);
    assert!(named < followed, "{named} {followed}");
    pair.get(&format!("/my/reports/{report}"))
        .await
        .has("the origin along Y")
        .has_not("the origin along X")
        .has_not("0.250");
    // A fault of a value that was not handed in cannot be, and nothing is stored.
    let slip = [("family", "sign-dropped"), ("item", "99"), ("how", "beside")];
    press(&instructor, &report, "name", &slip)
        .await
        .is(422)
        .has("Choose one of the list");
    let page = press(&instructor, &report, "take-back:1", &[]).await;
    assert!((mark(&page) - followed).abs() < 1e-9);
    // A page that is out of date says nothing.
    let stale = [("do", "reject:0"), ("grade", "1")];
    instructor
        .send(&format!("/reports/{report}/faults"), &stale)
        .await
        .is(422)
        .has("graded again meanwhile");
    let assistant = site.newcomer(Role::Assistant, "ussher").await;
    assistant
        .send(&format!("/reports/{report}/faults"), &stale)
        .await
        .is(403);
}

#[tokio::test(flavor = "multi_thread")]
async fn another_plate_counts_only_once_it_is_confirmed_and_the_pair_is_not_told() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let report = report_of(&pair, assignment, &shipped("SB-11/reports/SB-11-02--poor-calls.csv")).await;
    let instructor = site.instructor().await;
    let page = instructor.get(&format!("/reports/{report}")).await;
    page.has("values of plate SB-11-02").has("only once it is confirmed");
    let before = mark(&page);
    let page = press(&instructor, &report, "confirm:0", &[]).await;
    page.is(200)
        .has("confirmed: values of plate SB-11-02")
        .has("what the instructor has confirmed");
    assert!(mark(&page) > before, "{} {before}", mark(&page));
    instructor
        .send(&format!("/assignments/{assignment}/release"), &[])
        .await
        .is(200);
    pair.get(&format!("/my/reports/{report}"))
        .await
        .has_not("SB-11-02")
        .has("Mark:");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_one_check_tells_a_shifted_origin_from_one_wrong_value() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let (pair, instructor) = (site.pair("A").await, site.instructor().await);
    // One Y value alone, off by 0.9: either the origin or this one value.
    let csv = |more: f64| {
        edited(move |no, v| match no {
            "9" => Some(v + 0.9),
            "11" | "14" => None,
            "15" => Some(v + more),
            _ => Some(v),
        })
    };
    for (answer, told, not) in [
        ("0,897", "the origin along Y", "Number 9 is far from"),
        ("0.001", "Number 9 is far from", "the origin along Y"),
    ] {
        let more = if answer == "0.001" { 0.001 } else { 0.0 };
        let report = report_of(&pair, assignment, &csv(more)).await;
        let mine = format!("/my/reports/{report}");
        let page = pair.get(&mine).await;
        page.has("Touch the front face (datum B) again")
            .has("Y of the front face (datum B), mm");
        page.has_not(told).has_not(not);
        let page = instructor.get(&format!("/reports/{report}")).await;
        page.has("origin off along Y")
            .has("Also possible")
            .has("One check would tell");
        let reading = page.field("reading");
        let check = format!("{mine}/check");
        // While the pair is there, the bench says what to ask it for.
        let bench = format!("/classes/{}/bench", site.class);
        instructor
            .get(&bench)
            .await
            .has("One check would tell")
            .has("Touch the front face (datum B) again");
        pair.send(&check, &[("reading", &reading), ("value", "half")])
            .await
            .is(422)
            .has("Type the number that the display shows")
            .has("value=\"half\"");
        pair.send(&check, &[("reading", "face:A:0"), ("value", "1")])
            .await
            .is(422)
            .has("not asked for");
        site.pair("B")
            .await
            .send(&check, &[("reading", &reading), ("value", "1")])
            .await
            .is(404);
        let page = pair.send(&check, &[("reading", &reading), ("value", answer)]).await;
        page.is(200).has(told).has_not(not).has_not("One more reading");
        let page = instructor.get(&format!("/reports/{report}")).await;
        page.has("Read beside the sheet")
            .has("What explains the numbers:")
            .has("for the check");
        instructor.get(&bench).await.has_not("One check would tell");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_expected_is_shown_to_instructors() {
    let site = Site::open().await;
    let page = site.instructor().await.get("/priors").await;
    page.is(200)
        .has("no mistake")
        .has("75.0 %")
        .has("origin off along an axis")
        .has("within 2 mm in two of three cases");
    site.pair("A").await.get("/priors").await.is(403);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_print_can_tell_is_a_page_of_its_exercise() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    instructor
        .get("/exercises/1")
        .await
        .has("Which mistakes this print can tell");
    let page = instructor.get("/exercises/1/insight").await;
    page.is(200)
        .has("a shifted origin along X")
        .has("a skewed line at datum B")
        .has("every mistake from every other")
        .has("Sizes are estimates")
        .has("Try them on the diagnosis itself");
    let page = instructor.get("/exercises/1/insight?tried=1").await;
    page.is(200)
        .has("tried on the diagnosis itself, with 1 drawn report each")
        .has_not("Sizes are estimates");
    let pair = site.pair("A").await;
    pair.get("/exercises/1/insight").await.is(403);
    pair.get("/exercises/1/insight?tried=40").await.is(403);
}
