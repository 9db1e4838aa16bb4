//! The plate drawer in a browser: out, in, label and place, dropped, put back, and what the register, the labels and the
//! history say of it; with the mouse at a desk, with the keyboard alone as wide as a telephone, and with script off.

use fantoccini::key::Key;

use super::accessibility::is_fit;
use super::window::{Scripts, Window};
use crate::stories::site::{Browser, PASSPHRASE, Site};

const PLATE: &str = "/exercises/1/plates/1";
const LABELS: &str = "/exercises/1/labels";

/// Most steps of the Tab key through a page of a plate.
const TABS: usize = 60;

/// An instructor's hands at a window.
struct Hands {
    window: Window,
    scripts: Scripts,
    /// Without a mouse.
    keys: bool,
}

impl Hands {
    /// Puts this into the field, in place of what stands there.
    async fn write(&self, field: &str, text: &str) {
        if !self.keys {
            return self.window.fill(field, text).await;
        }
        self.window.tab_to(field, TABS).await;
        // What stands in a field is marked when the keyboard comes to it.
        self.window.press(Key::Delete).await;
        self.window.write(text).await;
    }

    /// Presses a button of the drawer and waits for this on the page that follows.
    async fn act(&self, act: &str, then: &str) {
        let button = format!("button[name='act'][value='{act}']");
        if self.keys {
            self.window.tab_to(&button, TABS).await;
            self.window.press(Key::Enter).await;
        } else {
            self.window.click(&button).await;
        }
        self.window.on(then).await;
    }

    async fn is_fit(&self) {
        is_fit(&self.window, self.scripts).await;
    }

    /// What came back says so at this field and in the list above, and holds what was typed.
    async fn is_to_mend(&self, field: &str, words: &str, typed: &str) {
        let window = &self.window;
        window.on(&format!("#f-{field}[aria-invalid='true']")).await;
        let said = window.text(&format!("#f-{field}-mend")).await;
        assert!(said.contains(words), "{field}: {said}");
        window.on(&format!(".to-mend a[href='#f-{field}']")).await;
        assert_eq!(window.value(&format!("#f-{field}")).await, typed);
        self.is_fit().await;
    }

    /// The plate's line in the register.
    async fn line(&self) -> String {
        self.window.go("/plates").await;
        self.window.text(&format!("tr:has(a[href='{PLATE}'])")).await
    }

