//! From measured values to the report that is handed in: rounding, slips of single values, calls.

use super::model::Model;
use super::sampler::Sampler;
use super::simulate::Measured;
use crate::exercise::model::{Characteristic, Exercise, MarksRules, Owner};
use crate::report::call::Call;
use crate::report::judge::{BonusSize, call_of, judged_limits};
use crate::report::model::{Report, ReportItem};
use crate::units::Reading;

/// How a pair fills in the sheet. The default is complete and careful.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Habits {
    /// Probability that a value is not measured.
    pub missing: f64,
    /// Probability that a call is another one than the rule makes of the pair's own number.
    pub wrong_calls: f64,
    /// Probability that a measured value has no call.
    pub no_call: f64,
}

impl Model {
    /// Writes a report: every value rounded to the report's places (half away from zero, in decimal), slips on it, and
    /// the call that the decision rule makes of what is written, as far as the habits leave it.
    ///
    /// Draws three numbers for each characteristic, whatever the habits, and one more for a wrong call where the rule
    /// knows three.
    #[must_use]
    pub fn write_report(
        &self,
        exercise: &Exercise,
        rules: &MarksRules,
        measured: &Measured,
        habits: Habits,
        sampler: &mut Sampler,
    ) -> Report {
        let mut values: Vec<Option<Reading>> = measured
            .values
            .iter()
            .map(|v| Reading::from_f64(*v, self.decimals))
            .collect();
        for slip in &measured.edit.slips {
            if let Some(value) = values.get_mut(slip.line()) {
                *value = value.take().map(|written| slip.strike(written));
            }
        }
        let draws: Vec<[f64; 3]> = values
            .iter()
            .map(|_| [sampler.uniform(), sampler.uniform(), sampler.uniform()])
            .collect();
        for (value, [missing, ..]) in values.iter_mut().zip(&draws) {
            if *missing < habits.missing {
                *value = None;
            }
        }
        let mut items = Vec::with_capacity(values.len());
        for (i, c) in exercise.characteristics.iter().enumerate() {
            let [_, wrong, none] = draws.get(i).copied().unwrap_or([1.0; 3]);
            let mut call = own_call(exercise, rules, c, &values, i);
            if wrong < habits.wrong_calls {
                call = call.map(|right| another(right, rules, sampler));
            }
            if none < habits.no_call {
                call = None;
            }
            items.push(ReportItem {
                no: c.no.clone(),
                measured: values.get(i).cloned().flatten(),
                call,
            });
        }
        Report { items }
    }
}

/// The call that the decision rule makes of the pair's own value, with the bonus of the pair's own size.
fn own_call(
    exercise: &Exercise,
    rules: &MarksRules,
    c: &Characteristic,
    values: &[Option<Reading>],
    line: usize,
) -> Option<Call> {
    let written = |i: usize| values.get(i).and_then(Option::as_ref).map(Reading::decimal);
    let value = written(line)?;
    let size = c
        .maximum_material
        .then(|| exercise.size_of(c))
        .flatten()
        .and_then(|(i, characteristic)| {
            let Owner::Feature(feature) = c.owner else { return None };
            let side = exercise.features.get(feature)?.side?;
            Some(BonusSize {
                characteristic,
                side,
                value: written(i),
            })
        });
    Some(call_of(rules, &judged_limits(c, size), value, c.u_lab))
}

/// Another call than the right one: the opposite, and under the rule of three any of the two others.
fn another(right: Call, rules: &MarksRules, sampler: &mut Sampler) -> Call {
    let three = rules.decision_rule == crate::metrology::conformity::DecisionRule::ThreeWay;
    let others: Vec<Call> = Call::ALL
        .into_iter()
        .filter(|c| *c != right && (three || *c != Call::Undecided))
        .collect();
    others.get(sampler.below(others.len())).copied().unwrap_or(right)
}
