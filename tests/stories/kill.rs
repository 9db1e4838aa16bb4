//! The server is killed (SIGKILL) at random moments while pairs keep drafts and hand in, some with remarks, a set-up record or a
//! photo: started again it has what was acknowledged, each thing whole or not at all, and the file is sound. Nobody but the
//! server opens the file between the kill and the start, so that it is the server that takes up its log. Ten rounds;
//! `PLATEMARK_KILL_ROUNDS=300` asks for more.

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
use platemark::report::model::Report;
use platemark::report::setup_record::SetUp;
use platemark::store::assignments::{Counting, Feedback};
use platemark::store::exercises;
use platemark::store::ids::AssignmentId;
use platemark::store::packed::Packed;
use platemark::store::people::Role;
use platemark::store::plates::Kind;
use platemark::store::{FILE_NAME, Store};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use reqwest::multipart::{Form, Part};
use sha2::{Digest, Sha256};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{Connection, Row, SqliteConnection};
use tokio::sync::Mutex;
use tokio::task::JoinSet;

use super::program::Running;
use super::site::{Browser, HOUR, PIN, person, shipped, typed};

/// Pairs that hand in at once.
const PAIRS: usize = 6;

/// Rounds on one assignment, so that its 99 attempts suffice.
const ROUNDS_EACH: usize = 5;

/// What was acknowledged.
#[derive(Default)]
struct Acknowledged {
    /// The value that only this report has, by the number of the report.
    reports: BTreeMap<i64, Value>,
    /// By pair the draft that must be there: kept, and nothing was sent after it.
    drafts: BTreeMap<usize, Value>,
}

type Told = Arc<Mutex<Acknowledged>>;

/// The first value of a report, which no other one has; what else comes with the report hangs on it alone, so that it is
/// known also of one that was not acknowledged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Value {
    pair: usize,
    number: usize,
}

impl Value {
    fn text(self) -> String {
        format!("{}.{:03}", 10 + self.pair, self.number)
    }

    fn read(text: &str) -> Self {
        let (pair, number) = text.split_once('.').unwrap();
        let value = Self {
            pair: pair.parse::<usize>().unwrap() - 10,
            number: number.parse().unwrap(),
        };
        assert_eq!(value.text(), text);
        value
    }

    fn remarks(self) -> String {
        let has = self.number.is_multiple_of(2);
        if has {
            format!("At {} the edge was dirty.", self.text())
        } else {
            String::new()
        }
    }

    fn temperature(self) -> String {
        let has = self.number.is_multiple_of(3);
        if has {
            format!("20.{:03}", self.number)
        } else {
            String::new()
        }
    }

    fn photo(self) -> Option<String> {
        (self.number % 4 < 2).then(|| format!("{}.jpg", self.text()))
    }

    /// Whether the draft is kept before it is handed in.
    const fn is_kept_first(self) -> bool {
        self.number.is_multiple_of(5) || self.number % 5 == 3
    }

    /// What is typed, with the values of a careful report after the first one.
    fn form(self, (key, attempt): (&str, usize), button: &str) -> Form {
        let csv = careful();
        let mut lines: Vec<String> = csv.lines().map(str::to_owned).collect();
        let cells: Vec<&str> = lines[1].split(',').collect();
        lines[1] = format!("{},{},{}", cells[0], self.text(), cells[2]);
        let beside = [
            ("remarks", self.remarks()),
            ("s-temperature", self.temperature()),
            // What is odd about the temperature is not asked about.
            ("incomplete", "yes".to_owned()),
        ];
        super::log::never_of_form("", beside.iter().map(|(name, text)| (*name, text.as_str())));
        let mut form = typed(key, &attempt.to_string(), &lines.join("\n")).text("do", button.to_owned());
        for (name, text) in beside {
            form = form.text(name, text);
        }
        form
    }
}

fn careful() -> String {
    shipped("SB-11/reports/SB-11-01--careful.csv")
}

