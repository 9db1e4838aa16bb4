//! Accepting and grading at once, against the bare writer and against the time of one grade.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use platemark::actions::hand_in_report::{HandIn, accept, hand_in_report};
use platemark::exercise::file::read_plates;
use platemark::exercise::plate::Plate;
use platemark::grading::{GradeInput, diagnoser, grade_with};
use platemark::store::assignments::{self, Mine};
use platemark::store::ids::PersonId;
use platemark::store::reports::{Note, SourceKind};

use crate::processor::Spent;
use crate::school::{self, Samples, School};
use crate::{CLIENTS, Line, SPELL, bare, folder, ms, quantile};

/// Assignments, each with 99 attempts for each client: more than are handed in.
const ASSIGNMENTS: usize = 24;

/// How often grades alone and reports that are handed in and graded take turns: a machine that others use too may be twice as fast
/// half a minute later.
const TURNS: u32 = 12;

/// How long clients hand in before it is counted: until then some wait for nobody and others for what is not there yet.
const WARM: Duration = Duration::from_millis(300);

/// How many were handed in in a spell so far, and whether that is enough.
#[derive(Default)]
struct Tally {
    count: AtomicUsize,
    is_enough: AtomicBool,
}

/// Hands in one after another until it is enough; `before`: how many this client did already.
async fn client(
    school: Arc<School>,
    (n, person): (usize, PersonId),
    (graded, before): (bool, usize),
    (samples, tally): (Arc<Samples>, Arc<Tally>),
) -> Vec<Duration> {
    let mut times = Vec::new();
    for assignment in &school.assignments {
        let mine: Mine = assignments::mine(&school.service.store, *assignment, person)
            .await
            .unwrap()
            .unwrap();
        let serial = mine.serial.clone().unwrap();
        for attempt in mine.handed_in + 1..=99 {
            if tally.is_enough.load(Ordering::Relaxed) {
                return times;
            }
            let (source, report) = school::sample(&samples, &serial, n, before + times.len());
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
            tally.count.fetch_add(1, Ordering::Relaxed);
        }
    }
    panic!("more was handed in than there are attempts: ASSIGNMENTS is too small")
}

/// What came of handing in, by all clients at once, in one spell or several.
struct Rate {
    school: Arc<School>,
    graded: bool,
    /// By client.
    times: Vec<Vec<Duration>>,
    /// While it was counted.
    count: usize,
    elapsed: Duration,
    spent: Spent,
}

impl Rate {
    async fn of(name: &str, graded: bool) -> Self {
        let school = Arc::new(school::make(&folder(name), CLIENTS, ASSIGNMENTS).await);
        Self {
            school,
            graded,
            times: vec![Vec::new(); CLIENTS],
            count: 0,
            elapsed: Duration::ZERO,
            spent: Spent::default(),
        }
    }

    async fn spell(&mut self, spell: Duration, samples: &Arc<Samples>) {
        let tally = Arc::new(Tally::default());
        let mut clients = Vec::new();
        for (one, before) in self.school.students.clone().into_iter().enumerate().zip(&self.times) {
            let how = (self.graded, before.len());
            clients.push(tokio::spawn(client(
                Arc::clone(&self.school),
                one,
                how,
                (Arc::clone(samples), Arc::clone(&tally)),
            )));
        }
        let now = || (tally.count.load(Ordering::Relaxed), Instant::now(), Spent::now());
        tokio::time::sleep(WARM).await;
        let (before, begun, spent) = now();
        tokio::time::sleep(spell).await;
        let (count, ended, all) = now();
        self.count += count - before;
        self.elapsed += ended - begun;
        self.spent = self.spent.plus(all.since(spent));
        tally.is_enough.store(true, Ordering::Relaxed);
        for (client, times) in clients.into_iter().zip(&mut self.times) {
            times.extend(client.await.unwrap());
        }
        // What is searched behind the grades is not to run beside what is measured next.
        self.school.service.searches.settled().await;
    }

    fn per_second(&self) -> f64 {
        self.count as f64 / self.elapsed.as_secs_f64()
    }

    fn spent(&self) -> String {
        let counts = self.school.service.store.writer().counts();
        let jobs = counts.kept.load(Ordering::Relaxed) as f64;
        format!(
            "{}; {:.1} in a transaction",
            self.spent.each(self.count),
            jobs / counts.commits.load(Ordering::Relaxed) as f64
        )
    }
}

/// Grades and the processors' time for them.
#[derive(Clone, Copy, Default)]
struct Grades(usize, Duration);

impl Grades {
    fn add(&mut self, more: Self) {
        *self = Self(self.0 + more.0, self.1 + more.1);
    }

    fn each(self) -> Duration {
        self.1 / u32::try_from(self.0).unwrap()
    }
}

/// Grades of the same reports, client by client, with everything about their plates prepared: on one core, and on all of them at
/// once, where they share caches and perhaps more. What they take differs a hundredfold, so no turn grades those of another.
fn time_of_grades(samples: &Samples, spell: Duration, done: &mut usize) -> (Grades, Grades) {
    let exercise = school::exercise();
    let plates = read_plates("plates.toml", &school::shipped("plates.toml"), &exercise)
        .0
        .unwrap();
    let siblings: Vec<Plate> = plates.plates.clone();
    let none = BTreeMap::new();
    let looking: Vec<_> = siblings.iter().map(|p| diagnoser(&exercise, p, &siblings)).collect();
    let mut on = |cores: usize| {
        let spent = Spent::now();
        let next = AtomicUsize::new(*done);
        let grade = || {
            let begun = Instant::now();
            while begun.elapsed() < spell {
                let report = next.fetch_add(1, Ordering::Relaxed);
                let client = report % CLIENTS;
                let at = client % siblings.len();
                let plate = &siblings[at];
                let input = GradeInput {
                    name: "r",
                    exercise: &exercise,
                    plate,
                    rules: &exercise.marks,
                    report: &school::sample(samples, plate.serial.as_str(), client, report / CLIENTS).1,
                    hand_marks: &none,
                    siblings: &siblings,
                    decided: &platemark::grading::decided::UNDECIDED,
                    set_up: None,
                };
                std::hint::black_box(grade_with(&input, looking[at].as_ref()));
            }
        };
        std::thread::scope(|scope| (0..cores).for_each(|_| drop(scope.spawn(grade))));
        let before = std::mem::replace(done, next.into_inner());
        Grades(*done - before, Spent::now().since(spent).all())
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
    let mut accepted = Rate::of("accepted", false).await;
    accepted.spell(SPELL, &samples).await;
    let (rate_accepted, spent, mut times) = (accepted.per_second(), accepted.spent(), accepted.times.concat());
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
    let mut rate = Rate::of("graded", true).await;
    let (mut one, mut beside_others, mut done) = (Grades::default(), Grades::default(), 0);
    for _ in 0..TURNS {
        let (alone, together) = time_of_grades(samples, SPELL / TURNS, &mut done);
        one.add(alone);
        beside_others.add(together);
        rate.spell(SPELL / 6, samples).await;
    }
    let (one, beside_others) = (one.each(), beside_others.each());
    let (cores, graded, spent) = (cores(), rate.per_second(), rate.spent());
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
