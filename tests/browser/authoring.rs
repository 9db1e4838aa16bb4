//! An exercise is made in a real browser: with the keyboard alone, and with script off.

use std::time::Instant;

use fantoccini::key::Key;

use super::window::{Scripts, Window};
use crate::stories::site::{PASSPHRASE, Site};

/// Signs in and begins the draft of a plate with nothing on it yet.
pub(super) async fn begin(window: &Window, code: &str, title: &str) {
    window.sign_in("ferro", PASSPHRASE).await;
    window.go("/exercises/new").await;
    let blank = [
        ("#f-code", code),
        ("#f-title", title),
        ("#f-length", "120"),
        ("#f-width", "80"),
        ("#f-thickness", "20"),
    ];
    window.fill_all(&blank).await;
    window.click("button[value='blank']").await;
}

/// A window that counts what a person does.
struct Hands {
    window: Window,
    /// Fields written or chosen, and buttons pressed.
    steps: usize,
}

impl Hands {
    async fn write(&mut self, field: &str, text: &str) {
        self.window.tab_to(field, 14).await;
        self.window.write(text).await;
        self.steps += 1;
    }

    async fn press(&mut self, button: &str, at_most: usize, then: &str) {
        self.window.tab_to(button, at_most).await;
        self.window.press(Key::Space).await;
        self.window.on(then).await;
        self.steps += 1;
    }

    /// A hole: its button, its place and diameter, a tolerance; the cursor begins in its name.
    async fn hole(&mut self, i: usize, [x, y, diameter]: [&str; 3], tolerance: &str) {
        self.press("button[value='add circle']", 60, &format!("#f-f{i}-name:focus"))
            .await;
        self.write(&format!("#f-f{i}-at-0"), x).await;
        self.write(&format!("#f-f{i}-at-1"), y).await;
        self.write(&format!("#f-f{i}-diameter"), diameter).await;
        self.write(&format!("#f-f{i}c0-tolerance"), tolerance).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_exercise_with_twelve_numbers_is_made_with_the_keyboard_alone() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go("/exercises/new").await;
    window.on("#f-code").await;
    let begun = Instant::now();
    let mut hands = Hands { window, steps: 0 };
    for (field, text) in [
        ("#f-code", "KB-01"),
        ("#f-title", "Keyboard plate"),
        ("#f-length", "120"),
        ("#f-width", "80"),
        ("#f-thickness", "20"),
    ] {
        hands.write(field, text).await;
    }
    hands.press("button[value='blank']", 2, "form[data-author]").await;
    hands.hole(0, ["30", "20", "10"], "H7").await;
    hands.hole(1, ["90", "20", "10"], "H7").await;
    hands.hole(2, ["90", "60", "8"], "+0.02/0").await;
    hands.hole(3, ["30", "60", "8"], "±0.03").await;
    // The drawing and the limits have followed by themselves.
    let window = &hands.window;
    window.press(Key::Tab).await;
    window.on("#live-mend > p.quiet").await;
    assert!(window.text("#follows-f0c0").await.contains("10.000 to 10.015 mm"));
    assert!(window.text("#live-drawing figcaption").await.contains("12 numbers"));
    hands.press("button[value='publish']", 70, "#characteristics").await;
    let seconds = begun.elapsed().as_secs();
    assert!(hands.window.path().await.starts_with("/exercises/"));
    // A person takes 6 to 10 seconds for a field (own estimate, no published source); 15 minutes are 900 seconds.
    assert_eq!(hands.steps, 27);
    assert!(seconds < 900, "{seconds} s");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_typed_is_kept_at_each_change_and_wrong_things_stand_at_their_field() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&format!("/exercises/{}", site.exercise)).await;
    window.click("form[action$='/edit'] button").await;
    window.on("form[data-author]").await;
    let path = window.path().await;
    window.fill("#f-body-thickness", "25,5").await;
    window.press(Key::Tab).await;
    window.on("#w-body-thickness.wrong #s-body-thickness .mend").await;
    assert!(window.text("#s-body-thickness").await.contains("is no number"));
    window.on("#f-body-thickness[aria-invalid='true']").await;
    // Without any button: the page is simply opened again.
    window.go(&path).await;
    assert_eq!(window.value("#f-body-thickness").await, "25,5");
    window.fill("#f-body-thickness", "25").await;
    window.press(Key::Tab).await;
    window.on("#w-body-thickness:not(.wrong)").await;
    window.on("#live-mend > p.quiet").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_exercise_is_made_with_script_off() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::Off).await;
    begin(&window, "SO-01", "Plain plate").await;
    window.click("button[value='add circle']").await;
    window.on("#f-f0-name[autofocus]").await;
    window
        .fill_all(&[("#f-f0-at-0", "40"), ("#f-f0-at-1", "40"), ("#f-f0-diameter", "12")])
        .await;
    window.click("button[value='draw']").await;
    window.on("#live-mend > p.quiet").await;
    assert!(window.text("#follows-f0c0").await.contains("11.900 to 12.100 mm"));
    window.click("button[value='publish']").await;
    window.on("#characteristics").await;
    assert!(window.path().await.starts_with("/exercises/"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_typed_while_the_page_follows_is_not_lost() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::On).await;
    begin(&window, "TL-01", "Plate").await;
    window.click("button[value='add circle']").await;
    window.on("#f-f0-name:focus").await;
    // Another kind has other fields, so the form is made anew while the name is being written.
    window.tab_to("#f-f0-kind", 1).await;
    window.press(Key::Down).await;
    window.press(Key::Down).await;
    assert_eq!(window.value("#f-f0-kind").await, "slot");
    window.press(Key::Tab).await;
    window.click("#f-f0-name").await;
    window.press(Key::End).await;
    for letter in [" of", " the", " long", " name", " that", " takes", " its", " time"] {
        window.write(letter).await;
    }
    window.on("#f-f0-length").await;
    window.write(" too").await;
    assert_eq!(
        window.value("#f-f0-name").await,
        "Hole 1 of the long name that takes its time too"
    );
    window.press(Key::Tab).await;
    window.on("#live-mend").await;
    let path = window.path().await;
    tokio::time::sleep(std::time::Duration::from_secs(4)).await;
    window.go(&path).await;
    assert_eq!(
        window.value("#f-f0-name").await,
        "Hole 1 of the long name that takes its time too"
    );
}

