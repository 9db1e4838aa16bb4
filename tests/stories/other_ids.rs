//! Numbers of rows that a form carries in its fields, and not in its path: somebody else's are not found there either, and
//! nothing is changed. Which forms carry such numbers is declared here, and held against what the pages themselves send.

use std::collections::{BTreeMap, BTreeSet};

use platemark::actions::make_class::make_pair;
use platemark::store::people::Role;
use platemark::web::routes::table;
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};

use super::access::{OURS, elsewhere, everything_there, filled};
use super::site::{Browser, PASSPHRASE, PIN, Site, person};

/// What becomes of a form with somebody else's number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Becomes {
    /// It is refused, and nothing at all is changed.
    Refused,
    /// What it says of the other's is about nobody, as of somebody who has just left: nothing of the other's is changed.
    Ignored,
}

/// A field with the number of a row: `{}` stands for it, in the field's name or in its text.
struct Carries {
    route: &'static str,
    field: &'static str,
    text: &'static str,
    /// What it is the number of, by the names of [`Foreign`].
    of: &'static str,
    /// What else the form says, so that it comes as far as the number.
    beside: &'static [(&'static str, &'static str)],
    becomes: Becomes,
}

const fn refused(
    route: &'static str,
    (field, text): (&'static str, &'static str),
    of: &'static str,
    beside: &'static [(&'static str, &'static str)],
) -> Carries {
    let becomes = Becomes::Refused;
    Carries {
        route,
        field,
        text,
        of,
        beside,
        becomes,
    }
}

const fn ignored(
    route: &'static str,
    (field, text): (&'static str, &'static str),
    of: &'static str,
    beside: &'static [(&'static str, &'static str)],
) -> Carries {
    let becomes = Becomes::Ignored;
    Carries {
        route,
        field,
        text,
        of,
        beside,
        becomes,
    }
}

const CHANGE: &str = "/assignments/{assignment}/change";
const MACHINES: &str = "/classes/{class}/machines";
const REVIEW: &str = "/reports/{report}/review";
const TURNS: &str = "/my/{assignment}/turns";
const LONGER: &[(&str, &str)] = &[("do", "extend"), ("longer", "2035-01-01T10:00"), ("why", "ill")];
const ROTA: &[(&str, &str)] = &[
    ("do", "plan"),
    ("from", "2034-01-01T10:00"),
    ("minutes", "30"),
    ("sessions", "4"),
    ("turns", "1"),
];

const CARRIED: &[Carries] = &[
    refused("/classes/{class}/slips", ("person", "{}"), "person", &[]),
    ignored(
        "/classes/{class}/pairs",
        ("pair-{}", "A"),
        "person",
        &[("do", "hand"), ("pair-2", "A"), ("pair-3", "A")],
    ),
    ignored(
        "/classes/{class}/pairs",
        ("absent", "{}"),
        "person",
        &[("do", "random")],
    ),
    refused(
        "/classes/{class}/students/{student}",
        ("assignment", "{}"),
        "assignment",
        &[("points", "+5"), ("reason", "a good question")],
    ),
    refused(
        "/classes/{class}/students/{student}",
        ("do", "take-back:{}"),
        "adjustment",
        &[("assignment", "1")],
    ),
    ignored(
        "/classes/{class}/gradebook/rules",
        ("weight-{}", "7"),
        "assignment",
        &[("weight-1", "1"), ("drops", "0")],
    ),
    ignored(
        "/classes/{class}/gradebook/rules",
        ("evidence-{}", "yes"),
        "assignment",
        &[("weight-1", "1"), ("drops", "0")],
    ),
    refused(MACHINES, ("assignment", "{}"), "assignment", ROTA),
    refused(MACHINES, ("assignment", "{}"), "assignment", &[("do", "clear")]),
    refused(MACHINES, ("machine_id", "{}"), "machine", &[("do", "remove-machine")]),
    refused(
        MACHINES,
        ("one", "{}"),
        "turn",
        &[("do", "swap"), ("other", "{own turn}")],
    ),
    refused(
        MACHINES,
        ("other", "{}"),
        "turn",
        &[("do", "swap"), ("one", "{own turn}")],
    ),
    refused(CHANGE, ("pair", "{}"), "pair", LONGER),
    refused(CHANGE, ("pair", "{}"), "pair", &[("do", "no-longer")]),
    refused(CHANGE, ("plate_pair", "{}"), "pair", &[("do", "plate"), ("plate", "2")]),
    refused(
        CHANGE,
        ("plate", "{}"),
        "plate",
        &[("do", "plate"), ("plate_pair", "1")],
    ),
    refused(
        CHANGE,
        ("student", "{}"),
        "person",
        &[("do", "excuse"), ("excuse_why", "ill")],
    ),
    refused(CHANGE, ("student", "{}"), "person", &[("do", "no-excuse")]),
    refused(REVIEW, ("do", "withdraw:{}"), "remark", &[]),
    refused(REVIEW, ("do", "answer:{}"), "query", &[("answer-{}", "Because.")]),
    refused(REVIEW, ("do", "take-answer-back:{}"), "answered", &[]),
    refused(
        "/drafts/{draft}/step",
        ("step", "{}"),
        "step",
        &[("version", "{version}")],
    ),
    refused(
        TURNS,
        ("mine", "{}"),
        "turn",
        &[("do", "ask"), ("theirs", "{their turn}")],
    ),
    refused(
        TURNS,
        ("theirs", "{}"),
        "turn",
        &[("do", "ask"), ("mine", "{own turn}")],
    ),
    refused(TURNS, ("wish", "{}"), "wish", &[("do", "yes")]),
    refused(TURNS, ("wish", "{}"), "wish", &[("do", "no")]),
    ignored("/my/{assignment}/entry", ("do", "take-away:{}"), "evidence", &[]),
];

