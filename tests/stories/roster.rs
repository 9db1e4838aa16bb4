//! A class from its roster to the pairs: lists of any shape, slips, seats, PINs, people who come and go.

use reqwest::multipart::{Form, Part};

use platemark::store::assignments::Feedback;
use platemark::store::people::Role;

use super::site::{Answer, Browser, DAY, PIN, Site, shipped};

/// The form of the roster page with a list and answers.
pub(super) fn list(text: &str, answers: &[(&'static str, &'static str)]) -> Form {
    let form = Form::new().text("text", text.to_owned());
    answers
        .iter()
        .fold(form, |form, (name, value)| form.text(*name, *value))
}

/// The code on the slip of a person, from the sheet of slips.
pub(super) fn code(sheet: &Answer, name: &str) -> String {
    let slip = sheet
        .body
        .split("<li class=\"slip\">")
        .find(|s| s.contains(&format!("<bdi>{name}</bdi>")));
    let slip = slip.unwrap();
    let code = slip.split("class=\"code num\" translate=\"no\">").nth(1).unwrap();
    code.split('<').next().unwrap().to_owned()
}

async fn slips(instructor: &Browser, site: &Site) -> Answer {
    let sheet = instructor
        .send(&format!("/classes/{}/slips", site.class), &[("days", "7")])
        .await;
    sheet.is(200);
    sheet
}

