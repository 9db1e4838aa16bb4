//! Exercises that nobody chose: plates of many kinds from a seed, for drawings that nobody tuned.

use std::fmt::Write;

/// Numbers that follow from a seed (Marsaglia 2003, xorshift64).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % sides
    }

    fn one_of<'a>(&mut self, of: &[&'a str]) -> &'a str {
        let many = u64::try_from(of.len()).unwrap();
        of[usize::try_from(self.roll(many)).unwrap()]
    }
}

/// Tolerances of sizes and places, in the unit of the exercise.
const MM: [&str; 6] = ["±0.05", "+0.08 -0.02", "+0.02/0", "±0.1", "+0/-0.04", "±0.025"];
const INCH: [&str; 4] = ["±0.005", "+0.003 -0.001", "+0.002/0", "±0.002"];

/// How lengths are written: in half millimetres or fortieths of an inch, from an origin.
#[derive(Clone, Copy)]
struct Lengths {
    inch: bool,
    origin: [i64; 2],
}

impl Lengths {
    fn long(self, halves: i64) -> String {
        let thousandths = if self.inch { halves * 25 } else { halves * 500 };
        let sign = if thousandths < 0 { "-" } else { "" };
        format!("{sign}{}.{:03}", thousandths.abs() / 1000, thousandths.abs() % 1000)
    }

    fn x(self, at: i64) -> String {
        self.long(at - self.origin[0])
    }

    fn y(self, at: i64) -> String {
        self.long(at - self.origin[1])
    }

    fn at(self, x: i64, y: i64) -> String {
        format!("[{}, {}]", self.x(x), self.y(y))
    }
}

/// The text of an exercise: a plate of 160 by 100 mm or 8 by 5 inches with one relieved corner, its origin at a corner or
/// in the middle.
pub(super) fn made_up(seed: u64) -> String {
    let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let inch = dice.roll(3) == 0;
    let origin = if dice.roll(4) == 0 { [160, 100] } else { [0, 0] };
    let lengths = Lengths { inch, origin };
    let mut text = head(seed, lengths);
    let wanted = 8 + dice.roll(24);
    let (mut no, mut taken, mut round) = (0, Vec::new(), Vec::new());
    for i in 0..60 {
        let cell = dice.roll(40);
        if no >= wanted || taken.contains(&cell) {
            continue;
        }
        taken.push(cell);
        let (body, quantities, is_round) = shape(&mut dice, cell, lengths);
        let _ = write!(
            text,
            "[[feature]]\nkey = \"f{i}\"\nname = \"Feature {i}\"\n{body}\npoints = 12\n"
        );
        for of in quantities {
            if no < wanted && dice.roll(4) > 0 {
                no += 1;
                let tail = if dice.roll(14) == 0 { ".A-1" } else { "" };
                let tolerance = tolerance(&mut dice, of, inch, body.contains("outside"));
                let _ = write!(
                    text,
                    "[[feature.characteristic]]\nno = \"{no}{tail}\"\nof = \"{of}\"\n{tolerance}"
                );
            }
        }
        if is_round {
            round.push(i);
        }
    }
    text += &slants(seed, lengths, &mut no);
    for (k, pair) in round.windows(2).take(3).enumerate() {
        no += 1;
        let along = dice.one_of(&["along = \"x\"\n", "along = \"y\"\n", ""]);
        let _ = write!(
            text,
            "[[between]]\nkey = \"p{k}\"\nfeatures = [\"f{}\", \"f{}\"]\n[[between.characteristic]]\nno = \"{no}\"\nof = \"distance\"\n{along}",
            pair[0], pair[1]
        );
    }
    text
}

/// Slanted faces of four plates in five: along X, along Y, along each, and along both at once.
fn slants(seed: u64, l: Lengths, no: &mut u64) -> String {
    let right = ([315, 105, -5], "[0.70710678, 0, 0.70710678]", [180, 13]);
    let back = ([160, 195, -3], "[0, 0.6, 0.8]", [300, 9]);
    let ramp = ([100, 60, -6], "[-0.2425356, 0, 0.9701425]", [24, 40]);
    let corner = ([6, 194, -8], "[-0.57735027, 0.57735027, 0.57735027]", [20, 14]);
    let skewed = ([220, 100, -7], "[0.3, -0.4, 0.8660254]", [24, 16]);
    let under = ([160, 3, -37], "[0, -0.70710678, -0.70710678]", [240, 7]);
    let faces: &[([i64; 3], &str, [i64; 2])] = match seed % 5 {
        1 => &[right, ramp],
        2 => &[back, under],
        3 => &[right, back],
        4 => &[corner, skewed],
        _ => &[],
    };
    let mut text = String::new();
    for (k, ([x, y, z], normal, size)) in faces.iter().enumerate() {
        let _ = write!(
            text,
            "[[feature]]\nkey = \"s{k}\"\nname = \"Slope {k}\"\nkind = \"plane\"\nat = [{}, {}, {}]\n\
             normal = {normal}\nsize = [{}, {}]\npoints = 9\n",
            l.x(*x),
            l.y(*y),
            l.long(*z),
            l.long(size[0]),
            l.long(size[1])
        );
        for (of, rest) in [
            (
                "angle",
                "tolerance = \"±0.2\"\ndatum = \"A\"\nexpanded_uncertainty = 0.04",
            ),
            ("flatness", "tolerance = \"max 0.02\""),
        ] {
            *no += 1;
            let _ = write!(
                text,
                "[[feature.characteristic]]\nno = \"{no}\"\nof = \"{of}\"\n{rest}\n"
            );
        }
    }
    text
}

