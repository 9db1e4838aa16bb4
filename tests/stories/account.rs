//! Another secret, and the devices that are signed in.

use super::site::{PASSPHRASE, PIN, Site};

#[tokio::test(flavor = "multi_thread")]
async fn a_person_changes_the_secret_and_other_devices_are_signed_out() {
    let site = Site::open().await;
    let (here, there) = (site.pair("A").await, site.pair("A").await);
    here.get("/account")
        .await
        .is(200)
        .has("This one")
        .has("Sign the others out");
    let change =
        |old: &'static str, new: &'static str, again: &'static str| [("old", old), ("new", new), ("again", again)];
    let send = async |fields: &[(&str, &str)]| here.send("/account/secret", fields).await;
    send(&change(PIN, "864209", "864208")).await.is(422).has("not the same");
    send(&change(PIN, "12345", "12345")).await.is(422).has("6 digits");
    send(&change(PIN, "111111", "111111"))
        .await
        .is(422)
        .has("Choose another");
    send(&change("999999", "864209", "864209"))
        .await
        .is(422)
        .has("not the one that is good now")
        .has_not("864209");
    there.get("/my").await.is(200).has("My assignments");
    send(&change(PIN, "864209", "864209"))
        .await
        .is(200)
        .has("It is changed");
    here.get("/my").await.has("My assignments");
    there.get("/my").await.has("Sign in");
    site.stranger()
        .send("/sign-in", &[("name", "anna"), ("secret", PIN)])
        .await
        .is(422);
    site.sign_in("anna", "864209").await.get("/my").await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn wrong_tries_at_the_old_secret_lock_like_those_of_a_sign_in() {
    let site = Site::open().await;
    let browser = site.instructor().await;
    let fields = [
        ("old", "not the passphrase"),
        ("new", "a new one of some words"),
        ("again", "a new one of some words"),
    ];
    for _ in 0..10 {
        browser.send("/account/secret", &fields).await.is(422);
    }
    let right = [("old", PASSPHRASE), fields[1], fields[2]];
    browser
        .send("/account/secret", &right)
        .await
        .is(422)
        .has("quarter of an hour");
}

#[tokio::test(flavor = "multi_thread")]
async fn other_devices_are_signed_out_on_request() {
    let site = Site::open().await;
    let (here, there) = (site.instructor().await, site.instructor().await);
    here.send("/account/devices", &[])
        .await
        .is(200)
        .has_not("Sign the others out");
    there.get("/classes").await.has("Sign in");
    here.get("/classes").await.has("Monday group");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_passphrase_that_everybody_tries_is_refused_with_how_to_choose_another() {
    let site = Site::open().await;
    let browser = site.instructor().await;
    for easy in ["passwordpassword", "qwertyuiop123", "ferro ferro ferro"] {
        let fields = [("old", PASSPHRASE), ("new", easy), ("again", easy)];
        browser
            .send("/account/secret", &fields)
            .await
            .is(422)
            .has("easily guessed")
            .has("four or five words")
            .has_not(easy);
    }
    let good = "тиски, quince & Ölbad 7";
    let fields = [("old", PASSPHRASE), ("new", good), ("again", good)];
    browser
        .send("/account/secret", &fields)
        .await
        .is(200)
        .has("It is changed");
    site.sign_in("ferro", good)
        .await
        .get("/classes")
        .await
        .has("Monday group");
}