/// A photo that no other report has.
fn photo(value: Value) -> Vec<u8> {
    let mut bytes = Vec::new();
    let [number, pair] = [value.number, value.pair].map(|n| u8::try_from(n % 256).unwrap());
    let picture = image::RgbImage::from_fn(96, 64, |x, _| image::Rgb([number, pair * 40, u8::try_from(x).unwrap()]));
    image::codecs::jpeg::JpegEncoder::new(&mut bytes)
        .encode_image(&picture)
        .unwrap();
    bytes
}

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
async fn keep_handing_in(browser: Browser, pair: usize, round: Round, told: Told) {
    let path = format!("/my/{}/entry", round.assignment);
    for n in 0.. {
        let value = Value {
            pair,
            number: round.number * 50 + n,
        };
        let of = (format!("{}-{n}", round.number), round.first[pair] + n);
        let form = |button| value.form((&of.0, of.1), button);
        if value.is_kept_first() {
            let Some(answer) = browser.try_send_files(&path, form("keep")).await else {
                return;
            };
            answer.is(200);
            told.lock().await.drafts.insert(pair, value);
        }
        let mut report = form("hand-in");
        if let Some(name) = value.photo() {
            report = report.part("evidence", Part::bytes(photo(value)).file_name(name));
        }
        // From here on the draft may be gone, with the report in its place.
        told.lock().await.drafts.remove(&pair);
        let Some(answer) = browser.try_send_files(&path, report).await else {
            return;
        };
        // The answer that acknowledges is the one that leads to the result.
        let Some(to) = answer.headers.get("location") else {
            return;
        };
        let report = to.to_str().unwrap().strip_prefix("/my/reports/").unwrap();
        told.lock().await.reports.insert(report.parse().unwrap(), value);
    }
}

/// A server with its pairs signed in.
struct Serving {
    server: Running,
    pairs: Vec<Browser>,
}

impl Serving {
    async fn start(data: &str) -> Self {
        let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
        let mut pairs = Vec::new();
        for n in 0..PAIRS {
            let browser = Browser::that_stays(&server.address());
            let fields = [("name", format!("s{n}")), ("secret", PIN.to_owned())];
            let fields = [0, 1].map(|i| (fields[i].0, fields[i].1.as_str()));
            browser.send("/sign-in", &fields).await.is(303);
            pairs.push(browser);
        }
        Self { server, pairs }
    }

