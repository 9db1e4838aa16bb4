//! The plate drawer: proposing, planting by hand, rounds and certificates, and grading again with before and after.

use std::time::Duration;

use platemark::actions::plate_state::{Saying, say_of_plate};
use platemark::actions::regrade::{self, Change};
use platemark::store::assignments::{self, Feedback};
use platemark::store::ids::{PlateId, ReportId};
use platemark::store::people::Role;
use platemark::store::{grades, plates, regrades};
use reqwest::multipart::Form;

use super::site::{Answer, Browser, Site, shipped};

const EXERCISE: &str = "/exercises/1";
const PLATE: &str = "/exercises/1/plates/1";

/// What plates are to be proposed: two, of which the shop says nothing.
const AIMS: [(&str, &str); 10] = [
    ("copies", "2"),
    ("nonconforming", "3"),
    ("close", "2"),
    ("share", "15"),
    ("apart", "3"),
    ("step", "0.001"),
    ("angle_step", "0.01"),
    ("wall", "1"),
    ("shop_uncertainty", ""),
    ("kind", "physical"),
];

/// A form sent as the browser would send the fields of a page.
async fn sent(browser: &Browser, path: &str, fields: &[(&str, &str)]) -> Answer {
    browser.send(path, fields).await
}

#[tokio::test(flavor = "multi_thread")]
async fn plates_are_proposed_looked_at_and_registered() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let path = format!("{EXERCISE}/plates/propose");
    instructor.get(&path).await.is(200).has("Nonconforming on each");
    let shown = sent(&instructor, &path, &[&AIMS[..], &[("do", "propose")]].concat()).await;
    shown
        .is(200)
        .has("SB-11-08")
        .has("SB-11-09")
        .has("Register these plates");
    // An aim that was changed since is proposed anew, not registered unseen.
    let (seed, print) = (shown.field("seed"), shown.field("print"));
    let register = [("do", "register"), ("seed", seed.as_str()), ("print", print.as_str())];
    let mut other = AIMS;
    other[1] = ("nonconforming", "4");
    sent(&instructor, &path, &[&other[..], &register].concat())
        .await
        .is(200)
        .has("Register these plates");
    instructor.get("/plates").await.has_not("SB-11-08");
    let registered = sent(&instructor, &path, &[&AIMS[..], &register].concat()).await;
    registered.is(200).has("SB-11-08").has("SB-11-09");
    let drawer = instructor.get("/plates").await;
    drawer.is(200).has("SB-11-08").has("physical");
    // What cannot be met is said at the field, and nothing typed is lost.
    let mut alike = AIMS;
    alike[0] = ("copies", "60");
    alike[4] = ("apart", "16");
    let said = sent(&instructor, &path, &[&alike[..], &[("do", "propose")]].concat()).await;
    said.is(422).has("two copies would be alike").has("value=\"60\"");
    alike[0] = ("copies", "many");
    let said = sent(&instructor, &path, &[&alike[..], &[("do", "propose")]].concat()).await;
    said.is(422).has("whole number").has("value=\"many\"");
    // Not for assistants, who never see what plates are.
    let assistant = site.newcomer(Role::Assistant, "ussher").await;
    assistant.get("/plates").await.is(403);
}

