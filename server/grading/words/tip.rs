//! Words for faults of the tip.

use super::{Words, face};
use crate::exercise::model::Exercise;
use crate::procedure::fault::Fault;

pub(super) fn words(exercise: &Exercise, fault: &Fault) -> Option<Words> {
    Some(match fault {
        Fault::TipIgnoredOnDatum { datum } => {
            let face = face(exercise, *datum);
            Words::new(
                format!(
                    "Half the tip's diameter probably stayed in when {face} was set: the centre of the tip became zero, not the face."
                ),
                format!(
                    "Touch {face} again and look at the display: the reading will be off by the radius of the tip."
                ),
                "Next time, make sure that half the tip is taken off at every datum, and touch the face once more as a check.",
            )
        }
        Fault::TipIgnoredOnSize {} => Words::new(
            "Sizes seem to have been taken at the centre of the tip: holes come out too small and pins too large, each by one tip diameter.",
            "Measure a ring or a gauge block of known size: it will be off by the diameter of the tip.",
            "Next time, choose inside or outside for each feature before you probe it, and check one known size first.",
        ),
        Fault::TipIgnoredOnSurface {} => Words::new(
            "Measured faces seem to stand half a tip diameter proud of the material: the tip was not taken off there.",
            "Touch a datum face as if it were a feature: it should read what the print says for it.",
            "Next time, check that points and faces are corrected for the tip just as sizes are.",
        ),
        Fault::TipWrong { .. } => Words::new(
            "Sizes, faces and datums are off together, as they are when the tip in the probe is not the one that the machine has been told of.",
            "Compare the tip in the probe with the one that is chosen on the machine, and measure a ring or a gauge block of known size.",
            "Next time, qualify the tip before you start, and again when it was changed.",
        ),
        _ => return None,
    })
}
