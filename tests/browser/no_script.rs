//! The same report with script off in the browser: every step is a page.

use platemark::store::assignments::Feedback;

use super::window::{Scripts, Window};
use crate::stories::site::{PIN, Site, shipped};

const FILE: &str = "SB-11/reports/SB-11-01--careful.csv";

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_mended_filled_from_a_file_and_handed_in_without_script() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let window = Window::open(&site, Scripts::Off).await;
    window.sign_in("anna", PIN).await;
    window.click("ul.roll a[href^='/my/']").await;
    window.click("a[href$='/entry']").await;
    window.on("#values").await;
    // Script is off: nobody gave the fields a keypad.
    assert!(window.all("[inputmode]").await.is_empty());

    // A file into the table.
    window.click("details:has(#f-table) > summary").await;
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("exercises")
        .join(FILE);
    window.choose_file("#f-table", &file).await;
    window.click("button[value='read']").await;
    window.on("p.said").await;
    let csv = shipped(FILE);
    for line in csv.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        assert_eq!(window.value(&format!("#f-m-{}", cells[0])).await, cells[1]);
        assert_eq!(window.value(&format!("#f-c-{}", cells[0])).await, cells[2]);
    }

    // A value that is no number comes back, with everything as it was typed.
    window.fill("#f-m-3", "about 0.011").await;
    window.fill("#f-m-4", "-14.986").await;
    window.click("button[value='hand-in']").await;
    window.on("#f-m-3[aria-invalid='true']").await;
    assert_eq!(window.path().await, format!("/my/{assignment}/entry"));
    assert_eq!(window.value("#f-m-3").await, "about 0.011");
    assert_eq!(window.value("#f-m-4").await, "-14.986");
    assert_eq!(window.value("#f-m-1").await, "0.022");
    assert_eq!(window.value("#f-c-5").await, "nonconforming");
    assert!(window.text("#f-m-3-mend").await.starts_with("To mend:"));
    // Its line in the summary leads to the field.
    window.click(".to-mend a").await;
    assert!(window.is_at("#f-m-3").await);

    window.fill("#f-m-3", "0.011").await;
    window.click("button[value='hand-in']").await;
    let own = window.text("#c-4 td[data-head='your value']").await;
    assert_eq!(own, "\u{2212}14.986");
    assert!(window.path().await.starts_with("/my/reports/"));
    let summary = window.text("p.said").await;
    assert!(
        summary.starts_with("17 of 17 values agree with the plate."),
        "{summary}"
    );
}