#[tokio::test(flavor = "multi_thread")]
async fn plates_that_nobody_has_measured_yet_are_named_where_they_are_assigned() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let assistant = site.assistant().await;
    let heading = "Plates to see to";
    let good = format!("/assignments/{}", site.assign(1, Feedback::Words).await);
    instructor.get(&good).await.is(200).has_not(heading);

    // Plates as the shop is to make them, which nobody has measured, take the place of all others.
    let measured = plates::in_service(&site.service.store, site.exercise, plates::Kind::Physical);
    let measured = measured.await.unwrap();
    let path = format!("{EXERCISE}/plates/propose");
    let shown = sent(&instructor, &path, &[&AIMS[..], &[("do", "propose")]].concat()).await;
    let (seed, print) = (shown.field("seed"), shown.field("print"));
    let register = [("do", "register"), ("seed", seed.as_str()), ("print", print.as_str())];
    sent(&instructor, &path, &[&AIMS[..], &register].concat()).await.is(200);
    for (plate, _) in measured {
        let said = say_of_plate(&site.service, plate, Saying::Withdrawn, site.instructor_id).await;
        said.unwrap();
    }
    let bad = format!("/assignments/{}", site.assign(1, Feedback::Words).await);
    instructor
        .get(&bad)
        .await
        .is(200)
        .has(heading)
        .has("Nothing is established yet: measure it")
        .has(">SB-11-08</a>, <a");
    instructor.get(&good).await.has_not(heading);
    assistant.get(&bad).await.is(200).has_not(heading);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plate_of_which_nothing_can_be_read_is_named_and_does_not_take_the_page_with_it() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let given = assignments::plates_of(&site.service.store, assignment).await.unwrap();
    let [(_, spoiled, named), (_, _, other)] = &given[..] else {
        panic!("each pair has a plate: {given:?}");
    };
    site.spoil_truths(Some(*spoiled)).await;
    let page = instructor.get(&format!("/assignments/{assignment}")).await;
    let (_, said) = page.is(200).body.split_once("Plates to see to").unwrap();
    let (said, _) = said.split_once("</ul>").unwrap();
    assert!(said.contains("What is known of it does not fit the exercise"), "{said}");
    assert!(said.contains(named) && !said.contains(other), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_drawer_knows_who_has_a_plate_and_what_became_of_it() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let drawer = format!("{PLATE}/drawer");
    let act = async |fields: &[(&str, &str)]| instructor.send(&drawer, fields).await;
    act(&[("act", "out"), ("holder", " ")])
        .await
        .is(422)
        .has("Write who takes the plate");
    act(&[("act", "out"), ("holder", "Pair A")])
        .await
        .is(200)
        .has("Out to <bdi>Pair A</bdi>");
    act(&[("act", "out"), ("holder", "Pair B")])
        .await
        .is(422)
        .has("out already");
    instructor.get("/plates").await.has("Pair A, since");
    act(&[("act", "in"), ("remark", "a burr on the riser")])
        .await
        .is(200)
        .has("took it in: a burr on the riser");
    act(&[("act", "in"), ("remark", "")])
        .await
        .is(422)
        .has("in the drawer already");
    act(&[("act", "place"), ("label", "blue dot"), ("place", "drawer 3")])
        .await
        .is(200)
        .has("drawer 3");
    act(&[("act", "withdraw"), ("why", "")])
        .await
        .is(422)
        .has("what happened");
    let page = act(&[("act", "withdraw"), ("why", "dropped on its corner")]).await;
    page.is(200).has("dropped on its corner").has("Put back in service");
    instructor
        .get("/plates")
        .await
        .has("withdrawn: dropped on its corner")
        .has("blue dot");
    act(&[("act", "put-back")]).await.is(200).has("in service");
    act(&[("act", "melt down")]).await.is(404);
}

