//! Several like holes at once: around a circle, in a row, in a grid.

use rust_decimal::Decimal;

use super::propose::{fields, number};
use super::{Form, text};
use crate::units::{decimal_from_f64, decimal_to_f64};

/// What is typed for them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LikeHoles {
    /// `circle`, `row` or `grid`.
    pub arrangement: String,
    /// Around this place, or from it on.
    pub from: [String; 2],
    /// Of a circle: its diameter.
    pub circle: String,
    /// Of a circle: the angle of the first hole from X, degrees.
    pub first: String,
    /// Of a row or grid: from one to the next.
    pub step: [String; 2],
    /// How many; of a grid along X.
    pub count: String,
    /// Of a grid: how many along Y.
    pub rows: String,
    /// Diameter of each hole.
    pub diameter: String,
    /// Depth; empty for through.
    pub depth: String,
    /// What they are called, before their numbers.
    pub name: String,
    /// Tolerance of the diameter; empty for the general one.
    pub size: String,
    /// Tolerance of the place: of X and Y, or `max` of the position.
    pub place: String,
}

/// Holes at once at most.
const MOST: u32 = 64;

type Wrong = (&'static str, String);

fn count(field: &'static str, typed: &str) -> Result<u32, Wrong> {
    let read = typed.trim().parse::<u32>().ok().filter(|n| (1..=MOST).contains(n));
    read.ok_or_else(|| (field, format!("Write a whole number from 1 to {MOST}.")))
}

fn length(field: &'static str, typed: &str) -> Result<Decimal, Wrong> {
    number(typed).ok_or_else(|| {
        (
            field,
            "Write a number with a point and without a unit, as in 12.5.".to_owned(),
        )
    })
}

impl LikeHoles {
    /// Where the holes are.
    ///
    /// # Errors
    /// The field that cannot be read, and how to mend it.
    fn places(&self, decimals: u32) -> Result<Vec<[Decimal; 2]>, Wrong> {
        let from = [length("like-x", &self.from[0])?, length("like-y", &self.from[1])?];
        if self.arrangement == "circle" {
            let n = count("like-count", &self.count)?;
            let radius = length("like-circle", &self.circle)? / Decimal::TWO;
            let first = if self.first.trim().is_empty() {
                Decimal::ZERO
            } else {
                length("like-first", &self.first)?
            };
            let (radius, first) = (decimal_to_f64(radius), decimal_to_f64(first));
            let around = |middle: Decimal, by: f64| {
                let off = decimal_from_f64(by).unwrap_or_default();
                (middle + off).round_dp(decimals).normalize()
            };
            let at = |i: u32| {
                let (sin, cos) = (first + 360.0 / f64::from(n) * f64::from(i)).to_radians().sin_cos();
                [around(from[0], radius * cos), around(from[1], radius * sin)]
            };
            return Ok((0..n).map(at).collect());
        }
        let step = |i: usize, field: &'static str, needed: bool| match self.step.get(i).map(|s| s.trim()) {
            Some("") | None if !needed => Ok(Decimal::ZERO),
            typed => length(field, typed.unwrap_or("")),
        };
        let columns = count("like-count", &self.count)?;
        let grid = self.arrangement == "grid";
        let steps = [step(0, "like-step-x", grid)?, step(1, "like-step-y", grid)?];
        let on = |i: usize, k: u32| (from[i] + steps[i] * Decimal::from(k)).normalize();
        if !grid {
            if steps.iter().all(Decimal::is_zero) {
                return Err((
                    "like-step-x",
                    "Write how far it is from one hole to the next.".to_owned(),
                ));
            }
            return Ok((0..columns).map(|k| [on(0, k), on(1, k)]).collect());
        }
        let rows = count("like-rows", &self.rows)?;
        if columns * rows > MOST {
            return Err((
                "like-rows",
                format!("That makes {} holes; at most {MOST} are made at once.", columns * rows),
            ));
        }
        Ok((0..rows)
            .flat_map(|r| (0..columns).map(move |k| (k, r)))
            .map(|(k, r)| [on(0, k), on(1, r)])
            .collect())
    }
}

