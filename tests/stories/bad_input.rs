//! What a class sends that cannot be, or that a program would rather not have: told at its place, and nothing is lost.

use platemark::store::assignments::Feedback;
use platemark::store::ids::AssignmentId;
use platemark::store::people::Role;
use reqwest::multipart::Form;

use super::entry::Sheet;
use super::site::{Answer, Browser, DAY, PIN, Site, entry, shipped};

fn careful() -> String {
    shipped("SB-11/reports/SB-11-01--careful.csv")
}

/// The roster page with a list and answers.
async fn take(instructor: &Browser, roster: &str, text: &str, columns: &[&str]) -> Answer {
    let mut form = Form::new()
        .text("text", text.to_owned())
        .text("heading", "yes")
        .text("do", "take");
    for (i, column) in columns.iter().enumerate() {
        form = form.text(format!("column-{i}"), (*column).to_owned());
    }
    instructor.send_files(roster, form).await
}

/// The same, only looked at.
async fn look(instructor: &Browser, roster: &str, text: &str) -> Answer {
    instructor
        .send_files(roster, Form::new().text("text", text.to_owned()))
        .await
}

/// What a person signs in as, from the page of people.
fn person_of(page: &Answer, name: &str) -> String {
    let marked = format!("<bdi>{name}</bdi>");
    let link = page.body.split("/people/").find(|l| l.contains(&marked));
    link.unwrap().split('"').next().unwrap().to_owned()
}

/// The codes of a sheet of slips in its order, each with the name on its slip.
fn codes(sheet: &Answer) -> Vec<(String, String)> {
    let between = |text: &str, from: &str| text.split(from).nth(1).unwrap().split('<').next().unwrap().to_owned();
    let slips = sheet.body.split("<li class=\"slip\">").skip(1);
    let slip = |slip: &str| {
        (
            between(slip, "<bdi>"),
            between(slip, "class=\"code num\" translate=\"no\">"),
        )
    };
    slips.map(slip).collect()
}

async fn seat(site: &Site, code: &str) -> Browser {
    let browser = site.stranger();
    let fields = [("code", code), ("secret", PIN), ("again", PIN)];
    browser.send("/seat", &fields).await.is(200).has("My assignments");
    browser
}

