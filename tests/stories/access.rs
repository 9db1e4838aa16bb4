//! Every route by every role, and other people's objects.

use std::time::Duration;

use platemark::actions::import_exercise::{FileText, import_exercise};
use platemark::actions::make_assignment::{Wanted, make_assignment};
use platemark::actions::make_class::{Wanted as WantedClass, make_class, make_pair};
use platemark::actions::terms::Terms;
use platemark::store::assignments::{Counting, Feedback};
use platemark::store::classes;
use platemark::store::ids::{AssignmentId, ClassId};
use platemark::store::people::Role;
use platemark::store::plates::Kind;
use platemark::web::guards::Access;
use platemark::web::routes::table;
use reqwest::multipart::Form;
use sqlx::Connection;

use super::entry::Sheet;
use super::site::{Answer, Browser, PIN, Site, any_report, person, shipped};

/// A path of the table with its objects filled in.
pub(super) fn filled(path: &str, objects: &[(&str, &str)]) -> String {
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

pub(super) const OURS: [(&str, &str); 12] = [
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

/// A photo, as small as one can be.
pub(super) fn photo() -> Vec<u8> {
    let mut bytes = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new(&mut bytes);
    image::DynamicImage::new_rgb8(8, 8).write_with_encoder(encoder).unwrap();
    bytes
}

/// Hands in a report with a photo beside it, on whatever plate the pair has.
async fn with_photo(pair: &Browser, assignment: AssignmentId, csv: &str) -> Answer {
    let sheet = Sheet::open(pair, assignment).await.type_all(csv);
    let sheet = sheet.photo("sheet.jpg", &photo()).fill("incomplete", "yes");
    sheet.send(pair, "hand-in").await
}

/// Makes everything that [`OURS`] names: pair A's report with a photo, a draft and a round of an instructor, a regrading.
pub(super) async fn everything_there() -> Site {
    let site = Site::open().await;
    let assignment = site.assign(9, Feedback::Words).await;
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    with_photo(&site.pair("A").await, assignment, &careful).await.is(200);
    let instructor = site.instructor().await;
    instructor.send("/exercises/1/edit", &[]).await.is(200);
    let mut round = Form::new();
    for (name, text) in [
        ("measured_on", "2024-11-03"),
        ("operator", "O. Fennimar"),
        ("machine", "Machine North"),
        ("temperature", "20.3"),
        ("remark", ""),
        ("table", "no,measured\n2,-8.010\n"),
    ] {
        round = round.text(name, text);
    }
    instructor
        .send_files("/exercises/1/plates/1/rounds/new", round)
        .await
        .is(200)
        .has("Rounds");
    let regrade = instructor.send("/exercises/1/plates/1/regrade", &[]).await;
    assert_eq!(regrade.is(200).path, "/regrades/1");
    site
}

/// An assistant of the class.
async fn assistant_of_class(site: &Site) -> Browser {
    let id = person(&site.service, Role::Assistant, "amsel").await;
    join(site, site.class, id).await;
    site.sign_in("amsel", super::site::PASSPHRASE).await
}

async fn join(site: &Site, class: ClassId, id: platemark::store::ids::PersonId) {
    let mut tx = site.service.store.change().await.unwrap();
    let now = site.service.clock.now();
    classes::join(&mut tx, class, id, now).await.unwrap();
    tx.commit().await.unwrap();
}

/// Headers that every answer has, and no script or style within a page.
fn is_guarded(answer: &Answer, what: &str) {
    let header = |name: &str| {
        let value = answer.headers.get(name).map(|v| v.to_str().unwrap());
        value.unwrap_or_default().to_owned()
    };
    let policy = header("content-security-policy");
    let closed = policy.contains("default-src 'none'") || policy.contains("sandbox");
    assert!(closed && !policy.contains("unsafe"), "{what}: {policy}");
    assert_eq!(header("x-content-type-options"), "nosniff", "{what}");
    assert!(!header("cache-control").contains("public"), "{what}");
    if !header("content-type").starts_with("text/html") {
        let kept = header("content-disposition").starts_with("attachment");
        assert!(
            kept || what.contains("/health"),
            "{what}: {}",
            header("content-disposition")
        );
        return;
    }
    assert!(policy.contains("frame-ancestors 'none'"), "{what}: {policy}");
    assert_eq!(header("cache-control"), "no-store", "{what}");
    let tags = answer.body.split('<').skip(1).map(|tag| tag.split('>').next().unwrap());
    for tag in tags {
        let mut words = tag.split_whitespace();
        let name = words.next().unwrap_or_default();
        assert_ne!(name, "style", "{what}: <{tag}>");
        assert!(name != "script" || tag.contains("src=\"/static/"), "{what}: <{tag}>");
        let handler = |word: &str| word.starts_with("on") && word.contains("=\"");
        assert!(
            !words.any(|word| word.starts_with("style=") || handler(word)),
            "{what}: <{tag}>"
        );
        assert!(!tag.contains("javascript:"), "{what}: <{tag}>");
    }
}

/// The objects that the walks here ask for are there, and who may see them does: a walk in which everything is missing would
/// prove nothing. On the way every answer is looked at for its headers.
#[tokio::test(flavor = "multi_thread")]
async fn every_page_is_there_for_whom_it_is_and_guarded() {
    let site = everything_there().await;
    let assistant = assistant_of_class(&site).await;
    let people = [
        (Role::Student, site.pair("A").await),
        (Role::Assistant, assistant),
        (Role::Instructor, site.instructor().await),
    ];
    let mut seen = 0;
    for route in table() {
        if route.method != "GET" || route.path.contains("{*") {
            continue;
        }
        let path = filled(route.path, &OURS);
        for (role, browser) in &people {
            let may = match route.access {
                Access::Anyone | Access::SignedIn => true,
                Access::Student => *role == Role::Student,
                Access::Staff => *role != Role::Student,
                Access::Instructor => *role == Role::Instructor,
            };
            let answer = browser.get(&path).await;
            let what = format!("{path} by {role:?}");
            is_guarded(&answer, &what);
            // Nobody has overtaken the draft.
            if may && route.path != "/drafts/{draft}/overtaken" {
                assert_eq!(answer.status.as_u16(), 200, "{what}: {}", answer.body);
                seen += 1;
            }
        }
    }
    assert!(seen > 60, "{seen}");
    for path in ["/static/sheet.css", "/nothing-here", "/classes/99"] {
        let answer = people[2].1.get(path).await;
        assert_eq!(answer.headers["x-content-type-options"], "nosniff", "{path}");
        assert!(answer.headers.contains_key("content-security-policy"), "{path}");
    }
}

/// What becomes of a form about a class that is archived. Every form has its line here or fails: whoever adds one decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Archived {
    /// It is refused.
    Refused,
    /// It is about no class, or about what is done with one that is archived.
    Taken,
}

fn when_archived(path: &str) -> Option<Archived> {
    let of_no_class = [
        "/sign-in",
        "/sign-in/code",
        "/sign-out",
        "/seat",
        "/account/secret",
        "/account/devices",
        "/account/second-step",
        "/classes/new",
        "/classes/{class}/end-of-term",
        "/backup",
        "/restore",
        "/restore/apply",
    ];
    // They belong to the school. What follows from a plate for reports of archived classes: `reports_of_archived_classes_stay`.
    let of_the_school = ["/exercises/", "/drafts/{draft}"];
    let of_a_class = [
        "/classes/{class}/",
        "/assignments/{assignment}/",
        "/reports/{report}/",
        "/my/{assignment}/",
        "/my/reports/{report}/",
    ];
    if of_no_class.contains(&path) || of_the_school.iter().any(|start| path.starts_with(start)) {
        Some(Archived::Taken)
    } else {
        of_a_class
            .iter()
            .any(|start| path.starts_with(start))
            .then_some(Archived::Refused)
    }
}

/// In a class that is archived nothing can be changed, by nobody, on any route; to look at it is as before.
#[tokio::test(flavor = "multi_thread")]
async fn no_form_changes_a_class_that_is_archived() {
    let site = everything_there().await;
    let (pair, instructor) = (site.pair("A").await, site.instructor().await);
    // Anna is in a class that still runs too.
    let other = elsewhere(&site).await;
    let anna = platemark::store::ids::PersonId(2);
    join(&site, other.class, anna).await;
    let end = format!("/classes/{}/end-of-term", site.class);
    instructor.send(&end, &[("do", "archive")]).await.is(200);
    let mut refused = 0;
    for route in table().into_iter().filter(|route| route.method == "POST") {
        let decided = when_archived(route.path);
        let decided = decided.unwrap_or_else(|| panic!("say what becomes of {} in an archived class", route.path));
        if decided == Archived::Taken {
            continue;
        }
        let browser = if route.access == Access::Student {
            &pair
        } else {
            &instructor
        };
        let answer = browser.send(&filled(route.path, &OURS), &[]).await;
        answer.is(409).has("The class is archived");
        refused += 1;
    }
    assert!(refused > 20, "{refused}");
    for (browser, path) in [
        (&pair, "/my/reports/1"),
        (&pair, "/my/reports/1/evidence/1"),
        (&instructor, "/reports/1"),
        (&instructor, "/assignments/1"),
    ] {
        browser.get(path).await.is(200);
    }
    // The names are taken out; Anna keeps hers and her account, because of the other class, and changes nothing here.
    let forget = [("do", "forget"), ("class_name", "Monday group")];
    instructor.send(&end, &forget).await.is(200);
    let pair = site.pair("A").await;
    for act in ["query", "check", "evidence"] {
        let answer = pair.send(&format!("/my/reports/1/{act}"), &[("text", "Why?")]).await;
        // Small classes go with their reports.
        assert!([404, 409].contains(&answer.status.as_u16()), "{act}: {}", answer.status);
    }
}

/// A plate is corrected and its reports are graded again: those of a class that is archived stay as they were.
#[tokio::test(flavor = "multi_thread")]
async fn reports_of_archived_classes_stay() {
    let site = everything_there().await;
    let instructor = site.instructor().await;
    let path = "/exercises/1/plates/1/regrade";
    instructor.get(path).await.is(200);
    let graded = async |regrade: &str| {
        let address = format!("sqlite:{}", site.database().display());
        let mut database = sqlx::SqliteConnection::connect(&address).await.unwrap();
        let count = sqlx::query_scalar::<_, i64>("select count(*) from regrade_report where regrade = ?");
        count.bind(regrade).fetch_one(&mut database).await.unwrap()
    };
    assert_eq!(graded("1").await, 1);
    let end = format!("/classes/{}/end-of-term", site.class);
    instructor.send(&end, &[("do", "archive")]).await.is(200);
    instructor.send(path, &[]).await.is(200);
    assert_eq!(graded("2").await, 0);
}

/// A form that another site makes the browser of somebody who is signed in send, to any route: it is not taken, whichever way the
/// browser tells where it comes from.
#[tokio::test(flavor = "multi_thread")]
async fn no_route_takes_a_form_from_another_site() {
    let site = everything_there().await;
    let (pair, instructor) = (site.pair("A").await, site.instructor().await);
    let stranger = site.stranger();
    let from: [&[(&str, &str)]; 4] = [
        &[("origin", "http://elsewhere.example"), ("sec-fetch-site", "cross-site")],
        &[("sec-fetch-site", "same-site")],
        &[("origin", "http://elsewhere.example")],
        &[("origin", "null")],
    ];
    let mut walked = 0;
    for route in table().into_iter().filter(|route| route.method != "GET") {
        let browser = match route.access {
            Access::Student => &pair,
            Access::Anyone if route.path != "/sign-out" => &stranger,
            _ => &instructor,
        };
        for headers in from {
            let answer = browser.send_with(&filled(route.path, &OURS), headers, &[]).await;
            answer.is(403).has("sent from another site");
            walked += 1;
        }
    }
    assert!(walked > 200, "{walked}");
    // Nobody is signed out by it, and the same form from here is taken.
    pair.get("/my").await.is(200).has("My assignments");
    instructor.get("/classes").await.is(200).has("Monday group");
    let here = [("sec-fetch-site", "same-origin")];
    let answer = instructor.send_with("/sign-out", &here, &[]).await;
    answer.is(200).has("Sign in");
}

/// Another class of another instructor, with a report of its own on another exercise.
pub(super) struct Elsewhere {
    pub(super) class: ClassId,
    pub(super) assignment: AssignmentId,
    pub(super) student: i64,
    pub(super) report: String,
    plate: i64,
    round: i64,
}

#[expect(clippy::too_many_lines, reason = "one school, step by step")]
pub(super) async fn elsewhere(site: &Site) -> Elsewhere {
    let by = person(&site.service, Role::Instructor, "oriel").await;
    let wanted = WantedClass {
        name: "Friday group",
        term: "Spring",
        time_zone: "Europe/Dublin",
        by,
    };
    let class = make_class(&site.service, &wanted).await.unwrap();
    let student = person(&site.service, Role::Student, "cleo").await;
    make_pair(&site.service, class, "C", &[student], site.service.clock.now())
        .await
        .unwrap();
    let texts = ["exercise.toml", "plates.toml"].map(|name| (name, shipped(&format!("JP-14/{name}"))));
    let [exercise, plates] = texts.each_ref().map(|(name, text)| FileText { name, text });
    let made = import_exercise(&site.service, Some(by), exercise, Some(plates))
        .await
        .unwrap();
    let revision = platemark::store::exercises::newest(&site.service.store, made.exercise)
        .await
        .unwrap()
        .unwrap();
    let now = site.service.clock.now().millisecond();
    let wanted = Wanted {
        class,
        exercise: (made.exercise, revision.id),
        plates: Kind::Physical,
        terms: Terms {
            title: "Jig plate",
            opens_at: (now - 3_600_000).into(),
            due_at: (now + 7 * 86_400_000).into(),
            attempts: 3,
            counting: Counting::Best,
            late_grace_minutes: 0,
            late_percent_per_day: 10.into(),
            late_floor_percent: 50.into(),
            feedback: Feedback::Words,
        },
        marks: "",
        by,
    };
    let assignment = make_assignment(&site.service, &wanted).await.unwrap().assignment;
    site.service.clock.put_forward(Duration::from_secs(1));
    let page = with_photo(
        &site.sign_in("cleo", PIN).await,
        assignment,
        &any_report("JP-14", "JP-14-01"),
    )
    .await;
    let report = page.is(200).path.rsplit('/').next().unwrap().to_owned();
    let plates = platemark::store::plates::of_exercise(&site.service.store, made.exercise)
        .await
        .unwrap();
    let plate = plates[0].id.0;
    let mut round = Form::new();
    for (name, text) in [
        ("measured_on", "2024-11-03"),
        ("operator", "O. Riel"),
        ("machine", "Machine South"),
        ("temperature", "20.1"),
        ("remark", ""),
        ("table", "no,measured\n1,20.000\n"),
    ] {
        round = round.text(name, text);
    }
    let oriel = site.sign_in("oriel", super::site::PASSPHRASE).await;
    let path = format!("/exercises/{}/plates/{plate}/rounds", made.exercise);
    let page = oriel
        .send_files(&format!("{path}/new"), round.text("sure", "yes"))
        .await;
    let round = page
        .is(200)
        .body
        .split(&format!("{path}/"))
        .filter_map(|p| p.split('/').next()?.parse().ok())
        .max();
    Elsewhere {
        class,
        assignment,
        student: student.0,
        report,
        plate,
        round: round.unwrap_or(2),
    }
}

/// An own object first in the path and somebody else's behind it: the second is not found under the first.
#[tokio::test(flavor = "multi_thread")]
async fn other_peoples_objects_are_not_found_under_ones_own() {
    let site = everything_there().await;
    let other = elsewhere(&site).await;
    let (pair, instructor) = (site.pair("A").await, site.instructor().await);
    let foreign = [
        ("student", other.student.to_string()),
        ("person", other.student.to_string()),
        ("evidence", "2".to_owned()),
        ("plate", other.plate.to_string()),
        ("round", other.round.to_string()),
        ("no", "999".to_owned()),
    ];
    let mut walked = 0;
    for route in table() {
        for (name, id) in &foreign {
            let braced = format!("{{{name}}}");
            if !route.path.contains(&braced) || route.path.matches('{').count() < 2 {
                continue;
            }
            let path = filled(&route.path.replace(&braced, id), &OURS);
            let browser = if route.access == Access::Student {
                &pair
            } else {
                &instructor
            };
            let (status, came_to) = status(browser, route.method.as_str(), &path).await;
            // A form that is empty may be told so before anything is looked for.
            let told = [400, 404, 415, 422].contains(&status) && (status == 404 || route.method != "GET");
            assert!(told, "{} {path}: {status}, {came_to}", route.method);
            walked += 1;
        }
    }
    assert!(walked > 20, "{walked}");
    // Each of them is there for its own people: what was not found is somebody else's, and not nobody's.
    let cleo = site.sign_in("cleo", PIN).await;
    cleo.get(&format!("/my/reports/{}/evidence/2", other.report))
        .await
        .is(200);
    for path in [
        format!("/my/reports/{}", other.report),
        format!("/my/reports/{}/evidence/2", other.report),
    ] {
        pair.get(&path).await.is(404);
        instructor.get(&path.replacen("/my", "", 1)).await.is(404);
    }
}

/// Of what pair A has, the other pair of the class sees nothing, on any route of students; what both have it sees.
#[tokio::test(flavor = "multi_thread")]
async fn nothing_of_one_pair_is_there_for_the_other() {
    let site = everything_there().await;
    let (own, other) = (site.pair("A").await, site.pair("B").await);
    let mut walked = 0;
    for route in table().into_iter().filter(|r| r.access == Access::Student) {
        let path = filled(route.path, &OURS);
        let (theirs, _) = status(&other, route.method.as_str(), &path).await;
        if route.path.contains("{report}") {
            assert_eq!(theirs, 404, "{} {path}", route.method);
            walked += 1;
        } else if route.method == "GET" {
            let pages = (own.get(&path).await, other.get(&path).await);
            pages.0.is(200).has_not("<bdi>bela</bdi>");
            pages.1.is(200).has_not("<bdi>anna</bdi>").has_not("/my/reports/1\"");
        }
    }
    assert!(walked >= 5, "{walked}");
}

#[tokio::test(flavor = "multi_thread")]
async fn other_peoples_objects_are_not_found() {
    let site = everything_there().await;
    // Another instructor and another assistant, who do not belong to the class; a student of the other pair and one of no class.
    let others = [
        (Role::Instructor, site.newcomer(Role::Instructor, "ousel").await),
        (Role::Assistant, site.newcomer(Role::Assistant, "ussher").await),
        (Role::Student, site.newcomer(Role::Student, "olga").await),
    ];
    let of_the_school = ["{exercise}", "{draft}"];
    for route in table() {
        let has_object = route.path.contains('{') && !route.path.contains("{*");
        if !has_object {
            continue;
        }
        let is_the_schools = of_the_school.iter().any(|name| route.path.contains(name));
        for (role, browser) in &others {
            // What belongs to the school every instructor may see and change, and nobody else: not as much as whether it is there.
            if is_the_schools && *role == Role::Instructor {
                continue;
            }
            let (status, _) = status(browser, route.method.as_str(), &filled(route.path, &OURS)).await;
            let allowed = match (route.access, role) {
                (Access::Student, Role::Student) => 404,
                (Access::Staff, Role::Assistant | Role::Instructor) | (Access::Instructor, Role::Instructor) => 404,
                _ => 403,
            };
            assert_eq!(status, allowed, "{} {} by {role:?}", route.method, route.path);
        }
    }
    nothing_is_there_that_is_not(&others[0].1).await;
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

/// Of what belongs to the school, and of every object behind it: what nobody has made is not found, on any route; what is there
/// is, for an instructor of no class too.
async fn nothing_is_there_that_is_not(instructor: &Browser) {
    let mut walked = 0;
    for route in table() {
        for name in ["exercise", "draft", "plate", "round"] {
            let braced = format!("{{{name}}}");
            if !route.path.contains(&braced) {
                continue;
            }
            for nobodys in ["987", "-1", "x", "99999999999999999999"] {
                let path = filled(&route.path.replace(&braced, nobodys), &OURS);
                let (status, _) = status(instructor, route.method.as_str(), &path).await;
                // What is no number may be told to be none, and an empty form before its round is looked for.
                let unread = nobodys.parse::<i64>().is_err() && status == 400
                    || name == "round" && route.method == "POST" && status == 422;
                assert!(status == 404 || unread, "{} {path}: {status}", route.method);
                walked += 1;
            }
        }
        let is_the_schools =
            route.path.starts_with("/exercises/{exercise}") || route.path.starts_with("/drafts/{draft}");
        if is_the_schools && route.method == "GET" && route.path != "/drafts/{draft}/overtaken" {
            instructor.get(&filled(route.path, &OURS)).await.is(200);
            walked += 1;
        }
    }
    assert!(walked > 150, "{walked}");
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
