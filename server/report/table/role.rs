//! What a column can hold.

use serde::{Deserialize, Serialize};

/// What a column holds. The first ten belong to a report, the last seven to a file of probed points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Number of the characteristic, or its name where there is no number column.
    Label,
    /// Name of the characteristic beside its number.
    Name,
    /// Nominal value.
    Nominal,
    /// Lower deviation.
    Minus,
    /// Upper deviation.
    Plus,
    /// One symmetric amount for both deviations.
    Tolerance,
    /// Measured value.
    Measured,
    /// Unit of the row.
    Unit,
    /// The pair's call.
    Call,
    /// Comment.
    Comment,
    /// Feature key or datum letter of a probed point.
    Feature,
    /// Coordinate of the tip's centre along X.
    X,
    /// Along Y.
    Y,
    /// Along Z.
    Z,
    /// X part of the direction from the surface towards the tip.
    I,
    /// Its Y part.
    J,
    /// Its Z part.
    K,
}

impl Role {
    /// All roles and their printed names.
    const NAMES: [(Self, &'static str); 17] = [
        (Self::Label, "label"),
        (Self::Name, "name"),
        (Self::Nominal, "nominal"),
        (Self::Minus, "minus"),
        (Self::Plus, "plus"),
        (Self::Tolerance, "tolerance"),
        (Self::Measured, "measured"),
        (Self::Unit, "unit"),
        (Self::Call, "call"),
        (Self::Comment, "comment"),
        (Self::Feature, "feature"),
        (Self::X, "x"),
        (Self::Y, "y"),
        (Self::Z, "z"),
        (Self::I, "i"),
        (Self::J, "j"),
        (Self::K, "k"),
    ];

    /// The role that a person names: its printed name, or `no` for the label.
    pub fn parse_word(word: &str) -> Option<Self> {
        let word = word.trim().to_ascii_lowercase();
        if word == "no" {
            return Some(Self::Label);
        }
        Self::NAMES
            .iter()
            .find(|(_, name)| *name == word)
            .map(|(role, _)| *role)
    }

    /// The name that is printed.
    pub fn as_str(self) -> &'static str {
        Self::NAMES
            .iter()
            .find(|(role, _)| *role == self)
            .map_or("", |(_, name)| name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_roles_are_those_of_serde() {
        for (role, name) in Role::NAMES {
            assert_eq!((Role::parse_word(name), role.as_str()), (Some(role), name));
            assert_eq!(serde_json::to_value(role).unwrap(), name);
        }
        assert_eq!(Role::parse_word(" No"), Some(Role::Label));
        assert_eq!(Role::parse_word("colour"), None);
    }
}
