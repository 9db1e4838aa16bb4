//! Signing in and out.

use super::site::{Browser, HOUR, PASSPHRASE, PIN, Site};
use std::time::Duration;

#[tokio::test(flavor = "multi_thread")]
async fn each_role_comes_to_its_own_first_page() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let page = instructor.get("/").await;
    page.is(200).has("Monday group").has("ferro");
    assert_eq!(page.path, "/classes");
    let page = site.pair("A").await.get("/").await;
    page.is(200).has("My assignments");
    assert_eq!(page.path, "/my");
}

#[tokio::test(flavor = "multi_thread")]
async fn who_is_not_signed_in_comes_back_to_where_they_wanted_to_go() {
    let site = Site::open().await;
    let stranger = site.stranger();
    let page = stranger.get(&format!("/classes/{}/gradebook", site.class)).await;
    page.is(200).has("Sign in").has_not("ferro");
    let next = page.field("next");
    let page = stranger
        .send(
            "/sign-in",
            &[("name", "Ferro "), ("secret", PASSPHRASE), ("next", &next)],
        )
        .await;
    page.is(200).has("Gradebook");
    let evil = site.stranger();
    let page = evil
        .send(
            "/sign-in",
            &[
                ("name", "ferro"),
                ("secret", PASSPHRASE),
                ("next", "//elsewhere.example/x"),
            ],
        )
        .await;
    assert_eq!(page.path, "/classes");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_secret_and_an_unknown_name_look_alike_and_keep_what_was_typed() {
    let site = Site::open().await;
    let stranger = site.stranger();
    let wrong = stranger
        .send("/sign-in", &[("name", "ferro"), ("secret", "nonsense")])
        .await;
    let unknown = stranger
        .send("/sign-in", &[("name", "nobody"), ("secret", "nonsense")])
        .await;
    wrong
        .is(422)
        .has("do not belong together")
        .has("value=\"ferro\"")
        .has_not("nonsense");
    unknown.is(422);
    assert_eq!(wrong.body.replace("ferro", "nobody"), unknown.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn ten_tries_lock_a_name_for_a_quarter_of_an_hour() {
    let site = Site::open().await;
    let stranger = site.stranger();
    for name in ["anna", "nobody"] {
        for _ in 0..10 {
            stranger
                .send("/sign-in", &[("name", name), ("secret", "000000")])
                .await
                .is(422);
        }
        // Also the right one is not tried any more, and nobody learns whether it was.
        stranger
            .send("/sign-in", &[("name", name), ("secret", PIN)])
            .await
            .is(429)
            .has("locked after 10 tries");
    }
    // Others are not touched by it.
    site.pair("B").await.get("/my").await.is(200);
    site.service.clock.put_forward(Duration::from_secs(16 * 60));
    site.pair("A").await.get("/my").await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn many_tries_at_once_are_all_counted() {
    let site = Site::open().await;
    let stranger = site.stranger();
    let tries = (0..30).map(|_| stranger.send("/sign-in", &[("name", "anna"), ("secret", "000000")]));
    let mut statuses = std::collections::BTreeMap::new();
    for answer in join_all(tries).await {
        *statuses.entry(answer.status.as_u16()).or_insert(0) += 1;
    }
    assert_eq!(statuses, [(422, 10), (429, 20)].into());
}

async fn join_all<F: Future>(futures: impl Iterator<Item = F>) -> Vec<F::Output> {
    let mut waiting: Vec<_> = futures.map(|f| (Box::pin(f), None)).collect();
    std::future::poll_fn(|context| {
        let mut open = false;
        for (future, output) in &mut waiting {
            if output.is_none() {
                match future.as_mut().poll(context) {
                    std::task::Poll::Ready(value) => *output = Some(value),
                    std::task::Poll::Pending => open = true,
                }
            }
        }
        if open {
            std::task::Poll::Pending
        } else {
            std::task::Poll::Ready(())
        }
    })
    .await;
    waiting.into_iter().map(|(_, output)| output.unwrap()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn signing_out_ends_the_session_for_good() {
    let site = Site::open().await;
    let browser = site.instructor().await;
    let token = browser.token().unwrap();
    let other = Browser::that_stays(&format!("http://{}", site.address()));
    let left = other.send("/sign-out", &[]).await;
    assert_eq!(left.headers["clear-site-data"], r#""cache", "storage""#);
    browser.send("/sign-out", &[]).await.is(200).has("Sign in");
    browser.get("/classes").await.is(200).has("Sign in");
    // The token is worth nothing any more, also to somebody who has kept it.
    site.stranger().get_with("/classes", &token).await.has("Sign in");
}

#[tokio::test(flavor = "multi_thread")]
async fn every_sign_in_makes_a_new_token_and_ends_the_old_one() {
    let site = Site::open().await;
    let browser = site.instructor().await;
    let first = browser.token().unwrap();
    browser
        .send("/sign-in", &[("name", "ferro"), ("secret", PASSPHRASE)])
        .await
        .is(200);
    let second = browser.token().unwrap();
    assert_ne!(first, second);
    site.stranger().get_with("/classes", &first).await.has("Sign in");
    site.stranger().get_with("/classes", &second).await.has("Monday group");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_session_ends_without_use_and_in_any_case() {
    let site = Site::open().await;
    let idle = site.pair("A").await;
    let busy = site.pair("B").await;
    for _ in 0..7 {
        site.service.clock.put_forward(HOUR + HOUR / 2);
        busy.get("/my").await.has("My assignments");
    }
    idle.get("/my").await.has("Sign in");
    site.service.clock.put_forward(HOUR + HOUR / 2);
    busy.get("/my").await.has("Sign in");
}

#[tokio::test(flavor = "multi_thread")]
async fn cookies_and_headers_protect() {
    let site = Site::open().await;
    let stranger = site.stranger();
    let page = stranger.get("/sign-in").await;
    let header = |name: &str| {
        page.headers
            .get(name)
            .map(|v| v.to_str().unwrap().to_owned())
            .unwrap_or_default()
    };
    let policy = header("content-security-policy");
    assert!(
        policy.contains("default-src 'none'") && !policy.contains("unsafe"),
        "{policy}"
    );
    assert_eq!(header("x-content-type-options"), "nosniff");
    assert_eq!(header("cache-control"), "no-store");
    page.has_not("style=")
        .has_not("<style")
        .has_not("onclick")
        .has_not("<script>");
    let cookie = stranger.cookie_of_sign_in("ferro", PASSPHRASE).await;
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Lax") && cookie.contains("Path=/"),
        "{cookie}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_from_another_site_is_not_taken() {
    let site = Site::open().await;
    let browser = site.instructor().await;
    let page = browser.send_from_elsewhere("/sign-out", &[]).await;
    page.is(403).has("sent from another site");
    browser.get("/classes").await.has("Monday group");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_that_many_people_use_signs_out_after_ten_idle_minutes_and_stays_one() {
    let site = Site::open().await;
    let shared = site.stranger();
    let fields = [("name", "anna"), ("secret", PIN), ("shared", "yes")];
    shared.send("/sign-in", &fields).await.is(200).has("My assignments");
    let own = site.pair("B").await;
    let minute = Duration::from_secs(60);
    // Used now and then, it stays signed in.
    for _ in 0..3 {
        site.service.clock.put_forward(8 * minute);
        shared.get("/my").await.is(200).has("My assignments");
    }
    // Ten minutes without use are its end, and not that of somebody's own device.
    site.service.clock.put_forward(10 * minute);
    let page = shared.get("/my").await;
    assert_eq!(page.path, "/sign-in");
    own.get("/my").await.has("My assignments");
    // The device knows what it is, whoever signs in next; and that can be taken back.
    page.has("name=\"shared\" value=\"yes\" checked");
    let fields = [("name", "bora"), ("secret", PIN)];
    shared.send("/sign-in", &fields).await.is(200).has("My assignments");
    shared.send("/sign-out", &[]).await.has_not("value=\"yes\" checked");
    site.service.clock.put_forward(10 * minute);
    // What one pair has typed on it is in the draft of that pair, and of no other.
    let assignment = site.assign(1, platemark::store::assignments::Feedback::Words).await;
    let fields = [("name", "anna"), ("secret", PIN), ("shared", "yes")];
    shared.send("/sign-in", &fields).await.is(200);
    shared
        .send(
            &format!("/my/{assignment}/entry/1"),
            &[("m-1", "0.0123"), ("sure", "yes")],
        )
        .await
        .is(200);
    shared.get(&format!("/my/{assignment}/entry")).await.has("0.0123");
    site.service.clock.put_forward(10 * minute);
    let fields = [("name", "bela"), ("secret", PIN), ("shared", "yes")];
    shared.send("/sign-in", &fields).await.is(200);
    shared
        .get(&format!("/my/{assignment}/entry"))
        .await
        .is(200)
        .has_not("0.0123");
}