/// Right to left, without letters of ours, with marks above and below, with marks that are put together, with what a page
/// would take for its own, the shortest and the longest.
fn names() -> Vec<String> {
    let mut names: Vec<String> = [
        "\u{646}\u{648}\u{631}\u{633} \u{627}\u{644}\u{62d}\u{644}\u{648}\u{627}\u{646}\u{64a}",
        "\u{5de}\u{5d9}\u{5db}\u{5dc} \u{5d1}\u{5df}-\u{5d3}\u{5d5}\u{5d3}",
        "\u{8c37}\u{745e}\u{67cf}",
        "\u{10d2}\u{10d8}\u{10dd}\u{10e0}\u{10d2}\u{10d0}",
        "\u{e19}\u{e49}\u{e33}\u{e40}\u{e1e}\u{e0a}\u{e23}",
        "\u{928}\u{92e}\u{94d}\u{930}\u{924}\u{93e}",
        "\u{1e62}o\u{323}la\u{300} \u{1eb8}\u{300}b\u{e1}",
        "\u{20bb7}\u{91ce}\u{5bb6}",
        "X. \u{d3}",
    ]
    .map(str::to_owned)
    .to_vec();
    names.push("Maximilienne-".repeat(9) + "Zo\u{eb}");
    names
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn names_in_any_script_come_through_every_page() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let names = names();
    let class = format!("/classes/{}", site.class);
    let list: String = names
        .iter()
        .enumerate()
        .map(|(i, n)| format!("{n}\tW-{i}\tP{}\n", i / 2))
        .collect();
    let list = format!("name\tid\tpair\n{list}");
    take(
        &instructor,
        &format!("{class}/roster"),
        &list,
        &["name", "school-id", "pair"],
    )
    .await
    .is(200)
    .has("10 lines, 10 new to the school");
    let markup = [
        ("do", "student"),
        ("name", "<b>Bold</b> & \"Co\""),
        ("school_id", "W-x"),
    ];
    instructor.send(&format!("{class}/people"), &markup).await.is(200);
    let sheet = instructor.send(&format!("{class}/slips"), &[("days", "7")]).await;
    let codes = codes(sheet.is(200));
    let assignment = site.assign(1, Feedback::Words).await;
    // The first of each pair hands in, under their names.
    for (i, name) in names.iter().enumerate().step_by(2) {
        let code = &codes.iter().find(|(n, _)| n == name).unwrap().1;
        let student = seat(&site, code).await;
        student.get("/my").await.has(name).has(&format!("pair P{}", i / 2));
        student.hand_in(assignment, &careful()).await.is(200);
    }
    let people = instructor.get(&format!("{class}/people")).await;
    for path in ["people", "pairs", "gradebook?by=students", "gradebook"] {
        let page = instructor.get(&format!("{class}/{path}")).await;
        for name in &names {
            page.is(200).has(name);
        }
        if path != "gradebook" {
            page.has("&#60;b&#62;Bold").has_not("<b>Bold");
        }
    }
    for name in &names {
        let id = person_of(&people, name);
        instructor
            .get(&format!("{class}/students/{id}"))
            .await
            .is(200)
            .has(name);
        instructor.get(&format!("{class}/people/{id}")).await.is(200).has(name);
        // Found by any part of it, in whichever case.
        let part: String = name.chars().take(3).collect::<String>().to_lowercase();
        let find = percent(&part);
        let found = instructor
            .get(&format!("{class}/gradebook?by=students&find={find}"))
            .await;
        found.is(200).has(name);
    }
    let file = instructor.get(&format!("{class}/gradebook.csv?by=students")).await;
    for name in &names {
        file.has(name);
    }
    // A name longer than any is told, with what was typed still there.
    let long = "n".repeat(400);
    let typed = [("do", "student"), ("name", long.as_str()), ("school_id", "W-9")];
    instructor
        .send(&format!("{class}/people"), &typed)
        .await
        .is(422)
        .has(&long)
        .has("value=\"W-9\"");
}

