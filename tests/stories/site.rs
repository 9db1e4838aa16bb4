//! The server of a story, its school, and the people who open pages.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use platemark::actions::Service;
use platemark::actions::add_person::{Wanted as WantedPerson, add_person};
use platemark::actions::clock::Clock;
use platemark::actions::import_exercise::{FileText, import_exercise};
use platemark::actions::make_assignment::{Wanted, make_assignment};
use platemark::actions::make_class::{Wanted as WantedClass, make_class, make_pair};
use platemark::actions::sign_in::Lasting;
use platemark::actions::terms::Terms;
use platemark::config::{Given, Settings};
use platemark::grading::grade::Grade;
use platemark::store::Store;
use platemark::store::assignments::{Counting, Feedback};
use platemark::store::ids::{AssignmentId, ClassId, ExerciseId, PersonId, PlateId, ReportId};
use platemark::store::people::Role;
use platemark::store::plates::Kind;
use platemark::store::{exercises, grades};
use platemark::web::app::App;
use platemark::web::serve::serve;
use reqwest::cookie::{CookieStore, Jar};
use reqwest::header::HeaderMap;
use reqwest::multipart::Form;
use reqwest::redirect::Policy;
use reqwest::{Client, StatusCode};
use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

use super::log;

pub(crate) const PASSPHRASE: &str = "granite and a level";
pub(crate) const PIN: &str = "271828";
pub(crate) const HOUR: Duration = Duration::from_secs(3600);
pub(crate) const DAY: Duration = Duration::from_secs(24 * 3600);

/// A running server with a school: one instructor, one class with pairs A and B, one exercise, nothing assigned.
pub(crate) struct Site {
    pub(crate) service: Service,
    pub(crate) class: ClassId,
    pub(crate) exercise: ExerciseId,
    pub(crate) instructor_id: PersonId,
    address: SocketAddr,
    folder: TempDir,
    stop: Option<oneshot::Sender<()>>,
    served: Option<JoinHandle<()>>,
}

impl Site {
    pub(crate) async fn open() -> Self {
        log::watch();
        let folder = tempfile::tempdir().unwrap();
        let service = service(&folder).await;
        let instructor_id = person(&service, Role::Instructor, "ferro").await;
        let wanted = WantedClass {
            name: "Monday group",
            term: "Spring",
            time_zone: "Europe/Dublin",
            by: instructor_id,
        };
        let class = make_class(&service, &wanted).await.unwrap();
        for (pair, people) in [("A", ["anna", "aron"]), ("B", ["bela", "bora"])] {
            let people = [
                person(&service, Role::Student, people[0]).await,
                person(&service, Role::Student, people[1]).await,
            ];
            make_pair(&service, class, pair, &people, service.clock.now())
                .await
                .unwrap();
        }
        let exercise = import(&service, instructor_id).await;
        let mut site = Self {
            service,
            class,
            exercise,
            instructor_id,
            address: SocketAddr::from(([127, 0, 0, 1], 0)),
            folder,
            stop: None,
            served: None,
        };
        site.start().await;
        site
    }

    async fn start(&mut self) {
        // Again where it was, if nobody took the port meanwhile: a browser's page finds it there.
        let listener = match TcpListener::bind(self.address).await {
            Ok(listener) => listener,
            Err(_) => TcpListener::bind("127.0.0.1:0").await.unwrap(),
        };
        self.address = listener.local_addr().unwrap();
        let settings = Settings::new(Given::default(), self.folder.path().to_owned()).unwrap();
        let (stop, stopped) = oneshot::channel::<()>();
        let app = App::new(self.service.clone(), settings);
        self.stop = Some(stop);
        self.served = Some(tokio::spawn(serve(app, listener, async {
            stopped.await.ok();
        })));
    }

    /// Stops the server as a signal would, and waits until it is done.
    pub(crate) async fn close(&mut self) {
        self.stop.take().unwrap().send(()).unwrap();
        self.served.take().unwrap().await.unwrap();
    }

    /// Starts the server again on the same folder.
    pub(crate) async fn open_again(&mut self) {
        self.service = service(&self.folder).await;
        self.start().await;
    }

