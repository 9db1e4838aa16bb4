//! A class through its term: an assignment is changed, machines have their rota, the bench is watched, the term ends.

use std::path::Path;
use std::time::Duration;

use platemark::actions::end_of_term::{archive, keep_for, take_out_what_is_over};
use platemark::actions::make_class::{Wanted, make_class};
use platemark::store::assignments::Feedback;
use platemark::store::classes::{self, WhenOver};
use platemark::store::end_of_term;
use platemark::store::ids::ClassId;
use platemark::store::people::Role;
use platemark::web::times;
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};

use super::site::{Answer, DAY, HOUR, Site, named, shipped};

/// Date and time for a field, some hours from now, in the time of the class.
fn in_hours(site: &Site, hours: i64) -> String {
    let when = site.service.clock.now().millisecond() + hours * 3_600_000;
    times::for_field(when.into(), &times::zone("Europe/Dublin"))
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn a_pair_gets_longer_and_a_machine_was_down() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let instructor = site.instructor().await;
    let change = format!("/assignments/{assignment}/change");
    let longer = in_hours(&site, 9 * 24);
    let send = |pair: &'static str, due: &str, why: &'static str| {
        vec![
            ("do", "extend".to_owned()),
            ("pair", pair.to_owned()),
            ("longer", due.to_owned()),
            ("why", why.to_owned()),
        ]
    };
    let fields = |list: &[(&'static str, String)]| list.to_vec();
    let post = |list: Vec<(&'static str, String)>| {
        let (instructor, change) = (&instructor, &change);
        async move {
            let list: Vec<(&str, &str)> = list.iter().map(|(n, v)| (*n, v.as_str())).collect();
            instructor.send(change, &list).await
        }
    };
    post(fields(&send("1", "2020-01-01T10:00", "ill")))
        .await
        .is(422)
        .has("must come after the due time of all")
        .has("value=\"ill\"");
    post(fields(&send("1", &longer, " ")))
        .await
        .is(422)
        .has("write a reason".replace('w', "W").as_str())
        .has(&longer);
    post(fields(&send("9", &longer, "ill")))
        .await
        .is(404)
        .has("no such pair");
    post(fields(&send("1", &longer, "the machine stood still")))
        .await
        .is(200)
        .has("the machine stood still");
    // Eight days on: in time for A, a day late for B.
    site.service.clock.put_forward(8 * DAY);
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    site.pair("A")
        .await
        .hand_in(assignment, &careful)
        .await
        .is(200)
        .has_not(" late");
    site.pair("B")
        .await
        .hand_in(assignment, &careful)
        .await
        .is(200)
        .has("late");

    // A machine was down: what is still to come moves, the reason stays.
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let instructor = site.instructor().await;
    let machines = format!("/classes/{}/machines", site.class);
    instructor
        .send(&machines, &[("do", "machine-down"), ("hours", "0"), ("why", "x")])
        .await
        .is(422)
        .has("1 to 2000 hours");
    instructor
        .send(
            &machines,
            &[("do", "machine-down"), ("hours", "48"), ("why", "probe broken")],
        )
        .await
        .is(200);
    site.service.clock.put_forward(8 * DAY);
    site.pair("B")
        .await
        .hand_in(assignment, &careful)
        .await
        .is(200)
        .has_not(" late");
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn another_plate_an_excuse_and_other_rules() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let instructor = site.instructor().await;
    let change = format!("/assignments/{assignment}/change");
    let page = instructor.get(&change).await;
    page.is(200).has("SB-11-01").has("SB-11-03");
    let options = page.body.split("name=\"plate\"").nth(1).unwrap();
    let third = options
        .split("<option value=\"")
        .find(|o| o.contains("SB-11-03"))
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();
    site.service.clock.put_forward(HOUR);
    instructor
        .send(&change, &[("do", "plate"), ("plate_pair", "1"), ("plate", &third)])
        .await
        .is(200)
        .has("SB-11-01 (until");
    site.pair("A")
        .await
        .get("/my")
        .await
        .has("SB-11-03")
        .has_not("SB-11-01");
    instructor
        .send(&change, &[("do", "plate"), ("plate_pair", "1"), ("plate", "9999")])
        .await
        .is(404)
        .has("no such pair");
    instructor
        .send(&change, &[("do", "excuse"), ("student", "2"), ("excuse_why", "ill")])
        .await
        .is(200)
        .has("<bdi>anna</bdi>: ill");
    instructor
        .send(&change, &[("do", "no-excuse"), ("student", "2")])
        .await
        .is(200)
        .has_not("<bdi>anna</bdi>: ill");
    // The rules: what is wrong is at its field, what was typed stays.
    let (opens, due) = (in_hours(&site, -48), in_hours(&site, 72));
    let mut rules = vec![
        ("do", "change"),
        ("title", "Other title"),
        ("opens", opens.as_str()),
        ("due", due.as_str()),
        ("attempts", "3"),
        ("counting", "last"),
        ("grace", "5"),
        ("per_day", "20"),
        ("floor", "0"),
        ("feedback", "words"),
        ("marks", "what is this"),
    ];
    instructor
        .send(&change, &rules)
        .await
        .is(422)
        .has("The marks rules cannot be read")
        .has("Other title")
        .has("is this");
    rules[10] = ("marks", "");
    rules[3] = ("due", "2001-01-01T10:00");
    instructor
        .send(&change, &rules)
        .await
        .is(422)
        .has("due time must come after the opening");
    // The hour that comes twice is asked about, the hour that is skipped does not exist.
    rules[3] = ("due", "2027-10-31T01:30");
    instructor
        .send(&change, &rules)
        .await
        .is(422)
        .has("comes twice on that day")
        .has("name=\"due_which\"");
    rules.push(("due_which", "second"));
    instructor.send(&change, &rules).await.is(200).has("Other title");
    instructor
        .get(&format!("/assignments/{assignment}"))
        .await
        .has("changed times or rules")
        .has("31 Oct 2027, 01:30");
    rules[3] = ("due", "2027-03-28T01:30");
    instructor
        .send(&change, &rules)
        .await
        .is(422)
        .has("no such time on that day");
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn machines_have_a_rota_and_pairs_swap_turns() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await.to_string();
    let instructor = site.instructor().await;
    let machines = format!("/classes/{}/machines", site.class);
    let from = in_hours(&site, 24);
    let plan = |sessions: &'static str, turns: &'static str| {
        vec![
            ("do", "plan"),
            ("assignment", assignment.as_str()),
            ("from", from.as_str()),
            ("minutes", "30"),
            ("sessions", sessions),
            ("turns", turns),
        ]
    };
    instructor
        .send(&machines, &plan("1", "1"))
        .await
        .is(422)
        .has("no machine yet")
        .has(&from);
    instructor
        .send(&machines, &[("do", "add-machine"), ("machine", "Machine North")])
        .await
        .is(200)
        .has("Machine North");
    instructor
        .send(&machines, &plan("0", "1"))
        .await
        .is(422)
        .has("1 to 100 sessions");
    // One machine, one session: one of the two pairs does not fit, and what to add is said.
    instructor
        .send(&machines, &plan("1", "1"))
        .await
        .is(200)
        .has("1 turn was given; 1 did not fit. Add 1 session.");
    instructor
        .send(&machines, &plan("2", "1"))
        .await
        .is(200)
        .has("<b>A</b>")
        .has("<b>B</b>");
    // Pair A asks, pair B says yes.
    let turns = format!("/my/{assignment}/turns");
    let (a, b) = (site.pair("A").await, site.pair("B").await);
    let page = a.get(&turns).await;
    page.is(200).has("Ask for a swap");
    let option = |page: &Answer, field: &str| {
        let options = page.body.split(&format!("name=\"{field}\"")).nth(1).unwrap();
        options
            .split("<option value=\"")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap()
            .to_owned()
    };
    let (mine, theirs) = (option(&page, "mine"), option(&page, "theirs"));
    a.send(&turns, &[("do", "ask"), ("mine", &theirs), ("theirs", &mine)])
        .await
        .is(404)
        .has("has begun or is not there");
    a.send(&turns, &[("do", "ask"), ("mine", &mine), ("theirs", &theirs)])
        .await
        .is(200)
        .has("no answer yet");
    let page = b.get(&turns).await;
    page.has("Another pair asks to swap");
    let wish = page.field("wish");
    a.send(&turns, &[("do", "yes"), ("wish", &wish)]).await.is(404);
    b.send(&turns, &[("do", "yes"), ("wish", &wish)])
        .await
        .is(200)
        .has_not("Another pair asks");
    b.send(&turns, &[("do", "yes"), ("wish", &wish)]).await.is(404);
    let page = a.get(&turns).await;
    assert_eq!(option(&page, "mine"), theirs);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_bench_shows_drafts_and_their_oddness_to_the_instructor_only() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let entry = format!("/my/{assignment}/entry");
    let page = pair.get(&entry).await;
    let mut form = reqwest::multipart::Form::new()
        .text("key", page.field("key"))
        .text("attempt", page.field("attempt"));
    // Every value 5 too far: that is far from any plate.
    for line in shipped("SB-11/reports/SB-11-01--careful.csv").lines().skip(1) {
        let mut cells = line.split(',');
        let (no, value) = (cells.next().unwrap(), cells.next().unwrap());
        let value = value
            .parse::<f64>()
            .map(|v| format!("{:.3}", v + 5.0))
            .unwrap_or_default();
        form = form.text(format!("m-{no}"), value);
    }
    pair.send_files(&entry, form.text("do", "keep")).await.is(200);
    let bench = format!("/classes/{}/bench", site.class);
    let page = site.instructor().await.get(&bench).await;
    page.is(200).has("looks odd").has("Far from the plate").has("17 of 17");
    let assistant = site.assistant().await;
    assistant
        .get(&bench)
        .await
        .is(200)
        .has("17 of 17")
        .has_not("looks odd")
        .has_not("Far from");
    let still = site.instructor().await.get(&format!("{bench}?every=30")).await;
    assert_eq!(still.headers.get("refresh").unwrap(), "30");
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn a_term_ends() {
    let site = Site::open().await;
    // At noon, so that the opening, an hour ago, and the due time in a week are seven calendar days apart at whatever hour this
    // runs.
    const DAY: i64 = 86_400_000;
    let today = site.service.clock.now().millisecond().div_euclid(DAY);
    site.service.clock.turn_to(((today + 1) * DAY + DAY / 2).into());
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    let result = pair.hand_in(assignment, &careful).await.path;
    let instructor = site.instructor().await;
    let end = format!("/classes/{}/end-of-term", site.class);
    // Everything about one student, and nothing of the truth.
    let stored = instructor
        .get(&format!("/classes/{}/people/2/stored", site.class))
        .await;
    stored
        .is(200)
        .has("\"anna\"")
        .has("\"SB-11-01\"")
        .has("not released yet")
        .has_not("reference")
        .has_not("argon2");
    serde_json::from_str::<serde_json::Value>(&stored.body).unwrap();
    // Rolled over: the same times of day, no people.
    instructor
        .send(
            &end,
            &[
                ("do", "roll-over"),
                ("name", "Next"),
                ("term", "Autumn"),
                ("first_day", "soon"),
            ],
        )
        .await
        .is(422)
        .has("2027-01-11");
    instructor
        .send(
            &end,
            &[
                ("do", "roll-over"),
                ("name", "Next"),
                ("term", "Autumn"),
                ("first_day", "2027-01-11"),
            ],
        )
        .await
        .is(200)
        .has("Step block")
        .has("18 Jan 2027");
    // Archived: to look at, not to change.
    instructor
        .send(&end, &[("do", "forget"), ("class_name", "Monday group")])
        .await
        .is(422)
        .has("Archive the class first");
    instructor
        .send(&end, &[("do", "archive")])
        .await
        .is(200)
        .has("is archived since");
    instructor
        .send(&format!("/assignments/{assignment}/release"), &[])
        .await
        .is(409)
        .has("The class is archived");
    instructor
        .send(&format!("/classes/{}/pairs", site.class), &[("do", "rotate")])
        .await
        .is(409);
    instructor
        .send("/reports/1/hand-marks", &[("points-0", "1")])
        .await
        .is(409);
    pair.get(&result).await.is(200);
    pair.send_files(
        &format!("/my/{assignment}/entry"),
        reqwest::multipart::Form::new().text("do", "keep"),
    )
    .await
    .is(409);
    // The names go when somebody says so by name; the class is small, so its reports go too.
    instructor
        .send(&end, &[("do", "forget"), ("class_name", "Monday")])
        .await
        .is(422)
        .has("cannot be undone");
    instructor
        .send(&end, &[("do", "forget"), ("class_name", "Monday group")])
        .await
        .is(200)
        .has("were taken out on");
    let people = instructor.get(&format!("/classes/{}/people", site.class)).await;
    people.has("Former student").has_not("anna");
    instructor.get("/reports/1").await.is(404);
    pair.get("/my").await.has("Sign in");
    instructor.send("/backup", &[]).await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn names_go_by_themselves_when_their_time_is_over_and_it_is_announced() {
    for (over, says, left) in [
        ("names", "the names of its students are taken out, by itself", true),
        ("delete", "its students are deleted, by itself", false),
    ] {
        let site = Site::open().await;
        let assignment = site.assign(1, Feedback::Words).await;
        let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
        site.pair("A").await.hand_in(assignment, &careful).await.is(200);
        let class = format!("/classes/{}", site.class);
        let end = format!("{class}/end-of-term");
        let instructor = site.instructor().await;
        instructor.send(&end, &[("do", "archive")]).await.is(200);
        let keep = [("do", "keep"), ("days", "30"), ("over", over)];
        instructor.send(&end, &keep).await.is(200);
        instructor.get(&class).await.has(says).has("To hold it:").has("anna");
        // Before the day nothing happens; held, nothing happens after it either.
        site.service.clock.put_forward(29 * DAY);
        let gone = take_out_what_is_over(&site.service).await.unwrap();
        assert_eq!(gone, 0);
        let instructor = site.instructor().await;
        let hold = [("do", "keep"), ("days", "30"), ("over", "ask")];
        instructor.send(&end, &hold).await.is(200);
        instructor.get(&class).await.has_not("by itself");
        site.service.clock.put_forward(2 * DAY);
        assert_eq!(take_out_what_is_over(&site.service).await.unwrap(), 0);
        let instructor = site.instructor().await;
        instructor.send(&end, &keep).await.is(200);
        assert_eq!(take_out_what_is_over(&site.service).await.unwrap(), 1);
        assert_eq!(take_out_what_is_over(&site.service).await.unwrap(), 0);
        let page = instructor.get(&class).await;
        page.is(200).has_not("anna").has_not("by itself");
        assert_eq!(page.body.contains("Former student"), left, "{over}");
        instructor.get(&end).await.has("were taken out on");
        instructor
            .get(&format!("{class}/gradebook"))
            .await
            .is(200)
            .has_not("anna");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn names_stay_where_somebody_opens_the_class_again_at_the_last_moment_and_one_class_holds_up_no_other() {
    let site = Site::open().await;
    let wanted = Wanted {
        name: "Friday group",
        term: "Spring",
        time_zone: "Europe/Dublin",
        by: site.instructor_id,
    };
    let service = &site.service;
    let other = make_class(service, &wanted).await.unwrap();
    let class = async |id: ClassId| {
        let all = classes::all(&service.store).await.unwrap();
        all.into_iter().find(|class| class.id == id).unwrap()
    };
    for id in [site.class, other] {
        archive(service, &class(id).await, true, site.instructor_id)
            .await
            .unwrap();
        keep_for(service, id, 30, WhenOver::Delete, site.instructor_id)
            .await
            .unwrap();
    }
    service.clock.put_forward(31 * DAY);
    // Found to be over, and opened again before it is its turn.
    let mut tx = service.store.change().await.unwrap();
    let (gone, ()) = tokio::join!(take_out_what_is_over(service), async {
        tokio::time::sleep(Duration::from_millis(500)).await;
        end_of_term::archive(&mut tx, other, None).await.unwrap();
        tx.commit().await.unwrap();
    });
    assert_eq!(gone.unwrap(), 1);
    assert!(class(site.class).await.forgotten_at.is_some());
    assert!(class(other).await.forgotten_at.is_none());

    // The first of two fails.
    let first = make_class(service, &wanted).await.unwrap();
    let last = make_class(service, &wanted).await.unwrap();
    for id in [first, last] {
        archive(service, &class(id).await, true, site.instructor_id)
            .await
            .unwrap();
        keep_for(service, id, 0, WhenOver::Names, site.instructor_id)
            .await
            .unwrap();
    }
    let fails = format!(
        "create trigger fails before update of forgotten_at on class when new.id = {first}
         begin select raise(abort, 'fails'); end"
    );
    let url = format!("sqlite:{}", site.database().display());
    let mut beside = SqliteConnection::connect(&url).await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(fails)).execute(&mut beside).await.unwrap();
    assert_eq!(take_out_what_is_over(service).await.unwrap(), 1);
    assert!(class(first).await.forgotten_at.is_none());
    assert!(class(last).await.forgotten_at.is_some());
}

/// Where a name was taken out it is gone, also beside others, and the plates of somebody whose name begins alike stay theirs.
#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn names_that_begin_alike_are_taken_out_one_by_one() {
    let site = Site::open().await;
    let gone = named(&site.service, Role::Student, "Ann Li", "d26-1").await;
    named(&site.service, Role::Student, "Ann Lindqvist", "d26-2").await;
    let instructor = site.instructor().await;
    let at = |plate: u8, of: &str| format!("/exercises/{}/plates/{plate}{of}", site.exercise);
    for (plate, fields) in [
        (3, vec![("act", "out"), ("holder", "Ann Lindqvist")]),
        (3, vec![("act", "in"), ("remark", "Clean, says Ann Lindqvist")]),
        (3, vec![("act", "out"), ("holder", "Bo \"Ek\", Ann Li")]),
        (3, vec![("act", "in"), ("remark", "a scratch that was not there")]),
        (3, vec![("act", "out"), ("holder", "the workshop")]),
        (
            3,
            vec![("act", "in"), ("remark", "Ann Lindqvist saw Ann Li's mark; Ann Li too")],
        ),
        (
            3,
            vec![
                ("act", "place"),
                ("label", "Ann Li's"),
                ("place", "Ann Lindqvist's drawer"),
            ],
        ),
        (
            4,
            vec![
                ("act", "place"),
                ("label", "Ann Lindqvist's"),
                ("place", "with Ann Lis box"),
            ],
        ),
        (4, vec![("act", "withdraw"), ("why", "Ann Lindqvist dropped it")]),
        (3, vec![("act", "withdraw"), ("why", "dropped by Ann Li")]),
        (
            5,
            vec![
                ("act", "place"),
                ("label", "Ann Linak"),
                ("place", "Ann Lindqvistnak adva"),
            ],
        ),
    ] {
        instructor.send(&at(plate, "/drawer"), &fields).await.is(200);
    }
    let forget = async || {
        let mut tx = site.service.store.change().await.unwrap();
        let (person, now) = (gone, site.service.clock.now());
        end_of_term::forget(&mut tx, person, now, now).await.unwrap();
        tx.commit().await.unwrap();
    };
    forget().await;
    let words = written_of_plates(&site.database()).await;
    let naming = |name: &str| words.iter().filter(|text| text.contains(name)).collect::<Vec<_>>();
    assert_eq!(naming("Ann Li").len(), naming("Ann Lindqvist").len(), "{words:#?}");
    for left in [
        "holder Ann Lindqvist",
        "remark Clean, says Ann Lindqvist",
        "holder the workshop",
        "place Ann Lindqvist's drawer",
        "label Ann Lindqvist's",
        "why Ann Lindqvist dropped it",
        "place Ann Lindqvistnak adva",
    ] {
        // In the register and in the trail.
        assert_eq!(
            words.iter().filter(|text| *text == left).count(),
            2,
            "{left}: {words:#?}"
        );
    }
    for (out, times) in [("holder taken out", 2), ("remark taken out", 4), ("label taken out", 4)] {
        assert_eq!(
            words.iter().filter(|text| *text == out).count(),
            times,
            "{out}: {words:#?}"
        );
    }
    for out in ["place taken out", "why taken out"] {
        assert_eq!(words.iter().filter(|text| *text == out).count(), 2, "{out}: {words:#?}");
    }
    // Once more changes nothing: the name is another one by then.
    forget().await;
    assert_eq!(written_of_plates(&site.database()).await, words);
}

/// All that is written of plates and loans, in the register and in the trail, each behind the name of its field.
async fn written_of_plates(file: &Path) -> Vec<String> {
    let mut database = SqliteConnection::connect(&format!("sqlite:{}", file.display()))
        .await
        .unwrap();
    sqlx::query_scalar(
        "select * from (select 'holder ' || holder as said from plate_loan union all select 'remark ' || remark from plate_loan
             union all select 'why ' || withdrawn_why from plate union all select 'place ' || place from plate
             union all select 'label ' || label from plate
             union all select j.key || ' ' || j.value from audit, json_each(detail) j where about = 'plate') where said not like '% '
         order by said",
    )
    .fetch_all(&mut database)
    .await
    .unwrap()
}
