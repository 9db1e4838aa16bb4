//! What was begun is brought to its end: when the browser goes away before the answer, when the server ends in between, and when
//! the disk did not take it at first.

use std::collections::BTreeMap;
use std::io::Write;
use std::net::TcpStream;
use std::sync::Arc;
use std::time::{Duration, Instant};

use platemark::actions::Service;
use platemark::actions::decide_faults;
use platemark::actions::grade_report::grade_report;
use platemark::actions::mark_by_hand::mark_by_hand;
use platemark::actions::regrade::{self, Change};
use platemark::exercise::model::MarksLine;
use platemark::grading::decided::Answer;
use platemark::store::assignments::Feedback;
use platemark::store::grades::{self, Grade};
use platemark::store::ids::{AssignmentId, PlateId, RegradeId, ReportId};
use platemark::store::{plates, regrades};
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};
use tokio::sync::Semaphore;

use super::site::{Browser, PIN, Site, filled, shipped};

const CAREFUL: &str = "SB-11/reports/SB-11-01--careful.csv";

/// The file of the school, opened beside the server.
async fn beside(site: &Site) -> SqliteConnection {
    let url = format!("sqlite:{}", site.database().display());
    SqliteConnection::connect(&url).await.unwrap()
}

async fn does(database: &mut SqliteConnection, statement: &'static str) {
    sqlx::raw_sql(AssertSqlSafe(statement)).execute(database).await.unwrap();
}

async fn grade(site: &Site, report: i64) -> Option<Grade> {
    grades::of(&site.service.store, ReportId(report)).await.unwrap()
}