#[tokio::test(flavor = "multi_thread")]
async fn plates_are_planted_by_hand() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let new = format!("{EXERCISE}/plates/new");
    instructor.get(&new).await.is(200).has("Serial number");
    let page = instructor
        .send(&new, &[("serial", "SB 11"), ("kind", "physical")])
        .await;
    page.is(422).has("as in SB-11-12").has("SB 11");
    let taken = instructor
        .send(&new, &[("serial", "SB-11-01"), ("kind", "physical")])
        .await;
    taken.is(422).has("already");
    let typed = [
        ("serial", "SB-11-77"),
        ("kind", "virtual"),
        ("p.hole-1.x", "0.09"),
        ("p.step-1.z", "one"),
    ];
    instructor
        .send(&new, &typed)
        .await
        .is(422)
        .has("as in 0.012")
        .has("value=\"one\"");
    let typed = [
        ("serial", "SB-11-77"),
        ("kind", "virtual"),
        ("p.hole-1.x", "0.09"),
        ("p.step-1.z", "0,02"),
    ];
    let page = instructor.send(&new, &typed).await;
    page.is(200).has("SB-11-77").has("16.0900").has("typed by hand");
    // A new revision of what is there; a diameter that leaves nothing is refused.
    let planted = format!("{}/planted", page.path);
    let form = instructor.get(&planted).await;
    form.is(200).has("value=\"0.09\"");
    let seen = form.field("seen");
    let nothing = [("seen", seen.as_str()), ("p.hole-1.diameter", "-9")];
    instructor.send(&planted, &nothing).await.is(422).has("othing is left");
    let changed = [("seen", seen.as_str()), ("p.hole-1.x", "-0.02")];
    instructor.send(&planted, &changed).await.is(200).has("15.9800");
    // Who saw the one before it is told.
    instructor
        .send(&planted, &changed)
        .await
        .is(409)
        .has("meanwhile")
        .has("value=\"-0.02\"");
}

/// Values of a round near those of the shipped plate SB-11-01.
fn round(shift: f64) -> Vec<(String, String)> {
    let plates: toml::Table = shipped("SB-11/plates.toml").parse().unwrap();
    let references = plates["plate"].as_array().unwrap()[0]["reference"]
        .as_table()
        .unwrap()
        .clone();
    references
        .iter()
        .map(|(no, r)| {
            (
                format!("v-{no}"),
                format!("{:.4}", r["value"].as_float().unwrap() + shift),
            )
        })
        .collect()
}

async fn enter(browser: &Browser, day: &str, values: &[(String, String)], table: &str) -> Answer {
    let mut form = Form::new();
    for (name, value) in [
        ("measured_on", day),
        ("operator", "O. Fennimar"),
        ("machine", "Machine North"),
        ("temperature", "20.3"),
        ("remark", ""),
        ("table", table),
    ] {
        form = form.text(name, value.to_owned());
    }
    for (name, value) in values {
        form = form.text(name.clone(), value.clone());
    }
    browser.send_files(&format!("{PLATE}/rounds/new"), form).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_round_that_cannot_be_is_told_at_its_fields() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    // What is wrong is said at the field, and nothing typed is lost.
    let bad = [
        ("v-8".to_owned(), "0.62".to_owned()),
        ("v-5".to_owned(), "fifty".to_owned()),
        ("v-2".to_owned(), "8.01".to_owned()),
    ];
    let page = enter(&instructor, "yesterday", &bad, "no,measured\n99,1.234\n").await;
    page.is(422)
        .has("as in 2026-11-03")
        .has("no number 99")
        .has("value=\"fifty\"")
        .has("O. Fennimar");
    let page = enter(&instructor, "2024-11-03", &[bad[0].clone(), bad[2].clone()], "").await;
    page.is(422).has("looks like inches").has("wrong sign");
    enter(&instructor, "2024-11-03", &[], "")
        .await
        .is(422)
        .has("at least one value");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_round_with_its_origin_on_the_wrong_step_is_asked_about_then_taken_and_told() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    for (day, shift) in [("2024-11-03", 0.0), ("2024-11-04", 0.0006), ("2024-11-05", -0.0006)] {
        enter(&instructor, day, &round(shift), "").await.is(200);
    }
    // 1.5 mm less wherever Y is in it: far beyond any tolerance.
    let csv: String = round(0.0)
        .iter()
        .map(|(no, v)| {
            let y = ["v-9", "v-11", "v-14"].contains(&no.as_str());
            let v: f64 = v.parse().unwrap();
            format!("{},{:.4}\n", no.trim_start_matches("v-"), if y { v - 1.5 } else { v })
        })
        .collect();
    let csv = format!("no,measured\n{csv}");
    let page = enter(&instructor, "2024-11-06", &[], &csv).await;
    page.is(422)
        .has("more than ten tolerances")
        .has("name=\"as-read\"")
        .has(csv.lines().nth(5).unwrap());
    // A slip of another kind is no such question.
    let below_zero = [("v-3".to_owned(), "-0.01".to_owned())];
    let page = enter(&instructor, "2024-11-06", &below_zero, "").await;
    page.is(422).has("is never below zero").has_not("name=\"as-read\"");
    let sure = [("as-read".to_owned(), "yes".to_owned())];
    // As a spreadsheet gives it, without headings.
    let bare = csv.replace("no,measured\n", "").replace(',', "\t");
    let page = enter(&instructor, "2024-11-06", &sure, &bare).await;
    page.is(200).has("2024-11-06").has("origin along Y").has("1.5");
}