/// Fields that look like numbers of rows and are none, or are of what the whole school shares: the route, and the fields.
const OTHERWISE: &[(&str, &[&str])] = &[
    ("/classes/{class}/assign", &["exercise"]),
    ("/exercises/new", &["from"]),
    // Places and characteristics of the print, and how often a draft was changed.
    ("/drafts/{draft}", &["*"]),
    ("/drafts/{draft}/insight", &["version"]),
    ("/drafts/{draft}/table", &["version"]),
    ("/drafts/{draft}/step", &["version"]),
    // The revision of a plate that the page was made from, or nothing is stored.
    ("/exercises/{exercise}/plates/new", &["seen"]),
    ("/exercises/{exercise}/plates/{plate}/planted", &["seen"]),
    (
        "/exercises/{exercise}/plates/{plate}/certificate",
        &["seen", "v-{}", "U-{}", "k-{}"],
    ),
    ("/exercises/{exercise}/plates/{plate}/rounds/new", &["v-{}"]),
    (
        "/exercises/{exercise}/plates/{plate}/rounds/accept",
        &["seen", "rounds", "expansion"],
    ),
    // The round is that of the path.
    (
        "/exercises/{exercise}/plates/{plate}/rounds/{round}/leave-out",
        &["why-{}"],
    ),
    ("/my/{assignment}/entry", &["attempt", "m-{}", "c-{}"]),
    ("/my/{assignment}/entry/{no}", &["attempt", "m-{}", "c-{}"]),
    ("/my/reports/{report}/query", &["no"]),
    ("/reports/{report}/hand-marks", &["points-{}"]),
    // Goes with the number on the button.
    (REVIEW, &["answer-{}"]),
];

/// Forms of which somebody looked: they carry no number of a row of one class but what [`CARRIED`] names.
fn was_looked_at(route: &str) -> bool {
    CARRIED.iter().any(|c| c.route == route) || WITHOUT.contains(&route)
}

const WITHOUT: &[&str] = &[
    "/sign-in",
    "/sign-in/code",
    "/sign-out",
    "/seat",
    "/account/secret",
    "/account/devices",
    "/account/second-step",
    "/classes/new",
    "/classes/{class}/roster",
    "/classes/{class}/people",
    "/classes/{class}/people/{person}",
    "/classes/{class}/end-of-term",
    // The exercise is the school's.
    "/classes/{class}/assign",
    "/backup",
    "/restore",
    "/restore/apply",
    "/assignments/{assignment}/release",
    "/assignments/{assignment}/grade-again",
    "/assignments/{assignment}/regrade",
    "/reports/{report}/hand-marks",
    "/reports/{report}/plate",
    // Faults are named by their place, decisions by their number within the report.
    "/reports/{report}/faults",
    "/reports/{report}/check",
    "/exercises/import",
    // From another exercise, which is the school's.
    "/exercises/new",
    "/exercises/{exercise}/edit",
    "/exercises/{exercise}/plates/propose",
    "/exercises/{exercise}/plates/new",
    "/exercises/{exercise}/plates/{plate}",
    "/exercises/{exercise}/plates/{plate}/drawer",
    "/exercises/{exercise}/plates/{plate}/planted",
    "/exercises/{exercise}/plates/{plate}/certificate",
    "/exercises/{exercise}/plates/{plate}/rounds/new",
    "/exercises/{exercise}/plates/{plate}/rounds/{round}/leave-out",
    "/exercises/{exercise}/plates/{plate}/rounds/accept",
    "/exercises/{exercise}/plates/{plate}/regrade",
    "/drafts/{draft}",
    "/drafts/{draft}/table",
    "/drafts/{draft}/insight",
    // A revision of the same exercise, or nothing is published over.
    "/drafts/{draft}/publish-over",
    "/drafts/{draft}/discard",
    // What is typed is about characteristics of the print.
    "/my/{assignment}/entry/{no}",
    "/my/reports/{report}/query",
    "/my/reports/{report}/check",
    "/my/reports/{report}/evidence",
];

