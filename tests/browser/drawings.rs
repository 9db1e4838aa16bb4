//! The drawings of all shipped exercises, as the browser sets their letters.

use platemark::exercise::drawing::{DrawingOptions, drawing_pages, plan_view};
use platemark::exercise::file::read_exercise;
use serde_json::{Value, json};

use super::made_up::made_up;
use super::window::{Scripts, Window};
use crate::stories::site::{PASSPHRASE, Site};

/// Pairs of texts of the drawing whose boxes lie over each other, and how many texts there are. A tenth of a pixel is
/// rounding.
const OVERLAPS: &str = "
    const texts = [...document.querySelectorAll('figure.drawing svg text')];
    const boxes = texts.map((t) => t.getBoundingClientRect());
    const over = [];
    for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
      const [a, b] = [boxes[i], boxes[j]];
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (wide > 0.1 && high > 0.1)
        over.push(`'${texts[i].textContent}' and '${texts[j].textContent}' by ${wide.toFixed(1)} x ${high.toFixed(1)} px`);
    }
    return [texts.length, over];";

/// Folders of the shipped exercises.
fn codes() -> Vec<String> {
    let folders = std::fs::read_dir(format!("{}/exercises", env!("CARGO_MANIFEST_DIR"))).unwrap();
    let folders = folders
        .map(|f| f.unwrap().path())
        .filter(|f| f.join("exercise.toml").is_file());
    let mut codes: Vec<String> = folders
        .map(|f| f.file_name().unwrap().to_str().unwrap().to_owned())
        .collect();
    codes.sort();
    assert!(codes.len() >= 6, "{codes:?}");
    codes
}

#[tokio::test(flavor = "multi_thread")]
async fn no_letters_of_a_drawing_lie_over_others() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    let mut wrong = Vec::new();
    for code in codes() {
        window.go("/exercises/import").await;
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("exercises")
            .join(&code);
        window.choose_file("#f-exercise", &folder.join("exercise.toml")).await;
        window.choose_file("#f-plates", &folder.join("plates.toml")).await;
        window.click("form[action='/exercises/import'] button").await;
        window.click("p.said a[href^='/exercises/']").await;
        window.on("#characteristics").await;
        let lines = window.all("td.no").await.len();
        for width in [360, 1400] {
            window.widen(width).await;
            window.run("return document.fonts.ready.then(() => true)").await;
            let found = window.run(OVERLAPS).await;
            let texts = found[0].as_u64().unwrap();
            assert!(
                texts >= lines.try_into().unwrap(),
                "{code}: {texts} texts for {lines} balloons"
            );
            for pair in found[1].as_array().unwrap() {
                wrong.push(format!("{code} at {width}: {}", pair.as_str().unwrap_or_default()));
            }
        }
    }
    assert!(wrong.is_empty(), "letters over letters:\n{}", wrong.join("\n"));
}

/// The check finds what it is for.
#[tokio::test(flavor = "multi_thread")]
async fn letters_that_do_lie_over_others_are_found() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&format!("/exercises/{}", site.exercise)).await;
    window
        .run("const t = document.querySelector('figure.drawing svg text'); t.after(t.cloneNode(true));")
        .await;
    let found = window.run(OVERLAPS).await;
    assert_eq!(found[1].as_array().map(Vec::len), Some(1), "{found}");
    assert_ne!(found[0], Value::from(0));
}

/// What is wrong in drawings that are shown one after the other: texts over texts; outlines through texts; and other lines
/// through what a text has in ink (its box without the room for accents and for what hangs below the line).
const MEASURE: &str = r"
    const place = document.querySelector('main');
    const bad = [];
    let counted = 0;
    for (const [name, svg] of DRAWINGS) {
      place.innerHTML = `<figure class='drawing'>${svg}</figure>`;
      const texts = [...place.querySelectorAll('text')];
      const boxes = texts.map((t) => t.getBoundingClientRect());
      counted += texts.length;
      for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
        const [a, b] = [boxes[i], boxes[j]];
        const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (wide > 0.1 && high > 0.1) bad.push(`${name}: '${texts[i].textContent}' over '${texts[j].textContent}'`);
      }
      for (const path of place.querySelectorAll('path.d-edge, path.d-thin, path.d-centre, path.d-hidden')) {
        const inset = path.classList.contains('d-edge') ? 0.2 : 3.2;
        const own = path.getBoundingClientRect();
        const near = boxes.map((b, i) => [b, i]).filter(([b]) =>
          b.left <= own.right && b.right >= own.left && b.top <= own.bottom && b.bottom >= own.top);
        if (near.length === 0) continue;
        const matrix = path.getScreenCTM();
        const long = path.getTotalLength();
        const steps = Math.max(2, Math.ceil(long / 0.5));
        const met = new Set();
        for (let k = 0; k <= steps; k++) {
          const p = path.getPointAtLength(long * k / steps).matrixTransform(matrix);
          for (const [b, i] of near)
            if (p.x > b.left + inset && p.x < b.right - inset && p.y > b.top + inset && p.y < b.bottom - inset) met.add(i);
        }
        for (const i of met) bad.push(`${name}: ${path.getAttribute('class')} through '${texts[i].textContent}'`);
      }
    }
    return [counted, bad];";