fn percent(text: &str) -> String {
    text.bytes().map(|b| format!("%{b:02X}")).collect()
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn two_people_of_one_name_are_told_apart_wherever_one_is_chosen() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let class = format!("/classes/{}", site.class);
    let list = "name,id\nAda Okafor,T-1\nAda Okafor,T-2\nIvo Lind,T-3\n";
    look(&instructor, &format!("{class}/roster"), list)
        .await
        .is(200)
        .has("The same name stands on line 2");
    take(&instructor, &format!("{class}/roster"), list, &["name", "school-id"])
        .await
        .is(200)
        .has("3 lines, 3 new");
    // Two slips with two codes, two accounts.
    let sheet = instructor.send(&format!("{class}/slips"), &[("days", "7")]).await;
    let all = codes(sheet.is(200));
    let of_ada: Vec<&str> = all
        .iter()
        .filter(|(n, _)| n == "Ada Okafor")
        .map(|(_, c)| c.as_str())
        .collect();
    assert!(of_ada.len() == 2 && of_ada[0] != of_ada[1], "{all:?}");
    sheet.has("t-1").has("t-2");
    let (first, second) = (seat(&site, of_ada[0]).await, seat(&site, of_ada[1]).await);
    assert_ne!(first.token(), second.token());
    // In one pair together, and chosen one by one.
    let pairs = instructor.get(&format!("{class}/pairs")).await;
    pairs
        .has("<bdi>Ada Okafor (t-1)</bdi>")
        .has("<bdi>Ada Okafor (t-2)</bdi>")
        .has("<bdi>Ivo Lind</bdi>");
    let people = instructor.get(&format!("{class}/people")).await;
    let ids: Vec<&str> = people
        .body
        .split("/people/")
        .filter(|l| l.contains("<bdi>Ada Okafor</bdi>"))
        .map(|l| l.split('"').next().unwrap())
        .collect();
    let fields: Vec<String> = ids.iter().map(|id| format!("pair-{id}")).collect();
    let by_hand = [
        (fields[0].as_str(), "Twins"),
        (fields[1].as_str(), "Twins"),
        ("do", "hand"),
    ];
    instructor.send(&format!("{class}/pairs"), &by_hand).await.is(200);
    let assignment = site.assign(1, Feedback::Words).await;
    let change = format!("/assignments/{assignment}/change");
    instructor
        .get(&change)
        .await
        .has(">Ada Okafor (t-1)</option>")
        .has(">Ada Okafor (t-2)</option>")
        .has(">Ivo Lind</option>");
    let excuse = [("do", "excuse"), ("student", ids[0]), ("excuse_why", "ill")];
    instructor.send(&change, &excuse).await.is(200);
    first.hand_in(assignment, &careful()).await.is(200);
    let rows = instructor.get(&format!("{class}/gradebook.csv?by=students")).await;
    let lines: Vec<&str> = rows.body.lines().filter(|l| l.starts_with("Ada Okafor")).collect();
    assert_eq!(lines.iter().filter(|l| l.contains("excused")).count(), 1, "{lines:?}");
    assert_eq!(
        lines.iter().filter(|l| l.contains("T-1") || l.contains("T-2")).count(),
        2,
        "{lines:?}"
    );
    // Each is told of her own excuse, and the other is not.
    let told = [
        first.get(&format!("/my/{assignment}")).await,
        second.get(&format!("/my/{assignment}")).await,
    ];
    let excused = told
        .iter()
        .filter(|p| p.body.contains("You are excused from this"))
        .count();
    assert_eq!(excused, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_roster_that_lacks_something_is_told_and_what_was_pasted_stays() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let roster = format!("/classes/{}/roster", site.class);
    // No column of names at all.
    let page = instructor
        .send_files(&roster, Form::new().text("text", "id,room\nA-1,12\nA-2,12\n"))
        .await;
    page.is(422).has("No column was found that holds names").has("A-1,12");
    // Families without given names: asked, and taken as it is said.
    let page = take(&instructor, &roster, "family\nQuell\nAbidi\n", &["family"]).await;
    page.is(200).has("<bdi>Quell</bdi>").has("2 lines, 2 new");
    // Without identifiers: everybody is new, with a sign-in name that says nothing.
    let page = take(&instructor, &roster, "name\nMira Jansz\n", &["name"]).await;
    page.is(200).has("1 line").has("1 new");
    // Rows with fewer cells than the heading, rows without a name, an empty one: each told with its line, the rest taken.
    let list = "name,id,pair\nNola Reyes\n,B-2,P1\n\nUna Weir,B-3,P1,more\nOskar Thorn,B-4,P1\n";
    look(&instructor, &roster, list).await.is(200).has("Line 3");
    let page = take(&instructor, &roster, list, &["name", "school-id", "pair"]).await;
    page.is(200).has("<bdi>Nola Reyes</bdi>").has("<bdi>Oskar Thorn</bdi>");
    let people = instructor.get(&format!("/classes/{}/people", site.class)).await;
    people
        .has("Nola Reyes")
        .has("Una Weir")
        .has("Oskar Thorn")
        .has_not("B-2");
    // What is no list: a picture, a spreadsheet's own file, nothing.
    for (bytes, words) in [
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec(), "not a text file"),
        (b"PK\x03\x04\x14\0\x06\0".to_vec(), "not a text file"),
    ] {
        let part = reqwest::multipart::Part::bytes(bytes).file_name("class.xlsx");
        let page = instructor.send_files(&roster, Form::new().part("file", part)).await;
        page.is(422).has(words);
    }
    let count = instructor.get(&format!("/classes/{}/people", site.class)).await;
    count.has("10 students");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_student_of_two_classes_works_in_both_and_leaves_one() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let made = [
        ("name", "Friday group"),
        ("term", "Spring"),
        ("time_zone", "America/Chicago"),
    ];
    let second = instructor.send("/classes/new", &made).await.path.replace("/roster", "");
    // Anna has no identifier of the school yet; she comes into the second class by her sign-in name's person.
    let mut tx = site.service.store.change().await.unwrap();
    let anna = platemark::store::people::with_sign_in(&mut tx, "anna")
        .await
        .unwrap()
        .unwrap()
        .id;
    let friday = platemark::store::ids::ClassId(second.rsplit('/').next().unwrap().parse().unwrap());
    let now = site.service.clock.now();
    platemark::store::classes::join(&mut tx, friday, anna, now)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let field = format!("pair-{anna}");
    let by_hand = [(field.as_str(), "Alone"), ("do", "hand")];
    instructor.send(&format!("{second}/pairs"), &by_hand).await.is(200);
    let monday = site.assign(1, Feedback::Words).await;
    site.service.clock.put_forward(std::time::Duration::from_secs(60));
    let page = site.assign_by_form(&instructor, &second, "Friday's block", &[]).await;
    let friday = page.assignment();
    site.service.clock.put_forward(std::time::Duration::from_secs(60));
    let anna = site.pair("A").await;
    anna.get("/my")
        .await
        .has("Monday group")
        .has("Friday group")
        .has("pair Alone")
        .has("pair A");
    anna.hand_in(monday, &careful()).await.is(200);
    let other = anna.hand_in(friday, &careful()).await.is(200).path.clone();
    // Her partner of Monday sees nothing of Friday, and each class counts its own.
    let aron = site.sign_in("aron", PIN).await;
    aron.get("/my").await.has_not("Friday");
    aron.get(&other).await.is(404);
    aron.get(&format!("/my/{friday}")).await.is(404);
    let book = instructor
        .get(&format!("/classes/{}/gradebook.csv?by=students", site.class))
        .await;
    book.has("anna,").has_not("Friday");
    // She leaves the one and stays in the other.
    let one = format!("{second}/people/2");
    instructor.send(&one, &[("do", "leave")]).await.is(200);
    anna.get(&other).await.is(404);
    anna.get(&format!("/my/{monday}")).await.is(200);
    anna.get("/my").await.has_not("Friday group");
}

