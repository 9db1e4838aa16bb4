//! The plan as a table for people.

use std::io::Write;

use crate::exercise::model::Exercise;
use crate::procedure::plan::{Advice, Budget, Change, Conditions, Line, Plan, places};

/// Widest name of a characteristic that is printed whole.
const WIDEST: usize = 44;

pub(super) fn print(
    exercise: &Exercise,
    conditions: &Conditions,
    plan: &Plan,
    out: &mut dyn Write,
) -> std::io::Result<()> {
    writeln!(out, "{}  {}", exercise.code, exercise.title)?;
    writeln!(
        out,
        "What the measuring plan can achieve. Lengths in {}, angles in degrees; U with k = 2, its parts as standard uncertainties.",
        exercise.units
    )?;
    writeln!(
        out,
        "Taken: u of one touch {}, u of the tip's diameter {}, {} degrees within {} K, U of the machine {} per length.\n",
        exercise.measurement.repeatability,
        number(conditions.tip_of(exercise), exercise.decimals),
        conditions.temperature,
        conditions.within,
        exercise.measurement.per_length
    )?;
    let names: Vec<String> = plan.lines.iter().map(name).collect();
    let width = names.iter().map(|n| n.chars().count()).max().unwrap_or(0).max(14);
    writeln!(
        out,
        "{:>5}  {:<width$}  {:>9} {:>9} {:>9} {:>9} {:>11}  {:>9} {:>9}",
        "no", "characteristic", "points", "frame", "tip", "length", "temperature", "U", "stated"
    )?;
    for (line, name) in plan.lines.iter().zip(&names) {
        let decimals = if line.of.is_angle() { 3 } else { exercise.decimals };
        let show = |value: f64| number(value, decimals);
        match &line.budget {
            Ok(b) => writeln!(
                out,
                "{:>5}  {name:<width$}  {:>9} {:>9} {:>9} {:>9} {:>11}  {:>9} {:>9}{}",
                line.no.as_str(),
                show(b.from_points()),
                show(b.from_frame()),
                show(b.tip),
                show(b.length),
                show(b.temperature),
                show(b.expanded()),
                show(line.stated),
                if line.is_reached() { "" } else { "  not reached" }
            )?,
            Err(problem) => writeln!(out, "{:>5}  {name:<width$}  {problem}", line.no.as_str())?,
        }
    }
    writeln!(out)?;
    for line in &plan.lines {
        if let Some(words) = mending(exercise, line) {
            writeln!(out, "{words}")?;
        }
    }
    writeln!(out, "{}", closing(exercise, plan))
}

/// One digit more than a report carries, and one more.
fn number(value: f64, decimals: u32) -> String {
    let places = usize::try_from(decimals).unwrap_or(3) + 2;
    format!("{value:.places$}")
}

fn name(line: &Line) -> String {
    let whole = format!("{}: {}", line.owner, line.of.word());
    if whole.chars().count() <= WIDEST {
        return whole;
    }
    let kept: String = line
        .owner
        .chars()
        .take(WIDEST.saturating_sub(line.of.word().len() + 5))
        .collect();
    format!("{}...: {}", kept.trim_end(), line.of.word())
}

/// Where the touches of a change go.
pub(super) fn places_of(exercise: &Exercise, change: Change) -> String {
    match change {
        Change::Points { feature, .. } => {
            let feature = exercise.features.get(feature);
            feature.map_or_else(String::new, |f| places(&f.shape, change.to()))
        }
        Change::Touches { .. } if change.from(exercise) == 1 => "at the same place".to_owned(),
        Change::Touches { .. } => "at the places that it has, each in turn".to_owned(),
    }
}

/// The change in words: "8 points in place of 4 on Main bore (at one depth, every 45 degrees)".
fn change(exercise: &Exercise, change: Change) -> String {
    let what = match change {
        Change::Points { feature, .. } => {
            let name = exercise.features.get(feature).map_or("", |f| f.name.as_str());
            format!("points in place of {} on {name}", change.from(exercise))
        }
        Change::Touches { datum, .. } => format!("touches in place of {} on datum {datum}", change.from(exercise)),
    };
    format!("{} {what} ({})", change.to(), places_of(exercise, change))
}

/// What would bring a characteristic to what is stated.
fn mending(exercise: &Exercise, line: &Line) -> Option<String> {
    if line.is_reached() {
        return None;
    }
    let budget = line.budget.as_ref().ok()?;
    let decimals = if line.of.is_angle() { 3 } else { exercise.decimals };
    let begin = format!(
        "{}: U is {}, and {} is stated.",
        line.no,
        number(budget.expanded(), decimals),
        number(line.stated, decimals)
    );
    Some(match line.advice {
        Some(Advice {
            reaches: true,
            change: to,
            expanded,
            ..
        }) => format!(
            "{begin} With {} U is {}.",
            change(exercise, to),
            number(expanded, decimals)
        ),
        Some(Advice {
            change: to, expanded, ..
        }) => format!(
            "{begin} More touches in one place do not reach it: with {} U is {}. Most of it comes from {}",
            change(exercise, to),
            number(expanded, decimals),
            largest(budget)
        ),
        None => format!(
            "{begin} More touches do not reach it. Most of it comes from {}",
            largest(budget)
        ),
    })
}

/// The largest part, and what can be done about it.
fn largest(budget: &Budget) -> &'static str {
    let parts = [
        (
            budget.from_points(),
            "the repeatability of a touch: state a larger `expanded_uncertainty`.",
        ),
        (
            budget.from_frame(),
            "the frame: spread the touches of the datums further, or state a larger `expanded_uncertainty`.",
        ),
        (
            budget.tip,
            "the tip: qualify it with more touches, or state a larger `expanded_uncertainty`.",
        ),
        (
            budget.length,
            "the machine's error per length: state a larger `expanded_uncertainty` or `per_length`.",
        ),
        (
            budget.temperature,
            "temperature: hold it closer, or state a larger `expanded_uncertainty`.",
        ),
    ];
    parts
        .into_iter()
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map_or("", |(_, words)| words)
}

fn closing(exercise: &Exercise, plan: &Plan) -> String {
    let short: Vec<&str> = plan
        .lines
        .iter()
        .filter(|l| !l.is_reached())
        .map(|l| l.no.as_str())
        .collect();
    let no = |advice: &Advice| exercise.characteristics.get(advice.line).map_or("", |c| c.no.as_str());
    let Some(first) = &plan.first else {
        return if short.is_empty() {
            "Every characteristic reaches what is stated.".to_owned()
        } else {
            "No number of touches mends what is not reached.".to_owned()
        };
    };
    if short.is_empty() {
        let share = plan.lines.get(first.line).and_then(Line::share).unwrap_or(0.0) * 100.0;
        return format!(
            "Every characteristic reaches what is stated. The tightest that more touches ease is {}, at {share:.0} % of it: {} would \
             bring it to {:.0} %.",
            no(first),
            change(exercise, first.change),
            100.0 * first.expanded / plan.lines.get(first.line).map_or(f64::INFINITY, |l| l.stated)
        );
    }
    let mends = match first.mends {
        0 => "which mends none alone but does most".to_owned(),
        1 => "which mends one of them".to_owned(),
        n => format!("which mends {n} of them"),
    };
    format!(
        "Not reached: {}. First of all {}, {mends}.",
        short.join(", "),
        change(exercise, first.change)
    )
}
