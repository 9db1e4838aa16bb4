//! At the machine: two devices, the check before handing in, one number at a time, the set-up record, photos and PDFs.

use std::process::Command;

use platemark::report::model::{Report as Items, ReportItem};
use platemark::store::assignments::Feedback;
use platemark::store::ids::{AssignmentId, ReportId};
use platemark::store::reports;
use reqwest::multipart::{Form, Part};
use serde_json::{Value, json};

use super::entry::Sheet;
use super::program::PROGRAM;
use super::site::{Browser, PIN, Site, entry, shipped};

fn careful() -> String {
    shipped("SB-11/reports/SB-11-01--careful.csv")
}

async fn partners(site: &Site) -> (Browser, Browser) {
    (site.pair("A").await, site.sign_in("aron", PIN).await)
}

#[tokio::test(flavor = "multi_thread")]
async fn both_partners_type_at_once_and_lose_nothing() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (anna, aron) = partners(&site).await;
    let (hers, his) = (
        Sheet::open(&anna, assignment).await,
        Sheet::open(&aron, assignment).await,
    );
    let (hers, his) = (
        hers.fill("m-1", "0.022")
            .fill("c-1", "conforming")
            .fill("m-5", "56.087"),
        his.fill("m-2", "-8.018").fill("m-5", "56.078"),
    );
    hers.send(&anna, "keep").await.is(200);
    let page = his.send(&aron, "keep").await;
    // His page came before hers was kept, and her number is on it now all the same; where both wrote, both are asked.
    page.is(422).has("value=\"0.022\"").has("value=\"-8.018\"");
    page.has("You and your partner wrote two things at 5")
        .has("56.087, written by your partner")
        .has("56.078, written by you");
    // Nothing is handed in until somebody says.
    let his = Sheet::of(&page, format!("/my/{assignment}/entry"));
    his.send(&aron, "hand-in").await.is(422).has("say which counts");
    let page = his.fill("pick-m-5", "56.078").send(&aron, "keep").await;
    page.is(200).has_not("Which counts");
    assert_eq!(page.field("m-5"), "56.078");
    // Her page is old by now; she changes another field, and his choice stays.
    let page = hers.fill("m-6", "99.950").send(&anna, "keep").await;
    assert_eq!(
        (page.field("m-5"), page.field("m-6")),
        ("56.078".to_owned(), "99.950".to_owned())
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_holds_what_both_devices_wrote() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (anna, aron) = partners(&site).await;
    let (hers, his) = (
        Sheet::open(&anna, assignment).await,
        Sheet::open(&aron, assignment).await,
    );
    let all = careful();
    let (head, lines) = all.split_once('\n').unwrap();
    let half: Vec<&str> = lines.lines().collect();
    let (first, second) = half.split_at(half.len() / 2);
    let part = |lines: &[&str]| format!("{head}\n{}\n", lines.join("\n"));
    hers.type_all(&part(first)).send(&anna, "keep").await.is(200);
    // His page never showed her numbers, and the report has them.
    let result = his.type_all(&part(second)).send(&aron, "hand-in").await;
    result.is(200).has("values agree");
    let report = reports::one(&site.service.store, ReportId(1)).await.unwrap().unwrap();
    let Items { items } = report.items.value().unwrap();
    assert!(
        items.iter().all(|i| i.measured.is_some() && i.call.is_some()),
        "{items:?}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn inches_on_a_print_in_millimetres_are_asked_about() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let path = format!("/my/{assignment}/entry");
    // 56.087 mm and 99.950 mm as read from a machine that shows inches.
    let sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
    let sheet = sheet.fill("m-5", "2.20815").fill("m-6", "3.93504");
    let page = sheet.send(&pair, "hand-in").await;
    page.is(422)
        .has("at 5, 6 looks like inches")
        .has("href=\"#f-m-5\"")
        .has("name=\"unit-read\"");
    let page = Sheet::of(&page, path.clone())
        .fill("unit-read", "other")
        .send(&pair, "hand-in")
        .await;
    page.is(200).has("values agree");
    let report = reports::one(&site.service.store, ReportId(1)).await.unwrap().unwrap();
    let Items { items } = report.items.value().unwrap();
    let is_it = |i: &ReportItem| i.measured.as_ref().is_some_and(|m| m.as_str() == "56.08701");
    assert!(items.iter().any(is_it), "{items:?}");
    // Or it is so: then it is graded as it is.
    let sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
    let sheet = sheet.fill("m-5", "2.20815").fill("unit-read", "own");
    sheet.send(&pair, "hand-in").await.is(200).has("does not agree");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_check_knows_the_print_and_lets_the_pair_go_on() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
    let sheet = sheet
        .fill("m-2", "8.018")
        .fill("m-6", "9995")
        .fill("s-tip", "9.9")
        .fill("s-A", "other");
    let page = sheet.send(&pair, "hand-in").await;
    page.is(422)
        .has("At 2 the value looks like the nominal with the other sign")
        .has("href=\"#f-m-6\"")
        .has("The tip was 9.9 mm")
        .has("another surface was touched")
        .has("name=\"incomplete\"");
    let page = sheet
        .fill("incomplete", "yes")
        .fill("remarks", "The <edge> was dirty.")
        .send(&pair, "hand-in")
        .await;
    page.is(200).has("The &#60;edge&#62; was dirty.");
    let report = site.instructor().await.get("/reports/1").await;
    report
        .has("The tip was 9.9 mm")
        .has("The &#60;edge&#62; was dirty.")
        .has("another surface");
}

/// The same numbers with a record that agrees with the print: a wrong tip is less likely then, when they are graded first
/// and when they are graded again.
#[tokio::test(flavor = "multi_thread")]
async fn a_set_up_record_has_a_part_in_the_diagnosis() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let off = shipped("SB-11/reports/SB-11-03--origin.csv");
    let sheet = Sheet::open(&pair, assignment).await.type_all(&off);
    sheet.send(&pair, "hand-in").await.is(200);
    let sheet = Sheet::open(&pair, assignment).await.type_all(&off);
    let sheet = sheet
        .fill("s-tip", "4")
        .fill("s-unit", "mm")
        .fill("s-temperature", "20");
    sheet.send(&pair, "hand-in").await.is(200);
    let diagnosis = async |report| site.grade(report).await["diagnosis"]["probability"].clone();
    let (without, with) = (diagnosis(1).await, diagnosis(2).await);
    assert_ne!(without, with, "{without}");
    // The command line gives the same, to the last digit, where the record comes from options or beside the serials.
    let by_command = |more: &[&str]| offline(&off, more)["diagnosis"]["probability"].clone();
    assert_eq!(by_command(&["--serial", "SB-11-01"]), without);
    let options = [
        "--set-up",
        "tip=4",
        "--set-up",
        "unit=MM",
        "--set-up",
        "temperature=20,0",
    ];
    assert_eq!(by_command(&[&["--serial", "SB-11-01"][..], &options].concat()), with);
    let beside = "report;serial;tip;Unit;temperature\nr.csv;SB-11-01;4;mm;20\n";
    assert_eq!(by_command(&["--serials", beside]), with);
    // What stands beside a report's serial is its own, before what is said of all.
    let beside = "report,serial,tip\nr.csv,SB-11-01,4\n";
    let options = ["--set-up", "tip=9", "--set-up", "unit=mm", "--set-up", "temperature=20"];
    assert_eq!(by_command(&[&["--serials", beside][..], &options].concat()), with);
}