async fn database(site: &Site) -> SqliteConnection {
    let address = format!("sqlite:{}", site.database().display());
    SqliteConnection::connect(&address).await.unwrap()
}

async fn number(site: &Site, question: &str) -> String {
    let question = AssertSqlSafe(question.to_owned());
    let found = sqlx::query_scalar::<_, i64>(question);
    let mut database = database(site).await;
    found.fetch_one(&mut database).await.unwrap().to_string()
}

/// Everything that is stored, but for when sessions were used and what is counted of wrong tries.
async fn stored(site: &Site) -> Vec<String> {
    let mut database = database(site).await;
    let names = "select name from sqlite_master where type = 'table' and name not like 'sqlite_%'
                 and name not in ('session', 'sign_in_try') order by name";
    let names = sqlx::query_scalar::<_, String>(names)
        .fetch_all(&mut database)
        .await
        .unwrap();
    let mut all = Vec::new();
    for name in names {
        let columns =
            format!("select group_concat('quote(\"' || name || '\")', '||'',''||') from pragma_table_info('{name}')");
        let columns = sqlx::query_scalar::<_, String>(AssertSqlSafe(columns));
        let columns = columns.fetch_one(&mut database).await.unwrap();
        let rows = format!("select '{name}: ' || {columns} from \"{name}\" order by 1");
        let rows = sqlx::query_scalar::<_, String>(AssertSqlSafe(rows));
        all.extend(rows.fetch_all(&mut database).await.unwrap());
    }
    all
}

/// Waits until what the server does by itself behind a form is done.
async fn settled(site: &Site) -> Vec<String> {
    let mut before = stored(site).await;
    let mut times = 0;
    loop {
        tokio::time::sleep(std::time::Duration::from_millis(300)).await;
        let now = stored(site).await;
        if now == before {
            return now;
        }
        before = now;
        times += 1;
        assert!(times < 100, "the server goes on writing by itself");
    }
}

/// The other class with everything in it that has a number which a form can carry.
struct Foreign {
    browser: Browser,
    student: Browser,
    class: String,
    /// The page of the student's report.
    report: String,
    numbers: BTreeMap<&'static str, String>,
}

/// A rota of a class, with a wish to swap two turns of it.
async fn rota(site: &Site, instructor: &Browser, class: &str, assignment: &str, asking: &Browser) -> [String; 3] {
    let path = format!("{class}/machines");
    let name = format!("Machine of {assignment}");
    instructor
        .send(&path, &[("do", "add-machine"), ("machine", &name)])
        .await
        .is(200);
    let mut fields = vec![("assignment", assignment)];
    fields.extend(ROTA);
    instructor.send(&path, &fields).await.is(200);
    let turns = async |which: &str| {
        number(
            site,
            &format!("select {which}(id) from machine_turn where assignment = {assignment}"),
        )
        .await
    };
    let (first, last) = (turns("min").await, turns("max").await);
    assert_ne!(first, last);
    let mine = format!(
        "select t.id from machine_turn t where t.assignment = {assignment} and t.pair =
             (select min(pair) from machine_turn where assignment = {assignment})"
    );
    let mine = number(site, &mine).await;
    let theirs = if mine == first { last } else { first };
    let wish = [("do", "ask"), ("mine", mine.as_str()), ("theirs", theirs.as_str())];
    asking.send(&format!("/my/{assignment}/turns"), &wish).await.is(200);
    let wish = number(site, "select max(id) from turn_swap").await;
    [mine, theirs, wish]
}

