//! Photos and PDFs are looked through by a program of the school's choice before they are kept. The server is the program
//! itself with `--scan`, and what looks through the files is a script of this story.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;

use platemark::store::FILE_NAME;
use reqwest::multipart::{Form, Part};
use sqlx::{Connection, Row, SqliteConnection};

use super::entry::Sheet;
use super::kill::school;
use super::log;
use super::program::{PROGRAM, Running};
use super::site::{Answer, Browser, PIN, shipped};

/// Told by the bytes: harmful, one that the program cannot read, one about which it has a lot to say. It does so only where its
/// arguments come as they were given.
const LOOK: &str = r#"#!/bin/sh
[ "$#" = 2 ] && [ "$1" = "--words" ] && [ "$2" = "a;b" ] || exit 9
bytes=$(cat | tr -d '\000')
case "$bytes" in
*quince-seven*) exit 1 ;;
*medlar-eight*) exit 2 ;;
*sorbus-nine*) head -c 5000000 /dev/zero; head -c 5000000 /dev/zero >&2 ;;
esac
"#;

const HARMFUL: &str = "quince-seven";
const UNREADABLE: &str = "medlar-eight";
const LOUD: &str = "sorbus-nine";

const FOUND: &str = "found something harmful in this one";
const UNSEEN: &str = "could not be looked through for harmful content";
const IN_LOG: &str = "did not look through it";

fn pdf(inside: &str) -> Vec<u8> {
    format!("%PDF-1.7\n1 0 obj <</Type /Pages /Count 1>> endobj\n% {inside}\nstartxref\n9\n%%EOF\n").into_bytes()
}

/// A photo with these words where a camera writes its notes.
fn photo(note: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let picture = image::DynamicImage::new_rgb8(40, 20);
    image::codecs::jpeg::JpegEncoder::new(&mut bytes)
        .encode_image(&picture)
        .unwrap();
    let note = [b"Exif\0\0", note.as_bytes()].concat();
    let length = u16::try_from(note.len() + 2).unwrap().to_be_bytes();
    [&bytes[..2], &[0xff, 0xe1], &length[..], &note, &bytes[2..]].concat()
}

fn program(folder: &Path, mode: u32) -> PathBuf {
    let path = folder.join("look");
    std::fs::write(&path, LOOK).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(mode)).unwrap();
    path
}

/// How many reports and files are stored.
async fn stored(data: &Path) -> [i64; 3] {
    let address = format!("sqlite:{}", data.join(FILE_NAME).display());
    let mut database = SqliteConnection::connect(&address).await.unwrap();
    let counts = sqlx::query(
        "select (select count(*) from report), (select count(*) from evidence), (select count(*) from evidence_bytes)",
    )
    .fetch_one(&mut database)
    .await
    .unwrap();
    let counts = [0, 1, 2].map(|n| counts.get(n));
    database.close().await.unwrap();
    counts
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_program_finds_or_cannot_read_is_not_kept_and_the_numbers_stay() {
    for word in [HARMFUL, UNREADABLE, LOUD, "rosehip.pdf"] {
        log::never(word);
    }
    let (folder, tools) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let data = folder.path();
    let assignment = school(data, 1).await[0];
    let look = program(tools.path(), 0o755);
    let (with, look_path) = ("--words  a;b", look.to_str().unwrap());
    let arguments = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
    let arguments = [&arguments[..], &["--scan", look_path, "--scan-with", with]].concat();
    let server = Running::start(&arguments, "listens on");
    let pair = Browser::at(&server.address());
    pair.send("/sign-in", &[("name", "s0"), ("secret", PIN)]).await.is(200);
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");

    // With the numbers, at the moment of handing in: nothing is handed in, and every number is on the page again.
    let hand_in = async |bytes: &[u8]| {
        let sheet = Sheet::open(&pair, assignment).await.type_all(&careful);
        sheet.photo("rosehip.pdf", bytes).send(&pair, "hand-in").await
    };
    for (bytes, words) in [
        (pdf(HARMFUL), FOUND),
        (photo(HARMFUL), FOUND),
        (pdf(UNREADABLE), UNSEEN),
    ] {
        let page = hand_in(&bytes).await;
        page.is(422)
            .has("To mend:")
            .has(words)
            .has("value=\"-8.018\"")
            .has("Kept ");
        assert_eq!(stored(data).await, [0, 0, 0]);
    }
    assert_eq!(server.logged().matches(IN_LOG).count(), 1, "{}", server.logged());
    // Whoever comes back finds the numbers in the draft.
    pair.get(&format!("/my/{assignment}/entry"))
        .await
        .has("value=\"-8.018\"");

    hand_in(&pdf(LOUD)).await.is(200).has("/my/reports/1/evidence/1");
    assert_eq!(stored(data).await, [1, 1, 1]);
    let kept = pair.get("/my/reports/1/evidence/1").await;
    assert_eq!(kept.is(200).body.as_bytes(), pdf(LOUD));
    beside_a_report(&pair, data, &look).await;
    let log = server.logged();
    assert_eq!(log.matches(IN_LOG).count(), 3, "{log}");
    assert!(log.contains("exit status: 2") && log.contains("No such file"), "{log}");
    assert!(server.stop());
}

/// The same beside a report that is handed in; at last the program is not there any more.
async fn beside_a_report(pair: &Browser, data: &Path, look: &Path) {
    let add = async |bytes: Vec<u8>| -> Answer {
        let part = Part::bytes(bytes).file_name("rosehip.pdf");
        pair.send_files("/my/reports/1/evidence", Form::new().part("evidence", part))
            .await
    };
    let as_it_was = "Your report is as it was";
    add(pdf(HARMFUL)).await.is(422).has(FOUND).has(as_it_was);
    add(pdf(UNREADABLE)).await.is(422).has(UNSEEN).has(as_it_was);
    add(photo("nothing of note"))
        .await
        .is(200)
        .has("/my/reports/1/evidence/2");
    // What the program lets pass is looked at here as ever.
    add(b"%PDF-1.7".to_vec()).await.is(422).has("not a whole one");
    std::fs::remove_file(look).unwrap();
    add(pdf("nothing of note")).await.is(422).has(UNSEEN).has(as_it_was);
    assert_eq!(stored(data).await, [1, 2, 2]);
}

#[test]
fn the_server_does_not_start_without_the_program_that_it_is_told_to_use() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let start = |command: &str, more: &[&str]| {
        let mut server = Command::new(PROGRAM);
        server
            .args([command, "--listen", "127.0.0.1:0", "--data"])
            .arg(&data)
            .args(more);
        let ended = server.output().unwrap();
        let said = String::from_utf8_lossy(&ended.stderr).into_owned();
        assert_eq!(ended.status.code(), Some(1), "{said}");
        assert!(!data.exists(), "{said}");
        said
    };
    let missing = folder.path().join("no-such-program");
    let missing = missing.to_str().unwrap();
    for command in ["serve", "demo"] {
        let said = start(command, &["--scan", missing]);
        assert!(said.contains(missing) && said.contains("is not there"), "{said}");
    }
    let locked = program(folder.path(), 0o644);
    let said = start("serve", &["--scan", locked.to_str().unwrap()]);
    assert!(
        said.contains("may not be run by the account that runs this server"),
        "{said}"
    );
    let said = start("serve", &["--scan", "look"]);
    assert!(said.contains("must be the whole path of a program"), "{said}");
    let said = start("serve", &["--scan-with", "-v"]);
    assert!(said.contains("nothing without `scan`"), "{said}");
}