/// The grade of `platemark grade` for this report on the step block; a text after `--serials` is made a file of it.
fn offline(csv: &str, more: &[&str]) -> Value {
    let output = grade_command(csv, more);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn grade_command(csv: &str, more: &[&str]) -> std::process::Output {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("r.csv"), csv).unwrap();
    let exercise = format!("{}/exercises/SB-11", env!("CARGO_MANIFEST_DIR"));
    let mut command = Command::new(PROGRAM);
    command
        .current_dir(&folder)
        .args(["grade", "--json", "r.csv", "--exercise"]);
    command.arg(format!("{exercise}/exercise.toml")).arg("--plates");
    command.arg(format!("{exercise}/plates.toml"));
    for word in more {
        if word.starts_with("report") {
            std::fs::write(folder.path().join("serials.csv"), word).unwrap();
            command.arg("serials.csv");
        } else {
            command.arg(word);
        }
    }
    command.output().unwrap()
}

#[test]
fn a_set_up_record_that_cannot_be_read_is_told_on_the_command_line() {
    let csv = careful();
    for (words, told) in [
        (&["--set-up", "tip"][..], "write it as tip=4"),
        (&["--set-up", "colour=red"], "write it as tip=4"),
        (&["--set-up", "D=top"], "write it as tip=4"),
        (
            &["--set-up", "A=topp"],
            "datum A: `topp` is no face; write top, bottom, left, right, front, back or other",
        ),
        (&["--set-up", "tip=thick"], "Write the diameter of the tip as a number"),
        (&["--set-up", "unit=thou"], "`thou` is no unit; write mm or inch"),
        (&["--set-up", "temperature=warm"], "Write the temperature as a number"),
        (&["--set-up", "tip=3", "--set-up", "Tip=4"], "this stands twice"),
    ] {
        let output = grade_command(&csv, &[&["--serial", "SB-11-01"][..], words].concat());
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{words:?}: {said}");
        assert!(said.contains(told), "{words:?}: {said}");
        assert!(output.stdout.is_empty());
    }
    let beside = "report,serial,temperature\nr.csv,SB-11-01,hot\n";
    let output = grade_command(&csv, &["--serials", beside]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(
        said.contains("r.csv: set-up: Write the temperature as a number"),
        "{said}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_set_up_record_that_is_no_number_is_mended_at_its_field() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let sheet = Sheet::open(&pair, assignment)
        .await
        .type_all(&careful())
        .fill("s-temperature", "warm");
    let page = sheet.send(&pair, "hand-in").await;
    page.is(422)
        .has("Write the temperature as a number")
        .has("value=\"warm\"");
}

#[tokio::test(flavor = "multi_thread")]
async fn one_number_at_a_time_goes_into_the_same_draft() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (anna, aron) = partners(&site).await;
    let one = format!("/my/{assignment}/entry/1");
    let page = anna.get(&one).await;
    page.is(200).has("1 of ").has("All numbers on one page");
    let base = super::entry::read(&page.field("base"));
    let typed = |value: &'static str| {
        [
            ("base", base.clone()),
            ("m-1", value.to_owned()),
            ("c-1", "conforming".to_owned()),
        ]
    };
    let send = async |browser: &Browser, fields: &[(&str, String)]| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, t)| (*n, t.as_str())).collect();
        browser.send(&one, &fields).await
    };
    send(&anna, &typed("about nothing"))
        .await
        .is(422)
        .has("is not a number")
        .has("value=\"about nothing\"");
    let page = send(&anna, &typed("0.022")).await;
    assert_eq!(page.is(200).path, format!("/my/{assignment}/entry/2"));
    // The partner's page is as old as the first one: another number is asked about, not lost.
    let page = send(&aron, &typed("0.023")).await;
    page.is(422)
        .has("0.022, written by your partner")
        .has("0.023, written by you");
    let sheet = Sheet::open(&anna, assignment).await;
    sheet.send(&anna, "hand-in").await.is(422).has("wrote two things at 1");
    anna.get(&format!("/my/{assignment}/entry/99")).await.is(404);
    anna.get(&format!("{one}?order=number")).await.is(200);
}

