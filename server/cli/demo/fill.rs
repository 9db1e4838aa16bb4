//! Fills the demo school through the same actions that people use.

use std::collections::BTreeMap;

use anyhow::{Context, bail};

use super::scenario::{Assignment, Class, Mode, Pair, Plates, Scenario, StaffRole};
use super::{codes, shipped, stories};
use crate::actions::Service;
use crate::actions::add_person::{Wanted as Person, add_person};
use crate::actions::import_exercise::{FileText, ImportError, import_exercise};
use crate::actions::make_assignment::{Wanted, make_assignment};
use crate::actions::make_class::{Wanted as WantedClass, make_class, make_pair};
use crate::actions::release_marks::release_marks;
use crate::actions::terms::Terms;
use crate::actions::{machine_time, roster, take_seat};
use crate::store::assignments::{Counting, Feedback};
use crate::store::ids::{ClassId, ExerciseId, PersonId};
use crate::store::people::Role;
use crate::store::plates::Kind;
use crate::store::when::When;
use crate::store::{assignments, care, classes, exercises};

const DAY_MS: f64 = 24.0 * 3_600_000.0;

/// The school while it is filled.
pub(super) struct Filling<'a> {
    pub(super) service: &'a Service,
    /// When the filling began; days of the scenario count from it.
    began: When,
    /// PIN of all students.
    pin: &'a str,
    instructor: PersonId,
    assistants: Vec<PersonId>,
    exercises: BTreeMap<String, ExerciseId>,
}

/// Fills the school.
pub(super) async fn fill(service: &Service, school: &Scenario) -> anyhow::Result<()> {
    let began = service.clock.now();
    let (mut instructor, mut assistants) = (None, Vec::new());
    for member in &school.staff {
        let role = match member.role {
            StaffRole::Instructor => Role::Instructor,
            StaffRole::Assistant => Role::Assistant,
        };
        let person = Person {
            role,
            name: &member.name,
            sign_in: &member.sign_in,
            secret: &member.passphrase,
            by: instructor,
        };
        let id = add_person(service, &person).await?;
        match role {
            Role::Instructor => instructor = instructor.or(Some(id)),
            _ => assistants.push(id),
        }
    }
    let instructor = instructor.context("the scenario has no instructor")?;
    let mut filling = Filling {
        service,
        began,
        pin: &school.pin,
        instructor,
        assistants,
        exercises: BTreeMap::new(),
    };
    filling.turn_to(school.class.iter().map(|c| c.began).fold(0.0, f64::min) - 1.0);
    for code in codes() {
        let id = filling.import(&code).await?;
        filling.exercises.insert(code, id);
    }
    for class in &school.class {
        filling.class(class).await?;
    }
    Ok(())
}

