//! A pair hands in its report.

use std::collections::BTreeSet;
use std::sync::atomic::Ordering;

use platemark::store::assignments::Feedback;
use platemark::store::ids::{AssignmentId, PairId, PersonId, ReportId};

use platemark::actions::hand_in_report::{HandIn, HandedIn, hand_in_report};
use platemark::actions::load;
use platemark::actions::make_class::make_pair;
use platemark::report::model::Report;
use platemark::store::people::Role;
use platemark::store::reports::{Note, SourceKind};
use platemark::store::{assignments, end_of_term, gradebook, pairs, reports};

use super::entry::{Sheet, area};
use super::site::{HOUR, Site, entry, person, shipped};

fn careful() -> String {
    shipped("SB-11/reports/SB-11-01--careful.csv")
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_form_sent_twice_is_one_report() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let pair = site.pair("A").await;
    let form = pair.get(&format!("/my/{assignment}/entry")).await;
    let path = format!("/my/{assignment}/entry");
    let (one, other) = tokio::join!(
        pair.send_files(&path, entry(&form, &careful())),
        pair.send_files(&path, entry(&form, &careful()))
    );
    assert_eq!(one.is(200).path, other.is(200).path);
    let page = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    assert_eq!(page.body.matches("href=\"/reports/").count(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn both_partners_with_the_same_numbers_make_one_report() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let path = format!("/my/{assignment}/entry");
    let (anna, aron) = (site.pair("A").await, site.sign_in("aron", super::site::PIN).await);
    let (hers, his) = (anna.get(&path).await, aron.get(&path).await);
    let (one, other) = tokio::join!(
        anna.send_files(&path, entry(&hers, &careful())),
        aron.send_files(&path, entry(&his, &careful()))
    );
    assert_eq!(one.is(200).path, other.is(200).path);
}

/// The same numbers with other words beside them: one report, and what is not in it is not lost.
#[tokio::test(flavor = "multi_thread")]
async fn what_the_second_partner_writes_beside_the_same_numbers_is_not_lost() {
    const HERS: &str = "The edge at 4 was dirty.";
    const HIS: &str = "At 5 the tip was changed & calibrated.";
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let path = format!("/my/{assignment}/entry");
    let (anna, aron) = (site.pair("A").await, site.sign_in("aron", super::site::PIN).await);
    let open = async |browser| Sheet::open(browser, assignment).await.type_all(&careful());
    let hers = open(&anna).await.fill("remarks", HERS);
    let his = open(&aron).await;
    let result = hers.send(&anna, "hand-in").await;
    assert_eq!(result.is(200).path, "/my/reports/1");
    // Once more, as after an answer that was lost; and a partner who has nothing to add.
    for (sheet, browser) in [(&hers, &anna), (&his, &aron)] {
        assert_eq!(sheet.send(browser, "hand-in").await.is(200).path, "/my/reports/1");
    }
    aron.get(&path).await.is(200).has_not("value=\"0.022\"");

    let his = his.fill("remarks", HIS).fill("s-temperature", "20.4");
    for _ in 0..2 {
        let told = his.send(&aron, "hand-in").await;
        told.is(409).has("count once").has("/my/reports/1/query");
        assert_eq!(
            area(&told, "text"),
            format!("{HIS}\nTemperature of the plate, \u{b0}C: 20.4")
        );
        assert_eq!(area(&told, "remarks"), HIS);
        told.has("value=\"20.4\"")
            .has("value=\"0.022\"")
            .has("now for attempt 2 of 3");
        assert_eq!(reports_of(&site, assignment).await, 1);
    }
    // It is in the draft too, and the report is as it was.
    assert_eq!(area(aron.get(&path).await.is(200), "remarks"), HIS);
    aron.get("/my/reports/1").await.has(HERS).has_not("tip was changed");
    let instructor = site.instructor().await;
    instructor.get("/reports/1").await.has(HERS).has_not("tip was changed");
    // The button of the page sends it with the report, twice over a bad network.
    for _ in 0..2 {
        let sent = aron.send("/my/reports/1/query", &[("text", HIS)]).await;
        sent.is(200).has("At 5 the tip was changed");
    }
    let report = instructor.get("/reports/1").await;
    report.has("the tip was changed").has("answer-1").has_not("answer-2");
}

/// A part of a line may say the opposite of it.
#[tokio::test(flavor = "multi_thread")]
async fn a_remark_that_is_a_part_of_the_partners_is_not_lost() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let (anna, aron) = (site.pair("A").await, site.sign_in("aron", super::site::PIN).await);
    let open = async |browser| Sheet::open(browser, assignment).await.type_all(&careful());
    let (hers, his) = (open(&anna).await, open(&aron).await);
    let hers = hers.fill("remarks", "The plate was not clean at 4.\r\nIt was warm.");
    assert_eq!(hers.send(&anna, "hand-in").await.is(200).path, "/my/reports/1");
    let told = his.fill("remarks", "clean at 4").send(&aron, "hand-in").await;
    told.is(409).has("count once");
    assert_eq!(area(&told, "text"), "clean at 4");
    // A whole line of hers is nothing new.
    let same = open(&aron)
        .await
        .fill("attempt", "1")
        .fill("remarks", "It was  warm.\n");
    assert_eq!(same.send(&aron, "hand-in").await.is(200).path, "/my/reports/1");
}

/// Nobody is asked whether a report is meant to be incomplete that was handed in already, least of all where no attempt is left.
#[tokio::test(flavor = "multi_thread")]
async fn an_incomplete_report_that_a_partner_handed_in_is_not_asked_about_again() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (anna, aron) = (site.pair("A").await, site.sign_in("aron", super::site::PIN).await);
    let few: Vec<String> = careful().lines().take(4).map(str::to_owned).collect();
    let open = async |browser| Sheet::open(browser, assignment).await.type_all(&few.join("\n"));
    let (hers, his) = (open(&anna).await, open(&aron).await);
    hers.send(&anna, "hand-in").await.has("name=\"incomplete\"");
    let result = hers.fill("incomplete", "yes").send(&anna, "hand-in").await;
    assert_eq!(result.is(200).path, "/my/reports/1");
    let his = his.fill("remarks", "The edge was dirty.");
    let told = his.send(&aron, "hand-in").await;
    told.is(409)
        .has("count once")
        .has("No attempt is left")
        .has_not("name=\"incomplete\"");
    assert_eq!(area(&told, "text"), "The edge was dirty.");
    let no = few[1].split(',').next().unwrap();
    let other = his.fill(&format!("m-{no}"), "3.333").send(&aron, "hand-in").await;
    other
        .is(409)
        .has("other numbers were handed in before")
        .has_not("name=\"incomplete\"");
}

