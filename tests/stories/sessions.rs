//! Signing in and out.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use platemark::actions::take_seat::make_slips;
use platemark::store::assignments::Feedback;
use platemark::store::classes;
use platemark::store::people::Role;
use sqlx::Connection;

use super::odd_requests::resident;
use super::program::{Running, add_instructor};
use super::site::{Browser, DAY, HOUR, PASSPHRASE, PIN, Site, entry, person, shipped};

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

/// A lesson begins: forty people behind one address, each with two typing errors before the PIN is right, and twenty more
/// who take their seats with slips, one of them mistyped. Nobody is held up.
#[tokio::test(flavor = "multi_thread")]
async fn a_whole_class_behind_one_address_comes_in() {
    let site = Site::open().await;
    let mut people = Vec::new();
    for n in 0..60 {
        let one = person(&site.service, Role::Student, &format!("s-{n}")).await;
        let mut tx = site.service.store.change().await.unwrap();
        classes::join(&mut tx, site.class, one, site.service.clock.now())
            .await
            .unwrap();
        tx.commit().await.unwrap();
        people.push(one);
    }
    let signing = (0..40).map(|n| {
        let browser = site.stranger();
        async move {
            let name = format!("s-{n}");
            for wrong in ["272727", "281828"] {
                browser
                    .send("/sign-in", &[("name", &name), ("secret", wrong)])
                    .await
                    .is(422);
            }
            browser
                .send("/sign-in", &[("name", &name), ("secret", PIN)])
                .await
                .is(200)
                .has("My assignments");
        }
    });
    let slips = make_slips(&site.service, site.class, &people[40..], DAY, site.instructor_id)
        .await
        .unwrap();
    let seats = slips.iter().map(|slip| {
        let browser = site.stranger();
        async move {
            let mistyped = slip.code.replacen(&slip.code[6..], "22222-22222", 1);
            browser.send("/seat", &[("code", &mistyped)]).await.is(422);
            let fields = [("code", slip.code.as_str()), ("secret", PIN), ("again", PIN)];
            browser.send("/seat", &fields).await.is(200).has("My assignments");
        }
    });
    tokio::join!(join_all(signing), join_all(seats));
}

/// More sign-ins at once than can be hashed in the time: a report that comes in meanwhile does not wait for them.
#[tokio::test(flavor = "multi_thread")]
async fn a_burst_of_sign_ins_does_not_hold_up_a_report() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv");
    let report = entry(&pair.get(&format!("/my/{assignment}/entry")).await, &csv);
    let answered = Arc::new(AtomicUsize::new(0));
    let mut burst = tokio::task::JoinSet::new();
    for n in 0..400 {
        let (stranger, answered) = (site.stranger(), Arc::clone(&answered));
        burst.spawn(async move {
            let name = format!("nobody-{n}");
            let page = stranger
                .send("/sign-in", &[("name", &name), ("secret", "000000")])
                .await;
            answered.fetch_add(1, Ordering::SeqCst);
            page.status.as_u16()
        });
    }
    while answered.load(Ordering::SeqCst) == 0 {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    let path = format!("/my/{assignment}/entry");
    let handing_in = tokio::spawn(async move { pair.send_files(&path, report).await });
    // Stored is what counts; the grade is made after it and takes its time.
    let address = format!("sqlite:{}", site.database().display());
    let mut database = sqlx::SqliteConnection::connect(&address).await.unwrap();
    let mut stored = 0_i64;
    while stored == 0 && answered.load(Ordering::SeqCst) < 400 {
        let count = sqlx::query_scalar("select count(*) from report");
        stored = count.fetch_one(&mut database).await.unwrap();
    }
    assert_eq!(stored, 1, "the report waited for every sign-in");
    handing_in.await.unwrap().is(200).has("attempt 1");
    // All of them are answered: looked at, or told that too many sign in at once.
    let told = burst.join_all().await;
    assert!(told.iter().all(|status| [422, 503].contains(status)), "{told:?}");
    assert!(told.contains(&422));
}

