//! `[[feature]]`: key, name, kind and side; what it is like stands in `shape`.

use super::body_space::BodySpace;
use super::problem::Sink;
use super::section::{Key, Section};
use super::value::Found;
use super::{head, inside, shape};
use crate::exercise::model::{Feature, Shape, Side};
use crate::exercise::names::FeatureKey;

pub(super) const KEYS: &[Key] = &[
    ("key", "key = \"bore\""),
    ("name", "name = \"Main bore\""),
    ("kind", "kind = \"circle\""),
    ("side", "side = \"inside\""),
    ("at", "at = [70, 45, 0]"),
    ("normal", "normal = [0, 0, 1]"),
    ("from", "from = [10, 0, -6]"),
    ("to", "to = [130, 0, -6]"),
    ("size", "size = [40, 20]"),
    ("diameter", "diameter = 32"),
    ("length", "length = 30"),
    ("width", "width = 10"),
    ("angle", "angle = 30"),
    ("axis", "axis = [0, 0, 1]"),
    ("depth", "depth = 18"),
    ("points", "points = 4"),
    ("characteristic", "[[feature.characteristic]]"),
];

/// Probed points that are asked for at most.
const MOST_POINTS: i64 = 10_000;

/// A feature as far as it could be read, and the key that others call it by.
pub(super) struct Read {
    pub(super) key: Option<Found<FeatureKey>>,
    pub(super) feature: Option<Feature>,
}

pub(super) fn read(section: &Section<'_>, space: Option<&BodySpace>, sink: &mut Sink<'_>) -> Read {
    section.refuse_unknown(sink);
    let key = key(section, sink);
    let name = section.get("name", sink).map(|name| head::words("name", name, sink));
    let kind = section
        .need::<&str>("kind", sink)
        .and_then(|kind| kind.among("kind of feature", &shape::KINDS, sink));
    let Some(kind) = kind else {
        return Read { key, feature: None };
    };
    shape::refuse_misplaced(section, kind, sink);
    let side = side(section, kind, sink);
    let shape = shape::read(section, kind, sink);
    let points = shape.as_ref().and_then(|shape| points(section, shape, sink));
    let name = match (name, &key) {
        (Some(name), _) => name,
        (None, key) => key.as_ref().map(|key| key.value.to_string()),
    };
    let feature = assemble(key.as_ref(), name, shape, side, points, section.has("points"));
    if let (Some(feature), Some(space)) = (&feature, space) {
        inside::check(section, feature, space, sink);
    }
    Read { key, feature }
}

fn assemble(
    key: Option<&Found<FeatureKey>>,
    name: Option<String>,
    shape: Option<Shape>,
    side: Option<Option<Side>>,
    points: Option<u32>,
    points_given: bool,
) -> Option<Feature> {
    Some(Feature {
        key: key?.value.clone(),
        name: name?,
        shape: shape?,
        side: side?,
        points: points?,
        points_given,
    })
}

/// The key of a feature or of a pair of features.
pub(super) fn key(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Found<FeatureKey>> {
    let found: Found<&str> = section.need("key", sink)?;
    Some(Found {
        value: found.name(sink)?,
        at: found.at,
    })
}

/// `Some(None)` where the kind has no sides, `None` where a wrong word stands.
#[expect(clippy::option_option, reason = "no side and an unreadable one are two things")]
fn side(section: &Section<'_>, kind: shape::Kind, sink: &mut Sink<'_>) -> Option<Option<Side>> {
    let Some(default) = kind.default_side() else {
        return Some(None);
    };
    if !section.has("side") {
        return Some(Some(default));
    }
    let sides = [("inside", Side::Inside), ("outside", Side::Outside)];
    section
        .get::<&str>("side", sink)
        .and_then(|word| word.among("side", &sides, sink))
        .map(Some)
}

fn points(section: &Section<'_>, shape: &Shape, sink: &mut Sink<'_>) -> Option<u32> {
    let Some(found) = section.get::<i64>("points", sink) else {
        return Some(shape.default_points());
    };
    let least = i64::from(shape.default_points()) - 1;
    if found.value < least || found.value > MOST_POINTS {
        let what = format!("`points` is {}", found.value);
        let mend = format!(
            "A {} needs at least {least} to be fixed, and one more to be checked; at most 10000.",
            shape.word()
        );
        sink.error(found.at, what, mend);
        return None;
    }
    u32::try_from(found.value).ok()
}
