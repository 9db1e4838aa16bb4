//! One number at a time, the result and its query, the gradebook's filter and the page of an assignment: with the keyboard
//! alone, and where nothing may run in the browser.

use fantoccini::key::Key;
use platemark::store::assignments::Feedback;
use platemark::store::ids::AssignmentId;

use super::faults::is_fit_for_a_telephone;
use super::review::leaves;
use super::window::{Scripts, Window};
use crate::stories::site::{DAY, PASSPHRASE, PIN, Site, shipped};

/// Numbers, values and calls of the careful report, in the order of the sheet.
pub(super) fn careful() -> Vec<[String; 3]> {
    let text = shipped("SB-11/reports/SB-11-01--careful.csv");
    let line = |line: &str| {
        let mut cells = line.split(',').map(str::to_owned);
        [cells.next().unwrap(), cells.next().unwrap(), cells.next().unwrap()]
    };
    text.lines().skip(1).map(line).collect()
}

/// Waits until there is no such element any more.
async fn gone(window: &Window, css: &str) {
    let holds = async || window.all(css).await.is_empty();
    window.until(&format!("`{css}` is gone"), holds).await;
}

/// Waits until the page of this number is there.
async fn at_number(window: &Window, no: &str) {
    window.on(&format!("form.entry #f-m-{no}")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn one_number_at_a_time_with_the_keyboard_alone() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("anna", PIN).await;
    window.widen(360).await;
    window.go(&format!("/my/{assignment}/entry")).await;
    window.tab_to("p.to-screen a[href*='/entry/']", 10).await;
    window.press(Key::Enter).await;
    let lines = careful();
    for [no, value, call] in &lines {
        at_number(&window, no).await;
        window.tab_to(&format!("#f-m-{no}"), 12).await;
        window.write(value).await;
        // Past the key that turns the sign; nothing is chosen yet, so Tab comes to the first call, and arrows go on.
        window.tab_to(&format!("#f-c-{no} input[value='conforming']"), 2).await;
        window.press(Key::Space).await;
        if call == "nonconforming" {
            window.press(Key::Down).await;
        }
        let chosen = format!("#f-c-{no} input[value='{call}']");
        assert!(window.is_at(&chosen).await);
        window.tab_to("form.entry button.do", 2).await;
        window.press(Key::Enter).await;
    }
    window.on("#values").await;
    for [no, value, call] in &lines {
        assert_eq!(&window.value(&format!("#f-m-{no}")).await, value);
        assert_eq!(&window.value(&format!("#f-c-{no}")).await, call);
    }
    window.tab_to("button[value='hand-in']", 120).await;
    window.press(Key::Enter).await;
    window.on("#talk").await;
    let summary = window.text("p.said").await;
    assert!(summary.starts_with("17 of 17 values agree"), "{summary}");
}

#[tokio::test(flavor = "multi_thread")]
async fn one_number_at_a_time_without_script() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let window = Window::open(&site, Scripts::Off).await;
    window.sign_in("anna", PIN).await;
    window.go(&format!("/my/{assignment}/entry?order=number")).await;
    window.click("p.to-screen a[href*='/entry/1']").await;
    let lines = careful();
    let numbered = |n: usize| lines.iter().find(|l| l[0] == n.to_string()).unwrap();
    for n in 1..=lines.len() {
        let [no, value, call] = numbered(n);
        at_number(&window, no).await;
        if n == 2 {
            // What is no number comes back as it was typed; so does one that the print does not allow.
            window.fill("#f-m-2", "about eight").await;
            window.press(Key::Enter).await;
            window.on("#f-m-2[aria-invalid='true']").await;
            assert_eq!(window.value("#f-m-2").await, "about eight");
        }
        window.fill(&format!("#f-m-{no}"), value).await;
        window.click(&format!("#f-c-{no} input[value='{call}']")).await;
        if n == 3 {
            // Enter sends what is written and goes on; Back brings it again.
            window.click(&format!("#f-m-{no}")).await;
            window.press(Key::Enter).await;
            at_number(&window, "4").await;
            window.click("form.entry a.do-less").await;
            at_number(&window, "3").await;
            assert_eq!(&window.value("#f-m-3").await, value);
        }
        window.click("form.entry button.do").await;
    }
    window.on("#values").await;
    for [no, value, call] in &lines {
        assert_eq!(&window.value(&format!("#f-m-{no}")).await, value);
        assert_eq!(&window.value(&format!("#f-c-{no}")).await, call);
    }
    // Enter in the table keeps what is written, and hands nothing in by accident.
    window.click("#f-m-5").await;
    window.press(Key::Enter).await;
    window.on("#values").await;
    assert_eq!(window.path().await, format!("/my/{assignment}/entry"));
    assert_eq!(&window.value("#f-m-5").await, &numbered(5)[1]);
}

