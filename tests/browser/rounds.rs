//! Rounds of reference values with the keyboard, with script off, and as wide as a telephone.

use fantoccini::key::Key;

use super::accessibility::is_fit;
use super::window::{Scripts, Window};
use crate::stories::site::{PASSPHRASE, Site, shipped};

const PLATE: &str = "/exercises/1/plates/1";

/// A careful report of the plate as the table of a round, everything along Y off by this.
fn table(off: f64) -> String {
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    let lines = careful.lines().skip(1).map(|line| {
        let mut cells = line.split(',');
        let (no, value) = (cells.next().unwrap(), cells.next().unwrap());
        let value: f64 = value.parse().unwrap();
        let off = if ["9", "11", "14"].contains(&no) { off } else { 0.0 };
        format!("{no};{:.4}\n", value + off)
    });
    format!("no;measured\n{}", lines.collect::<String>())
}

/// Types a round with the keyboard from field to field.
async fn enter(window: &Window, day: &str, off: f64) {
    window.go(&format!("{PLATE}/rounds/new")).await;
    window.tab_to("#f-measured_on", 20).await;
    window.write(day).await;
    for (field, text) in [
        ("#f-operator", "O. Fennimar"),
        ("#f-machine", "Machine North"),
        ("#f-temperature", ""),
        ("#f-remark", ""),
        ("#f-table", &table(off)),
    ] {
        window.tab_to(field, 1).await;
        // Enter is what a keyboard has for a new line.
        window.write(&text.replace('\n', "\u{e007}")).await;
    }
    window.tab_to("button.do", 40).await;
    window.press(Key::Enter).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn rounds_are_typed_doubted_left_out_and_made_the_reference_by_keys() {
    walk(Scripts::On).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn rounds_are_typed_doubted_left_out_and_made_the_reference_without_script() {
    walk(Scripts::Off).await;
}

async fn walk(scripts: Scripts) {
    let site = Site::open().await;
    let window = Window::open(&site, scripts).await;
    if scripts == Scripts::On {
        window.widen(360).await;
    }
    window.sign_in("ferro", PASSPHRASE).await;
    for day in ["2024-11-03", "2024-11-04", "2024-11-05"] {
        enter(&window, day, 0.0).await;
        window.on("#rounds").await;
        assert_eq!(window.path().await, format!("{PLATE}/rounds"));
    }
    // An origin on the wrong step is asked about; what was typed is there.
    enter(&window, "2024-11-06", -1.5).await;
    window.on(".to-mend").await;
    assert_eq!(window.path().await, format!("{PLATE}/rounds/new"));
    assert!(window.text(".to-mend").await.contains("more than ten tolerances"));
    assert_eq!(window.value("#f-measured_on").await, "2024-11-06");
    assert_eq!(window.value("#f-table").await.trim(), table(-1.5).trim());
    is_fit(&window, scripts).await;
    window.tab_to("#f-as-read", 60).await;
    window.press(Key::Space).await;
    window.tab_to("button.do", 1).await;
    window.press(Key::Enter).await;
    window.on("#references").await;
    is_fit(&window, scripts).await;
    let doubts = window.text("table[aria-labelledby='rounds']").await;
    assert!(doubts.contains("origin along Y"), "{doubts}");
    window
        .tab_to("table[aria-labelledby='rounds'] tbody tr:last-child input", 40)
        .await;
    window.write("datum B from the wrong step").await;
    window.press(Key::Enter).await;
    // The button that takes it in again is on the page that follows, and on no other.
    window.on("button[name='take-in']").await;
    let said = window.text("table[aria-labelledby='rounds'] tbody tr:last-child").await;
    assert!(said.contains("Left out: datum B from the wrong step"), "{said}");
    // The budget of a number, as a table and as bars.
    window.tab_to("#c-9 a", 40).await;
    window.press(Key::Enter).await;
    let budget = window.text("table[aria-labelledby='budget']").await;
    assert!(budget.contains("combined"), "{budget}");
    assert_eq!(window.all("figure[aria-label='Budget as bars'] svg").await.len(), 1);
    is_fit(&window, scripts).await;
    window.tab_to("form[action$='/rounds/accept'] button", 60).await;
    window.press(Key::Enter).await;
    let holds = async || window.path().await == PLATE;
    window.until("the plate's page", holds).await;
    assert!(window.text("main").await.contains("mean of the rounds"));
    is_fit(&window, scripts).await;
}
