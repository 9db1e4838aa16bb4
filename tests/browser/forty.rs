//! Forty reports of twenty pairs on two evenings, each with a reason to look at it, worked through by an instructor with
//! the keyboard alone: read, confirm, answer, set a mark, tell the pair, on to the next.

use std::cell::Cell;
use std::collections::BTreeMap;

use fantoccini::key::Key;
use platemark::actions::make_class::make_pair;
use platemark::actions::review_queue;
use platemark::exercise::file::{read_exercise, read_plates};
use platemark::exercise::model::{Axis, Exercise};
use platemark::exercise::plate::Plate;
use platemark::procedure::fault::{Fault, Procedure};
use platemark::procedure::model::Model;
use platemark::procedure::sampler::Sampler;
use platemark::procedure::simulate::Conditions;
use platemark::procedure::written::Habits;
use platemark::report::call::Call;
use platemark::report::model::Report;
use platemark::store::assignments::Feedback;
use platemark::store::ids::AssignmentId;
use platemark::store::people::Role;
use serde_json::Value;

use super::review::leaves;
use super::window::{Scripts, Window};
use crate::stories::faults::report_of;
use crate::stories::site::{PASSPHRASE, PIN, Site, person, shipped};

const PAIRS: usize = 20;
const EVENINGS: usize = 2;
const FORTY: usize = PAIRS * EVENINGS;

/// What happened at the machine, report by report.
fn faults(exercise: &Exercise, n: usize) -> Vec<Fault> {
    let no = |at: usize| exercise.characteristics[at % exercise.characteristics.len()].no.clone();
    match n % 8 {
        1 => vec![Fault::OriginShift {
            axis: Axis::X,
            amount: 0.9,
        }],
        2 => vec![Fault::NominalsCopied {
            items: (3..11).map(no).collect(),
        }],
        3 => vec![Fault::GrossError {
            item: no(n),
            amount: Some(0.31),
        }],
        4 => vec![Fault::TipIgnoredOnSize {}],
        5 => vec![
            Fault::GrossError {
                item: no(n),
                amount: Some(0.17),
            },
            Fault::GrossError {
                item: no(n + 5),
                amount: Some(-0.43),
            },
        ],
        _ => Vec::new(),
    }
}

fn written(report: &Report) -> String {
    let mut csv = String::from("no,measured,call\n");
    for item in &report.items {
        let measured = item.measured.as_ref().map(ToString::to_string).unwrap_or_default();
        let call = item.call.map_or("", Call::as_str);
        csv.push_str(&format!("{},{measured},{call}\n", item.no));
    }
    csv
}

/// Reports from the forward model, by the plate that each pair has; one in eight is the one before it on the same plate.
struct Machine {
    exercise: Exercise,
    model: Model,
    plates: Vec<Plate>,
    sampler: Sampler,
    before: BTreeMap<String, String>,
}

impl Machine {
    fn new() -> Self {
        let text = shipped("SB-11/exercise.toml");
        let exercise = read_exercise("exercise.toml", &text).0.unwrap();
        let plates = read_plates("plates.toml", &shipped("SB-11/plates.toml"), &exercise).0;
        let plates = plates.unwrap().plates;
        let model = Model::new(&exercise, &plates).unwrap();
        Self {
            exercise,
            model,
            plates,
            sampler: Sampler::new(20, "two evenings"),
            before: BTreeMap::new(),
        }
    }

    fn report(&mut self, serial: &str, n: usize) -> String {
        if n % 8 == 7
            && let Some(before) = self.before.get(serial)
        {
            return before.clone();
        }
        let procedure = Procedure::with(faults(&self.exercise, n)).unwrap_or_default();
        let plate = self.plates.iter().find(|p| p.serial.as_str() == serial).unwrap();
        let measured = self
            .model
            .simulate(&plate.serial, &procedure, Conditions::default(), &mut self.sampler)
            .unwrap();
        let report = self.model.write_report(
            &self.exercise,
            &self.exercise.marks,
            &measured,
            Habits::default(),
            &mut self.sampler,
        );
        let csv = written(&report);
        self.before.insert(serial.to_owned(), csv.clone());
        csv
    }
}

