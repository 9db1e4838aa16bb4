//! Length at 20 C, the reference temperature of ISO 1.

use serde::Serialize;

/// The reference temperature in degrees Celsius (ISO 1).
const REFERENCE_C: f64 = 20.0;

/// A body with its expansion: coefficient per kelvin, temperature in degrees Celsius.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thermal {
    /// Linear expansion per kelvin; 11.5e-6 for steel.
    pub per_kelvin: f64,
    /// Temperature in degrees Celsius.
    pub celsius: f64,
}

impl Thermal {
    /// Relative growth since 20 C.
    fn growth(self) -> f64 {
        self.per_kelvin * (self.celsius - REFERENCE_C)
    }
}

/// A length reduced to 20 C, in its own unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LengthAt20 {
    /// By the exact form L (1 + growth of the scale) / (1 + growth of the part).
    pub length: f64,
    /// By the linear form L (1 + growth of the scale) (1 - growth of the part).
    pub linear: f64,
    /// Exact length less measured length, worked out without cancellation.
    pub correction: f64,
}

/// Reduces a measured length to 20 C. Without a scale of its own the measurement counts as made at 20 C by the scale:
/// only the part expands. `None` when a part would shrink to nothing, or an input is no finite number.
#[must_use]
pub fn length_at_20(measured: f64, part: Thermal, scale: Option<Thermal>) -> Option<LengthAt20> {
    let (part, scale) = (part.growth(), scale.map_or(0.0, Thermal::growth));
    if !(measured.is_finite() && part.is_finite() && scale.is_finite() && part > -1.0) {
        return None;
    }
    let correction = measured * (scale - part) / (1.0 + part);
    Some(LengthAt20 {
        length: measured + correction,
        linear: measured * (1.0 + scale) * (1.0 - part),
        correction,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_shrink_back_to_20_degrees() {
        // Source: National Physical Laboratory (UK), length FAQ: 500.035 mm at 23.7 C, 11.7e-6 per kelvin, is 500.013 mm;
        // tolerance half the last printed place.
        let found = length_at_20(
            500.035,
            Thermal {
                per_kelvin: 11.7e-6,
                celsius: 23.7,
            },
            None,
        )
        .unwrap();
        assert!((found.linear - 500.013).abs() <= 0.0005);
        let same = Thermal {
            per_kelvin: 11.5e-6,
            celsius: 31.0,
        };
        let found = length_at_20(75.0, same, Some(same)).unwrap();
        assert!((found.length - 75.0).abs() < 1e-15 && found.correction.abs() < 1e-300);
        assert_eq!(length_at_20(f64::NAN, same, None), None);
        assert_eq!(
            length_at_20(
                1.0,
                Thermal {
                    per_kelvin: -1.0,
                    celsius: 21.0
                },
                None
            ),
            None
        );
    }
}
