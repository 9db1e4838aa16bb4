//! What cannot be: said at the field with how to mend it, kept as a draft all the same, and not published until mended.
//! And the print's table, pasted.

use super::authoring::{begin, fields, press};
use super::site::{Answer, Browser, Site};

/// A draft with two holes and six numbers, with nothing to mend.
async fn two_holes(browser: &Browser, code: &str) -> Answer {
    let page = begin(browser, code).await;
    let page = press(browser, &page, "add circle", &[]).await;
    let hole = [("f0-at-0", "30"), ("f0-at-1", "25"), ("f0-diameter", "10")];
    let page = press(browser, &page, "add circle", &hole).await;
    let hole = [
        ("f1-at-0", "60"),
        ("f1-at-1", "25"),
        ("f1-diameter", "10"),
        ("f1-depth", "12"),
    ];
    let page = press(browser, &page, "draw", &hole).await;
    page.is(200).has("Nothing is to mend");
    page
}

/// What is said at a field.
fn at_field(page: &Answer, name: &str) -> String {
    let start = page.body.find(&format!("id=\"s-{name}\"")).unwrap();
    let said = &page.body[start..];
    said[..said.find("</div>").unwrap()].to_owned()
}

/// One wrong thing: the fields that make it, where it is said, in which words, and how to mend it.
type Wrong<'w> = (&'w [(&'w str, &'w str)], &'w str, &'w str, &'w str);

const WRONG: [Wrong<'static>; 12] = [
    (&[("f0-at-0", "130")], "f0-at", "is outside the body", "outline"),
    (
        &[("f0-at-2", "-25")],
        "f0-at",
        "is outside the body",
        "negative z below",
    ),
    (
        &[("f1-at-0", "36")],
        "f1-at",
        "Hole 2 and Hole 1 overlap by 4",
        "Move one of the two",
    ),
    (
        &[("f1-at-0", "40.4")],
        "f1-at",
        "The wall between Hole 2 and Hole 1 is 0.4",
        "at least 1 mm",
    ),
    (
        &[("f0-at-1", "5.5")],
        "f0-at",
        "The wall to the side of the body is 0.5",
        "at least 1 mm",
    ),
    (
        &[("f1-depth", "19.7")],
        "f1-depth",
        "leaves a floor of 0.3",
        "Leave the depth out",
    ),
    (
        &[("f0c0-tolerance", "±0.004")],
        "f0c0-tolerance",
        "no wider than the uncertainty",
        "widen it, or state the smaller",
    ),
    (
        &[("d0-touches", "10 10\n90 10")],
        "d0-touches",
        "Datum A has 2 touches",
        "at least 3",
    ),
    (
        &[("d1-touches", "40 -10")],
        "d1-touches",
        "Datum B has 1 touch",
        "at least 2",
    ),
    (
        &[("f1c0-no", "2")],
        "f1c0-no",
        "Number 2 is taken at Hole 1",
        "number of its own",
    ),
    (
        &[("f0c1-nominal", "31")],
        "f0c1-nominal",
        "contradicts the geometry, which gives 30",
        "leave “Nominal” out",
    ),
    (
        &[("f1c0-of", ""), ("f1-diameter", "ten")],
        "f1-diameter",
        "is no number",
        "without a unit",
    ),
];

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_is_said_at_its_field_and_not_published_until_mended() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let mut page = two_holes(&instructor, "BI-01").await;
    let good = fields(&page);
    for (changes, field, said, mend) in WRONG {
        page = press(&instructor, &page, "draw", changes).await;
        page.is(200).has("<svg").has("Not yet:");
        let words = at_field(&page, field);
        assert!(words.contains(said) && words.contains(mend), "at {field}: {words}");
        assert!(
            page.body.contains(&format!("href=\"#w-{field}\"")),
            "{field} is in the list"
        );
        // Kept all the same, for whoever opens it.
        let again = instructor.get(&page.path).await;
        for (name, value) in changes {
            assert_eq!(fields(&again)[*name], *value, "{name}");
        }
        let refused = press(&instructor, &page, "publish", &[]).await;
        refused.is(422).has("to mend; the rest is kept");
        instructor.get("/exercises").await.has("/drafts/");
        // Mended.
        let back: Vec<(&str, &str)> = changes.iter().map(|(n, _)| (*n, good[*n].as_str())).collect();
        page = press(&instructor, &refused, "draw", &back).await;
        page.is(200).has("Nothing is to mend");
    }
    press(&instructor, &page, "publish", &[])
        .await
        .is(200)
        .has("make the next revision");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_table_of_the_print_is_pasted_and_the_rest_is_placed() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let page = begin(&instructor, "BI-02").await;
    let draft = page.path.clone();
    let table = format!("{draft}/table");
    instructor.get(&table).await.is(200).has("Show what goes where");
    let pasted = "No;Characteristic;Nominal;Tolerance\n1;Bore diameter;12;H7\n2;Bore X;30,5;±0,05\n3;Bore Y;25;±0,05\n\
                  4;Top face flatness;;0,03\n5;Dowel Ø;6;+0,02/0\n6;Dowel X;70;\n7;Dowel Y;25;\n\
                  8;Distance Bore to Dowel;39,5;±0,1\n9;Slot width;8;\n10;Slot length;20;\n11;Slot X;50;\n12;Left end;3;1\n";
    let shown = instructor
        .send(&table, &[("version", "1"), ("do", "look"), ("pasted", pasted)])
        .await;
    shown
        .is(200)
        .has("parted by semicolons; the first row is the heading; commas in figures are decimal marks")
        .has("makes Bore")
        .has("between Bore and Dowel")
        .has("max 0.03")
        .has("not known")
        .has("30.5");
    // Nothing is in the draft yet.
    instructor.get(&draft).await.has_not("Bore");
    let (version, of) = (shown.field("version"), shown.field("of"));
    let put = [
        ("version", version.as_str()),
        ("of", of.as_str()),
        ("do", "put"),
        ("pasted", pasted),
        ("col-1", "what"),
    ];
    let page = instructor.send(&table, &put).await;
    page.is(200)
        .has("12 numbers")
        .has("Quantity: still empty")
        .has("Faces: still empty. Choose one.");
    assert_eq!(fields(&page)["f1-normal"], "up");
    assert_eq!(fields(&page)["f4-normal"], "", "no direction looks chosen that is not");
    // The rest: the face, the slot's place, and what the table could not tell.
    let rest = [
        ("f1-at-0", "50"),
        ("f1-at-1", "30"),
        ("f1-at-2", "0"),
        ("f1-size-0", "90"),
        ("f1-size-1", "50"),
        ("f1-normal", "up"),
    ];
    let page = press(&instructor, &page, "draw", &rest).await;
    let rest = [("f3-at-1", "45")];
    let page = press(&instructor, &page, "draw", &rest).await;
    let page = press(&instructor, &page, "drop f4", &[]).await;
    page.is(200).has("Nothing is to mend");
    let page = press(&instructor, &page, "publish", &[]).await;
    page.is(200).has("make the next revision").has("Bore to Dowel");

    // What is no table is said, and stays.
    let edit = instructor.send(&format!("{}/edit", page.path), &[]).await;
    let table = format!("{}/table", edit.path);
    let empty = instructor
        .send(&table, &[("version", "1"), ("do", "look"), ("pasted", " \n")])
        .await;
    empty.is(422).has("nothing was read");
}

