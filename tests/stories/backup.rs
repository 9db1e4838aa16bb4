//! A copy of the school: made while the server runs, put back while none does, names that were taken out stay out.

use std::process::{Command, Output};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};

use platemark::actions::Service;
use platemark::actions::add_person::{Wanted as Person, add_person};
use platemark::actions::clock::Clock;
use platemark::actions::end_of_term::{archive, forget};
use platemark::actions::make_class::{Wanted as WantedClass, make_class};
use platemark::actions::sign_in::Lasting;
use platemark::store::assignments::Feedback;
use platemark::store::people::Role;
use platemark::store::{Store, backup, classes, people};
use tempfile::tempdir;

use super::program::{PROGRAM, Running, add_instructor};
use super::site::{Browser, DAY, HOUR, PASSPHRASE, Site, shipped};

fn run(arguments: &[&str]) -> Output {
    Command::new(PROGRAM).args(arguments).output().unwrap()
}

fn said(output: &Output) -> String {
    format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

async fn school(folder: &std::path::Path) -> Service {
    let lasting = Lasting {
        idle: HOUR,
        longest: DAY,
    };
    Service::new(Store::open(folder).await.unwrap(), Clock::default(), lasting)
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn a_backup_is_put_back_and_forgotten_names_stay_forgotten() {
    let folder = tempdir().unwrap();
    let data = folder.path().to_str().unwrap().to_owned();
    let service = school(folder.path()).await;
    let add = |role, name| Person {
        role,
        name,
        sign_in: name,
        secret: PASSPHRASE,
        by: None,
    };
    let by = add_person(&service, &add(Role::Instructor, "ferro")).await.unwrap();
    let student = add_person(&service, &add(Role::Student, "anna")).await.unwrap();
    let wanted = WantedClass {
        name: "Monday group",
        term: "",
        time_zone: "Europe/Dublin",
        by,
    };
    let class = make_class(&service, &wanted).await.unwrap();
    let mut tx = service.store.change().await.unwrap();
    classes::join(&mut tx, class, student, service.clock.now())
        .await
        .unwrap();
    tx.commit().await.unwrap();
    service.store.close().await;

    // While a server runs: a backup is made, and none is put back.
    let backup = folder.path().join("school.db");
    let backup = backup.to_str().unwrap();
    let server = Running::start(&["serve", "--data", &data, "--listen", "127.0.0.1:0"], "listens on");
    let made = run(&["backup", backup, "--data", &data]);
    assert!(
        made.status.success() && said(&made).contains("2 people, 0 reports, checked"),
        "{}",
        said(&made)
    );
    let twice = run(&["backup", backup, "--data", &data]);
    assert!(
        twice.status.code() == Some(1) && said(&twice).contains("is there already"),
        "{}",
        said(&twice)
    );
    let refused = run(&["restore", backup, "--data", &data]);
    assert!(
        refused.status.code() == Some(1) && said(&refused).contains("server runs on the data folder"),
        "{}",
        said(&refused)
    );
    assert!(server.stop());

    // The names are taken out, then the old copy comes back: they are taken out again.
    let service = school(folder.path()).await;
    let known = classes::of(&service.store, class, by).await.unwrap().unwrap();
    archive(&service, &known, true, by).await.unwrap();
    let known = classes::of(&service.store, class, by).await.unwrap().unwrap();
    assert_eq!(forget(&service, &known, "Monday group", by).await.unwrap(), 1);
    service.store.close().await;
    let restored = run(&["restore", backup, "--data", &data, "--json"]);
    assert!(restored.status.success(), "{}", said(&restored));
    let told: serde_json::Value = serde_json::from_slice(&restored.stdout).unwrap();
    assert_eq!(
        (&told["people"], &told["names_taken_out_again"]),
        (&2.into(), &1.into()),
        "{told}"
    );
    let service = school(folder.path()).await;
    // The backup had the class at work; it is over again, with its names out.
    let known = classes::of(&service.store, class, by).await.unwrap().unwrap();
    assert!(known.archived_at.is_some() && known.forgotten_at.is_some());
    assert_eq!(
        people::one(&service.store, student).await.unwrap().unwrap().name,
        format!("Former student {student}")
    );
    service.store.close().await;

    // Everything about one person, from the command line.
    let exported = run(&["export", &format!("former-{student}"), "--data", &data]);
    let told: serde_json::Value = serde_json::from_slice(&exported.stdout).unwrap();
    assert_eq!(told["name"], format!("Former student {student}"), "{}", said(&exported));
    let nobody = run(&["export", "nobody", "--data", &data]);
    assert!(
        nobody.status.code() == Some(1) && said(&nobody).contains("nobody signs in"),
        "{}",
        said(&nobody)
    );

    // What is no backup changes nothing.
    let broken = folder.path().join("broken.db");
    let mut bytes = std::fs::read(backup).unwrap();
    let end = bytes.len();
    bytes[end / 2..].fill(7);
    std::fs::write(&broken, bytes).unwrap();
    let refused = run(&["restore", broken.to_str().unwrap(), "--data", &data]);
    assert!(
        refused.status.code() == Some(1) && said(&refused).contains("Nothing was changed"),
        "{}",
        said(&refused)
    );
    let nowhere = run(&[
        "backup",
        "x.db",
        "--data",
        folder.path().join("nowhere").to_str().unwrap(),
    ]);
    assert!(
        nowhere.status.code() == Some(1) && said(&nowhere).contains("there is no school"),
        "{}",
        said(&nowhere)
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_session_that_was_ended_since_the_backup_stays_ended_after_a_restore_from_the_command_line() {
    let folder = tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let phrase = format!("{PASSPHRASE}\n");
    assert!(add_instructor(folder.path(), "ferro", &phrase).status.success());
    let serve = || Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    let server = serve();
    let browser = Browser::at(&server.address());
    let fields = [("name", "ferro"), ("secret", PASSPHRASE)];
    browser.send("/sign-in", &fields).await.is(200);
    let cookie = browser.token().unwrap();
    let stranger = Browser::at(&server.address());
    assert_eq!(stranger.get_with("/account", &cookie).await.path, "/account");
    let copy = folder.path().join("copy.db");
    backup::copy(folder.path(), &copy).await.unwrap();
    browser.send("/sign-out", &[]).await;
    assert_eq!(stranger.get_with("/account", &cookie).await.path, "/sign-in");
    assert!(server.stop());

    let restored = run(&["restore", copy.to_str().unwrap(), "--data", data]);
    assert!(
        restored.status.success() && said(&restored).contains("Everybody signs in again"),
        "{}",
        said(&restored)
    );
    let server = serve();
    let stranger = Browser::at(&server.address());
    assert_eq!(stranger.get_with("/account", &cookie).await.path, "/sign-in");
    // What was there before the restore is told with the day on which it goes, and goes by itself then.
    let listed = run(&["retention", "--data", data]);
    assert!(
        said(&listed).contains("platemark.db.before-") && said(&listed).contains("the server removes it on"),
        "{}",
        said(&listed)
    );
    assert!(server.stop());
    let old = folder.path().join("before-restore-1700000000000.db");
    std::fs::write(&old, "names of 2023").unwrap();
    let server = serve();
    for _ in 0..200 {
        if !old.exists() {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    assert!(!old.exists());
    assert!(said(&run(&["retention", "--data", data, "--json"])).contains("\"copy\":\"platemark.db.before-"));
    assert!(server.stop());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_days_for_which_names_are_kept_are_shown_and_set_from_the_command_line() {
    let site = Site::open().await;
    let data = site.database().parent().unwrap().to_str().unwrap().to_owned();
    let retention = |more: &[&str]| run(&[&["retention", "--data", &data], more].concat());
    let listed = retention(&[]);
    assert!(listed.status.success(), "{}", said(&listed));
    assert!(
        said(&listed).contains("1  Monday group Spring: 365 days after the archiving, then ask; runs"),
        "{}",
        said(&listed)
    );
    // While the server runs, which shows it on its page; what is not said stays as it stands.
    let set = retention(&["--class", "1", "--days", "180", "--over", "names"]);
    assert!(
        said(&set).contains("180 days after the archiving, then names"),
        "{}",
        said(&set)
    );
    let set = retention(&["--class", "1", "--days", "90", "--json"]);
    let told: serde_json::Value = serde_json::from_slice(&set.stdout).unwrap();
    let wanted = serde_json::json!({ "class": 1, "name": "Monday group", "term": "Spring", "days": 90, "over": "names",
        "archived_at": null, "due_at": null, "taken_out_at": null });
    assert_eq!(told, wanted);
    let end = format!("/classes/{}/end-of-term", site.class);
    let instructor = site.instructor().await;
    let page = instructor.get(&end).await;
    assert_eq!(page.is(200).field("days"), "90");
    // Ninety days after the archiving, to the millisecond.
    instructor.send(&end, &[("do", "archive")]).await.is(200);
    let told: serde_json::Value = serde_json::from_slice(&retention(&["--json"]).stdout).unwrap();
    let time = |name: &str| told[name].as_str().unwrap().parse::<jiff::Timestamp>().unwrap();
    let days = time("due_at").as_millisecond() - time("archived_at").as_millisecond();
    assert_eq!(days, 90 * 86_400_000);
    for (words, status, told) in [
        (vec!["--class", "7", "--days", "9"], 1, "there is no class 7"),
        (vec!["--class", "1", "--days", "40000"], 1, "give 0 to 36500 days"),
        (vec!["--class", "1", "--days", "soon"], 2, "soon"),
        (vec!["--class", "1"], 2, "--days"),
        (vec!["--over", "names"], 2, "--class"),
        (
            vec!["--class", "1", "--days", "9", "--over", "burn"],
            2,
            "possible values",
        ),
    ] {
        let refused = retention(&words);
        assert_eq!(refused.status.code(), Some(status), "{words:?}: {}", said(&refused));
        assert!(said(&refused).contains(told), "{words:?}: {}", said(&refused));
    }
    let listed = retention(&["--class", "1", "--days", "0", "--over", "delete"]);
    assert!(
        said(&listed).contains("0 days after the archiving, then delete"),
        "{}",
        said(&listed)
    );
    // Once the names are out there is nothing to keep.
    let taken = platemark::actions::end_of_term::take_out_what_is_over(&site.service).await;
    assert_eq!(taken.unwrap(), 1);
    let refused = retention(&["--class", "1", "--days", "5"]);
    assert!(said(&refused).contains("were taken out already"), "{}", said(&refused));
    assert!(said(&retention(&[])).contains("names were taken out on"));
}

/// Copies made while pairs hand in: each is whole, and has every report that was acknowledged before it was begun.
#[tokio::test(flavor = "multi_thread")]
async fn copies_made_while_reports_come_in_are_whole_and_have_what_was_acknowledged() {
    let site = Site::open().await;
    let assignment = site.assign(40, Feedback::Words).await;
    let folder = site.database().parent().unwrap().to_owned();
    let told = Arc::new(AtomicI64::new(0));
    let over = Arc::new(AtomicBool::new(false));
    let mut pairs = tokio::task::JoinSet::new();
    for name in ["A", "B"] {
        let (pair, told, over) = (site.pair(name).await, Arc::clone(&told), Arc::clone(&over));
        pairs.spawn(async move {
            let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
            let first = careful.lines().nth(1).unwrap().to_owned();
            for n in 0..40 {
                if over.load(Ordering::SeqCst) {
                    break;
                }
                let csv = careful.replacen(&first, &format!("1,20.{n:02}1,conforming"), 1);
                pair.hand_in(assignment, &csv).await.is(200);
                told.fetch_add(1, Ordering::SeqCst);
            }
        });
    }
    let copies = tempdir().unwrap();
    let mut seen = Vec::new();
    for n in 0..5 {
        // Only while reports come in.
        let begun = told.load(Ordering::SeqCst);
        for _ in 0..6000 {
            if told.load(Ordering::SeqCst) > begun {
                break;
            }
            tokio::time::sleep(std::time::Duration::from_millis(5)).await;
        }
        let before = told.load(Ordering::SeqCst);
        let copy = copies.path().join(format!("{n}.db"));
        let checked = backup::copy(&folder, &copy).await.unwrap();
        assert!(checked.reports >= before, "{before} were acknowledged: {checked:?}");
        let again = backup::check(&copy).await.unwrap();
        assert_eq!(again, checked);
        seen.push(checked.reports);
    }
    over.store(true, Ordering::SeqCst);
    pairs.join_all().await;
    assert!(seen.is_sorted() && seen.first() < seen.last(), "{seen:?}");
}
