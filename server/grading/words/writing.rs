//! Words for faults of writing down, and for what only an instructor is told.

use super::{Words, feature, many, numbers};
use crate::exercise::model::{Exercise, Quantity};
use crate::exercise::names::BalloonNo;
use crate::procedure::fault::Fault;
use crate::units::{LengthUnit, capital};

pub(super) fn words(exercise: &Exercise, fault: &Fault) -> Words {
    match fault {
        Fault::WrongUnit { .. } => unit(exercise),
        Fault::RadiusForDiameter { items } => radius(exercise, items),
        Fault::DeviationForValue { items } => deviation(items),
        Fault::NominalsCopied { items } => Words::new(
            format!(
                "{} {} exactly what the print says, to the last place.",
                capital(&numbers(items)),
                many(items, "is", "are")
            ),
            "A measured value hardly ever is; ask the pair to measure one of them again and watch the display.",
            "It may be a column that was filled in beforehand and not written over.",
        ),
        Fault::FeaturesExchanged { a, b } => Words::new(
            format!(
                "The values of \u{201c}{}\u{201d} and \u{201c}{}\u{201d} have probably changed places.",
                feature(exercise, a),
                feature(exercise, b)
            ),
            "Hold the print beside the plate and work out which of the two you measured first.",
            "Next time, point at each feature on the print and read its balloon number aloud before you write its values.",
        ),
        Fault::WrongPlate { serial } => Words::new(
            format!("The values fit plate {serial} of this exercise."),
            "Look at the serial number that is stamped on the plate which was measured.",
            "The pair may have taken another plate from the rack, or have written another serial on the sheet.",
        ),
        Fault::DigitsTransposed { item, .. } => Words::new(
            format!("Two neighbouring digits of number {item} have probably changed places."),
            format!(
                "Measure number {item} once more, or look at the machine's own record, and compare digit by digit."
            ),
            "Next time, read each value back from the sheet against the display, one digit after the other.",
        ),
        Fault::DecimalSlipped { item, .. } => Words::new(
            format!("The decimal point of number {item} has probably slipped."),
            format!("Compare number {item} with its nominal on the print: they should be about the same size."),
            "Next time, hold each value against the nominal before you go on; a slipped point shows at once.",
        ),
        Fault::SignDropped { item } => Words::new(
            format!("Number {item} has probably lost or gained a minus."),
            format!("Look on the print on which side of zero number {item} lies."),
            "Next time, write the sign first and the digits after it.",
        ),
        Fault::GrossError { item, .. } => gross(item),
        _ => Words::new(
            "The values fit another way of setting up.",
            "Set up once more as the sheet shows.",
            "Next time, check the setup on a known feature first.",
        ),
    }
}

fn gross(item: &BalloonNo) -> Words {
    Words::new(
        format!("Number {item} is far from where the other values put it, and no mistake that we know explains it."),
        format!("Measure number {item} once more: look for dirt, a burr, or a touch that slid off."),
        "Next time, take a value that surprises you twice before you write it down.",
    )
}

fn unit(exercise: &Exercise) -> Words {
    let (asked, other) = match exercise.units {
        LengthUnit::Mm => ("millimetres", "inches"),
        LengthUnit::Inch => ("inches", "millimetres"),
    };
    Words::new(
        format!(
            "All lengths fit the print once they are turned from {other} into {asked}; the sheet asks for {asked}."
        ),
        "Look at the unit on the machine's display.",
        format!("Next time, set the machine to {asked} before the first value, and hold that value against the print."),
    )
}

fn radius(exercise: &Exercise, items: &[BalloonNo]) -> Words {
    let mut all = exercise.characteristics.iter().filter(|c| c.of == Quantity::Diameter);
    let which = if items.len() > 1 && all.all(|c| items.contains(&c.no)) {
        "All diameters are".to_owned()
    } else {
        format!("{} {}", capital(&numbers(items)), many(items, "is", "are"))
    };
    Words::new(
        format!(
            "{which} about half of what the print asks for: probably the {} written down.",
            many(items, "radius was", "radii were")
        ),
        "Look whether the machine's display says R or D beside the value.",
        "Next time, set the display to diameters, or double each radius before you write it down.",
    )
}

fn deviation(items: &[BalloonNo]) -> Words {
    Words::new(
        format!(
            "{} {} from the nominal and not like {}.",
            capital(&numbers(items)),
            many(items, "looks like the difference", "look like the differences"),
            many(items, "the measured value", "the measured values")
        ),
        "Look which column of the machine's display or printout was written down.",
        "Next time, write the actual value; the difference from the nominal is worked out for you.",
    )
}
