//! What is fuzzed: every reader of what comes from outside. Each takes any bytes and must neither panic nor hang; where
//! something can be written again, it must read as the same. The ordinary tests run the findings in `tests/data/fuzz/`
//! through the same functions.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::pin::{Pin, pin};
use std::sync::LazyLock;
use std::task::{Context, Poll, Waker};

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::Request;
use axum::http::HeaderValue;
use axum::http::header::CONTENT_TYPE;
use hyper::body::Frame;
use lz4_flex::block::compress_prepend_size;
use platemark::actions::load::rules_in;
use platemark::actions::reference_rounds;
use platemark::actions::restore::Note;
use platemark::actions::{second_step, take_seat};
use platemark::cli::coordinates::{self, Point};
use platemark::cli::grade::{read_serials, set_up as set_up_options};
use platemark::config::Given;
use platemark::exercise::file::{read_exercise, read_plates, write_exercise, write_plates};
use platemark::exercise::form::{from_posted, look, read_table, take};
use platemark::exercise::model::Exercise;
use platemark::grading::grade::Grade;
use platemark::metrology::tolerance::Tolerance;
use platemark::report;
use platemark::report::assemble::{Field, assemble, from_form};
use platemark::report::draft::{Base, Written};
use platemark::report::entry::fill;
use platemark::report::roster::RosterOptions;
use platemark::report::setup_record::SetUp;
use platemark::report::table::{ReadOptions, Table, read};
use platemark::store::packed::Packed;
use platemark::store::people::{self, NewPerson, Role};
use platemark::store::when::When;
use platemark::store::{Store, backup as backups};
use platemark::units::{hex, unhex};
use platemark::web::parts::{Parts, PartsError};
use platemark::web::times as typed_times;

/// Takes any bytes.
pub(crate) type Reader = fn(&[u8]);

/// All of them by name.
pub(crate) const READERS: [(&str, Reader); 25] = [
    ("exercise", exercise),
    ("plates", plates),
    ("table", table),
    ("form", form),
    ("tolerance", tolerance),
    ("settings", settings),
    ("reference-cases", reference_cases),
    ("stored-grade", stored_grade),
    ("points", points),
    ("roster", roster),
    ("rounds", rounds),
    ("balloon-table", balloon_table),
    ("exercise-form", exercise_form),
    ("set-up", set_up),
    ("draft", draft),
    ("evidence", evidence),
    ("parts", parts),
    ("hidden-fields", hidden_fields),
    ("restore-note", restore_note),
    ("backup", backup),
    ("marks-rules", marks_rules),
    ("coordinates", coordinates),
    ("serials", serials),
    ("times", times),
    ("codes", codes),
];

/// The reader of this name.
pub(crate) fn reader(name: &str) -> Option<Reader> {
    READERS.iter().find(|(of, _)| *of == name).map(|(_, reader)| *reader)
}

const SHIPPED: &str = include_str!("../../exercises/SB-11/exercise.toml");

static PLATE_EXERCISE: LazyLock<Exercise> = LazyLock::new(|| {
    read_exercise("exercise.toml", SHIPPED)
        .0
        .unwrap_or_else(|| unreachable!("it is shipped"))
});

fn exercise(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let (Some(exercise), _) = read_exercise("e.toml", text) {
        let written = write_exercise(&exercise);
        let (again, problems) = read_exercise("e.toml", &written);
        assert_eq!(again.as_ref(), Some(&exercise), "{problems:?}\n{written}");
    }
}

fn plates(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let (Some(plates), _) = read_plates("p.toml", text, &PLATE_EXERCISE) {
        let written = write_plates(&plates);
        let (again, problems) = read_plates("p.toml", &written, &PLATE_EXERCISE);
        assert_eq!(again.as_ref(), Some(&plates), "{problems:?}\n{written}");
    }
}

fn table(bytes: &[u8]) {
    if let Ok(Table::Report(table)) = read(bytes, &ReadOptions::default()) {
        // What is wrong with it is the answer that is wanted.
        drop(assemble(&PLATE_EXERCISE, &table, None));
    }
    drop(fill(&PLATE_EXERCISE, &[], bytes, &ReadOptions::default(), None));
}

fn form(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let mut parts = text.split('\n');
    let mut fields = Vec::new();
    while let (Some(no), Some(measured), Some(call)) = (parts.next(), parts.next(), parts.next()) {
        let [no, measured, call] = [no, measured, call].map(str::to_owned);
        fields.push(Field { no, measured, call });
    }
    drop(from_form(&PLATE_EXERCISE, &fields, &ReadOptions::default()));
}

fn tolerance(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(tolerance) = text.parse::<Tolerance>() {
        let written = tolerance.to_string();
        assert_eq!(
            written.parse::<Tolerance>().as_ref(),
            Ok(&tolerance),
            "{text} {written}"
        );
    }
}

