//! Every 4xx and 5xx has a page that says what happened and where to go.

use super::site::{Browser, Site};

async fn is_a_page(browser: &Browser, path: &str, status: u16, words: &str) {
    let page = browser.get(path).await;
    page.is(status).has("<!doctype html>").has(words).has("href=\"/\"");
    let kind = page.headers.get("content-type").unwrap().to_str().unwrap();
    assert!(kind.starts_with("text/html"), "{kind}");
}

#[tokio::test(flavor = "multi_thread")]
async fn whatever_goes_wrong_is_a_page() {
    let site = Site::open().await;
    let (stranger, instructor) = (site.stranger(), site.instructor().await);
    is_a_page(&stranger, "/nothing-here", 404, "There is nothing at this address").await;
    is_a_page(
        &instructor,
        "/static/nothing.css",
        404,
        "There is nothing at this address",
    )
    .await;
    is_a_page(
        &instructor,
        "/static/../Cargo.toml",
        404,
        "There is nothing at this address",
    )
    .await;
    is_a_page(
        &instructor,
        "/static/%2e%2e/Cargo.toml",
        404,
        "There is nothing at this address",
    )
    .await;
    is_a_page(&instructor, "/sign-out", 405, "This address takes a form").await;
    instructor.get("/nothing-here").await.has("ferro").has("request ");
    // A form that cannot be one.
    let big = "x".repeat(2 * 1024 * 1024);
    instructor
        .send(&format!("/classes/{}/assign", site.class), &[("title", &big)])
        .await
        .is(413)
        .has("Too big");
    site.pair("A")
        .await
        .get("/exercises")
        .await
        .is(403)
        .has("This page is for instructors");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_says_that_the_disk_takes_nothing_and_nothing_is_lost() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    // The database is closed under the server, which is what a disk that went away looks like.
    site.service.store.clone().close().await;
    let page = instructor.get("/classes").await;
    assert!(page.status.is_server_error(), "{}", page.status);
    page.has("<!doctype html>").has("request ");
    let health = site.stranger().get("/health").await;
    assert_eq!(health.is(503).body, "failing\n");
    // Whoever is signed in cannot be found either, and learns no more.
    let health = instructor.get("/health").await;
    assert_eq!(
        (health.status.is_server_error(), health.body.as_str()),
        (true, "failing\n")
    );
}