    /// Assigns the exercise to the class: open since an hour, due in a week.
    pub(crate) async fn assign(&self, attempts: i64, feedback: Feedback) -> AssignmentId {
        let revision = exercises::newest(&self.service.store, self.exercise)
            .await
            .unwrap()
            .unwrap();
        let now = self.service.clock.now().millisecond();
        let wanted = Wanted {
            class: self.class,
            exercise: (self.exercise, revision.id),
            plates: Kind::Physical,
            terms: Terms {
                title: "Step block",
                opens_at: (now - 3_600_000).into(),
                due_at: (now + 7 * 86_400_000).into(),
                attempts,
                counting: Counting::Best,
                late_grace_minutes: 0,
                late_percent_per_day: 10.into(),
                late_floor_percent: 50.into(),
                feedback,
            },
            marks: "",
            by: self.instructor_id,
        };
        let made = make_assignment(&self.service, &wanted).await.unwrap().assignment;
        // Pairs joined a moment ago; plates were given from the opening on.
        self.service.clock.put_forward(Duration::from_secs(1));
        made
    }

    /// Sends the form that assigns the exercise to a class (`/classes/N`) for one attempt, with further fields.
    pub(crate) async fn assign_by_form(
        &self,
        browser: &Browser,
        class: &str,
        title: &str,
        more: &[(&str, &str)],
    ) -> Answer {
        let path = format!("{class}/assign");
        let form = browser.get(&path).await;
        let (opens, due) = (form.field("opens"), form.field("due"));
        let exercise = self.exercise.to_string();
        let fields = [
            ("exercise", exercise.as_str()),
            ("plates", "physical"),
            ("title", title),
            ("opens", opens.as_str()),
            ("due", due.as_str()),
            ("attempts", "1"),
            ("counting", "best"),
            ("grace", "0"),
            ("per_day", "10"),
            ("floor", "50"),
            ("feedback", "words"),
        ];
        browser.send(&path, &[&fields, more].concat()).await
    }

    /// Makes what plates really are unreadable beside the server: of one plate, or of all.
    pub(crate) async fn spoil_truths(&self, of: Option<PlateId>) {
        let address = format!("sqlite:{}", self.database().display());
        let mut database = SqliteConnection::connect(&address).await.unwrap();
        let spoil = "drop trigger plate_revision_stays; \
                     update plate_revision set truth = 'nothing that can be read' where ";
        let of = of.map_or_else(|| "true".to_owned(), |plate| format!("plate = {plate}"));
        let spoil = AssertSqlSafe(format!("{spoil}{of}"));
        sqlx::raw_sql(spoil).execute(&mut database).await.unwrap();
        database.close().await.unwrap();
    }

    /// Somebody who is not signed in.
    pub(crate) fn stranger(&self) -> Browser {
        Browser::at(&format!("http://{}", self.address))
    }

    pub(crate) async fn sign_in(&self, name: &str, secret: &str) -> Browser {
        let browser = self.stranger();
        let answer = browser.send("/sign-in", &[("name", name), ("secret", secret)]).await;
        assert_eq!(answer.status, StatusCode::OK, "{}", answer.body);
        browser
    }

    pub(crate) async fn instructor(&self) -> Browser {
        self.sign_in("ferro", PASSPHRASE).await
    }

    /// The first student of a pair.
    pub(crate) async fn pair(&self, name: &str) -> Browser {
        self.sign_in(if name == "A" { "anna" } else { "bela" }, PIN).await
    }

    /// Row of somebody by sign-in name.
    pub(crate) async fn person_of(&self, name: &str) -> PersonId {
        let found = platemark::store::people::by_sign_in(&self.service.store, name).await;
        found.unwrap().unwrap().0.id
    }

    /// A further person, signed in.
    pub(crate) async fn newcomer(&self, role: Role, name: &str) -> Browser {
        person(&self.service, role, name).await;
        self.sign_in(name, if role == Role::Student { PIN } else { PASSPHRASE })
            .await
    }

    /// An assistant of the class, signed in.
    pub(crate) async fn assistant(&self) -> Browser {
        let id = person(&self.service, Role::Assistant, "ussher").await;
        let mut tx = self.service.store.change().await.unwrap();
        let joined = platemark::store::classes::join(&mut tx, self.class, id, self.service.clock.now());
        joined.await.unwrap();
        tx.commit().await.unwrap();
        self.sign_in("ussher", PASSPHRASE).await
    }

    /// The grade of a report as JSON, read from text as a printed one is: of numbers in text the last bit may be read otherwise.
    pub(crate) async fn grade(&self, report: i64) -> Value {
        let stored = grades::of(&self.service.store, ReportId(report))
            .await
            .unwrap()
            .unwrap();
        let grade: Grade = stored.result.value().unwrap();
        serde_json::from_str(&serde_json::to_string(&grade).unwrap()).unwrap()
    }

    /// The database file.
    pub(crate) fn database(&self) -> std::path::PathBuf {
        self.folder.path().join(platemark::store::FILE_NAME)
    }

    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }
}

