//! Report entry: three ways in, and what happens to what cannot be read.

use std::collections::BTreeMap;

use platemark::store::assignments::Feedback;
use platemark::store::ids::AssignmentId;
use reqwest::multipart::{Form, Part};

use super::site::{Answer, Browser, Site, shipped};

/// The entry page as somebody fills it in.
pub(super) struct Sheet {
    path: String,
    fields: BTreeMap<String, String>,
    file: Option<(String, Vec<u8>)>,
    photo: Option<(String, Vec<u8>)>,
}

impl Sheet {
    pub(super) async fn open(browser: &Browser, assignment: AssignmentId) -> Self {
        let path = format!("/my/{assignment}/entry");
        let page = browser.get(&path).await;
        page.is(200);
        Self::of(&page, path)
    }

    /// The sheet as a page came back with it.
    pub(super) fn of(page: &Answer, path: String) -> Self {
        let mut fields = BTreeMap::new();
        for name in ["key", "attempt", "source", "source_name", "base"] {
            fields.insert(name.to_owned(), read(&page.field(name)));
        }
        for no in page
            .body
            .split("data-no=\"")
            .skip(1)
            .filter_map(|t| t.split('"').next())
        {
            fields.insert(format!("m-{no}"), read(&page.field(&format!("m-{no}"))));
            fields.insert(format!("c-{no}"), chosen(page, no));
        }
        Self {
            path,
            fields,
            file: None,
            photo: None,
        }
    }

    pub(super) fn fill(mut self, name: &str, text: &str) -> Self {
        self.fields.insert(name.to_owned(), text.to_owned());
        self
    }

    pub(super) fn photo(mut self, name: &str, bytes: &[u8]) -> Self {
        self.photo = Some((name.to_owned(), bytes.to_vec()));
        self
    }

    pub(super) fn choose(mut self, name: &str, bytes: &[u8]) -> Self {
        self.file = Some((name.to_owned(), bytes.to_vec()));
        self
    }

    /// All lines of a report file, typed.
    pub(super) fn type_all(mut self, csv: &str) -> Self {
        for line in csv.lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            self = self
                .fill(&format!("m-{}", cells[0]), cells[1])
                .fill(&format!("c-{}", cells[0]), cells[2]);
        }
        self
    }

    pub(super) async fn send(&self, browser: &Browser, button: &str) -> Answer {
        super::log::never_of_form(
            &self.path,
            self.fields.iter().map(|(name, text)| (name.as_str(), text.as_str())),
        );
        let mut form = Form::new();
        for (name, text) in &self.fields {
            form = form.text(name.clone(), text.clone());
        }
        if let Some((name, bytes)) = &self.file {
            form = form.part("table", Part::bytes(bytes.clone()).file_name(name.clone()));
        }
        if let Some((name, bytes)) = &self.photo {
            form = form.part("evidence", Part::bytes(bytes.clone()).file_name(name.clone()));
        }
        browser.send_files(&self.path, form.text("do", button.to_owned())).await
    }
}

/// Text of a page as a browser reads it.
pub(super) fn read(text: &str) -> String {
    let marks = [
        ("&#34;", "\""),
        ("&#39;", "'"),
        ("&#60;", "<"),
        ("&#62;", ">"),
        ("&#38;", "&"),
    ];
    marks
        .iter()
        .fold(text.to_owned(), |text, (written, meant)| text.replace(written, meant))
}

/// The call that is chosen for a number.
fn chosen(page: &Answer, no: &str) -> String {
    let select = page.body.split(&format!("name=\"c-{no}\"")).nth(1).unwrap();
    let mut options = select.split("</select>").next().unwrap().split("<option ");
    let option = options.find(|o| o.contains(" selected")).unwrap_or_default();
    option.split('"').nth(1).unwrap_or_default().to_owned()
}

fn pasted(page: &Answer) -> String {
    area(page, "pasted")
}

