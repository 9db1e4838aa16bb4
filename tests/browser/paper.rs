//! What is printed, read back from the PDF: every sheet of every shipped exercise, on A4 and on Letter.

use std::collections::BTreeSet;
use std::time::Duration;

use fantoccini::wd::PrintSize;
use platemark::actions::make_class::make_pair;
use platemark::store::assignments::Feedback;
use platemark::store::people::Role;
use serde_json::Value;

use super::pdf::{Element, Pdf};
use super::window::{Scripts, Window};
use crate::stories::program::Running;
use crate::stories::site::{PASSPHRASE, Site, person};

/// What a kind of printed page keeps to.
#[derive(Clone, Copy)]
struct Sheet {
    /// Most sheets of paper.
    most: usize,
    /// Nothing is written nearer to the edge of the paper, in mm.
    margin: f64,
    /// Whether it may not lie about, and says so on every sheet.
    secret: bool,
}

const LAB: Sheet = Sheet {
    most: 4,
    margin: 8.0,
    secret: false,
};
const SHOP: Sheet = Sheet {
    most: 2,
    margin: 8.0,
    secret: true,
};
const LABELS: Sheet = Sheet {
    most: 1,
    margin: 10.0,
    secret: false,
};
const REPORT: Sheet = Sheet {
    most: 3,
    margin: 10.0,
    secret: false,
};
const GRADEBOOK: Sheet = Sheet {
    most: 1,
    margin: 12.0,
    secret: false,
};
const SLIPS: Sheet = Sheet {
    most: 3,
    margin: 12.0,
    secret: false,
};

/// The papers: their names in an address, and as a printer has them.
const PAPERS: [(&str, PrintSize); 2] = [("a4", PrintSize::A4), ("letter", PrintSize::US_LETTER)];

/// What is wrong with a printed document.
fn wrongs(pdf: &Pdf, of: Sheet) -> Vec<String> {
    let mut wrongs = Vec::new();
    if pdf.sheets.len() > of.most {
        wrongs.push(format!("{} sheets, at most {}", pdf.sheets.len(), of.most));
    }
    of_text(pdf, of, &mut wrongs);
    of_headings(pdf, &mut wrongs);
    for table in pdf.root.all(&["Table"]) {
        of_table(table, &mut wrongs);
    }
    for line in pdf.root.all(&["LI"]) {
        if line.sheets.len() > 1 {
            wrongs.push(format!("a line of a list is cut: {:?}", line.sheets));
        }
    }
    for figure in outside_tables(&pdf.root) {
        if figure.kind == "Figure" && figure.sheets.len() > 1 {
            wrongs.push(format!("a drawing is cut: {:?}", figure.sheets));
        }
    }
    for at in 0..pdf.sheets.len() {
        if !is_worth_its_paper(pdf, at) {
            wrongs.push(format!("sheet {} has almost nothing on it", at + 1));
        }
    }
    wrongs
}

/// Words outside the margins, and sheets that do not say that they are secret.
fn of_text(pdf: &Pdf, of: Sheet, wrongs: &mut Vec<String>) {
    for (sheet, at) in pdf.sheets.iter().zip(1..) {
        // A tenth of a millimetre: Chromium puts pages on whole pixels.
        let least = of.margin - 0.1;
        let most = [sheet.width - least, sheet.height - least];
        for word in &sheet.words {
            let inside = (0..2).all(|axis| word.from[axis] >= least && word.to[axis] <= most[axis]);
            if !inside {
                let [x, y] = word.from;
                wrongs.push(format!("sheet {at}: {} stands in the margin, {x:.1} {y:.1}", word.text));
            }
        }
        // Letters that stand wide apart are read as words.
        let all: String = sheet.words.iter().map(|word| word.text.to_lowercase()).collect();
        if of.secret && !all.contains("secret") {
            wrongs.push(format!("sheet {at} does not say that it is secret"));
        }
    }
}

/// Headings that stand last on their sheet.
fn of_headings(pdf: &Pdf, wrongs: &mut Vec<String>) {
    let all = pdf.root.flat();
    for (at, heading) in all.iter().enumerate() {
        if !["H1", "H2", "H3"].contains(&heading.kind.as_str()) {
            continue;
        }
        let after = all[at + heading.flat().len()..].iter().find(|e| !e.sheets.is_empty());
        if let Some(after) = after
            && heading.sheets.last() != after.sheets.first()
        {
            wrongs.push(format!("a heading ends its sheet: {:?}", heading.sheets));
        }
    }
}

/// Cells of a row.
fn cells(row: &Element) -> usize {
    row.all(&["TD", "TH"]).len()
}