#[tokio::test(flavor = "multi_thread")]
async fn a_class_is_made_and_its_roster_taken() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    instructor.get("/classes").await.has("/classes/new");
    let wrong = [("name", "  "), ("term", "Autumn"), ("time_zone", "Europe/Dublin")];
    instructor
        .send("/classes/new", &wrong)
        .await
        .is(422)
        .has("1 to 120 characters")
        .has("value=\"Autumn\"");
    let wrong = [("name", "Wednesday"), ("time_zone", "Dublin time")];
    instructor
        .send("/classes/new", &wrong)
        .await
        .is(422)
        .has("no time zone")
        .has("value=\"Wednesday\"");
    let right = [
        ("name", "Wednesday"),
        ("term", "Autumn"),
        ("time_zone", "America/Chicago"),
    ];
    let page = instructor.send("/classes/new", &right).await;
    page.is(200).has("Take in a roster");
    let roster = page.path.clone();

    // Nothing at all, then a list without names: what is asked is said, what was pasted stays.
    instructor
        .send_files(&roster, list(" ", &[]))
        .await
        .is(422)
        .has("Paste the list here");
    let page = instructor
        .send_files(&roster, list("grade;room\n5;12\n4;12\n", &[]))
        .await;
    page.is(422)
        .has("No column was found that holds names")
        .has("grade;room");
    // The answer counts.
    let answers = [("heading", "yes"), ("column-0", "nothing"), ("column-1", "name")];
    instructor
        .send_files(&roster, list("grade;room\n5;Otto\n4;Olga\n", &answers))
        .await
        .is(200)
        .has("<bdi>Otto</bdi>");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_is_shown_before_anybody_is_taken() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let made = [("name", "Wednesday"), ("term", ""), ("time_zone", "Europe/Dublin")];
    let roster = instructor.send("/classes/new", &made).await.path;
    // A file in UTF-16 with semicolons: shown, and nobody taken before that.
    let text = "Matrikel;Nachname;Vorname\r\n77-1;Żółć;Łucja\r\n77-2;Okafor;Ada\r\n;Okafor;Ada\r\n77-1;Zwei;Eins\r\n";
    let bytes: Vec<u8> = [0xff, 0xfe]
        .into_iter()
        .chain(text.encode_utf16().flat_map(u16::to_le_bytes))
        .collect();
    let form = Form::new().part("file", Part::bytes(bytes).file_name("class.csv"));
    let page = instructor.send_files(&roster, form).await;
    page.is(200)
        .has("utf-16le, cells parted by semicolon")
        .has("<bdi>Łucja Żółć</bdi>")
        .has("The same name stands on line 3")
        .has("Line 5 is left out")
        .has("stands on line 2 already");
    let people = roster.replace("/roster", "/people");
    instructor.get(&people).await.has("There are no students yet");
    let answers = [
        ("heading", "yes"),
        ("column-0", "school-id"),
        ("column-1", "family"),
        ("column-2", "given"),
        ("do", "take"),
    ];
    let page = instructor.send_files(&roster, list(text, &answers)).await;
    page.is(200).has("3 lines, 3 new to the school");
    // The same list again takes nobody twice; two people of one name stay two.
    let page = instructor.send_files(&roster, list(text, &answers)).await;
    page.has("3 lines, 0 new").has("in the class already");
    instructor
        .get(&people)
        .await
        .has("3 students, 3 people without a seat")
        .has("77-2");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_student_of_two_classes_has_one_account() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let first = format!("/classes/{}/roster", site.class);
    let answers = [
        ("heading", "yes"),
        ("column-0", "name"),
        ("column-1", "school-id"),
        ("do", "take"),
    ];
    instructor
        .send_files(&first, list("name,id\nZofia Quill,Q-9\n", &answers))
        .await
        .is(200)
        .has("1 new to the school");
    let made = [("name", "Thursday"), ("term", ""), ("time_zone", "Europe/Dublin")];
    let second = instructor.send("/classes/new", &made).await.path;
    instructor
        .send_files(&second, list("name,id\nZofia Q.,q-9\n", &answers))
        .await
        .is(200)
        .has("known to the school as Zofia Quill; that name stays")
        .has("0 new to the school");
    // One slip, one seat; both classes show it.
    let sheet = slips(&instructor, &site).await;
    let student = site.stranger();
    let seat = [
        ("code", code(&sheet, "Zofia Quill")),
        ("secret", PIN.to_owned()),
        ("again", PIN.to_owned()),
    ];
    let seat: Vec<(&str, &str)> = seat.iter().map(|(n, v)| (*n, v.as_str())).collect();
    student.send("/seat", &seat).await.is(200).has("Zofia Quill");
    for people in [first, second].map(|p| p.replace("/roster", "/people")) {
        instructor.get(&people).await.has("<span>taken</span>");
    }
    // The identifier of somebody of the staff is nobody's seat.
    instructor
        .send(
            &format!("/classes/{}/people", site.class),
            &[("do", "staff"), ("staff_sign_in", "anna")],
        )
        .await
        .is(422)
        .has(
            "a student signs in as `anna`"
                .replace("a student", "A student")
                .as_str(),
        );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_seat_is_taken_once_with_a_slip() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let people = format!("/classes/{}/people", site.class);
    instructor
        .send(&people, &[("do", "student"), ("name", " "), ("school_id", "N-1")])
        .await
        .is(422)
        .has("value=\"N-1\"");
    instructor
        .send(
            &people,
            &[("do", "student"), ("name", "Nour Haddad"), ("school_id", "N-1")],
        )
        .await
        .is(200);
    let sheet = slips(&instructor, &site).await;
    let code = code(&sheet, "Nour Haddad");
    // Nobody can come back to the sheet, and the codes are nowhere else.
    instructor.get(&people).await.has("slip good until").has_not(&code);

    // Whoever has no slip sees no name.
    let stranger = site.stranger();
    stranger.get("/seat").await.is(200).has_not("Nour").has_not("n-1");
    for wrong in ["", "AAAAA-BBBBB-CCCCC", "nonsense", &code[..16]] {
        stranger
            .send("/seat", &[("code", wrong)])
            .await
            .is(422)
            .has_not("Nour")
            .has("No seat can be taken");
    }
    let send = |secret: &'static str, again: &'static str| {
        let (code, browser) = (code.to_lowercase(), &stranger);
        async move {
            browser
                .send("/seat", &[("code", &code), ("secret", secret), ("again", again)])
                .await
        }
    };
    stranger
        .send("/seat", &[("code", &code)])
        .await
        .is(200)
        .has("Nour Haddad")
        .has("n-1")
        .has("Choose a PIN");
    send("12345", "12345").await.is(422).has("6 digits and more");
    send("123456", "123456").await.is(422).has("Choose another");
    send("271828", "271829")
        .await
        .is(422)
        .has("not the same")
        .has("Nour Haddad");
    send("271828", "271828").await.is(200).has("My assignments");
    // Used up; the PIN is good.
    site.stranger()
        .send("/seat", &[("code", &code)])
        .await
        .is(422)
        .has_not("Nour");
    site.sign_in("n-1", "271828").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_forgotten_pin_is_mended_with_a_new_slip() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let student = site.pair("A").await;
    let one = format!("/classes/{}/people/2", site.class);
    instructor
        .send(&one, &[("do", "free-seat")])
        .await
        .is(200)
        .has("no slip yet");
    student.get("/my").await.has("Sign in");
    let sheet = instructor
        .send(
            &format!("/classes/{}/slips", site.class),
            &[("person", "2"), ("days", "2")],
        )
        .await;
    let new = code(&sheet, "anna");
    // Too old after its two days.
    site.service.clock.put_forward(3 * DAY);
    student.send("/seat", &[("code", &new)]).await.is(422).has_not("anna");
}
#[tokio::test(flavor = "multi_thread")]
async fn tries_with_one_slip_are_counted() {
    let site = Site::open().await;
    let stranger = site.stranger();
    for _ in 0..10 {
        stranger.send("/seat", &[("code", "ZZZZZ-11111-22222")]).await.is(422);
    }
    stranger
        .send("/seat", &[("code", "ZZZZZ-11111-22223")])
        .await
        .is(429)
        .has("locked after 10 tries");
    stranger.send("/seat", &[("code", "YYYYY-11111-22223")]).await.is(422);
}