/// The seat is freed while the PIN is being checked, which takes a while when many sign in: nobody comes in with it any more,
/// nor changes it, and the other way round a secret is changed from the one that was checked only.
#[tokio::test(flavor = "multi_thread")]
async fn a_check_under_way_is_worth_nothing_once_the_secret_is_another() {
    let site = Site::open().await;
    let (instructor, pair) = (site.instructor().await, site.pair("A").await);
    let (other, second) = (site.pair("B").await, site.pair("B").await);
    let address = format!("sqlite:{}", site.database().display());
    let mut database = sqlx::SqliteConnection::connect(&address).await.unwrap();
    // Some seconds of work stand before whoever comes now.
    let mut line = tokio::task::JoinSet::new();
    for _ in 0..220 {
        let secrets = site.service.secrets.clone();
        line.spawn(async move { secrets.hash("something else").await.unwrap() });
    }
    tokio::time::sleep(Duration::from_millis(50)).await;
    let (new, newer) = ("864209", "975310");
    let stranger = site.stranger();
    let signing = tokio::spawn(async move {
        let answer = stranger.send("/sign-in", &[("name", "anna"), ("secret", PIN)]).await;
        (answer.status.as_u16(), stranger.token())
    });
    let change = async |browser: Browser, new: &'static str| {
        let fields = [("old", PIN), ("new", new), ("again", new)];
        let status = browser.send("/account/secret", &fields).await.status.as_u16();
        (browser, status)
    };
    let changing = tokio::spawn(change(pair, new));
    let both = tokio::spawn(async move { tokio::join!(change(other, new), change(second, newer)) });
    // Until all of them are counted and stand in the line.
    for _ in 0..200 {
        let counted = sqlx::query_scalar::<_, i64>("select coalesce(sum(failed), 0) from sign_in_try");
        if counted.fetch_one(&mut database).await.unwrap() == 4 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    tokio::time::sleep(Duration::from_millis(50)).await;
    let anna = format!("/classes/{}/people/2", site.class);
    instructor.send(&anna, &[("do", "free-seat")]).await.is(200);
    assert!(
        !signing.is_finished() && !changing.is_finished(),
        "the line was too short"
    );

    assert_eq!(signing.await.unwrap(), (422, None));
    // Her session has ended with the seat.
    let (pair, status) = changing.await.unwrap();
    assert_ne!(status, 200);
    pair.get("/my").await.has("Sign in");
    for secret in [PIN, new] {
        let fields = [("name", "anna"), ("secret", secret)];
        site.stranger().send("/sign-in", &fields).await.is(422);
    }
    let ((_, one), (_, two)) = both.await.unwrap();
    assert!([(200, 422), (422, 200)].contains(&(one, two)), "{one} {two}");
    let good = if one == 200 { new } else { newer };
    site.sign_in("bela", good).await.get("/my").await.is(200);
    line.join_all().await;
}

/// What is no wrong guess never holds a class up: however many forms are sent empty, and however often a good code is typed.
#[tokio::test(flavor = "multi_thread")]
async fn only_wrong_tries_of_an_address_are_counted() {
    let site = Site::open().await;
    let anna = site.person_of("anna").await;
    let slips = make_slips(&site.service, site.class, &[anna], DAY, site.instructor_id)
        .await
        .unwrap();
    let stranger = site.stranger();
    let good = [("code", slips[0].code.as_str())];
    for _ in 0..350 {
        stranger
            .send("/sign-in", &[("name", "anna"), ("secret", "")])
            .await
            .is(422);
        stranger.send("/seat", &[]).await.is(422);
        stranger.send("/seat", &good).await.is(200).has("anna");
    }
    for n in 0..600 {
        let wrong = format!("{:05}-22222-22222", n / 10);
        stranger.send("/seat", &[("code", &wrong)]).await.is(422);
    }
    for (path, fields) in [("/seat", &good[..]), ("/sign-in", &[("name", "anna"), ("secret", PIN)])] {
        let told = stranger.send(path, fields).await;
        told.is(429).has("wrong tries came from this network");
    }
}

