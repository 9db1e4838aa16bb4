//! Grading: pure functions from exercise, plate and report to a grade.
//!
//! One call, `grade`, serves the browser and the command line, so that both give the same mark to the last digit.
//! A grade is the instructor's; what students see is made from it in `feedback`.

pub mod attempts;
pub mod call;
mod check;
mod columns;
pub mod decided;
pub mod diagnosis;
pub mod extra;
pub mod feedback;
mod follow_through;
pub mod grade;
pub mod insight;
pub mod late;
pub mod marks;
pub mod measurement;
pub mod named;
mod notes;
pub mod review;
pub mod settled;
#[cfg(test)]
mod tests;
pub mod words;

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use crate::exercise::model::{Characteristic, Exercise, MarksRules, Owner, Quantity, Side};
use crate::exercise::plate::{self, Plate, Reference};
use crate::metrology::conformity::probability_of_conformity;
use crate::procedure::fault::Fault;
use crate::report::model::{Report, ReportItem};
use crate::report::setup_record::SetUp;
use crate::units::decimal_to_f64;
use call::{BonusSize, Judged};
use decided::{Decided, Settled};
use diagnosis::priors::Priors;
use diagnosis::{Diagnoser, Finding};
use grade::{Alternative, DecidedFault, Diagnosis, FoundFault, Grade, GradedItem, NamedFault};
use measurement::{Measured, Value};

/// All that a grade is computed from.
#[derive(Debug, Clone, Copy)]
pub struct GradeInput<'a> {
    /// Name of the report.
    pub name: &'a str,
    /// The exercise in the revision of the report.
    pub exercise: &'a Exercise,
    /// The plate, in its reference revision.
    pub plate: &'a Plate,
    /// Rules: the exercise's, or the assignment's in their place.
    pub rules: &'a MarksRules,
    /// The report.
    pub report: &'a Report,
    /// Points of lines marked by hand, by name.
    pub hand_marks: &'a BTreeMap<String, Decimal>,
    /// All plates of the exercise that the values may be of by mistake; this plate may be among them.
    pub siblings: &'a [Plate],
    /// What people have added: decisions on faults, and readings beside the sheet.
    pub decided: &'a Decided,
    /// What the pair says of its set-up: it moves the prior odds of the mistakes that it speaks of, by the modest factors
    /// of `diagnosis::priors`. Equal reports with equal records get equal marks.
    pub set_up: Option<&'a SetUp>,
}

/// Grades one report.
#[must_use]
pub fn grade(input: &GradeInput<'_>) -> Grade {
    let measured = input.report.items.iter().any(|i| i.measured.is_some());
    let looking = measured
        .then(|| diagnoser(input.exercise, input.plate, input.siblings))
        .flatten();
    grade_with(input, looking.as_ref())
}

/// Most characteristics of a print whose reports are looked into. The work grows with the cube of their number: values that
/// fit nothing take seconds at this many, and nearly a minute at 300.
pub const MOST_LOOKED_INTO: usize = 120;

/// What looks for mistakes in reports on a plate: made once for all of them. `siblings` are all plates of the exercise.
/// `None` where the print has too many characteristics.
#[must_use]
pub fn diagnoser(exercise: &Exercise, plate: &Plate, siblings: &[Plate]) -> Option<Diagnoser> {
    if exercise.characteristics.len() > MOST_LOOKED_INTO {
        return None;
    }
    let mut plates = vec![plate.clone()];
    plates.extend(siblings.iter().filter(|p| p.serial != plate.serial).cloned());
    // A checked exercise is one that the forward model can work with.
    Diagnoser::new(exercise, &plates, Priors::default()).ok()
}