/// A picture of 40 x 20 pixels with a place in its Exif segment.
fn photo() -> Vec<u8> {
    let mut bytes = Vec::new();
    let picture = image::DynamicImage::new_rgb8(40, 20);
    image::codecs::jpeg::JpegEncoder::new(&mut bytes)
        .encode_image(&picture)
        .unwrap();
    let note = b"Exif\0\0 53.36 N 6.26 W";
    let length = u16::try_from(note.len() + 2).unwrap().to_be_bytes();
    [&bytes[..2], &[0xff, 0xe1], &length[..], note, &bytes[2..]].concat()
}

async fn kept(site: &Site, assignment: AssignmentId) -> usize {
    let page = Sheet::open(&site.pair("A").await, assignment)
        .await
        .send(&site.pair("A").await, "keep")
        .await;
    page.body.matches("Kept: <bdi>").count()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_photo_is_kept_without_its_metadata_and_served_to_be_saved() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
    let page = sheet.photo("<sheet>.jpg", &photo()).send(&pair, "keep").await;
    page.is(200).has("Kept: <bdi>&#60;sheet&#62;.jpg</bdi>");
    let sheet = Sheet::of(&page, format!("/my/{assignment}/entry"));
    // The same one again is one; taken away it is gone.
    sheet.photo("again.jpg", &photo()).send(&pair, "keep").await.is(200);
    assert_eq!(kept(&site, assignment).await, 1);
    Sheet::open(&pair, assignment)
        .await
        .send(&pair, "take-away:1")
        .await
        .is(200);
    assert_eq!(kept(&site, assignment).await, 0);
    let sheet = Sheet::open(&pair, assignment).await.photo("sheet.jpg", &photo());
    sheet
        .send(&pair, "hand-in")
        .await
        .is(200)
        .has("/my/reports/1/evidence/1");
    for (browser, path) in [
        (&pair, "/my/reports/1/evidence/1"),
        (&site.instructor().await, "/reports/1/evidence/1"),
    ] {
        let file = browser.get(path).await;
        let header = |name: &str| file.is(200).headers.get(name).unwrap().to_str().unwrap().to_owned();
        assert_eq!(header("content-type"), "image/jpeg");
        assert!(header("content-disposition").starts_with("attachment"));
        assert!(header("content-security-policy").contains("sandbox"));
        file.has_not("53.36 N").has_not("Exif");
    }
    site.pair("B").await.get("/my/reports/1/evidence/1").await.is(404);
    site.instructor()
        .await
        .get("/reports/1")
        .await
        .has("src=\"/reports/1/evidence/1\"");
    everything_about_anna(&site).await;
}