#[tokio::test(flavor = "multi_thread")]
async fn like_holes_that_cannot_be_read_are_said_at_their_fields() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let page = begin(&instructor, "BI-03").await;
    let like = [
        ("title", "Kept"),
        ("like-x", "50"),
        ("like-y", "30"),
        ("like-count", "many"),
        ("like-diameter", "5"),
        ("like-circle", "40"),
    ];
    let page = press(&instructor, &page, "like-holes", &like).await;
    page.is(422)
        .has("Write a whole number from 1 to 64.")
        .has("value=\"many\"")
        .has("value=\"Kept\"");
    let page = press(
        &instructor,
        &page,
        "like-holes",
        &[
            ("like-count", "6"),
            ("like-place", "max 0.1"),
            ("like-name", "Bolt hole"),
        ],
    )
    .await;
    page.is(200)
        .has("Bolt hole 6")
        .has("12 numbers")
        .has("Nothing is to mend");
    let written = fields(&page);
    assert_eq!(
        (written["f1-at-0"].as_str(), written["f1-at-1"].as_str()),
        ("60", "47.321")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_print_cannot_tell_is_said_and_mended_by_a_button() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let page = begin(&instructor, "BI-04").await;
    let insight = format!("{}/insight", page.path);
    instructor
        .get(&insight)
        .await
        .is(200)
        .has("As soon as one number can be read");
    // X of one hole alone: no number shows what is off in Y.
    let page = press(&instructor, &page, "add circle", &[]).await;
    let hole = [("f0-at-0", "30"), ("f0-at-1", "25"), ("f0-diameter", "10")];
    let page = press(&instructor, &page, "drop f0c2", &hole).await;
    page.is(200).has("Nothing is to mend").has("/insight");
    let told = instructor.get(&insight).await;
    told.is(200)
        .has("value=\"ask hole-1 y\"")
        .has("Add characteristic Y of Hole 1");
    let version = told.field("version");
    let page = instructor
        .send(&insight, &[("version", &version), ("do", "ask hole-1 y")])
        .await;
    page.is(200).has("3 numbers").has("24.900 to 25.100 mm");
    instructor.get(&insight).await.has_not("ask hole-1 y");
    // Touches that are too few for what is stated, and as many as it takes.
    let page = press(&instructor, &page, "draw", &[("u-expanded_uncertainty", "0.0045")]).await;
    page.is(200).has("the touches reach only");
    let told = instructor.get(&insight).await;
    told.is(200)
        .has("its touches do not reach that")
        .has("value=\"points hole-1 ");
    let version = told.field("version");
    let wish = told
        .body
        .split("value=\"points hole-1 ")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    let page = instructor
        .send(
            &insight,
            &[("version", &version), ("do", &format!("points hole-1 {wish}"))],
        )
        .await;
    assert_eq!(fields(&page)["f0-points"], wish);
}