/// What stands in a field of many lines.
pub(super) fn area(page: &Answer, name: &str) -> String {
    let field = format!("<textarea id=\"f-{name}\"");
    let area = page.has(&field).body.split(&field).nth(1).unwrap();
    let text = area.split_once(">\n").unwrap().1.split("</textarea>").next().unwrap();
    read(text)
}

async fn handed_in(site: &Site, assignment: AssignmentId) -> usize {
    let page = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    page.is(200).body.matches("href=\"/reports/").count()
}

fn careful() -> String {
    shipped("SB-11/reports/SB-11-01--careful.csv")
}

/// What came of a report, without its name.
async fn grade(site: &Site, result: &Answer) -> serde_json::Value {
    let report = result.path.rsplit('/').next().unwrap().parse().unwrap();
    let mut grade = site.grade(report).await;
    grade.as_object_mut().unwrap().remove("report");
    grade
}

#[tokio::test(flavor = "multi_thread")]
async fn typed_pasted_and_uploaded_numbers_mean_the_same() {
    let site = Site::open().await;
    let assignment = site.assign(9, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = careful();
    // As a spreadsheet of a country with decimal commas has it on its clipboard: another order, tabs, a column more.
    let mut sheet = "call\tno\tremark\tmeasured\n".to_owned();
    for line in csv.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        sheet += &format!("{}\t{}\t\t{}\n", cells[2], cells[0], cells[1].replace('.', ","));
    }
    let file = format!("\u{feff}{}", csv.replace(',', ";").replace('\n', "\r\n"));
    let open = async || Sheet::open(&pair, assignment).await;
    let typed = open().await.type_all(&csv).send(&pair, "hand-in").await;
    let by_paste = open().await.fill("pasted", &sheet).send(&pair, "hand-in").await;
    let by_file = open()
        .await
        .choose("lab 7.csv", file.as_bytes())
        .send(&pair, "hand-in")
        .await;
    let first = grade(&site, typed.is(200)).await;
    assert_eq!(first["items"][0]["measured"], 0.022);
    let instructor = site.instructor().await;
    for (result, source, words) in [(by_paste, &sheet, "pasted"), (by_file, &file, "file lab 7.csv")] {
        assert_eq!(grade(&site, result.is(200)).await, first);
        // What was handed in is kept as it came, and never shown as a page.
        let report = result.path.replacen("/my", "", 1);
        instructor.get(&report).await.is(200).has(words);
        let kept = instructor.get(&format!("{report}/source")).await;
        assert_eq!(&kept.is(200).body, source);
        let kind = kept.headers.get("content-disposition").unwrap().to_str().unwrap();
        assert!(kind.starts_with("attachment"), "{kind}");
    }
    assert_eq!(handed_in(&site, assignment).await, 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_table_can_be_looked_over_before_it_is_handed_in() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let page = Sheet::open(&pair, assignment).await;
    let path = page.path.clone();
    let page = page.choose("mine.csv", careful().as_bytes()).send(&pair, "read").await;
    page.is(200).has("17 values were put into the table below");
    assert_eq!(handed_in(&site, assignment).await, 0);
    let result = Sheet::of(&page, path).fill("m-1", "0.023").send(&pair, "hand-in").await;
    let grade = grade(&site, result.is(200)).await;
    assert_eq!(grade["items"][0]["measured"], 0.023);
    assert_eq!(grade["items"][16]["measured"], 6.968);
    // The file is kept all the same.
    let report = result.path.replacen("/my", "", 1);
    let kept = site.instructor().await.get(&format!("{report}/source")).await;
    assert_eq!(kept.body, careful());
}

/// What a table can have that cannot be taken, and words of what is said about it.
fn tables_at_fault() -> Vec<(Vec<u8>, Vec<&'static str>)> {
    let text = |t: &str| t.as_bytes().to_vec();
    let of_another = shipped("GC-40/reports/GC-40-01--careful.csv").replace("\n", "\nX");
    let image = [b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec(), (0..=255).collect()].concat();
    vec![
        (text(&of_another), vec!["another exercise", "SB-11", "1 to 17"]),
        (
            text("no,measured\n1,0.02\n31,1.5\n"),
            vec!["Line 3", "no number “31” on this print"],
        ),
        (
            text("no,measured\n1,0.02\n3,1\n1,0.03\n"),
            vec!["Number 1 stands twice, at lines 2 and 4"],
        ),
        (
            text("no,measured\n1,0.02\n3,about 5\n"),
            vec!["Line 3", "“about 5” is not a number"],
        ),
        (text("no,measured,unit\n1,0.02,kg\n"), vec!["Line 2", "kg"]),
        (text("no,measured,unit\n1,0.02,deg\n"), vec!["Line 2", "is a length"]),
        (
            text("no,measured\n1,\"1,234\"\n"),
            vec!["more than one way", "1.234", "1234"],
        ),
        (
            text("1,0.02,conforming\n2,-8.01,conforming\n"),
            vec!["no headings", "What stands in its columns"],
        ),
        (text("feature,x,y,z\nA,1,2,3\n"), vec!["probed points"]),
        (
            text("dear instructor\nhere is my report\n"),
            vec!["no table in this file", "no,measured,call"],
        ),
        (text(" \n\n \n"), vec!["file is empty"]),
        (image, vec!["not a text file", "as CSV"]),
        (b"PK\x03\x04\x14\0\x06\0\x08\0\0\0!\0".to_vec(), vec!["not a text file"]),
        (text("no,measured\n1,\"0.02\n2,5\n"), vec!["quote"]),
        (
            format!("no,measured\n{}", "1,2\n".repeat(20_001)).into_bytes(),
            vec!["more than 20000 rows"],
        ),
    ]
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_at_fault_is_told_and_nothing_typed_is_lost() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let mut files = tables_at_fault();
    files.push((Vec::new(), vec!["file is empty"]));
    files.push((vec![b'1'; 50 * 1024 * 1024], vec!["bigger than 8 MB"]));
    for (bytes, words) in files {
        let sheet = Sheet::open(&pair, assignment).await;
        let sheet = sheet.fill("m-2", "-8.0177").fill("c-2", "undecided");
        let page = sheet.choose("r.csv", &bytes).send(&pair, "hand-in").await;
        is_kept_and_told(&page, &words);
        if bytes.len() < 8 * 1024 * 1024 {
            page.has("choose it again");
        }
        // Also for the partner, on another page.
        let again = Sheet::open(&pair, assignment).await;
        assert_eq!(again.fields["m-2"], "-8.0177");
        assert_eq!(again.fields["c-2"], "undecided");
    }
    assert_eq!(handed_in(&site, assignment).await, 0);
}

fn is_kept_and_told(page: &Answer, words: &[&str]) {
    is_told(page, "the rest is kept", words);
}

fn is_told(page: &Answer, rest: &str, words: &[&str]) {
    page.is(422).has(rest).has("value=\"-8.0177\"");
    assert_eq!(chosen(page, "2"), "undecided");
    let text = read(&page.body);
    for word in words {
        assert!(text.contains(word), "`{word}` is not said:\n{text}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pasted_table_at_fault_is_told_and_stays() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    for (bytes, words) in tables_at_fault() {
        let Ok(text) = String::from_utf8(bytes) else { continue };
        if text.trim().is_empty() {
            continue;
        }
        let sheet = Sheet::open(&pair, assignment).await;
        let sheet = sheet.fill("m-2", "-8.0177").fill("c-2", "undecided");
        for button in ["read", "hand-in"] {
            let sheet = Sheet {
                path: sheet.path.clone(),
                fields: sheet.fields.clone(),
                file: None,
                photo: None,
            };
            let page = sheet.fill("pasted", &text).send(&pair, button).await;
            is_kept_and_told(&page, &words);
            assert_eq!(pasted(&page).trim(), text.trim());
        }
    }
    let sheet = Sheet::open(&pair, assignment)
        .await
        .fill("m-2", "-8.0177")
        .fill("c-2", "undecided");
    let page = sheet.send(&pair, "read").await;
    is_kept_and_told(&page, &["Nothing is pasted and no file is chosen"]);
    assert_eq!(handed_in(&site, assignment).await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_typed_at_fault_is_told_at_its_field() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    for (typed, words) in [
        ("about 5", "“about 5” is not a number"),
        ("5 kg", "5 kg"),
        ("5 deg", "is a length"),
        ("=1+1", "=1+1"),
        ("1.2.3", "1.2.3"),
        ("<script>alert(1)</script>", "is not a number"),
        ("NaN", "NaN"),
    ] {
        let sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
        let sheet = sheet.fill("m-2", "-8.0177").fill("c-2", "undecided").fill("m-9", typed);
        let page = sheet.send(&pair, "hand-in").await;
        is_kept_and_told(&page, &[words]);
        page.has("href=\"#f-m-9\"")
            .has("id=\"f-m-9-mend\"")
            .has_not("<script>alert");
        assert_eq!(read(&page.field("m-9")), typed);
    }
    assert_eq!(handed_in(&site, assignment).await, 0);
    // Blanks around a number, a plus, a unit of the print: taken.
    let sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
    let sheet = sheet
        .fill("m-5", " +56.087 ")
        .fill("m-6", "99.950 mm")
        .fill("m-7", "0.8059 cm");
    let result = sheet.send(&pair, "hand-in").await;
    let grade = grade(&site, result.is(200)).await;
    for (index, value) in [(4, 56.087), (5, 99.95), (6, 8.059)] {
        assert_eq!(grade["items"][index]["measured"], value);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_decimal_mark_is_asked_about_and_the_answer_counts() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let pair = site.pair("A").await;
    let table = "no,measured\n1,\"1,234\"\n3,\"2,345\"\n";
    let sheet = Sheet::open(&pair, assignment).await;
    let path = sheet.path.clone();
    let page = sheet.fill("pasted", table).send(&pair, "hand-in").await;
    page.is(422).has("Which is meant?").has("name=\"decimal\"");
    let sheet = Sheet::of(&page, path.clone()).fill("pasted", &pasted(&page));
    let page = sheet.fill("decimal", "comma").send(&pair, "read").await;
    page.is(200).has("2 values were put into the table");
    assert_eq!(
        (page.field("m-1"), page.field("m-3")),
        ("1.234".to_owned(), "2.345".to_owned())
    );

    // Typed the same way, among numbers with points: asked as well, and each by its own mark is an answer.
    let sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
    let typed = sheet.fill("m-1", "1,234").fill("m-3", "2,345");
    let page = typed.send(&pair, "hand-in").await;
    page.is(422).has("Which is meant?");
    assert_eq!(page.field("m-1"), "1,234");
    let sheet = Sheet::of(&page, path).fill("decimal", "mixed");
    let result = sheet.send(&pair, "hand-in").await;
    let grade = grade(&site, result.is(200)).await;
    assert_eq!(grade["items"][0]["measured"], 1.234);
    assert_eq!(grade["items"][3]["measured"], -14.985);
}

#[tokio::test(flavor = "multi_thread")]
async fn columns_without_headings_are_asked_about() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let table = "1,0.02,0.022,conforming\n2,-8.0,-8.018,conforming\n";
    let sheet = Sheet::open(&pair, assignment).await;
    let path = sheet.path.clone();
    let page = sheet.fill("pasted", table).send(&pair, "read").await;
    page.is(422).has("What stands in its columns?");
    let sheet = Sheet::of(&page, path).fill("pasted", &pasted(&page));
    let page = sheet
        .fill("columns", "no,nominal,measured,call")
        .send(&pair, "read")
        .await;
    page.is(200).has("2 values were put into the table");
    assert_eq!(
        (page.field("m-1"), page.field("m-2")),
        ("0.022".to_owned(), "-8.018".to_owned())
    );
    assert_eq!(chosen(&page, "2"), "conforming");
}

#[tokio::test(flavor = "multi_thread")]
async fn gaps_are_confirmed_before_they_are_handed_in() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let sheet = Sheet::open(&pair, assignment).await;
    let page = sheet.send(&pair, "hand-in").await;
    page.is(422).has("No value is written yet");
    let sheet = sheet
        .type_all(&careful())
        .fill("m-4", "")
        .fill("c-4", "")
        .fill("c-9", "");
    let page = sheet.send(&pair, "hand-in").await;
    page.is(422)
        .has("No value at 4.")
        .has("No call at 9.")
        .has("name=\"incomplete\"");
    assert_eq!(handed_in(&site, assignment).await, 0);
    let result = sheet.fill("incomplete", "yes").send(&pair, "hand-in").await;
    let grade = grade(&site, result.is(200)).await;
    assert_eq!(grade["items"][3]["measured"], serde_json::Value::Null);
    assert_eq!(grade["items"][8]["call"], serde_json::Value::Null);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_call_in_other_words_is_told_and_its_value_kept() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let table = careful().replacen("conforming", "good enough", 1);
    for button in ["hand-in", "read"] {
        let sheet = Sheet::open(&pair, assignment).await.fill("pasted", &table);
        let page = sheet.send(&pair, button).await;
        page.is(if button == "read" { 200 } else { 422 })
            .has("Line 2: “good enough” is not a call");
        assert_eq!(
            (page.field("m-1"), chosen(&page, "1")),
            ("0.022".to_owned(), String::new())
        );
        // What was read from the table is kept as what is typed is.
        assert_eq!(Sheet::open(&pair, assignment).await.fields["m-17"], "6.968");
    }
    assert_eq!(handed_in(&site, assignment).await, 0);
}

/// A file beside other numbers, a file beside a pasted table, more than any sheet has: nothing is dropped in silence.
#[tokio::test(flavor = "multi_thread")]
async fn what_says_two_things_is_not_guessed() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let start = async || {
        let sheet = Sheet::open(&pair, assignment).await;
        sheet.fill("m-2", "-8.0177").fill("c-2", "undecided")
    };
    let page = start()
        .await
        .choose("r.csv", careful().as_bytes())
        .send(&pair, "hand-in")
        .await;
    is_kept_and_told(&page, &["typed here is -8.0177, in the table it is -8.018"]);
    let both = start().await.choose("r.csv", b"no,measured\n1,0.02\n");
    let page = both
        .fill("pasted", "no,measured\n1,0.03\n")
        .send(&pair, "hand-in")
        .await;
    is_kept_and_told(&page, &["A table is pasted and a file is chosen"]);
    assert_eq!(pasted(&page).trim(), "no,measured\n1,0.03");
    let long = format!("no,measured\n1,0.03{}\n", " ".repeat(600_000));
    let page = start().await.fill("pasted", &long).send(&pair, "hand-in").await;
    is_kept_and_told(&page, &["pasted table is too long", "as a file"]);
    let page = start()
        .await
        .fill("m-9", &"9".repeat(3000))
        .send(&pair, "hand-in")
        .await;
    // Then nothing of it is kept, and it says so.
    page.has_not("the rest is kept");
    is_told(&page, "what you typed is only on this page", &["at most"]);
    assert_eq!(handed_in(&site, assignment).await, 0);
}

/// The disk takes nothing: what was typed is on the page that comes back, and is handed in once the disk is well.
#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_kept_stays_on_the_page() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(site.database());
    let database = sqlx::SqlitePool::connect_with(options).await.unwrap();
    let full = "CREATE TRIGGER full BEFORE INSERT ON draft BEGIN SELECT RAISE(FAIL, 'disk is full'); END";
    sqlx::query(full).execute(&database).await.unwrap();
    for button in ["keep", "read", "hand-in"] {
        let page = sheet.send(&pair, button).await;
        page.is(503).has("cannot keep what you typed").has_not("disk is full");
        assert_eq!(
            (page.field("m-1"), chosen(&page, "5")),
            ("0.022".to_owned(), "nonconforming".to_owned())
        );
    }
    assert_eq!(handed_in(&site, assignment).await, 0);
    sqlx::query("DROP TRIGGER full").execute(&database).await.unwrap();
    sheet.send(&pair, "hand-in").await.is(200);
    assert_eq!(handed_in(&site, assignment).await, 1);
}
