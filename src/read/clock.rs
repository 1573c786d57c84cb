//! Clock times to seconds: `10:16:00.5`, `2026-01-31 10:16:00`, `12:30 PM`, `2:05.4`; columns of them become time columns.

use std::collections::HashMap;

use super::scan::{Block, Column};

/// What a column of clock times is, beside its seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Clock {
    /// A date or AM/PM stands beside: the time of day, not the time since the start.
    pub(crate) of_day: bool,
    /// Two places only, `12:30`: whether minutes and seconds or hours and minutes, other cells must tell.
    pub(crate) two_places: Option<TwoPlaces>,
    /// Days that were added because the clock passed midnight.
    pub(crate) midnights: usize,
}

/// What two places can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum TwoPlaces {
    MinutesSeconds,
    /// `12:30` can be both.
    Open,
}

/// One cell.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stamp {
    /// With two places: minutes and seconds.
    seconds: f64,
    decimals: i32,
    of_day: bool,
    places: usize,
    /// Two places that can only be minutes and seconds.
    surely_minutes: bool,
}

/// A date or nothing, then a clock time; `None` for anything else.
fn stamp(text: &str) -> Option<Stamp> {
    let text = text.trim().trim_end_matches('Z');
    let upper = text.to_ascii_uppercase();
    let (text, afternoon) = match (upper.strip_suffix("PM"), upper.strip_suffix("AM")) {
        (Some(_), _) => (text[..text.len() - 2].trim_end(), Some(true)),
        (_, Some(_)) => (text[..text.len() - 2].trim_end(), Some(false)),
        _ => (text, None),
    };
    let (date, clock) = match text.rfind([' ', 'T']) {
        Some(at) => (&text[..at], &text[at + 1..]),
        None => ("", text),
    };
    if !(date.is_empty() || is_date(date)) {
        return None;
    }
    let mut parts = clock.split(':');
    let (first, second) = (whole(parts.next()?)?, parts.next()?);
    let third = parts.next();
    if parts.next().is_some() {
        return None;
    }
    let last = third.unwrap_or(second);
    let (value, decimals) = decimal(last)?;
    // 60 is a leap second; a clock never shows more.
    if value > 60.0 || (third.is_some() && whole(second)? >= 60.0) {
        return None;
    }
    let mut first = first;
    if let Some(afternoon) = afternoon {
        if !(1.0..=12.0).contains(&first) {
            return None;
        }
        first = first % 12.0 + if afternoon { 12.0 } else { 0.0 };
    }
    let of_day = afternoon.is_some() || !date.is_empty();
    let seconds = match third {
        Some(_) => first * 3600.0 + whole(second)? * 60.0 + value,
        None => first * 60.0 + value,
    };
    let places = if third.is_some() { 3 } else { 2 };
    Some(Stamp { seconds, decimals, of_day, places, surely_minutes: decimals > 0 || first >= 24.0 })
}

/// Digits parted by `-`, `/` or `.` into three groups; the order does not matter here.
pub(super) fn is_date(text: &str) -> bool {
    let groups: Vec<&str> = text.trim().split(['-', '/', '.']).collect();
    groups.len() == 3 && groups.iter().all(|g| (1..=4).contains(&g.len()) && g.bytes().all(|b| b.is_ascii_digit()))
}

fn whole(text: &str) -> Option<f64> {
    (!text.is_empty() && text.len() <= 6 && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.parse().ok())?
}

/// `05`, `05.25` or `05,25`.
fn decimal(text: &str) -> Option<(f64, i32)> {
    let (digits, decimals) = text.split_once(['.', ',']).map_or((text, ""), |(a, b)| (a, b));
    let plain = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if !(1..=2).contains(&digits.len()) || !plain(digits) || !plain(decimals) || decimals.len() > 9 {
        return None;
    }
    format!("{digits}.{decimals}0").parse().ok().map(|v| (v, decimals.len() as i32))
}

