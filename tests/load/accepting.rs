//! Accepting and grading at once, against the bare writer and against the time of one grade.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use platemark::actions::hand_in_report::{HandIn, accept, hand_in_report};
use platemark::exercise::file::read_plates;
use platemark::exercise::plate::Plate;
use platemark::grading::{GradeInput, diagnoser, grade_with};
use platemark::report::model::Report;
use platemark::store::assignments::{self, Mine};
use platemark::store::ids::PersonId;
use platemark::store::packed::Packed;
use platemark::store::reports::{Note, SourceKind};

use crate::processor::{self, Spent, cores};
use crate::school::{self, Samples, School};
use crate::{CLIENTS, Line, SPELL, bare, folder, ms, quantile};

/// Assignments, each with 99 attempts for each client: more than are handed in.
const ASSIGNMENTS: usize = 24;

/// How often reports that are handed in and graded, and grades of the same ones alone, take turns: a machine that others use too may be
/// twice as fast half a minute later. Of the same ones, since what they take differs a hundredfold.
const TURNS: u32 = 12;

/// How long clients hand in before it is counted: until then some wait for nobody and others for what is not there yet.
const WARM: Duration = Duration::from_millis(300);

/// How often somebody hands in beside the others and does not wait for a grade.
const BESIDE: Duration = Duration::from_millis(20);

/// A spell, as its clients see it.
#[derive(Default)]
struct Spell {
    is_counted: AtomicBool,
    is_enough: AtomicBool,
}

/// A report by the serial of its plate and its place among the samples of that.
type Which = (Arc<str>, usize);

/// One that was handed in.
#[derive(Clone)]
struct One {
    which: Which,
    time: Duration,
    is_counted: bool,
}

/// Somebody who hands in one after another.
#[derive(Clone)]
struct Client {
    school: Arc<School>,
    samples: Arc<Samples>,
    /// Its place among the students.
    n: usize,
    /// How many it did already.
    before: usize,
    /// Whether it waits for each grade.
    graded: bool,
    /// How long it waits between two.
    pause: Duration,
}

impl Client {
    /// Hands in until it is enough.
    async fn hands_in(self, spell: Arc<Spell>) -> Vec<One> {
        let person = self.school.students[self.n];
        let mut all = Vec::new();
        for assignment in &self.school.assignments {
            let mine: Mine = assignments::mine(&self.school.service.store, *assignment, person)
                .await
                .unwrap()
                .unwrap();
            let serial: Arc<str> = mine.serial.clone().unwrap().into();
            for attempt in mine.handed_in + 1..=99 {
                if spell.is_enough.load(Ordering::Relaxed) {
                    return all;
                }
                let place = school::place(self.n, self.before + all.len());
                let which = (Arc::clone(&serial), place);
                let time = self.one(&mine, (person, attempt), &self.samples[&*serial][place]).await;
                let is_counted = spell.is_counted.load(Ordering::Relaxed);
                all.push(One {
                    which,
                    time,
                    is_counted,
                });
                if !self.pause.is_zero() {
                    tokio::time::sleep(self.pause).await;
                }
            }
        }
        panic!("more was handed in than there are attempts: ASSIGNMENTS is too small")
    }

    async fn one(
        &self,
        mine: &Mine,
        (person, attempt): (PersonId, i64),
        (source, report): &(String, Report),
    ) -> Duration {
        let hand_in = HandIn {
            mine,
            person,
            attempt,
            key: &format!("{attempt}"),
            report,
            source_kind: SourceKind::Csv,
            source_name: None,
            note: Note::default(),
            plate: "",
            source_bytes: source.clone().into_bytes(),
        };
        let start = Instant::now();
        if self.graded {
            hand_in_report(&self.school.service, hand_in).await.unwrap();
        } else {
            accept(&self.school.service, hand_in).await.unwrap();
        }
        start.elapsed()
    }
}

/// What came of handing in, by all clients at once, in one spell or several.
struct Rate {
    school: Arc<School>,
    samples: Arc<Samples>,
    graded: bool,
    /// By client. The last one hands in now and then beside the others.
    all: Vec<Vec<One>>,
    /// While it was counted.
    elapsed: Duration,
    spent: Spent,
    stolen: Duration,
}

impl Rate {
    async fn of(name: &str, graded: bool, samples: &Arc<Samples>) -> Self {
        let clients = CLIENTS + usize::from(graded);
        Self {
            school: Arc::new(school::make(&folder(name), clients, ASSIGNMENTS).await),
            samples: Arc::clone(samples),
            graded,
            all: vec![Vec::new(); clients],
            elapsed: Duration::ZERO,
            spent: Spent::default(),
            stolen: Duration::ZERO,
        }
    }

    fn client(&self, n: usize) -> Client {
        let waits = n < CLIENTS;
        Client {
            school: Arc::clone(&self.school),
            samples: Arc::clone(&self.samples),
            n,
            before: self.all[n].len(),
            graded: self.graded && waits,
            pause: if waits { Duration::ZERO } else { BESIDE },
        }
    }

