//! Why there is no proposal, said with the nearest that there is.

use rust_decimal::Decimal;
use thiserror::Error;

use super::choose::{Ability, Tally, Wish, choose};
use super::search::Bench;
use super::{Aims, PlateSeed, ROUNDS};
use crate::exercise::model::Exercise;

/// An aim, by its word in the form and on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Aim {
    /// How many.
    Copies,
    /// Out of the limits on each.
    Nonconforming,
    /// Close to a limit on each.
    Close,
    /// What close is.
    Share,
    /// Numbers in which two copies differ.
    Apart,
    /// Step of a length.
    Step,
    /// Step of an angle.
    AngleStep,
    /// Thinnest wall.
    Wall,
    /// U of what the shop makes.
    ShopUncertainty,
}

impl Aim {
    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Copies => "copies",
            Self::Nonconforming => "nonconforming",
            Self::Close => "close",
            Self::Share => "share",
            Self::Apart => "apart",
            Self::Step => "step",
            Self::AngleStep => "angle_step",
            Self::Wall => "wall",
            Self::ShopUncertainty => "shop_uncertainty",
        }
    }
}

/// Why there is no proposal, with the nearest that there is.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CannotPropose {
    /// An aim makes no sense by itself.
    #[error("{what}")]
    Alone {
        /// Which.
        aim: Aim,
        /// What is wrong with it, and what can be.
        what: String,
    },
    /// More nonconforming or close ones than the exercise has room for.
    #[error(
        "{nonconforming} nonconforming and {close} close cannot be made on one copy of this exercise; the nearest that can \
         are {can_nonconforming} nonconforming and {can_close} close"
    )]
    Counts {
        /// Wanted.
        nonconforming: usize,
        /// Wanted.
        close: usize,
        /// Possible.
        can_nonconforming: usize,
        /// Possible.
        can_close: usize,
    },
    /// Steps in which nothing comes out right.
    #[error(
        "no copy can be made in steps of {step}: {}",
        match can { Some(can) => format!("{can} is the coarsest that can"), None => "make the tolerances wider".to_owned() }
    )]
    Coarse {
        /// Of lengths or of angles.
        aim: Aim,
        /// Wanted.
        step: Decimal,
        /// Possible; of the steps 1, 2, 5 and their tenths.
        can: Option<Decimal>,
    },
    /// Copies that a report could not tell apart.
    #[error(
        "with {characteristics} characteristics and {copies} {} two copies would be alike (fewer than {apart} characteristics \
         more than 3 U apart); {}",
        if *copies == 1 { "copy" } else { "copies" },
        nearest_alike(*copies, *most, *can_apart)
    )]
    Alike {
        /// Characteristics of the exercise.
        characteristics: usize,
        /// Wanted.
        copies: usize,
        /// Wanted.
        apart: usize,
        /// As many as were found.
        most: usize,
        /// Characteristics apart with which all copies that are wanted can be had; 0 where none.
        can_apart: usize,
    },
    /// No serial number is left, or the code is too long for one.
    #[error("no serial number can be made for these copies")]
    Serials,
}

fn nearest_alike(copies: usize, most: usize, can_apart: usize) -> String {
    let most = match most {
        0 => "none more can be told from the plates that there are".to_owned(),
        1 => "one copy is the most".to_owned(),
        most => format!("{most} copies are the most"),
    };
    match can_apart {
        0 => most,
        1 => format!("{most}, or {copies} that are 1 characteristic apart"),
        can => format!("{most}, or {copies} that are {can} characteristics apart"),
    }
}

impl CannotPropose {
    /// The aim that stands in the way.
    #[must_use]
    pub const fn aim(&self) -> Aim {
        match self {
            Self::Alone { aim, .. } | Self::Coarse { aim, .. } => *aim,
            Self::Counts {
                close,
                nonconforming,
                can_nonconforming,
                ..
            } if *close > 0 && *nonconforming == *can_nonconforming => Aim::Close,
            Self::Counts { .. } => Aim::Nonconforming,
            Self::Alike { .. } | Self::Serials => Aim::Copies,
        }
    }
}