/// Grades one report with what [`diagnoser`] made of the same exercise, plate and siblings.
#[must_use]
pub fn grade_with(input: &GradeInput<'_>, looking: Option<&Diagnoser>) -> Grade {
    let references = plate::references(input.exercise, input.plate);
    let sheet = Sheet {
        input,
        references: &references,
    };
    let lines: Vec<SheetLine> = (0..input.exercise.characteristics.len())
        .filter_map(|i| sheet.line(i))
        .collect();
    let found = found(input, looking);
    let Settled { finding, confirmed, .. } = &found.settled;
    let rows: Vec<follow_through::Row<'_>> = lines.iter().enumerate().map(|(i, line)| sheet.row(i, line)).collect();
    let scored: Vec<marks::Scored> = lines.iter().filter_map(|l| l.scored).collect();
    let values: Vec<Option<f64>> = lines.iter().map(|l| l.item.measured).collect();
    let corrected = follow_through::corrected(finding, &values, confirmed);
    let ways = if input.rules.follow_through {
        follow_through::ways((input.exercise, input.rules), &rows, finding, confirmed)
    } else {
        Vec::new()
    };
    let item = |(line, corrected): (SheetLine, Option<f64>)| GradedItem { corrected, ..line.item };
    Grade {
        report: input.name.to_owned(),
        exercise: input.exercise.code.clone(),
        serial: input.plate.serial.clone(),
        diagnosis: told(input, &found),
        marks: marks::total_with(input.rules, &scored, input.hand_marks, &ways),
        items: lines.into_iter().zip(corrected).map(item).collect(),
    }
}

/// What was found, and what would tell the rest.
struct Found {
    settled: Settled,
    check: Option<grade::Check>,
}

impl Found {
    fn nothing(input: &GradeInput<'_>) -> Self {
        Self {
            settled: Settled {
                finding: Finding::nothing(),
                confirmed: Vec::new(),
                applied: vec![false; input.decided.decisions.len()],
            },
            check: None,
        }
    }
}

/// Looks for mistakes; nothing is found where nothing was measured. Readings beside the sheet are looked at as lines after
/// its own, and leave the finding again.
fn found(input: &GradeInput<'_>, looking: Option<&Diagnoser>) -> Found {
    if input.report.items.iter().all(|i| i.measured.is_none()) {
        return Found::nothing(input);
    }
    let mut plates = vec![input.plate];
    plates.extend(input.siblings.iter().filter(|p| p.serial != input.plate.serial));
    if input.decided.answers.is_empty() {
        return looking.map_or_else(
            || Found::nothing(input),
            |diagnoser| look(input, diagnoser, input.report, &plates),
        );
    }
    let readings: Vec<_> = input.decided.answers.iter().map(|a| a.extra.clone()).collect();
    let extended = extra::Extended::new(input.exercise, &readings);
    let with_readings: Vec<Plate> = plates.iter().map(|p| extended.plate(p)).collect();
    let report = extended.report(input.report, &input.decided.answers);
    // A checked exercise is one that the forward model can work with.
    let Ok(diagnoser) = Diagnoser::new(&extended.exercise, &with_readings, Priors::default()) else {
        return Found::nothing(input);
    };
    let mut found = look(input, &diagnoser, &report, &plates);
    found.settled.finding.keep_lines(extended.sheet);
    found
}

/// Looks at a report, with readings beside the sheet or without; `plates` are those of the sheet alone.
fn look(input: &GradeInput<'_>, diagnoser: &Diagnoser, report: &Report, plates: &[&Plate]) -> Found {
    let of = (&input.plate.serial, report);
    let finding = diagnoser.diagnose_with(of.0, of.1, input.set_up);
    let check = check::check(input.exercise, plates, &finding, input.decided);
    Found {
        settled: decided::settle(diagnoser, of, finding, &input.decided.decisions),
        check,
    }
}

