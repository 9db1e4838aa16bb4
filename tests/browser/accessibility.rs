//! The main pages against axe-core (`axe/`, under its own licence), which checks WCAG rules in the browser.

use serde_json::{Value, json};

use super::pages::School;
use super::window::{Scripts, Window};

const AXE: &str = include_str!("axe/axe.min.js");

const RUN: &str = "
    const done = arguments[arguments.length - 1];
    axe.run(document, { resultTypes: ['violations'] }).then(
      (found) => done(found.violations.flatMap((v) =>
        v.nodes.map((n) => `${v.id}: ${n.html.slice(0, 160)} (${n.failureSummary.replace(/\\s+/g, ' ').slice(0, 300)})`))),
      (error) => done([`axe failed: ${error}`]));";

/// Nothing of the page is out of sight sideways or breaks a rule. Without script nothing can be measured.
pub(super) async fn is_fit(window: &Window, scripts: Scripts) {
    if scripts == Scripts::Off {
        return;
    }
    let over = "return document.documentElement.scrollWidth - document.documentElement.clientWidth";
    assert_eq!(window.run(over).await, json!(0));
    let found = violations(window).await;
    assert!(found.is_empty(), "{found:?}");
}

/// What axe-core finds on the page that is open.
pub(super) async fn violations(window: &Window) -> Vec<String> {
    window.run(AXE).await;
    let found = window.run_until_called(RUN).await;
    let found = found.as_array().unwrap();
    found.iter().filter_map(Value::as_str).map(str::to_owned).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn no_main_page_breaks_a_rule() {
    let school = School::open().await;
    let window = Window::open(&school.site, Scripts::On).await;
    let mut wrong = Vec::new();
    school
        .each(&window, async |path| {
            for (width, dark) in [(360, false), (1400, false), (1400, true)] {
                window.widen(width).await;
                window.darken(dark).await;
                for violation in violations(&window).await {
                    wrong.push(format!("{path} at {width}, dark {dark}: {violation}"));
                }
            }
        })
        .await;
    assert!(wrong.is_empty(), "{} found:\n{}", wrong.len(), wrong.join("\n"));
}

/// The check finds what it is for.
#[tokio::test(flavor = "multi_thread")]
async fn a_field_without_a_label_is_found() {
    let school = crate::stories::site::Site::open().await;
    let window = Window::open(&school, Scripts::On).await;
    window.go("/sign-in").await;
    window.run("document.querySelector('label[for=f-name]').remove()").await;
    let found = violations(&window).await;
    assert!(found.iter().any(|v| v.starts_with("label: ")), "{found:?}");
}
