//! Lengths, angles and written numbers.
//!
//! Units are converted at the edges only, and exactly: 1 inch is 25.4 mm by definition (international yard and pound
//! agreement, 1959). Whatever decides a mark is compared as a decimal; f64 is for geometry and statistics.

mod decimals;
mod length;
mod reading;
mod show;
pub mod value_unit;

pub use decimals::{decimal_from_f64, decimal_to_f64, parse_plain_decimal, round_down, round_up};
pub use length::{LengthUnit, ParseUnitError};
pub use reading::{Reading, ReadingError};
pub use show::{MINUS, capital, hex, show_f64, show_length, show_number, show_reading, show_signed, unhex};
pub use value_unit::ValueUnit;