/// The form that a browser keeps for its back button, sent again: the same numbers are the same report and leave nothing
/// behind; other numbers are kept and can be handed in as the next attempt.
#[tokio::test(flavor = "multi_thread")]
async fn the_back_button_after_handing_in_loses_nothing() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let path = format!("/my/{assignment}/entry");
    let old = pair.get(&path).await;
    let first = pair.send_files(&path, entry(&old, &careful())).await;
    first.is(200).has("attempt 1 of 2");
    let again = pair.send_files(&path, entry(&old, &careful())).await;
    assert_eq!(again.is(200).path, first.path);
    // The next attempt begins empty, and the bench shows nothing that is being written.
    assert_eq!(pair.get(&path).await.field("m-1"), "");
    site.instructor()
        .await
        .get(&format!("/classes/{}/bench", site.class))
        .await
        .has("Nobody has written anything");

    // One number changed on the old page: it does not go over what was handed in.
    let other = careful().replacen("1,0.022", "1,0.0217", 1);
    assert_ne!(other, careful());
    let page = pair.send_files(&path, entry(&old, &other)).await;
    page.is(409)
        .has("other numbers were handed in before")
        .has(&format!("href=\"{}\"", first.path))
        .has("hand them in as attempt 2 of 2")
        .has("value=\"0.0217\"")
        .has("value=\"-8.018\"");
    // The page that came back is a form like any other.
    let second = Sheet::of(&page, path.clone()).send(&pair, "hand-in").await;
    second.is(200).has("attempt 2 of 2").has("0.0217");
    assert_ne!(second.path, first.path);

    // With no attempt left what is typed is kept all the same, and is there once the instructor gives another.
    let third = careful().replacen("1,0.022", "1,0.0213", 1);
    let page = pair.send_files(&path, entry(&old, &third)).await;
    page.is(409)
        .has("No attempt is left")
        .has("value=\"0.0213\"")
        .has_not("value=\"hand-in\"");
    pair.get(&path).await.is(409).has("All attempts are handed in");
    let reports = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    assert_eq!(reports.body.matches("href=\"/reports/").count(), 2);
    more_attempts(&site, assignment, "3").await;
    let page = pair.get(&path).await;
    assert_eq!(page.is(200).field("m-1"), "0.0213");
    Sheet::of(&page, path)
        .send(&pair, "hand-in")
        .await
        .is(200)
        .has("attempt 3 of 3");
}