/// Rows that are cut, that left what they belong to, or that stand under no head; a row of heads is printed on every
/// sheet that the table goes on to.
fn of_table(table: &Element, wrongs: &mut Vec<String>) {
    let (lines, heads): (Vec<&Element>, Vec<&Element>) = table
        .all(&["TR"])
        .into_iter()
        .partition(|row| !row.all(&["TD"]).is_empty());
    let mut before: Option<&BTreeSet<usize>> = None;
    for (at, row) in lines.iter().enumerate() {
        if row.sheets.len() > 1 {
            wrongs.push(format!("row {} of {} is cut: {:?}", at + 1, lines.len(), row.sheets));
        }
        if cells(row) == 1 && before.is_some_and(|before| *before != row.sheets) {
            wrongs.push(format!(
                "row {} of {} stands without the one before it",
                at + 1,
                lines.len()
            ));
        }
        before = Some(&row.sheets);
    }
    for head in heads {
        if let Some(sheet) = table.sheets.difference(&head.sheets).next() {
            wrongs.push(format!("a table has no head on sheet {}", sheet + 1));
        }
    }
}

/// Elements that no table has.
fn outside_tables(within: &Element) -> Vec<&Element> {
    let own = std::iter::once(within);
    let parts = within.parts.iter().filter(|part| part.kind != "Table");
    own.chain(parts.flat_map(outside_tables)).collect()
}

/// Whether more stands there than a heading, a title block, a line or two.
fn is_worth_its_paper(pdf: &Pdf, at: usize) -> bool {
    let here = |e: &&Element| e.sheets.contains(&at);
    let drawings = outside_tables(&pdf.root);
    let drawn = drawings
        .iter()
        .filter(|e| e.kind == "Figure")
        .filter(|e| here(e))
        .count();
    let rows = pdf.root.all(&["TR"]);
    let rows = rows.iter().filter(|row| !row.all(&["TD"]).is_empty() && cells(row) > 1);
    let rows = rows.filter(|row| here(row)).count();
    let lines = pdf.root.all(&["LI"]).iter().filter(|e| here(e)).count();
    drawn > 0 || rows > 1 || lines > 3
}

/// The page that is open, printed with the structure for screen readers.
async fn with_structure(window: &Window, what: &str, size: &PrintSize) -> Pdf {
    // On a busy machine Chromium leaves the structure out where it is not ready in time, and fails to print again at once.
    let (mut pdf, mut last) = (None, String::new());
    for _ in 0..20 {
        match window.print(size.clone()).await {
            Ok(bytes) => pdf = Pdf::of(&bytes),
            Err(error) => last = error.to_string(),
        }
        if pdf.is_some() {
            break;
        }
        tokio::time::sleep(Duration::from_secs(1)).await;
    }
    assert!(pdf.is_some(), "{what}: printed without a structure twenty times {last}");
    pdf.unwrap()
}

/// Prints the page that is open on both papers, or on the one that it is made for.
async fn printed(window: &Window, what: &str, of: Sheet, papers: &[(&str, PrintSize)]) -> Vec<String> {
    let mut found = Vec::new();
    for (name, size) in papers {
        // On a busy machine the structure may also lack a part: what is wrong with the page is wrong each time.
        let mut wrong = Vec::new();
        for _ in 0..3 {
            let pdf = with_structure(window, what, size).await;
            assert!(is_on(&pdf, size), "{what}: not printed on {name}");
            wrong = wrongs(&pdf, of);
            if wrong.is_empty() {
                break;
            }
        }
        found.extend(wrong.iter().map(|wrong| format!("{what} on {name}: {wrong}")));
    }
    found
}

/// Whether all sheets are of this paper, upright or across.
fn is_on(pdf: &Pdf, size: &PrintSize) -> bool {
    pdf.sheets.iter().all(|sheet| {
        let mut sides = [sheet.width, sheet.height];
        sides.sort_by(f64::total_cmp);
        (sides[0] - size.width * 10.0).abs() < 0.5 && (sides[1] - size.height * 10.0).abs() < 0.5
    })
}

/// All links of the page to things of this kind, as `/classes/3`, by their numbers.
async fn links(window: &Window, kind: &str) -> Vec<String> {
    let all = "return [...document.links].map((a) => a.getAttribute('href'))";
    let all = window.run(all).await;
    let all = all.as_array().unwrap().iter().filter_map(Value::as_str);
    let numbers: BTreeSet<u32> = all.filter_map(|href| href.strip_prefix(kind)?.parse().ok()).collect();
    numbers.into_iter().map(|n| format!("{kind}{n}")).collect()
}

/// Of each assignment so many reports are printed.
const REPORTS: usize = 3;

