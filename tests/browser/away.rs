//! Report entry where the network is away, beside a partner's device, and on a tablet that goes from hand to hand.

use std::time::Duration;

use fantoccini::key::Key;
use platemark::store::assignments::Feedback;
use reqwest::multipart::Form;
use serde_json::json;

use super::window::{Scripts, Window};
use crate::stories::site::{PIN, Site};

/// What the page says of keeping, as soon as it holds these words.
async fn says(window: &Window, words: &str) {
    let holds = async || window.text("[data-kept]").await.contains(words);
    window.until(words, holds).await;
}

/// Waits until the worker has kept this sheet.
async fn is_kept(window: &Window, path: &str) {
    let script = format!(
        "const done = arguments[0]; const look = () => caches.match('{path}').then((a) => a ? done(true) : setTimeout(look, 100)); \
         navigator.serviceWorker.ready.then(look);"
    );
    assert_eq!(window.run_until_called(&script).await, json!(true));
}

async fn type_into(window: &Window, field: &str, text: &str) {
    window.fill(field, text).await;
    window.press(Key::Tab).await;
}

/// What the browser holds of sheets, drafts and workers.
async fn left_behind(window: &Window) -> serde_json::Value {
    let script = "const done = arguments[0]; (async () => { \
        const sheets = (await caches.keys()).filter((n) => n.startsWith('sheets-of:')); \
        const workers = (await navigator.serviceWorker.getRegistrations()).length; \
        done([sheets.length, workers, Object.keys(localStorage).length]); })();";
    window.run_until_called(script).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_opens_again_without_a_network_with_all_that_was_typed() {
    let mut site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("anna", PIN).await;
    let entry = format!("/my/{assignment}/entry");
    window.go(&format!("{entry}/3")).await;
    // Both the sheet with one number and the one with all of them, which was never opened.
    is_kept(&window, &format!("{entry}/3")).await;
    is_kept(&window, &entry).await;
    type_into(&window, "#f-m-3", "0.011").await;
    says(&window, "Kept ").await;
    let there = site.address();
    site.close().await;

    type_into(&window, "#f-m-3", "8.013").await;
    says(&window, "Not at the server yet").await;
    window.go(&format!("{entry}/3")).await;
    says(
        &window,
        "The server does not answer. This sheet is the one that this device kept",
    )
    .await;
    assert_eq!(window.value("#f-m-3").await, "8.013");
    // Onward, to the sheet with all numbers: nothing is sent, nothing is lost.
    window.click("button.do").await;
    window.on("#values").await;
    says(&window, "The server did not answer, and nothing was handed in").await;
    assert_eq!(window.path().await, entry);
    assert_eq!(window.value("#f-m-3").await, "8.013");
    type_into(&window, "#f-m-1", "32.031").await;
    window.leave().await;
    window.go(&entry).await;
    says(&window, "The server does not answer").await;
    for (field, text) in [("#f-m-1", "32.031"), ("#f-m-3", "8.013")] {
        assert_eq!(window.value(field).await, text);
    }

    site.open_again().await;
    assert_eq!(site.address(), there, "somebody took the port");
    window.run("window.dispatchEvent(new Event('online'))").await;
    says(&window, "Kept ").await;
    let partner = site.sign_in("aron", PIN).await;
    let page = partner.get(&entry).await;
    page.has("value=\"32.031\"").has("value=\"8.013\"").has_not("0.011");
}

#[tokio::test(flavor = "multi_thread")]
async fn numbers_that_the_server_has_are_on_a_sheet_that_opens_without_it() {
    let mut site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("anna", PIN).await;
    let entry = format!("/my/{assignment}/entry");
    window.go(&entry).await;
    is_kept(&window, &entry).await;
    // The kept sheet is empty; what follows reaches the server and lies on the device no longer as unsent.
    type_into(&window, "#f-m-2", "-8.018").await;
    says(&window, "Kept ").await;
    site.close().await;
    window.leave().await;
    window.go(&entry).await;
    says(&window, "The server does not answer").await;
    assert_eq!(window.value("#f-m-2").await, "-8.018");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_partner_s_number_in_the_field_that_is_in_hand_is_not_emptied() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("anna", PIN).await;
    let entry = format!("/my/{assignment}/entry");
    window.go(&entry).await;
    let partner = site.sign_in("aron", PIN).await;
    partner.get(&entry).await;
    let form = Form::new().text("do", "keep").text("base", "{}").text("m-5", "45.01");
    partner.send_files(&entry, form).await.is(200);
    // The cursor stands in 5, empty on this device, while 4 is kept and the partner's 5 comes back with it.
    window.click("#f-m-4").await;
    window.write("1.5").await;
    window.run("document.querySelector('#f-m-5').focus()").await;
    says(&window, "Kept ").await;
    assert_eq!(window.value("#f-m-5").await, "");
    window.run("document.querySelector('#f-m-6').focus()").await;
    window.write("2.5").await;
    window.press(Key::Tab).await;
    says(&window, "Your partner's numbers are here too").await;
    assert_eq!(window.value("#f-m-5").await, "45.01");
    partner
        .get(&entry)
        .await
        .has("value=\"45.01\"")
        .has("value=\"1.5\"")
        .has("value=\"2.5\"");
}

#[tokio::test(flavor = "multi_thread")]
async fn signing_out_leaves_nothing_and_a_shared_tablet_keeps_nothing() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let entry = format!("/my/{assignment}/entry");
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("anna", PIN).await;
    window.go(&entry).await;
    is_kept(&window, &entry).await;
    type_into(&window, "#f-m-2", "-8.018").await;
    says(&window, "Kept ").await;
    assert_ne!(left_behind(&window).await, json!([0, 0, 0]));
    window.click("form[action='/sign-out'] button").await;
    window.on("#f-secret").await;
    assert_eq!(left_behind(&window).await, json!([0, 0, 0]));

    window.fill("#f-name", "bela").await;
    window.fill("#f-secret", PIN).await;
    window.click("input[name='shared']").await;
    window.click("button.do").await;
    window.on("form[action='/sign-out']").await;
    window.go(&entry).await;
    assert_eq!(window.value("#f-m-2").await, "");
    type_into(&window, "#f-m-2", "-8.011").await;
    says(&window, "Kept ").await;
    assert_eq!(left_behind(&window).await, json!([0, 0, 0]));
    window.click("form[action='/sign-out'] button").await;
    window.on("#f-secret").await;
    window.run("history.back()").await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    window.on("#f-secret").await;
    assert_eq!(window.all("#f-m-2").await.len(), 0);
}