/// A finding as the grade holds it.
fn told(input: &GradeInput<'_>, found: &Found) -> Diagnosis {
    let exercise = input.exercise;
    let finding = &found.settled.finding;
    let no = |i: &usize| exercise.characteristics.get(*i).map(|c| c.no.clone());
    let named = |fault: &Fault| NamedFault {
        fault: fault.family().code().to_owned(),
        parameters: parameters(fault),
    };
    let fault = |(stated, confirmed): (&diagnosis::Stated, &bool)| FoundFault {
        fault: stated.fault.family().code().to_owned(),
        probability: stated.probability,
        parameters: parameters(&stated.fault),
        explains: stated.explains.iter().filter_map(no).collect(),
        text: words::words(exercise, &stated.fault).text(),
        confirmed: *confirmed,
    };
    let alternative = |(faults, probability): &(Vec<Fault>, f64)| Alternative {
        faults: faults.iter().map(named).collect(),
        probability: *probability,
    };
    let decided = |(d, applied): (&decided::Decision, &bool)| DecidedFault {
        fault: d.fault.family().code().to_owned(),
        parameters: parameters(&d.fault),
        verdict: d.verdict,
        applied: *applied,
    };
    let decisions = input.decided.decisions.iter().zip(&found.settled.applied);
    Diagnosis {
        state: finding.state,
        probability: finding.probability,
        faults: finding.faults.iter().zip(&found.settled.confirmed).map(fault).collect(),
        alternatives: finding.others.iter().map(alternative).collect(),
        unexplained: finding.unexplained.iter().filter_map(no).collect(),
        decided: decisions.map(decided).collect(),
        check: found.check.clone(),
        left_out: finding.probability.map(|_| finding.left_out),
    }
}

fn parameters(fault: &Fault) -> serde_json::Map<String, serde_json::Value> {
    match serde_json::to_value(fault) {
        Ok(serde_json::Value::Object(mut object)) => match object.remove("parameters") {
            Some(serde_json::Value::Object(parameters)) => parameters,
            _ => serde_json::Map::new(),
        },
        _ => serde_json::Map::new(),
    }
}

/// A report laid over its exercise and the references of its plate.
struct Sheet<'a> {
    input: &'a GradeInput<'a>,
    references: &'a [Option<Reference>],
}

/// One graded line: the item and, where the plate is established there, its scores.
struct SheetLine {
    item: GradedItem,
    scored: Option<marks::Scored>,
}

impl<'a> Sheet<'a> {
    fn reference(&self, index: usize) -> Option<&'a Reference> {
        self.references.get(index).and_then(Option::as_ref)
    }

    fn row(&self, index: usize, line: &SheetLine) -> follow_through::Row<'a> {
        let characteristic = self.input.exercise.characteristics.get(index);
        follow_through::Row {
            reference: self.reference(index),
            u_lab: characteristic.map_or(Decimal::ZERO, |c| c.u_lab),
            value: characteristic.and_then(|c| self.value(c)),
            scored: line.scored,
        }
    }

    fn reported(&self, characteristic: &Characteristic) -> Option<&'a ReportItem> {
        self.input.report.item(&characteristic.no)
    }

    fn value(&self, characteristic: &Characteristic) -> Option<Value> {
        let reading = self.reported(characteristic)?.measured.as_ref()?;
        let half_turn = self.input.exercise.is_plan_direction(characteristic);
        Some(Value::of(reading, characteristic, half_turn))
    }

    /// The bonus size of a position at maximum material, valued by `of`.
    fn bonus_size(
        &self,
        c: &Characteristic,
        of: impl Fn(usize, &Characteristic) -> Option<Decimal>,
    ) -> Option<BonusSize<'a>> {
        let exercise = self.input.exercise;
        if !c.maximum_material || c.of != Quantity::Position {
            return None;
        }
        let (index, characteristic) = exercise.size_of(c)?;
        let side = match c.owner {
            Owner::Feature(i) => exercise.features.get(i)?.side.unwrap_or(Side::Inside),
            Owner::Between(_) => return None,
        };
        Some(BonusSize {
            characteristic,
            side,
            value: of(index, characteristic),
        })
    }

    fn line(&self, index: usize) -> Option<SheetLine> {
        let c = self.input.exercise.characteristics.get(index)?;
        let rules = self.input.rules;
        let value = self.value(c);
        let call = self.reported(c).and_then(|r| r.call);
        let own = call::judged_limits(c, self.bonus_size(c, |_, size| self.value(size).map(|v| v.decimal)));
        let by_own = value.map(|v| call::call_of(rules, &own, v.decimal, c.u_lab));
        let plate = self.reference(index).map(|r| PlateSide::of(self, c, r));
        let mut item = blank_item(c);
        item.measured = value.map(|v| v.approx);
        item.deviation = value.map(|v| v.less(c.nominal));
        item.call = call;
        item.call_by_own_value = by_own;
        let mut scored = None;
        if let (Some(side), Some(reference)) = (&plate, self.reference(index)) {
            side.fill(&mut item, reference);
            let measured = value.map(|v| measurement::measure(rules, c.u_lab, reference, &v));
            let calls = call::score(call, by_own, side.call, side.in_doubt);
            scored = Some(fill_scores(&mut item, c, measured, calls));
        }
        let noted = notes::Noted {
            exercise: self.input.exercise,
            characteristic: c,
            own: &own,
            own_value: value,
        };
        item.note = notes::note(&noted, &item, plate.as_ref().map(|p| &p.judged));
        Some(SheetLine { item, scored })
    }
}