async fn more_attempts(site: &Site, assignment: AssignmentId, attempts: &str) {
    let instructor = site.instructor().await;
    let change = format!("/assignments/{assignment}/change");
    let form = instructor.get(&change).await;
    let names = ["seen", "title", "opens", "due", "grace", "per_day", "floor"];
    let values: Vec<String> = names.iter().map(|n| super::entry::read(&form.field(n))).collect();
    let mut fields: Vec<(&str, &str)> = names.iter().copied().zip(values.iter().map(String::as_str)).collect();
    fields.extend([
        ("do", "change"),
        ("attempts", attempts),
        ("counting", "best"),
        ("feedback", "words"),
        ("marks", ""),
    ]);
    instructor.send(&change, &fields).await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_attempt_after_the_last_is_told_and_kept() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (anna, aron) = (site.pair("A").await, site.sign_in("aron", PIN).await);
    let path = format!("/my/{assignment}/entry");
    // Aron's page stands open while Anna hands in; his numbers are others.
    let his = Sheet::open(&aron, assignment)
        .await
        .type_all(&careful())
        .fill("m-3", "0.0190");
    anna.hand_in(assignment, &careful()).await.is(200);
    his.send(&aron, "hand-in")
        .await
        .is(409)
        .has("No attempt is left")
        .has("value=\"0.0190\"");
    // Going on to type there is told too, and is not lost.
    his.send(&aron, "keep").await.is(200).has("value=\"0.0190\"");
    anna.get(&path)
        .await
        .is(409)
        .has("All attempts are handed in")
        .has("ask your instructor for another attempt");
    anna.get(&format!("/my/{assignment}"))
        .await
        .is(200)
        .has("All attempts are handed in.")
        .has_not("Write your report");
    // A number of an attempt that never was.
    let page = anna
        .send_files(
            &path,
            super::site::filled("00000000000000000000000000000000", "7", &careful()),
        )
        .await;
    assert!(page.status.is_client_error(), "{}", page.status);
    page.has("value=\"-8.018\"");
    let reports = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    assert_eq!(reports.body.matches("href=\"/reports/").count(), 1);
}

/// A student who changes the pair in mid-term: the reports of both pairs stand on the student's page, and the mark that
/// counts is the student's own.
#[tokio::test(flavor = "multi_thread")]
async fn a_student_sees_the_own_mark_also_after_a_change_of_pairs() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let instructor = site.instructor().await;
    let anna = site.pair("A").await;
    let set = async |page: Answer, mark: &str| {
        let report = page.is(200).path.rsplit('/').next().unwrap().to_owned();
        let fields = [("do", "set-mark"), ("mark", mark), ("reason", "for this story")];
        let path = format!("/reports/{report}/review");
        site.instructor().await.send(&path, &fields).await.is(200);
    };
    set(anna.hand_in(assignment, &careful()).await, "70").await;
    site.service.clock.put_forward(DAY / 24);
    let swap = [("pair-2", "B"), ("pair-4", "A"), ("do", "hand")];
    instructor
        .send(&format!("/classes/{}/pairs", site.class), &swap)
        .await
        .is(200);
    site.service.clock.put_forward(DAY / 24);
    // Bora, who is in B all the time, hands in with Anna; Bela with Aron.
    let (bora, bela) = (site.sign_in("bora", PIN).await, site.sign_in("bela", PIN).await);
    set(bora.hand_in(assignment, &careful()).await, "84.5").await;
    set(bela.hand_in(assignment, &careful()).await, "60").await;
    let points = [
        ("assignment", "1"),
        ("points", "-4"),
        ("reason", "The lab sheet was not signed."),
    ];
    let student = format!("/classes/{}/students/2", site.class);
    instructor.send(&student, &points).await.is(200).has("80.5");
    let mine = format!("/my/{assignment}");
    // Nothing of marks before the release.
    let anna = site.pair("A").await;
    anna.get(&mine)
        .await
        .is(200)
        .has("with pair A")
        .has_not("Your mark")
        .has_not("not signed");
    instructor
        .send(&format!("/assignments/{assignment}/release"), &[])
        .await
        .is(200);
    // Anna: the best of 70 (A) and 84.5 (B), less 4. Aron: the best of 70 and 60, both of A. Bela 60, Bora 84.5.
    let page = anna.get(&mine).await;
    page.has("Your mark")
        .has("Attempt 2, the best of 2")
        .has("For this student: The lab sheet was not signed.")
        .has(">80.5\u{2007}");
    for (name, mark, words) in [
        ("aron", ">70.0\u{2007}", "the best of 2"),
        ("bela", ">60.0\u{2007}", "Attempt 1"),
        ("bora", ">84.5\u{2007}", "Attempt 1"),
    ] {
        let page = site.sign_in(name, PIN).await.get(&mine).await;
        page.is(200).has("Your mark").has(mark).has(words).has_not("not signed");
    }
    // It is the gradebook's, to the last digit.
    let book = instructor
        .get(&format!("/classes/{}/gradebook.csv?by=students", site.class))
        .await;
    for line in ["anna,,B,80.5", "aron,,A,70.0", "bela,,A,60.0", "bora,,B,84.5"] {
        book.has(line);
    }
    let _ = site.newcomer(Role::Student, "late").await;
}

