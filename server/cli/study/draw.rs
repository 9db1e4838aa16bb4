//! Faults drawn for the benchmark, from the priors of the project's page of diagnosis and without the code that is
//! tested.

use crate::exercise::model::{Axis, Exercise, Owner, Quantity};
use crate::exercise::names::{BalloonNo, Serial};
use crate::grading::diagnosis::priors::Priors;
use crate::procedure::fault::{Family, Fault, PlanAxis, QuarterTurn};
use crate::procedure::model::{Model, PlateIndex};
use crate::procedure::sampler::Sampler;
use crate::units::{Reading, decimal_to_f64};

/// What faults are drawn for.
pub(super) struct Bench<'a> {
    pub(super) exercise: &'a Exercise,
    pub(super) model: &'a Model,
    pub(super) serials: &'a [Serial],
    pub(super) priors: &'a Priors,
}

fn one<T: Clone>(sampler: &mut Sampler, of: &[T]) -> Option<T> {
    of.get(sampler.below(of.len())).cloned()
}

impl Bench<'_> {
    fn mm(&self) -> f64 {
        1.0 / self.exercise.units.mm_per_unit_f64()
    }

    fn numbers(&self, which: impl Fn(usize) -> bool) -> Vec<BalloonNo> {
        let all = self.exercise.characteristics.iter().enumerate();
        all.filter(|(i, _)| which(*i)).map(|(_, c)| c.no.clone()).collect()
    }

    /// All, or one run of at least `shortest`, evenly.
    fn run(sampler: &mut Sampler, of: &[BalloonNo], shortest: usize) -> Option<Vec<BalloonNo>> {
        if of.len() < shortest {
            return None;
        }
        if sampler.chance(0.5) {
            return Some(of.to_vec());
        }
        let length = shortest + sampler.below(of.len() - shortest + 1);
        let from = sampler.below(of.len() - length + 1);
        Some(of[from..from + length].to_vec())
    }

    /// One fault of the family on a plate; `None` where the exercise has no room for it.
    pub(super) fn fault(&self, family: Family, serial: &Serial, sampler: &mut Sampler) -> Option<Fault> {
        let axes = [Axis::X, Axis::Y, Axis::Z];
        let datum = |s: &mut Sampler| one(s, &self.exercise.datum_frame.all().map(|d| d.letter));
        Some(match family {
            Family::OriginShift => Fault::OriginShift {
                axis: one(sampler, &axes)?,
                amount: sampler.normal() * self.priors.shift_mm * self.mm(),
            },
            Family::MistakenSurface => {
                let m = one(sampler, &self.exercise.mistaken_surfaces)?;
                Fault::MistakenSurface {
                    datum: m.instead_of,
                    name: m.name,
                }
            }
            Family::OppositeCorner => Fault::OppositeCorner {
                axis: one(sampler, &PlanAxis::ALL)?,
            },
            Family::FrameRotated => Fault::FrameRotated {
                angle_deg: sampler.normal() * self.priors.angle_deg,
            },
            Family::FrameTilted => Fault::FrameTilted {
                about: one(sampler, &PlanAxis::ALL)?,
                angle_deg: sampler.normal() * self.priors.angle_deg,
            },
            Family::PartTurned => Fault::PartTurned {
                angle_deg: one(sampler, &QuarterTurn::ALL)?,
            },
            Family::AxesExchanged => Fault::AxesExchanged {},
            Family::AxisReversed => Fault::AxisReversed {
                axis: one(sampler, &axes)?,
            },
            Family::TipIgnoredOnDatum => Fault::TipIgnoredOnDatum { datum: datum(sampler)? },
            Family::TipIgnoredOnSize => Fault::TipIgnoredOnSize {},
            Family::TipIgnoredOnSurface => Fault::TipIgnoredOnSurface {},
            Family::TipWrong => Fault::TipWrong {
                amount: sampler.normal() * self.priors.tip_mm * self.mm(),
            },
            Family::Temperature => Fault::Temperature {
                ppm: sampler.normal() * self.priors.ppm,
            },
            _ => return self.writing(family, serial, sampler),
        })
    }

    /// A fault with its free amount moved a little; `None` where it has none.
    pub(super) fn moved(&self, fault: &Fault) -> Option<Fault> {
        let mut fault = fault.clone();
        match &mut fault {
            Fault::OriginShift { amount, .. } => *amount += 1e-3 * self.priors.shift_mm * self.mm(),
            Fault::TipWrong { amount } => *amount += 1e-3 * self.priors.tip_mm * self.mm(),
            Fault::FrameRotated { angle_deg } | Fault::FrameTilted { angle_deg, .. } => {
                *angle_deg += 1e-3 * self.priors.angle_deg;
            }
            Fault::Temperature { ppm } => *ppm += 0.1 * self.priors.ppm,
            _ => return None,
        }
        Some(fault)
    }

    fn writing(&self, family: Family, serial: &Serial, sampler: &mut Sampler) -> Option<Fault> {
        let cs = &self.exercise.characteristics;
        let nominal = |i: usize| decimal_to_f64(cs[i].nominal).abs() > 0.0;
        let item = |s: &mut Sampler| one(s, &self.numbers(|_| true));
        Some(match family {
            Family::WrongUnit => {
                let inch = self.exercise.units == crate::units::LengthUnit::Inch;
                Fault::WrongUnit {
                    factor: if inch { 25.4 } else { 1.0 / 25.4 },
                }
            }
            Family::RadiusForDiameter => Fault::RadiusForDiameter {
                items: Self::run(sampler, &self.numbers(|i| cs[i].of == Quantity::Diameter), 1)?,
            },
            Family::DeviationForValue => Fault::DeviationForValue {
                items: Self::run(sampler, &self.numbers(nominal), 1)?,
            },
            Family::NominalsCopied => Fault::NominalsCopied {
                items: Self::run(sampler, &self.numbers(|_| true), 3)?,
            },
            Family::FeaturesExchanged => self.exchanged(sampler)?,
            Family::WrongPlate => {
                let others: Vec<Serial> = self.serials.iter().filter(|s| *s != serial).cloned().collect();
                Fault::WrongPlate {
                    serial: one(sampler, &others)?,
                }
            }
            Family::DigitsTransposed => self.digits(serial, sampler)?,
            Family::DecimalSlipped => Fault::DecimalSlipped {
                item: item(sampler)?,
                power: one(sampler, &[-2, -1, 1, 2])?,
            },
            Family::SignDropped => Fault::SignDropped { item: item(sampler)? },
            Family::GrossError => self.gross(sampler)?,
            _ => return None,
        })
    }

    fn exchanged(&self, sampler: &mut Sampler) -> Option<Fault> {
        let features = &self.exercise.features;
        let has = |f: usize, of: Quantity| {
            let mut all = self.exercise.characteristics.iter();
            all.any(|c| c.owner == Owner::Feature(f) && c.of == of)
        };
        let mut pairs = Vec::new();
        for a in 0..features.len() {
            for b in a + 1..features.len() {
                if Quantity::ALL.iter().any(|(_, q)| has(a, *q) && has(b, *q)) {
                    pairs.push((a, b));
                }
            }
        }
        let (a, b) = one(sampler, &pairs)?;
        Some(Fault::FeaturesExchanged {
            a: features[a].key.clone(),
            b: features[b].key.clone(),
        })
    }

    fn digits(&self, serial: &Serial, sampler: &mut Sampler) -> Option<Fault> {
        let plate: PlateIndex = self.model.plate(serial).ok()?;
        let values = self.model.predict(plate, &[]).ok()?;
        let line = sampler.below(values.len());
        let written = Reading::from_f64(values.get(line).copied().flatten()?, self.exercise.decimals)?;
        let places: Vec<i32> = crate::procedure::slips::transpositions(&written)
            .into_iter()
            .map(|(p, _)| p)
            .collect();
        Some(Fault::DigitsTransposed {
            item: self.exercise.characteristics[line].no.clone(),
            place: Some(one(sampler, &places)?),
        })
    }

    fn gross(&self, sampler: &mut Sampler) -> Option<Fault> {
        let c = one(sampler, &self.exercise.characteristics)?;
        let u = decimal_to_f64(c.u_lab);
        let (from, to) = (10.0 * u, (5.0 * self.mm()).max(30.0 * u));
        let size = from * (to / from).powf(sampler.uniform());
        // A form or position is never negative, so that its error is one upwards.
        let up = c.of.is_geometrical() || sampler.chance(0.5);
        Some(Fault::GrossError {
            item: c.no,
            amount: Some(if up { size } else { -size }),
        })
    }
}
