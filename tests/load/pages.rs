//! Pages of a class at work, with so many items stored by all classes together.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use platemark::report::call::Call;
use platemark::report::model::Report;
use platemark::store::assignments;
use reqwest::multipart::Form;
use tokio::task::JoinSet;

use crate::fill::{self, ASSIGNMENTS, PAIRS};
use crate::school::{self, PASSPHRASE, PIN, School};
use crate::serving::{Device, Server, field};
use crate::{Line, folder, ms, processor, quantile};

/// A person looks at a page so often: forty devices make some thirteen requests a second.
const PAUSE: Duration = Duration::from_secs(3);

/// Pages that each device looks at.
const LOOKS: usize = 24;

/// So much oftener the instructor looks, that there are ninety times of each page.
const OFTENER: u32 = 15;

type Times = BTreeMap<&'static str, Vec<Duration>>;

/// Median times by page, to hold the next filling against.
pub(crate) type Medians = BTreeMap<&'static str, Duration>;

async fn student(device: Device, n: usize) -> Times {
    let mut times = Times::new();
    tokio::time::sleep(PAUSE.mul_f64(n as f64 / PAIRS as f64)).await;
    for look in 0..LOOKS {
        let assignment = 1 + (n + look) % ASSIGNMENTS;
        let (name, path) = match look % 3 {
            0 => ("a student's assignments", "/my".to_owned()),
            1 => ("the entry form", format!("/my/{assignment}/entry")),
            // Reports of the first class were handed in pair by pair.
            _ => (
                "a pair's result",
                format!("/my/reports/{}", n * ASSIGNMENTS + assignment),
            ),
        };
        times.entry(name).or_default().push(device.get(&path).await.1);
        tokio::time::sleep(PAUSE).await;
    }
    times
}

async fn instructor(device: Device) -> Times {
    let mut times = Times::new();
    for look in 0..LOOKS * OFTENER as usize {
        let (name, path) = match look % 4 {
            0 => ("the gradebook, 40 x 30", "/classes/1/gradebook".to_owned()),
            1 => ("the class", "/classes/1".to_owned()),
            2 => ("an assignment", format!("/assignments/{}", 1 + look % ASSIGNMENTS)),
            _ => (
                "a graded report",
                format!("/reports/{}", 1 + look * 31 % (PAIRS * ASSIGNMENTS)),
            ),
        };
        times.entry(name).or_default().push(device.get(&path).await.1);
        tokio::time::sleep(PAUSE / OFTENER).await;
    }
    times
}

/// A pair hands in its second attempt; the time until its grade is on the page.
async fn hand_in(device: Device, n: usize, report: Report) -> Duration {
    tokio::time::sleep(PAUSE.mul_f64(n as f64 / PAIRS as f64)).await;
    let path = format!("/my/{}/entry", 1 + n % ASSIGNMENTS);
    let (page, _) = device.get(&path).await;
    let exercise = school::exercise();
    let mut form = Form::new()
        .text("key", field(&page, "key"))
        .text("attempt", field(&page, "attempt"));
    for (characteristic, item) in exercise.characteristics.iter().zip(&report.items) {
        let measured = item.measured.as_ref().map(ToString::to_string).unwrap_or_default();
        form = form.text(format!("m-{}", characteristic.no), measured);
        let call = item.call.map_or("", Call::as_str);
        form = form.text(format!("c-{}", characteristic.no), call);
    }
    let (page, time) = device
        .send(&path, form.text("do", "hand-in").text("incomplete", "yes"))
        .await;
    assert!(page.contains("values agree"), "the grade is not on the page:\n{page}");
    time
}

