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

/// A time as it is typed: a date, a time of day, seconds perhaps, and nothing else, because an offset would be left out and a
/// missing time of day be made up.
fn civil(text: &str) -> Option<DateTime> {
    let typed = text.trim().replace(' ', "T");
    let civil: DateTime = typed.parse().ok()?;
    let seconds = typed.strip_prefix(&civil.strftime("%Y-%m-%dT%H:%M").to_string())?;
    let is_rest = seconds.bytes().all(|b| b.is_ascii_digit() || b":.".contains(&b));
    is_rest.then_some(civil)
}

/// What a `datetime-local` field sent, in the zone of the class. The second of two hours of the same name is never
/// meant by a due time, so the first is taken; a time that a clock change skips is an error in words.
///
/// # Errors
/// A sentence that says what is wrong and how to mend it.
pub fn from_field(text: &str, zone: &TimeZone) -> Result<When, String> {
    let civil = civil(text).ok_or_else(|| "Write date and time as in 2026-11-03 14:05.".to_owned())?;
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

/// Whether a typed time comes twice that day, because the clocks go back over it.
#[must_use]
pub fn comes_twice(text: &str, zone: &TimeZone) -> bool {
    civil(text).is_some_and(|civil| {
        matches!(
            zone.to_ambiguous_timestamp(civil).offset(),
            AmbiguousOffset::Fold { .. }
        )
    })
}

/// Which of two hours of one name a time is in: `first`, `second`, or nothing where there is only one.
#[must_use]
pub fn which(when: When, zone: &TimeZone) -> &'static str {
    let text = for_field(when, zone);
    let civil: Result<DateTime, _> = text.parse();
    let Ok(civil) = civil else { return "" };
    let ambiguous = zone.to_ambiguous_timestamp(civil);
    if !matches!(ambiguous.offset(), AmbiguousOffset::Fold { .. }) {
        return "";
    }
    let minute = |time: jiff::Timestamp| time.as_millisecond().div_euclid(60_000);
    match ambiguous.later() {
        Ok(later) if minute(later) == minute(when.timestamp()) => "second",
        _ => "first",
    }
}

/// As [`from_field`], but a time that comes twice is asked about: `which` is `first` or `second`.
///
/// # Errors
/// A sentence that says what is wrong and how to mend it.
pub fn from_field_which(text: &str, which: &str, zone: &TimeZone) -> Result<When, String> {
    let first = from_field(text, zone)?;
    if !comes_twice(text, zone) {
        return Ok(first);
    }
    match which {
        "first" => Ok(first),
        "second" => {
            let later = civil(text).and_then(|civil| zone.to_ambiguous_timestamp(civil).later().ok());
            later
                .map(When::from)
                .ok_or_else(|| "This date is too far away.".to_owned())
        }
        _ => Err(
            "The clocks go back over this time, so it comes twice on that day. Say below which of the two is meant."
                .to_owned(),
        ),
    }
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
        // Seconds are taken; what would be left out or made up unsaid is not.
        assert!(from_field("2026-11-03 14:05:30", &dublin).is_ok());
        for other in [
            "2026-11-03",
            "2026-11-03T14",
            "2026-11-03T14:05+05:00",
            "2026-11-03T14:05-05",
            "2026-11-03T14:05[Europe/Paris]",
            "20261103T140500",
            "-000001-11-03T14:05",
        ] {
            let said = from_field(other, &dublin).unwrap_err();
            assert!(said.contains("as in 2026-11-03 14:05"), "{other}: {said}");
        }
    }

    #[test]
    fn a_time_that_comes_twice_is_asked_about() {
        // Clocks go back on 25 October 2026 at 02:00 in Dublin (IANA time zone database).
        let dublin = zone("Europe/Dublin");
        let text = "2026-10-25T01:30";
        assert!(comes_twice(text, &dublin) && !comes_twice("2026-10-25T02:30", &dublin));
        assert!(from_field_which(text, "", &dublin).unwrap_err().contains("comes twice"));
        for (word, utc) in [("first", "2026-10-25T00:30:00Z"), ("second", "2026-10-25T01:30:00Z")] {
            let when = from_field_which(text, word, &dublin).unwrap();
            assert_eq!(machine(when), utc);
            assert_eq!(which(when, &dublin), word);
        }
        assert_eq!(which(from_field("2026-11-03T14:05", &dublin).unwrap(), &dublin), "");
        assert!(from_field_which("2026-03-29T01:30", "first", &dublin).is_err());
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
