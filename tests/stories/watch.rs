//! What whoever runs the server can watch: metrics at an address of their own, and a log without persons or secrets.

use std::process::Command;

use super::program::{PROGRAM, Running, add_instructor};
use super::site::{Browser, PASSPHRASE, any_report, entry};

/// A free port: the system gives one, which is let go again for the program.
fn free() -> String {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn metrics_stand_at_their_own_address_and_count_routes_not_paths() {
    let folder = tempfile::tempdir().unwrap();
    let phrase = format!("{PASSPHRASE}\n");
    assert!(add_instructor(folder.path(), "ferro", &phrase).status.success());
    let (data, metrics) = (folder.path().to_str().unwrap(), free());
    let server = Running::start(
        &[
            "serve",
            "--data",
            data,
            "--listen",
            "127.0.0.1:0",
            "--metrics",
            &metrics,
        ],
        "listens on",
    );
    let browser = Browser::at(&server.address());
    browser.get("/metrics").await.is(404);
    browser
        .send("/sign-in", &[("name", "ferro"), ("secret", PASSPHRASE)])
        .await
        .is(200);
    browser.get("/classes/77").await.is(404);
    // What a client makes up is no series of its own.
    for n in 0..300 {
        browser
            .ask(&format!("MADE-UP-{n}-{}", "X".repeat(2_000)), "/sign-in")
            .await
            .is(405);
    }
    let page = Browser::at(&format!("http://{metrics}")).get("/metrics").await;
    page.is(200)
        .has("platemark_answers_total{route=\"/classes/{class}\",method=\"GET\",status=\"404\"} 1")
        .has("platemark_answers_total{route=\"/sign-in\",method=\"other\",status=\"405\"} 300")
        .has_not("MADE-UP")
        .has("platemark_answer_time_seconds_bucket")
        .has("platemark_jobs_waiting 0")
        .has("platemark_database_size_bytes")
        .has("# EOF")
        .has_not("ferro")
        .has_not("/classes/77");
    assert!(
        page.headers["content-type"]
            .to_str()
            .unwrap()
            .starts_with("application/openmetrics-text")
    );
    assert!(server.stop());
}

/// Whether a text stands in a log as such, and not as some digits of a time that something took.
fn stands_in(log: &str, text: &str) -> bool {
    let number = |c: char| c.is_ascii_digit() || c == '.';
    log.match_indices(text).any(|(at, _)| {
        let before = log[..at].chars().next_back();
        let after = log[at + text.len()..].chars().next();
        !before.is_some_and(number) && !after.is_some_and(number)
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn the_log_has_neither_persons_nor_secrets_nor_numbers_of_a_report() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("school");
    let mut server = Running::begin(
        Command::new(PROGRAM)
            .args(["demo", "--listen", "127.0.0.1:0", "--data"])
            .arg(&data)
            .env("RUST_LOG", "debug"),
        "Ctrl-C",
    );
    let pair = Browser::at(&server.address());
    pair.send("/sign-in", &[("name", "d26-101"), ("secret", "a wrong one 999888")])
        .await
        .is(422);
    pair.send("/sign-in", &[("name", "d26-101"), ("secret", "314159")])
        .await
        .is(200);
    let my = pair.get("/my").await;
    let link = my
        .body
        .split("href=\"/my/")
        .find(|l| l.contains("Clamp plate"))
        .unwrap();
    let path = format!("/my/{}/entry", link.split('"').next().unwrap());
    let csv = any_report("CP-23", "CP-23-01");
    let result = pair.send_files(&path, entry(&pair.get(&path).await, &csv)).await;
    result.is(200);
    let token = pair.token().unwrap().replace("session=", "");
    pair.get("/my?secret=carried-in-the-address").await.is(200);
    server.child.kill().unwrap();
    server.child.wait().unwrap();

    let log = server.logged();
    assert!(log.contains("/sign-in"), "the log has the requests");
    // Long enough that no time taken has it by chance.
    let values = csv.lines().skip(1).map(|line| line.split(',').nth(1).unwrap());
    let longest = values.max_by_key(|value| value.len()).unwrap();
    assert!(longest.len() >= 6, "{longest}");
    for secret in [
        "314159",
        "a wrong one 999888",
        "d26-101",
        &token,
        "carried-in-the-address",
        longest,
    ] {
        assert!(!stands_in(&log, secret), "the log has {secret}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn behind_a_proxy_tries_are_counted_by_the_address_that_it_tells() {
    let folder = tempfile::tempdir().unwrap();
    let phrase = format!("{PASSPHRASE}\n");
    assert!(add_instructor(folder.path(), "ferro", &phrase).status.success());
    let data = folder.path().to_str().unwrap();
    for (option, others_may) in [(Some("--forwarded-for"), true), (None, false)] {
        let mut arguments = vec!["serve", "--data", data, "--listen", "127.0.0.1:0"];
        arguments.extend(option);
        let server = Running::start(&arguments, "listens on");
        let client = reqwest::Client::builder().no_proxy().build().unwrap();
        // Whether the network is held up. The name is locked soon, so that nothing is hashed.
        let try_from = |address: &'static str| {
            let request = client
                .post(format!("{}/sign-in", server.address()))
                .header("x-forwarded-for", format!("203.0.113.9, {address}"))
                .form(&[("name", "nobody"), ("secret", "000000")]);
            async {
                let text = request.send().await.unwrap().text().await.unwrap();
                text.contains("came from this network")
            }
        };
        for n in 0..600 {
            assert!(!try_from("198.51.100.1").await, "{n}");
        }
        assert!(try_from("198.51.100.1").await);
        assert_eq!(try_from("198.51.100.2").await, !others_may);
        assert_eq!(try_from("2001:db8::7").await, !others_may);
        assert!(server.stop());
    }
}

/// Behind a proxy that tells no addresses all of a school's wrong tries are one's: whoever starts it so is told.
#[test]
fn a_proxy_that_tells_no_addresses_is_warned_of() {
    for (more, warned) in [
        (&["--behind-tls"][..], true),
        (&["--behind-tls", "--forwarded-for"], false),
        (&[], false),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let data = folder.path().join("school");
        let server = Running::begin(
            Command::new(PROGRAM)
                .args(["serve", "--listen", "127.0.0.1:0"])
                .args(more)
                .arg("--data")
                .arg(&data),
            "listens on",
        );
        // Said before it listens.
        let log = server.logged();
        assert_eq!(log.contains("without --forwarded-for"), warned, "{more:?}: {log}");
    }
}
