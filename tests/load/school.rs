//! A school made through the actions of the program.

use std::path::Path;

use platemark::actions::Service;
use platemark::actions::add_person::{Wanted as WantedPerson, add_person};
use platemark::actions::clock::Clock;
use platemark::actions::import_exercise::{FileText, import_exercise};
use platemark::actions::make_assignment::{Wanted, make_assignment};
use platemark::actions::make_class::{Wanted as WantedClass, make_class, make_pair};
use platemark::actions::sign_in::Lasting;
use platemark::actions::terms::Terms;
use platemark::exercise::file::read_exercise;
use platemark::exercise::model::Exercise;
use platemark::report::assemble::assemble;
use platemark::report::model::Report;
use platemark::report::table::{ReadOptions, Table, read};
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

/// The sample reports of the exercise as they are written, with the numbers read.
pub(crate) fn samples() -> Vec<(String, Report)> {
    let folder = format!("{}/exercises/{CODE}/reports", env!("CARGO_MANIFEST_DIR"));
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.starts_with(CODE))
        .collect();
    names.sort();
    let exercise = exercise();
    let read = |name: &String| {
        let text = shipped(&format!("reports/{name}"));
        let Ok(Table::Report(table)) = read(text.as_bytes(), &ReadOptions::default()) else {
            unreachable!()
        };
        let report = assemble(&exercise, &table, None).unwrap().report;
        (text, report)
    };
    names.iter().map(read).collect()
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
