//! Who is in charge of a person's account: who may give a new secret with a slip, free the seat, take a second step away,
//! change the name and read all that is stored. To put somebody into a class is not enough for it, or any instructor could
//! take over any account.
//!
//! A student: whoever teaches the class into which the student was put first, of all classes or of those that still run. An
//! assistant: whoever teaches all running classes of the assistant. An instructor: nobody else. Of the staff, an account that
//! was never used is also in the charge of those who teach the class for which it was made. Whoever runs the server is in
//! charge of all, on the command line. A copy of the whole school is everybody's accounts at once: an instructor may take one, and
//! put another one in its place, who is the only one, or where whoever runs the server lets them all.

use std::collections::BTreeMap;

use thiserror::Error;

use crate::store::charge::{self, Tie};
use crate::store::ids::PersonId;
use crate::store::people::Role;
use crate::store::{Store, StoreError, Tx};

/// Why somebody is not in charge of an account.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum NotInCharge {
    /// It is one's own, which has a page.
    #[error(
        "your own passphrase and second step are changed on your account page. If you have lost them, ask whoever runs the server: \
         \u{201c}platemark instructor new-slip\u{201d}, \u{201c}platemark instructor reset-second-step\u{201d}"
    )]
    Oneself,
    /// An instructor's.
    #[error(
        "the account of an instructor is that person's own: passphrase and second step are changed on the account page. If they are \
         lost, whoever runs the server helps: \u{201c}platemark instructor new-slip\u{201d}, \u{201c}platemark instructor reset-second-step\u{201d}"
    )]
    Instructor,
    /// An assistant's who works for others too.
    #[error(
        "this assistant is not in your classes alone. An instructor who teaches all running classes of the assistant can do this, or \
         whoever runs the server: \u{201c}platemark instructor new-slip\u{201d}, \u{201c}platemark instructor reset-second-step\u{201d}"
    )]
    Assistant,
    /// A student's whom another instructor put into a class first.
    #[error(
        "this student was put into another class first. An instructor of that class can do this: a new slip, freeing the seat, \
         another name, the file of all that is stored"
    )]
    Student,
    /// The whole school is several instructors'.
    #[error(
        "a backup is a copy of the whole school, with the classes of all its instructors and everybody's accounts. Whoever runs the \
         server makes one with \u{201c}platemark backup\u{201d} and puts one back with \u{201c}platemark restore\u{201d}, or lets all instructors do both on these \
         pages: \u{201c}--copies-on-pages\u{201d}"
    )]
    School,
}

fn of_ties(ties: &[Tie]) -> Result<(), NotInCharge> {
    let new_and_ours = ties.iter().any(|t| t.is_new && t.made_for && t.taught);
    let mut running = ties.iter().filter(|t| t.runs);
    match ties.first().map(|t| t.role) {
        None | Some(Role::Student) => {
            let first_of_all = ties.first();
            let first_running = running.next();
            let taught = [first_of_all, first_running].iter().flatten().any(|t| t.taught);
            taught.then_some(()).ok_or(NotInCharge::Student)
        }
        Some(Role::Assistant) => {
            let all_ours = running.clone().next().is_some() && running.all(|t| t.taught);
            (new_and_ours || all_ours).then_some(()).ok_or(NotInCharge::Assistant)
        }
        Some(Role::Instructor) => new_and_ours.then_some(()).ok_or(NotInCharge::Instructor),
    }
}

/// Whether `by` is in charge of these people, each of whom is in some class.
///
/// # Errors
/// When the database does not answer.
pub async fn of_people(
    store: &Store,
    people: &[PersonId],
    by: PersonId,
) -> Result<BTreeMap<PersonId, Result<(), NotInCharge>>, StoreError> {
    let ties = charge::ties(store, people, by).await?;
    let of_one = ties.chunk_by(|a, b| a.person == b.person);
    let known: BTreeMap<PersonId, Result<(), NotInCharge>> = of_one
        .filter_map(|ties| Some((ties.first()?.person, of_ties(ties))))
        .collect();
    let answer = |person: &PersonId| {
        let others = known.get(person).copied().unwrap_or(Err(NotInCharge::Student));
        let is = if *person == by {
            Err(NotInCharge::Oneself)
        } else {
            others
        };
        (*person, is)
    };
    Ok(people.iter().map(answer).collect())
}