impl Form {
    /// Adds like holes; gives how many.
    ///
    /// # Errors
    /// The field that cannot be read, and how to mend it; then nothing is added.
    pub fn add_like_holes(&mut self, like: &LikeHoles) -> Result<usize, Wrong> {
        let decimals = text(&self.head, "decimals").trim().parse().unwrap_or(3);
        let places = like.places(decimals)?;
        length("like-diameter", &like.diameter)?;
        if !like.depth.trim().is_empty() {
            length("like-depth", &like.depth)?;
        }
        let stem = if like.name.trim().is_empty() {
            "Hole"
        } else {
            like.name.trim()
        };
        let tolerance = like.place.trim();
        let size = ("diameter", like.size.trim());
        let quantities = if tolerance.starts_with("max") {
            vec![size, ("position", tolerance)]
        } else {
            vec![size, ("x", tolerance), ("y", tolerance)]
        };
        for (i, [x, y]) in places.iter().enumerate() {
            let key = self.free_key(&slug(stem));
            let (name, at) = (format!("{stem} {}", i + 1), format!("{x}\t{y}\t0"));
            let mut own = fields([
                ("kind", "circle"),
                ("key", &key),
                ("name", &name),
                ("at", &at),
                ("diameter", like.diameter.trim()),
                ("depth", like.depth.trim()),
            ]);
            own.retain(|_, value| !value.is_empty());
            self.add_part(own, &quantities);
        }
        Ok(places.len())
    }
}

/// A word for keys, from a name.
pub(super) fn slug(name: &str) -> String {
    let letters = name.chars().map(|c| {
        if c.is_ascii_alphanumeric() {
            c.to_ascii_lowercase()
        } else {
            '-'
        }
    });
    let joined: String = letters.collect();
    let parts: Vec<&str> = joined.split('-').filter(|p| !p.is_empty()).collect();
    let short: String = parts.join("-").chars().take(24).collect();
    if short.is_empty() {
        "feature".to_owned()
    } else {
        short.trim_end_matches('-').to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn like(arrangement: &str) -> LikeHoles {
        let word = str::to_owned;
        LikeHoles {
            arrangement: word(arrangement),
            from: [word("50"), word("40")],
            circle: word("60"),
            step: [word("20"), word("-10")],
            count: word("3"),
            rows: word("2"),
            diameter: word("6"),
            ..LikeHoles::default()
        }
    }

    fn check(like: &LikeHoles, expected: &str) {
        let places = like.places(3).unwrap();
        let shown: Vec<String> = places.iter().map(|[x, y]| format!("{x} {y}")).collect();
        assert_eq!(shown.join(", "), expected);
    }

    #[test]
    fn holes_are_placed() {
        // Source: worked by hand, 30 cos 120 = -15, 30 sin 120 = 25.980762...
        check(&like("circle"), "80 40, 35 65.981, 35 14.019");
        check(&like("row"), "50 40, 70 30, 90 20");
        check(&like("grid"), "50 40, 70 40, 90 40, 50 30, 70 30, 90 30");
    }

    #[test]
    fn what_cannot_be_read_is_said_at_its_field() {
        let mut form = Form::default();
        for (change, field) in [
            (
                LikeHoles {
                    count: "0".to_owned(),
                    ..like("row")
                },
                "like-count",
            ),
            (
                LikeHoles {
                    diameter: "6 mm".to_owned(),
                    ..like("row")
                },
                "like-diameter",
            ),
            (
                LikeHoles {
                    circle: String::new(),
                    ..like("circle")
                },
                "like-circle",
            ),
            (
                LikeHoles {
                    step: [String::new(), String::new()],
                    ..like("row")
                },
                "like-step-x",
            ),
            (
                LikeHoles {
                    count: "64".to_owned(),
                    ..like("grid")
                },
                "like-rows",
            ),
        ] {
            assert_eq!(form.add_like_holes(&change).unwrap_err().0, field);
            assert!(form.features.is_empty());
        }
        assert_eq!(form.add_like_holes(&like("grid")), Ok(6));
        assert_eq!(form.features[5].text("key"), "hole-6");
        assert_eq!(form.next_number(), 19);
    }
}