#[expect(clippy::too_many_lines, reason = "one class, step by step")]
async fn foreign(site: &Site) -> Foreign {
    let other = elsewhere(site).await;
    let (oriel, cleo) = (site.sign_in("oriel", PASSPHRASE).await, site.sign_in("cleo", PIN).await);
    let dora = person(&site.service, Role::Student, "dora").await;
    make_pair(&site.service, other.class, "D", &[dora], site.service.clock.now())
        .await
        .unwrap();
    let (class, assignment) = (format!("/classes/{}", other.class), other.assignment.to_string());
    oriel
        .send(&format!("/assignments/{assignment}/change"), &[("do", "give-missing")])
        .await
        .is(200);
    let [_, theirs, wish] = rota(site, &oriel, &class, &assignment, &cleo).await;
    let report = format!("/reports/{}", other.report);
    for text in ["Why is it so?", "And why this?"] {
        cleo.send(&format!("/my{report}/query"), &[("text", text)])
            .await
            .is(200);
    }
    let open = number(site, "select max(id) from query").await;
    let answered = number(site, "select min(id) from query").await;
    let answer = (format!("answer:{answered}"), format!("answer-{answered}"));
    let review = format!("{report}/review");
    oriel
        .send(&review, &[("do", &answer.0), (&answer.1, "It was cold.")])
        .await
        .is(200);
    oriel
        .send(&review, &[("do", "remark"), ("remark", "Well done.")])
        .await
        .is(200);
    let points = [
        ("assignment", assignment.as_str()),
        ("points", "+2"),
        ("reason", "a good sketch"),
    ];
    let student = format!("{class}/students/{}", other.student);
    oriel.send(&student, &points).await.is(200);
    oriel.send("/exercises/2/edit", &[]).await.is(200);
    let numbers = [
        ("person", other.student.to_string()),
        ("assignment", assignment.clone()),
        ("turn", theirs),
        ("wish", wish),
        ("query", open),
        ("answered", answered),
        ("pair", number(site, "select max(id) from pair").await),
        ("plate", number(site, "select max(id) from plate").await),
        ("machine", number(site, "select max(id) from machine").await),
        ("remark", number(site, "select max(id) from remark").await),
        ("adjustment", number(site, "select max(id) from adjustment").await),
        ("evidence", number(site, "select max(id) from evidence").await),
        (
            "step",
            number(site, "select max(number) + 1 from exercise_draft_step where draft = 1").await,
        ),
    ];
    Foreign {
        browser: oriel,
        student: cleo,
        class,
        report: format!("/my{report}"),
        numbers: numbers.into(),
    }
}

/// What the other class sees of its own.
async fn seen(of: &Foreign) -> Vec<String> {
    let mut seen = Vec::new();
    for page in ["", "/people", "/pairs", "/gradebook", "/gradebook/rules", "/machines"] {
        seen.push(
            of.browser
                .get(&format!("{}{page}", of.class))
                .await
                .is(200)
                .body
                .clone(),
        );
    }
    seen.push(of.student.get("/my").await.is(200).body.clone());
    // With the photo beside it.
    let report = of.student.get(&of.report).await;
    report.is(200).has("/evidence/");
    seen.push(report.body);
    seen
}

