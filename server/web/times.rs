//! Times as people of a class read them, and as they type them.

use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, TimeZone};

use crate::store::when::When;

/// The time zone of this name; UTC where the name is not known (classes are made with known ones).
#[must_use]
pub fn zone(name: &str) -> TimeZone {
    TimeZone::get(name).unwrap_or(TimeZone::UTC)
}

/// As in `Tue 3 Nov 2026, 14:05`.
#[must_use]
pub fn show(when: When, zone: &TimeZone) -> String {
    when.timestamp()
        .to_zoned_datetime(zone.clone())
        .strftime("%a %-d %b %Y, %H:%M")
        .to_string()
}

/// As in `14:05`.
#[must_use]
pub fn show_clock(when: When, zone: &TimeZone) -> String {
    when.timestamp()
        .to_zoned_datetime(zone.clone())
        .strftime("%H:%M")
        .to_string()
}

/// As in `Tue 3 Nov`.
#[must_use]
pub fn show_day(when: When, zone: &TimeZone) -> String {
    when.timestamp()
        .to_zoned_datetime(zone.clone())
        .strftime("%a %-d %b")
        .to_string()
}

/// For machines: RFC 3339 in UTC.
#[must_use]
pub fn machine(when: When) -> String {
    when.timestamp().to_string()
}

/// As a `datetime-local` field holds it.
#[must_use]
pub fn for_field(when: When, zone: &TimeZone) -> String {
    when.timestamp()
        .to_zoned_datetime(zone.clone())
        .strftime("%Y-%m-%dT%H:%M")
        .to_string()
}

/// What a `datetime-local` field sent, in the zone of the class. The second of two hours of the same name is never
/// meant by a due time, so the first is taken; a time that a clock change skips is an error in words.
///
/// # Errors
/// A sentence that says what is wrong and how to mend it.
pub fn from_field(text: &str, zone: &TimeZone) -> Result<When, String> {
    let typed = text.trim().replace(' ', "T");
    let civil: DateTime = typed
        .parse()
        .map_err(|_| "Write date and time as in 2026-11-03 14:05.".to_owned())?;
    let ambiguous = zone.to_ambiguous_timestamp(civil);
    if matches!(ambiguous.offset(), AmbiguousOffset::Gap { .. }) {
        return Err(
            "The clocks go forward over this time, so there is no such time on that day. Choose an hour later."
                .to_owned(),
        );
    }
    let time = ambiguous
        .earlier()
        .map_err(|_| "This date is too far away.".to_owned())?;
    Ok(When::from(time))
}

/// How late, in words: minutes below two hours, hours below two days, days from then on.
#[must_use]
pub fn late_words(minutes: u64) -> String {
    let (count, unit) = match minutes {
        0..120 => (minutes, "minute"),
        120..2880 => (minutes / 60, "hour"),
        _ => (minutes / 1440, "day"),
    };
    let many = if count == 1 { "" } else { "s" };
    format!("{count} {unit}{many} late")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_of_a_class_go_out_and_come_back() {
        let dublin = zone("Europe/Dublin");
        // 2026-11-03T14:05Z is winter time there; 2026-09-01T09:00Z is summer time.
        for (sent, shown, utc) in [
            ("2026-11-03T14:05", "Tue 3 Nov 2026, 14:05", "2026-11-03T14:05:00Z"),
            ("2026-09-01 10:00", "Tue 1 Sep 2026, 10:00", "2026-09-01T09:00:00Z"),
            // Clocks go back on 25 October 2026 at 02:00: the first of the two is taken.
            ("2026-10-25T01:30", "Sun 25 Oct 2026, 01:30", "2026-10-25T00:30:00Z"),
        ] {
            let when = from_field(sent, &dublin).unwrap();
            assert_eq!(show(when, &dublin), shown);
            assert_eq!(machine(when), utc);
        }
        // Clocks go forward on 29 March 2026 at 01:00.
        assert!(
            from_field("2026-03-29T01:30", &dublin)
                .unwrap_err()
                .contains("no such time")
        );
        assert!(from_field("soon", &dublin).is_err());
    }

    #[test]
    fn lateness_in_words() {
        for (minutes, words) in [
            (1, "1 minute late"),
            (119, "119 minutes late"),
            (120, "2 hours late"),
            (2880, "2 days late"),
        ] {
            assert_eq!(late_words(minutes), words);
        }
    }
}