    /// What the clients handed in while it was counted.
    async fn spell(&mut self, long: Duration) -> Vec<Which> {
        let spell = Arc::new(Spell::default());
        let clients: Vec<_> = (0..self.all.len())
            .map(|n| tokio::spawn(self.client(n).hands_in(Arc::clone(&spell))))
            .collect();
        tokio::time::sleep(WARM).await;
        let (begun, spent, stolen) = (Instant::now(), Spent::now(), processor::stolen());
        spell.is_counted.store(true, Ordering::Relaxed);
        tokio::time::sleep(long).await;
        spell.is_counted.store(false, Ordering::Relaxed);
        self.elapsed += begun.elapsed();
        self.spent = self.spent.plus(Spent::now().since(spent));
        self.stolen += processor::stolen().saturating_sub(stolen);
        spell.is_enough.store(true, Ordering::Relaxed);
        let mut counted = Vec::new();
        for (n, client) in clients.into_iter().enumerate() {
            let more = client.await.unwrap();
            if n < CLIENTS {
                counted.extend(more.iter().filter(|one| one.is_counted).map(|one| one.which.clone()));
            }
            self.all[n].extend(more);
        }
        // What is searched behind the grades is not to run beside what is measured next.
        self.school.service.searches.settled().await;
        counted
    }

    fn times(of: &[Vec<One>]) -> Vec<Duration> {
        let counted = of.iter().flatten().filter(|one| one.is_counted);
        counted.map(|one| one.time).collect()
    }

    /// Of the clients that hand in one after another.
    fn of_clients(&self) -> Vec<Duration> {
        Self::times(&self.all[..CLIENTS])
    }

    fn per_second(&self) -> f64 {
        self.of_clients().len() as f64 / self.elapsed.as_secs_f64()
    }

    fn spent(&self) -> String {
        let counts = self.school.service.store.writer().counts();
        let jobs = counts.kept.load(Ordering::Relaxed) as f64;
        format!(
            "{}; {:.1} in a transaction",
            self.spent.each(self.of_clients().len()),
            jobs / counts.commits.load(Ordering::Relaxed) as f64
        )
    }
}

/// The processors' time of grades of these reports alone, with everything about their plates prepared: on so many cores at once, where
/// they share caches and perhaps more.
fn time_of_grades(samples: &Samples, reports: &[Which], cores: usize) -> Duration {
    let exercise = school::exercise();
    let plates = read_plates("plates.toml", &school::shipped("plates.toml"), &exercise)
        .0
        .unwrap();
    let siblings: Vec<Plate> = plates.plates.clone();
    let none = BTreeMap::new();
    let looking: BTreeMap<&str, _> = siblings
        .iter()
        .map(|p| (p.serial.as_str(), (p, diagnoser(&exercise, p, &siblings))))
        .collect();
    let (next, spent) = (AtomicUsize::new(0), Spent::now());
    let grade = || {
        while let Some((serial, place)) = reports.get(next.fetch_add(1, Ordering::Relaxed)) {
            let (plate, looking) = &looking[&**serial];
            let input = GradeInput {
                name: "r",
                exercise: &exercise,
                plate,
                rules: &exercise.marks,
                report: &samples[&**serial][*place].1,
                hand_marks: &none,
                siblings: &siblings,
                decided: &platemark::grading::decided::UNDECIDED,
                set_up: None,
            };
            std::hint::black_box(grade_with(&input, looking.as_ref()));
        }
    };
    std::thread::scope(|scope| (0..cores).for_each(|_| drop(scope.spawn(grade))));
    Spent::now().since(spent).all()
}

/// Grades alone, for looking at where their time goes.
pub(crate) async fn graded() -> Vec<Line> {
    graded_of(&Arc::new(school::samples())).await
}

pub(crate) async fn measure() -> Vec<Line> {
    let samples: Arc<Samples> = Arc::new(school::samples());
    let (source, report) = &samples.values().next().unwrap()[0];
    let items = Packed::of_json(&serde_json::to_string(report).unwrap()).unwrap();
    let (bare_rate, mut bare_times, bare_spent) = bare::rate(&folder("bare"), items.bytes(), source.as_bytes()).await;
    let mut accepted = Rate::of("accepted", false, &samples).await;
    accepted.spell(SPELL).await;
    let (rate_accepted, spent, mut times) = (accepted.per_second(), accepted.spent(), accepted.of_clients());
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
    lines.extend(graded_of(&samples).await);
    lines
}

async fn graded_of(samples: &Arc<Samples>) -> Vec<Line> {
    let mut rate = Rate::of("graded", true, samples).await;
    let (mut alone, mut beside_others, mut count) = (Duration::ZERO, Duration::ZERO, 0);
    for _ in 0..TURNS {
        let reports = rate.spell(SPELL / 6).await;
        alone += time_of_grades(samples, &reports, 1);
        beside_others += time_of_grades(samples, &reports, cores());
        count += u32::try_from(reports.len()).unwrap();
    }
    let (graded, spent) = (rate.per_second(), rate.spent());
    let all = rate.elapsed * u32::try_from(cores()).unwrap();
    let ratio = alone.as_secs_f64() / all.saturating_sub(rate.stolen).as_secs_f64();
    let each = |of: Duration| (of / count).as_secs_f64() * 1e3;
    let mut beside = Rate::times(&rate.all[CLIENTS..]);
    let (many, p99) = (beside.len(), quantile(&mut beside, 0.99));
    vec![
        Line::new(
            format!("accepted and graded with diagnosis, {CLIENTS} clients"),
            format!("{graded:.0} a second; {spent}"),
            format!(
                "{ratio:.2} of {} cores, less the {:.1} % that the host took, / {:.2} ms; on all cores at once a grade takes {:.2} ms",
                cores(),
                processor::percent(rate.stolen, rate.elapsed),
                each(alone),
                each(beside_others),
            ),
            ">= 0.80",
            ratio >= 0.8,
        ),
        Line::new(
            "accepted meanwhile without waiting for a grade, p99 of one",
            ms(p99),
            format!("{many} reports of one more client"),
            "<= 50 ms",
            p99 <= Duration::from_millis(50),
        ),
    ]
}
