//! What a print cannot tell, said beside the form while an exercise is made, and the button that adds what would tell it.

use fantoccini::key::Key;

use super::accessibility::violations;
use super::authoring::begin;
use super::window::{Scripts, Window};
use crate::stories::site::Site;

/// Adds Y of the hole.
const ADD: &str = "button[value='ask hole-1 y']";

/// A draft of a plate with one hole, of which X and the diameter are asked for: nothing shows what is off along Y.
async fn draft(site: &Site, scripts: Scripts) -> (Window, String) {
    let window = Window::open(site, scripts).await;
    begin(&window, "IN-01", "Plate with one hole").await;
    window.click("button[value='add circle']").await;
    window.on("#f-f0-at-0").await;
    window
        .fill_all(&[("#f-f0-at-0", "40"), ("#f-f0-at-1", "30"), ("#f-f0-diameter", "12")])
        .await;
    window.on("#f-f0c2-of").await;
    assert_eq!(window.value("#f-f0c2-of").await, "y");
    window.click("button[value='drop f0c2']").await;
    let gone = async || window.all("#f-f0c2-of").await.is_empty();
    window.until("Y is taken out", gone).await;
    let path = window.path().await;
    (window, path)
}

/// Y is in the form with its limits, and has its balloon on the drawing.
async fn is_there(window: &Window) {
    window.on("#f-f0c2-of").await;
    assert_eq!(window.value("#f-f0c2-of").await, "y");
    assert_eq!(window.value("#f-f0c2-no").await, "3");
    window.on("#live-drawing svg #b-3").await;
    assert!(window.text("#live-drawing figcaption").await.contains("3 numbers"));
    assert!(window.text("#follows-f0c2").await.contains("29.900 to 30.100 mm"));
}

/// The step is taken back and done again, then published with all three.
async fn goes_back_and_is_published(window: &Window) {
    window.click("#live-back").await;
    let gone = async || window.all("#f-f0c2-of").await.is_empty();
    window.until("the step is taken back", gone).await;
    assert!(window.all("#live-drawing svg #b-3").await.is_empty());
    window.click("#live-forward").await;
    is_there(window).await;
    window.on("#live-mend > p.quiet").await;
    window.click("button[value='publish']").await;
    window.on("#characteristics").await;
    let row = window.text("#c-3").await;
    assert!(row.contains("Hole 1") && row.contains("30.000"), "{row}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_would_tell_a_mistake_is_added_by_its_button_beside_the_form() {
    let site = Site::open().await;
    let (window, path) = draft(&site, Scripts::On).await;
    window.on(&format!("#insight-here {ADD}")).await;
    let told = window.text("#insight-here").await;
    assert!(told.contains("Add characteristic Y of Hole 1"), "{told}");
    for width in [360, 1400] {
        window.widen(width).await;
        let found = violations(&window).await;
        assert!(found.is_empty(), "{width}: {found:?}");
    }
    window.click(ADD).await;
    window.on("#f-f0c2-tolerance:focus").await;
    is_there(&window).await;
    assert_eq!(window.path().await, path);
    // Asked for now, so nobody proposes it again.
    window.on("#insight-here .roll, #insight-here > p").await;
    assert!(window.all(ADD).await.is_empty());
    goes_back_and_is_published(&window).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_button_is_reached_by_the_keyboard() {
    let site = Site::open().await;
    let (window, _) = draft(&site, Scripts::On).await;
    window.on(ADD).await;
    window.on("a[href='#drawing']").await;
    window.click("a[href='#drawing']").await;
    window.tab_to(ADD, 40).await;
    window.press(Key::Enter).await;
    window.on("#f-f0c2-tolerance:focus").await;
    is_there(&window).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_would_tell_a_mistake_is_added_without_script() {
    let site = Site::open().await;
    let (window, path) = draft(&site, Scripts::Off).await;
    window.click("#insight-here a").await;
    window.on("#insight-found").await;
    assert_eq!(window.path().await, format!("{path}/insight"));
    window.click(ADD).await;
    window.on("#f-f0c2-tolerance[autofocus]").await;
    assert_eq!(window.path().await, path);
    is_there(&window).await;
    // The page of proposals has one less.
    window.go(&format!("{path}/insight")).await;
    window.on("#insight-found").await;
    assert!(window.all(ADD).await.is_empty());
    window.go(&path).await;
    goes_back_and_is_published(&window).await;
}
