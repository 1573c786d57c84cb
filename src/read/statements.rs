//! What single lines above a table state: the interval between points, where the first one stands, the detector's range.

use super::header::{Fact, Header};
use super::names::{fold, signal_unit, time_unit};

/// Seconds, and the line that states them.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Stated {
    pub(crate) seconds: f64,
    pub(crate) fact: Fact,
}

/// Words that may stand in the key of a line about the interval between points; any other word, such as "flow" or
/// "heating", makes it a line about something else.
const SAMPLING: &[&str] = &[
    "rate",
    "sampling",
    "sample",
    "samples",
    "sampled",
    "data",
    "acquisition",
    "acq",
    "digitisation",
    "digitization",
    "digitizer",
    "converter",
    "adc",
    "frequency",
    "freq",
    "interval",
    "intervals",
    "period",
    "per",
    "time",
    "step",
    "x",
    "delta",
    "dt",
    "actual",
    "the",
    "of",
    "between",
    "point",
    "points",
    "pts",
    "detector",
    "signal",
    "channel",
    "recording",
    "logging",
    "scan",
    "collection",
    "abtastrate",
    "abtastintervall",
    "abtastfrequenz",
    "abtastung",
    "datenrate",
    "messrate",
    "intervall",
    "messintervall",
    "zeitintervall",
    "schrittweite",
    "increment",
    "spacing",
    "1",
    "2",
    "a",
    "b",
];
/// One of these must be there.
const INTERVAL: &[&str] = &[
    "rate",
    "sampling",
    "frequency",
    "freq",
    "interval",
    "intervals",
    "period",
    "per",
    "dt",
    "delta",
    "step",
    "spacing",
    "increment",
    "abtastrate",
    "abtastintervall",
    "abtastfrequenz",
    "abtastung",
    "datenrate",
    "messrate",
    "intervall",
    "messintervall",
    "zeitintervall",
    "schrittweite",
    "hz",
];
/// Words that count points in front of "per second".
const POINTS: &[&str] =
    &["", "1", "points", "point", "pts", "pt", "samples", "sample", "data points", "values", "readings"];

impl Header {
    /// The interval between points that a line states with its unit: `rate,10,Hz`, `sampling = 5 per s`, `interval ms: 40`.
    pub(crate) fn interval(&self) -> Option<Stated> {
        self.intervals().into_iter().next()
    }

    /// A second line that states another interval than the first.
    pub(crate) fn other_interval(&self) -> Option<Stated> {
        let first = self.interval()?;
        // 0.1 %, as for the times: stated intervals are rarely written with more than three digits.
        self.intervals().into_iter().find(|other| (other.seconds / first.seconds - 1.0).abs() > 1e-3)
    }

    /// Every line that states an interval.
    pub(crate) fn intervals(&self) -> Vec<Stated> {
        self.facts.iter().filter_map(|f| Some(Stated { seconds: interval_of(f)?, fact: f.clone() })).collect()
    }

    /// The time of the first point that a line states with its unit: `delay = 0.5 min`.
    pub(crate) fn delay(&self) -> Option<Stated> {
        const AROUND: &[&str] = &[
            "delay",
            "start",
            "time",
            "acquisition",
            "solvent",
            "data",
            "recording",
            "of",
            "first",
            "point",
            "the",
            "x",
            "offset",
            "startzeit",
            "verzögerung",
            "detector",
        ];
        self.facts.iter().find_map(|f| {
            let (words, unit) = key_of(f);
            let about = |w: &&str| matches!(*w, "delay" | "offset" | "startzeit" | "verzögerung" | "start");
            if !words.iter().any(|w| about(&w.as_str())) || !words.iter().all(|w| AROUND.contains(&w.as_str())) {
                return None;
            }
            let (value, behind) = value_of(f)?;
            let unit = if behind.is_empty() { unit? } else { behind };
            let seconds = time_unit(&unit)?.to_minutes(value) * 60.0;
            Some(Stated { seconds, fact: f.clone() })
        })
    }

    /// A line about the sampling rate or interval, whether or not it can be understood.
    pub(crate) fn rate(&self) -> Option<&Fact> {
        self.fact(|w| {
            w.iter().any(|w| INTERVAL.contains(w))
                && w.iter().all(|w| SAMPLING.contains(w) || time_unit(w).is_some() || matches!(*w, "hz" | "khz"))
        })
    }

    /// The largest signal that the detector can tell, where a line states it in the signal's unit or without one.
    pub(crate) fn full_scale(&self, unit: &str) -> Option<(f64, &Fact)> {
        const AROUND: &[&str] = &[
            "detector",
            "signal",
            "max",
            "maximum",
            "full",
            "scale",
            "range",
            "upper",
            "limit",
            "converter",
            "of",
            "the",
        ];
        let says = |w: &[&str]| {
            let has = |word: &str| w.contains(&word);
            (has("max") || has("maximum") || (has("full") && has("scale")) || (has("upper") && has("limit")))
                && (has("detector") || has("signal") || has("converter") || (has("full") && has("scale")))
                && w.iter().all(|w| AROUND.contains(w) || signal_unit(w).is_some())
        };
        let fact = self.fact(says)?;
        let (value, behind) = value_of(fact)?;
        let stated = if behind.is_empty() { key_of(fact).1.unwrap_or_default() } else { behind };
        let fits = stated.is_empty() || signal_unit(&stated).is_some_and(|u| u == unit);
        (fits && value > 0.0).then_some((value, fact))
    }
}