async fn reports_of(site: &Site, assignment: AssignmentId) -> usize {
    let page = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    page.is(200).body.matches("href=\"/reports/").count()
}

#[tokio::test(flavor = "multi_thread")]
async fn other_numbers_for_an_attempt_that_is_handed_in_are_not_stored_over_it() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let path = format!("/my/{assignment}/entry");
    let (anna, aron) = (site.pair("A").await, site.sign_in("aron", super::site::PIN).await);
    let (hers, his) = (anna.get(&path).await, aron.get(&path).await);
    anna.send_files(&path, entry(&hers, &careful())).await.is(200);
    let other = careful().replacen("1,0.022", "1,0.021", 1);
    assert_ne!(other, careful());
    let page = aron.send_files(&path, entry(&his, &other)).await;
    assert!(page.status.is_client_error(), "{}", page.status);
    let reports = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    assert_eq!(reports.body.matches("href=\"/reports/").count(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn after_the_last_attempt_nothing_is_taken() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let path = format!("/my/{assignment}/entry");
    let pair = site.pair("A").await;
    let form = pair.get(&path).await;
    pair.send_files(&path, entry(&form, &careful())).await.is(200);
    let page = pair.get(&path).await;
    assert!(page.status.is_client_error(), "{}", page.status);
    // The back button: the old form again, with other numbers.
    let other = careful().replacen("1,0.022", "1,0.021", 1);
    let page = pair.send_files(&path, entry(&form, &other)).await;
    assert!(page.status.is_client_error(), "{}", page.status);
    let reports = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    assert_eq!(reports.body.matches("href=\"/reports/").count(), 1);
}

/// Twenty students, each a pair of one.
async fn twenty_people(site: &Site) -> Vec<PersonId> {
    let mut people = Vec::new();
    for i in 0..20 {
        let student = person(&site.service, Role::Student, &format!("student-{i}")).await;
        let now = site.service.clock.now();
        make_pair(&site.service, site.class, &format!("P{i}"), &[student], now)
            .await
            .unwrap();
        people.push(student);
    }
    people
}

/// What comes of handing the same numbers in for one attempt, all at once: by person and key, with the person's pair.
async fn all_at_once(
    site: &Site,
    assignment: AssignmentId,
    (people, attempt): (Vec<(PersonId, &'static str)>, i64),
) -> Vec<(PairId, HandedIn)> {
    let store = &site.service.store;
    let stored = assignments::one(store, assignment).await.unwrap().unwrap();
    let exercise = load::exercise(&site.service, stored.exercise_revision).await.unwrap();
    let mut report = Report::blank(&exercise);
    for (item, c) in report.items.iter_mut().zip(&exercise.characteristics) {
        item.measured = Some(c.nominal.to_string().parse().unwrap());
    }
    let one = |(person, key)| {
        let (service, report) = (site.service.clone(), report.clone());
        tokio::spawn(async move {
            let mine = assignments::mine(&service.store, assignment, person).await;
            let mine = mine.unwrap().unwrap();
            let hand_in = HandIn {
                mine: &mine,
                person,
                attempt,
                key,
                report: &report,
                source_kind: SourceKind::Form,
                source_name: None,
                source_bytes: Vec::new(),
                note: Note::default(),
                plate: "",
            };
            (mine.pair, hand_in_report(&service, hand_in).await.unwrap())
        })
    };
    let tasks: Vec<_> = people.into_iter().map(one).collect();
    let mut all = Vec::new();
    for task in tasks {
        all.push(task.await.unwrap());
    }
    all
}

#[tokio::test(flavor = "multi_thread")]
async fn twenty_pairs_at_once_are_all_kept_and_graded() {
    let site = Site::open().await;
    let people = twenty_people(&site).await;
    let assignment = site.assign(2, Feedback::Words).await;
    // Each of them twice, with keys of their own.
    let twice = people.iter().flat_map(|person| [(*person, "one"), (*person, "two")]);
    let all = all_at_once(&site, assignment, (twice.collect(), 1)).await;
    assert_eq!(all.iter().filter(|(_, h)| !h.already).count(), 20);
    // Those that waited at the same moment share a transaction.
    let counts = site.service.store.writer().counts();
    assert!(counts.commits.load(Ordering::SeqCst) < counts.kept.load(Ordering::SeqCst));

    // A second attempt of all, half of them with the key that the first was kept under: those are what was handed in.
    let again = people.iter().zip(all.chunks(2)).enumerate().map(|(i, (person, two))| {
        let kept = if two[0].1.already { "two" } else { "one" };
        (*person, if i % 2 == 0 { kept } else { "three" })
    });
    let again = again.collect();
    let second = all_at_once(&site, assignment, (again, 2)).await;
    assert_eq!(second.iter().filter(|(_, h)| !h.already).count(), 10);
    for (pair, handed_in) in all.iter().chain(&second) {
        let report = reports::one(&site.service.store, handed_in.report).await.unwrap();
        assert_eq!(report.map(|r| r.pair), Some(*pair));
    }
    // A grade that takes longer than a pair waits for is finished all the same.
    let mut cells = Vec::new();
    for _ in 0..120 {
        let book = gradebook::of_class(&site.service.store, site.class).await.unwrap();
        cells = book.cells;
        if cells.iter().all(|c| c.graded == 1) {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    }
    assert_eq!(cells.len(), 30);
    assert!(cells.iter().all(|c| c.graded == 1 && c.mark.is_some()), "{cells:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_number_of_a_report_that_is_gone_is_never_given_again() {
    let site = Site::open().await;
    let people = twenty_people(&site).await;
    let assignment = site.assign(2, Feedback::Words).await;
    let gone = async || {
        let mut tx = site.service.store.change().await.unwrap();
        let now = site.service.clock.now();
        end_of_term::close_forgotten(&mut tx, site.class, now).await.unwrap();
        tx.commit().await.unwrap();
        let book = gradebook::of_class(&site.service.store, site.class).await.unwrap();
        assert_eq!(book.cells, []);
    };
    let first = all_at_once(&site, assignment, (vec![(people[0], "alone")], 1)).await;
    // One pair's numbers are somebody's, so they go with the names.
    gone().await;
    let alone = all_at_once(&site, assignment, (vec![(people[0], "again")], 1)).await;
    assert!(alone[0].1.report > first[0].1.report);
    gone().await;
    let together = people.iter().take(4).map(|person| (*person, "key")).collect();
    let together = all_at_once(&site, assignment, (together, 1)).await;
    assert!(
        together.iter().all(|(_, one)| one.report > alone[0].1.report),
        "{together:?}"
    );
    let numbers: BTreeSet<ReportId> = together.iter().map(|(_, one)| one.report).collect();
    assert_eq!(numbers.len(), 4);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pair_made_before_the_clock_was_set_back_works_on_and_keeps_its_report() {
    let site = Site::open().await;
    site.service.clock.put_forward(HOUR);
    let people = twenty_people(&site).await;
    let assignment = site.assign(2, Feedback::Words).await;
    site.service.clock.put_back(HOUR);
    let mine = assignments::of_student(&site.service.store, people[0], site.service.clock.now()).await;
    assert_eq!(mine.unwrap().len(), 1);
    let handed_in = all_at_once(&site, assignment, (vec![(people[0], "key")], 1)).await;
    let (pair, report) = (handed_in[0].0, handed_in[0].1.report);
    let is_by = async || reports::is_by(&site.service.store, report, people[0]).await.unwrap();
    assert!(is_by().await);
    // In another pair it is still theirs.
    let now = site.service.clock.now();
    let mut tx = site.service.store.change().await.unwrap();
    pairs::leave(&mut tx, site.class, people[0], now).await.unwrap();
    tx.commit().await.unwrap();
    make_pair(&site.service, site.class, "Q", &[people[0]], now)
        .await
        .unwrap();
    assert!(is_by().await);
    let mine = assignments::mine(&site.service.store, assignment, people[0]).await;
    assert_ne!(mine.unwrap().map(|m| m.pair), Some(pair));
}