/// Whether every aim makes sense by itself.
pub(super) fn sensible(exercise: &Exercise, aims: &Aims) -> Result<(), CannotPropose> {
    let all = exercise.characteristics.len();
    let wrong = |aim: Aim, what: String| Err(CannotPropose::Alone { aim, what });
    if aims.copies == 0 || aims.copies > super::MOST_COPIES {
        let what = format!(
            "{} copies: 1 to {} can be proposed at once",
            aims.copies,
            super::MOST_COPIES
        );
        return wrong(Aim::Copies, what);
    }
    for (aim, count, words) in [
        (Aim::Nonconforming, aims.nonconforming, "nonconforming"),
        (Aim::Close, aims.close, "close to a limit"),
        (Aim::Apart, aims.apart, "apart"),
    ] {
        if count > all {
            let what = format!("{count} {words}: the exercise has {all} characteristics, so {all} are the most");
            return wrong(aim, what);
        }
    }
    if aims.share <= Decimal::ZERO || aims.share > Decimal::new(5, 1) {
        let percent = (aims.share * Decimal::ONE_HUNDRED).normalize();
        let share = aims.share.normalize();
        let what = format!("a share of {share} ({percent} per cent) is not close: above 0, up to 0.5 (50 per cent)");
        return wrong(Aim::Share, what);
    }
    for (aim, step) in [(Aim::Step, aims.step), (Aim::AngleStep, aims.angle_step)] {
        if step <= Decimal::ZERO {
            return wrong(aim, "a step of the shop must be above zero".to_owned());
        }
        if step.scale() > 6 {
            let what = "a step of the shop has six places at most: 0.000001 is the finest".to_owned();
            return wrong(aim, what);
        }
    }
    if aims.wall < Decimal::ZERO {
        return wrong(Aim::Wall, "a wall is never below zero".to_owned());
    }
    if aims.shop_uncertainty.is_some_and(|u| u < Decimal::ZERO) {
        return wrong(Aim::ShopUncertainty, "an uncertainty is never below zero".to_owned());
    }
    Ok(())
}

/// The nearest numbers of nonconforming and close ones that one copy can have, or the coarsest step in which there is any.
pub(super) fn nearest(bench: &Bench<'_>, aims: &Aims, able: &[Ability], seed: PlateSeed) -> CannotPropose {
    let total = aims.nonconforming + aims.close;
    for less in 1..=total {
        // What is taken off the close ones first keeps the number of faults to be found.
        for off_close in (0..=less.min(aims.close)).rev() {
            let off = less - off_close;
            if off > aims.nonconforming {
                continue;
            }
            let (nonconforming, close) = (aims.nonconforming - off, aims.close - off_close);
            if is_possible(bench, able, nonconforming, close, seed) {
                return CannotPropose::Counts {
                    nonconforming: aims.nonconforming,
                    close: aims.close,
                    can_nonconforming: nonconforming,
                    can_close: close,
                };
            }
        }
    }
    coarse(bench.exercise, aims, seed)
}

/// Whether one copy can have so many nonconforming and close ones.
fn is_possible(bench: &Bench<'_>, able: &[Ability], nonconforming: usize, close: usize, seed: PlateSeed) -> bool {
    let tally = Tally::new(able.len());
    let mut sampler = seed.stream(ROUNDS);
    (0..4).any(|looseness| {
        let wish = Wish {
            nonconforming,
            close,
            looseness,
        };
        choose(bench.exercise, able, &tally, wish, &mut sampler)
            .is_some_and(|wanted| bench.make(&wanted, &mut sampler).is_some())
    })
}

/// Which of the two steps is too coarse, and the coarsest that is not.
fn coarse(exercise: &Exercise, aims: &Aims, seed: PlateSeed) -> CannotPropose {
    let can = |aims: &Aims| {
        let Ok(bench) = super::bench(exercise, aims) else {
            return false;
        };
        let able = super::able(&bench);
        is_possible(&bench, &able, aims.nonconforming, aims.close, seed)
    };
    let lengths = finer(aims.step).find(|step| {
        can(&Aims {
            step: *step,
            ..aims.clone()
        })
    });
    let angles = || {
        finer(aims.angle_step).find(|angle_step| {
            can(&Aims {
                angle_step: *angle_step,
                ..aims.clone()
            })
        })
    };
    if let (None, Some(can)) = (lengths, angles()) {
        return CannotPropose::Coarse {
            aim: Aim::AngleStep,
            step: aims.angle_step,
            can: Some(can),
        };
    }
    CannotPropose::Coarse {
        aim: Aim::Step,
        step: aims.step,
        can: lengths,
    }
}

/// Steps of 1, 2, 5 and their tenths that are finer, coarsest first, down to a tenthousandth of it.
fn finer(step: Decimal) -> impl Iterator<Item = Decimal> {
    let tenths = (0..=6_u32)
        .rev()
        .flat_map(|up| [5_i64, 2, 1].map(|n| Decimal::from(n * 10_i64.pow(up))));
    let parts = (1..=6_u32).flat_map(|places| [5_i64, 2, 1].map(|n| Decimal::new(n, places)));
    let least = step / Decimal::from(10_000);
    tenths.chain(parts).filter(move |s| *s < step && *s >= least)
}

/// The most characteristics apart with which a count can be reached, by halving between none and what is wanted; 0 where
/// none is found.
pub(super) fn most_apart(wanted: usize, reaches: impl Fn(usize) -> bool) -> usize {
    let (mut can, mut cannot) = (0, wanted);
    while can + 1 < cannot {
        let middle = can.midpoint(cannot);
        if reaches(middle) {
            can = middle;
        } else {
            cannot = middle;
        }
    }
    can
}