impl Fact {
    /// True for a line that sets something about the trace, as opposed to a row of a table.
    pub(crate) fn is_setting(&self) -> bool {
        const WORDS: &[&str] = &[
            "points",
            "npoints",
            "count",
            "samples",
            "datapoints",
            "unit",
            "units",
            "factor",
            "multiplier",
            "delay",
            "max",
            "maximum",
            "channel",
            "channels",
            "detector",
            "signal",
        ];
        self.words().iter().any(|w| INTERVAL.contains(w) || WORDS.contains(w))
    }
}

/// Seconds between points.
fn interval_of(fact: &Fact) -> Option<f64> {
    let (words, in_key) = key_of(fact);
    let inner = |w: &String| SAMPLING.contains(&w.as_str());
    if !words.iter().any(|w| INTERVAL.contains(&w.as_str())) || !words.iter().all(inner) {
        return None;
    }
    let (value, behind) = value_of(fact)?;
    let unit = if behind.is_empty() { in_key? } else { behind };
    let seconds = match per_second(&unit) {
        Some(rate) => 1.0 / (value * rate),
        // "Sampling time: 30 min" may be about an air sampler.
        None if words.iter().all(|w| matches!(w.as_str(), "sampling" | "time" | "sample")) => return None,
        None => time_unit(&unit)?.to_minutes(value) * 60.0,
    };
    // A minute between points, or a microsecond, is a line about something else: a run's length, a converter's clock.
    (seconds.is_finite() && (1e-6..=60.0).contains(&seconds)).then_some(seconds)
}

/// The key's words, and the unit that stands in it: `interval (ms)`, `interval ms`, `samples per second`.
fn key_of(fact: &Fact) -> (Vec<String>, Option<String>) {
    let key = fact.key.trim();
    let words = |text: &str| -> Vec<String> {
        text.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).map(str::to_owned).collect()
    };
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let (Some(a), Some(b)) = (key.find(open), key.rfind(close))
            && a < b
        {
            return (words(&key[..a]), Some(key[a + 1..b].trim().to_owned()));
        }
    }
    let whole = words(key);
    if per_second(key).is_some() {
        return (vec!["per".to_owned()], Some(key.to_owned()));
    }
    if let Some((base, last)) = key.rsplit_once([' ', '_', '/', ','])
        && (time_unit(last).is_some() || per_second(last).is_some() || signal_unit(last).is_some())
    {
        return (words(base), Some(last.to_owned()));
    }
    (whole, None)
}

/// The first number of a line's values, and the unit behind it, folded.
fn value_of(fact: &Fact) -> Option<(f64, String)> {
    let first = fact.values.first()?.trim();
    let at = first.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-'))).unwrap_or(first.len());
    let value: f64 = first[..at].trim_end_matches([',', '.']).replace(',', ".").parse().ok()?;
    let rest = first[at..].trim();
    let unit = match (rest.is_empty(), fact.values.get(1)) {
        (true, Some(next)) if fact.values.len() == 2 => next.trim(),
        (true, Some(_)) => return None,
        _ => rest,
    };
    Some((value, fold(unit.trim_matches(['(', ')', '[', ']']))))
}

/// Points per second that one unit of a rate means: 1 for Hz, 1/60 for `points/min`.
fn per_second(unit: &str) -> Option<f64> {
    let unit = fold(unit);
    match unit.as_str() {
        "hz" | "s-1" | "s^-1" | "s⁻¹" => return Some(1.0),
        "khz" => return Some(1000.0),
        "min-1" | "min^-1" => return Some(1.0 / 60.0),
        _ => {}
    }
    let (what, each) = unit.split_once('/').or_else(|| unit.split_once("per "))?;
    let each = time_unit(each.trim())?;
    POINTS.contains(&what.trim()).then(|| 1.0 / (each.to_minutes(1.0) * 60.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fact(line: &str) -> Fact {
        let (key, values) = match line.split_once(['=', ':']) {
            Some((k, v)) => (k.to_owned(), vec![v.trim().to_owned()]),
            None => {
                let mut cells = line.split(',');
                (cells.next().unwrap_or_default().to_owned(), cells.map(str::to_owned).collect())
            }
        };
        Fact { line: 1, key: fold(&key), values, shown: line.to_owned() }
    }

    #[test]
    fn intervals_as_exports_state_them() {
        for (line, seconds) in [
            ("rate,10,Hz", 0.1),
            ("rate=5 Hz", 0.2),
            ("sampling = 5 per s", 0.2),
            ("interval ms: 40", 0.04),
            ("Sampling interval (s) = 0.1", 0.1),
            ("Sampling rate: 20 points/s", 0.05),
            ("Samples per second: 20", 0.05),
            ("data rate [Hz]: 50", 0.02),
            ("Abtastrate: 10 Hz", 0.1),
            ("Intervall: 0,1 s", 0.1),
            ("period,50,ms", 0.05),
            ("dt = 0.00833 min", 0.4998),
            ("Sampling Rate = 120 pts/min", 0.5),
        ] {
            let found = interval_of(&fact(line)).unwrap_or_else(|| panic!("{line}"));
            assert!((found - seconds).abs() < 1e-12, "{line}: {found}");
        }
    }

    #[test]
    fn lines_about_something_else_are_left_alone() {
        for line in [
            "Flow rate: 1.0 mL/min",
            "Flow rate (mL/min),1.0",
            "rate: 1.0 mL/min",
            "ramp rate: 10 K/min",
            "heating rate,10,°C/min",
            "rate = 10",
            "rate,10,20",
            "run time: 10 min",
            "integration interval = 0.1 min",
            "sampling: manual",
            "rate = 0 Hz",
            "points: 5",
            "Sampling time: 30 min",
            "acquisition period: 30 min",
        ] {
            assert_eq!(interval_of(&fact(line)), None, "{line}");
        }
    }
}