/// Pair A has handed in a careful report, and has two attempts more.
async fn handed_in(site: &Site) -> (AssignmentId, String) {
    let assignment = site.assign(3, Feedback::Words).await;
    let pair = site.pair("A").await;
    let page = pair
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await;
    (assignment, page.is(200).path.clone())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pair_reads_its_result_asks_and_tries_again_with_the_keyboard_alone() {
    let site = Site::open().await;
    let (assignment, result) = handed_in(&site).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("anna", PIN).await;
    window.widen(360).await;
    window.go(&result).await;
    // A balloon of the table leads to the drawing, and the one there back.
    window.tab_to("#c-1 a", 80).await;
    window.press(Key::Enter).await;
    assert!(
        window
            .run("return location.hash")
            .await
            .as_str()
            .unwrap()
            .starts_with("#b-")
    );
    window.go(&result).await;
    window.tab_to("details:has(#f-text) > summary", 140).await;
    window.press(Key::Space).await;
    window.tab_to("#f-no", 1).await;
    window.write("4").await;
    window.tab_to("#f-text", 1).await;
    window.write("Is the call at four wrong for the plate?").await;
    window.tab_to("form[action$='/query'] button", 1).await;
    window.press(Key::Enter).await;
    window.on("#talk .own").await;
    let talk = window.text("#talk").await;
    assert!(talk.contains("Is the call at four wrong for the plate?"), "{talk}");
    is_fit_for_a_telephone(&window, "a result with a query").await;
    let again = format!("a.do[href='/my/{assignment}/entry']");
    window.go(&result).await;
    window.tab_to(&again, 160).await;
    window.press(Key::Enter).await;
    window.on("#values").await;
    // The second attempt begins empty.
    assert_eq!(window.value("#f-m-1").await, "");
    assert_eq!(window.value("input[name='attempt']").await, "2");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_gradebook_is_sifted_and_sorted_with_the_keyboard_alone() {
    let site = Site::open().await;
    let (_, result) = handed_in(&site).await;
    // The due time is past, and pair B has handed in nothing.
    site.service.clock.put_forward(8 * DAY);
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&format!("/classes/{}/gradebook", site.class)).await;
    assert_eq!(window.all("table.grid:not(.to-paper) tbody tr").await.len(), 2);
    // Students who have something missing.
    window.tab_to("#f-by", 16).await;
    window.write("students").await;
    window.tab_to("#f-only", 1).await;
    window.press(Key::Down).await;
    window.press(Key::Tab).await;
    window.press(Key::Enter).await;
    window.on("#f-only option[value='missing'][selected]").await;
    assert_eq!(window.all("table.grid:not(.to-paper) tbody tr").await.len(), 2);
    let names = window.text("table.grid:not(.to-paper) tbody").await;
    assert!(
        names.contains("bela") && names.contains("bora") && !names.contains("anna"),
        "{names}"
    );
    // A name as well.
    window.tab_to("#f-find", 16).await;
    window.write("bor").await;
    window.press(Key::Enter).await;
    window.on("#f-find[value='bor']").await;
    assert_eq!(window.all("table.grid:not(.to-paper) tbody tr").await.len(), 1);
    // What fits nothing says so; and everything comes back.
    window.tab_to("#f-find", 16).await;
    window.write("x").await;
    window.press(Key::Enter).await;
    window.on("p.none").await;
    window
        .go(&format!("/classes/{}/gradebook?by=students", site.class))
        .await;
    // Sorted by total, with the arrows from head to mark, and to the report.
    window.tab_to("table.grid thead th:nth-child(2) a", 24).await;
    window.press(Key::Enter).await;
    window
        .on("table.grid th:nth-child(2)[aria-sort='descending'], table.grid th:nth-child(2)[aria-sort='ascending']")
        .await;
    window.tab_to("table.grid thead th:nth-child(3) a", 24).await;
    for _ in 0..4 {
        window.press(Key::Down).await;
        if window
            .is_at(&format!("table.grid a[href='{}']", result.replacen("/my", "", 1)))
            .await
        {
            break;
        }
    }
    window.press(Key::Enter).await;
    window.on("#review").await;
    assert_eq!(window.path().await, result.replacen("/my", "", 1));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mark_is_set_said_and_taken_back_with_the_keyboard_alone() {
    let site = Site::open().await;
    let (_, result) = handed_in(&site).await;
    let report = result.replacen("/my", "", 1);
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&report).await;
    // A mark that is none comes back with what was typed.
    window.tab_to("#f-mark", 140).await;
    window.write("101").await;
    window.tab_to("#f-reason", 1).await;
    window.write("Measured with care.").await;
    window.tab_to("button[value='set-mark']", 1).await;
    window.press(Key::Enter).await;
    window.on("#f-mark[aria-invalid='true']").await;
    assert_eq!(window.value("#f-mark").await, "101");
    assert_eq!(window.value("#f-reason").await, "Measured with care.");
    window.fill("#f-mark", "91.5").await;
    // Enter in the field sets the mark.
    window.press(Key::Enter).await;
    window.on("button[value='take-mark-back']").await;
    // Where one is set already, Enter sets the next and takes nothing back.
    window.fill("#f-mark", "92").await;
    window.fill("#f-reason", "Counted again.").await;
    window.click("#f-mark").await;
    window.press(Key::Enter).await;
    let set = "return document.querySelector('#review').textContent.includes('Counted again.')";
    let holds = async || window.run(set).await == serde_json::Value::Bool(true);
    window.until("the mark is set", holds).await;
    let review = window.text("#review").await;
    assert!(review.contains("Set to 92: Counted again."), "{review}");
    // Words to the pair, and withdrawn.
    window.tab_to("#f-remark", 140).await;
    window.write("A clean set-up.").await;
    window.tab_to("button[value='remark']", 1).await;
    window.press(Key::Enter).await;
    window.on("button[value^='withdraw:']").await;
    is_fit_for_a_telephone(&window, "a report with a set mark").await;
    window.tab_to("button[value^='withdraw:']", 160).await;
    window.press(Key::Enter).await;
    gone(&window, "button[value^='withdraw:']").await;
    window.on("#review").await;
    window.tab_to("button[value='take-mark-back']", 160).await;
    window.press(Key::Enter).await;
    gone(&window, "button[value='take-mark-back']").await;
    window.go(&report).await;
    assert!(window.all("button[value='take-mark-back']").await.is_empty());
    assert!(window.all("button[value^='withdraw:']").await.is_empty());
    let trail = window.text("#review ul.roll").await;
    assert!(trail.contains("91.5") && trail.contains("92"), "{trail}");
}

/// Releases the marks, and excuses a student.
async fn releases_and_excuses(window: &Window, assignment: AssignmentId, by_keys: bool) {
    let press = async |css: &str| {
        if by_keys {
            window.tab_to(css, 60).await;
            window.press(Key::Enter).await;
        } else {
            window.click(css).await;
        }
    };
    window.go(&format!("/assignments/{assignment}")).await;
    press("form[action$='/release'] button").await;
    let said = window.text("p.said").await;
    assert!(said.starts_with("The marks were released"), "{said}");
    press("a[href$='/change']").await;
    window.on("#f-excuse_why").await;
    if by_keys {
        window.tab_to("#f-student", 40).await;
        window.write("bora").await;
        window.tab_to("#f-excuse_why", 1).await;
        window.write("ill that week").await;
    } else {
        window.click("#f-student option:nth-child(2)").await;
        window.fill("#f-excuse_why", "ill that week").await;
    }
    press("button[value='excuse']").await;
    window.on("button[value='no-excuse']").await;
    assert!(window.text("main").await.contains("ill that week"));
    press("button[value='no-excuse']").await;
    gone(window, "button[value='no-excuse']").await;
    let page = format!("/assignments/{assignment}");
    window.go(&page).await;
    press("a[href$='/regrade']").await;
    assert_eq!(leaves(window, &page).await, format!("{page}/regrade"));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_assignment_is_looked_after_with_the_keyboard_alone() {
    let site = Site::open().await;
    let (assignment, _) = handed_in(&site).await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    releases_and_excuses(&window, assignment, true).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_assignment_is_looked_after_without_script() {
    let site = Site::open().await;
    let (assignment, _) = handed_in(&site).await;
    let window = Window::open(&site, Scripts::Off).await;
    window.sign_in("ferro", PASSPHRASE).await;
    releases_and_excuses(&window, assignment, false).await;
}