/// All but the features.
fn head(seed: u64, l: Lengths) -> String {
    let (unit, decimals, general) = if l.inch {
        ("inch", 4, "±0.005")
    } else {
        ("mm", 3, "±0.1")
    };
    let corners = [(0, 0), (260, 0), (260, 10), (320, 10), (320, 200), (0, 200)];
    let outline = corners.map(|(x, y)| l.at(x, y)).join(", ");
    let on_top = [(10, 10), (310, 24), (160, 192)].map(|(x, y)| l.at(x, y)).join(", ");
    let z = l.long(-20);
    format!(
        "format = 1\ncode = \"MADE-UP\"\ntitle = \"Made up {seed}\"\nunits = \"{unit}\"\ndecimals = {decimals}\n\
         general_tolerance = \"{general}\"\n\
         [body]\noutline = [{outline}]\nthickness = {}\nmaterial = \"steel\"\n\
         [datum_frame]\nA = {{ face = \"top\", sets = \"z\", at = 0, touches = [{on_top}] }}\n\
         B = {{ face = \"front\", sets = \"y\", at = {}, touches = [[{}, {z}], [{}, {z}]] }}\n\
         C = {{ face = \"left\", sets = \"x\", at = {}, touches = [[{}, {z}]] }}\n\
         [measurement]\nexpanded_uncertainty = 0.0001\nper_length = 0\nrepeatability = 0.00002\ntip_diameter = {}\n",
        l.long(40),
        l.y(0),
        l.x(16),
        l.x(250),
        l.x(0),
        l.y(100),
        l.long(4),
    )
}

/// The tolerance of a quantity; now and then none, so that the general one holds.
fn tolerance(dice: &mut Dice, of: &str, inch: bool, outside: bool) -> String {
    let geometrical = [
        "flatness",
        "cylindricity",
        "position",
        "roundness",
        "perpendicularity",
        "form",
        "parallelism",
    ];
    let text = if geometrical.contains(&of) {
        "max 0.02"
    } else if of == "angle" {
        "±0.2"
    } else if of == "diameter" && dice.roll(3) == 0 {
        dice.one_of(if outside {
            &["h7", "h8", "js9"]
        } else {
            &["H7", "H8", "JS9"]
        })
    } else if dice.roll(4) == 0 {
        return String::new();
    } else if inch {
        dice.one_of(&INCH)
    } else {
        dice.one_of(&MM)
    };
    let datum = if of == "perpendicularity" || of == "parallelism" {
        "datum = \"A\"\n"
    } else {
        ""
    };
    format!("tolerance = \"{text}\"\n{datum}")
}

/// What a shape is: its keys in the file, its quantities, and whether distances can be taken to it.
type Made = (String, &'static [&'static str], bool);

/// A shape in one of the forty cells of the plate; some stand in rows, some do not.
fn shape(dice: &mut Dice, cell: u64, l: Lengths) -> Made {
    let mut off = || i64::try_from(dice.roll(2) * dice.roll(8)).unwrap();
    let column = i64::try_from(cell % 8).unwrap();
    let line = i64::try_from(cell / 8).unwrap();
    let at = format!("{}, {}", l.x(22 + 38 * column + off()), l.y(36 + 34 * line + off()));
    let mut some = |low: u64, sides: u64| l.long(i64::try_from(low + dice.roll(sides)).unwrap());
    let (size, deep) = (some(8, 14), some(4, 30));
    match dice.roll(8) {
        0..=3 => cut_in(dice, &at, &size, &deep, l),
        _ => others(dice, &at, &size, l),
    }
}

/// Holes and slots.
fn cut_in(dice: &mut Dice, at: &str, size: &str, deep: &str, l: Lengths) -> Made {
    match dice.roll(3) {
        0 => (
            format!(
                "kind = \"slot\"\nat = [{at}, 0]\nlength = {}\nwidth = {}\nangle = {}\ndepth = {deep}",
                l.long(26),
                l.long(12),
                dice.roll(180)
            ),
            &["x", "y", "length", "width", "angle", "position"],
            false,
        ),
        1 => (
            format!("kind = \"cylinder\"\nat = [{at}, 0]\ndiameter = {size}"),
            &["diameter", "position", "perpendicularity", "cylindricity"],
            true,
        ),
        _ => (
            format!("kind = \"circle\"\nat = [{at}, 0]\ndiameter = {size}\ndepth = {deep}"),
            &["diameter", "x", "y", "roundness"],
            true,
        ),
    }
}

/// Faces, seats, and what stands on the plate.
fn others(dice: &mut Dice, at: &str, size: &str, l: Lengths) -> Made {
    match dice.roll(5) {
        0 => (
            format!("kind = \"point\"\nat = [{at}, 0]\nnormal = [0, 0, 1]"),
            &["z"],
            false,
        ),
        1 => (
            format!(
                "kind = \"plane\"\nat = [{at}, -{size}]\nnormal = [0, 0, 1]\nsize = [{}, {}]",
                l.long(24),
                l.long(18)
            ),
            &["z", "flatness", "parallelism"],
            false,
        ),
        2 => (
            format!(
                "kind = \"cylinder\"\nside = \"outside\"\nat = [{at}, {tall}]\ndiameter = {size}\ndepth = {tall}",
                tall = l.long(16)
            ),
            &["x", "y", "diameter", "cylindricity", "perpendicularity"],
            true,
        ),
        3 => (
            format!(
                "kind = \"cone\"\nat = [{at}, 0]\nangle = 90\ndiameter = {}\ndepth = {}",
                l.long(18),
                l.long(6)
            ),
            &["x", "y", "angle", "diameter"],
            false,
        ),
        _ => (
            format!(
                "kind = \"sphere\"\nside = \"outside\"\nat = [{at}, {}]\ndiameter = {}",
                l.long(6),
                l.long(16)
            ),
            &["x", "y", "z", "diameter", "form"],
            true,
        ),
    }
}