/// Turns a text column that holds a clock time in every row into a column of seconds; dates beside it are left aside.
pub(super) fn find(block: &mut Block) {
    let texts: Vec<usize> = (0..block.columns.len()).filter(|&c| !block.columns[c].numeric).collect();
    if texts.is_empty() || block.groups.is_empty() || block.rows < 2 {
        return;
    }
    let cells: Option<Vec<Vec<&str>>> = block
        .groups
        .iter()
        .map(|g| Some(g.split(" / ").collect::<Vec<_>>()).filter(|parts| parts.len() == texts.len()))
        .collect();
    let Some(cells) = cells else { return };
    let Some((part, stamps)) = (0..texts.len())
        .find_map(|k| Some((k, cells.iter().map(|row| stamp(row[k])).collect::<Option<Vec<Stamp>>>()?)))
    else {
        return;
    };
    if stamps.windows(2).any(|w| w[0].places != w[1].places) {
        return;
    }
    let dates: Vec<usize> = (0..texts.len()).filter(|&k| cells.iter().all(|row| is_date(row[k]))).collect();
    let rest: Vec<String> = cells
        .iter()
        .map(|row| {
            let kept = (0..row.len()).filter(|k| *k != part && !dates.contains(k));
            kept.map(|k| row[k]).collect::<Vec<_>>().join(" / ")
        })
        .collect();
    let clock = Clock {
        of_day: !dates.is_empty() || stamps.iter().any(|s| s.of_day),
        two_places: (stamps[0].places == 2).then(|| match stamps.iter().any(|s| s.surely_minutes) {
            true => TwoPlaces::MinutesSeconds,
            false => TwoPlaces::Open,
        }),
        midnights: 0,
    };
    let mut column = Column { numeric: true, clock: Some(clock), ..Column::default() };
    column.scale = stamps.iter().map(|s| s.decimals).max().unwrap_or(0);
    let (mut days, mut last) = (0, f64::NEG_INFINITY);
    let mut regrouped: Vec<(usize, usize)> = Vec::new();
    let (mut groups, mut known): (Vec<String>, HashMap<&str, usize>) = (Vec::new(), HashMap::new());
    for (i, &(from, g)) in block.segments.iter().enumerate() {
        let to = block.segments.get(i + 1).map_or(block.rows, |s| s.0);
        // Half a day back is midnight; less is a new trace or a clock that was set.
        if stamps[g].places == 3 && stamps[g].seconds + 43_200.0 < last {
            days += 1;
        }
        last = stamps[g].seconds;
        column.values.extend(std::iter::repeat_n(stamps[g].seconds + f64::from(days) * 86_400.0, to - from));
        let at = *known.entry(rest[g].as_str()).or_insert_with(|| {
            groups.push(rest[g].clone());
            groups.len() - 1
        });
        if regrouped.last().is_none_or(|s| s.1 != at) {
            regrouped.push((from, at));
        }
    }
    if let Some(clock) = &mut column.clock {
        clock.midnights = days as usize;
    }
    block.columns[texts[part]] = column;
    if rest.iter().all(String::is_empty) {
        (groups, regrouped) = (Vec::new(), Vec::new());
    }
    (block.groups, block.segments) = (groups, regrouped);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_as_exports_write_them() {
        for (text, seconds, places, of_day) in [
            ("10:16:00", 36_960.0, 3, false),
            ("10:16:00.25", 36_960.25, 3, false),
            ("00:00:01,5", 1.5, 3, false),
            ("2:05.4", 125.4, 2, false),
            ("2026-01-31 10:16:00", 36_960.0, 3, true),
            ("2026-01-31T10:16:00Z", 36_960.0, 3, true),
            ("31.01.2026 23:59:59", 86_399.0, 3, true),
            ("7/19/2023 8:42:10 PM", 74_530.0, 3, true),
            ("12:00:01 AM", 1.0, 3, true),
        ] {
            let s = stamp(text).expect(text);
            assert_eq!((s.seconds, s.places, s.of_day), (seconds, places, of_day), "{text}");
        }
        for text in
            ["", "10", "10:", "10:99:00", "a 10:16:00", "10:16:00:00", "13:00:00 PM", "1:2:3:4", "-1:00", "10:1a"]
        {
            assert_eq!(stamp(text), None, "{text}");
        }
    }
}
