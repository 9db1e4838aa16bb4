//! Times fits of the points in files, for `tests/bench-fits`. Each argument is a task and a file of little-endian doubles,
//! point by point; the answer is a line each: task, seconds a fit, and a length to compare the answers by.

use std::fs;
use std::hint::black_box;
use std::io::Write;
use std::time::Instant;

use platemark::metrology::fit::{self, FitError, zone};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for argument in std::env::args().skip(1) {
        let (task, file) = argument.split_once('=').ok_or("write TASK=FILE")?;
        let numbers: Vec<f64> = fs::read(file)?
            .chunks_exact(8)
            .map(|bytes| bytes.try_into().map(f64::from_le_bytes))
            .collect::<Result<_, _>>()?;
        let (seconds, length) = timed(task, &numbers)?;
        writeln!(std::io::stdout(), "{task} {seconds:e} {length:e}")?;
    }
    Ok(())
}

/// What is fitted stands before the first dot of a task's name.
fn timed(task: &str, numbers: &[f64]) -> Result<(f64, f64), FitError> {
    let flat = numbers.as_chunks::<2>().0;
    let space = numbers.as_chunks::<3>().0;
    match task.split('.').next().unwrap_or_default() {
        "circle2d" => best(|| Ok(fit::circle2d(black_box(flat))?.figure.radius)),
        "line2d" => best(|| Ok(fit::line2d(black_box(flat))?.form)),
        "plane" => best(|| Ok(fit::plane(black_box(space))?.rms())),
        "sphere" => best(|| Ok(fit::sphere(black_box(space))?.figure.radius)),
        "cylinder" => best(|| Ok(fit::cylinder(black_box(space), None)?.figure.radius)),
        "cone" => best(|| Ok(fit::cone(black_box(space), None)?.figure.half_angle)),
        "slot" => best(|| Ok(fit::slot(black_box(flat), None)?.figure.radius)),
        "minimum-zone-circle" => best(|| Ok(zone::minimum_zone_circle(black_box(flat))?.width)),
        "minimum-circumscribed" => best(|| Ok(zone::minimum_circumscribed_circle(black_box(flat))?.radius)),
        "maximum-inscribed" => best(|| Ok(zone::maximum_inscribed_circle(black_box(flat))?.radius)),
        "straightness" => best(|| Ok(zone::straightness(black_box(flat))?.width)),
        "flatness" => best(|| Ok(zone::flatness(black_box(space))?.width)),
        // One running sum over the array, as it is plainly written.
        "sum" => best(|| Ok(black_box(space).iter().flatten().sum())),
        // Each coordinate's sum apart, which the processor adds side by side: what reading the array once costs.
        _ => best(|| {
            let mut sums = [0.0; 3];
            for p in black_box(space) {
                for (sum, c) in sums.iter_mut().zip(p) {
                    *sum += c;
                }
            }
            Ok(black_box(sums)[0])
        }),
    }
}

/// Seconds a run of the fastest of some batches, each some milliseconds long, and the answer.
fn best(mut run: impl FnMut() -> Result<f64, FitError>) -> Result<(f64, f64), FitError> {
    let start = Instant::now();
    let mut answer = run()?;
    let once = start.elapsed().as_secs_f64().max(1e-9);
    let repeats = [1_u32, 10, 100, 1_000, 10_000]
        .into_iter()
        .filter(|n| f64::from(*n) * once < 0.02)
        .max()
        .unwrap_or(1);
    let mut least = f64::INFINITY;
    for _ in 0..25 {
        let start = Instant::now();
        for _ in 0..repeats {
            answer = run()?;
        }
        least = least.min(start.elapsed().as_secs_f64() / f64::from(repeats));
    }
    Ok((least, answer))
}