/// Second steps and slips are counted under names that nobody can type: whoever tries those locks nobody out.
#[tokio::test(flavor = "multi_thread")]
async fn no_typed_name_locks_anything_but_a_name() {
    let site = Site::open().await;
    let stranger = site.stranger();
    for name in [
        format!("second step of {}", site.instructor_id),
        format!("SECOND STEP OF {}", site.instructor_id),
        "slip 01234".to_owned(),
        "SLIP 01234".to_owned(),
    ] {
        for _ in 0..11 {
            stranger
                .send("/sign-in", &[("name", &name), ("secret", "000000")])
                .await;
        }
    }
    let address = format!("sqlite:{}", site.database().display());
    let mut database = sqlx::SqliteConnection::connect(&address).await.unwrap();
    let locked = sqlx::query_scalar::<_, i64>("select count(*) from sign_in_try where locked_until is not null");
    assert_eq!(locked.fetch_one(&mut database).await.unwrap(), 2);
    stranger.send("/seat", &[("code", "01234-22222-22222")]).await.is(422);
    super::second_step::set_up_and_sign_in(&site).await;
}

/// Two are hashed at once, so that a hundred at a time take the memory of two.
#[tokio::test(flavor = "multi_thread")]
async fn a_burst_of_sign_ins_takes_bounded_memory() {
    /// For two hashes of 19 MiB each, the room around them and the connections; one for each sign-in would be 1.9 GiB.
    const MOST_KIB: u64 = 160 << 10;
    let folder = tempfile::tempdir().unwrap();
    let phrase = format!("{PASSPHRASE}\n");
    assert!(add_instructor(folder.path(), "ferro", &phrase).status.success());
    let data = folder.path().to_str().unwrap();
    let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    let before = resident(server.child.id());
    let mut burst = tokio::task::JoinSet::new();
    for n in 0..100 {
        let stranger = Browser::at(&server.address());
        burst.spawn(async move {
            let name = format!("nobody-{n}");
            stranger
                .send("/sign-in", &[("name", &name), ("secret", "000000")])
                .await
                .is(422);
        });
    }
    let mut most = 0;
    loop {
        match burst.try_join_next() {
            Some(done) => done.unwrap(),
            None if burst.is_empty() => break,
            None => {
                most = most.max(resident(server.child.id()).saturating_sub(before));
                tokio::time::sleep(Duration::from_millis(2)).await;
            }
        }
    }
    assert!(most > 0 && most < MOST_KIB, "{most} KiB more");
    assert!(server.stop());
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
    let assignment = site.assign(1, Feedback::Words).await;
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

/// A session that is over by time or with the seat: a device that many people use is told to let go of what it kept; on one's own
/// nothing that was typed is lost.
#[tokio::test(flavor = "multi_thread")]
async fn the_end_of_a_session_clears_a_device_that_many_people_use() {
    let site = Site::open().await;
    let here = format!("http://{}", site.address());
    let signed_in = async |shared: &'static str| {
        let browser = Browser::that_stays(&here);
        let fields = [("name", "anna"), ("secret", PIN), ("shared", shared)];
        browser.send("/sign-in", &fields).await.is(303);
        browser.get("/my").await.is(200);
        browser
    };
    let cleared = async |browser: &Browser| {
        let answer = browser.get("/my").await;
        answer.is(303);
        let clear = answer.headers.get("clear-site-data");
        clear.map(|v| v.to_str().unwrap().to_owned())
    };
    for by_time in [true, false] {
        let (shared, own) = (signed_in("yes").await, signed_in("").await);
        if by_time {
            site.service.clock.put_forward(3 * HOUR);
        } else {
            let anna = format!("/classes/{}/people/2", site.class);
            let free = [("do", "free-seat")];
            site.instructor().await.send(&anna, &free).await.is(200);
        }
        assert_eq!(cleared(&shared).await.as_deref(), Some(r#""cache", "storage""#));
        assert_eq!(cleared(&own).await, None);
    }
    // Nor where nobody was signed in.
    assert_eq!(cleared(&Browser::that_stays(&here)).await, None);
}
