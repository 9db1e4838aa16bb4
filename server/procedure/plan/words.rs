//! Where touches go, in words.

use crate::exercise::model::Shape;

/// How so many touches are spread on a figure: as the points of a virtual plate are.
#[must_use]
pub fn places(shape: &Shape, count: u32) -> String {
    match shape {
        Shape::Point { .. } => "at the same place".to_owned(),
        Shape::Line { .. } => "evenly from end to end".to_owned(),
        Shape::Plane { .. } => face(count),
        Shape::Circle { .. } => format!("at one depth, {}", around(count)),
        Shape::Slot { .. } => {
            let sides = count.saturating_sub(2);
            format!(
                "one at either end, {} and {} along the sides",
                sides.div_ceil(2),
                sides / 2
            )
        }
        Shape::Cylinder { .. } => rings(count, "a quarter and three quarters of the way down"),
        Shape::Cone { .. } => rings(count, "near the edge and near the bottom"),
        Shape::Sphere { .. } => format!("one on the pole, {} around it", count.saturating_sub(1)),
    }
}

fn around(count: u32) -> String {
    match count {
        odd if odd > 4 && !odd.is_multiple_of(2) => format!("{} and one between", around(odd - 1)),
        4 => "at quarter turns".to_owned(),
        n => format!("every {:.0} degrees", 360.0 / f64::from(n.max(1))),
    }
}

fn rings(count: u32, heights: &str) -> String {
    let odd = if count.is_multiple_of(2) {
        ""
    } else {
        " and one between"
    };
    format!("in two rings of {}{odd}, {heights}", count / 2)
}

/// A grid as square as the count allows, as the touches of a virtual plate are laid.
fn face(count: u32) -> String {
    let divisor = |n: u32| (2..=n).rev().find(|d| d * d <= n && n.is_multiple_of(*d));
    match divisor(count) {
        Some(rows) => format!("in {rows} rows of {}, the edges left out", count / rows),
        None if count > 4 => {
            let rows = divisor(count - 1).unwrap_or(1);
            format!(
                "in {rows} rows of {} and one in the middle, the edges left out",
                (count - 1) / rows
            )
        }
        None => "in a triangle as wide as the face".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal::Decimal;

    use super::*;

    #[test]
    fn counts_are_laid_out() {
        let circle = Shape::Circle {
            at: [Decimal::ZERO; 3],
            diameter: Decimal::TEN,
            depth: None,
        };
        assert_eq!(places(&circle, 4), "at one depth, at quarter turns");
        assert_eq!(places(&circle, 8), "at one depth, every 45 degrees");
        assert_eq!(places(&circle, 5), "at one depth, at quarter turns and one between");
        assert_eq!(face(9), "in 3 rows of 3, the edges left out");
        assert_eq!(face(7), "in 2 rows of 3 and one in the middle, the edges left out");
        assert_eq!(face(3), "in a triangle as wide as the face");
        assert_eq!(rings(9, "x"), "in two rings of 4 and one between, x");
    }
}