#[tokio::test(flavor = "multi_thread")]
async fn staff_comes_by_slip_with_a_passphrase_and_goes() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let people = format!("/classes/{}/people", site.class);
    let staff = [
        ("do", "staff"),
        ("staff_sign_in", "quist"),
        ("staff_name", "Perla Quist"),
        ("staff_role", "assistant"),
    ];
    instructor
        .send(&people, &staff)
        .await
        .is(200)
        .has("Perla Quist")
        .has("assistant");
    let sheet = slips(&instructor, &site).await;
    let code = code(&sheet, "Perla Quist");
    let assistant = site.stranger();
    let seat = |secret: &'static str| vec![("code", code.as_str()), ("secret", secret), ("again", secret)];
    assistant
        .send("/seat", &seat("271828"))
        .await
        .is(422)
        .has("12 characters and more");
    assistant
        .send("/seat", &seat("feeler gauge and vee"))
        .await
        .is(200)
        .has("Monday group");
    // An assistant sees the people and changes nothing.
    assistant
        .get(&people)
        .await
        .is(200)
        .has("Perla Quist")
        .has_not("Add the student");
    assistant
        .send(&people, &[("do", "student"), ("name", "Nobody")])
        .await
        .is(403);
    assistant.get(&format!("/classes/{}/pairs", site.class)).await.is(403);
    // The last instructor cannot go; the assistant can.
    let of = |page: &Answer, name: &str| {
        let link = page
            .body
            .split("href=\"")
            .find(|l| l.contains("/people/") && l.contains(&format!("<bdi>{name}</bdi>")))
            .unwrap();
        link.split('"').next().unwrap().to_owned()
    };
    let page = instructor.get(&people).await;
    instructor
        .send(&of(&page, "ferro"), &[("do", "leave")])
        .await
        .is(422)
        .has("A class needs an instructor");
    instructor
        .send(&of(&page, "Perla Quist"), &[("do", "leave")])
        .await
        .is(200);
    assistant.get(&people).await.is(404);
}

#[tokio::test(flavor = "multi_thread")]
async fn pairs_by_hand_at_random_and_in_rotation() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let pairs = format!("/classes/{}/pairs", site.class);
    instructor.get(&pairs).await.is(200).has("value=\"A\"");
    // Anna 2, Aron 3, Bela 4, Bora 5: three in one pair, one alone.
    let by_hand = [
        ("pair-2", "A"),
        ("pair-3", "a"),
        ("pair-4", "A"),
        ("pair-5", "Anvil"),
        ("pair-99", "A"),
        ("do", "hand"),
    ];
    instructor
        .send(&pairs, &by_hand)
        .await
        .is(200)
        .has("A: 3 people")
        .has("Anvil: one person, alone");
    let long = "x".repeat(41);
    instructor
        .send(&pairs, &[("pair-2", long.as_str()), ("do", "hand")])
        .await
        .is(422)
        .has("longer than 40")
        .has(&long);
    instructor
        .send(&pairs, &[("pair-2", ""), ("do", "hand")])
        .await
        .is(200)
        .has("Not two");
}