/// One wrong thing: the field, what is typed there, where it is said, and with which words.
const WRONG: [[&str; 4]; 8] = [
    ["#f-f0-at-0", "130", "f0-at", "is outside the body"],
    ["#f-f1-at-0", "36", "f1-at", "overlap by 4"],
    ["#f-f1-at-0", "40.4", "f1-at", "at least 1 mm"],
    [
        "#f-f0c0-tolerance",
        "±0.004",
        "f0c0-tolerance",
        "no wider than the uncertainty",
    ],
    ["#f-d0-touches", "10 10", "d0-touches", "needs at least 3"],
    ["#f-f1c0-no", "2", "f1c0-no", "is taken at Hole 1"],
    ["#f-f0c1-nominal", "31", "f0c1-nominal", "contradicts the geometry"],
    ["#f-f1-depth", "19.7", "f1-depth", "leaves a floor of 0.3"],
];

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_is_said_at_its_field_while_the_exercise_is_made() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::On).await;
    begin(&window, "WR-01", "Plate").await;
    for (i, [x, depth]) in [["30", ""], ["60", "12"]].into_iter().enumerate() {
        window.click("button[value='add circle']").await;
        window.on(&format!("#f-f{i}-at-0")).await;
        window.fill(&format!("#f-f{i}-at-0"), x).await;
        window.fill(&format!("#f-f{i}-at-1"), "25").await;
        window.fill(&format!("#f-f{i}-diameter"), "10").await;
        window.fill(&format!("#f-f{i}-depth"), depth).await;
    }
    window.press(Key::Tab).await;
    window.on("#live-mend > p.quiet").await;
    let draft = window.path().await;
    for [field, typed, place, words] in WRONG {
        window
            .run("for (const d of document.querySelectorAll('details')) d.open = true; return true")
            .await;
        let before = window.value(field).await;
        window.fill(field, typed).await;
        window.press(Key::Tab).await;
        window.on(&format!("#w-{place}.wrong #s-{place} .mend")).await;
        // While it is typed the empty field may be spoken of first.
        let says = async || window.text(&format!("#s-{place}")).await.contains(words);
        window
            .until(&format!("{field} = {typed} is said to be {words}"), says)
            .await;
        window.on(&format!("#live-mend a[href='#w-{place}']")).await;
        // Kept without any button, and not published.
        window.go(&draft).await;
        assert_eq!(window.value(field).await, typed);
        let publish = async || window.click("button[value='publish']").await;
        window.onward("the page comes back", publish).await;
        window.on(&format!("#w-{place}.wrong")).await;
        assert_eq!(window.path().await, draft);
        window
            .run("for (const d of document.querySelectorAll('details')) d.open = true; return true")
            .await;
        window.fill(field, &before).await;
        window.press(Key::Tab).await;
        window.on("#live-mend > p.quiet").await;
    }
    window.click("button[value='publish']").await;
    window.on("#characteristics").await;
}