    /// Kills the server when so many more reports are acknowledged and a moment has passed.
    async fn kill_after(self, reports: usize, moment: Duration, round: Round, told: &Told) {
        let Self { mut server, pairs } = self;
        let before = told.lock().await.reports.len();
        let mut working = JoinSet::new();
        for (n, browser) in pairs.into_iter().enumerate() {
            working.spawn(keep_handing_in(browser, n, round, Arc::clone(told)));
        }
        let begun = Instant::now();
        while told.lock().await.reports.len() < before + reports && begun.elapsed() < Duration::from_secs(20) {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        tokio::time::sleep(moment).await;
        server.child.kill().unwrap();
        server.child.wait().unwrap();
        working.join_all().await;
    }

    /// The last report of each pair that was acknowledged, on its page.
    async fn shows(&self, told: &Acknowledged) {
        for (n, browser) in self.pairs.iter().enumerate() {
            let last = told.reports.iter().rev().find(|(_, value)| value.pair == n);
            let Some((report, value)) = last else { continue };
            let page = browser.get(&format!("/my/reports/{report}")).await;
            page.is(200).has(&value.text()).has(&value.remarks());
            if let Some(name) = value.photo() {
                page.has(&format!("<bdi>{name}</bdi>"));
            }
        }
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
    async fn after(database: &mut SqliteConnection, assignment: AssignmentId, number: usize) -> Self {
        let mut first = [1; PAIRS];
        for (n, first) in first.iter_mut().enumerate() {
            let stored: i64 = sqlx::query_scalar(
                "select count(*) from report r join pair p on p.id = r.pair where r.assignment = ? and p.name = ?",
            )
            .bind(assignment)
            .bind(format!("P{n}"))
            .fetch_one(&mut *database)
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

/// Reads beside the server that runs, and can mend nothing.
async fn reader(file: &Path) -> SqliteConnection {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    SqliteConnection::connect_with(&options).await.unwrap()
}

/// Every stored report is whole: its numbers, its source, what was said beside it, and its photo.
async fn reports_are_whole(database: &mut SqliteConnection) -> BTreeMap<i64, Value> {
    let rows = sqlx::query(
        "select r.id, r.items, length(r.source_bytes) as bytes, n.report is not null as noted, n.remarks, n.set_up,
             (select json_group_array(e.name) from evidence e
              where e.assignment = r.assignment and e.pair = r.pair and e.attempt = r.attempt) as files
         from report r left join report_note n on n.report = r.id",
    )
    .fetch_all(database)
    .await
    .unwrap();
    let lines = careful().lines().count() - 1;
    let mut stored = BTreeMap::new();
    for row in &rows {
        let Report { items } = row.get::<Packed, _>("items").value().unwrap();
        assert_eq!(items.len(), lines);
        assert!(row.get::<i64, _>("bytes") > 0);
        let value = Value::read(&items[0].measured.as_ref().unwrap().to_string());
        let remarks: Option<String> = row.get("remarks");
        assert_eq!(remarks.unwrap_or_default(), value.remarks(), "{value:?}");
        let set_up: Option<String> = row.get("set_up");
        let set_up = set_up.map(|s| serde_json::from_str::<SetUp>(&s).unwrap());
        let temperature = set_up.and_then(|s| s.temperature).map(|t| t.to_string());
        assert_eq!(temperature.unwrap_or_default(), value.temperature(), "{value:?}");
        let says = !value.remarks().is_empty() || !value.temperature().is_empty();
        assert_eq!(row.get::<bool, _>("noted"), says, "{value:?}");
        let files: Vec<String> = serde_json::from_str(row.get("files")).unwrap();
        assert!(
            value.photo().is_none_or(|name| files.contains(&name)),
            "{value:?}: {files:?}"
        );
        stored.insert(row.get("id"), value);
    }
    stored
}

/// Every photo is whole, and none lies beside an attempt that no page shows.
async fn photos_are_whole(database: &mut SqliteConnection) -> usize {
    let rows = sqlx::query(
        "select e.name, e.size, e.sha256, b.bytes, e.attempt, (select count(*) from report r
             where r.assignment = e.assignment and r.pair = e.pair) as handed_in
         from evidence e left join evidence_bytes b on b.evidence = e.id",
    )
    .fetch_all(&mut *database)
    .await
    .unwrap();
    for row in &rows {
        let (name, bytes): (String, Vec<u8>) = (row.get("name"), row.get("bytes"));
        assert_eq!(row.get::<i64, _>("size"), i64::try_from(bytes.len()).unwrap(), "{name}");
        assert_eq!(
            row.get::<Vec<u8>, _>("sha256"),
            Sha256::digest(&bytes).to_vec(),
            "{name}"
        );
        image::load_from_memory(&bytes).unwrap();
        assert!(
            row.get::<i64, _>("attempt") <= row.get::<i64, _>("handed_in") + 1,
            "{name}"
        );
    }
    let alone: i64 =
        sqlx::query_scalar("select count(*) from evidence_bytes where evidence not in (select id from evidence)")
            .fetch_one(database)
            .await
            .unwrap();
    assert_eq!(alone, 0);
    rows.len()
}

/// Every draft is one that was sent, whole; by pair, of this assignment.
async fn drafts_are_whole(database: &mut SqliteConnection, assignment: AssignmentId) -> BTreeMap<usize, Value> {
    let rows = sqlx::query("select assignment, fields, versions from draft")
        .fetch_all(database)
        .await
        .unwrap();
    let mut drafts = BTreeMap::new();
    let no = careful().lines().nth(1).unwrap().split(',').next().unwrap().to_owned();
    for row in &rows {
        let fields: BTreeMap<String, String> = serde_json::from_str(row.get("fields")).unwrap();
        let versions: BTreeMap<String, serde_json::Value> = serde_json::from_str(row.get("versions")).unwrap();
        let value = Value::read(&fields[&format!("m-{no}")]);
        let typed = |name: &str| fields.get(name).cloned().unwrap_or_default();
        assert_eq!(typed("remarks"), value.remarks(), "{value:?}");
        assert_eq!(typed("s-temperature"), value.temperature(), "{value:?}");
        let written: Vec<&String> = fields
            .iter()
            .filter(|(_, text)| !text.is_empty())
            .map(|(name, _)| name)
            .collect();
        assert!(written.iter().all(|name| versions.contains_key(*name)), "{value:?}");
        assert!(written.len() >= careful().lines().count(), "{value:?}: {written:?}");
        if row.get::<i64, _>("assignment") == assignment.0 {
            drafts.insert(value.pair, value);
        }
    }
    drafts
}

/// What was acknowledged is stored, what is stored is whole, and the file is sound. How many photos there are.
async fn hold(database: &mut SqliteConnection, told: &Acknowledged, assignment: AssignmentId) -> usize {
    let said: String = sqlx::query_scalar("pragma integrity_check")
        .fetch_one(&mut *database)
        .await
        .unwrap();
    assert_eq!(said, "ok");
    let stored = reports_are_whole(database).await;
    for (report, value) in &told.reports {
        assert_eq!(stored.get(report), Some(value), "report {report} is lost");
    }
    let drafts = drafts_are_whole(database, assignment).await;
    for (pair, value) in &told.drafts {
        assert_eq!(drafts.get(pair), Some(value), "the draft of pair {pair} is lost");
    }
    // A draft ends with its report.
    for value in drafts.values() {
        let rows = sqlx::query_scalar::<_, Packed>("select items from report where assignment = ?");
        let reports = rows.bind(assignment).fetch_all(&mut *database).await.unwrap();
        let is_in = |packed: &Packed| {
            let Report { items } = packed.value().unwrap();
            items
                .iter()
                .filter_map(|i| i.measured.as_ref())
                .any(|m| m.as_str() == value.text())
        };
        assert!(!reports.iter().any(is_in), "{value:?} is a draft and a report");
    }
    photos_are_whole(database).await
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_acknowledged_is_lost_by_a_kill_at_any_moment_and_nothing_is_there_by_half() {
    let rounds: usize = std::env::var("PLATEMARK_KILL_ROUNDS").map_or(10, |n| n.parse().unwrap());
    let seed: u64 = rand::random();
    eprintln!("seed {seed}");
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let file = folder.path().join(FILE_NAME);
    let log = folder.path().join(format!("{FILE_NAME}-wal"));
    let assignments = school(folder.path(), rounds.div_ceil(ROUNDS_EACH)).await;
    let told = Told::default();
    let (mut photos, mut drafts, mut taken_up) = (0, 0, 0);
    let mut serving = Serving::start(data).await;
    for number in 0..rounds {
        let reports = random.random_range(0..9);
        let moment = Duration::from_micros(random.random_range(0..60_000));
        let assignment = assignments[number / ROUNDS_EACH];
        let mut database = reader(&file).await;
        let round = Round::after(&mut database, assignment, number % ROUNDS_EACH).await;
        database.close().await.unwrap();
        serving.kill_after(reports, moment, round, &told).await;
        // Until the server that comes next runs, nobody else opens the file.
        taken_up += usize::from(std::fs::metadata(&log).is_ok_and(|log| log.len() > 0));
        serving = Serving::start(data).await;
        let mut database = reader(&file).await;
        let mut told = told.lock().await;
        photos = hold(&mut database, &told, assignment).await;
        serving.shows(&told).await;
        drafts += told.drafts.len();
        // They were of this round's attempts.
        told.drafts.clear();
        database.close().await.unwrap();
    }
    assert!(serving.server.stop());
    let count = told.lock().await.reports.len();
    eprintln!(
        "{rounds} rounds, {count} reports acknowledged, {photos} photos stored, {drafts} drafts that had to be there, none lost"
    );
    assert_eq!(taken_up, rounds, "a kill left no log to take up");
    assert!(
        count > rounds && photos > 0,
        "too few reports came through to say anything"
    );
}
