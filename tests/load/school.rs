//! A school made through the actions of the program.

use std::collections::BTreeMap;
use std::path::Path;

use platemark::actions::Service;
use platemark::actions::add_person::{Wanted as WantedPerson, add_person};
use platemark::actions::clock::Clock;
use platemark::actions::import_exercise::{FileText, import_exercise};
use platemark::actions::make_assignment::{Wanted, make_assignment};
use platemark::actions::make_class::{Wanted as WantedClass, make_class, make_pair};
use platemark::actions::sign_in::Lasting;
use platemark::actions::terms::Terms;
use platemark::exercise::file::{read_exercise, read_plates};
use platemark::exercise::model::{Axis, Exercise};
use platemark::procedure::fault::{Fault, Procedure};
use platemark::procedure::model::Model;
use platemark::procedure::sampler::Sampler;
use platemark::procedure::simulate::Conditions;
use platemark::procedure::written::Habits;
use platemark::report::call::Call;
use platemark::report::model::{Report, ReportItem};
use platemark::report::write_csv::rows_csv;
use platemark::store::assignments::{Counting, Feedback};
use platemark::store::ids::{AssignmentId, ClassId, ExerciseId, ExerciseRevisionId, PersonId};
use platemark::store::people::Role;
use platemark::store::plates::Kind;
use platemark::store::{Store, exercises};

pub(crate) const CODE: &str = "PC-21";
pub(crate) const PASSPHRASE: &str = "granite and a level";
pub(crate) const PIN: &str = "271828";
const HOUR: std::time::Duration = std::time::Duration::from_secs(3600);

pub(crate) struct School {
    pub(crate) service: Service,
    pub(crate) students: Vec<PersonId>,
    pub(crate) assignments: Vec<AssignmentId>,
}

pub(crate) fn shipped(path: &str) -> String {
    std::fs::read_to_string(format!("{}/exercises/{CODE}/{path}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

pub(crate) fn exercise() -> Exercise {
    read_exercise("exercise.toml", &shipped("exercise.toml")).0.unwrap()
}

/// Different reports of one plate.
pub(crate) const REPORTS: usize = 3001;

/// Reports by the serial of the plate that they are of, as they are written, with the numbers read.
pub(crate) type Samples = BTreeMap<String, Vec<(String, Report)>>;

fn faults(exercise: &Exercise, n: usize) -> Vec<Fault> {
    let shift = Fault::OriginShift {
        axis: Axis::X,
        amount: 0.08,
    };
    let no = exercise.characteristics[n % exercise.characteristics.len()].no.clone();
    match n % 10 {
        7 => vec![shift],
        8 => vec![Fault::TipIgnoredOnSize {}],
        9 => vec![shift, Fault::SignDropped { item: no }],
        _ => Vec::new(),
    }
}

/// Reports drawn from the forward model: of ten, seven careful, two with one mistake, one with two. No two are alike, as
/// in a class that does not copy.
pub(crate) fn samples() -> Samples {
    let exercise = exercise();
    let plates = read_plates("plates.toml", &shipped("plates.toml"), &exercise)
        .0
        .unwrap()
        .plates;
    let model = Model::new(&exercise, &plates).unwrap();
    let mut samples = Samples::new();
    for plate in &plates {
        let mut sampler = Sampler::new(8, plate.serial.as_str());
        let of = (0..REPORTS).map(|n| {
            // A mistake that this plate has no room for is left out.
            let procedure = Procedure::with(faults(&exercise, n)).unwrap_or_default();
            let measured = model
                .simulate(&plate.serial, &procedure, Conditions::default(), &mut sampler)
                .unwrap();
            let report = model.write_report(&exercise, &exercise.marks, &measured, Habits::default(), &mut sampler);
            (written(&report), report)
        });
        samples.insert(plate.serial.to_string(), of.collect());
    }
    samples
}

fn written(report: &Report) -> String {
    let row = |item: &'_ ReportItem| {
        (
            item.no.to_string(),
            item.measured.as_ref().map(ToString::to_string),
            item.call,
        )
    };
    let rows: Vec<_> = report.items.iter().map(row).collect();
    let row = |(no, measured, call): &'_ (String, Option<String>, Option<Call>)| -> [String; 3] {
        let call = call.map_or("", Call::as_str).to_owned();
        [no.clone(), measured.clone().unwrap_or_default(), call]
    };
    rows_csv(&["no", "measured", "call"], rows.iter().map(row).map(Vec::from)).unwrap()
}

/// Where among the samples of its plate that report stands that client `n` hands in as its `attempt`-th: one that no other client has.
pub(crate) const fn place(n: usize, attempt: usize) -> usize {
    // Clients of one plate are 11 apart, and with that at least 500 in the list, more than a client hands in.
    (n * 2228 + attempt) % REPORTS
}

/// That report.
pub(crate) fn sample<'s>(samples: &'s Samples, serial: &str, n: usize, attempt: usize) -> &'s (String, Report) {
    &samples[serial][place(n, attempt)]
}

