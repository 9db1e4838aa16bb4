//! Who is in charge of an account: nobody comes by somebody else's account by putting the person into a class.

use std::process::Command;

use platemark::store::people::Role;
use sqlx::{Connection, SqliteConnection};

use super::program::{PROGRAM, Running, add_instructor};
use super::roster::{code, list};
use super::second_step::set_up;
use super::site::{Answer, Browser, HOUR, PASSPHRASE, PIN, Site};

/// Another instructor with a class of her own: her browser and the path of the class.
async fn another(site: &Site) -> (Browser, String) {
    site.service.clock.put_forward(HOUR);
    let oriel = site.newcomer(Role::Instructor, "oriel").await;
    let class = [
        ("name", "Friday group"),
        ("term", "Spring"),
        ("time_zone", "Europe/Dublin"),
    ];
    let page = oriel.send("/classes/new", &class).await;
    let path = page.is(200).path.strip_suffix("/roster").unwrap().to_owned();
    (oriel, path)
}

/// The page of somebody in a class.
async fn page_of(browser: &Browser, class: &str, site: &Site, name: &str) -> String {
    let path = format!("{class}/people/{}", site.person_of(name).await);
    browser.get(&path).await.is(200);
    path
}

fn staff(name: &str) -> [(&str, &str); 4] {
    [
        ("do", "staff"),
        ("staff_sign_in", name),
        ("staff_name", name),
        ("staff_role", "assistant"),
    ]
}

fn student<'a>(name: &'a str, school_id: &'a str) -> [(&'a str, &'a str); 3] {
    [("do", "student"), ("name", name), ("school_id", school_id)]
}

async fn slip_of(browser: &Browser, class: &str, person: &str) -> Answer {
    let person = person.rsplit('/').next().unwrap();
    browser.send(&format!("{class}/slips"), &[("person", person)]).await
}

/// Takes a seat with a code and signs in from then on.
async fn take_seat(site: &Site, code: &str, secret: &str) -> Answer {
    let fields = [("code", code), ("secret", secret), ("again", secret)];
    site.stranger().send("/seat", &fields).await
}

/// Everything that is stored of people, their secrets, slips, second steps and sessions.
async fn accounts(site: &Site) -> Vec<String> {
    let address = format!("sqlite:{}", site.database().display());
    let mut database = SqliteConnection::connect(&address).await.unwrap();
    let rows = sqlx::query_scalar::<_, String>(
        "select json_array(id, role, name, sign_in, secret_hash, school_id, email) from person
         union all select json_array('slip', person, hex(code_hash), expires_at, used_at) from seat_slip
         union all select json_array('step', person, hex(sealed)) from second_step
         union all select json_array('session', person, hex(token_hash)) from session order by 1",
    );
    rows.fetch_all(&mut database).await.unwrap()
}

