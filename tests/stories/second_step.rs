//! The second step at sign-in: set up, asked for, lost, switched off. Codes are made here as an app makes them.

use platemark::store::people::Role;
use std::time::Duration;
use totp_rs::{Builder, Secret};

use super::site::{Answer, Browser, PASSPHRASE, Site};

const PAGE: &str = "/account/second-step";

/// What an app shows for the secret of the page at the time of the server.
fn code(site: &Site, secret: &str) -> String {
    let secret = Secret::try_from_base32(secret.replace(' ', "")).unwrap();
    let app = Builder::new().with_secret(secret).build().unwrap();
    let seconds = u64::try_from(site.service.clock.now().millisecond() / 1000).unwrap();
    app.generate(seconds).to_string()
}

fn secret_on(page: &Answer) -> String {
    let after = page
        .body
        .split("Secret: <span class=\"num\" translate=\"no\">")
        .nth(1)
        .unwrap();
    after.split('<').next().unwrap().to_owned()
}

fn codes_on(page: &Answer) -> Vec<String> {
    let items = page.body.split("<li class=\"num\" translate=\"no\">").skip(1);
    items.map(|i| i.split('<').next().unwrap().to_owned()).collect()
}

async fn begin(browser: &Browser) -> Answer {
    let fields = [("do", "begin"), ("passphrase", PASSPHRASE)];
    browser.send(PAGE, &fields).await
}

/// Sets it up; gives the secret and the recovery codes.
pub(super) async fn set_up(site: &Site, browser: &Browser) -> (String, Vec<String>) {
    let secret = secret_on(
        begin(browser)
            .await
            .is(200)
            .has("<svg")
            .has("otpauth://totp/Platemark:"),
    );
    let first = code(site, &secret);
    let page = browser.send(PAGE, &[("do", "confirm"), ("code", &first)]).await;
    page.is(200).has("It is switched on");
    let codes = codes_on(&page);
    assert_eq!(codes.len(), 10);
    site.service.clock.put_forward(Duration::from_secs(30));
    (secret, codes)
}

/// Name and passphrase; gives a browser that is half signed in, and the page that asks for the code.
async fn half(site: &Site, name: &str) -> (Browser, Answer) {
    let browser = site.stranger();
    let page = browser
        .send(
            "/sign-in",
            &[("name", name), ("secret", PASSPHRASE), ("next", "/account")],
        )
        .await;
    page.is(200).has("Code of your second step");
    assert_eq!(browser.token(), None);
    (browser, page)
}

async fn finish(browser: &Browser, page: &Answer, code: &str) -> Answer {
    let (half, next) = (page.field("half"), page.field("next"));
    let fields = [("half", half.as_str()), ("next", next.as_str()), ("code", code)];
    browser.send("/sign-in/code", &fields).await
}

/// All of it once, for the instructor.
pub(super) async fn set_up_and_sign_in(site: &Site) {
    let (secret, _) = set_up(site, &site.instructor().await).await;
    let (browser, page) = half(site, "ferro").await;
    finish(&browser, &page, &code(site, &secret)).await.is(200);
    browser.get("/classes").await.has("Monday group");
}

/// Between passphrase and code the passphrase is changed on another device: what it opened half is shut.
#[tokio::test(flavor = "multi_thread")]
async fn a_code_after_the_passphrase_was_changed_opens_nothing() {
    let site = Site::open().await;
    let here = site.instructor().await;
    let (secret, _) = set_up(&site, &here).await;
    let (browser, page) = half(&site, "ferro").await;
    let new = "quince obelisk thatch 7";
    let fields = [("old", PASSPHRASE), ("new", new), ("again", new)];
    here.send("/account/secret", &fields).await.is(200).has("It is changed");
    let good = code(&site, &secret);
    finish(&browser, &page, &good)
        .await
        .is(422)
        .has("it was changed meanwhile");
    browser.get("/classes").await.has("Sign in");
}

#[tokio::test(flavor = "multi_thread")]
async fn it_is_set_up_with_a_first_code_and_asked_for_from_then_on() {
    let site = Site::open().await;
    let (here, there) = (site.instructor().await, site.instructor().await);
    here.get("/account").await.has("Off: the passphrase alone");
    here.send(PAGE, &[("do", "begin"), ("passphrase", "not the passphrase")])
        .await
        .is(422)
        .has("not your passphrase");
    let secret = secret_on(begin(&here).await.is(200));
    // Nothing is asked for before a first code was right, and the picture comes back after a wrong one.
    site.instructor().await;
    let wrong = here.send(PAGE, &[("do", "confirm"), ("code", "000000")]).await;
    wrong.is(422).has("This code is not good").has("<svg");
    assert_eq!(secret_on(&wrong), secret);
    let first = code(&site, &secret);
    here.send(PAGE, &[("do", "confirm"), ("code", &first)])
        .await
        .is(200)
        .has("It is switched on");
    there.get("/classes").await.has("Sign in");
    here.get(PAGE)
        .await
        .is(200)
        .has("10 recovery codes are left")
        .has_not("otpauth");
    // A code is good once: that of the setting up is not good for signing in.
    let (browser, page) = half(&site, "ferro").await;
    finish(&browser, &page, &first)
        .await
        .is(422)
        .has("This code is not good");
    browser.get("/classes").await.has("Sign in");
    site.service.clock.put_forward(Duration::from_secs(30));
    let next = code(&site, &secret);
    let inside = finish(&browser, &page, &next).await;
    inside.is(200);
    assert_eq!(inside.path, "/account");
    browser.get("/classes").await.has("Monday group");
    // Neither the code nor the half sign-in is worth anything any more.
    let (again, page) = half(&site, "ferro").await;
    finish(&again, &page, &next).await.is(422);
    // What the database has opens nothing: the secret is not in it, nor are the codes.
    let stored = std::fs::read(site.database()).unwrap();
    let plain = secret.replace(' ', "");
    assert!(!stored.windows(plain.len()).any(|w| w == plain.as_bytes()));
}

