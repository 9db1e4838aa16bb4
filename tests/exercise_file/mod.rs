//! Exercise and plates files: what is read, what is refused and in which words, what is written back.

mod command;
mod difference;
mod form;
mod problems;
mod round_trip;
mod shelf;
mod values;

use platemark::exercise::file::read_exercise;
use platemark::exercise::model::Exercise;

/// A good exercise with a feature of every kind.
const EXERCISE: &str = include_str!("../data/exercise_file/exercise.toml");

/// Good plates of it.
const PLATES: &str = include_str!("../data/exercise_file/plates.toml");

fn fixture() -> Exercise {
    let (exercise, problems) = read_exercise("f", EXERCISE);
    assert_eq!(problems, []);
    exercise.unwrap()
}
