//! Dates and times in spreadsheet cells as text: year-month-day, clock form, or both, to the millisecond.

use calamine::ExcelDateTime;

/// A cell that .xlsx stores in days: a date, a time of day, both, or a length of time.
pub(super) fn of_serial(t: &ExcelDateTime) -> String {
    if !t.is_datetime() {
        return length(t.as_f64());
    }
    let (year, month, day, h, m, s, milli) = t.to_ymd_hms_milli();
    // Below one day there is no date, only a time.
    if (0.0..1.0).contains(&t.as_f64()) {
        return clock(u64::from(h), m, s, milli);
    }
    let date = format!("{year:04}-{month:02}-{day:02}");
    if (h, m, s, milli) == (0, 0, 0, 0) { date } else { format!("{date} {}", clock(u64::from(h), m, s, milli)) }
}

/// A length of time in days; hours may exceed 24.
fn length(days: f64) -> String {
    let milli = (days * 86_400_000.0).round();
    // A million days is no run; what cannot be a clock shows as it is.
    if !(0.0..86_400_000.0 * 1e6).contains(&milli) {
        return format!("{days} days");
    }
    let milli = milli as u64;
    let (seconds, rest) = (milli / 1000, (milli % 1000) as u16);
    clock(seconds / 3600, (seconds / 60 % 60) as u8, (seconds % 60) as u8, rest)
}

fn clock(hours: u64, minutes: u8, seconds: u8, milli: u16) -> String {
    let whole = format!("{hours:02}:{minutes:02}:{seconds:02}");
    if milli == 0 { whole } else { format!("{whole}.{milli:03}") }
}

/// A cell that .ods stores as ISO 8601: `2026-01-31T10:16:00`, `PT00H00M01.5S`; as it stands where it is neither.
pub(super) fn of_iso(text: &str) -> String {
    match text.strip_prefix('P').and_then(iso_length) {
        Some(clock) => clock,
        None => text.replacen('T', " ", 1),
    }
}

/// `1DT2H3M4.5S` as `26:03:04.5`.
fn iso_length(text: &str) -> Option<String> {
    let (days, time) = text.split_once('T')?;
    let days: u64 = if days.is_empty() { 0 } else { days.strip_suffix('D')?.parse().ok()? };
    let (mut hours, mut minutes, mut seconds) = (0u64, 0u8, "0".to_owned());
    let mut rest = time;
    while let Some(at) = rest.find(|c: char| c.is_ascii_alphabetic()) {
        let (number, unit) = (&rest[..at], &rest[at..=at]);
        match unit {
            "H" => hours = number.parse().ok()?,
            "M" => minutes = number.parse().ok()?,
            "S" => seconds = number.replace(',', "."),
            _ => return None,
        }
        rest = &rest[at + 1..];
    }
    let (whole, decimals) = seconds.split_once('.').unwrap_or((&seconds, ""));
    let whole: u8 = whole.parse().ok()?;
    let decimals = decimals.trim_end_matches('0');
    let plain = rest.is_empty() && minutes < 60 && whole < 60 && decimals.bytes().all(|b| b.is_ascii_digit());
    let hours = days.checked_mul(24)?.checked_add(hours)?;
    let text = clock(hours, minutes, whole, 0);
    plain.then(|| if decimals.is_empty() { text } else { format!("{text}.{decimals}") })
}

/// Midnight of a date, beside other cells that have a time of day.
pub(super) fn at_midnight(date: &str) -> String {
    if date.contains(':') { date.to_owned() } else { format!("{date} 00:00:00") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use calamine::ExcelDateTimeType;

    #[test]
    fn days_and_iso_texts() {
        let date = |v: f64| of_serial(&ExcelDateTime::new(v, ExcelDateTimeType::DateTime, false));
        let length = |v: f64| of_serial(&ExcelDateTime::new(v, ExcelDateTimeType::TimeDelta, false));
        // ECMA-376 part 1, 18.17.4: serial 45000 is 15 March 2023, 0.5 is noon.
        assert_eq!(date(45_000.0), "2023-03-15");
        assert_eq!(date(45_000.5), "2023-03-15 12:00:00");
        assert_eq!(date(0.0), "00:00:00");
        assert_eq!(date(1.5 / 86_400.0), "00:00:01.500");
        assert_eq!(length(1.5), "36:00:00");
        assert_eq!(length(0.1 / 86_400.0), "00:00:00.100");
        assert_eq!(length(-1.0), "-1 days");
        // ISO 8601.
        assert_eq!(of_iso("PT00H00M01.500S"), "00:00:01.5");
        assert_eq!(of_iso("P1DT2H3M4S"), "26:03:04");
        assert_eq!(of_iso("2026-01-31T10:16:00"), "2026-01-31 10:16:00");
        assert_eq!(of_iso("PT1X"), "P 1X");
        assert_eq!(at_midnight("2026-01-31"), "2026-01-31 00:00:00");
    }
}
