//! A student writes the report without a mouse.

use fantoccini::key::Key;
use platemark::store::assignments::Feedback;

use super::window::{Scripts, Window};
use crate::stories::site::{PIN, Site, shipped};

/// Arrow presses from "no call yet" to a call.
fn presses(call: &str) -> usize {
    let words = ["conforming", "nonconforming", "undecided"];
    1 + words.iter().position(|w| *w == call).unwrap()
}

/// Signs in and goes to the entry page, from link to link.
async fn to_entry(window: &Window) {
    window.go("/").await;
    window.tab_to("#f-name", 5).await;
    window.write("anna").await;
    window.tab_to("#f-secret", 1).await;
    window.write(PIN).await;
    window.press(Key::Enter).await;
    window.on("ul.roll a[href^='/my/']").await;
    window.tab_to("ul.roll a[href^='/my/']", 8).await;
    window.press(Key::Enter).await;
    window.on("a[href$='/entry']").await;
    window.tab_to("a[href$='/entry']", 8).await;
    window.press(Key::Enter).await;
    window.on("#values").await;
    window.tab_to("a[href='#values']", 8).await;
    window.press(Key::Enter).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_written_and_handed_in_with_the_keyboard_alone() {
    let site = Site::open().await;
    site.assign(1, Feedback::Words).await;
    let window = Window::open(&site, Scripts::On).await;
    to_entry(&window).await;
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv");
    let mut lines = 0;
    for line in csv.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        // One value as no careful pair gets it.
        let measured = if cells[0] == "6" { "101.950" } else { cells[1] };
        // At most the two balloons of a line lie between one field and the next.
        window.tab_to(&format!("#f-m-{}", cells[0]), 2).await;
        window.write(measured).await;
        window.tab_to(&format!("#f-c-{}", cells[0]), 1).await;
        for _ in 0..presses(cells[2]) {
            window.press(Key::Down).await;
        }
        assert_eq!(window.value(&format!("#f-c-{}", cells[0])).await, cells[2]);
        lines += 1;
    }
    // Script is on: it gave the fields their keypad.
    window.on("#f-m-1[inputmode='decimal']").await;
    window.tab_to("button[value='hand-in']", 1).await;
    window.press(Key::Space).await;

    let summary = window.text("p.said").await;
    assert!(window.path().await.starts_with("/my/reports/"));
    assert!(
        summary.starts_with(&format!("{} of {lines} values agree with the plate.", lines - 1)),
        "{summary}"
    );
    let six = window.text("#c-6 td[data-head='with the plate']").await;
    assert_eq!(six, "does not agree");
    let own = window.text("#c-6 td[data-head='your value']").await;
    assert_eq!(own, "101.950");
    let five = window.text("#c-5 td[data-head='with the plate']").await;
    assert_eq!(five, "agrees");
}

#[tokio::test(flavor = "multi_thread")]
async fn enter_and_arrows_go_up_and_down_the_column() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("anna", PIN).await;
    window.go(&format!("/my/{assignment}/entry")).await;
    window.click("#f-m-1").await;
    for (key, at) in [
        (Key::Enter, "#f-m-2"),
        (Key::Down, "#f-m-3"),
        (Key::Up, "#f-m-2"),
        (Key::Enter, "#f-m-3"),
    ] {
        window.press(key).await;
        assert!(window.is_at(at).await, "{at}");
    }
    // Nothing was handed in by Enter.
    assert_eq!(window.path().await, format!("/my/{assignment}/entry"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_typed_is_kept_without_a_button() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("anna", PIN).await;
    let entry = format!("/my/{assignment}/entry");
    window.go(&entry).await;
    window.click("#f-m-2").await;
    window.write("-8.018").await;
    window.press(Key::Tab).await;
    window.on("[data-kept]:not(:empty)").await;
    assert!(window.text("[data-kept]").await.starts_with("Kept "));
    window.go(&entry).await;
    assert_eq!(window.value("#f-m-2").await, "-8.018");
}