#[tokio::test(flavor = "multi_thread")]
async fn wrong_codes_lock_and_the_half_way_ends_after_five_minutes() {
    let site = Site::open().await;
    let (secret, _) = set_up(&site, &site.instructor().await).await;
    let (browser, page) = half(&site, "ferro").await;
    for _ in 0..10 {
        finish(&browser, &page, "123456").await.is(422);
    }
    let good = code(&site, &secret);
    finish(&browser, &page, &good)
        .await
        .is(429)
        .has("locked after 10 tries");
    site.service.clock.put_forward(Duration::from_secs(16 * 60));
    let good = code(&site, &secret);
    finish(&browser, &page, &good)
        .await
        .is(422)
        .has("More than five minutes");
    let (browser, page) = half(&site, "ferro").await;
    finish(&browser, &page, &good).await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_recovery_code_is_good_once_and_passphrase_and_code_switch_it_off() {
    let site = Site::open().await;
    let (secret, codes) = set_up(&site, &site.instructor().await).await;
    let (browser, page) = half(&site, "ferro").await;
    let typed = codes[3].to_lowercase().replace('-', " ");
    finish(&browser, &page, &typed).await.is(200);
    browser.get(PAGE).await.has("9 recovery codes are left");
    let (other, page) = half(&site, "ferro").await;
    finish(&other, &page, &codes[3]).await.is(422);
    let off = |passphrase: &'static str, code: String| {
        [
            ("do", "off".to_owned()),
            ("passphrase", passphrase.to_owned()),
            ("code", code),
        ]
    };
    let send = async |fields: [(&str, String); 3]| {
        let fields = fields.each_ref().map(|(n, v)| (*n, v.as_str()));
        browser.send(PAGE, &fields).await
    };
    send(off(PASSPHRASE, "000000".to_owned())).await.is(422);
    send(off("something else", code(&site, &secret))).await.is(422);
    send(off(PASSPHRASE, code(&site, &secret)))
        .await
        .is(200)
        .has("It is switched off");
    site.instructor().await.get("/classes").await.has("Monday group");
}

#[tokio::test(flavor = "multi_thread")]
async fn without_the_key_file_recovery_codes_still_open() {
    let site = Site::open().await;
    let (secret, codes) = set_up(&site, &site.instructor().await).await;
    std::fs::remove_file(site.database().with_file_name("platemark.key")).unwrap();
    let (browser, page) = half(&site, "ferro").await;
    let good = code(&site, &secret);
    finish(&browser, &page, &good).await.is(422).has("recovery codes");
    finish(&browser, &page, &codes[0]).await.is(200);
    assert!(!site.database().with_file_name("platemark.key").exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn an_instructor_switches_it_off_for_an_assistant_and_students_have_none() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let people = format!("/classes/{}/people", site.class);
    let assistant = site.newcomer(Role::Assistant, "ussher").await;
    let staff = [
        ("do", "staff"),
        ("staff_name", "ussher"),
        ("staff_sign_in", "ussher"),
        ("staff_role", "assistant"),
    ];
    let page = instructor.send(&people, &staff).await;
    page.is(200).has("ussher");
    set_up(&site, &assistant).await;
    let link = format!("href=\"{people}/");
    let links = page.body.split(&link).skip(1);
    let last = links
        .filter_map(|l| l.split('"').next()?.parse::<i64>().ok())
        .max()
        .unwrap();
    let person = format!("{people}/{last}");
    instructor.get(&person).await.is(200).has("Switch the second step off");
    assistant.send(&person, &[("do", "second-step")]).await.is(403);
    instructor
        .send(&person, &[("do", "second-step")])
        .await
        .is(200)
        .has_not("Switch the second step off");
    assistant.get("/classes").await.has("Sign in");
    site.sign_in("ussher", PASSPHRASE)
        .await
        .get("/account")
        .await
        .has("Off:");
    let pair = site.pair("A").await;
    pair.get(PAGE).await.is(403);
    pair.get("/account").await.is(200).has_not("Second step");
}