/// A line for each page: its p99 against the limit, and its median against that with a tenth of the items; with ten times the items both
/// may be a fifth more.
fn judge(times: Times, before: Option<&Medians>, lines: &mut Vec<Line>) -> Medians {
    let mut medians = Medians::new();
    for (name, mut times) in times {
        let (p99, median) = (quantile(&mut times, 0.99), quantile(&mut times, 0.5));
        let was = before.and_then(|before| before.get(name));
        let (limit, goal) = match (name.starts_with("the gradebook"), was) {
            (true, None) => (10, "p99 <= 10 ms"),
            (true, Some(_)) => (12, "p99 <= 12 ms"),
            (false, None) => (50, "p99 <= 50 ms"),
            (false, Some(_)) => (60, "p99 <= 60 ms"),
        };
        let growth = was.map(|was| median.as_secs_f64() / was.as_secs_f64());
        let against = growth.map_or_else(String::new, |g| format!("median {g:.2} of that at a tenth (<= 1.20)"));
        let met = p99 <= Duration::from_millis(limit) && growth.is_none_or(|g| g <= 1.2);
        lines.push(Line::new(
            name,
            format!("median {}, p99 {}", ms(median), ms(p99)),
            against,
            goal,
            met,
        ));
        medians.insert(name, median);
    }
    medians
}

/// How much of the processors the host gave to others meanwhile: a page that waits for that is late by milliseconds.
fn taken_by_host(of: Duration, stolen: Duration) -> Line {
    let share = processor::percent(stolen, of);
    Line::new(
        "while the pages below were looked at",
        format!("the host took {share:.1} %"),
        String::new(),
        "",
        true,
    )
}

/// What each pair hands in as the second report of one of its assignments.
async fn second_reports(school: &School) -> Vec<Report> {
    let mut seconds = Vec::new();
    let samples = school::samples();
    for (n, person) in school.students.iter().enumerate() {
        let assignment = school.assignments[n % ASSIGNMENTS];
        let mine = assignments::mine(&school.service.store, assignment, *person).await;
        let serial = mine.unwrap().unwrap().serial.unwrap();
        seconds.push(school::sample(&samples, &serial, n, ASSIGNMENTS).1.clone());
    }
    seconds
}

/// The devices of the students, how long the pages took them and the instructor, and what the host took meanwhile.
async fn looked_at(server: &Server) -> (Vec<Device>, Times, Line) {
    let mut devices = Vec::new();
    for n in 0..PAIRS {
        devices.push(Device::of(server, &format!("s{n}"), PIN).await);
    }
    let staff = Device::of(server, "ferro", PASSPHRASE).await;
    let (begun, stolen) = (Instant::now(), processor::stolen());
    let mut people = JoinSet::new();
    people.spawn(instructor(staff));
    for (n, device) in devices.iter().cloned().enumerate() {
        people.spawn(student(device, n));
    }
    let mut times = Times::new();
    for (name, more) in people.join_all().await.into_iter().flatten() {
        times.entry(name).or_default().extend(more);
    }
    let taken = taken_by_host(begun.elapsed(), processor::stolen().saturating_sub(stolen));
    (devices, times, taken)
}

pub(crate) async fn measure(items: u64, before: Option<&Medians>) -> (Vec<Line>, Medians) {
    let folder = folder("pages");
    let school = fill::first(&folder).await;
    let seconds = second_reports(&school).await;
    school.service.searches.settled().await;
    school.service.store.close().await;
    let reports = fill::until(&folder, items).await;
    let server = Server::start(&folder).await;
    let stored = format!("{:.1e} items in {reports} reports stored", items as f64);
    let start = server.start.as_secs_f64();
    let mut lines = vec![Line::new(
        format!("start, {stored}"),
        format!("{start:.2} s"),
        String::new(),
        "<= 1 s",
        start <= 1.0,
    )];

    let (devices, times, taken) = looked_at(&server).await;
    lines.push(taken);
    let medians = judge(times, before, &mut lines);
    let mut pairs = JoinSet::new();
    for (n, (device, report)) in devices.into_iter().zip(seconds).enumerate() {
        pairs.spawn(hand_in(device, n, report));
    }
    let mut times = pairs.join_all().await;
    let p99 = quantile(&mut times, 0.99);
    let goal = "p99 <= 100 ms";
    lines.push(Line::new(
        "from handing in to the grade on the page",
        ms(p99),
        String::new(),
        goal,
        p99 <= Duration::from_millis(100),
    ));
    let resident = server.most_resident();
    lines.push(Line::new(
        "most memory until after that",
        format!("{resident:.0} MiB"),
        String::new(),
        "<= 80 MiB",
        resident <= 80.0,
    ));
    (lines, medians)
}
