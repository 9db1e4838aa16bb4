//! Accepting and grading at once, against the bare writer and against the time of one grade.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use platemark::actions::hand_in_report::{HandIn, accept, hand_in_report};
use platemark::exercise::file::read_plates;
use platemark::exercise::plate::Plate;
use platemark::grading::{GradeInput, diagnoser, grade_with};
use platemark::store::assignments::{self, Mine};
use platemark::store::ids::PersonId;
use platemark::store::reports::{Note, SourceKind};
use tokio::task::JoinSet;

use crate::processor::Spent;
use crate::school::{self, Samples, School};
use crate::{CLIENTS, Line, SPELL, bare, folder, ms, quantile};

/// Assignments, each with 99 attempts for each client: more than are handed in.
const ASSIGNMENTS: usize = 12;

async fn client(
    school: Arc<School>,
    (n, person): (usize, PersonId),
    graded: bool,
    samples: Arc<Samples>,
) -> Vec<Duration> {
    let begun = Instant::now();
    let now = school.service.clock.now();
    let mut times = Vec::new();
    for assignment in &school.assignments {
        let mine: Mine = assignments::mine(&school.service.store, *assignment, person, now)
            .await
            .unwrap()
            .unwrap();
        let serial = mine.serial.clone().unwrap();
        for attempt in mine.handed_in + 1..=99 {
            if begun.elapsed() >= SPELL {
                return times;
            }
            let (source, report) = school::sample(&samples, &serial, n, times.len());
            let key = format!("{attempt}");
            let hand_in = HandIn {
                mine: &mine,
                person,
                attempt,
                key: &key,
                report,
                source_kind: SourceKind::Csv,
                source_name: None,
                note: Note::default(),
                plate: "",
                source_bytes: source.clone().into_bytes(),
            };
            let start = Instant::now();
            if graded {
                hand_in_report(&school.service, hand_in).await.unwrap();
            } else {
                accept(&school.service, hand_in).await.unwrap();
            }
            times.push(start.elapsed());
        }
    }
    times
}

async fn rate(name: &str, graded: bool, samples: &Arc<Samples>) -> (f64, Vec<Duration>, String) {
    let school = Arc::new(school::make(&folder(name), CLIENTS, ASSIGNMENTS).await);
    let (begun, spent) = (Instant::now(), Spent::now());
    let mut clients = JoinSet::new();
    for one in school.students.clone().into_iter().enumerate() {
        clients.spawn(client(Arc::clone(&school), one, graded, Arc::clone(samples)));
    }
    let times = clients.join_all().await.concat();
    let rate = times.len() as f64 / begun.elapsed().as_secs_f64();
    let spent = Spent::now().each_since(spent, times.len());
    let counts = school.service.store.writer().counts();
    let jobs = counts.kept.load(Ordering::Relaxed) as f64;
    let spent = format!(
        "{spent}; {:.1} in a transaction",
        jobs / counts.commits.load(Ordering::Relaxed) as f64
    );
    (rate, times, spent)
}

/// Mean time of the processor for one grade, of the same reports, with everything about their plates prepared: on one core,
/// and on all of them at once, where they share caches and perhaps more.
fn time_of_a_grade(samples: &Samples) -> (Duration, Duration) {
    let exercise = school::exercise();
    let plates = read_plates("plates.toml", &school::shipped("plates.toml"), &exercise)
        .0
        .unwrap();
    let siblings: Vec<Plate> = plates.plates.clone();
    let none = BTreeMap::new();
    let looking: Vec<_> = siblings.iter().map(|p| diagnoser(&exercise, p, &siblings)).collect();
    let on = |cores: usize| {
        let spent = Spent::now();
        let grade = |core: usize| {
            let (begun, mut count) = (Instant::now(), 0);
            while begun.elapsed() < SPELL / 2 {
                let at = (core + count) % siblings.len();
                let plate = &siblings[at];
                let input = GradeInput {
                    name: "r",
                    exercise: &exercise,
                    plate,
                    rules: &exercise.marks,
                    report: &school::sample(samples, plate.serial.as_str(), core, count / siblings.len()).1,
                    hand_marks: &none,
                    siblings: &siblings,
                    decided: &platemark::grading::decided::UNDECIDED,
                    set_up: None,
                };
                std::hint::black_box(grade_with(&input, looking[at].as_ref()));
                count += 1;
            }
            count
        };
        let count: usize = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..cores).map(|core| scope.spawn(move || grade(core))).collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).sum()
        });
        Spent::now().all_since(spent) / u32::try_from(count).unwrap()
    };
    (on(1), on(cores()))
}

fn cores() -> usize {
    std::thread::available_parallelism().unwrap().get()
}

/// Grades alone, for looking at where their time goes.
pub(crate) async fn graded() -> Line {
    graded_of(&Arc::new(school::samples())).await
}

pub(crate) async fn measure() -> Vec<Line> {
    let samples: Arc<Samples> = Arc::new(school::samples());
    let (source, report) = &samples.values().next().unwrap()[0];
    let items = serde_json::to_string(report).unwrap();
    let (bare_rate, mut bare_times, bare_spent) = bare::rate(&folder("bare"), &items, source.as_bytes()).await;
    let (rate_accepted, mut times, spent) = rate("accepted", false, &samples).await;
    let ratio = rate_accepted / bare_rate;
    let mut lines = vec![Line::new(
        format!("reports accepted and durable, {CLIENTS} clients"),
        format!("{rate_accepted:.0} a second; {spent}"),
        format!("{ratio:.2} of the bare insert's {bare_rate:.0}; {bare_spent}"),
        ">= 0.50",
        ratio >= 0.5,
    )];
    let (p99, bare_p99) = (quantile(&mut times, 0.99), quantile(&mut bare_times, 0.99));
    let ratio = p99.as_secs_f64() / bare_p99.as_secs_f64();
    lines.push(Line::new(
        "the same, p99 of one",
        ms(p99),
        format!("{ratio:.2} x the bare insert's {}", ms(bare_p99)),
        "<= 2",
        ratio <= 2.0,
    ));
    lines.push(graded_of(&samples).await);
    lines
}

async fn graded_of(samples: &Arc<Samples>) -> Line {
    let (one, beside_others) = time_of_a_grade(samples);
    let cores = cores();
    let (graded, _, spent) = rate("graded", true, samples).await;
    let most = cores as f64 / one.as_secs_f64();
    let ratio = graded / most;
    Line::new(
        format!("accepted and graded with diagnosis, {CLIENTS} clients"),
        format!("{graded:.0} a second; {spent}"),
        format!(
            "{ratio:.2} of {cores} cores / {:.2} ms; on {cores} cores at once a grade takes {:.2} ms",
            one.as_secs_f64() * 1e3,
            beside_others.as_secs_f64() * 1e3,
        ),
        ">= 0.80",
        ratio >= 0.8,
    )
}