/// Whether `by` is in charge of the account of a person, one's own excepted, as the change in progress sees it.
///
/// # Errors
/// When the database does not answer; the answer is inside.
pub async fn of_another(tx: &mut Tx, person: PersonId, by: PersonId) -> Result<Result<(), NotInCharge>, StoreError> {
    if person == by {
        return Ok(Err(NotInCharge::Oneself));
    }
    Ok(of_ties(&charge::ties_now(tx, person, by).await?))
}

/// The same for what one may do with one's own account too.
///
/// # Errors
/// When the database does not answer; the answer is inside.
pub async fn of_any(tx: &mut Tx, person: PersonId, by: PersonId) -> Result<Result<(), NotInCharge>, StoreError> {
    if person == by {
        return Ok(Ok(()));
    }
    of_another(tx, person, by).await
}

/// Whether an instructor may copy the whole school and put another one in its place; `said`: what whoever runs the server says of it.
///
/// # Errors
/// When the database does not answer; the answer is inside.
pub async fn of_the_school(store: &Store, said: Option<bool>) -> Result<Result<(), NotInCharge>, StoreError> {
    let may = match said {
        Some(may) => may,
        None => charge::instructors(store).await? < 2,
    };
    Ok(may.then_some(()).ok_or(NotInCharge::School))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A class: does it run, is it taught by the one who asks, was the account made for it.
    fn tie(role: Role, is_new: bool, [runs, taught, made_for]: [bool; 3]) -> Tie {
        Tie {
            person: PersonId(7),
            role,
            is_new,
            made_for,
            runs,
            taught,
        }
    }

    #[test]
    fn students_are_in_the_charge_of_where_they_were_put_first() {
        let of = |classes: &[[bool; 3]]| {
            let ties: Vec<Tie> = classes.iter().map(|c| tie(Role::Student, false, *c)).collect();
            of_ties(&ties)
        };
        // Runs, taught by the one who asks; in the order in which the student came.
        for (classes, is) in [
            (&[[true, true, true]][..], true),
            (&[[true, false, true]], false),
            (&[[true, true, true], [true, false, false]], true),
            // Somebody else's student, put into a class of one's own.
            (&[[true, false, true], [true, true, false]], false),
            // Last term's class is over: the first of those that run.
            (&[[false, false, true], [true, true, false]], true),
            (&[[false, false, true], [true, true, false], [true, false, false]], true),
            (
                &[[false, false, true], [true, false, false], [true, true, false]],
                false,
            ),
            // Whoever had the student first, after that class is over too.
            (&[[false, true, true], [true, false, false]], true),
            (&[[false, false, true]], false),
            (&[], false),
        ] {
            assert_eq!(of(classes).is_ok(), is, "{classes:?}");
        }
    }

    #[test]
    fn staff_is_in_nobodys_charge_who_does_not_have_them_alone() {
        let of = |role, is_new, classes: &[[bool; 3]]| {
            let ties: Vec<Tie> = classes.iter().map(|c| tie(role, is_new, *c)).collect();
            of_ties(&ties)
        };
        let (ours, theirs) = ([true, true, false], [true, false, false]);
        let (made_ours, made_theirs) = ([true, true, true], [true, false, true]);
        for (is_new, classes, assistant, instructor) in [
            (false, &[ours][..], true, false),
            (false, &[made_ours], true, false),
            (false, &[ours, ours], true, false),
            (false, &[ours, theirs], false, false),
            (false, &[made_ours, theirs], false, false),
            // A class that is over does not count.
            (false, &[ours, [false, false, true]], true, false),
            (false, &[[false, true, true]], false, false),
            // Never used: made for a class of one's own.
            (true, &[made_ours], true, true),
            (true, &[made_ours, theirs], true, true),
            (true, &[made_theirs, ours], false, false),
            (true, &[ours], true, false),
        ] {
            let what = format!("{is_new} {classes:?}");
            assert_eq!(of(Role::Assistant, is_new, classes).is_ok(), assistant, "{what}");
            assert_eq!(of(Role::Instructor, is_new, classes).is_ok(), instructor, "{what}");
        }
    }
}
