//! Rough values that choose among several figures.

use std::str::FromStr;

use anyhow::{anyhow, bail};

use crate::metrology::fit::{Cone, Cylinder, Slot};

/// One name with its numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Nominal {
    name: String,
    numbers: Vec<f64>,
}

impl FromStr for Nominal {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let usage = || format!("`{text}`: write it as name=number or name=number,number,number");
        let (name, values) = text.split_once('=').ok_or_else(usage)?;
        let numbers: Option<Vec<f64>> = values.split(',').map(|value| value.trim().parse().ok()).collect();
        Ok(Nominal {
            name: name.trim().to_owned(),
            numbers: numbers.ok_or_else(usage)?,
        })
    }
}

/// All that were given.
pub(super) struct Nominals<'a>(pub(super) &'a [Nominal]);

impl Nominals<'_> {
    fn numbers<const D: usize>(&self, name: &str) -> anyhow::Result<[f64; D]> {
        let found = self.0.iter().find(|nominal| nominal.name == name);
        let found = found.ok_or_else(|| anyhow!("--nominal {name}=... is missing"))?;
        let numbers = found.numbers.as_slice().try_into().ok();
        numbers.ok_or_else(|| anyhow!("--nominal {name} takes {D} numbers, {} given", found.numbers.len()))
    }

    fn number(&self, name: &str) -> anyhow::Result<f64> {
        self.numbers::<1>(name).map(|[number]| number)
    }

    /// None were given, or only names that this figure has.
    fn given(&self, names: &[&str]) -> anyhow::Result<bool> {
        if let Some(other) = self.0.iter().find(|nominal| !names.contains(&nominal.name.as_str())) {
            bail!("--nominal {}: this figure has {}", other.name, names.join(", "));
        }
        Ok(!self.0.is_empty())
    }

    pub(super) fn cylinder(&self) -> anyhow::Result<Option<Cylinder>> {
        if !self.given(&["point", "direction", "radius"])? {
            return Ok(None);
        }
        let (point, direction) = (self.numbers("point")?, self.numbers("direction")?);
        Ok(Some(Cylinder {
            point,
            direction,
            radius: self.number("radius")?,
        }))
    }

    pub(super) fn cone(&self) -> anyhow::Result<Option<Cone>> {
        if !self.given(&["point", "direction", "radius", "half_angle"])? {
            return Ok(None);
        }
        let (point, direction) = (self.numbers("point")?, self.numbers("direction")?);
        let half_angle = self.number("half_angle")?.to_radians();
        Ok(Some(Cone {
            point,
            direction,
            radius: self.number("radius")?,
            half_angle,
        }))
    }

    pub(super) fn slot(&self) -> anyhow::Result<Option<Slot>> {
        if !self.given(&["center", "angle", "half_length", "radius"])? {
            return Ok(None);
        }
        let (sin, cos) = self.number("angle")?.to_radians().sin_cos();
        Ok(Some(Slot {
            centre: self.numbers("center")?,
            direction: [cos, sin],
            half_length: self.number("half_length")?,
            radius: self.number("radius")?,
        }))
    }
}
