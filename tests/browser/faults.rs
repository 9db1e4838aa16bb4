//! The instructor's word on faults, and the check that the pair is asked for: with the keyboard, with script off, at the
//! width of a telephone, and against axe-core.

use fantoccini::key::Key;
use platemark::store::assignments::Feedback;

use super::accessibility::violations;
use super::widths::MEASURE;
use super::window::{Scripts, Window};
use crate::stories::faults::{edited, report_of};
use crate::stories::site::{PASSPHRASE, PIN, Site};

const X: [&str; 5] = ["5", "6", "8", "10", "13"];

/// A report whose origin was off along X by 1.5 mm.
async fn shifted(site: &Site) -> String {
    let assignment = site.assign(3, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = edited(|no, v| Some(if X.contains(&no) { v + 1.5 } else { v }));
    format!("/reports/{}", report_of(&pair, assignment, &csv).await)
}

/// A report with one Y value, off by 0.9: the origin, or this value alone.
async fn open_between_two(site: &Site) -> String {
    let assignment = site.assign(3, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = edited(|no, v| match no {
        "9" => Some(v + 0.9),
        "11" | "14" => None,
        _ => Some(v),
    });
    report_of(&pair, assignment, &csv).await
}

/// The page that is open is narrow enough for a telephone and breaks no rule.
pub(super) async fn is_fit_for_a_telephone(window: &Window, what: &str) {
    window.widen(360).await;
    let found = window.run(MEASURE).await;
    let (needs, has) = (found[0].as_u64().unwrap(), found[1].as_u64().unwrap());
    assert!(needs <= has, "{what}: {needs} > {has}, {}", found[2]);
    let wrong = violations(window).await;
    assert!(wrong.is_empty(), "{what}: {wrong:?}");
}

const REJECT: &str = "#faults button[value='reject:0']";
const TAKE_BACK: &str = "#faults button[value='take-back:1']";
const CONFIRM: &str = "#faults button[value='confirm:0']";

#[tokio::test(flavor = "multi_thread")]
async fn faults_are_rejected_taken_back_confirmed_and_named_with_the_keyboard_alone() {
    let site = Site::open().await;
    let report = shifted(&site).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&report).await;
    window.on(REJECT).await;
    is_fit_for_a_telephone(&window, "found").await;
    window.tab_to(REJECT, 60).await;
    window.press(Key::Enter).await;
    window.on(TAKE_BACK).await;
    let said = window.text("#faults .pencil").await;
    assert_eq!(said, "rejected: origin off along X");
    assert!(window.all(REJECT).await.is_empty());
    is_fit_for_a_telephone(&window, "rejected").await;

    window.tab_to(TAKE_BACK, 60).await;
    window.press(Key::Space).await;
    window.on(REJECT).await;
    assert!(window.all("#faults .pencil").await.is_empty());

    window.tab_to(CONFIRM, 60).await;
    window.press(Key::Enter).await;
    window.on("#faults .pencil").await;
    assert_eq!(window.text("#faults .pencil").await, "confirmed: origin off along X");
    window.tab_to("#faults button[value^='take-back:']", 60).await;
    window.press(Key::Enter).await;
    window.on(CONFIRM).await;

    // Another one by name: the list, its fields, a number that is none, and again.
    window.tab_to("#name-fault summary", 70).await;
    window.press(Key::Enter).await;
    window.tab_to("#f-name", 2).await;
    window.write("wrong").await;
    window.tab_to("#name-fault button", 2).await;
    window.press(Key::Enter).await;
    window.on("#name-fault button[value='name']").await;
    is_fit_for_a_telephone(&window, "naming").await;
    window.go(&format!("{report}?name=origin-shift")).await;
    window.on("#f-axis").await;
    window.tab_to("#f-axis", 80).await;
    window.write("Y").await;
    window.tab_to("#f-amount", 1).await;
    window.write("about 2").await;
    window.press(Key::Enter).await;
    window.on("#f-amount[aria-invalid='true']").await;
    assert_eq!(window.value("#f-amount").await, "about 2");
    assert_eq!(window.value("#f-axis").await, "y");
    is_fit_for_a_telephone(&window, "to mend").await;
    window.fill("#f-amount", "0.25").await;
    window.press(Key::Enter).await;
    window.on("#faults .pencil").await;
    let said = window.text("#faults .pencil").await;
    assert_eq!(
        said,
        "confirmed: origin off along Y by 0.250 mm; rejected: origin off along X"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn faults_are_decided_without_script() {
    let site = Site::open().await;
    let report = shifted(&site).await;
    let window = Window::open(&site, Scripts::Off).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&report).await;
    window.click(REJECT).await;
    assert_eq!(window.text("#faults .pencil").await, "rejected: origin off along X");
    window.click(TAKE_BACK).await;
    window.click(CONFIRM).await;
    assert_eq!(window.text("#faults .pencil").await, "confirmed: origin off along X");
    window.click("#name-fault summary").await;
    window.click("#name-fault form[method='get'] button").await;
    window.on("#name-fault button[value='name']").await;
    assert_eq!(window.path().await, report);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pair_answers_the_check_with_the_keyboard_and_the_bench_says_what_to_ask() {
    let site = Site::open().await;
    let report = open_between_two(&site).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&format!("/classes/{}/bench", site.class)).await;
    let asked = window.text("ul[aria-labelledby='asks']").await;
    assert!(asked.contains("Touch the front face (datum B) again"), "{asked}");
    is_fit_for_a_telephone(&window, "bench").await;

    window.sign_in("anna", PIN).await;
    let mine = format!("/my/reports/{report}");
    window.go(&mine).await;
    window.on("#check").await;
    is_fit_for_a_telephone(&window, "check").await;
    window.tab_to("#check #f-value", 40).await;
    window.write("half").await;
    window.press(Key::Enter).await;
    window.on("#f-value[aria-invalid='true']").await;
    assert_eq!(window.value("#f-value").await, "half");
    is_fit_for_a_telephone(&window, "check to mend").await;
    window.fill("#f-value", "0,897").await;
    window.press(Key::Enter).await;
    window.on("main h1").await;
    window.on("p.said").await;
    assert!(window.all("#check").await.is_empty());
    let page = window.text("main").await;
    assert!(page.contains("the origin along Y"), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pair_answers_the_check_without_script() {
    let site = Site::open().await;
    let report = open_between_two(&site).await;
    let window = Window::open(&site, Scripts::Off).await;
    window.sign_in("anna", PIN).await;
    window.go(&format!("/my/reports/{report}")).await;
    window.fill("#f-value", "0.001").await;
    window.click("#check button").await;
    window.on("p.said").await;
    assert!(window.all("#check").await.is_empty());
    let page = window.text("main").await;
    assert!(page.contains("Number 9 is far from"), "{page}");
}
