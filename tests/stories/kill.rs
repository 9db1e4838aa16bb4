//! The server is killed (SIGKILL) at random moments while pairs hand in: what was acknowledged is there, whole, and the
//! file is sound. Ten rounds; `PLATEMARK_KILL_ROUNDS=300` asks for more.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use platemark::actions::Service;
use platemark::actions::clock::Clock;
use platemark::actions::import_exercise::{FileText, import_exercise};
use platemark::actions::make_assignment::{Wanted, make_assignment};
use platemark::actions::make_class::{Wanted as WantedClass, make_class, make_pair};
use platemark::actions::sign_in::Lasting;
use platemark::actions::terms::Terms;
use platemark::store::assignments::{Counting, Feedback};
use platemark::store::exercises;
use platemark::store::ids::AssignmentId;
use platemark::store::people::Role;
use platemark::store::plates::Kind;
use platemark::store::{FILE_NAME, Store};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use sqlx::{Connection, Row, SqliteConnection};
use tokio::sync::Mutex;
use tokio::task::JoinSet;

use super::program::Running;
use super::site::{Browser, HOUR, PIN, filled, person, shipped};

/// Pairs that hand in at once.
const PAIRS: usize = 6;

/// Rounds on one assignment, so that its 99 attempts suffice.
const ROUNDS_EACH: usize = 5;

/// What was acknowledged: the value that only this report has, by the number of the report.
type Acknowledged = Arc<Mutex<BTreeMap<i64, String>>>;

pub(super) async fn school(folder: &Path, assignments: usize) -> Vec<AssignmentId> {
    let store = Store::open(folder).await.unwrap();
    let lasting = Lasting {
        idle: 2 * HOUR,
        longest: 12 * HOUR,
    };
    let service = Service::new(store, Clock::default(), lasting);
    let by = person(&service, Role::Instructor, "ferro").await;
    let wanted = WantedClass {
        name: "Monday group",
        term: "Spring",
        time_zone: "Europe/Dublin",
        by,
    };
    let class = make_class(&service, &wanted).await.unwrap();
    let since = service.clock.now().millisecond() - 3_600_000;
    for n in 0..PAIRS {
        let one = person(&service, Role::Student, &format!("s{n}")).await;
        make_pair(&service, class, &format!("P{n}"), &[one], since.into())
            .await
            .unwrap();
    }
    let texts = ["exercise.toml", "plates.toml"].map(|name| (name, shipped(&format!("SB-11/{name}"))));
    let [exercise, plates] = texts.each_ref().map(|(name, text)| FileText { name, text });
    let exercise = import_exercise(&service, Some(by), exercise, Some(plates))
        .await
        .unwrap();
    let revision = exercises::newest(&service.store, exercise.exercise)
        .await
        .unwrap()
        .unwrap();
    let mut made = Vec::new();
    for n in 0..assignments {
        let wanted = Wanted {
            class,
            exercise: (exercise.exercise, revision.id),
            plates: Kind::Physical,
            terms: Terms {
                title: &format!("Step block {n}"),
                opens_at: since.into(),
                due_at: (since + 7 * 86_400_000).into(),
                attempts: 99,
                counting: Counting::Best,
                late_grace_minutes: 0,
                late_percent_per_day: 10.into(),
                late_floor_percent: 50.into(),
                feedback: Feedback::Words,
            },
            marks: "",
            by,
        };
        made.push(make_assignment(&service, &wanted).await.unwrap().assignment);
    }
    service.store.close().await;
    made
}

/// One pair hands in report after report until the server is gone.
async fn keep_handing_in(pair: Browser, assignment: AssignmentId, name: usize, round: Round, told: Acknowledged) {
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv");
    let path = format!("/my/{assignment}/entry");
    for n in 0.. {
        let value = format!("{}.{:03}", 10 + name, round.number * 50 + n);
        let mut lines: Vec<String> = csv.lines().map(str::to_owned).collect();
        let cells: Vec<&str> = lines[1].split(',').collect();
        lines[1] = format!("{},{value},{}", cells[0], cells[2]);
        let report = filled(
            &format!("{}-{n}", round.number),
            &(round.first[name] + n).to_string(),
            &lines.join("\n"),
        );
        let Some(answer) = pair.try_send_files(&path, report).await else {
            return;
        };
        // The answer that acknowledges is the one that leads to the result.
        let Some(to) = answer.headers.get("location") else {
            return;
        };
        let report = to.to_str().unwrap().strip_prefix("/my/reports/").unwrap();
        told.lock().await.insert(report.parse().unwrap(), value);
    }
}

