//! The gradebook by numbers that were worked out by hand: totals with weights and drops, what is particular to one
//! student, and the table that goes into a spreadsheet.

use std::collections::BTreeMap;

use platemark::store::ids::AssignmentId;

use super::site::{Answer, Browser, DAY, PIN, Site, shipped};

fn careful() -> String {
    shipped("SB-11/reports/SB-11-01--careful.csv")
}

/// Assigns by the form under a title.
async fn assign(site: &Site, instructor: &Browser, title: &str) -> AssignmentId {
    let class = format!("/classes/{}", site.class);
    site.assign_by_form(instructor, &class, title, &[]).await.assignment()
}

/// Hands in for a pair, and the instructor sets the mark.
async fn mark(instructor: &Browser, pair: &Browser, assignment: AssignmentId, mark: &str) {
    let page = pair.hand_in(assignment, &careful()).await;
    let report = page.is(200).path.rsplit('/').next().unwrap().to_owned();
    let fields = [
        ("do", "set-mark"),
        ("mark", mark),
        ("reason", "by hand, for this story"),
    ];
    instructor
        .send(&format!("/reports/{report}/review"), &fields)
        .await
        .is(200);
}

/// The rows of the export by their first cell, each by heading.
async fn rows(site: &Site, by: &str) -> BTreeMap<String, BTreeMap<String, String>> {
    let path = format!("/classes/{}/gradebook.csv?by={by}", site.class);
    let file = site.instructor().await.get(&path).await;
    let text = file.is(200).body.strip_prefix('\u{feff}').unwrap().to_owned();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let heads = reader.headers().unwrap().clone();
    let row = |record: csv::StringRecord| {
        let cells = heads.iter().zip(&record).map(|(h, c)| (h.to_owned(), c.to_owned()));
        (record[0].to_owned(), cells.collect())
    };
    reader.records().map(|r| row(r.unwrap())).collect()
}

async fn totals(site: &Site, by: &str) -> BTreeMap<String, String> {
    let rows = rows(site, by).await;
    rows.into_iter().map(|(who, row)| (who, row["total"].clone())).collect()
}

fn expected(of: &[(&str, &str)]) -> BTreeMap<String, String> {
    of.iter()
        .map(|(who, mark)| ((*who).to_owned(), (*mark).to_owned()))
        .collect()
}

/// Sets weights, in the order of the assignments, and drops.
async fn rules(site: &Site, columns: &[AssignmentId], weights: &[&str], drops: &str) -> Answer {
    let instructor = site.instructor().await;
    let path = format!("/classes/{}/gradebook/rules", site.class);
    let seen = instructor.get(&path).await.is(200).field("seen");
    let names: Vec<String> = columns.iter().map(|c| format!("weight-{c}")).collect();
    let mut fields = vec![("seen", seen.as_str()), ("drops", drops)];
    fields.extend(names.iter().map(String::as_str).zip(weights.iter().copied()));
    instructor.send(&path, &fields).await
}

/// Heights, Holes, Slots, Practice: A has 80, 65, 90.5, 20, and B 70, nothing, 55.5, nothing.
async fn four_columns(site: &Site) -> Vec<AssignmentId> {
    let instructor = site.instructor().await;
    let mut columns = Vec::new();
    for title in ["Heights", "Holes", "Slots", "Practice"] {
        columns.push(assign(site, &instructor, title).await);
    }
    site.service.clock.put_forward(std::time::Duration::from_secs(60));
    let (a, b) = (site.pair("A").await, site.pair("B").await);
    for (column, of_a, of_b) in [
        (0, "80", Some("70")),
        (1, "65", None),
        (2, "90.5", Some("55.5")),
        (3, "20", None),
    ] {
        mark(&instructor, &a, columns[column], of_a).await;
        if let Some(of_b) = of_b {
            mark(&instructor, &b, columns[column], of_b).await;
        }
    }
    columns
}