/// Every form that is sent with a number in it that is somebody else's.
#[tokio::test(flavor = "multi_thread")]
async fn other_peoples_numbers_in_fields_are_not_found() {
    let site = everything_there().await;
    let (ferro, anna) = (site.instructor().await, site.pair("A").await);
    let [mine, theirs, _] = rota(&site, &ferro, "/classes/1", "1", &anna).await;
    let foreign = foreign(&site).await;
    let version = number(&site, "select version from exercise_draft where id = 1").await;
    let mut before = settled(&site).await;
    let theirs_before = seen(&foreign).await;
    for carries in CARRIED {
        let id = &foreign.numbers[carries.of];
        let put = |text: &str| {
            text.replace("{}", id)
                .replace("{own turn}", &mine)
                .replace("{their turn}", &theirs)
                .replace("{version}", &version)
        };
        let named = [(carries.field, carries.text)];
        let fields = named
            .iter()
            .chain(carries.beside)
            .map(|(name, text)| (put(name), put(text)));
        let fields: Vec<(String, String)> = fields.collect();
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
        let browser = if carries.route.starts_with("/my") {
            &anna
        } else {
            &ferro
        };
        let path = filled(carries.route, &OURS);
        let what = format!("{path} {fields:?}");
        if carries.becomes == Becomes::Ignored {
            let answer = if path.ends_with("/entry") {
                let form = fields
                    .iter()
                    .fold(reqwest::multipart::Form::new(), |form, (name, text)| {
                        form.text((*name).to_owned(), (*text).to_owned())
                    });
                browser.send_files(&path, form).await
            } else {
                browser.send(&path, &fields).await
            };
            assert!(!answer.status.is_server_error(), "{what}: {}", answer.status);
            assert!(seen(&foreign).await == theirs_before, "{what} changed the other's");
            before = settled(&site).await;
            continue;
        }
        let answer = browser.send(&path, &fields).await;
        // What is not there any more is told from what was never there only where somebody else may have changed it.
        let expected: &[u16] = if carries.route == REVIEW {
            &[404, 409]
        } else {
            &[403, 404]
        };
        let status = answer.status.as_u16();
        assert!(expected.contains(&status), "{what}: {status}\n{}", answer.body);
        let now = stored(&site).await;
        let new: Vec<&String> = now.iter().filter(|row| !before.contains(row)).collect();
        assert!(now == before, "{what} changed {new:#?}");
    }
}

/// The same numbers by their own people: what was refused above was refused for whose they are, and not for how it was sent.
#[tokio::test(flavor = "multi_thread")]
async fn ones_own_numbers_in_fields_are_taken() {
    let site = everything_there().await;
    let foreign = foreign(&site).await;
    let assignment = &foreign.numbers["assignment"];
    let report = number(&site, "select max(id) from report").await;
    let objects = [
        ("class", foreign.class.rsplit('/').next().unwrap()),
        ("assignment", assignment.as_str()),
        ("report", report.as_str()),
        ("student", foreign.numbers["person"].as_str()),
    ];
    let mut taken = 0;
    for carries in CARRIED {
        // Those that hang on more than the number, or end what the next one needs.
        let apart = ["one", "other", "mine", "theirs", "step", "plate", "plate_pair"].contains(&carries.field);
        let ends = carries
            .beside
            .iter()
            .any(|(_, text)| ["no", "clear", "random", "plan"].contains(text));
        let later = carries.text.starts_with("take-away") || carries.field == "machine_id";
        if apart || ends || later || carries.becomes == Becomes::Ignored || carries.of == "wish" {
            continue;
        }
        let id = &foreign.numbers[carries.of];
        let put = |text: &str| text.replace("{}", id);
        let beside = carries.beside.iter().map(|(name, text)| {
            let own = if *name == "assignment" {
                assignment.clone()
            } else {
                put(text)
            };
            (put(name), own)
        });
        let fields: Vec<(String, String)> = std::iter::once((put(carries.field), put(carries.text)))
            .chain(beside)
            .collect();
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
        let path = filled(carries.route, &objects);
        // Cleo has a secret of her own, and her instructor is in charge of it.
        let answer = foreign.browser.send(&path, &fields).await;
        assert_eq!(answer.status.as_u16(), 200, "{path} {fields:?}: {}", answer.body);
        taken += 1;
    }
    assert!(taken >= 10, "{taken}");
}

/// A number within a name or a text, taken out: `pair-12` is `pair-{}`.
fn shape(text: &str) -> Option<String> {
    let start = text.rfind(|c: char| !c.is_ascii_digit()).map_or(0, |at| at + 1);
    let (head, digits) = text.split_at(start);
    let parted = head.is_empty() || head.ends_with(['-', ':', '_']);
    (!digits.is_empty() && parted).then(|| format!("{head}{{}}"))
}

fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let text = tag.split(&format!(" {name}=\"")).nth(1)?;
    text.split('"').next()
}

/// The route of a form by its address.
fn route_of(address: &str) -> Option<&'static str> {
    let address = address.split(['?', '#']).next()?;
    let fits = |path: &str| {
        let (path, address) = (path.split('/'), address.split('/'));
        path.clone().count() == address.clone().count() && path.zip(address).all(|(p, a)| p.starts_with('{') || p == a)
    };
    // A fixed part of a path goes before an object.
    let mut routes: Vec<&str> = table()
        .into_iter()
        .filter(|route| route.method == "POST" && fits(route.path))
        .map(|route| route.path)
        .collect();
    routes.sort_by_key(|path| path.matches('{').count());
    routes.first().copied()
}