#[tokio::test(flavor = "multi_thread")]
async fn everybody_works_with_everybody_once() {
    let site = Site::open().await;
    let pairs = format!("/classes/{}/pairs", site.class);
    // A and B stand already: Anna with Aron, Bela with Bora.
    let mut met = std::collections::BTreeSet::from(["anna aron".to_owned(), "bela bora".to_owned()]);
    for _ in 0..2 {
        site.service.clock.put_forward(7 * DAY);
        let instructor = site.instructor().await;
        let page = instructor.send(&pairs, &[("odd", "three"), ("do", "rotate")]).await;
        page.is(200).has("in rotation");
        let now = page
            .body
            .split("id=\"now\"")
            .nth(1)
            .unwrap()
            .split("</table>")
            .next()
            .unwrap()
            .to_owned();
        for row in now.split("<tr>").skip(2) {
            let names: Vec<&str> = row
                .split("<bdi>")
                .skip(1)
                .map(|n| n.split('<').next().unwrap())
                .collect();
            assert!(met.insert(names.join(" ")), "{names:?} met before: {met:?}");
        }
    }
    assert_eq!(met.len(), 6, "{met:?}");
    // With one absent and at random: the seed is kept, the absent one is in no pair.
    let page = site
        .instructor()
        .await
        .send(&pairs, &[("odd", "three"), ("absent", "2"), ("do", "random")])
        .await;
    page.is(200).has("seed ").has("3 people");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mark_stays_with_those_who_handed_in() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let anna = site.pair("A").await;
    let result = anna
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await;
    result.is(200);
    // Mid-term: Anna goes to B, Bela to A.
    let instructor = site.instructor().await;
    let by_hand = [("pair-2", "B"), ("pair-4", "A"), ("do", "hand")];
    instructor
        .send(&format!("/classes/{}/pairs", site.class), &by_hand)
        .await
        .is(200);
    site.service.clock.put_forward(DAY / 100);
    let bela = site.sign_in("bela", PIN).await;
    let aron = site.sign_in("aron", PIN).await;
    // What was handed in by Anna and Aron is theirs, and not Bela's.
    anna.get(&result.path).await.is(200);
    aron.get(&result.path).await.is(200);
    bela.get(&result.path).await.is(404);
    // Anna works with B's plate now.
    anna.get("/my").await.has("pair B").has("SB-11-02");
    bela.get("/my").await.has("pair A").has("SB-11-01");
    // Who leaves the class sees it no more; what was handed in stays.
    instructor
        .send(&format!("/classes/{}/people/3", site.class), &[("do", "leave")])
        .await
        .is(200)
        .has("left");
    aron.get(&result.path).await.is(404);
    instructor.get("/reports/1").await.is(200);
    instructor
        .send(&format!("/classes/{}/people/3", site.class), &[("do", "come-back")])
        .await
        .is(200);
    aron.get(&result.path).await.is(200);
    let _ = site.newcomer(Role::Student, "late").await;
}

/// New pairs in the middle of an assignment: those of before keep what they handed in, those of now get plates, and no turn
/// waits for a pair that nobody is in.
#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn pairs_change_while_an_assignment_is_open() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    let first = site
        .pair("A")
        .await
        .hand_in(assignment, &careful)
        .await
        .is(200)
        .path
        .clone();
    let instructor = site.instructor().await;
    let class = format!("/classes/{}", site.class);
    let machines = format!("{class}/machines");
    let add = [("do", "add-machine"), ("machine", "Machine North")];
    instructor.send(&machines, &add).await.is(200);
    let begins = site.service.clock.now().millisecond() + 3_600_000;
    let zone = platemark::web::times::zone("Europe/Dublin");
    let begins = platemark::web::times::for_field(begins.into(), &zone);
    let id = assignment.to_string();
    let plan = [
        ("do", "plan"),
        ("assignment", id.as_str()),
        ("from", begins.as_str()),
        ("minutes", "30"),
        ("sessions", "4"),
        ("turns", "1"),
    ];
    instructor
        .send(&machines, &plan)
        .await
        .is(200)
        .has("<b>A</b>")
        .has("<b>B</b>");
    let page = instructor
        .send(&format!("{class}/pairs"), &[("odd", "three"), ("do", "rotate")])
        .await;
    // Two new pairs without a plate: said where they were made, and given there.
    page.is(200)
        .has("Step block: 2 pairs have no plate.")
        .has("value=\"give-missing\"");
    site.service.clock.put_forward(std::time::Duration::from_secs(1));
    instructor.get(&machines).await.has_not("<b>A</b>").has_not("<b>B</b>");
    let change = format!("/assignments/{assignment}/change");
    let page = instructor.send(&change, &[("do", "give-missing")]).await;
    // Nobody holds the plates of the pairs of before: they are the first to be given again.
    page.is(200).has("SB-11-01").has("SB-11-02").has_not("have no plate");
    instructor.get(&format!("{class}/pairs")).await.has_not("no plate");
    // The page of the assignment: A, which handed in, and the two of now; B is gone and has nothing.
    let page = instructor.get(&format!("/assignments/{assignment}")).await;
    page.is(200)
        .has("1 of 3 pairs have handed in")
        .has_not("share in turns")
        .has_not(">B<");
    instructor.get(&class).await.has_not("nobody now");
    // Anna works with somebody else now, and what she handed in with Aron is hers as before.
    site.service.clock.put_forward(std::time::Duration::from_secs(1));
    let anna = site.pair("A").await;
    anna.get("/my")
        .await
        .has("0 of 2 handed in, and 1 with a pair of before");
    anna.get(&format!("/my/{assignment}"))
        .await
        .has("with pair A")
        .has(&format!("href=\"{first}\""));
    anna.hand_in(assignment, &careful).await.is(200);
    // Pairs that are made after it was due are none of its.
    site.service.clock.put_forward(8 * DAY);
    let instructor = site.instructor().await;
    instructor
        .send(&format!("{class}/pairs"), &[("odd", "three"), ("do", "rotate")])
        .await
        .is(200)
        .has_not("no plate");
    instructor
        .get(&format!("/assignments/{assignment}"))
        .await
        .has("2 of 2 pairs have handed in");
}