    async fn on_labels(&self) -> bool {
        self.window.go(LABELS).await;
        self.window.text("main").await.contains("SB-11-01")
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn plates_go_out_and_in_with_the_mouse() {
    walk(Scripts::On, false, 1400).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn plates_go_out_and_in_with_the_keyboard_on_a_telephone() {
    walk(Scripts::On, true, 360).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn plates_go_out_and_in_without_script() {
    walk(Scripts::Off, false, 360).await;
}

async fn walk(scripts: Scripts, keys: bool, width: u32) {
    let site = Site::open().await;
    let window = Window::open(&site, scripts).await;
    if scripts == Scripts::On {
        window.widen(width).await;
    }
    window.sign_in("ferro", PASSPHRASE).await;
    let hands = Hands { window, scripts, keys };
    let line = hands.line().await;
    assert!(line.contains("in service"), "{line}");
    hands.is_fit().await;
    assert!(hands.on_labels().await);
    hands.window.go(PLATE).await;
    out_and_in(&hands).await;
    somebody_was_quicker(&hands, &site.instructor().await).await;
    label_and_place(&hands, &site.instructor().await).await;
    dropped(&hands).await;
}

async fn out_and_in(hands: &Hands) {
    let window = &hands.window;
    hands.act("out", "#f-holder-mend").await;
    hands.is_to_mend("holder", "rite who takes the plate", "").await;
    let long = "x".repeat(201);
    hands.write("#f-holder", &long).await;
    hands.act("out", "#f-holder-mend").await;
    hands.is_to_mend("holder", "at most 200 characters", &long).await;
    hands.write("#f-holder", "Pair A").await;
    hands.act("out", "button[value='in']").await;
    assert_eq!(window.path().await, PLATE);
    assert!(window.text("main").await.contains("Out to Pair A since"));
    let line = hands.line().await;
    assert!(line.contains("Pair A, since"), "{line}");
    hands.is_fit().await;
    window.go(PLATE).await;
    hands.write("#f-remark", &long).await;
    hands.act("in", "#f-remark-mend").await;
    hands.is_to_mend("remark", "at most 200 characters", &long).await;
    hands.write("#f-remark", "a burr on the riser").await;
    hands.act("in", "#f-holder").await;
    let all = window.text("main").await;
    assert!(all.contains("gave it out: Pair A"), "{all}");
    assert!(all.contains("took it in: a burr on the riser"), "{all}");
    let line = hands.line().await;
    assert!(!line.contains("Pair A"), "{line}");
}

/// What was typed is kept beside what somebody else did meanwhile.
async fn somebody_was_quicker(hands: &Hands, colleague: &Browser) {
    let (window, drawer) = (&hands.window, format!("{PLATE}/drawer"));
    window.go(PLATE).await;
    colleague
        .send(&drawer, &[("act", "out"), ("holder", "Pair B")])
        .await
        .is(200);
    hands.write("#f-holder", "Pair A").await;
    hands.act("out", "#f-holder-mend").await;
    hands.is_to_mend("holder", "out already", "Pair A").await;
    assert!(window.text("main").await.contains("Out to Pair B since"));
    colleague.send(&drawer, &[("act", "in")]).await.is(200);
    hands.write("#f-remark", "a scratch").await;
    hands.act("in", "#f-remark-mend").await;
    hands.is_to_mend("remark", "in the drawer already", "a scratch").await;
}

async fn label_and_place(hands: &Hands, colleague: &Browser) {
    let window = &hands.window;
    window.go(PLATE).await;
    // Each is said at its own field.
    let long = "y".repeat(201);
    hands.write("#f-label", &long).await;
    hands.write("#f-place", "drawer 3").await;
    hands.act("place", "#f-label-mend").await;
    hands.is_to_mend("label", "at most 200 characters", &long).await;
    assert!(window.all("#f-place-mend").await.is_empty());
    assert_eq!(window.value("#f-place").await, "drawer 3");
    // Somebody else writes meanwhile.
    let other = [("act", "place"), ("label", "red dot"), ("place", "cupboard")];
    colleague.send(&format!("{PLATE}/drawer"), &other).await.is(200);
    hands.write("#f-label", "blue dot").await;
    hands.act("place", "#f-place-mend").await;
    hands.is_to_mend("label", "red dot", "blue dot").await;
    hands.is_to_mend("place", "cupboard", "drawer 3").await;
    hands
        .act("place", "#f-place[value='drawer 3']:not([aria-invalid])")
        .await;
    assert_eq!(window.value("#f-label").await, "blue dot");
    let line = hands.line().await;
    assert!(line.contains("blue dot") && line.contains("drawer 3"), "{line}");
}

async fn dropped(hands: &Hands) {
    let window = &hands.window;
    window.go(PLATE).await;
    hands.act("withdraw", "#f-why-mend").await;
    hands.is_to_mend("why", "what happened to the plate", "").await;
    hands.write("#f-why", "dropped on its corner").await;
    hands.act("withdraw", "button[value='put-back']").await;
    let all = window.text("main").await;
    assert!(all.contains("Withdrawn: dropped on its corner."), "{all}");
    assert!(all.contains("withdrew it: dropped on its corner"), "{all}");
    hands.is_fit().await;
    let line = hands.line().await;
    assert!(line.contains("withdrawn: dropped on its corner"), "{line}");
    hands.is_fit().await;
    assert!(!hands.on_labels().await);
    window.go(PLATE).await;
    hands.act("put-back", "#f-why").await;
    assert!(window.text("main").await.contains("put it back in service"));
    assert!(hands.on_labels().await);
}
