//! One pair's evening on a telephone, from the slip of paper to the second attempt.

use fantoccini::key::Key;
use platemark::store::assignments::Feedback;
use platemark::store::ids::AssignmentId;

use super::desk::careful;
use super::faults::is_fit_for_a_telephone;
use super::window::{Scripts, Window};
use crate::stories::site::{PASSPHRASE, Site};

const NAME: &str = "Nela Quist";
const PIN_OF_HER_OWN: &str = "582043";

/// The instructor takes a late-comer in, prints her slip and gives her a pair of her own. What the slip says: the code, and
/// the name to sign in with.
async fn slip(window: &Window, site: &Site) -> (String, String) {
    let class = format!("/classes/{}", site.class);
    window.sign_in("ferro", PASSPHRASE).await;
    window.go(&format!("{class}/people")).await;
    window.fill("#f-name", NAME).await;
    window.click("button[value='student']").await;
    window.on("form[action$='/slips'] button").await;
    window.click("form[action$='/slips'] button").await;
    let code = window.text(".slip .code").await;
    let sign_in = window.text(".slip b.serial").await;
    assert_eq!(window.all(".slip").await.len(), 1);
    window.go(&format!("{class}/pairs")).await;
    window.fill(&format!("input[aria-label='Pair of {NAME}']"), "C").await;
    window.click("button[value='hand']").await;
    window.on("main h1").await;
    (code, sign_in)
}

/// Takes the seat with the slip, and a PIN that is too short first.
async fn takes_the_seat(window: &Window, code: &str) {
    window.click("form[action='/sign-out'] button").await;
    window.on("#f-secret").await;
    window.go("/seat").await;
    // Typed from paper: small letters, blanks for hyphens.
    window.fill("#f-code", &code.to_lowercase().replace('-', " ")).await;
    window.press(Key::Enter).await;
    window.on("#f-again").await;
    let page = window.text("main").await;
    assert!(page.contains(NAME), "{page}");
    for (pin, next) in [
        ("1234", "#f-secret[aria-invalid='true']"),
        (PIN_OF_HER_OWN, "ul.roll a[href^='/my/']"),
    ] {
        window.fill("#f-secret", pin).await;
        window.fill("#f-again", pin).await;
        window.press(Key::Enter).await;
        window.on(next).await;
        is_fit_for_a_telephone(window, "taking the seat").await;
    }
}

async fn chooses_file(window: &Window, file: &str) {
    window.click("details:has(#f-table) > summary").await;
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("exercises/SB-11/reports");
    window.choose_file("#f-table", &folder.join(file)).await;
    window.click("button[value='read']").await;
    let said = window.text("p.said").await;
    assert!(said.contains("put into the table"), "{said}");
}

/// The first numbers one at a time, one of them with the wrong sign.
async fn measures(window: &Window, assignment: AssignmentId) {
    let lines = careful();
    window.go(&format!("/my/{assignment}")).await;
    window.click("a[href$='/entry']").await;
    window.click("p.to-screen a[href$='/entry/1']").await;
    window.on("form.entry #f-m-1").await;
    window.fill("#f-m-1", &lines[0][1]).await;
    window.click("#f-c-1 input[value='conforming']").await;
    window.click("form.entry button.do").await;
    window.on("form.entry #f-m-2").await;
    window.fill("#f-m-2", lines[1][1].trim_start_matches('-')).await;
    window.click("#f-c-2 input[value='conforming']").await;
    window.click("form.entry button.do").await;
    let mend = window.text("#f-m-2-mend").await;
    assert!(mend.contains("other sign"), "{mend}");
    is_fit_for_a_telephone(window, "a number to look at again").await;
    // The key for the sign, as on a pad without one.
    window.click(".reading button").await;
    assert_eq!(window.value("#f-m-2").await.replace('\u{2212}', "-"), lines[1][1]);
    window.click("form.entry button.do").await;
    window.on("form.entry #f-m-3").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pair_goes_through_its_evening_on_a_telephone() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::On).await;
    let (code, sign_in) = slip(&window, &site).await;
    let assignment = site.assign(2, Feedback::Words).await;
    window.widen(360).await;
    takes_the_seat(&window, &code).await;
    measures(&window, assignment).await;
    // The rest from a file of the machine, with one value missing: asked about before anything is handed in.
    window.click("form.entry a[href$='/entry']").await;
    window.on("#values").await;
    assert_eq!(window.value("#f-m-1").await, careful()[0][1]);
    chooses_file(&window, "SB-11-01--careful.csv").await;
    let value = window.value("#f-m-7").await;
    window.fill("#f-m-7", "").await;
    window.click("button[value='hand-in']").await;
    window.on("#f-incomplete").await;
    is_fit_for_a_telephone(&window, "a report that is not complete").await;
    window.fill("#f-m-7", &value).await;
    window.click("button[value='hand-in']").await;
    window.on("#talk").await;
    let result = window.path().await;
    assert!(result.starts_with("/my/reports/"), "{result}");
    is_fit_for_a_telephone(&window, "the result").await;
    window.click("details:has(#f-text) > summary").await;
    window.fill("#f-text", "Is 7 read from the right face?").await;
    window.click("form[action$='/query'] button").await;
    window.on("#talk .own").await;

    let instructor = site.instructor().await;
    let report = result.replacen("/my", "", 1);
    let page = instructor.get(&report).await;
    page.is(200)
        .has("It waits because:")
        .has("the pair asks about its mark");
    let fields = [("answer-1", "Yes, from the top."), ("do", "answer:1")];
    instructor.send(&format!("{report}/review"), &fields).await.is(200);

    // The next day, signed in with what she chose.
    window.sign_in(&sign_in, PIN_OF_HER_OWN).await;
    window.go(&result).await;
    let talk = window.text("#talk").await;
    assert!(talk.contains("Yes, from the top."), "{talk}");
    window.click("a.do[href$='/entry']").await;
    window.on("#values").await;
    assert_eq!(window.value("#f-m-1").await, "");
    chooses_file(&window, "SB-11-02--poor-calls.csv").await;
    window.click("button[value='hand-in']").await;
    window.on("#talk").await;
    assert_ne!(window.path().await, result);
    window.go(&format!("/my/{assignment}")).await;
    assert_eq!(window.all("a[href^='/my/reports/']").await.len(), 2);
    // No attempt is left, and the page says so instead of offering one.
    assert!(window.all("a[href$='/entry']").await.is_empty());
}