/// The plate's side of one line.
struct PlateSide {
    judged: Judged,
    call: crate::report::call::Call,
    in_doubt: bool,
    conformity: Option<f64>,
}

impl PlateSide {
    fn of(sheet: &Sheet<'_>, c: &Characteristic, reference: &Reference) -> Self {
        let size = sheet.bonus_size(c, |i, _| sheet.reference(i).map(|r| r.value));
        let judged = call::judged_limits(c, size);
        let call = call::call_of(sheet.input.rules, &judged, reference.value, reference.expanded);
        let in_doubt = call::in_doubt(&judged.limits, c.u_lab, reference);
        let conformity = probability_of_conformity(reference.value, reference.standard(), None, &c.limits);
        let conformity = conformity.ok().map(|p| p.conforming);
        Self {
            judged,
            call,
            in_doubt,
            conformity,
        }
    }

    fn fill(&self, item: &mut GradedItem, reference: &Reference) {
        item.reference = Some(decimal_to_f64(reference.value));
        item.reference_expanded_uncertainty = Some(decimal_to_f64(reference.expanded));
        item.call_by_reference = Some(self.call);
        item.in_doubt = Some(self.in_doubt);
        item.probability_of_conformity = self.conformity;
    }
}

fn fill_scores(
    item: &mut GradedItem,
    c: &Characteristic,
    measured: Option<Measured>,
    calls: call::CallScore,
) -> marks::Scored {
    let score = measured.map_or(Decimal::ZERO, |m| m.score);
    let earned = |right: bool| if right { 1.0 } else { 0.0 };
    item.en = measured.map(|m| m.statistic);
    item.measurement_score = Some(decimal_to_f64(score));
    item.call_for_own_value_score = Some(earned(calls.for_own_value));
    item.call_for_plate_score = Some(earned(calls.for_plate));
    marks::Scored {
        weight: c.weight,
        measurement: score,
        for_plate: calls.for_plate,
        for_own_value: calls.for_own_value,
    }
}

fn blank_item(c: &Characteristic) -> GradedItem {
    GradedItem {
        no: c.no.clone(),
        of: c.of,
        nominal: decimal_to_f64(c.nominal),
        lower: c.limits.lower.map(decimal_to_f64),
        upper: c.limits.upper.map(decimal_to_f64),
        reference: None,
        reference_expanded_uncertainty: None,
        measured: None,
        deviation: None,
        en: None,
        measurement_score: None,
        call: None,
        call_by_own_value: None,
        call_by_reference: None,
        in_doubt: None,
        probability_of_conformity: None,
        call_for_own_value_score: None,
        call_for_plate_score: None,
        corrected: None,
        note: None,
    }
}
