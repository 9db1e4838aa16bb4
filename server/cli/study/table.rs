//! The tables of the benchmark.

use std::collections::BTreeSet;
use std::io::Write;
use std::time::Duration;

use super::Rows;
use super::judge::Outcome;
use super::rows::{Mix, Row};
use crate::cohort::agreement::wilson;
use crate::cohort::count;

const CONFIDENCE: f64 = 0.95;

/// A share with its 95 % Wilson interval, in per cent.
fn share(found: u64, all: u64) -> String {
    wilson(found, all, CONFIDENCE).map_or_else(
        |_| "-".to_owned(),
        |p| {
            format!(
                "{:.2} ({:.2} to {:.2})",
                100.0 * p.value,
                100.0 * p.lower,
                100.0 * p.upper
            )
        },
    )
}

/// The value below which this part of the sorted times lies, in milliseconds.
fn quantile(times: &[Duration], part: f64) -> f64 {
    let places = u32::try_from(times.len()).unwrap_or(u32::MAX);
    let wanted = part * f64::from(places);
    let mut below = 0_u32;
    for time in times {
        below += 1;
        if f64::from(below) >= wanted {
            return time.as_secs_f64() * 1e3;
        }
    }
    times.last().map_or(0.0, |t| t.as_secs_f64() * 1e3)
}

pub(super) fn print(rows: &Rows, out: &mut dyn Write) -> std::io::Result<()> {
    writeln!(
        out,
        "{:<28} {:>7} {:>26} {:>22} {:>9} {:>11} {:>6}  {:>20}  {:>22}",
        "reports",
        "number",
        "right %",
        "another stated %",
        "suspected",
        "unexplained",
        "clean",
        "ms median, p99, max",
        "data snooping right, wrong %"
    )?;
    for (name, row) in &rows.named {
        line(name, row, out)?;
    }
    writeln!(out, "One fault, by family")?;
    for (family, row) in &rows.singles {
        line(family.code(), row, out)?;
    }
    writeln!(
        out,
        "Left out by the search (bound by the linear ranks), and hypotheses weighed at most"
    )?;
    for (name, row) in &rows.named {
        let mut left = row.left_out.clone();
        left.sort_unstable_by(f64::total_cmp);
        let at = |of: usize, parts: usize| left.get((left.len() * of / parts).min(left.len().saturating_sub(1)));
        let shown = |v: Option<&f64>| v.map_or_else(|| "-".to_owned(), |v| format!("{v:.1e}"));
        writeln!(
            out,
            "  {name:<26} median {}, 95 % {}, most {}; {} weighed",
            shown(at(1, 2)),
            shown(at(19, 20)),
            shown(left.last()),
            row.weighed
        )?;
    }
    confusion(rows, out)?;
    mix(&rows.mix, out)?;
    calibration(&rows.mix.stated, out)?;
    writeln!(out)
}

fn line(name: &str, row: &Row, out: &mut dyn Write) -> std::io::Result<()> {
    let all = row.all();
    // A clean report is right when nothing is stated.
    let clean = name.starts_with("clean");
    let right = if clean {
        row.of(&[Outcome::Clean, Outcome::Suspected, Outcome::Unexplained])
    } else {
        row.of(&[Outcome::Right, Outcome::EqualEffect, Outcome::NamedTogether])
    };
    let mut times = row.times.clone();
    times.sort_unstable();
    let [right_snooped, wrong_snooped, snooped] = row.snooped;
    let percent = |n: u64| share(n, snooped).split(' ').next().unwrap_or("-").to_owned();
    writeln!(
        out,
        "{name:<28} {all:>7} {:>26} {:>22} {:>9} {:>11} {:>6}  {:>6.2} {:>6.2} {:>6.1}  {:>12} {:>9}{}",
        share(right, all),
        share(row.of(&[Outcome::Wrong]), all),
        row.of(&[Outcome::Suspected]),
        row.of(&[Outcome::Unexplained]),
        row.of(&[Outcome::Clean]),
        quantile(&times, 0.5),
        quantile(&times, 0.99),
        quantile(&times, 1.0),
        percent(right_snooped),
        percent(wrong_snooped),
        if row.below > 0 {
            format!("  ({} draws below the identifiable size)", row.below)
        } else {
            String::new()
        },
    )
}

