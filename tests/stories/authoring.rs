//! An instructor makes an exercise in the browser, with forms alone: begun, mended, published, changed, compared.

use std::collections::BTreeMap;

use platemark::exercise::file::read_exercise;
use platemark::store::assignments::Feedback;
use platemark::store::people::Role;
use reqwest::multipart::{Form, Part};

use super::site::{Answer, Browser, Site, shipped};

/// All fields of the authoring form on a page, as a browser would send them.
pub(super) fn fields(page: &Answer) -> BTreeMap<String, String> {
    let body = &page.body;
    let start = body.find("<form class=\"author\"").unwrap();
    let form = &body[start..];
    let form = &form[..form.find("</form>").unwrap()];
    let mut found = BTreeMap::new();
    for (i, _) in form.match_indices('<') {
        let rest = &form[i..];
        let tag = &rest[..rest.find('>').unwrap_or(rest.len())];
        let Some(name) = attribute(tag, "name") else { continue };
        if tag.starts_with("<input") {
            found.insert(name, attribute(tag, "value").unwrap_or_default());
        } else if tag.starts_with("<textarea") {
            let text = &rest[tag.len() + 1..rest.find("</textarea>").unwrap()];
            found.insert(name, decoded(text.strip_prefix('\n').unwrap_or(text)));
        } else if tag.starts_with("<select") {
            let options = &rest[..rest.find("</select>").unwrap()];
            let chosen = options
                .split("<option")
                .skip(1)
                .find(|o| o[..o.find('>').unwrap()].contains(" selected"));
            let chosen = chosen.or_else(|| options.split("<option").nth(1)).unwrap();
            found.insert(name, attribute(chosen, "value").unwrap_or_default());
        }
    }
    found
}

fn attribute(tag: &str, name: &str) -> Option<String> {
    let from = tag.find(&format!(" {name}=\""))? + name.len() + 3;
    let value = &tag[from..];
    Some(decoded(&value[..value.find('"')?]))
}

fn decoded(text: &str) -> String {
    [
        ("&lt;", "<"),
        ("&#60;", "<"),
        ("&gt;", ">"),
        ("&#62;", ">"),
        ("&quot;", "\""),
        ("&#34;", "\""),
        ("&#39;", "'"),
        ("&#38;", "&"),
        ("&amp;", "&"),
    ]
    .into_iter()
    .fold(text.to_owned(), |t, (from, to)| t.replace(from, to))
}

/// Sends the form of a page with some fields changed, by a button.
pub(super) async fn press(browser: &Browser, page: &Answer, button: &str, changes: &[(&str, &str)]) -> Answer {
    let mut fields = fields(page);
    for (name, value) in changes {
        assert!(
            fields.contains_key(*name),
            "{} has no field {name}: {:?}",
            page.path,
            fields.keys()
        );
        fields.insert((*name).to_owned(), (*value).to_owned());
    }
    fields.insert("do".to_owned(), button.to_owned());
    let pairs: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let path = page.path.split("/overtaken").next().unwrap();
    browser.send(path, &pairs).await
}

pub(super) async fn begin(browser: &Browser, code: &str) -> Answer {
    let form = Form::new()
        .text("code", code.to_owned())
        .text("title", "Bracket, top face")
        .text("units", "mm")
        .text("length", "100")
        .text("width", "60")
        .text("thickness", "20")
        .text("do", "blank");
    let page = browser.send_files("/exercises/new", form).await;
    page.is(200)
        .has("Bracket, top face")
        .has("Keep and draw again")
        .has("<svg");
    page
}

#[tokio::test(flavor = "multi_thread")]
async fn an_exercise_is_made_published_changed_and_compared_with_forms_alone() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    instructor.get("/exercises").await.has("/exercises/new");
    let page = begin(&instructor, "BR-07").await;
    page.has("Nothing is measured yet");
    let page = press(&instructor, &page, "add circle", &[]).await;
    page.is(200).has("still empty").has("Not yet:");
    let hole = [
        ("f0-at-0", "30"),
        ("f0-at-1", "25"),
        ("f0-diameter", "10"),
        ("f0c0-tolerance", "H7"),
        ("f0c1-tolerance", "±0.05"),
    ];
    let page = press(&instructor, &page, "draw", &hole).await;
    page.is(200)
        .has("10.000 to 10.015 mm")
        .has("29.950 to 30.050 mm")
        .has("24.900 to 25.100 mm")
        .has("Nothing is to mend");
    let like = [
        ("like-arrangement", "row"),
        ("like-x", "60"),
        ("like-y", "15"),
        ("like-step-y", "15"),
        ("like-count", "3"),
        ("like-diameter", "6"),
    ];
    let page = press(&instructor, &page, "like-holes", &like).await;
    page.is(200).has("12 numbers").has("Hole 3").has_not("to mend</h2>");
    let page = press(&instructor, &page, "publish", &[]).await;
    page.is(200)
        .has("Bracket, top face")
        .has("make the next revision")
        .has("65")
        .has("60.000");
    let exercise = page.path.clone();

    next_revision(&instructor, &exercise).await;
}