/// Nothing of an account is offered to this instructor, nor done, and it is said who can.
async fn has_no_power_over(site: &Site, (oriel, class): (&Browser, &str), name: &str, who_can: &str) {
    let person = page_of(oriel, class, site, name).await;
    let page = oriel.get(&person).await;
    page.has(who_can).has_not("Make a slip to print").has_not("free-seat");
    page.has_not("Switch the second step off")
        .has_not("/stored")
        .has_not("Change the name");
    slip_of(oriel, class, &person).await.is(403).has(who_can);
    for what in ["free-seat", "rename"] {
        let fields = [("do", what), ("name", "Quite Another")];
        let told = oriel.send(&person, &fields).await;
        told.is(403).has(who_can);
        assert_eq!(told.body.contains("Quite Another"), what == "rename", "{name} {what}");
    }
    let told = oriel.send(&person, &[("do", "second-step")]).await;
    told.is(if name == "n-1" { 404 } else { 403 });
    oriel.get(&format!("{person}/stored")).await.is(403).has(who_can);
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_takes_an_account_over_by_putting_its_owner_into_a_class() {
    let site = Site::open().await;
    let (ferro, ours) = (site.instructor().await, format!("/classes/{}", site.class));
    let people = format!("{ours}/people");
    site.newcomer(Role::Assistant, "ussher").await;
    ferro.send(&people, &staff("ussher")).await.is(200);
    ferro.send(&people, &student("Nour Haddad", "N-1")).await.is(200);
    let sheet = ferro.send(&format!("{ours}/slips"), &[("days", "7")]).await;
    take_seat(&site, &code(&sheet, "Nour Haddad"), PIN).await.is(200);
    let assistant = site.sign_in("ussher", PASSPHRASE).await;
    set_up(&site, &ferro).await;
    set_up(&site, &assistant).await;

    let (oriel, class) = another(&site).await;
    for name in ["ferro", "ussher"] {
        oriel
            .send(&format!("{class}/people"), &staff(name))
            .await
            .is(200)
            .has(name);
    }
    let known = student("Somebody Else", "n-1");
    oriel
        .send(&format!("{class}/people"), &known)
        .await
        .is(200)
        .has("Nour Haddad");
    let before = accounts(&site).await;
    for (name, who_can) in [
        ("ferro", "platemark instructor new-slip"),
        ("ussher", "An instructor who teaches all running classes"),
        ("n-1", "An instructor of that class"),
    ] {
        has_no_power_over(&site, (&oriel, &class), name, who_can).await;
    }
    // Nor with slips for everybody who has none.
    let sheet = oriel.send(&format!("{class}/slips"), &[("days", "7")]).await;
    sheet.is(200).has("nothing to print");
    oriel
        .send(&format!("{class}/slips"), &[("person", "all")])
        .await
        .is(404);
    assert_eq!(accounts(&site).await, before);

    // An instructor who is put into a class teaches it as long as the other wants.
    let there = page_of(&oriel, &class, &site, "ferro").await;
    oriel.send(&there, &[("do", "leave")]).await.is(200);

    // Who had them first has them still; but now the assistant works for two.
    let person = page_of(&ferro, &ours, &site, "n-1").await;
    slip_of(&ferro, &ours, &person).await.is(200).has("Nour Haddad");
    ferro.get(&format!("{person}/stored")).await.is(200);
    let rename = [("do", "rename"), ("name", "Nour El Haddad")];
    ferro.send(&person, &rename).await.is(200).has("Nour El Haddad");
    let person = page_of(&ferro, &ours, &site, "ussher").await;
    ferro.send(&person, &[("do", "free-seat")]).await.is(403);
    // Once she is out of the other class she is in one's charge alone again.
    let there = page_of(&oriel, &class, &site, "ussher").await;
    oriel.send(&there, &[("do", "leave")]).await.is(200);
    ferro.send(&person, &[("do", "second-step")]).await.is(200);
    let sheet = slip_of(&ferro, &ours, &person).await;
    take_seat(&site, &code(sheet.is(200), "ussher"), "a gauge in its box")
        .await
        .is(200);
}

/// Two instructors of one class, and oneself: passphrase and second step are everybody's own.
#[tokio::test(flavor = "multi_thread")]
async fn instructors_of_one_class_have_no_power_over_each_other() {
    let site = Site::open().await;
    let (ferro, ours) = (site.instructor().await, format!("/classes/{}", site.class));
    let oriel = site.newcomer(Role::Instructor, "oriel").await;
    ferro.send(&format!("{ours}/people"), &staff("oriel")).await.is(200);
    oriel.get(&ours).await.is(200);
    let before = accounts(&site).await;
    for (browser, name, why) in [
        (&ferro, "oriel", "own: passphrase and second step"),
        (&oriel, "ferro", "own: passphrase and second step"),
        (&ferro, "ferro", "changed on your account page"),
    ] {
        let person = page_of(browser, &ours, &site, name).await;
        browser.get(&person).await.has(why).has_not("Make a slip to print");
        slip_of(browser, &ours, &person).await.is(403).has(why);
        for what in ["free-seat", "second-step"] {
            browser.send(&person, &[("do", what)]).await.is(403).has(why);
        }
    }
    assert_eq!(accounts(&site).await, before);
    // One's own name and file are one's own.
    let own = page_of(&ferro, &ours, &site, "ferro").await;
    ferro.get(&format!("{own}/stored")).await.is(200);
    ferro
        .send(&own, &[("do", "rename"), ("name", "M. Ferro")])
        .await
        .is(200);
}

/// Accounts that were never used: their first slips come from where they were made, and nobody else makes or ends them.
#[tokio::test(flavor = "multi_thread")]
async fn first_slips_come_from_where_the_account_was_made() {
    let site = Site::open().await;
    let (ferro, ours) = (site.instructor().await, format!("/classes/{}", site.class));
    let people = format!("{ours}/people");
    let new = [
        ("do", "staff"),
        ("staff_sign_in", "quist"),
        ("staff_name", "Perla Quist"),
        ("staff_role", "instructor"),
    ];
    ferro.send(&people, &new).await.is(200).has("Perla Quist");
    ferro.send(&people, &student("Nour Haddad", "N-1")).await.is(200);
    let (oriel, class) = another(&site).await;
    let there = format!("{class}/people");
    oriel.send(&there, &staff("quist")).await.is(200).has("Perla Quist");
    oriel.send(&there, &student("Nour Haddad", "N-1")).await.is(200);
    oriel.send(&there, &student("Olga Own", "O-1")).await.is(200);
    let page = oriel.get(&there).await;
    page.has("2 people without a seat came into another class first");
    page.has("Make 1 slip to print");
    let sheet = ferro.send(&format!("{ours}/slips"), &[("days", "7")]).await;
    let codes = ["Perla Quist", "Nour Haddad"].map(|name| code(sheet.is(200), name));
    // The other instructor's slips are for her own people, and hers neither take the place of these nor end them.
    let sheet = oriel.send(&format!("{class}/slips"), &[("days", "7")]).await;
    sheet.is(200).has("Olga Own").has_not("Nour").has_not("Perla");
    for name in ["quist", "n-1"] {
        let person = page_of(&oriel, &class, &site, name).await;
        slip_of(&oriel, &class, &person).await.is(403);
        oriel.send(&person, &[("do", "leave")]).await.is(200);
    }
    for (code, secret) in codes.iter().zip([PASSPHRASE, PIN]) {
        take_seat(&site, code, secret).await.is(200);
    }
    // From now on the seat of the instructor is her own.
    let person = page_of(&ferro, &ours, &site, "quist").await;
    slip_of(&ferro, &ours, &person).await.is(403);
    site.sign_in("quist", PASSPHRASE).await.get(&ours).await.is(200);
}

/// The class of last term is over: of those that run, the first into which a student came is the one that counts.
#[tokio::test(flavor = "multi_thread")]
async fn after_a_term_the_next_class_gives_new_slips() {
    let site = Site::open().await;
    let (ferro, ours) = (site.instructor().await, format!("/classes/{}", site.class));
    let of_ferro = format!("{ours}/people");
    ferro.send(&of_ferro, &student("Nour Haddad", "N-1")).await.is(200);
    let (oriel, class) = another(&site).await;
    let there = format!("{class}/people");
    oriel.send(&there, &student("Nour Haddad", "N-1")).await.is(200);
    let person = page_of(&oriel, &class, &site, "n-1").await;
    slip_of(&oriel, &class, &person).await.is(403);
    ferro
        .send(&format!("{ours}/end-of-term"), &[("do", "archive")])
        .await
        .is(200);
    oriel.get(&person).await.is(200).has("Make a slip to print");
    let sheet = slip_of(&oriel, &class, &person).await;
    take_seat(&site, &code(sheet.is(200), "Nour Haddad"), PIN).await.is(200);
    oriel.send(&person, &[("do", "free-seat")]).await.is(200);
}

/// A list that names somebody else's student takes the student, and changes neither name nor address.
#[tokio::test(flavor = "multi_thread")]
async fn a_list_changes_nothing_of_somebody_elses_student() {
    let site = Site::open().await;
    let (ferro, ours) = (site.instructor().await, format!("/classes/{}", site.class));
    let answers = [
        ("heading", "yes"),
        ("column-0", "school-id"),
        ("column-1", "name"),
        ("column-2", "email"),
        ("do", "take"),
    ];
    let list = |text: &str| list(text, &answers);
    let first = "id,name,email\nN-1,Nour Haddad,nour@school.example\n";
    let page = ferro.send_files(&format!("{ours}/roster"), list(first)).await;
    page.is(200);
    let (oriel, class) = another(&site).await;
    let other = "id,name,email\nN-1,Nora Hadley,elsewhere@school.example\nN-2,Own One,own@school.example\n";
    oriel.send_files(&format!("{class}/roster"), list(other)).await.is(200);
    let person = page_of(&oriel, &class, &site, "n-1").await;
    let page = oriel.get(&person).await;
    page.has("Nour Haddad").has("nour@school.example").has_not("elsewhere");
    let own = page_of(&oriel, &class, &site, "n-2").await;
    oriel.get(&own).await.has("own@school.example");
    // Whoever is in charge corrects it with a new list.
    let mended = "id,name,email\nN-1,Nour Haddad,n.haddad@school.example\n";
    ferro.send_files(&format!("{ours}/roster"), list(mended)).await.is(200);
    oriel.get(&person).await.has("n.haddad@school.example");
}

/// Whoever runs the server helps an instructor who has lost the passphrase, the second step, or both.
#[tokio::test(flavor = "multi_thread")]
async fn the_command_line_helps_whoever_has_lost_the_passphrase() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let added = add_instructor(folder.path(), "oriel", "long enough a phrase\n");
    assert_eq!(added.status.code(), Some(0), "{added:?}");
    let run = |arguments: &[&str]| {
        let mut command = Command::new(PROGRAM);
        command.arg("instructor").args(arguments).args(["--data", data]);
        command.output().unwrap()
    };
    let nobody = run(&["new-slip", "nobody"]);
    assert_eq!(nobody.status.code(), Some(1), "{nobody:?}");
    let made = run(&["new-slip", "Oriel", "--days", "3"]);
    assert_eq!(made.status.code(), Some(0), "{made:?}");
    let said = String::from_utf8(made.stdout).unwrap();
    let code = said.lines().next().unwrap();
    let none = run(&["reset-second-step", "oriel"]);
    assert!(
        String::from_utf8_lossy(&none.stdout).contains("no second step"),
        "{none:?}"
    );
    let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    let browser = Browser::at(&server.address());
    let sign_in = async |secret| browser.send("/sign-in", &[("name", "oriel"), ("secret", secret)]).await;
    // The old passphrase is good until the slip is used.
    sign_in("long enough a phrase").await.is(200).has("Classes");
    let new = "quince obelisk thatch 7";
    let fields = [("code", code), ("secret", new), ("again", new)];
    browser.send("/seat", &fields).await.is(200).has("Classes");
    browser.send("/seat", &fields).await.is(422);
    browser.send("/sign-out", &[]).await.is(200);
    sign_in("long enough a phrase").await.is(422);
    sign_in(new).await.is(200).has("Classes");
    // Both ways in are in the log, and a slip that is not good; nobody's name is.
    let log = server.logged();
    for words in ["\"signed in\"", "signed in with a slip", "a slip was not good"] {
        assert!(log.contains(words), "{words} is not in the log:\n{log}");
    }
}