/// Name and SVG of drawings, measured as the browser sets them: how many texts there are, and what is wrong.
async fn measured(window: &Window, drawings: &[(String, String)]) -> (u64, Vec<String>) {
    let script = MEASURE.replace("DRAWINGS", &json!(drawings).to_string());
    let found = window.run(&script).await;
    let wrong = found[1].as_array().unwrap();
    (
        found[0].as_u64().unwrap(),
        wrong
            .iter()
            .map(|w| w.as_str().unwrap_or_default().to_owned())
            .collect(),
    )
}

/// A page with the letters of the house that nobody has to sign in for.
async fn sheet_of_paper(site: &Site) -> Window {
    let window = Window::open(site, Scripts::On).await;
    window.go("/sign-in").await;
    window.widen(1600).await;
    let fonts =
        "return Promise.all([document.fonts.load('500 14px \"Sheet Figures\"'), document.fonts.load('14px Sheet')])
        .then((f) => f.every((l) => l.length > 0))";
    assert_eq!(window.run(fonts).await, Value::from(true));
    window
}

fn drawn(name: &str, text: &str, pages: bool) -> Vec<(String, String)> {
    let (exercise, problems) = read_exercise(name, text);
    assert!(exercise.is_some(), "{name}: {problems:?}");
    let exercise = exercise.unwrap();
    let mut pictures = vec![plan_view(&exercise, &DrawingOptions::desk())];
    if pages {
        for options in [DrawingOptions::a4_across(), DrawingOptions::letter_across()] {
            pictures.extend(drawing_pages(&exercise, &options));
        }
    }
    pictures.into_iter().map(|p| (name.to_owned(), p.svg)).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn no_text_of_a_dimensioned_drawing_meets_another_or_an_outline() {
    let site = Site::open().await;
    let window = sheet_of_paper(&site).await;
    let mut drawings = Vec::new();
    for code in codes() {
        let file = format!("{}/exercises/{code}/exercise.toml", env!("CARGO_MANIFEST_DIR"));
        drawings.extend(drawn(&code, &std::fs::read_to_string(file).unwrap(), true));
    }
    for seed in 1..=100 {
        drawings.extend(drawn(&format!("seed {seed}"), &made_up(seed), false));
    }
    let (mut texts, mut wrong) = (0, Vec::new());
    for some in drawings.chunks(20) {
        let (counted, found) = measured(&window, some).await;
        texts += counted;
        wrong.extend(found);
    }
    assert!(texts > 30 * 100, "{texts} texts");
    assert!(
        wrong.is_empty(),
        "{} of {texts} texts:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

/// The measuring finds what it is for.
#[tokio::test(flavor = "multi_thread")]
async fn text_that_does_meet_text_or_an_outline_is_found() {
    let site = Site::open().await;
    let window = sheet_of_paper(&site).await;
    let over = "<svg xmlns='http://www.w3.org/2000/svg' width='40mm' height='20mm' viewBox='0 0 40 20'>\
        <text x='2' y='8' font-size='4'>12</text><text x='5' y='9' font-size='4'>34</text>\
        <path class='d-edge' d='M20 0V20'/><text x='18' y='10' font-size='4'>56</text></svg>";
    let (texts, wrong) = measured(&window, &[("over".to_owned(), over.to_owned())]).await;
    assert_eq!(texts, 3);
    assert_eq!(wrong, ["over: '12' over '34'", "over: d-edge through '56'"]);
}