async fn next_revision(instructor: &Browser, exercise: &str) {
    // What was published is a file, and reads as it was made.
    let file = instructor.get(&format!("{exercise}/exercise.toml")).await;
    let tag = file.headers.get("etag").unwrap().to_str().unwrap().to_owned();
    assert_eq!(tag, "\"BR-07-1\"");
    let (print, _) = read_exercise("f", &file.body);
    assert_eq!(print.unwrap().characteristics.len(), 12);

    // The next revision.
    let page = instructor.send(&format!("{exercise}/edit"), &[]).await;
    page.is(200).has("the published exercise");
    let page = press(instructor, &page, "publish", &[]).await;
    page.is(422).has("nothing differs from the newest revision");
    let page = press(
        instructor,
        &page,
        "draw",
        &[("f0c0-tolerance", "H9"), ("f0-at-0", "31")],
    )
    .await;
    let page = press(instructor, &page, "drop f3c2", &[]).await;
    press(instructor, &page, "publish", &[]).await.is(200);
    let page = instructor.get(&format!("{exercise}/revisions")).await;
    page.is(200)
        .has("number 1")
        .has("tolerance H7 became H9")
        .has("limits 10 to 10.015 became 10 to 10.036")
        .has("at [30, 25, 0] became [31, 25, 0]")
        .has("number 12")
        .has("taken out: Hole 3, y");
    // The first one stays as it was.
    instructor
        .get(&format!("{exercise}/exercise.toml?revision=1"))
        .await
        .has("\"H7\"");
    instructor
        .get(&format!("{exercise}/exercise.toml"))
        .await
        .has("\"H9\"")
        .has_not("\"H7\"");
}

#[tokio::test(flavor = "multi_thread")]
async fn steps_go_back_and_forward_and_none_is_lost() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let page = begin(&instructor, "BR-08").await;
    let page = press(&instructor, &page, "draw", &[("title", "Second name")]).await;
    let page = press(&instructor, &page, "draw", &[("title", "Third name")]).await;
    let page = press(&instructor, &page, "back", &[]).await;
    page.has("value=\"Second name\"");
    let page = press(&instructor, &page, "forward", &[]).await;
    page.has("value=\"Third name\"");
    let page = press(&instructor, &page, "back", &[]).await;
    let page = press(&instructor, &page, "draw", &[("title", "Fourth name")]).await;
    let history = instructor.get(&format!("{}/history", page.path)).await;
    history
        .is(200)
        .has("Title from Second name to Third name")
        .has("Title from Second name to Fourth name")
        .has("made from step 2");
    let version = history.field("version");
    let page = instructor
        .send(&format!("{}/step", page.path), &[("version", &version), ("step", "3")])
        .await;
    page.is(200).has("value=\"Third name\"");
    // It is all there after the server was started again, and for a colleague.
    let path = page.path.clone();
    let mut site = site;
    site.close().await;
    site.open_again().await;
    let colleague = site.newcomer(Role::Instructor, "ousel").await;
    colleague.get(&path).await.is(200).has("value=\"Third name\"");
    colleague.get("/exercises").await.has("Third name").has(&path);
    colleague
        .send(&format!("{path}/discard"), &[])
        .await
        .is(200)
        .has_not("Third name");
    colleague.get(&path).await.is(404);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_at_one_draft_are_told_and_neither_overwrites_the_other() {
    let site = Site::open().await;
    let first = site.instructor().await;
    let second = site.newcomer(Role::Instructor, "ousel").await;
    let page = begin(&first, "BR-09").await;
    let theirs = second.get(&page.path).await;
    let page = press(&first, &page, "add circle", &[]).await;
    let page = press(&first, &page, "draw", &[("title", "First hand")]).await;
    let told = press(&second, &theirs, "draw", &[("title", "Second hand")]).await;
    told.is(409)
        .has("The draft has gone on meanwhile")
        .has("ferro")
        .has("kept as step 4");
    first
        .get(&page.path)
        .await
        .has("value=\"First hand\"")
        .has_not("Second hand");
    // The second lets its own stand.
    let (version, step) = (told.field("version"), told.field("step"));
    let now = second
        .send(
            &format!("{}/step", page.path),
            &[("version", &version), ("step", &step)],
        )
        .await;
    now.is(200).has("value=\"Second hand\"");
    // And the first is told in its turn.
    press(&first, &page, "draw", &[("title", "Third hand")])
        .await
        .is(409)
        .has("ousel");

    // A revision that came in by a file meanwhile.
    let exercise = format!("/exercises/{}", site.exercise);
    let page = first.send(&format!("{exercise}/edit"), &[]).await;
    let page = press(&first, &page, "draw", &[("title", "By the form")]).await;
    let changed = shipped("SB-11/exercise.toml").replace("Step block: three", "By the file: three");
    let form = Form::new().part("exercise", Part::text(changed).file_name("exercise.toml"));
    second.send_files("/exercises/import", form).await.is(200);
    let told = press(&first, &page, "publish", &[]).await;
    told.is(409)
        .has("Another revision was published meanwhile")
        .has("By the file")
        .has("By the form");
    let (version, newer) = (told.field("version"), told.field("newer"));
    let now = first
        .send(
            &format!("{}/publish-over", page.path),
            &[("version", &version), ("newer", &newer)],
        )
        .await;
    now.is(200).has("By the form");
    first.get(&format!("{exercise}/revisions")).await.has("revision 3");
}