fn settings(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    drop(Given::from_toml("settings.toml", text));
}

fn reference_cases(bytes: &[u8]) {
    let Ok(file) = serde_json::from_slice(bytes) else {
        return;
    };
    drop(platemark::metrology::verify::run_with(
        &platemark::cohort::verify::families(),
        &file,
        None,
        None,
    ));
}

/// As it is kept in a column; and what would be packed there, because chance hardly comes by it through a packed block.
fn stored_grade(bytes: &[u8]) {
    let block = compress_prepend_size(bytes);
    for kept in [bytes.to_vec(), [&[1], &*block].concat(), [&[2], &*block].concat()] {
        if let Ok(grade) = Packed::kept(kept).value::<Grade>() {
            let again = Packed::of(&grade).and_then(|packed| packed.value::<Grade>());
            // As text, because what is not a number is not even equal to itself.
            assert_eq!(format!("{again:?}"), format!("Ok({grade:?})"));
        }
    }
}

/// Probed points, whatever the rest is.
fn points(bytes: &[u8]) {
    let heading: &[u8] = b"feature,x,y,z,i,j,k\n";
    drop(read(&[heading, bytes].concat(), &ReadOptions::default()));
}

fn roster(bytes: &[u8]) {
    if let Ok(roster) = report::roster::read(bytes, &RosterOptions::default()) {
        // As the person says it back after the first look.
        let said = RosterOptions {
            columns: Some(roster.columns.iter().map(|c| c.holds).collect()),
            heading: Some(roster.heading),
        };
        let again = report::roster::read(bytes, &said);
        assert_eq!(again.map(|r| r.people.len()), Ok(roster.people.len()));
    }
}

fn rounds(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let typed = reference_rounds::Typed {
        measured_on: text.lines().next().unwrap_or_default().to_owned(),
        temperature: text.lines().nth(1).unwrap_or_default().to_owned(),
        values: lines(&text).collect(),
        table: bytes.to_vec(),
        ..reference_rounds::Typed::default()
    };
    if let Ok(today) = "2026-11-25".parse() {
        drop(reference_rounds::read(&PLATE_EXERCISE, &typed, today));
    }
}

/// Names and values, `name=value` on each line.
fn lines(text: &str) -> impl Iterator<Item = (String, String)> {
    text.lines()
        .filter_map(|line| line.split_once('='))
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
}

fn balloon_table(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let mut form = take(SHIPPED).form;
    let pasted = read_table(text, &[]);
    drop(form.where_to(&pasted));
    form.put_table(&pasted);
    drop(look(&form));
}

fn exercise_form(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    drop(look(&take(&text).form));
    // What a browser sends of the form that was just shown, with some of its fields changed.
    let fields: Vec<(String, String)> = lines(&text).collect();
    let form = from_posted(&fields);
    let seen = look(&form);
    assert_eq!(look(&take(&seen.toml).form).exercise, seen.exercise, "{}", seen.toml);
}

fn set_up(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let fields: BTreeMap<String, String> = lines(&text).collect();
    if let Ok(record) = SetUp::from_fields(&PLATE_EXERCISE, |name| fields.get(name).cloned().unwrap_or_default()) {
        drop(record.otherwise(&PLATE_EXERCISE));
    }
    drop(serde_json::from_slice::<SetUp>(bytes));
}

/// Two devices by turns: what one wrote last is in the draft or asked about. A field that was emptied gives way to what the
/// other device wrote there meanwhile.
fn draft(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let mut written = Written::default();
    let mut bases = [written.base(), written.base()];
    for (i, part) in text.split("\n\n").take(20).enumerate() {
        let sent: BTreeMap<String, String> = lines(part).collect();
        let at = i % 2;
        written.lay_over(&sent, Some(&bases[at]), i64::try_from(at).unwrap_or(0));
        for (name, value) in sent.iter().filter(|(name, _)| name.starts_with("m-")) {
            let before = bases[at].get(name).map_or("", |(_, text)| text.as_str());
            let kept = written.fields.get(name).map_or("", String::as_str);
            let asked = written.versions.get(name).and_then(|v| v.other.as_ref());
            assert!(
                value == before
                    || value == kept
                    || (value.is_empty() && !kept.is_empty())
                    || asked.is_some_and(|(text, _)| text == value),
                "{name}: {value}"
            );
        }
        bases[at] = written.base();
    }
}

fn evidence(bytes: &[u8]) {
    if let Ok((_, kept)) = report::evidence::prepared(bytes) {
        assert!(!kept.is_empty());
    }
}

/// A body that is there at once, in pieces of so many bytes.
struct Arriving(Bytes, usize);

impl HttpBody for Arriving {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        let Self(bytes, most) = self.get_mut();
        let piece = bytes.split_to(bytes.len().min(*most));
        Poll::Ready((!piece.is_empty()).then(|| Ok(Frame::data(piece))))
    }
}