/// All six exercises with plates, and two classes with reports, careful and not.
#[tokio::test(flavor = "multi_thread")]
async fn every_sheet_of_the_demo_breaks_where_it_should() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let school = Running::start(&["demo", "--data", data, "--listen", "127.0.0.1:0"], "Ctrl-C");
    let window = Window::open_at(&school.address(), Scripts::On).await;
    let [name, secret] = school.instructor();
    window.sign_in(&name, &secret).await;
    window.go("/exercises").await;
    let exercises = links(&window, "/exercises/").await;
    assert_eq!(exercises.len(), 6);
    let mut wrong = Vec::new();
    for exercise in exercises {
        wrong.extend(of_exercise(&window, &exercise).await);
    }
    window.go("/classes").await;
    let mut reports = 0;
    for class in links(&window, "/classes/").await {
        for path in [format!("{class}/gradebook"), format!("{class}/gradebook?by=students")] {
            window.go(&path).await;
            wrong.extend(printed(&window, &path, GRADEBOOK, &PAPERS).await);
        }
        window.go(&class).await;
        for assignment in links(&window, "/assignments/").await {
            window.go(&assignment).await;
            for report in links(&window, "/reports/").await.into_iter().take(REPORTS) {
                window.go(&report).await;
                let what = format!("{report}, {}", window.text("h1").await);
                wrong.extend(printed(&window, &what, REPORT, &PAPERS).await);
                reports += 1;
            }
        }
    }
    assert!(reports > 15, "{reports}");
    assert!(wrong.is_empty(), "{} found:\n{}", wrong.len(), wrong.join("\n"));
}

/// Lab sheet, shop sheet of one plate, and labels, on both papers.
async fn of_exercise(window: &Window, exercise: &str) -> Vec<String> {
    window.go(exercise).await;
    let plates = links(window, &format!("{exercise}/plates/")).await;
    let mut wrong = Vec::new();
    for paper in &PAPERS {
        for (path, of) in [
            (format!("{exercise}/lab-sheet"), LAB),
            (format!("{}/shop-sheet", plates[0]), SHOP),
            (format!("{exercise}/labels"), LABELS),
        ] {
            let path = format!("{path}?paper={}", paper.0);
            window.go(&path).await;
            wrong.extend(printed(window, &path, of, std::slice::from_ref(paper)).await);
        }
    }
    wrong
}

/// Forty pairs, two of two and the others of one, by thirty assignments.
#[tokio::test(flavor = "multi_thread")]
async fn a_gradebook_of_forty_by_thirty_and_slips_break_where_they_should() {
    let site = Site::open().await;
    for n in 3..=40 {
        let student = person(&site.service, Role::Student, &format!("st-{n}")).await;
        let now = site.service.clock.now();
        make_pair(&site.service, site.class, &format!("Pair {n}"), &[student], now)
            .await
            .unwrap();
    }
    for _ in 0..30 {
        site.assign(1, Feedback::Words).await;
    }
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    let class = format!("/classes/{}", site.class);
    let path = format!("{class}/gradebook");
    window.go(&path).await;
    // Nine assignments stand side by side, so four times as many sheets as the forty lines take.
    let mut wrong = printed(&window, &path, Sheet { most: 8, ..GRADEBOOK }, &PAPERS).await;
    // Thirty people without a seat, and a slip for each.
    let list: String = (1..=30).map(|n| format!("Marguerite Oyelaran {n};om-{n}\n")).collect();
    window.go(&format!("{class}/roster")).await;
    window.fill("#f-text", &format!("name;id\n{list}")).await;
    window.click("button[value='read']").await;
    window.click("button[value='take']").await;
    window.click("a.do[href$='/people']").await;
    window.click("form[action$='/slips'] button").await;
    window.on("ul.slips").await;
    assert_eq!(window.all("li.slip").await.len(), 30);
    wrong.extend(printed(&window, "slips", SLIPS, std::slice::from_ref(&PAPERS[0])).await);
    assert!(wrong.is_empty(), "{} found:\n{}", wrong.len(), wrong.join("\n"));
}

/// The checks find what they are for: a rule for the printer, and what comes of it.
const BROKEN: [(&str, &str); 7] = [
    ("thead { display: table-row-group !important }", "has no head on sheet"),
    (
        "tbody th { display: block } tbody th > * { display: block; margin-top: 40mm } tr { break-inside: auto !important }",
        "is cut",
    ),
    (
        ".opening { display: block } h1 { break-after: page !important }",
        "a heading ends its sheet",
    ),
    (
        "figcaption { break-before: page } figure { break-inside: auto !important }",
        "a drawing is cut",
    ),
    ("@page a4-drawn { margin: 3mm }", "stands in the margin"),
    (".stamp { display: none !important }", "does not say that it is secret"),
    (".closing { break-before: page !important }", "has almost nothing on it"),
];

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_that_breaks_where_it_should_not_is_found() {
    let site = Site::open().await;
    let window = Window::open(&site, Scripts::On).await;
    window.sign_in("ferro", PASSPHRASE).await;
    let path = format!("/exercises/{}/plates/1/shop-sheet", site.exercise);
    for (rule, found) in BROKEN {
        window.go(&path).await;
        let wrong = printed(&window, &path, SHOP, &PAPERS[..1]).await;
        assert!(wrong.is_empty(), "{wrong:?}");
        let rule = format!("@media print {{ {rule} }}");
        let add = format!("document.styleSheets[0].insertRule({rule:?}, document.styleSheets[0].cssRules.length)");
        window.run(&add).await;
        let wrong = printed(&window, &path, SHOP, &PAPERS[..1]).await;
        assert!(wrong.iter().any(|wrong| wrong.contains(found)), "{rule}: {wrong:?}");
    }
}