#[tokio::test(flavor = "multi_thread")]
async fn drafts_begin_from_another_exercise_and_from_a_file_with_errors() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let form = Form::new().text("do", "copy").text("from", site.exercise.to_string());
    let page = instructor.send_files("/exercises/new", form).await;
    page.is(200).has("Step block").has("Code: still empty");
    let page = press(&instructor, &page, "publish", &[("code", "SB-11")]).await;
    page.is(422).has("the code is that of another exercise");
    press(&instructor, &page, "publish", &[("code", "SB-12")])
        .await
        .is(200)
        .has("make the next revision");

    let wrong = shipped("JP-14/exercise.toml").replacen("decimals = 3", "decimals = \"three\"\ncolour = \"red\"", 1);
    let form = Form::new()
        .text("do", "file")
        .part("file", Part::text(wrong).file_name("exercise.toml"));
    let page = instructor.send_files("/exercises/new", form).await;
    page.is(200).has("top: colour").has("Go on with the draft");
    let href = page
        .body
        .split("/drafts/")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();
    let page = instructor.get(&format!("/drafts/{href}")).await;
    page.is(200).has("\u{201c}three\u{201d} is no number");
    press(&instructor, &page, "publish", &[("decimals", "3")])
        .await
        .is(200)
        .has("Jig plate");
}

#[tokio::test(flavor = "multi_thread")]
async fn plates_and_reports_go_on_when_the_next_print_asks_for_less() {
    let site = Site::open().await;
    let assignment = site.assign(9, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv");
    let before = pair.hand_in(assignment, &csv).await;
    before.is(200);
    let instructor = site.instructor().await;
    let page = instructor
        .send(&format!("/exercises/{}/edit", site.exercise), &[])
        .await;
    page.is(200)
        .has("Blind hole in the first step")
        .has("Plates that are registered stay");
    let page = press(&instructor, &page, "drop f7", &[]).await;
    page.is(200).has_not("Blind hole in the first step");
    let page = press(&instructor, &page, "publish", &[]).await;
    page.is(200).has("SB-11-01").has("SB-11-V1");
    let plate = page
        .body
        .split('"')
        .find(|p| p.starts_with(&format!("{}/plates/", page.path)))
        .unwrap()
        .to_owned();
    instructor
        .get(&plate)
        .await
        .is(200)
        .has("Hole near the origin")
        .has_not("Blind hole");
    // What was assigned keeps its print, with all of its numbers.
    let again = pair.hand_in(assignment, &csv).await;
    again.is(200).has("17 of 17 values agree");
    pair.get(&before.path).await.is(200).has("17 of 17 values agree");
    // And the smaller one can be assigned.
    site.assign(9, Feedback::Words).await;
    pair.get("/my").await.is(200);
}
