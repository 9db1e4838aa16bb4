//! The drawings of all shipped exercises, as the browser sets their letters.

use serde_json::Value;

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