/// One round: the attempt with which each pair goes on.
#[derive(Clone, Copy)]
struct Round {
    number: usize,
    first: [usize; PAIRS],
    assignment: AssignmentId,
}

impl Round {
    /// Goes on where the one before was killed: what was stored may be more than what was acknowledged.
    async fn after(file: &Path, assignment: AssignmentId, number: usize) -> Self {
        let mut database = SqliteConnection::connect(&format!("sqlite:{}", file.display()))
            .await
            .unwrap();
        let mut first = [1; PAIRS];
        for (n, first) in first.iter_mut().enumerate() {
            let stored: i64 = sqlx::query_scalar(
                "select count(*) from report r join pair p on p.id = r.pair where r.assignment = ? and p.name = ?",
            )
            .bind(assignment)
            .bind(format!("P{n}"))
            .fetch_one(&mut database)
            .await
            .unwrap();
            *first = usize::try_from(stored).unwrap() + 1;
        }
        Self {
            number,
            first,
            assignment,
        }
    }
}

/// Kills the server when so many more reports are acknowledged and a moment has passed.
async fn kill_after(reports: usize, moment: Duration, data: &str, round: Round, told: &Acknowledged) {
    let before = told.lock().await.len();
    let mut server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    let mut pairs = JoinSet::new();
    for n in 0..PAIRS {
        let browser = Browser::that_stays(&server.address());
        let name = format!("s{n}");
        let told = Arc::clone(told);
        pairs.spawn(async move {
            let fields = [("name", name.as_str()), ("secret", PIN)];
            browser.send("/sign-in", &fields).await.is(303);
            move || keep_handing_in(browser, round.assignment, n, round, told)
        });
    }
    let ready = pairs.join_all().await;
    let mut working = JoinSet::new();
    for pair in ready {
        working.spawn(pair());
    }
    let begun = Instant::now();
    while told.lock().await.len() < before + reports && begun.elapsed() < Duration::from_secs(20) {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    tokio::time::sleep(moment).await;
    server.child.kill().unwrap();
    server.child.wait().unwrap();
    working.join_all().await;
}

/// Every acknowledged report is stored with its number, every stored report is whole, and the file is sound.
async fn hold(file: &Path, told: &BTreeMap<i64, String>) {
    let mut database = SqliteConnection::connect(&format!("sqlite:{}", file.display()))
        .await
        .unwrap();
    let said: String = sqlx::query_scalar("pragma integrity_check")
        .fetch_one(&mut database)
        .await
        .unwrap();
    assert_eq!(said, "ok");
    let rows = sqlx::query("select id, items, length(source_bytes) as bytes from report")
        .fetch_all(&mut database)
        .await
        .unwrap();
    let stored: BTreeMap<i64, String> = rows.iter().map(|row| (row.get("id"), row.get("items"))).collect();
    let lines = shipped("SB-11/reports/SB-11-01--careful.csv").lines().count() - 1;
    for row in &rows {
        let items: serde_json::Value = serde_json::from_str(row.get("items")).unwrap();
        assert_eq!(items["items"].as_array().unwrap().len(), lines);
        assert!(row.get::<i64, _>("bytes") > 0);
    }
    for (report, value) in told {
        assert!(stored.contains_key(report), "report {report} is lost");
        let items = &stored[report];
        assert!(items.contains(value.as_str()), "{report}: {value} is not in {items}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn no_acknowledged_report_is_lost_by_a_kill_at_any_moment() {
    let rounds: usize = std::env::var("PLATEMARK_KILL_ROUNDS").map_or(10, |n| n.parse().unwrap());
    let seed: u64 = rand::random();
    eprintln!("seed {seed}");
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let file = folder.path().join(FILE_NAME);
    let assignments = school(folder.path(), rounds.div_ceil(ROUNDS_EACH)).await;
    let told = Acknowledged::default();
    for number in 0..rounds {
        let reports = random.random_range(0..9);
        let moment = Duration::from_micros(random.random_range(0..60_000));
        let assignment = assignments[number / ROUNDS_EACH];
        let round = Round::after(&file, assignment, number % ROUNDS_EACH).await;
        kill_after(reports, moment, data, round, &told).await;
        hold(&file, &*told.lock().await).await;
    }
    let count = told.lock().await.len();
    eprintln!("{rounds} rounds, {count} reports acknowledged, none lost");
    assert!(count > rounds, "too few reports came through to say anything");
}