/// What was named where another family was true; what was right is left out.
fn confusion(rows: &Rows, out: &mut dyn Write) -> std::io::Result<()> {
    writeln!(out, "True family, and what was said")?;
    let families: BTreeSet<_> = rows.confused.keys().map(|(f, _)| *f).collect();
    for family in families {
        let said: Vec<String> = rows
            .confused
            .iter()
            .filter(|((f, _), _)| *f == family)
            .map(|((_, said), n)| format!("{said} {n}"))
            .collect();
        writeln!(out, "  {:<24} {}", family.code(), said.join(", "))?;
    }
    Ok(())
}

/// What becomes of reports as the priors have them, those below the identifiable size by themselves.
fn mix(mix: &Mix, out: &mut dyn Write) -> std::io::Result<()> {
    let all = mix.all();
    if all.all() == 0 {
        return Ok(());
    }
    writeln!(out, "Drawn from the priors, small effects included")?;
    writeln!(
        out,
        "  {:<36} {:>7} {:>7} {:>10} {:>12} {:>13}  {:>21}",
        "", "reports", "clean", "suspected", "unexplained", "stated right", "another stated %"
    )?;
    let rows = [
        ("without a fault", &mix.clean),
        ("faults above the identifiable size", &mix.above),
        ("a fault below it", &mix.below),
        ("all", &all),
    ];
    for (name, row) in rows {
        writeln!(
            out,
            "  {name:<36} {:>7} {:>7} {:>10} {:>12} {:>13}  {:>21}",
            row.all(),
            row.of(&[Outcome::Clean]),
            row.of(&[Outcome::Suspected, Outcome::NamedTogether]),
            row.of(&[Outcome::Unexplained]),
            row.of(&[Outcome::Right, Outcome::EqualEffect]),
            share(row.of(&[Outcome::Wrong]), row.all()),
        )?;
    }
    let faulty = mix.above.all() + mix.below.all();
    writeln!(
        out,
        "  Of {faulty} reports with a fault {} have one below the identifiable size: {} %.",
        mix.below.all(),
        share(mix.below.all(), faulty)
    )
}

/// Edges of the bins of stated probability.
const BINS: [f64; 7] = [0.0, 0.92, 0.95, 0.98, 0.99, 0.999, 1.1];
/// Within which the stated probability and the share right should agree.
const CALIBRATED: f64 = 0.02;

/// Of those stated at a probability, how many were right; and the mean difference over all bins.
fn calibration(stated: &[(f64, bool)], out: &mut dyn Write) -> std::io::Result<()> {
    if stated.is_empty() {
        return Ok(());
    }
    writeln!(out, "Calibration on that draw: of those stated at p, right")?;
    writeln!(
        out,
        "  {:<16} {:>7} {:>8} {:>24} {:>11}",
        "p", "reports", "mean p %", "right %", "difference"
    )?;
    let mut off = 0.0;
    for edges in BINS.windows(2) {
        let &[from, to] = edges else { continue };
        let these: Vec<&(f64, bool)> = stated.iter().filter(|(p, _)| *p >= from && *p < to).collect();
        if these.is_empty() {
            continue;
        }
        let right = these.iter().filter(|(_, right)| *right).count();
        let n = count(these.len());
        let mean = these.iter().map(|(p, _)| p).sum::<f64>() / n;
        let difference = count(right) / n - mean;
        off += difference.abs() * n / count(stated.len());
        let whole = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
        writeln!(
            out,
            "  {:<16} {:>7} {:>8.2} {:>24} {:>+11.2}",
            format!("{:.3} to {:.3}", from.max(0.9), to.min(1.0)),
            these.len(),
            100.0 * mean,
            share(whole(right), whole(these.len())),
            100.0 * difference,
        )?;
    }
    let within = if off <= CALIBRATED { "within" } else { "NOT within" };
    writeln!(
        out,
        "  Mean difference over the bins: {:.2} %, {within} {:.0} % ({} stated).",
        100.0 * off,
        100.0 * CALIBRATED,
        stated.len()
    )
}