/// What waits for nothing that is not there.
fn at_once<T>(future: impl Future<Output = T>) -> T {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(done) => done,
        Poll::Pending => unreachable!("it waits though everything is there"),
    }
}

/// Name, name of the file, and what is in it.
type Part = (Option<String>, Option<String>, Vec<u8>);

/// Those that came to their end, and why there are no more.
fn whole_parts(body: &[u8], piece: usize) -> (Vec<Part>, Option<PartsError>) {
    let mut request = Request::new(Body::new(Arriving(Bytes::copy_from_slice(body), piece)));
    let kind = HeaderValue::from_static("multipart/form-data; boundary=edge");
    request.headers_mut().insert(CONTENT_TYPE, kind);
    let mut whole = Vec::new();
    let all = async {
        let mut parts = Parts::of(request).await?;
        while let Some(mut part) = parts.next().await? {
            let mut read = (
                part.name().map(str::to_owned),
                part.file_name().map(str::to_owned),
                Vec::new(),
            );
            while let Some(chunk) = part.chunk().await? {
                read.2.extend_from_slice(&chunk);
            }
            whole.push(read);
        }
        Ok(())
    };
    let end = at_once(all).err();
    (whole, end)
}

/// The first byte says in what pieces the form arrives a second time: the same comes out.
fn parts(bytes: &[u8]) {
    let Some((piece, body)) = bytes.split_first() else {
        return;
    };
    let first = whole_parts(body, usize::MAX);
    let second = whole_parts(body, usize::from(*piece) + 1);
    let size: usize = first.0.iter().map(|part| part.2.len()).sum();
    assert!(size <= body.len());
    let is_long = |end: &Option<PartsError>| matches!(end, Some(PartsError::Headers));
    // How much of headers is taken hangs on where the pieces end.
    if !is_long(&first.1) && !is_long(&second.1) {
        assert_eq!(first.0, second.0);
        assert_eq!(first.1.is_some(), second.1.is_some(), "{:?} {:?}", first.1, second.1);
    }
}

/// What a page came with, and the table that is kept with the report.
fn hidden_fields(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(base) = serde_json::from_str::<Base>(text) {
        let again = serde_json::to_string(&base).map(|text| serde_json::from_str::<Base>(&text).ok());
        assert_eq!(again.ok().flatten().as_ref(), Some(&base));
        let mut written = Written::default();
        let sent = base.keys().map(|name| (name.clone(), name.clone())).collect();
        written.lay_over(&sent, Some(&base), 1);
    }
    if let Some(source) = unhex(text) {
        assert_eq!(hex(&source), text.to_ascii_lowercase());
    }
}

fn restore_note(bytes: &[u8]) {
    if let Ok(note) = serde_json::from_slice::<Note>(bytes) {
        let again = serde_json::to_vec(&note).map(|text| serde_json::from_slice::<Note>(&text).ok());
        assert_eq!(again.ok().flatten(), Some(note));
    }
}

/// The file of a small school, and what runs its reading.
struct School {
    file: Vec<u8>,
    runtime: tokio::runtime::Runtime,
}

static SCHOOL: LazyLock<School> = LazyLock::new(|| {
    let Ok(runtime) = tokio::runtime::Builder::new_current_thread().enable_all().build() else {
        unreachable!("the system has no threads")
    };
    match runtime.block_on(school()) {
        Ok(file) => School { file, runtime },
        Err(why) => unreachable!("a new school cannot be made: {why}"),
    }
});

async fn school() -> Result<Vec<u8>, Box<dyn std::error::Error>> {
    let folder = tempfile::tempdir()?;
    let store = Store::open(folder.path()).await?;
    let mut tx = store.change().await?;
    for (name, sign_in) in [("Ailbhe Corrowan", "d26-101"), ("Jun Takamori", "d26-102")] {
        let person = NewPerson {
            role: Role::Student,
            name,
            sign_in,
            secret_hash: None,
        };
        people::add(&mut tx, &person, When::from(1_795_816_031_608)).await?;
    }
    tx.commit().await?;
    store.close().await;
    let copy = folder.path().join("copy.db");
    backups::copy(folder.path(), &copy).await?;
    Ok(std::fs::read(copy)?)
}