impl Drop for Site {
    fn drop(&mut self) {
        log::never_of_school(self.folder.path(), true);
        log::hold();
    }
}

async fn service(folder: &TempDir) -> Service {
    let store = Store::open(folder.path()).await.unwrap();
    Service::new(
        store,
        Clock::default(),
        Lasting {
            idle: 2 * HOUR,
            longest: 12 * HOUR,
        },
    )
}

pub(crate) async fn person(service: &Service, role: Role, name: &str) -> PersonId {
    named(service, role, name, name).await
}

/// A person who signs in by something else than the name.
pub(crate) async fn named(service: &Service, role: Role, name: &str, sign_in: &str) -> PersonId {
    log::never(name);
    log::never(sign_in);
    let secret = if role == Role::Student { PIN } else { PASSPHRASE };
    let wanted = WantedPerson {
        role,
        name,
        sign_in,
        secret,
        by: None,
    };
    add_person(service, &wanted).await.unwrap()
}

/// Text of a file of a shipped exercise.
pub(crate) fn shipped(path: &str) -> String {
    std::fs::read_to_string(format!("{}/exercises/{path}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

/// A shipped report on an exercise, preferably on this plate: for stories in which the numbers do not matter.
pub(crate) fn any_report(code: &str, serial: &str) -> String {
    let folder = format!("{}/exercises/{code}/reports", env!("CARGO_MANIFEST_DIR"));
    let names = std::fs::read_dir(&folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.filter(|n| n.starts_with(code)).collect();
    names.sort();
    let name = names.iter().find(|n| n.starts_with(serial)).unwrap_or(&names[0]);
    shipped(&format!("{code}/reports/{name}"))
}

async fn import(service: &Service, by: PersonId) -> ExerciseId {
    let (exercise, plates) = (shipped("SB-11/exercise.toml"), shipped("SB-11/plates.toml"));
    let exercise = FileText {
        name: "exercise.toml",
        text: &exercise,
    };
    let plates = FileText {
        name: "plates.toml",
        text: &plates,
    };
    import_exercise(service, Some(by), exercise, Some(plates))
        .await
        .unwrap()
        .exercise
}

/// A browser without scripts: it follows links and sends forms.
pub(crate) struct Browser {
    client: Client,
    jar: Arc<Jar>,
    base: String,
}

/// A page as it came.
pub(crate) struct Answer {
    pub(crate) status: StatusCode,
    pub(crate) headers: HeaderMap,
    /// Path of the page after redirects.
    pub(crate) path: String,
    pub(crate) body: String,
}

impl Answer {
    async fn of(response: reqwest::Response) -> Self {
        Self::try_of(response).await.unwrap()
    }

    /// Nothing where the answer broke off.
    async fn try_of(response: reqwest::Response) -> Option<Self> {
        Some(Self {
            status: response.status(),
            headers: response.headers().clone(),
            path: response.url().path().to_owned(),
            body: response.text().await.ok()?,
        })
    }

    pub(crate) fn has(&self, text: &str) -> &Self {
        assert!(
            self.body.contains(text),
            "{} has not `{text}`:\n{}",
            self.path,
            self.body
        );
        self
    }

    pub(crate) fn has_not(&self, text: &str) -> &Self {
        assert!(!self.body.contains(text), "{} has `{text}`:\n{}", self.path, self.body);
        self
    }

    /// The assignment whose page this is, as after it was made.
    pub(crate) fn assignment(&self) -> AssignmentId {
        AssignmentId(self.is(200).path.rsplit('/').next().unwrap().parse().unwrap())
    }

    pub(crate) fn is(&self, status: u16) -> &Self {
        assert_eq!(self.status.as_u16(), status, "{}:\n{}", self.path, self.body);
        self
    }

    /// Value of the hidden or visible field with this name.
    pub(crate) fn field(&self, name: &str) -> String {
        let tag = format!("name=\"{name}\"");
        self.has(&tag);
        let place = self.body.find(&tag).unwrap();
        let input = &self.body[place..];
        let input = &input[..input.find('>').unwrap()];
        let value = input.split("value=\"").nth(1).unwrap();
        value[..value.find('"').unwrap()].to_owned()
    }
}

impl Browser {
    /// A browser without cookies for the server at this address.
    pub(crate) fn at(base: &str) -> Self {
        Self::with(base, Policy::default())
    }

    /// One that does not follow where an answer leads.
    pub(crate) fn that_stays(base: &str) -> Self {
        Self::with(base, Policy::none())
    }

    fn with(base: &str, policy: Policy) -> Self {
        let jar = Arc::new(Jar::default());
        let client = Client::builder()
            .cookie_provider(Arc::clone(&jar))
            .redirect(policy)
            .no_proxy()
            .build()
            .unwrap();
        Self {
            client,
            jar,
            base: base.to_owned(),
        }
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        let response = self.client.get(format!("{}{path}", self.base)).send().await.unwrap();
        Answer::of(response).await
    }

    /// A form's answer, or nothing where the server is gone.
    pub(crate) async fn try_send_files(&self, path: &str, form: Form) -> Option<Answer> {
        let request = self.client.post(format!("{}{path}", self.base)).multipart(form);
        Answer::try_of(request.send().await.ok()?).await
    }

    pub(crate) async fn send(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        log::never_of_form(path, fields.iter().copied());
        let response = self
            .client
            .post(format!("{}{path}", self.base))
            .form(fields)
            .send()
            .await
            .unwrap();
        if let Some(cookie) = self.token() {
            log::never(cookie.trim_start_matches("session="));
        }
        Answer::of(response).await
    }

    pub(crate) async fn send_files(&self, path: &str, form: Form) -> Answer {
        let response = self
            .client
            .post(format!("{}{path}", self.base))
            .multipart(form)
            .send()
            .await
            .unwrap();
        Answer::of(response).await
    }

    /// The cookie that the browser holds.
    pub(crate) fn token(&self) -> Option<String> {
        let cookies = self.jar.cookies(&self.base.parse().unwrap())?;
        Some(cookies.to_str().unwrap().to_owned())
    }

    /// A page with a cookie that somebody else got.
    pub(crate) async fn get_with(&self, path: &str, cookie: &str) -> Answer {
        let request = self.client.get(format!("{}{path}", self.base)).header("cookie", cookie);
        Answer::of(request.send().await.unwrap()).await
    }

    /// The cookie as the server sets it.
    pub(crate) async fn cookie_of_sign_in(&self, name: &str, secret: &str) -> String {
        let client = Client::builder().redirect(Policy::none()).no_proxy().build().unwrap();
        let request = client
            .post(format!("{}/sign-in", self.base))
            .form(&[("name", name), ("secret", secret)]);
        let response = request.send().await.unwrap();
        response
            .headers()
            .get("set-cookie")
            .unwrap()
            .to_str()
            .unwrap()
            .to_owned()
    }

    /// A form with headers of one's own, as another site makes a browser send it.
    pub(crate) async fn send_with(&self, path: &str, headers: &[(&str, &str)], fields: &[(&str, &str)]) -> Answer {
        log::never_of_form(path, fields.iter().copied());
        let mut request = self.client.post(format!("{}{path}", self.base)).form(fields);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        Answer::of(request.send().await.unwrap()).await
    }

    /// A request with a method of one's own.
    pub(crate) async fn ask(&self, method: &str, path: &str) -> Answer {
        let method = reqwest::Method::from_bytes(method.as_bytes()).unwrap();
        let request = self.client.request(method, format!("{}{path}", self.base));
        Answer::of(request.send().await.unwrap()).await
    }

    /// Hands in values and calls as the entry page sends them.
    pub(crate) async fn hand_in(&self, assignment: AssignmentId, csv: &str) -> Answer {
        let page = self.get(&format!("/my/{assignment}/entry")).await;
        page.is(200);
        self.send_files(&format!("/my/{assignment}/entry"), entry(&page, csv))
            .await
    }
}

/// The entry form of a page, filled from the lines of a report file.
pub(crate) fn entry(page: &Answer, csv: &str) -> Form {
    filled(&page.field("key"), &page.field("attempt"), csv)
}

/// The same with a key and an attempt of one's own.
pub(crate) fn filled(key: &str, attempt: &str, csv: &str) -> Form {
    typed(key, attempt, csv).text("do", "hand-in")
}

/// The same before a button is pressed.
pub(crate) fn typed(key: &str, attempt: &str, csv: &str) -> Form {
    let mut form = Form::new()
        .text("key", key.to_owned())
        .text("attempt", attempt.to_owned());
    for line in csv.lines().skip(1) {
        let mut cells = line.split(',');
        let (no, measured, call) = (cells.next().unwrap(), cells.next().unwrap(), cells.next().unwrap());
        log::never_of_form("", [(format!("m-{no}").as_str(), measured)]);
        form = form
            .text(format!("m-{no}"), measured.to_owned())
            .text(format!("c-{no}"), call.to_owned());
    }
    form
}