/// Fields of the forms of a page that may carry the number of a row: what a person chooses or does not see, never what is typed.
fn numbers_of(page: &str) -> BTreeSet<(&'static str, String)> {
    let mut found = BTreeSet::new();
    let (mut route, mut select) = (None, None);
    for tag in page.split('<').skip(1).map(|tag| tag.split('>').next().unwrap()) {
        let element = tag.split_whitespace().next().unwrap_or_default();
        match element {
            "form" if attribute(tag, "method") == Some("post") => {
                let action = attribute(tag, "action");
                assert!(action.is_some(), "a form without an address: <{tag}>");
                route = action.and_then(route_of);
                assert!(route.is_some(), "no route takes <{tag}>");
            }
            "/form" => route = None,
            "select" => select = attribute(tag, "name"),
            _ => {}
        }
        let Some(route) = route else { continue };
        let name = match element {
            "option" => select,
            "input" | "button" | "select" | "textarea" => attribute(tag, "name"),
            _ => None,
        };
        let Some(name) = name else { continue };
        let chosen = element == "option"
            || element == "button"
            || ["hidden", "radio", "checkbox"].contains(&attribute(tag, "type").unwrap_or_default());
        let value = attribute(tag, "value").filter(|_| chosen).and_then(shape);
        match (shape(name), value) {
            (Some(name), _) => drop(found.insert((route, name))),
            (None, Some(value)) if value == "{}" => drop(found.insert((route, name.to_owned()))),
            (None, Some(value)) => drop(found.insert((route, format!("{name}={value}")))),
            (None, None) => {}
        }
    }
    found
}

/// Whoever adds a form says which of its fields carry numbers of rows; and what the pages send is held against that.
#[tokio::test(flavor = "multi_thread")]
async fn every_number_that_a_form_carries_is_declared() {
    for route in table().into_iter().filter(|route| route.method == "POST") {
        assert!(
            was_looked_at(route.path),
            "say which fields of {} carry the number of a row",
            route.path
        );
    }
    let site = everything_there().await;
    let (ferro, anna) = (site.instructor().await, site.pair("A").await);
    let [_, _, _] = rota(&site, &ferro, "/classes/1", "1", &anna).await;
    for text in ["Why?", "And why?"] {
        anna.send("/my/reports/1/query", &[("text", text)]).await.is(200);
    }
    ferro
        .send("/reports/1/review", &[("do", "remark"), ("remark", "Well done.")])
        .await
        .is(200);
    let answer = [("do", "answer:1"), ("answer-1", "It was cold.")];
    ferro.send("/reports/1/review", &answer).await.is(200);
    let points = [("assignment", "1"), ("points", "+2"), ("reason", "a good sketch")];
    ferro.send("/classes/1/students/2", &points).await.is(200);
    let excuse = [("do", "excuse"), ("student", "2"), ("excuse_why", "ill")];
    ferro.send("/assignments/1/change", &excuse).await.is(200);
    let mut longer = vec![("pair", "1")];
    longer.extend(LONGER);
    ferro.send("/assignments/1/change", &longer).await.is(200);
    let bela = site.pair("B").await;
    let (mut undeclared, mut declared) = (BTreeSet::new(), BTreeSet::new());
    for route in table()
        .into_iter()
        .filter(|route| route.method == "GET" && !route.path.contains("{*"))
    {
        let path = filled(route.path, &OURS);
        let readers = if route.path.starts_with("/my") {
            vec![&anna, &bela]
        } else {
            vec![&ferro]
        };
        for reader in readers {
            for (route, field) in numbers_of(&reader.get(&path).await.body) {
                let is_of = |c: &&Carries| {
                    let with = format!("{}={}", c.field, c.text);
                    c.route == route && (c.field == field || with == field)
                };
                let otherwise = OTHERWISE
                    .iter()
                    .any(|(of, fields)| *of == route && (fields == &["*"] || fields.contains(&field.as_str())));
                if CARRIED.iter().any(|c| is_of(&c)) {
                    declared.insert((route, field));
                } else if !otherwise {
                    undeclared.insert((route, field));
                }
            }
        }
    }
    assert!(
        undeclared.is_empty(),
        "say of these whether they are numbers of rows: {undeclared:#?}"
    );
    // The pages really were read for it.
    assert!(declared.len() >= 12, "{declared:#?}");
}