/// What is stored about a student names the photo and the set-up record, and the command line writes the photo beside it.
async fn everything_about_anna(site: &Site) {
    let page = format!("/classes/{}/people/2/stored", site.class);
    let stored = site.instructor().await.get(&page).await;
    let told: Value = serde_json::from_str(&stored.is(200).body).unwrap();
    let file = &told["files"][0];
    assert_eq!(
        (&file["file"], &file["name"]),
        (&json!("1.jpeg"), &json!("sheet.jpg")),
        "{told:#}"
    );
    assert_eq!(told["files"].as_array().unwrap().len(), 1, "{told:#}");
    assert!(told["reports"][0].get("set_up_record").is_some(), "{told:#}");
    let database = site.database();
    let data = database.parent().unwrap();
    let folder = data.join("anna");
    let export = || {
        let mut command = Command::new(PROGRAM);
        command.args(["export", "anna", "--data"]).arg(data);
        command.arg("--files").arg(&folder).output().unwrap()
    };
    let made = export();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let bytes = std::fs::read(folder.join("1.jpeg")).unwrap();
    assert_eq!(file["bytes"], json!(bytes.len()));
    // A folder that is there is somebody's: nothing is written over.
    let twice = export();
    assert_eq!(twice.status.code(), Some(1));
    let said = String::from_utf8_lossy(&twice.stderr).into_owned();
    assert!(said.contains("a folder that is not there yet"), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_photo_and_no_pdf_is_told_and_the_numbers_stay() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let huge = vec![0xff_u8; 40 * 1024 * 1024];
    let pdf = b"%PDF-1.7 and nothing else".to_vec();
    for (name, bytes, words) in [
        ("photo.jpg", huge, "bigger than 8 MB"),
        ("sheet.pdf", pdf, "not a whole one"),
        (
            "page.html",
            b"<script>alert(1)</script>".to_vec(),
            "neither a JPEG or PNG picture nor a PDF",
        ),
        ("photo.heic", b"\0\0\0\x18ftypheic".to_vec(), "format of the telephone"),
    ] {
        let sheet = Sheet::open(&pair, assignment)
            .await
            .type_all(&careful())
            .photo(name, &bytes);
        let page = sheet.send(&pair, "hand-in").await;
        page.is(422).has(words).has("value=\"-8.018\"");
    }
    assert_eq!(kept(&site, assignment).await, 0);
    // Beside a report that is handed in already it is the same.
    let form = pair.get(&format!("/my/{assignment}/entry")).await;
    pair.send_files(&format!("/my/{assignment}/entry"), entry(&form, &careful()))
        .await
        .is(200);
    let add = async |bytes: Vec<u8>| {
        let part = Part::bytes(bytes).file_name("sheet.pdf");
        pair.send_files("/my/reports/1/evidence", Form::new().part("evidence", part))
            .await
    };
    add(b"%PDF-1.7".to_vec()).await.is(422).has("Your report is as it was");
    add(photo()).await.is(200).has("/my/reports/1/evidence/1");
}

/// The careful report as a tip reads it that is taken for 8 um bigger than it is, by the rules of the forward model: inside
/// sizes + 8, outside sizes - 8, the left and the front face - 4 each, the riser and the end - 4 more. That small, the
/// record decides between a suspicion and none.
const TIP_OFF: [(&str, &str); 12] = [
    ("5", "56.079"),
    ("6", "99.942"),
    ("7", "8.067"),
    ("8", "15.916"),
    ("9", "15.902"),
    ("10", "39.969"),
    ("11", "44.016"),
    ("12", "10.064"),
    ("13", "67.977"),
    ("14", "29.985"),
    ("15", "24.931"),
    ("16", "59.955"),
];

#[tokio::test(flavor = "multi_thread")]
async fn the_bench_counts_the_set_up_record_of_a_draft() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let bench = format!("/classes/{}/bench", site.class);
    for (tip, odd) in [("", true), ("4", false), ("4.008", true), ("thick", true)] {
        let mut sheet = Sheet::open(&pair, assignment).await.type_all(&careful());
        for (no, value) in TIP_OFF {
            sheet = sheet.fill(&format!("m-{no}"), value);
        }
        sheet.fill("s-tip", tip).send(&pair, "keep").await;
        let page = site.instructor().await.get(&bench).await;
        page.is(200).has("17 of 17");
        assert_eq!(!page.body.contains("nothing so far"), odd, "tip {tip}");
    }
}