#[tokio::test(flavor = "multi_thread")]
async fn rounds_make_a_reference_and_a_bad_one_is_named() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let rounds = format!("{PLATE}/rounds");
    instructor.get(&rounds).await.is(200).has("No round is entered yet");
    for (day, shift) in [("2024-11-03", 0.0), ("2024-11-04", 0.0006)] {
        enter(&instructor, day, &round(shift), "").await.is(200).has("Rounds");
        if day == "2024-11-03" {
            instructor
                .get(&rounds)
                .await
                .has("With one round nothing is known of the scatter");
        }
    }
    let csv: String = round(-0.0006)
        .iter()
        .map(|(no, v)| format!("{},{v}\n", no.trim_start_matches("v-")))
        .collect();
    let page = enter(&instructor, "2024-11-05", &[], &format!("no,measured\n{csv}")).await;
    page.is(200)
        .has("Agrees with the others")
        .has("scatter between rounds")
        .has("<svg")
        .has("combined");
    // The fourth has 0.08 less wherever Y is in it.
    let off: Vec<(String, String)> = round(0.0)
        .into_iter()
        .map(|(no, v)| {
            let y = ["v-9", "v-11", "v-14", "v-16"].contains(&no.as_str());
            let v: f64 = v.parse().unwrap();
            (no, format!("{:.4}", if y { v - 0.08 } else { v }))
        })
        .collect();
    let page = enter(&instructor, "2024-11-06", &off, "").await;
    page.is(200).has("Outlying at").has("Grubbs");
    let page = leave_out_the_last(&instructor, &page).await;
    page.is(200)
        .has("Left out: <bdi>wrong face for datum B</bdi>")
        .has_not("Outlying at");
    let accept = [
        ("seen", page.field("seen")),
        ("error", "0.001".to_owned()),
        ("corrected", "yes".to_owned()),
    ];
    let accept: Vec<(&str, &str)> = accept.iter().map(|(n, v)| (*n, v.as_str())).collect();
    let plate = instructor.send(&format!("{rounds}/accept"), &accept).await;
    plate
        .is(200)
        .has("mean of the rounds")
        .has("Good enough to teach with?");
    nobody_else_learns_who_measured(&site).await;
}

/// Leaves the last round out, with the field that the page has for why; first without a word and with too many.
async fn leave_out_the_last(instructor: &Browser, page: &Answer) -> Answer {
    let why = page
        .body
        .split("/rounds/")
        .filter_map(|p| p.split("/leave-out").next()?.parse::<i64>().ok())
        .max();
    let leave = format!("{PLATE}/rounds/{}/leave-out", why.unwrap());
    // The field is named as the page names it.
    let field = format!("why-{}", why.unwrap());
    page.has(&format!("name=\"{field}\""));
    instructor
        .send(&leave, &[(&field, "")])
        .await
        .is(422)
        .has("why the round is left out");
    let long = "x".repeat(201);
    instructor.send(&leave, &[(&field, &long)]).await.is(422).has(&long);
    instructor.send(&leave, &[(&field, "wrong face for datum B")]).await
}