/// A file that begins as a school's, or the small school with some of its bytes changed: each four say where and how.
fn backup(bytes: &[u8]) {
    let mut file = SCHOOL.file.clone();
    if bytes.starts_with(b"SQLite format 3") {
        file = bytes.to_vec();
    } else {
        for change in bytes.chunks_exact(4) {
            let [a, b, c, how] = [change[0], change[1], change[2], change[3]];
            let at = usize::from(a) | usize::from(b) << 8 | usize::from(c) << 16;
            let at = at % file.len();
            file[at] ^= how;
        }
    }
    let done = SCHOOL.runtime.block_on(async {
        let sent = tempfile::NamedTempFile::new()?;
        std::fs::write(sent.path(), &file)?;
        // Whatever is in it, it is an answer; and what is good can be looked at.
        if backups::check(sent.path()).await.is_ok() {
            drop(backups::contents(sent.path()).await);
        }
        drop(backups::taken_out(sent.path()).await);
        Ok::<_, std::io::Error>(())
    });
    assert!(done.is_ok(), "{done:?}");
}

fn marks_rules(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(rules) = rules_in(SHIPPED, text) {
        let mut exercise = PLATE_EXERCISE.clone();
        exercise.marks = rules;
        let written = write_exercise(&exercise);
        let (again, problems) = read_exercise("e.toml", &written);
        assert_eq!(again.map(|e| e.marks), Some(exercise.marks), "{problems:?}\n{written}");
    }
}

/// Points of a file, and the same written in one way for all files.
fn coordinates(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(points) = coordinates::parse(text) else { return };
    let Some(first) = points.first() else { return };
    let (space, unit) = (first.space().is_some(), first.unit);
    let seen = |point: &Point| (point.plane(), point.space(), point.direction(), point.unit);
    let mut written = String::from(if space {
        "x,y,z,i,j,k,unit\n"
    } else {
        "x,y,i,j,k,unit\n"
    });
    for point in &points {
        let place = point.space().map(Vec::from).or_else(|| point.plane().map(Vec::from));
        let place = place.unwrap_or_default().into_iter().map(|v| format!("{v:?}"));
        let direction = point.direction().map(|d| d.map(|v| format!("{v:?}")));
        let line: Vec<String> = place.chain(direction.unwrap_or_default()).collect();
        written += &format!("{},{}\n", line.join(","), unit.map_or("", |u| u.as_str()));
    }
    let again = coordinates::parse(&written).map(|points| points.iter().map(seen).collect());
    assert_eq!(again, Ok(points.iter().map(seen).collect::<Vec<_>>()), "{written}");
}

/// The file of `--serials` with its set-up records, or options of `--set-up` on lines.
fn serials(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let nothing = BTreeMap::new();
    let given: Vec<String> = text.lines().map(str::to_owned).collect();
    let options = set_up_options::options(&PLATE_EXERCISE, &given).ok();
    let serials = read_serials("serials.csv", text, &PLATE_EXERCISE).ok();
    let lines = serials.iter().flatten().map(|(_, line)| &line.set_up);
    for fields in lines.chain(&options) {
        if let Ok(Some(record)) = set_up_options::read(&PLATE_EXERCISE, "report.csv", Some(fields), &nothing) {
            let again = serde_json::to_string(&record).map(|text| serde_json::from_str::<SetUp>(&text).ok());
            assert_eq!(again.ok().flatten(), Some(record));
        }
    }
}

/// A time that is taken is shown as it was typed, and is the same when the page that shows it is sent back.
fn times(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    for name in [
        "UTC",
        "Europe/Dublin",
        "Australia/Lord_Howe",
        "Pacific/Apia",
        "Africa/Monrovia",
    ] {
        let zone = typed_times::zone(name);
        for which in ["", "first", "second"] {
            let Ok(when) = typed_times::from_field_which(text, which, &zone) else {
                continue;
            };
            let shown = typed_times::for_field(when, &zone);
            let typed = text.trim().replace(' ', "T");
            let beyond = typed.strip_prefix(&shown).unwrap_or("-");
            let is_seconds = beyond.bytes().all(|b| b.is_ascii_digit() || b":.".contains(&b));
            assert!(is_seconds, "{typed:?} is taken for {shown:?} in {name}");
            let again = typed_times::from_field_which(&shown, typed_times::which(when, &zone), &zone);
            let off = again.map(|again| when.millisecond() - again.millisecond());
            assert!(
                off.as_ref().is_ok_and(|off| (0..60_000).contains(off)),
                "{typed} in {name}: {off:?}"
            );
            assert!(typed_times::show(when, &zone).len() < 60);
        }
    }
}

/// Codes of slips and recovery codes: what is taken is what was printed, however it is typed.
fn codes(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    for (read, letters) in [
        (
            take_seat::canonical as fn(&str) -> Option<String>,
            "0123456789ABCDEFGHJKMNPQRSTVWXYZ",
        ),
        (second_step::recovery, "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"),
    ] {
        if let Some(code) = read(text) {
            assert!(code.chars().all(|c| letters.contains(c)), "{text}: {code}");
            for again in [
                code.clone(),
                code.to_lowercase(),
                format!(" {}-{}", &code[..5], &code[5..]),
            ] {
                assert_eq!(read(&again).as_ref(), Some(&code), "{text}");
            }
        }
    }
}
