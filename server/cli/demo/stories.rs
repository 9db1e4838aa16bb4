//! The reports of the demo: made by the forward model, so that every mistake in them is one that the house knows how to
//! make, and handed in like any other report.

use std::collections::BTreeMap;

use anyhow::Context;

use super::fill::Filling;
use super::scenario::{Assignment, Report as Story};
use crate::actions::adjust::adjust;
use crate::actions::hand_in_report::{HandIn, hand_in_report};
use crate::actions::load;
use crate::actions::mark_by_hand::mark_by_hand;
use crate::actions::review::{self, Act};
use crate::exercise::model::Exercise;
use crate::procedure::model::Model;
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;
use crate::procedure::written::Habits;
use crate::report::call::Call;
use crate::report::model::Report;
use crate::report::write_csv::{WrittenRow, report_csv};
use crate::store::assignments::{self, Mine};
use crate::store::ids::{AssignmentId, PersonId, ReportId};
use crate::store::reports::{Note, SourceKind};
use crate::store::{plates, queries};

/// The noise of the demo is the same in every demo.
const SEED: u64 = 20_261_125;

/// Hands in all reports of an assignment.
pub(super) async fn hand_in(
    filling: &Filling<'_>,
    assignment: AssignmentId,
    told: &Assignment,
    people: &BTreeMap<&str, Vec<PersonId>>,
) -> anyhow::Result<()> {
    let service = filling.service;
    let stored = assignments::one(&service.store, assignment)
        .await?
        .context("the assignment was just made")?;
    let exercise = load::exercise(service, stored.exercise_revision).await?;
    let model = model(filling, &exercise, told).await?;
    let mut reports: BTreeMap<&str, Report> = BTreeMap::new();
    for (number, story) in told.reports.iter().enumerate() {
        let day = story
            .handed_in
            .unwrap_or_else(|| told.due - story.early_hours.unwrap_or(24.0) / 24.0);
        service.clock.turn_to(filling.day(day));
        let person = people
            .get(story.pair.as_str())
            .and_then(|p| p.first())
            .context("the scenario names no such pair")?;
        let mine = assignments::mine(&service.store, assignment, *person).await?;
        let mine = mine.with_context(|| format!("pair {} has no part in {}", story.pair, told.title))?;
        let label = format!("{} {} {number}", told.title, story.pair);
        let report = written(
            &exercise,
            &model,
            &mine,
            story,
            &reports,
            &mut Sampler::new(SEED, &label),
        )?;
        let id = submit(filling, &mine, *person, number, &report, story.remarks.as_deref()).await?;
        if let Some(share) = story.by_hand {
            let points = exercise
                .marks
                .lines
                .iter()
                .map(|l| (l.name.clone(), l.points * share))
                .collect();
            mark_by_hand(service, id, &exercise.marks.lines, &points, filling.instructor()).await?;
        }
        afterwards(filling, id, *person, story).await?;
        reports.insert(&story.pair, report);
    }
    for told in &told.points {
        let people = people
            .get(told.pair.as_str())
            .context("the scenario names no such pair")?;
        let person = *people.get(told.person).context("the scenario names no such person")?;
        adjust(
            service,
            assignment,
            person,
            told.points,
            &told.reason,
            filling.instructor(),
        )
        .await?;
    }
    Ok(())
}

/// What people say and do about a report once it is graded.
async fn afterwards(filling: &Filling<'_>, report: ReportId, person: PersonId, story: &Story) -> anyhow::Result<()> {
    let (service, instructor) = (filling.service, filling.instructor());
    if let Some(asks) = &story.asks {
        review::ask(service, report, person, asks.no.as_deref(), &asks.text).await?;
    }
    let answer = story.asks.as_ref().and_then(|a| a.answer.clone());
    if let (Some(answer), Some(query)) = (answer, queries::of(&service.store, report).await?.first()) {
        review::act(service, report, instructor, &Act::Answer(query.id, answer)).await?;
    }
    if let Some(told) = &story.told {
        review::act(service, report, instructor, &Act::Remark(told.clone())).await?;
    }
    if let Some(set) = &story.set {
        let reason = set.reason.clone();
        review::act(service, report, instructor, &Act::Set { mark: set.mark, reason }).await?;
    }
    Ok(())
}

async fn model(filling: &Filling<'_>, exercise: &Exercise, told: &Assignment) -> anyhow::Result<Model> {
    let store = &filling.service.store;
    let id = filling
        .exercise(&told.exercise)
        .context("the scenario names no shipped exercise")?;
    let mut all = Vec::new();
    for line in plates::of_exercise(store, id).await? {
        all.push(load::plate_from(exercise, &line.truth)?);
    }
    Ok(Model::new(exercise, &all)?)
}

fn written(
    exercise: &Exercise,
    model: &Model,
    mine: &Mine,
    story: &Story,
    others: &BTreeMap<&str, Report>,
    sampler: &mut Sampler,
) -> anyhow::Result<Report> {
    let serial = mine.serial.as_deref().context("a pair without a plate")?.parse()?;
    let measured = model.simulate(&serial, &story.faults, Conditions::default(), sampler)?;
    let mut report = model.write_report(exercise, &exercise.marks, &measured, Habits::default(), sampler);
    if let Some(same) = &story.same_digits_as {
        let other = others
            .get(same.pair.as_str())
            .context("the other pair hands in first")?;
        for (item, theirs) in report.items.iter_mut().zip(&other.items) {
            if !same.except.iter().any(|no| no == item.no.as_str()) {
                *item = theirs.clone();
            }
        }
    }
    for item in &mut report.items {
        let named = |list: &[String]| list.iter().any(|no| no == item.no.as_str());
        if named(&story.missing) {
            (item.measured, item.call) = (None, None);
        } else if named(&story.wrong_calls) {
            item.call = item.call.map(|call| match call {
                Call::Conforming => Call::Nonconforming,
                Call::Nonconforming | Call::Undecided => Call::Conforming,
            });
        }
    }
    Ok(report)
}

/// Every third report was typed, the others came as files.
async fn submit(
    filling: &Filling<'_>,
    mine: &Mine,
    person: PersonId,
    number: usize,
    report: &Report,
    remarks: Option<&str>,
) -> anyhow::Result<ReportId> {
    let rows: Vec<WrittenRow<'_>> = report
        .items
        .iter()
        .map(|item| WrittenRow {
            no: item.no.as_str(),
            measured: item.measured.as_ref().map(|m| m.as_str()),
            call: item.call,
        })
        .collect();
    let name = format!(
        "{}-{}.csv",
        mine.pair_name.to_lowercase(),
        mine.serial.as_deref().unwrap_or_default()
    );
    let typed = number.is_multiple_of(3);
    let hand_in = HandIn {
        mine,
        person,
        attempt: mine.handed_in + 1,
        key: &format!("demo {number}"),
        report,
        source_kind: if typed { SourceKind::Form } else { SourceKind::Csv },
        source_name: if typed { None } else { Some(&name) },
        source_bytes: report_csv(&rows)?.into_bytes(),
        note: Note {
            remarks: remarks.map(str::to_owned),
            set_up: None,
        },
        plate: "",
    };
    let handed_in = hand_in_report(filling.service, hand_in).await?;
    anyhow::ensure!(handed_in.graded, "a report of the demo was not graded");
    Ok(handed_in.report)
}