/// Waits until this is so, at most half a minute.
async fn becomes(what: &str, is_so: impl AsyncFn() -> bool) {
    let until = Instant::now() + Duration::from_secs(30);
    while !is_so().await {
        assert!(Instant::now() < until, "not in half a minute: {what}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// A whole request that hands in, as a browser sends it.
fn request(path: &str, browser: &Browser, (key, attempt): (&str, &str), csv: &str) -> String {
    let part =
        |name: &str, text: &str| format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
    let mut body = part("key", key) + &part("attempt", attempt) + &part("do", "hand-in");
    for line in csv.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        body += &(part(&format!("m-{}", cells[0]), cells[1]) + &part(&format!("c-{}", cells[0]), cells[2]));
    }
    body += "--edge--\r\n";
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: x\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\n\
         content-type: multipart/form-data; boundary=edge\r\ncontent-length: {}\r\n\r\n",
        browser.token().unwrap(),
        body.len()
    );
    head + &body
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_graded_though_its_sender_went_away_before_the_answer() {
    let mut site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let path = format!("/my/{assignment}/entry");
    let form = pair.get(&path).await;
    let (key, attempt) = (form.field("key"), form.field("attempt"));
    let request = request(&path, &pair, (&key, &attempt), &shipped(CAREFUL));
    // While another program holds the file, the report waits to be stored, and its sender goes.
    let mut other = beside(&site).await;
    does(&mut other, "begin immediate").await;
    let mut stream = TcpStream::connect(site.address()).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    tokio::time::sleep(Duration::from_millis(700)).await;
    drop(stream);
    tokio::time::sleep(Duration::from_millis(700)).await;
    // Nor does a stop cut it off.
    let stop = async {
        let later = tokio::time::sleep(Duration::from_millis(500));
        later.await;
        does(&mut other, "rollback").await;
    };
    tokio::join!(site.close(), stop);
    let graded: i64 = sqlx::query_scalar("select count(*) from grade")
        .fetch_one(&mut other)
        .await
        .unwrap();
    assert_eq!(graded, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_report_once_more_gets_the_grade_that_the_first_one_did_not() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let path = format!("/my/{assignment}/entry");
    let form = pair.get(&path).await;
    let (key, attempt) = (form.field("key"), form.field("attempt"));
    let csv = shipped(CAREFUL);
    pair.send_files(&path, filled(&key, &attempt, &csv)).await.is(200);
    // As if whatever handled it had been cut off after it was stored.
    let mut other = beside(&site).await;
    does(&mut other, "delete from grade").await;
    assert!(grade(&site, 1).await.is_none());
    pair.send_files(&path, filled(&key, &attempt, &csv))
        .await
        .is(200)
        .has("attempt 1 of 2")
        .has_not("still being worked out");
    let first = grade(&site, 1).await.unwrap();
    // Where there is one it stays.
    pair.send_files(&path, filled(&key, &attempt, &csv)).await.is(200);
    assert_eq!(grade(&site, 1).await.unwrap().id, first.id);
}

#[tokio::test(flavor = "multi_thread")]
async fn using_the_pages_leaves_what_reports_are_graded_from_as_it_is() {
    let site = Site::open().await;
    site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let before = site.service.store.changes().unwrap();
    // Long enough after for the use to be noted.
    site.service.clock.put_forward(Duration::from_secs(120));
    pair.get("/my").await.is(200);
    let wrong = [("name", "anna"), ("secret", "not this")];
    site.stranger().send("/sign-in", &wrong).await.is(422);
    let other = site.sign_in("bela", PIN).await;
    other.send("/sign-out", &[]).await.is(200);
    assert_eq!(site.service.store.changes(), Some(before));
}

/// Report 1, handed in and graded; its assignment.
async fn one_report(site: &Site) -> AssignmentId {
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    pair.hand_in(assignment, &shipped(CAREFUL)).await.is(200);
    becomes("graded", async || grade(site, 1).await.is_some()).await;
    assignment
}

/// The same server with places of its own for computing, all taken: what is graded with it has read what it is graded from, and waits.
fn that_waits(site: &Site) -> Service {
    let mut service = site.service.clone();
    service.grading = Arc::new(Semaphore::new(0));
    service
}

/// Long enough for whatever does not wait to be through.
async fn a_while() {
    tokio::time::sleep(Duration::from_secs(2)).await;
}

const ALL_POINTS: [(&str, &str); 1] = [("points-0", "10")];

#[tokio::test(flavor = "multi_thread")]
async fn points_by_hand_that_are_given_while_a_report_is_graded_again_stay_in_its_mark() {
    let site = Site::open().await;
    let assignment = one_report(&site).await;
    let instructor = site.instructor().await;
    let before = grade(&site, 1).await.unwrap().mark;
    let slow = that_waits(&site);
    let id = regrade::decide(&slow, &Change::Again(assignment), site.instructor_id)
        .await
        .unwrap();
    let again = async {
        let (graded, ()) = tokio::join!(regrade::run(&slow, id), async {
            a_while().await;
            slow.grading.add_permits(8);
        });
        assert_eq!(graded.unwrap(), 1);
    };
    let marking = async {
        // After the regrading has read what it grades from.
        tokio::time::sleep(Duration::from_millis(500)).await;
        instructor.send("/reports/1/hand-marks", &ALL_POINTS).await
    };
    let ((), marked) = tokio::join!(again, marking);
    marked.is(200);
    let after = grade(&site, 1).await.unwrap().mark;
    assert_ne!(after, before);
    // It is what the stored points come to.
    grade_report(&site.service, ReportId(1)).await.unwrap();
    assert_eq!(grade(&site, 1).await.unwrap().mark, after);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_that_is_graded_again_by_a_new_revision_is_not_put_back_to_the_old_one() {
    let site = Site::open().await;
    one_report(&site).await;
    let (service, plate) = (&site.service, PlateId(1));
    // As after points by hand: by the revision that the report was graded with.
    let slow = that_waits(&site);
    let marking = async {
        let (graded, ()) = tokio::join!(grade_report(&slow, ReportId(1)), async {
            tokio::time::sleep(Duration::from_secs(3)).await;
            slow.grading.add_permits(8);
        });
        graded.unwrap();
    };
    let regrading = async {
        tokio::time::sleep(Duration::from_millis(500)).await;
        let (_, truth) = plates::newest_truth(&service.store, plate).await.unwrap().unwrap();
        let mut tx = service.store.change().await.unwrap();
        plates::add_truth(&mut tx, plate, &truth, service.clock.now(), None)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let id = regrade::decide(service, &Change::Reference(plate), site.instructor_id)
            .await
            .unwrap();
        regrade::run(service, id).await.unwrap();
    };
    tokio::join!(marking, regrading);
    assert_eq!(grade(&site, 1).await.unwrap().plate_number, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_that_is_stored_while_a_regrading_is_decided_on_is_one_of_it() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    // Nobody else writes while this is held: first the report waits for it, then the regrading.
    let service = &site.service;
    let held = service.store.change_beside().await.unwrap();
    let csv = shipped(CAREFUL);
    let sending = pair.hand_in(assignment, &csv);
    let deciding = async {
        a_while().await;
        // The draft, which is kept before the report, is let pass.
        let (held, ()) = tokio::join!(service.store.change_beside(), async { drop(held) });
        a_while().await;
        let change = Change::Again(assignment);
        let decided = regrade::decide(service, &change, site.instructor_id);
        let (decided, ()) = tokio::join!(decided, async {
            tokio::time::sleep(Duration::from_millis(500)).await;
            drop(held);
        });
        decided.unwrap()
    };
    let (sent, id) = tokio::join!(sending, deciding);
    sent.is(200);
    let lines = regrades::lines(&site.service.store, id).await.unwrap();
    assert_eq!(lines.iter().map(|l| l.report).collect::<Vec<_>>(), [ReportId(1)]);
    regrade::run(&site.service, id).await.unwrap();
    assert!(grade(&site, 1).await.is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_added_to_a_report_is_in_its_grade_though_the_server_ended_in_between() {
    let mut site = Site::open().await;
    one_report(&site).await;
    let first = grade(&site, 1).await.unwrap();
    let slow = that_waits(&site);
    let by = site.instructor_id;
    let lines = [MarksLine {
        name: "Plate deburred and cleaned, tip wiped, set-up shown to the instructor".to_owned(),
        points: 10.into(),
    }];
    let points = BTreeMap::from([(lines[0].name.clone(), 10.into())]);
    let marking = mark_by_hand(&slow, ReportId(1), &lines, &points, by);
    // The points are stored, and it ends before the grade is.
    assert!(tokio::time::timeout(Duration::from_secs(2), marking).await.is_err());
    assert_eq!(grade(&site, 1).await.unwrap().id, first.id);
    drop(slow);
    site.close().await;
    site.open_again().await;
    becomes("graded with the points", async || {
        grade(&site, 1).await.unwrap().mark != first.mark
    })
    .await;
    let second = grade(&site, 1).await.unwrap();

    // An answer to the one check likewise.
    let slow = that_waits(&site);
    let answer = Answer {
        extra: "face:A:0".parse().unwrap(),
        reading: "0.001".parse().unwrap(),
    };
    let answering = decide_faults::answer(&slow, ReportId(1), Some(&answer.extra), &answer, by);
    assert!(tokio::time::timeout(Duration::from_secs(2), answering).await.is_err());
    drop(slow);
    site.close().await;
    site.open_again().await;
    becomes("graded with the answer", async || {
        grade(&site, 1).await.unwrap().id != second.id
    })
    .await;
    // And nothing is left: the next start grades nothing.
    let third = grade(&site, 1).await.unwrap();
    assert!(grades::due(&site.service.store).await.unwrap().is_empty());
    site.close().await;
    site.open_again().await;
    a_while().await;
    assert_eq!(grade(&site, 1).await.unwrap().id, third.id);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_regrading_that_could_not_be_stored_goes_on_without_a_new_start() {
    let site = Site::open().await;
    let assignment = one_report(&site).await;
    let mut other = beside(&site).await;
    let no_more = "create trigger no_more before insert on grade begin select raise(abort, 'no more'); end";
    does(&mut other, no_more).await;
    let change = Change::Again(assignment);
    let id = regrade::begin(&site.service, &change, site.instructor_id)
        .await
        .unwrap();
    a_while().await;
    let open = async || regrades::open(&site.service.store).await.unwrap();
    assert_eq!(open().await, [id]);
    does(&mut other, "drop trigger no_more").await;
    becomes("finished", async || open().await.is_empty()).await;
    let lines = regrades::lines(&site.service.store, id).await.unwrap();
    assert!(lines.len() == 1 && lines[0].done, "{lines:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_regrading_is_brought_to_its_end_though_whoever_decided_on_it_was_cut_off() {
    let site = Site::open().await;
    let assignment = one_report(&site).await;
    let held = site.service.store.change_beside().await.unwrap();
    let change = Change::Again(assignment);
    let begun = regrade::begin(&site.service, &change, site.instructor_id);
    assert!(tokio::time::timeout(Duration::from_secs(1), begun).await.is_err());
    drop(held);
    becomes("finished", async || {
        let regrade = regrades::one(&site.service.store, RegradeId(1)).await.unwrap();
        regrade.is_some_and(|r| r.finished_at.is_some())
    })
    .await;
}