/// What the page of an assignment says beside its reports: marks that a person set, longer times, plates that are shared
/// because there are too few, and marks rules of its own.
#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn an_assignment_with_its_own_rules_and_too_few_plates() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    // One plate is left for two pairs.
    for plate in 2..=7 {
        let path = format!("/exercises/{}/plates/{plate}", site.exercise);
        instructor.send(&path, &[("saying", "withdraw")]).await.is(200);
    }
    let class = format!("/classes/{}", site.class);
    let with = async |rules: &str| {
        let marks = [("marks", rules)];
        site.assign_by_form(&instructor, &class, "Only the numbers", &marks)
            .await
    };
    for (rules, words) in [
        ("measurement = much", "The marks rules cannot be read"),
        ("mesurement = 60", "mesurement"),
        ("measurement = -5", "measurement"),
    ] {
        let page = with(rules).await;
        page.is(422)
            .has(words)
            .has(rules)
            .has("Only the numbers")
            .has("id=\"f-marks-mend\"");
    }
    let rules = "score = \"fitness\"\nfitness = 0.01\nfull_within = 2.0\nnone_beyond = 3.0\nmeasurement = 100\n\
                 call_for_plate = 0\ncall_for_own_value = 0";
    let page = with(rules).await;
    page.is(200)
        .has("Plates that pairs share in turns")
        .has("SB-11-01</span> (A, B)")
        .has("The marks rules of the exercise are changed for this assignment");
    let assignment = page.assignment();
    site.service.clock.put_forward(std::time::Duration::from_secs(60));
    // Every value agrees, nothing is marked by hand, calls count nothing: 100, where the exercise's own rules give 90 with
    // the ten points by hand still out.
    let report = site.pair("A").await.hand_in(assignment, &careful()).await;
    let report = report.is(200).path.replacen("/my", "", 1);
    instructor
        .get(&report)
        .await
        .has("Measurement: 17 of 17 agree with the plate</td><td class=\"num\">100.0")
        .has_not("Marked by hand");
    let page = instructor.get(&format!("/assignments/{assignment}")).await;
    page.has(">100.0<")
        .has_not("<span class=\"under\">set</span>")
        .has_not("has until");
    // A mark that a person set, and longer for the other pair.
    let set = [("do", "set-mark"), ("mark", "88"), ("reason", "for this story")];
    instructor.send(&format!("{report}/review"), &set).await.is(200);
    let longer = [
        ("do", "extend"),
        ("pair", "2"),
        ("longer", "2099-01-01T10:00"),
        ("why", "the plate is shared"),
    ];
    let change = format!("/assignments/{assignment}/change");
    instructor
        .send(&change, &longer)
        .await
        .is(200)
        .has(rules.lines().next().unwrap().replace('"', "&#34;").as_str());
    instructor
        .get(&format!("/assignments/{assignment}"))
        .await
        .has(">88.0<span class=\"under\">set</span>")
        .has("has until Thu 1 Jan 2099, 10:00")
        .has("changed the time of a pair");
    // Another plate in service: it is given to one of them, and nothing is shared any more.
    let back = format!("/exercises/{}/plates/3", site.exercise);
    instructor.send(&back, &[("saying", "put-in-service")]).await.is(200);
    let other = [("do", "plate"), ("plate_pair", "2"), ("plate", "3")];
    instructor.send(&change, &other).await.is(200);
    instructor
        .get(&format!("/assignments/{assignment}"))
        .await
        .has("SB-11-03")
        .has_not("share in turns");
}