/// Twenty pairs hand in on two evenings, and one in eight asks about its mark. Lines to be marked by hand make each wait.
async fn school() -> (Site, AssignmentId) {
    let site = Site::open().await;
    for pair in 3..=PAIRS {
        let mut people = Vec::new();
        for partner in ["left", "right"] {
            people.push(person(&site.service, Role::Student, &format!("{partner}-{pair}")).await);
        }
        let now = site.service.clock.now();
        make_pair(&site.service, site.class, &format!("Pair {pair}"), &people, now)
            .await
            .unwrap();
    }
    let assignment = site.assign(i64::try_from(EVENINGS).unwrap(), Feedback::Words).await;
    let mut machine = Machine::new();
    let mut reports = Vec::new();
    for pair in 0..PAIRS {
        let name = match pair {
            0 => "anna".to_owned(),
            1 => "bela".to_owned(),
            _ => format!("left-{}", pair + 1),
        };
        let browser = site.sign_in(&name, PIN).await;
        for evening in 0..EVENINGS {
            let page = browser.get(&format!("/my/{assignment}/entry")).await;
            let serial = page.is(200).body.split("Plate <span class=\"num\">").nth(1).unwrap();
            let serial = serial.split('<').next().unwrap();
            let csv = machine.report(serial, pair + PAIRS * evening);
            let report = report_of(&browser, assignment, &csv).await;
            reports.push((report, name.clone()));
        }
    }
    for (_, (report, name)) in reports.iter().enumerate().filter(|(n, _)| n % 8 == 6) {
        let pair = site.sign_in(name, PIN).await;
        let fields = [("no", "4"), ("text", "What was wrong with the call at this one?")];
        pair.send(&format!("/my/reports/{report}/query"), &fields).await.is(200);
    }
    let waiting = review_queue::settled(&site.service, site.class, true).await.unwrap();
    assert_eq!(waiting.len(), FORTY);
    (site, assignment)
}

/// A person at the keyboard, who counts.
struct Hands<'w> {
    window: &'w Window,
    keys: Cell<usize>,
    pages: Cell<usize>,
}

impl Hands<'_> {
    async fn key(&self, key: Key) {
        self.keys.set(self.keys.get() + 1);
        self.window.press(key).await;
    }

    async fn types(&self, text: &str) {
        self.keys.set(self.keys.get() + text.chars().count());
        self.window.write(text).await;
    }

    /// Presses Enter on the button that comes next, and waits for the page that follows.
    async fn send(&self, button: &str) {
        self.key(Key::Tab).await;
        assert!(self.window.is_at(button).await, "{button}");
        let press = async || self.key(Key::Enter).await;
        self.window.onward(&format!("{button} leads on"), press).await;
        self.pages.set(self.pages.get() + 1);
    }
}

/// What has to be in sight on a screen of 1400 by 900 before anybody scrolls: [reason, button, numbers in question, what explains
/// them], each by its lower edge, and 0 for what is not there.
const IN_SIGHT: &str = "
    const low = (e) => e ? Math.round(e.getBoundingClientRect().bottom + window.scrollY) : 0;
    const of = (css) => low(document.querySelector(css));
    return [of('#waits .why p'), of('[data-done]'), of('#waits tbody tr'), of('#faults .happened')];";

/// Milliseconds from asking for the page to its last byte, and to a page that stands.
const TOOK: &str = "
    const n = performance.getEntriesByType('navigation')[0];
    return [n.responseEnd - n.requestStart, n.loadEventEnd - n.startTime];";

fn middle(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    all[all.len() / 2]
}

