//! Every route by every role, and other people's objects.

use platemark::store::assignments::Feedback;
use platemark::store::people::Role;
use platemark::web::guards::Access;
use platemark::web::routes::table;

use super::site::{Browser, Site, shipped};

/// A path of the table with its objects filled in.
fn filled(path: &str, objects: &[(&str, &str)]) -> String {
    let mut filled = path.to_owned();
    for (name, id) in objects {
        filled = filled.replace(&format!("{{{name}}}"), id);
    }
    assert!(
        !filled.contains('{'),
        "nothing stands for an object of {path}: say here which"
    );
    filled
}

async fn status(browser: &Browser, method: &str, path: &str) -> (u16, String) {
    let answer = if method == "GET" {
        browser.get(path).await
    } else {
        browser.send(path, &[]).await
    };
    (answer.status.as_u16(), answer.path)
}

const OURS: [(&str, &str); 12] = [
    ("class", "1"),
    ("assignment", "1"),
    ("report", "1"),
    ("exercise", "1"),
    ("plate", "1"),
    ("draft", "1"),
    ("student", "2"),
    ("person", "2"),
    ("round", "1"),
    ("regrade", "1"),
    ("evidence", "1"),
    ("no", "1"),
];

#[tokio::test(flavor = "multi_thread")]
async fn every_route_keeps_out_whom_its_line_in_the_table_keeps_out() {
    let site = Site::open().await;
    let assignment = site.assign(9, Feedback::Words).await;
    let pair = site.pair("A").await;
    pair.hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await
        .is(200);
    let assistant = site.newcomer(Role::Assistant, "ussher").await;
    let people = [
        (None, site.stranger()),
        (Some(Role::Student), pair),
        (Some(Role::Assistant), assistant),
        (Some(Role::Instructor), site.instructor().await),
    ];
    for route in table() {
        if route.path == "/sign-out" || route.path.contains("{*") {
            continue;
        }
        let path = filled(route.path, &OURS);
        for (role, browser) in &people {
            let may = matches!(
                (route.access, role),
                (Access::Anyone, _)
                    | (Access::SignedIn, Some(_))
                    | (Access::Student, Some(Role::Student))
                    | (Access::Staff, Some(Role::Assistant | Role::Instructor))
                    | (Access::Instructor, Some(Role::Instructor))
            );
            let (status, came_to) = status(browser, route.method.as_str(), &path).await;
            let what = format!("{} {path} by {role:?}: {status}, {came_to}", route.method);
            assert_ne!(status, 500, "{what}");
            match (may, role) {
                (true, _) => assert!(
                    status != 401 && status != 403 && came_to != "/sign-in" || path == "/sign-in",
                    "{what}"
                ),
                (false, None) if route.method == "GET" => assert_eq!(came_to, "/sign-in", "{what}"),
                (false, None) => assert_eq!(status, 401, "{what}"),
                (false, Some(_)) => assert_eq!(status, 403, "{what}"),
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn other_peoples_objects_are_not_found() {
    let site = Site::open().await;
    let assignment = site.assign(9, Feedback::Words).await;
    site.pair("A")
        .await
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await
        .is(200);
    // Another instructor and another assistant, who do not belong to the class; a student of the other pair and one of no class.
    let others = [
        (Role::Instructor, site.newcomer(Role::Instructor, "ousel").await),
        (Role::Assistant, site.newcomer(Role::Assistant, "ussher").await),
        (Role::Student, site.newcomer(Role::Student, "olga").await),
    ];
    let of_the_school = ["{exercise}"];
    for route in table() {
        let has_object = route.path.contains('{') && !route.path.contains("{*");
        if !has_object || of_the_school.iter().any(|name| route.path.contains(name)) {
            continue;
        }
        for (role, browser) in &others {
            let (status, _) = status(browser, route.method.as_str(), &filled(route.path, &OURS)).await;
            let allowed = match (route.access, role) {
                (Access::Student, Role::Student) => 404,
                (Access::Staff, Role::Assistant | Role::Instructor) | (Access::Instructor, Role::Instructor) => 404,
                _ => 403,
            };
            assert_eq!(status, allowed, "{} {} by {role:?}", route.method, route.path);
        }
    }
    let other_pair = site.pair("B").await;
    other_pair.get("/my/reports/1").await.is(404);
    other_pair.get("/my/1").await.is(200);
    // Nor what is not there, nor what is no number.
    let instructor = site.instructor().await;
    for path in [
        "/classes/99",
        "/classes/x",
        "/classes/-1",
        "/reports/99999999999999999999",
        "/exercises/1/plates/99",
    ] {
        instructor.get(path).await.is(404);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_assignment_that_has_not_opened_is_not_there_yet() {
    let site = Site::open().await;
    let assignment = site.assign(9, Feedback::Words).await;
    let pair = site.pair("A").await;
    pair.get("/my").await.has("Step block");
    let when = site.service.clock.now();
    site.service.clock.turn_to((when.millisecond() - 2 * 3_600_000).into());
    let early = site.pair("A").await;
    early.get("/my").await.has_not("Step block");
    early.get(&format!("/my/{assignment}")).await.is(404);
    early.get(&format!("/my/{assignment}/entry")).await.is(404);
}