impl Filling<'_> {
    /// A number of days from the beginning of the filling.
    pub(super) fn day(&self, days: f64) -> When {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a scenario spans months, in milliseconds far below 2^53"
        )]
        let ms = (days * DAY_MS) as i64;
        When::from(self.began.millisecond().saturating_add(ms))
    }

    fn turn_to(&self, days: f64) {
        self.service.clock.turn_to(self.day(days));
    }

    /// Who marks by hand.
    pub(super) const fn instructor(&self) -> PersonId {
        self.instructor
    }

    /// The shipped exercise of this code.
    pub(super) fn exercise(&self, code: &str) -> Option<ExerciseId> {
        self.exercises.get(code).copied()
    }

    async fn import(&self, code: &str) -> anyhow::Result<ExerciseId> {
        let (exercise, plates) = (format!("{code}/exercise.toml"), format!("{code}/plates.toml"));
        let (exercise_text, plates_text) = (shipped(&exercise)?, shipped(&plates)?);
        let exercise = FileText {
            name: &exercise,
            text: &exercise_text,
        };
        let plates = FileText {
            name: &plates,
            text: &plates_text,
        };
        match import_exercise(self.service, Some(self.instructor), exercise, Some(plates)).await {
            Ok(imported) => Ok(imported.exercise),
            Err(ImportError::Problems(problems)) => {
                let first = problems.first().map(ToString::to_string).unwrap_or_default();
                bail!("a shipped exercise has problems: {first}")
            }
            Err(error) => Err(error.into()),
        }
    }

    async fn class(&self, class: &Class) -> anyhow::Result<()> {
        self.turn_to(class.began);
        let wanted = WantedClass {
            name: &class.name,
            term: &class.term,
            time_zone: &class.time_zone,
            by: self.instructor,
        };
        let id = make_class(self.service, &wanted).await?;
        let mut tx = self.service.store.change().await?;
        for assistant in &self.assistants {
            classes::join(&mut tx, id, *assistant, self.day(class.began)).await?;
        }
        tx.commit().await?;
        let mut people = BTreeMap::new();
        for pair in &class.pairs {
            people.insert(pair.name.as_str(), self.pair(id, pair, class.began).await?);
        }
        for assignment in &class.assignment {
            self.assignment(id, assignment, &people).await?;
        }
        self.bench(id, class).await
    }

    /// Machines with a rota for what is open now, and somebody who has a slip and no seat yet.
    async fn bench(&self, class: ClassId, told: &Class) -> anyhow::Result<()> {
        self.turn_to(0.0);
        let (service, now) = (self.service, self.day(0.0));
        for name in ["Machine North", "Machine South"] {
            machine_time::add_machine(service, class, name).await?;
        }
        for line in assignments::of_class(&service.store, class).await? {
            let spreads = care::spreads(&service.store, line.id).await?;
            let is_metal = spreads.is_some_and(|(_, kind)| kind == Kind::Physical);
            let (true, true) = (is_metal, line.opens_at <= now && line.due_at > now) else {
                continue;
            };
            let assignment = assignments::one(&service.store, line.id)
                .await?
                .context("it was just listed")?;
            let wanted = machine_time::Wanted {
                assignment: &assignment,
                // The first turns have begun when the school opens.
                from: self.day(-0.01),
                minutes: 45,
                sessions: 4,
                turns: 1,
            };
            machine_time::plan(service, &wanted, self.instructor).await?;
        }
        if let Some([school_id, name]) = &told.late {
            roster::add_one(service, class, name, school_id, self.instructor).await?;
            let members = classes::members(&service.store, class, now).await?;
            let whose: Vec<PersonId> = members.iter().filter(|m| !m.has_seat).map(|m| m.person).collect();
            take_seat::make_slips(
                service,
                class,
                &whose,
                std::time::Duration::from_secs(7 * 86_400),
                self.instructor,
            )
            .await?;
        }
        Ok(())
    }

    async fn pair(&self, class: ClassId, pair: &Pair, began: f64) -> anyhow::Result<Vec<PersonId>> {
        let mut people = Vec::new();
        for [sign_in, name] in &pair.people {
            let by = Some(self.instructor);
            let person = Person {
                role: Role::Student,
                name,
                sign_in,
                secret: self.pin,
                by,
            };
            people.push(add_person(self.service, &person).await?);
        }
        make_pair(self.service, class, &pair.name, &people, self.day(began)).await?;
        Ok(people)
    }

    async fn assignment(
        &self,
        class: ClassId,
        assignment: &Assignment,
        people: &BTreeMap<&str, Vec<PersonId>>,
    ) -> anyhow::Result<()> {
        self.turn_to(assignment.opens);
        let exercise = self
            .exercise(&assignment.exercise)
            .context("the scenario names no shipped exercise")?;
        let revision = exercises::newest(&self.service.store, exercise)
            .await?
            .context("an exercise without a revision")?;
        let wanted = Wanted {
            class,
            exercise: (exercise, revision.id),
            plates: match assignment.plates {
                Plates::Physical => Kind::Physical,
                Plates::Virtual => Kind::Virtual,
            },
            terms: Terms {
                title: &assignment.title,
                opens_at: self.day(assignment.opens),
                due_at: self.day(assignment.due),
                attempts: assignment.attempts,
                counting: Counting::Best,
                late_grace_minutes: 15,
                late_percent_per_day: 10.into(),
                late_floor_percent: 50.into(),
                feedback: match assignment.feedback {
                    Mode::Words => Feedback::Words,
                    Mode::Full => Feedback::Full,
                },
            },
            marks: "",
            by: self.instructor,
        };
        let made = make_assignment(self.service, &wanted).await?;
        stories::hand_in(self, made.assignment, assignment, people).await?;
        if let Some(released) = assignment.released {
            self.turn_to(released);
            release_marks(self.service, made.assignment, self.instructor).await?;
        }
        Ok(())
    }
}
