//! A copy of the school: made while the server runs, put back while none does, names that were taken out stay out.

use std::process::{Command, Output};

use platemark::actions::Service;
use platemark::actions::add_person::{Wanted as Person, add_person};
use platemark::actions::clock::Clock;
use platemark::actions::end_of_term::{archive, forget};
use platemark::actions::make_class::{Wanted as WantedClass, make_class};
use platemark::actions::sign_in::Lasting;
use platemark::store::people::Role;
use platemark::store::{Store, classes, people};
use tempfile::tempdir;

use super::program::{PROGRAM, Running};
use super::site::{DAY, HOUR, PASSPHRASE};

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
    assert!(
        classes::of(&service.store, class, by)
            .await
            .unwrap()
            .unwrap()
            .archived_at
            .is_none()
    );
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