/// Does what the reasons of this report ask for, and says which it was.
async fn act(hands: &Hands<'_>, why: &str, n: usize) {
    let window = hands.window;
    if why.contains("asks about its mark") {
        hands.types("a").await;
        assert!(window.is_at("#review textarea[name^='answer-']").await);
        hands.types("The edge was read from the wrong side of the limit.").await;
        hands.send("#review button[value^='answer:']").await;
    }
    if why.contains("lines to mark by hand") {
        let fields = window
            .all("form[action$='/hand-marks'] input[name^='points-']")
            .await
            .len();
        hands.types("h").await;
        for field in 0..fields {
            if field > 0 {
                hands.key(Key::Tab).await;
            }
            hands.types("4").await;
        }
        hands.send("form[action$='/hand-marks'] button").await;
    }
    if why.contains("a fault to confirm") && n.is_multiple_of(2) {
        window.run("window.old = true").await;
        hands.types("c").await;
        window.on("#faults .pencil").await;
        hands.pages.set(hands.pages.get() + 1);
    }
    if n % 8 == 3 {
        hands.types("m").await;
        assert!(window.is_at("#f-mark").await);
        hands.types("82.5").await;
        hands.key(Key::Tab).await;
        hands.types("Seen at the machine.").await;
        hands.send("button[value='set-mark']").await;
        window.on("button[value='take-mark-back']").await;
    }
    if n % 8 == 5 {
        hands.types("t").await;
        hands.types("Look at the step of the last bore again.").await;
        hands.send("#review button[value='remark']").await;
        window.on("button[value^='withdraw:']").await;
    }
}

/// What was seen on the way.
#[derive(Default)]
struct Seen {
    reports: usize,
    /// First reasons, and how many reports had them.
    reasons: BTreeMap<String, usize>,
    /// Milliseconds of each page to its last byte.
    server: Vec<f64>,
    /// Milliseconds of each page until it stands.
    whole: Vec<f64>,
}

impl Seen {
    /// Reads the page of a report: everything to go by is in sight. Why it waits.
    async fn read(&mut self, window: &Window) -> String {
        let why = window.text("#waits .why p").await;
        let first = why.trim_start_matches("It waits because: ").split([';', '.']).next();
        let first = first
            .unwrap()
            .trim_end_matches(|c: char| c.is_ascii_digit() || ", ".contains(c));
        *self.reasons.entry(first.to_owned()).or_default() += 1;
        let sight = window.run(IN_SIGHT).await;
        let lowest = sight.as_array().unwrap().iter().filter_map(Value::as_u64).max();
        assert!(lowest.unwrap() < 900, "{why}: {sight}");
        let took = window.run(TOOK).await;
        self.server.push(took[0].as_f64().unwrap());
        self.whole.push(took[1].as_f64().unwrap());
        self.reports += 1;
        why
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn forty_reports_are_reviewed_with_the_keyboard_alone() {
    let (site, _) = school().await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.widen(1400).await;
    window.go(&format!("/classes/{}/review", site.class)).await;
    assert_eq!(window.all("table.lines tbody tr").await.len(), FORTY);
    let hands = Hands {
        window: &window,
        keys: Cell::new(0),
        pages: Cell::new(1),
    };
    window.tab_to("a[data-next]", 12).await;
    hands.key(Key::Enter).await;
    window.tab_to("[data-keys-on]", 16).await;
    hands.key(Key::Space).await;
    let mut seen = Seen::default();
    let mut at = window.path().await;
    while at.starts_with("/reports/") {
        assert!(seen.reports < FORTY, "more reports than wait");
        let why = seen.read(&window).await;
        act(&hands, &why, seen.reports).await;
        hands.types("d").await;
        at = leaves(&window, &at).await;
        hands.pages.set(hands.pages.get() + 1);
    }
    assert_eq!(seen.reports, FORTY);
    window.on("p.none").await;
    // What was said stands in the gradebook.
    window.go(&format!("/classes/{}/gradebook", site.class)).await;
    assert!(window.text("table.grid tbody").await.contains("82.5"));
    eprintln!(
        "{} reports, {} keys, {} pages, {:?}; ms of a page of this build, middle: {:.0} to its last byte, {:.0} until it stands",
        seen.reports,
        hands.keys.get(),
        hands.pages.get(),
        seen.reasons,
        middle(seen.server),
        middle(seen.whole)
    );
}