async fn nobody_else_learns_who_measured(site: &Site) {
    site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    for path in ["/my", "/my/1", "/my/1/lab-sheet", "/my/1/entry"] {
        pair.get(path)
            .await
            .is(200)
            .has_not("Fennimar")
            .has_not("Machine North");
    }
    pair.get(&format!("{PLATE}/rounds")).await.is(403);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_certificate_is_typed_and_zero_is_no_uncertainty() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let path = format!("{PLATE}/certificate");
    let form = instructor.get(&path).await;
    form.is(200).has("value=\"-8.0105\"");
    let seen = form.field("seen");
    let typed = [
        ("seen", seen.as_str()),
        ("v-2", "-8.0101"),
        ("U-2", "0.002"),
        ("k-2", "2"),
    ];
    instructor
        .send(&path, &typed)
        .await
        .is(422)
        .has("number of the certificate");
    let zero = [
        ("certificate", "K-1"),
        ("seen", seen.as_str()),
        ("v-2", "-8.0101"),
        ("U-2", "0"),
        ("k-2", "2"),
    ];
    instructor
        .send(&path, &zero)
        .await
        .is(422)
        .has("nothing is measured without uncertainty");
    let typed = [&typed[..], &[("certificate", "K-1")]].concat();
    let page = instructor.send(&path, &typed).await;
    page.is(200).has("a certificate").has("\u{2212}8.0101");
    // Somebody who opened the form before that comes with a certificate of their own: theirs is not laid over the first.
    let late = [
        ("seen", seen.as_str()),
        ("v-2", "-8.0177"),
        ("U-2", "0.002"),
        ("k-2", "2"),
        ("certificate", "K-2"),
    ];
    let page = instructor.send(&path, &late).await;
    page.is(409).has("meanwhile").has("value=\"-8.0177\"").has("K-2");
    instructor.get(PLATE).await.has("\u{2212}8.0101").has_not("8.0177");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mean_is_not_made_the_reference_when_other_rounds_count_than_were_seen() {
    let site = Site::open().await;
    let (one, other) = (site.instructor().await, site.instructor().await);
    for (day, shift) in [("2024-11-03", 0.0), ("2024-11-04", 0.0006)] {
        enter(&one, day, &round(shift), "").await.is(200);
    }
    let seen = one.get(&format!("{PLATE}/rounds")).await;
    enter(&other, "2024-11-05", &round(0.012), "").await.is(200);
    let accept = [
        ("seen", seen.field("seen")),
        ("rounds", seen.field("rounds")),
        ("error", "0.001".to_owned()),
        ("corrected", "yes".to_owned()),
    ];
    let accept: Vec<(&str, &str)> = accept.iter().map(|(n, v)| (*n, v.as_str())).collect();
    let page = one.send(&format!("{PLATE}/rounds/accept"), &accept).await;
    page.is(409).has("meanwhile").has("2024-11-05").has("value=\"0.001\"");
    one.get(PLATE).await.has_not("mean of the rounds");
    // What is on the page now can be made the reference.
    let rounds = page.field("rounds");
    let again: Vec<(&str, &str)> = accept
        .iter()
        .map(|(n, v)| (*n, if *n == "rounds" { rounds.as_str() } else { *v }))
        .collect();
    let plate = one.send(&format!("{PLATE}/rounds/accept"), &again).await;
    plate.is(200).has("mean of the rounds");
}

/// Two reports handed in; returns the assignment.
async fn two_reports(site: &Site) -> i64 {
    let assignment = site.assign(1, Feedback::Words).await;
    for (pair, name) in [("A", "01--careful"), ("B", "02--poor-calls")] {
        let csv = shipped(&format!("SB-11/reports/SB-11-{name}.csv"));
        site.pair(pair).await.hand_in(assignment, &csv).await.is(200);
    }
    assignment.0
}

async fn mark_of(site: &Site, report: i64) -> Option<String> {
    grades::of(&site.service.store, ReportId(report))
        .await
        .unwrap()
        .unwrap()
        .mark
}

async fn finished(instructor: &Browser, path: &str) -> Answer {
    for _ in 0..200 {
        let page = instructor.get(path).await;
        if page.is(200).body.contains("Graded again</h1>") {
            return page;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    let page = instructor.get(path).await;
    page.has("Graded again</h1>");
    page
}

/// A certificate by which the height of the first step was wrong by 0.2.
async fn other_reference(instructor: &Browser) -> Answer {
    let path = format!("{PLATE}/certificate");
    let form = instructor.get(&path).await;
    let fields: Vec<(String, String)> = form
        .body
        .split("name=\"")
        .skip(1)
        .filter_map(|f| {
            let name = f.split('"').next()?.to_owned();
            let value = f.split("value=\"").nth(1)?.split('"').next()?.to_owned();
            let value = if name == "v-2" { "-7.81".to_owned() } else { value };
            ["v-", "U-", "k-", "seen"]
                .iter()
                .any(|p| name.starts_with(p))
                .then_some((name, value))
        })
        .chain([("certificate".to_owned(), "K-2".to_owned())])
        .collect();
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    instructor.send(&path, &fields).await
}

/// Plates are the school's, marks are the class's: whoever does not teach it learns how many change, and nothing else of them.
#[tokio::test(flavor = "multi_thread")]
async fn of_other_instructors_classes_a_regrading_says_only_how_many_marks_change() {
    let site = Site::open().await;
    two_reports(&site).await;
    let (ferro, oriel) = (site.instructor().await, site.newcomer(Role::Instructor, "oriel").await);
    let before = mark_of(&site, 1).await.unwrap();
    other_reference(&oriel).await.is(200);
    let path = format!("{PLATE}/regrade");
    let nothing_of_it = |page: &Answer, marks: &[&str]| {
        page.is(200)
            .has_not("Monday group")
            .has_not("Step block")
            .has_not("/reports/");
        for mark in marks {
            page.has_not(&format!(">{mark}<"));
        }
    };
    ferro
        .get(&path)
        .await
        .is(200)
        .has("Monday group")
        .has("/reports/1")
        .has(&format!(">{before}<"));
    let list = oriel.get(&path).await;
    list.has("In classes of other instructors 1 mark would change")
        .has("Grade all of them again");
    nothing_of_it(&list, &[&before]);
    let begun = oriel.send(&path, &[]).await;
    let done = finished(&oriel, &begun.path).await;
    let after = mark_of(&site, 1).await.unwrap();
    assert_ne!(before, after);
    done.has("1 of 1 report")
        .has("In classes of other instructors 1 mark changed");
    nothing_of_it(&done, &[&before, &after]);
    let theirs = ferro.get(&begun.path).await;
    theirs
        .is(200)
        .has("Monday group")
        .has(&format!(">{before}<"))
        .has(&format!(">{after}<"));
    theirs.has_not("other instructors");
    // Afterwards there is nothing to do; of that nothing is told but that.
    nothing_of_it(&oriel.get(&path).await, &[&after]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_reference_lists_marks_before_anybody_regrades() {
    let site = Site::open().await;
    let assignment = two_reports(&site).await;
    let instructor = site.instructor().await;
    let before = mark_of(&site, 1).await;
    instructor
        .get(&format!("{PLATE}/regrade"))
        .await
        .is(200)
        .has("No mark would change");
    let plate = other_reference(&instructor).await;
    plate.is(200).has("1 report was graded with an older revision");
    assert_eq!(mark_of(&site, 1).await, before);
    let list = instructor.get(&format!("{PLATE}/regrade")).await;
    list.is(200).has("1 mark would change").has(before.as_deref().unwrap());
    assert_eq!(mark_of(&site, 1).await, before, "looking changes nothing");
    // Marking a line by hand keeps the revision that the report was graded with.
    instructor.send("/reports/1/hand-marks", &[("p-0", "10")]).await;
    let kept = grades::of(&site.service.store, ReportId(1)).await.unwrap().unwrap();
    assert_eq!(kept.plate_number, 1);
    let done = instructor.send(&format!("{PLATE}/regrade"), &[]).await;
    let done = finished(&instructor, &done.path).await;
    done.has("1 of 1 report");
    let now = grades::of(&site.service.store, ReportId(1)).await.unwrap().unwrap();
    assert_eq!(now.plate_number, 2);
    assert_ne!(now.mark, kept.mark);
    instructor
        .get(&format!("/assignments/{assignment}"))
        .await
        .is(200)
        .has("new reference");
    instructor.get(PLATE).await.has_not("older revision");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_number_is_left_out_for_everybody_and_taken_in_again() {
    let site = Site::open().await;
    let assignment = two_reports(&site).await;
    let instructor = site.instructor().await;
    let before = [mark_of(&site, 1).await, mark_of(&site, 2).await];
    let page = format!("/assignments/{assignment}/regrade");
    instructor.get(&page).await.is(200).has("No mark would change");
    instructor
        .get(&format!("{page}?drop=yes&n-1=yes&why="))
        .await
        .is(422)
        .has("Say why");
    let all: String = (1..=17).map(|n| format!("&n-{n}=yes")).collect();
    instructor
        .get(&format!("{page}?drop=yes{all}&why=x"))
        .await
        .is(422)
        .has("No number would be left");
    instructor
        .get(&format!("{page}?drop=yes&n-99=yes&why=x"))
        .await
        .is(422)
        .has("no number 99");
    let list = instructor
        .get(&format!("{page}?drop=yes&n-1=yes&n-12=yes&why=burr"))
        .await;
    list.is(200).has("weight of 1, 12 left out").has("would change");
    let chosen = [("drop", "yes"), ("n-1", "yes"), ("n-12", "yes"), ("why", "burr")];
    let done = instructor.send(&page, &chosen).await;
    finished(&instructor, &done.path).await;
    let after = [mark_of(&site, 1).await, mark_of(&site, 2).await];
    assert_ne!(before, after);
    instructor
        .get("/reports/1")
        .await
        .has("Left out of the marks for everybody");
    // And back: what is shown is what comes.
    let done = instructor.send(&page, &[("drop", "yes"), ("why", "")]).await;
    finished(&instructor, &done.path).await;
    assert_eq!([mark_of(&site, 1).await, mark_of(&site, 2).await], before);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_stop_cut_off_goes_on_at_the_next_start() {
    let mut site = Site::open().await;
    two_reports(&site).await;
    let change = Change::Reference(PlateId(1));
    // Decided on and stored, and the server is gone before a report is graded.
    let id = regrade::decide(&site.service, &change, site.instructor_id)
        .await
        .unwrap();
    assert_eq!(regrades::open(&site.service.store).await.unwrap(), [id]);
    site.close().await;
    site.open_again().await;
    for _ in 0..200 {
        if regrades::open(&site.service.store).await.unwrap().is_empty() {
            let lines = regrades::lines(&site.service.store, id).await.unwrap();
            assert!(lines.len() == 1 && lines[0].done);
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("it never went on");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_assignment_is_graded_by_a_corrected_exercise() {
    let site = Site::open().await;
    let assignment = two_reports(&site).await;
    let instructor = site.instructor().await;
    let exercise = shipped("SB-11/exercise.toml").replacen("weight = 0.5", "weight = 4", 1);
    let file = platemark::actions::import_exercise::FileText {
        name: "exercise.toml",
        text: &exercise,
    };
    platemark::actions::import_exercise::import_exercise(&site.service, Some(site.instructor_id), file, None)
        .await
        .unwrap();
    let page = format!("/assignments/{assignment}/regrade");
    instructor.get(&format!("{page}?revision=9")).await.is(404);
    let list = instructor.get(&format!("{page}?revision=2")).await;
    list.is(200).has("by revision 2 of the exercise in place of revision 1");
    let done = instructor.send(&page, &[("revision", "2")]).await;
    finished(&instructor, &done.path).await;
    let now = grades::of(&site.service.store, ReportId(1)).await.unwrap().unwrap();
    assert_eq!(now.exercise_number, 2);
    assert!(
        plates::newest_truth(&site.service.store, PlateId(1))
            .await
            .unwrap()
            .is_some()
    );
}