/// Of two fields of one name nobody could say which was meant: it is said which, and nothing is stored. What may repeat does.
#[tokio::test(flavor = "multi_thread")]
async fn a_field_that_comes_twice_is_refused() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let (instructor, pair) = (site.instructor().await, site.pair("A").await);
    pair.hand_in(assignment, &careful()).await.is(200);
    instructor.send("/exercises/1/edit", &[]).await.is(200);
    let class = format!("/classes/{}", site.class);
    let pairs = format!("{class}/pairs");
    let before = [
        instructor.get("/reports/1").await.body,
        instructor.get(&pairs).await.body,
    ];
    let once = [("do", "remark"), ("remark", "one")];
    let twice = |name: &str| format!("The field `{name}` came more than once");
    for (path, doubled, fields) in [
        (
            "/reports/1/review",
            "remark",
            &[once[0], once[1], ("remark", "two")][..],
        ),
        ("/reports/1/review", "do", &[once[0], once[1], ("do", "done")]),
        ("/reports/1/hand-marks", "p-0", &[("p-0", "1"), ("p-0", "10")]),
        ("/reports/1/faults", "do", &[("do", "confirm:0"), ("do", "reject:0")]),
        (&pairs, "pair-2", &[("do", "hand"), ("pair-2", "A"), ("pair-2", "B")]),
        ("/drafts/1", "title", &[("title", "One"), ("title", "Two")]),
        (
            "/exercises/1/plates/1/drawer",
            "act",
            &[("act", "withdraw"), ("act", "put-back")],
        ),
        (
            "/assignments/1/regrade",
            "why",
            &[("drop", "yes"), ("why", "a"), ("why", "b")],
        ),
    ] {
        instructor.send(path, fields).await.is(422).has(&twice(doubled));
    }
    let asked = instructor.get("/assignments/1/regrade?revision=1&revision=2").await;
    asked.is(400).has(&twice("revision"));
    // Forms with files, on which files may be several.
    let form = Form::new()
        .text("text", "name\nAda\n")
        .text("text", "name\nEve\n")
        .text("do", "take");
    let answer = instructor.send_files(&format!("{class}/roster"), form).await;
    answer.is(422).has(&twice("text"));
    let entry = format!("/my/{assignment}/entry");
    let form = Form::new().text("m-1", "1.0").text("m-1", "2.0").text("do", "keep");
    pair.send_files(&entry, form).await.is(422).has(&twice("m-1"));
    pair.get(&entry).await.has_not("value=\"1.0\"").has_not("value=\"2.0\"");
    let after = [
        instructor.get("/reports/1").await.body,
        instructor.get(&pairs).await.body,
    ];
    assert!(before == after);
    let absent = [("do", "random"), ("absent", "2"), ("absent", "3")];
    instructor.send(&pairs, &absent).await.is(200);
}

/// Where the fields are known, the form is not read.
#[tokio::test(flavor = "multi_thread")]
async fn a_known_field_that_comes_twice_is_refused_too() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let names = [("name", "One"), ("name", "Two"), ("time_zone", "Europe/Dublin")];
    instructor
        .send("/classes/new", &names)
        .await
        .is(422)
        .has("could not be read");
}