#[tokio::test(flavor = "multi_thread")]
async fn totals_with_weights_and_drops_are_those_worked_out_by_hand() {
    let site = Site::open().await;
    let columns = four_columns(&site).await;
    // All alike: A (80 + 65 + 90.5 + 20) / 4 = 63.875; B, of what is due or done, (70 + 55.5) / 2 = 62.75; halves up.
    assert_eq!(totals(&site, "pairs").await, expected(&[("A", "63.9"), ("B", "62.8")]));
    // Practice does not count. A: (2 x 80 + 65 + 1.5 x 90.5) / 4.5 = 360.75 / 4.5 = 80.1666...
    // B: (2 x 70 + 1.5 x 55.5) / 3.5 = 223.25 / 3.5 = 63.7857...
    let weights = ["2", "1", "1,5", "0"];
    rules(&site, &columns, &weights, "0").await.is(200);
    assert_eq!(totals(&site, "pairs").await, expected(&[("A", "80.2"), ("B", "63.8")]));
    // The lowest of those that count goes, never one of weight 0. A without Holes: (160 + 135.75) / 3.5 = 84.5.
    // B has two marks: without Slots 70.
    rules(&site, &columns, &weights, "1").await.is(200);
    assert_eq!(totals(&site, "pairs").await, expected(&[("A", "84.5"), ("B", "70.0")]));

    // Past the due time what B has not handed in is missing and counts 0: (140 + 0 + 83.25) / 4.5 = 49.6111...
    site.service.clock.put_forward(8 * DAY);
    rules(&site, &columns, &weights, "0").await.is(200);
    assert_eq!(totals(&site, "pairs").await, expected(&[("A", "80.2"), ("B", "49.6")]));
    let of_b = rows(&site, "pairs").await.remove("B").unwrap();
    assert_eq!(
        (of_b["Holes"].as_str(), of_b["Practice"].as_str()),
        ("missing", "missing")
    );
    assert_eq!(of_b["people"], "bela; bora");
    // The missing one is the lowest: 223.25 / 3.5 again; two dropped leave 70; one mark always stays.
    for (drops, a, b) in [("1", "84.5", "63.8"), ("2", "90.5", "70.0"), ("99", "90.5", "70.0")] {
        rules(&site, &columns, &weights, drops).await.is(200);
        assert_eq!(totals(&site, "pairs").await, expected(&[("A", a), ("B", b)]), "{drops}");
    }
    // The page says the same, and which were dropped.
    let page = site
        .instructor()
        .await
        .get(&format!("/classes/{}/gradebook", site.class))
        .await;
    page.is(200).has("90.5").has("dropped").has("counts 1.5").has("missing");
    // No weight at all is no total, not a division by nothing.
    rules(&site, &columns, &["0", "0", "0", "0"], "0").await.is(200);
    assert_eq!(totals(&site, "pairs").await, expected(&[("A", ""), ("B", "")]));
    // What is no weight and no number of drops is told at its field, and nothing is changed.
    rules(&site, &columns, &["2", "-1", "1.255", "much"], "1.5")
        .await
        .is(422)
        .has("4 things to mend")
        .has("value=\"1.255\"")
        .has("value=\"much\"");
    assert_eq!(totals(&site, "pairs").await, expected(&[("A", ""), ("B", "")]));
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn one_students_own_points_change_nobody_elses_mark() {
    let site = Site::open().await;
    let columns = four_columns(&site).await;
    rules(&site, &columns, &["2", "1", "1.5", "0"], "0").await.is(200);
    let instructor = site.instructor().await;
    // Anna is person 2, Aron 3, Bela 4, Bora 5.
    let student = |id: u8| format!("/classes/{}/students/{id}", site.class);
    let holes = columns[1].to_string();
    let give = |points: &'static str, reason: &'static str| {
        [("assignment", holes.as_str()), ("points", points), ("reason", reason)]
    };
    for (points, reason, words) in [
        ("0", "she set up alone", "not 0"),
        ("5.25", "she set up alone", "at most one decimal"),
        ("101", "she set up alone", "from -100 to 100"),
        ("five", "she set up alone", "Write the points"),
        ("5", "  ", "Write why"),
    ] {
        let page = instructor.send(&student(2), &give(points, reason)).await;
        page.is(422).has(words);
        assert_eq!(page.field("points"), points);
    }
    // Holes: 65 + 5.5 = 70.5, so (160 + 70.5 + 135.75) / 4.5 = 366.25 / 4.5 = 81.3888...
    let page = instructor.send(&student(2), &give("+5,5", "She set up <alone>.")).await;
    page.is(200)
        .has("For this student: She set up &#60;alone&#62;.")
        .has("70.5")
        .has("Holes: 70.5 \u{d7} 1 / 4.5")
        .has("81.4");
    let marks = totals(&site, "students").await;
    let before = [("anna", "81.4"), ("aron", "80.2"), ("bela", "63.8"), ("bora", "63.8")];
    assert_eq!(marks, expected(&before));
    // The pair's own line and its report stay as they were.
    assert_eq!(totals(&site, "pairs").await["A"], "80.2");
    instructor
        .get(&format!("/assignments/{holes}"))
        .await
        .has("gave or took points of one student");
    let book = format!("/classes/{}/gradebook?by=students", site.class);
    let flags = instructor.get(&book).await.body.matches("own points").count();
    assert!(flags >= 1);

    // A mark stays within 0 and 100: Slots 90.5 + 30 is 100, so Aron has (160 + 65 + 150) / 4.5 = 83.3333...
    let slots = columns[2].to_string();
    let much = [
        ("assignment", slots.as_str()),
        ("points", "30"),
        ("reason", "taught the others"),
    ];
    instructor
        .send(&student(3), &much)
        .await
        .is(200)
        .has("A mark is from 0 to 100")
        .has("100.0")
        .has("83.3");
    // Bela is excused from Holes; past its due time it is missing for Bora alone: 223.25 / 4.5 = 49.6111...
    let excuse = [("do", "excuse"), ("student", "4"), ("excuse_why", "ill")];
    instructor
        .send(&format!("/assignments/{holes}/change"), &excuse)
        .await
        .is(200);
    site.service.clock.put_forward(8 * DAY);
    let after = [("anna", "81.4"), ("aron", "83.3"), ("bela", "63.8"), ("bora", "49.6")];
    assert_eq!(totals(&site, "students").await, expected(&after));
    assert_eq!(rows(&site, "students").await["bela"]["Holes"], "excused");

    // Taken back, it is as before; twice is nothing there any more.
    let instructor = site.instructor().await;
    let page = instructor.get(&student(2)).await;
    let button = page.body.split("take-back:").nth(1).unwrap();
    let button = format!("take-back:{}", button.split('"').next().unwrap());
    let back = [("assignment", holes.as_str()), ("do", button.as_str())];
    instructor
        .send(&student(2), &back)
        .await
        .is(200)
        .has_not("For this student");
    instructor.send(&student(2), &back).await.is(404);
    assert_eq!(totals(&site, "students").await["anna"], "80.2");
    // What Anna herself sees is her own mark, once it is released; Aron's page has nothing of hers.
    instructor
        .send(
            &student(2),
            &give("-5", "A word that only she is to read, and that nobody else may see."),
        )
        .await
        .is(200);
    instructor
        .send(&format!("/assignments/{holes}/release"), &[])
        .await
        .is(200);
    let aron = site.sign_in("aron", PIN).await;
    for path in ["/my".to_owned(), format!("/my/{holes}"), "/my/reports/3".to_owned()] {
        aron.get(&path).await.has_not("only she is to read");
    }
    // Nobody but an instructor gives points, and only in this class.
    aron.send(&student(2), &give("5", "me too")).await.is(403);
    instructor
        .send(
            &student(2),
            &[("assignment", "999"), ("points", "5"), ("reason", "nowhere")],
        )
        .await
        .is(404);
    instructor.send(&student(99), &give("5", "nobody")).await.is(404);
}

/// Names that a spreadsheet would take for a formula, in any script, with quotes.
const NAMES: [&str; 12] = [
    "=HYPERLINK(\"http://elsewhere.example\",\"mark\")",
    "+44 Plus",
    "-1+2 Minus",
    "@SUM(A1:A9)",
    "\u{ff1d}1+1",
    "Ann; =1+1",
    "Aoife \"Quotes\" N\u{ed} N\u{e9}ill",
    "\u{8c37}\u{745e}\u{67cf}",
    "\u{646}\u{648}\u{631}\u{633} \u{627}\u{644}\u{62d}\u{644}\u{648}\u{627}\u{646}\u{64a}",
    "O'Brien, Sean",
    "a|=b",
    "\u{10d2}\u{10d8}\u{10dd}\u{10e0}\u{10d2}\u{10d0}",
];

/// Whether a spreadsheet could take something in this text for a formula, whichever separator it knows.
fn is_formula(cell: &str) -> bool {
    let numbers = |piece: &str| piece.parse::<f64>().is_ok();
    let begins = |piece: &str| {
        let piece = piece.trim_start_matches(['"', ' ', '\u{a0}']);
        piece.starts_with(['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}']) && !numbers(piece)
    };
    cell.split([';', '\t', '|', '\r', '\n']).any(begins)
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn the_exported_gradebook_is_a_table_and_never_a_formula() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let people = format!("/classes/{}/people", site.class);
    for (i, name) in NAMES.iter().enumerate() {
        let id = format!("={i}@x");
        let fields = [("do", "student"), ("name", *name), ("school_id", id.as_str())];
        instructor.send(&people, &fields).await.is(200);
    }
    // A tab and a line end before a sign: what can be typed of them is in the title, which comes from the same form.
    let title = "\t=cmd|' /C calc'!A0";
    assign(&site, &instructor, title).await;
    // In the pair of the first of them, whose name is a formula too.
    let formula = [("do", "student"), ("name", "=1+1"), ("school_id", "")];
    let page = instructor.send(&people, &formula).await;
    let link = page
        .is(200)
        .body
        .split("/people/")
        .find(|l| l.contains("<bdi>=1+1</bdi>"));
    let first = link.unwrap().split('"').next().unwrap().to_owned();
    let field = format!("pair-{first}");
    let by_hand = [(field.as_str(), "@pair"), ("pair-2", "@pair"), ("do", "hand")];
    instructor
        .send(&format!("/classes/{}/pairs", site.class), &by_hand)
        .await
        .is(200);

    for by in ["students", "pairs"] {
        let path = format!("/classes/{}/gradebook.csv?by={by}", site.class);
        let file = instructor.get(&path).await;
        let head = |name: &str| file.headers.get(name).unwrap().to_str().unwrap().to_owned();
        assert_eq!(head("content-type"), "text/csv; charset=utf-8");
        assert!(head("content-disposition").starts_with("attachment; filename=\"gradebook-"));
        let text = file.is(200).body.strip_prefix('\u{feff}').expect("a byte-order mark");
        assert!(text.ends_with("\r\n"));
        // Every row has as many cells as the heading, and none of them is a formula; nor is a piece of the text where
        // another separator is taken.
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(text.as_bytes());
        let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert!(records.len() > 2);
        for cell in records.iter().flatten() {
            assert!(!is_formula(cell), "{by}: {cell:?}");
        }
        for line in text.lines() {
            for piece in line.split([',', ';', '\t', '|']) {
                let piece = piece.trim_start_matches('"');
                assert!(!is_formula(piece), "{by}: {piece:?} of {line:?}");
            }
        }
        if by == "students" {
            let names: Vec<&str> = records.iter().skip(1).map(|r| &r[0]).collect();
            for name in NAMES {
                // The text itself, with an apostrophe more at most before each sign.
                let found = names.iter().filter(|n| n.replace('\'', "") == name.replace('\'', ""));
                assert_eq!(found.count(), 1, "{name}: {names:?}");
            }
            assert!(names.contains(&"Aoife \"Quotes\" N\u{ed} N\u{e9}ill"));
            assert!(names.contains(&"O'Brien, Sean"));
        } else {
            assert!(
                records.iter().any(|r| &r[0] == "'@pair" && r[1].contains("'=1+1")),
                "{records:?}"
            );
        }
    }
}