async fn person(service: &Service, role: Role, name: &str) -> PersonId {
    let secret = if role == Role::Student { PIN } else { PASSPHRASE };
    let wanted = WantedPerson {
        role,
        name,
        sign_in: name,
        secret,
        by: None,
    };
    add_person(service, &wanted).await.unwrap()
}

async fn assign(
    service: &Service,
    class: ClassId,
    exercise: (ExerciseId, ExerciseRevisionId),
    n: usize,
    by: PersonId,
) -> AssignmentId {
    let since = service.clock.now().millisecond() - 3_600_000;
    let wanted = Wanted {
        class,
        exercise,
        plates: Kind::Physical,
        terms: Terms {
            title: &format!("Pump cover {n}"),
            opens_at: since.into(),
            due_at: (since + 7 * 86_400_000).into(),
            attempts: 99,
            counting: Counting::Best,
            late_grace_minutes: 0,
            late_percent_per_day: 10.into(),
            late_floor_percent: 50.into(),
            feedback: Feedback::Words,
        },
        marks: "",
        by,
    };
    make_assignment(service, &wanted).await.unwrap().assignment
}

/// One class with so many students, each a pair of one, and so many assignments of the exercise.
pub(crate) async fn make(folder: &Path, students: usize, assignments: usize) -> School {
    let lasting = Lasting {
        idle: 12 * HOUR,
        longest: 12 * HOUR,
    };
    let service = Service::new(Store::open(folder).await.unwrap(), Clock::default(), lasting);
    let by = person(&service, Role::Instructor, "ferro").await;
    let wanted = WantedClass {
        name: "Monday group",
        term: "Spring",
        time_zone: "Europe/Dublin",
        by,
    };
    let class = make_class(&service, &wanted).await.unwrap();
    let since = service.clock.now().millisecond() - 3_600_000;
    let mut people = Vec::new();
    for n in 0..students {
        let one = person(&service, Role::Student, &format!("s{n}")).await;
        make_pair(&service, class, &format!("P{n}"), &[one], since.into())
            .await
            .unwrap();
        people.push(one);
    }
    let (exercise, plates) = (shipped("exercise.toml"), shipped("plates.toml"));
    let exercise = FileText {
        name: "exercise.toml",
        text: &exercise,
    };
    let plates = FileText {
        name: "plates.toml",
        text: &plates,
    };
    let exercise = import_exercise(&service, Some(by), exercise, Some(plates))
        .await
        .unwrap()
        .exercise;
    let revision = exercises::newest(&service.store, exercise).await.unwrap().unwrap();
    let mut made = Vec::new();
    for n in 0..assignments {
        made.push(assign(&service, class, (exercise, revision.id), n, by).await);
    }
    School {
        service,
        students: people,
        assignments: made,
    }
}
