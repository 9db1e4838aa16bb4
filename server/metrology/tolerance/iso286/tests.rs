use super::*;

fn check(nominal: &str, class: &str, lower: &str, upper: &str) {
    let dec = |text: &str| text.parse::<Decimal>().unwrap();
    let found = class.parse::<IsoClass>().unwrap().deviations(dec(nominal)).unwrap();
    assert_eq!(
        (found.lower_um, found.upper_um),
        (dec(lower), dec(upper)),
        "{nominal} {class}"
    );
}

#[test]
fn known_classes() {
    // Source: ISO 286-1, micrometres; tolerance none.
    check("40", "g11", "-169", "-9");
    check("130", "N4", "-35", "-23");
    check("300", "M6", "-41", "-9");
    check("16", "N9", "-43", "0");
    check("20", "JS7", "-10.5", "10.5");
}
