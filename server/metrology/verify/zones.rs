use super::Family;
pub(super) const FAMILIES: &[Family] = &[];
