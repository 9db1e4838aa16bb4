//! What the diagnosis expects before it sees a report, in words: for instructors.

use askama::Template;

use crate::grading::diagnosis::priors::Priors as Expected;
use crate::grading::named::family_words;
use crate::procedure::fault::Family;
use crate::units::show_f64;
use crate::web::frame::Frame;
use crate::web::guards::Instructor;
use crate::web::render::Page;

#[derive(Debug, Template)]
#[template(path = "priors.html")]
pub(in crate::web) struct Priors {
    frame: Frame,
    counts: Vec<(String, String)>,
    families: Vec<(String, String)>,
    amounts: Vec<(String, String)>,
    noise: Vec<(String, String)>,
    record: Vec<(String, String)>,
    stated: String,
    suspected: String,
    cells: Vec<(&'static str, String)>,
}

/// `1 in 4`, `1 in 133`: easier to picture than a small share.
fn share(p: f64) -> String {
    if p >= 0.01 {
        format!("{} %", show_f64(100.0 * p, 1))
    } else if p > 0.0 {
        format!("1 in {}", show_f64(1.0 / p, 0))
    } else {
        "never".to_owned()
    }
}

fn counts(p: &Expected) -> Vec<(String, String)> {
    let words = ["no mistake", "one", "two together", "three together"];
    let mut all: Vec<(String, String)> = words
        .iter()
        .zip(p.count)
        .map(|(w, c)| ((*w).to_owned(), share(c)))
        .collect();
    all.push(("something that nobody has thought of".to_owned(), share(p.unexplained)));
    all
}

fn amounts(p: &Expected) -> Vec<(String, String)> {
    let within = |what: &str, sd: f64, places: u32, unit: &str| {
        let text = format!(
            "within {} {unit} in two of three cases, within {} {unit} in 95 of 100",
            show_f64(sd, places),
            show_f64(2.0 * sd, places)
        );
        (what.to_owned(), text)
    };
    let (millimetres, times) = p.gross_to;
    vec![
        within("origin off along an axis", p.shift_mm, 0, "mm"),
        within("another tip diameter", p.tip_mm, 0, "mm"),
        within("datum skewed", p.angle_deg, 1, "degrees"),
        within("plate warmer or colder", p.ppm, 0, "micrometres a metre"),
        (
            "one value wrong for no known reason".to_owned(),
            format!(
                "from {} times the uncertainty to {} mm or {} times the uncertainty, whichever is more; small ones as likely as large ones",
                show_f64(p.gross_from, 0),
                show_f64(millimetres, 0),
                show_f64(times, 0)
            ),
        ),
    ]
}

fn noise(p: &Expected) -> Vec<(String, String)> {
    let kind = |k: &crate::grading::diagnosis::priors::NoiseKind| {
        let mut words = Vec::new();
        if k.all > 1.0 {
            words.push(format!("everything {} times as noisy", show_f64(k.all, 1)));
        }
        if k.frame > 1.0 {
            words.push(format!("the frame {} times as noisy", show_f64(k.frame, 1)));
        }
        if k.heavy_tails {
            words.push("a stray value now and then".to_owned());
        }
        let text = if words.is_empty() {
            "as careful as the exercise says".to_owned()
        } else {
            words.join(", ")
        };
        (text, share(k.weight))
    };
    p.noise.iter().map(kind).collect()
}

fn record(p: &Expected) -> Vec<(String, String)> {
    let r = p.record;
    let times = |factor: f64| format!("times {}", show_f64(factor, 1));
    vec![
        (
            format!(
                "as the print: the face of a datum, the tip, the unit, {} \u{b0}C or less from 20 \u{b0}C",
                show_f64(r.kelvin, 0)
            ),
            times(r.agrees),
        ),
        ("otherwise".to_owned(), times(r.differs)),
    ]
}

pub(in crate::web) async fn page(Instructor(person): Instructor) -> Page<Priors> {
    let p = Expected::default();
    let total: f64 = p.weights.iter().sum();
    let family = |(_, family): (&str, Family)| (family_words(family).to_owned(), share(p.weight(family) / total));
    Page(Priors {
        frame: Frame::of(&person, "/exercises"),
        counts: counts(&p),
        families: Family::ALL.into_iter().map(family).collect(),
        amounts: amounts(&p),
        noise: noise(&p),
        record: record(&p),
        stated: share(p.stated),
        suspected: share(p.suspected),
        cells: vec![("Sheet", "what is expected of reports".to_owned())],
    })
}
