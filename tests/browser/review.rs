//! The queue of reports that need a person, and the gradebook: by keys, with script off, and on a telephone.

use fantoccini::key::Key;
use platemark::store::assignments::Feedback;

use super::faults::is_fit_for_a_telephone;
use super::window::{Scripts, Window};
use crate::stories::faults::{edited, report_of};
use crate::stories::site::{PASSPHRASE, Site};

/// Reports of one pair that wait: one value off, which is the origin or this value alone.
const WAITING: usize = 12;

async fn school() -> Site {
    let site = Site::open().await;
    let assignment = site.assign(20, Feedback::Words).await;
    let pair = site.pair("A").await;
    for attempt in 0..WAITING {
        let off = 0.9 + 0.01 * f64::from(u32::try_from(attempt).unwrap());
        let csv = edited(|no, v| match no {
            "9" => Some(v + off),
            "11" | "14" => None,
            _ => Some(v),
        });
        report_of(&pair, assignment, &csv).await;
    }
    site
}

async fn queue(window: &Window, site: &Site) {
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&format!("/classes/{}/review", site.class)).await;
    assert_eq!(window.all("table.lines tbody tr").await.len(), WAITING);
}

/// Waits until another page is open than this one.
pub(super) async fn leaves(window: &Window, path: &str) -> String {
    let holds = async || window.path().await != path;
    window.until("another page", holds).await;
    window.on("main h1").await;
    window.path().await
}

#[tokio::test(flavor = "multi_thread")]
async fn each_report_of_the_queue_takes_one_key_and_can_be_taken_back() {
    let site = school().await;
    let window = Window::open(&site, Scripts::On).await;
    queue(&window, &site).await;
    is_fit_for_a_telephone(&window, "the queue").await;
    window.tab_to("a[data-next]", 12).await;
    window.press(Key::Enter).await;
    window.on("[data-keys-on]").await;
    is_fit_for_a_telephone(&window, "a report of the queue").await;
    // Single keys are off until somebody wants them.
    window.tab_to("[data-keys-on]", 16).await;
    window.press(Key::Space).await;
    let first = window.path().await;
    window.write("n").await;
    let second = leaves(&window, &first).await;
    window.write("p").await;
    assert_eq!(leaves(&window, &second).await, first);
    // In a field a key writes.
    window.write("t").await;
    assert!(window.is_at("#f-remark").await);
    window.write("done").await;
    assert_eq!(window.value("#f-remark").await, "done");
    window.go(&first).await;
    let mut keys = 0;
    let mut at = first;
    while at.starts_with("/reports/") {
        assert!(keys < WAITING, "more keys than reports");
        window.write("d").await;
        keys += 1;
        at = leaves(&window, &at).await;
    }
    assert_eq!(keys, WAITING);
    window.on("p.none").await;
    // The last one is taken back with the keyboard.
    window.tab_to("button[value='not-done']", 16).await;
    window.press(Key::Enter).await;
    leaves(&window, &at).await;
    window.go(&at).await;
    assert_eq!(window.all("table.lines tbody tr").await.len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_reviewed_without_script() {
    let site = school().await;
    let window = Window::open(&site, Scripts::Off).await;
    queue(&window, &site).await;
    window.click("a[data-next]").await;
    window.fill("#f-mark", "99.5").await;
    window.fill("#f-reason", "seen at the machine").await;
    window.click("button[value='set-mark']").await;
    window.on("button[value='take-mark-back']").await;
    window.click("[data-done]").await;
    window.on("button[value='not-done']").await;
    window.go(&format!("/classes/{}/review", site.class)).await;
    assert_eq!(window.all("table.lines tbody tr").await.len(), WAITING - 1);
    // The gradebook has the mark that a person set, by pairs and by students.
    window.go(&format!("/classes/{}/gradebook", site.class)).await;
    assert!(window.text("table.grid tbody").await.contains("99.5"));
    window.click("#f-by option[value='students']").await;
    window.click("form.sift button").await;
    window.on("#f-by option[value='students'][selected]").await;
    assert!(window.text("table.grid thead").await.contains("student"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_gradebook_is_walked_with_arrows() {
    let site = school().await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&format!("/classes/{}/gradebook", site.class)).await;
    is_fit_for_a_telephone(&window, "the gradebook").await;
    window
        .tab_to("table.grid thead tr:first-child th:first-child a", 24)
        .await;
    // Sorting says so to whoever does not see it; once more turns the order round.
    for order in ["ascending", "descending"] {
        window.press(Key::Enter).await;
        window
            .on(&format!("table.grid th:first-child[aria-sort='{order}']"))
            .await;
        window
            .tab_to("table.grid thead tr:first-child th:first-child a", 24)
            .await;
    }
    window.press(Key::Right).await;
    assert!(window.is_at("table.grid thead tr:first-child th:nth-child(2) a").await);
    window.press(Key::End).await;
    window.press(Key::Home).await;
    assert!(window.is_at("table.grid thead tr:first-child th:first-child a").await);
}
