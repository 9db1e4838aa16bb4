//! What a plate has of each, and what a proposal could not reach.

use super::aims::Aims;
use super::choose::Ability;
use super::room::{self, Place, Room};
use super::search::Bench;
use crate::exercise::model::Exercise;
use crate::exercise::plate::Plate;

/// How many characteristics of a plate are what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Out of the limits as printed (with the bonus of the size).
    pub nonconforming: usize,
    /// Within the share of a limit, on either side.
    pub close: usize,
}

/// What a plate has, by its references and, where there is none, by what was planted.
#[must_use]
pub fn counts(exercise: &Exercise, plate: &Plate, aims: &Aims) -> Counts {
    let rooms: Vec<Option<Room>> = exercise.characteristics.iter().map(|c| Room::of(c, aims)).collect();
    let values = room::values(exercise, plate);
    let mut counts = Counts::default();
    for place in room::places(exercise, &rooms, &values) {
        counts.nonconforming += usize::from(place.is_some_and(Place::is_nonconforming));
        counts.close += usize::from(place.is_some_and(Place::is_close));
    }
    counts
}

/// What could not be had.
pub(super) fn remarks(bench: &Bench<'_>, aims: &Aims, able: &[Ability], made: &[Plate]) -> Vec<String> {
    let exercise = bench.exercise;
    let mut remarks = Vec::new();
    let named = |which: &dyn Fn(usize) -> bool| {
        let all = exercise.characteristics.iter().enumerate();
        let named: Vec<&str> = all.filter(|(i, _)| which(*i)).map(|(_, c)| c.no.as_str()).collect();
        named.join(", ")
    };
    let fixed = named(&|i| able.get(i).is_some_and(|a| *a != Ability::Free));
    if !fixed.is_empty() {
        remarks.push(format!(
            "Nothing that the shop can plant in these steps moves number {fixed} to a limit; it stays as it comes out."
        ));
    }
    if let Some(thin) = bench.walls.thin_on_print {
        let (wall, thin) = (aims.wall.normalize(), thin.round_dp(exercise.decimals).normalize());
        remarks.push(format!(
            "Walls of {wall} cannot be kept everywhere: the print has one of {thin} itself, which is the most that can. What \
             is thinner on the print keeps four fifths of it."
        ));
    }
    let mut outside = vec![0_usize; able.len()];
    for plate in made {
        let values = room::values(exercise, plate);
        for (n, place) in outside.iter_mut().zip(room::places(exercise, &bench.rooms, &values)) {
            *n += usize::from(place.is_some_and(Place::is_nonconforming));
        }
    }
    let times = |i: usize| outside.get(i).copied().unwrap_or(0);
    let never = named(&|i| able.get(i) == Some(&Ability::Free) && times(i) == 0);
    if !never.is_empty() {
        let count = able.iter().filter(|a| **a == Ability::Free).count();
        let mend = match count.div_ceil(aims.nonconforming.max(1)) {
            enough if aims.nonconforming > 0 && enough > aims.copies => {
                format!(
                    " {enough} copies with {} nonconforming on each reach all.",
                    aims.nonconforming
                )
            }
            _ => String::new(),
        };
        remarks.push(format!("No copy is nonconforming at number {never}.{mend}"));
    }
    let always = named(&|i| made.len() > 1 && times(i) == made.len());
    if !always.is_empty() {
        remarks.push(format!(
            "Every copy is nonconforming at number {always}: a class finds that out. Ask for fewer nonconforming ones."
        ));
    }
    remarks
}
